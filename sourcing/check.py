"""The main job: from a query to a verdict, one at a time or a whole list in one pass."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np

from models.depth import Copies
from models.proceeds import Total
from sourcing import depth, history, verdict
from sourcing.answer import Item, Limit, Query, Range, Verdict
from sourcing.comps.version import COUNTS
from sourcing.errors import SourcingError
from sourcing.evidence import gather
from sourcing.fitting import Fit, current_fit, fold
from sourcing.forecast import Forecasts, forecast_group
from sourcing.limits import Outlook, at_price, decide, limits
from sourcing.money import money_writer
from sourcing.settings import CategorySettings, Settings, load_settings
from sourcing.storage import Store

_MOST_KEPT = 500


@dataclass(frozen=True)
class Prospect:
    """All that holds of an item whatever its shelf price; ``forecasts`` is None when there is none to speak of."""

    base: Verdict
    deal: CategorySettings
    locale: str
    forecasts: Forecasts | None
    figures: verdict.Figures | None
    at: int  # the item's place in both
    copies: Copies | None = None  # these two of single checks only
    total: Total | None = None
    _bounds: dict[Decimal | None, Bounds] = field(default_factory=dict, repr=False, compare=False)

    @cached_property
    def same(self) -> str:
        """The part of the answer that is the same at every shelf price, as JSON without its braces."""
        return self.base.same_json()

    def bounds(self, discount: Decimal | None, write: Callable[[Decimal], str]) -> Bounds:
        """Return the limits at a store discount, worked out once."""
        found = self._bounds.get(discount)
        if found is None:
            found = self._bounds[discount] = _bounds(self, discount, write)
        return found


class Bounds(NamedTuple):
    """What the shelf price is compared with."""

    limits: tuple[Limit, ...]
    meanings: dict[str, str]
    copies: tuple[depth.CopyBound, ...]


def check(store: Store, query: Query, settings: Settings | None = None) -> Verdict:
    """Judge one item; nothing is recorded.

    A forecast does not depend on the shelf price, so it is kept until the next fit, load or change of settings: the
    next size of the same style, or a second look, is a comparison and a subtraction.

    Raises
    ------
    BadInput
        The code cannot be one.
    """
    if settings is not None:
        return _judge(_alone(store, _asked(query), settings), query)
    return _judge(_prospect(store, query, load_settings(store)), query)


def check_json(store: Store, query: Query, settings: Settings) -> str:
    """Judge one item under the settings in force and write the answer as JSON, as `Verdict.as_dict` has it.

    Nothing is recorded.

    Raises
    ------
    BadInput
        The code cannot be one.
    """
    prospect = _prospect(store, query, settings)
    return f"{{{_judge(prospect, query).changing_json()}, {prospect.same}}}"


def _asked(query: Query) -> Query:
    """Return a query without what its forecast does not depend on."""
    return replace(query, shelf_price=None, discount=None)


def _prospect(store: Store, query: Query, settings: Settings) -> Prospect:
    """Return what is kept of an item, or forecast it."""
    asked = _asked(query)
    stamp = (store.url, store.read(_STAMP)[0], settings)
    if _kept_for != [stamp] or len(_kept) > _MOST_KEPT:
        forget()
        _kept_for[:] = [stamp]
    prospect = _kept.get(asked)
    if prospect is None:
        prospect = _kept[asked] = _alone(store, asked, settings)
    return prospect


_STAMP = f"SELECT (SELECT made_at FROM fit ORDER BY id DESC LIMIT 1), {COUNTS}"  # noqa: S608 - no value in it
_kept: dict[Query, Prospect] = {}
_kept_for: list[tuple[Any, ...]] = []


def forget() -> None:
    """Let go of every forecast that is kept."""
    _kept.clear()


def _alone(store: Store, asked: Query, settings: Settings) -> Prospect:
    """Forecast one item, its further copies too: too dear for every line of a list."""
    prospect = _prospects(store, [asked], settings, True)[0]
    if prospect.forecasts is None:
        return prospect
    copies, total = depth.further_copies(prospect.forecasts), prospect.forecasts.total_of(prospect.at)
    return replace(prospect, copies=copies, total=total)


def _judge(prospect: Prospect, query: Query) -> Verdict:
    answer = _at_price(prospect, query, None, True)
    if prospect.copies is None:
        return answer
    write = money_writer(answer.currency, prospect.locale)
    copies = prospect.bounds(query.discount, write).copies
    return depth.with_copies(answer, copies, prospect.deal.terms, write)


def _bounds(prospect: Prospect, discount: Decimal | None, write: Callable[[Decimal], str]) -> Bounds:
    figures, at, deal = prospect.figures, prospect.at, prospect.deal
    assert figures is not None
    assert prospect.forecasts is not None
    chance = figures.by_target[at] if prospect.forecasts.speed_basis else None
    outlook = Outlook(figures.mean_net[at], figures.tied_days[at], chance, figures.loss_net[at], figures.evidence[at])
    found = limits(deal.rules, deal.terms, outlook, None, discount, write)
    copies: tuple[depth.CopyBound, ...] = ()
    if prospect.copies is not None:
        copies = depth.copy_bounds(prospect.copies, at, deal.terms, deal.rules, discount)
    return Bounds(found, {limit.rule: limit.meaning for limit in found}, copies)


def forecast_of(store: Store, query: Query) -> tuple[Forecasts, int] | None:
    """Return the forecast of one item and its place in it; None where there is too little to go on.

    Raises
    ------
    BadInput
        The code cannot be one.
    """
    prospect = _prospect(store, query, load_settings(store))
    if prospect.forecasts is None or prospect.base.decision == "too little to go on":
        return None
    return prospect.forecasts, prospect.at


def check_list(
    store: Store, queries: Sequence[Query], settings: Settings | None = None, *, detail: bool = True
) -> list[Verdict]:
    """Judge many items in one vectorised pass per category, in the order given.

    Without ``detail`` the comps, the trade-off of asking prices, the receipt and the curve are left out: a list of
    thousands shows none of them, and building them costs more than the forecast.
    """
    prospects = _prospects(store, queries, settings or load_settings(store), detail)
    losses = _losses(queries, prospects)
    return [_at_price(*one, detail) for one in zip(prospects, queries, losses, strict=True)]


def recheck(store: Store, settings: Settings, limit: int = 20) -> list[tuple[history.PastCheck, str, str, Any]]:
    """Ask the last checks again under other settings: (check, decision now, decision then, most worth paying then)."""
    changed: list[tuple[history.PastCheck, str, str, Any]] = []
    for past in history.recent(store, limit):
        try:
            now, then = check(store, past.query), check(store, past.query, settings)
        except SourcingError:
            continue  # its comps or its code are gone; nothing to compare
        changed.append((past, now.decision, then.decision, then.most_worth_paying))
    return changed


def _prospects(store: Store, queries: Sequence[Query], settings: Settings, detail: bool) -> list[Prospect]:
    fit = current_fit(store)
    evidence = gather(store, queries, suggest=len(queries) == 1)
    groups: dict[str, list[int]] = {}
    for at, item in enumerate(evidence.items):
        groups.setdefault(fold(item.category), []).append(at)
    found: dict[int, Prospect] = {}
    for category, members in groups.items():
        deal = settings.for_category(category)
        items = [evidence.items[at] for at in members]
        rows = [evidence.rows[at] for at in members]
        if fit is None:
            for at, item in zip(members, items, strict=True):
                found[at] = Prospect(_no_fit(queries[at], item, settings), deal, settings.locale, None, None, 0)
            continue
        forecasts = forecast_group(fit, category, items, rows, deal.terms, deal.rules)
        figures = verdict.figures(items, forecasts)
        for k, at in enumerate(members):
            base = _base(queries[at], items[k], rows[k], settings, deal, fit, forecasts, figures, k, detail)
            found[at] = Prospect(base, deal, settings.locale, forecasts, figures, k)
    return [found[at] for at in range(len(queries))]


def _no_fit(query: Query, item: Item, settings: Settings) -> Verdict:
    return replace(
        verdict.nothing(query, item, settings.currency),
        reason="Too little to go on: there are no sold comps yet.",
        would_settle="Load a file of past sales on the Comps page.",
    )


def _base(
    query: Query,
    item: Item,
    rows: list[tuple[Any, ...]],
    settings: Settings,
    deal: CategorySettings,
    fit: Fit,
    forecasts: Forecasts,
    figures: verdict.Figures,
    at: int,
    detail: bool,
) -> Verdict:
    """Build the part of the verdict that no shelf price changes."""
    support, rules = figures.support[at], deal.rules
    values: dict[str, Any] = {
        "sale_price": verdict.spread(figures.level[at]),
        "sale_price_wide": Range(*map(verdict.to_cents, figures.wide[at])),
        "comps": verdict.comps(item, rows, forecasts, at) if detail else (),
        "comps_sold": support.sold,
        "comps_unsold": support.unsold,
        "comps_set_aside": support.aside,
        "newest_comp": support.newest,
        "match": support.match,
        "rests_on": support.sentence,
        "fit_made_at": fit.made_at,
    }
    evidence = figures.evidence[at]
    if rules.least_comps is not None and evidence < float(rules.least_comps):
        values |= {
            "reason": f"Too little to go on: what is known beyond its category is worth {evidence:.2f} sales of "
            f"this item, your rule asks for {rules.least_comps}.",
            "would_settle": "One recent sale of this very item would settle it; so may its brand, category and title."
            if (lacking := float(rules.least_comps) - evidence) <= 1.0
            else f"About {math.ceil(lacking)} recent sales of this very item would settle it; its brand, category and "
            "title help too.",
        }
        return verdict.nothing(query, item, settings.currency, values)
    basis = forecasts.speed_basis
    values |= {
        "decision": "pass",  # until a price is known
        "asking_price": verdict.to_cents(figures.ask[at]),
        "expected_proceeds": verdict.to_cents(figures.mean_net[at]),
        "proceeds": verdict.spread(figures.net_quantiles[at]),
        "speed_basis": basis or f"your own assumption of {deal.terms.assumed_days} days: no listing dates",
        "objective": rules.objective,
        "choices": verdict.choices(forecasts, at) if detail else (),
    }
    if basis:
        values |= {
            "days_50": None if (days := figures.days_50[at]) < 0 else days,
            "days_80": None if (days := figures.days_80[at]) < 0 else days,
            "sold_within": dict(zip(verdict.SOLD_WITHIN, figures.sold_within[at], strict=True)),
            "sold_curve": verdict.curve(forecasts, at) if detail else (),
        }
        if forecasts.dearer[at]:
            values["warnings"] = (
                "The asking price lies above what sellers ask for such items: how demand goes on there is an estimate "
                "nobody has tested. A lower one of the table is the safer choice.",
            )
    else:
        values["warnings"] = ("The comps carry no listing dates, so the time to sell is not known.",)
    return verdict.nothing(query, item, settings.currency, values)


def _losses(queries: Sequence[Query], prospects: list[Prospect]) -> list[float | None]:
    """Chance of loss of every item that has a shelf price, one pass a category."""
    losses: list[float | None] = [None] * len(queries)
    groups: dict[int, list[int]] = {}
    for at, (query, prospect) in enumerate(zip(queries, prospects, strict=True)):
        if prospect.forecasts is not None and query.shelf_price is not None:
            groups.setdefault(id(prospect.forecasts), []).append(at)
    for members in groups.values():
        forecasts = prospects[members[0]].forecasts
        assert forecasts is not None
        spent = np.zeros(len(forecasts.mean))
        for at in members:
            spent[prospects[at].at] = _spent(prospects[at], queries[at])[1]
        chance = forecasts.chance_of_loss(spent).tolist()
        for at in members:
            losses[at] = chance[prospects[at].at]
    return losses


def _spent(prospect: Prospect, query: Query) -> tuple[Decimal, float, float]:
    """Return landed cost; all that was spent, cash tied up and labour included; the same before labour."""
    terms, figures = prospect.deal.terms, prospect.figures
    assert figures is not None
    assert query.shelf_price is not None
    landed = terms.landed(query.shelf_price, query.discount)
    hold = float(landed) * (1.0 + float(terms.capital_rate) * figures.tied_days[prospect.at] / 365.0)
    return landed, hold + float(terms.labour()), hold


def _at_price(prospect: Prospect, query: Query, loss: float | None, detail: bool) -> Verdict:
    """Compare the shelf price with the limits; a comparison and a few subtractions, nothing of the market."""
    base, figures, at, shelf = prospect.base, prospect.figures, prospect.at, query.shelf_price
    if base.decision == "too little to go on" or figures is None or prospect.forecasts is None:
        landed = None if shelf is None else prospect.deal.terms.landed(shelf, query.discount)
        return base.but({"query": query, "shelf_price": shelf, "landed_cost": landed})
    terms = prospect.deal.terms
    mean_net = figures.mean_net[at]
    # Lists show no sentence, and writing amounts the locale's way costs more than the verdict.
    write = money_writer(base.currency, prospect.locale) if detail else str
    bounds = prospect.bounds(query.discount, write)
    found = at_price(bounds.limits, shelf)
    decision, binding, most = decide(found, shelf)
    values: dict[str, Any] = {
        "query": query,
        "decision": decision,
        "binding_rule": binding,
        "most_worth_paying": most,
        "limits": found,
        "receipt": terms.receipt(base.asking_price, shelf) if detail and base.asking_price is not None else (),
        "reason": verdict.reason(decision, binding, most, shelf, bounds.meanings, write),
    }
    if shelf is not None:
        landed, spent, hold = _spent(prospect, query)
        if loss is None:
            total = prospect.total or prospect.forecasts.total_of(at)
            loss = total.below(prospect.forecasts.costs.one_total_for(spent))
        hours = float(terms.prep_minutes) / 60.0
        values |= {
            "shelf_price": shelf,
            "landed_cost": landed,
            "profit_before_labour": verdict.to_cents(mean_net - hold),
            "profit_after_labour": verdict.to_cents(mean_net - spent),
            "profit": verdict.spread(value - spent for value in figures.net_quantiles[at]),
            "profit_per_hour": verdict.to_cents((mean_net - hold) / hours) if hours > 0 else None,
            "chance_of_loss": round(loss, 4),
            "break_even_sale": terms.break_even_sale(landed),
        }
    return base.but(values)
