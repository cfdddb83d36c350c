"""Past checks and lines of the haul with their forecasts, to be judged under any settings."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

import numpy as np

from models.price import Floats
from models.proceeds import net_quantiles, sold_by
from sourcing.answer import Decision, Limit, Query
from sourcing.errors import SourcingError
from sourcing.fitting import fold
from sourcing.flags.marked import flagged
from sourcing.forecast import Forecasts
from sourcing.labour import STEPS
from sourcing.language import gettext, separated
from sourcing.limits import Outlook, at_price, decide, limits
from sourcing.objective import choose
from sourcing.prospect import Prospect
from sourcing.prospect import prospects as prospects_of
from sourcing.settings import CategorySettings, Settings
from sourcing.storage import Store
from sourcing.terms import Terms
from sourcing.verdict import CHANCE, MONEY, TIED, kept, to_cents

TOO_LITTLE: Decision = "too little to go on"
# Of the terms these are read after the forecast only: by what was paid, by labour, by the choice of the asking price.
_AFTER = ("purchase_tax", "resale_exemption", "store_discount", *(f"{step}_minutes" for step in STEPS), "hourly_value",
          "capital_rate")  # fmt: skip


@dataclass(frozen=True)
class Case:
    """One past check, or one line of the haul with its count of pieces."""

    check_id: int
    label: str
    query: Query
    count: int = 1


@dataclass(frozen=True)
class Standing:
    """How one case stands under some settings; ``limits`` are those of the rules that are on."""

    category: str
    deal: CategorySettings
    outlook: Outlook | None  # None: no forecast to speak of
    decision: Decision
    rule: str  # the rule that binds, by its settings name; "" when none limits the price
    most: Decimal | None  # most worth paying; None: no rule limits it, or there is too little to go on
    limits: tuple[Limit, ...]

    def profit(self, query: Query) -> Decimal | None:
        """Expected profit of one piece at its shelf price, after labour and the cost of cash; None: not known."""
        if self.outlook is None or self.decision == TOO_LITTLE or query.shelf_price is None:
            return None
        terms = self.deal.terms
        hold = 1.0 + float(terms.capital_rate) * self.outlook.tied_days / 365.0
        spent = float(terms.landed(query.shelf_price, query.discount)) * hold + float(terms.labour())
        return to_cents(self.outlook.mean_net - spent)

    def words(self, query: Query, write: Callable[[Decimal], str]) -> str:
        """Say which rule binds and up to which price, figures in it."""
        if self.outlook is None:
            return gettext("no forecast")
        if self.decision == TOO_LITTLE:
            return gettext(
                "What is known of it is worth {evidence} sales, {wanted} are asked for",
                evidence=separated(f"{self.outlook.evidence:.2f}"),
                wanted=separated(str(self.deal.rules.least_comps)),
            )
        if self.most is None:
            return gettext("No rule limits the price")
        found = limits(self.deal.rules, self.deal.terms, self.outlook, None, query.discount, write)
        meaning = next(limit.meaning for limit in found if limit.rule == self.rule)
        if self.most > 0:
            return gettext("{rule}, up to {amount}", rule=meaning, amount=write(self.most))
        return gettext("{rule}, at no price", rule=meaning)


class Cases:
    """Cases with their forecasts under some settings, to be judged under others.

    A forecast knows neither the rules nor the shelf price. So a change of rules is worked out from what is here:
    choosing the asking price again, one quantile, and comparisons. Only terms that the forecast rests on, such as fees
    or the price-cut plan, make it forecast anew: one pass for each category they touch.
    """

    def __init__(self, store: Store, cases: Iterable[Case], settings: Settings) -> None:
        self.store, self.settings = store, settings
        self.cases = tuple(cases)
        asked = list(dict.fromkeys(map(_asked, self.cases)))
        try:
            found = prospects_of(store, asked, settings, False)
        except SourcingError:  # the comps or the code of one of them are gone
            asked = [query for query in asked if _answers(store, query, settings)]
            found = prospects_of(store, asked, settings, False)
            self.cases = tuple(case for case in self.cases if _asked(case) in set(asked))
        self._groups: dict[int, list[tuple[Query, Prospect]]] = {}
        for query, prospect in zip(asked, found, strict=True):
            self._groups.setdefault(id(prospect.forecasts or prospect.deal), []).append((query, prospect))

    def standings(self, settings: Settings) -> list[Standing]:
        """Judge every case under some settings, in order.

        Raises
        ------
        BadInput
            The settings contradict each other.
        """
        outlooks: dict[Query, tuple[str, CategorySettings, Outlook | None]] = {}
        for members in self._groups.values():
            category = fold(members[0][1].base.item.category)
            before = members[0][1].deal
            after = flagged(settings.for_category(category), settings, members[0][1].base.item.flags)
            anew = _market(before) != _market(after)
            if anew:
                again = prospects_of(self.store, [query for query, _ in members], settings, False)
                members = [(query, prospect) for (query, _), prospect in zip(members, again, strict=True)]
            looks: dict[int, list[Outlook]] = {}  # by forecast: one for each channel that is any item's best
            for query, prospect in members:
                own, which = after.on(prospect.deal.terms.channel), id(prospect.forecasts)
                if which not in looks:
                    looks[which] = _outlooks(prospect, own if anew else before, own)
                outlooks[query] = category, own, looks[which][prospect.at] if looks[which] else None
        return [_standing(*outlooks[_asked(case)], case.query) for case in self.cases]


def _asked(case: Case) -> Query:
    """Return a query without what its forecast does not depend on."""
    return replace(case.query, shelf_price=None, discount=None)


def _answers(store: Store, query: Query, settings: Settings) -> bool:
    try:
        prospects_of(store, [query], settings, False)
    except SourcingError:
        return False
    return True


def _market(deal: CategorySettings) -> tuple[Terms, ...]:
    """Return the terms that a forecast rests on, whatever the rules, on each channel."""
    plain: dict[str, Any] = {field.name: field.default for field in dataclasses.fields(Terms) if field.name in _AFTER}
    return tuple(replace(terms, **plain) for terms in deal.channels or (deal.terms,))


def _outlooks(prospect: Prospect, before: CategorySettings, after: CategorySettings) -> list[Outlook]:
    """Return what the rules look at, for every item forecast together with one; empty without a forecast."""
    forecasts, figures = prospect.forecasts, prospect.figures
    if forecasts is None or figures is None:
        return []
    mean_net, days, chance, loss = figures.mean_net, figures.tied_days, figures.by_target, figures.loss_net
    if before != after:
        mean_net, days, chance, loss = (values.tolist() for values in _moved(forecasts, before, after))
    known = bool(forecasts.speed_basis)
    columns = zip(mean_net, days, chance, loss, figures.evidence, strict=True)
    return [Outlook(net, tied, by if known else None, low, worth) for net, tied, by, low, worth in columns]


def _moved(
    forecasts: Forecasts, before: CategorySettings, after: CategorySettings
) -> tuple[Floats, Floats, Floats, Floats]:
    """Choose the asking prices again from the same forecast: net proceeds, days, chance by the target day, low end."""
    outcome, rules = forecasts.outcome, after.rules
    if rules.target_days != before.rules.target_days:
        outcome = replace(outcome, by_target=sold_by(rules.target_days, outcome.sold_by_edge, outcome.edges))
    chosen = choose(outcome, after.terms, rules)
    each = np.arange(len(chosen))
    low = forecasts.loss_net
    if rules.most_loss_chance != before.rules.most_loss_chance or not np.array_equal(chosen, forecasts.chosen):
        share = np.array([0.5 if rules.most_loss_chance is None else float(rules.most_loss_chance)])
        low = net_quantiles(chosen, outcome, forecasts.plan, forecasts.costs, forecasts.haggle, share)[:, 0]
    return (
        kept(outcome.mean_net[each, chosen], MONEY),
        kept(outcome.mean_days[each, chosen], TIED),
        kept(outcome.by_target[each, chosen], CHANCE),
        kept(low, MONEY),
    )


def _standing(category: str, deal: CategorySettings, outlook: Outlook | None, query: Query) -> Standing:
    if outlook is None:
        return Standing(category, deal, None, TOO_LITTLE, "", None, ())
    found = at_price(limits(deal.rules, deal.terms, outlook, None, query.discount), query.shelf_price)
    if deal.rules.least_comps is not None and outlook.evidence < float(deal.rules.least_comps):
        return Standing(category, deal, outlook, TOO_LITTLE, "least_comps", None, found)
    return Standing(category, deal, outlook, *decide(found, query.shelf_price), found)
