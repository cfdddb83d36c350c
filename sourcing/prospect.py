"""What holds of an item whatever its shelf price: its forecast, and the part of the verdict that rests on it alone."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from functools import cached_property
from typing import Any, NamedTuple

from models.depth import Copies
from models.proceeds import Total
from sourcing import depth, verdict
from sourcing.answer import Item, Limit, Query, Range, Verdict
from sourcing.best_channel import best, words
from sourcing.evidence import gather
from sourcing.fitting import Fit, current_fit, fold
from sourcing.flags.marked import flagged, notes
from sourcing.forecast import Forecasts, forecast_group
from sourcing.language import gettext, ngettext, separated
from sourcing.limits import Outlook, limits
from sourcing.money import money_writer
from sourcing.others import outlook_at, price_of_others
from sourcing.purchase import Discounts
from sourcing.settings import CategorySettings, Settings
from sourcing.storage import Store
from sourcing.terms import Terms


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
    _bounds: dict[Discounts | None, Bounds] = field(default_factory=dict, repr=False, compare=False)
    _at_others: dict[Discounts | None, tuple[Limit, ...]] = field(default_factory=dict, repr=False, compare=False)

    @cached_property
    def same(self) -> bytes:
        """The part of the answer that is the same at every shelf price, as JSON without its braces."""
        return self.base.same_json()

    @cached_property
    def at_others(self) -> Outlook | None:
        """What the rules look at when it is listed at the price others get; None where none stands beside its limit."""
        price = price_of_others(self.base)
        if price is None or self.figures is None or self.forecasts is None:
            return None
        return outlook_at(self.forecasts, self.at, price, self.figures.evidence[self.at], self.deal.rules)

    def limits_at_others(self, discount: Discounts | None) -> tuple[Limit, ...] | None:
        """Return the limits there at a store discount, worked out once; None where none stand beside its own."""
        found = self._at_others.get(discount)
        if found is None and self.at_others is not None:
            found = self._at_others[discount] = limits(self.deal.rules, self.deal.terms, self.at_others, None, discount)
        return found

    def bounds(self, discount: Discounts | None, write: Callable[[Decimal], str]) -> Bounds:
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


def _bounds(prospect: Prospect, discount: Discounts | None, write: Callable[[Decimal], str]) -> Bounds:
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


def prospects(store: Store, queries: Sequence[Query], settings: Settings, detail: bool) -> list[Prospect]:
    """Forecast items in one pass a category, in the order given; ``detail`` as for `sourcing.check.check_list`."""
    fit = current_fit(store)
    evidence = gather(store, queries, suggest=len(queries) == 1)
    groups: dict[tuple[str, tuple[str, ...]], list[int]] = {}
    for at, item in enumerate(evidence.items):
        groups.setdefault((fold(item.category), item.flags), []).append(at)
    found: dict[int, Prospect] = {}
    for (category, flags), members in groups.items():
        deal = flagged(settings.for_category(category), settings, flags)
        items = [evidence.items[at] for at in members]
        rows = [evidence.rows[at] for at in members]
        if fit is None:
            for at, item in zip(members, items, strict=True):
                found[at] = Prospect(_no_fit(queries[at], item, settings), deal, settings.locale, None, None, 0)
            continue
        sold_on = deal.channels or (deal.terms,)
        offers = [forecast_group(fit, category, items, rows, terms, deal.rules) for terms in sold_on]
        tables = [verdict.figures(items, forecasts) for forecasts in offers]
        chosen = best(offers, deal.terms, deal.rules).tolist() if len(offers) > 1 else [0] * len(items)
        for k, at in enumerate(members):
            own, forecasts, figures = deal.on(sold_on[chosen[k]].channel), offers[chosen[k]], tables[chosen[k]]
            base = _base(queries[at], items[k], rows[k], settings, own, fit, forecasts, figures, k, detail)
            if base.decision != "too little to go on":
                nets = [verdict.to_cents(table.mean_net[k]) for table in tables]
                base = base.but(_channel(sold_on, nets, chosen[k], money_writer(base.currency, settings.locale)))
            found[at] = Prospect(base, own, settings.locale, forecasts, figures, k)
    return [found[at] for at in range(len(queries))]


def _channel(
    sold_on: Sequence[Terms], nets: list[Decimal], chosen: int, write: Callable[[Decimal], str]
) -> dict[str, str]:
    names = [terms.channel for terms in sold_on]
    return {"channel": names[chosen], "channel_words": words(names, nets, chosen, write) if len(names) > 1 else ""}


def _no_fit(query: Query, item: Item, settings: Settings) -> Verdict:
    return replace(
        verdict.nothing(query, item, settings.currency),
        flags=notes(settings, None, fold(item.category), item),
        reason=gettext("Too little to go on: there are no sold comps yet."),
        would_settle=gettext("Load a file of past sales on the Comps page."),
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
    like_nothing = not (item.known or item.brand or item.category or item.title)  # then no figure would be its own
    values: dict[str, Any] = {
        "sale_price": None if like_nothing else verdict.spread(figures.level[at]),
        "sale_price_wide": None if like_nothing else Range(*map(verdict.to_cents, figures.wide[at])),
        "comps": verdict.comps(item, rows, forecasts, at) if detail else (),
        "comps_sold": support.sold,
        "comps_unsold": support.unsold,
        "comps_set_aside": support.aside,
        "newest_comp": support.newest,
        "match": support.match,
        "rests_on": support.sentence,
        "flags": notes(settings, fit, fold(item.category), item),
        "fit_made_at": fit.made_at,
    }
    if like_nothing:
        return verdict.nothing(query, item, settings.currency, values | _like_nothing(item))
    evidence = figures.evidence[at]
    if rules.least_comps is not None and evidence < float(rules.least_comps):
        values |= {
            "reason": gettext(
                "Too little to go on: what is known beyond its category is worth {evidence} sales of this item, your "
                "rule asks for {wanted}.",
                evidence=separated(f"{evidence:.2f}"),
                wanted=separated(str(rules.least_comps)),
            ),
            "would_settle": _would_settle(item, max(math.ceil(float(rules.least_comps) - evidence), 1)),
        }
        return verdict.nothing(query, item, settings.currency, values)
    return verdict.nothing(query, item, settings.currency, values | at_asking(deal, forecasts, figures, at, detail))


def _like_nothing(item: Item) -> dict[str, str]:
    """Say of an item that is not known and was not described why nothing can be said, and what would help."""
    if item.gtin or item.style_code:
        return {
            "reason": gettext("Too little to go on: it is not among your comps, and nothing says what it is like."),
            "would_settle": gettext("Its brand, category and title; or recent sales of this very item."),
        }
    return {
        "reason": gettext("Too little to go on: this number names no item."),
        "would_settle": gettext("The maker's barcode or the style code; or brand, category and title."),
    }


def _would_settle(item: Item, sales: int) -> str:
    """Say how many sales would be enough; what else helps, only where it was not told already."""
    if item.brand and item.category and item.title:
        return ngettext(
            "One recent sale of this very item would settle it.",
            "About {count} recent sales of this very item would settle it.",
            sales,
        )
    return ngettext(
        "One recent sale of this very item would settle it; so may its brand, category and title.",
        "About {count} recent sales of this very item would settle it; its brand, category and title help too.",
        sales,
    )


def at_asking(
    deal: CategorySettings, forecasts: Forecasts, figures: verdict.Figures, at: int, detail: bool
) -> dict[str, Any]:
    """Return what of a verdict rests on the chosen asking price, and on no shelf price."""
    basis = forecasts.speed_basis
    values: dict[str, Any] = {
        "decision": "pass",  # until a price is known
        "asking_price": verdict.to_cents(figures.ask[at]),
        "expected_proceeds": verdict.to_cents(figures.mean_net[at]),
        "proceeds": verdict.spread(figures.net_quantiles[at]),
        "speed_basis": basis
        or gettext("your own assumption of {days} days: no listing dates", days=deal.terms.assumed_days),
        "objective": deal.rules.objective,
        "choices": verdict.choices(forecasts, at) if detail else (),
    }
    if not basis:
        return values | {"warnings": (gettext("The comps carry no listing dates, so the time to sell is not known."),)}
    values |= {
        "days_50": None if (days := figures.days_50[at]) < 0 else days,
        "days_80": None if (days := figures.days_80[at]) < 0 else days,
        "sold_within": dict(zip(verdict.SOLD_WITHIN, figures.sold_within[at], strict=True)),
        "sold_curve": verdict.curve(forecasts, at) if detail else (),
        "warnings": (),
    }
    if forecasts.dearer[at]:
        values["warnings"] = (
            gettext(
                "The asking price lies above what sellers ask for such items: how demand goes on there is an estimate "
                "nobody has tested. A lower one of the table is the safer choice."
            ),
        )
    return values
