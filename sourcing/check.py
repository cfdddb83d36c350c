"""The main job: from a query to a verdict, one at a time or a whole list in one pass."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import Decimal
from typing import Any, Literal

import numpy as np

from sourcing import history
from sourcing.answer import AskChoice, Comp, Item, Query, Spread, Verdict
from sourcing.errors import SourcingError
from sourcing.evidence import gather
from sourcing.fitting import Fit, current_fit, fold
from sourcing.forecast import DAYS, Z80, Forecast, forecast_group, log_price
from sourcing.limits import Outlook, decide, limits
from sourcing.settings import Settings, load_settings
from sourcing.storage import Store

_EPOCH = date(1970, 1, 1)
_STATUS: tuple[Literal["open", "sold", "ended unsold"], ...] = ("open", "sold", "ended unsold")
_CENT = Decimal("0.01")
CAUTIONS = (
    "Look up recalls before you buy: selling recalled goods is unlawful in many places.",
    "If the origin or price looks wrong, do not buy: selling counterfeits can be a crime even unknowingly.",
    "Figures describe past sales; they are no promise and no tax or legal advice.",
)


def check(store: Store, query: Query, settings: Settings | None = None) -> Verdict:
    """Judge one item; nothing is recorded.

    Raises
    ------
    BadInput
        The code cannot be one.
    """
    return check_list(store, [query], settings)[0]


def check_list(
    store: Store, queries: Sequence[Query], settings: Settings | None = None, *, detail: bool = True
) -> list[Verdict]:
    """Judge many items in one vectorised pass per category, in the order given.

    Without ``detail`` the comps, the trade-off of asking prices, the receipt and the curve are left out: a list of
    thousands shows none of them, and building them costs more than the forecast.
    """
    settings = settings or load_settings(store)
    fit = current_fit(store)
    evidence = gather(store, queries, suggest=len(queries) == 1)
    groups: dict[str, list[int]] = {}
    for at, item in enumerate(evidence.items):
        groups.setdefault(fold(item.category), []).append(at)
    answers: dict[int, Verdict] = {}
    for category, members in groups.items():
        deal = settings.for_category(category)
        items = [evidence.items[at] for at in members]
        rows = [evidence.rows[at] for at in members]
        found: Iterable[Forecast | None] = [None] * len(members)
        if fit is not None:
            found = forecast_group(fit, category, items, rows, deal.terms, deal.rules)
        for at, item, few, forecast in zip(members, items, rows, found, strict=True):
            answers[at] = _verdict(queries[at], item, few, forecast, fit, settings, detail)
    return [answers[at] for at in range(len(queries))]


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


def _verdict(
    query: Query,
    item: Item,
    rows: list[tuple[Any, ...]],
    forecast: Forecast | None,
    fit: Fit | None,
    settings: Settings,
    detail: bool,
) -> Verdict:
    deal = settings.for_category(item.category)
    blank = _nothing(query, item, settings)
    if forecast is None or fit is None:
        return replace(
            blank,
            reason="Too little to go on: there are no sold comps yet.",
            would_settle="Load a file of past sales on the Comps page.",
        )
    rules, terms, shelf = deal.rules, deal.terms, query.shelf_price
    support = _support(item, rows, forecast)
    at_level = [math.exp(forecast.mean + z * forecast.spread) for z in (-Z80, 0.0, Z80)]
    values: dict[str, Any] = {
        "sale_price": Spread(*(_cents(value) for value in at_level)),
        "comps": tuple(_comps(item, rows, forecast)) if detail else (),
        "comps_sold": support.sold,
        "comps_unsold": support.unsold,
        "comps_set_aside": support.aside,
        "newest_comp": support.newest,
        "match": support.match,
        "rests_on": support.sentence,
        "fit_made_at": fit.made_at,
    }
    if rules.least_comps is not None and forecast.evidence < float(rules.least_comps):
        return replace(
            blank,
            **values,
            reason=f"Too little to go on: what is known is worth {forecast.evidence:.1f} sales of this item, "
            f"your rule asks for {rules.least_comps}.",
            would_settle=f"About {max(1, round(float(rules.least_comps) - forecast.evidence + 0.5))} recent sold "
            "price(s) of this very item would settle it; a brand and a category help too.",
        )
    known_speed = bool(forecast.speed_basis)
    chance = float(forecast.by_target[forecast.chosen]) if known_speed else None
    mean_net = float(forecast.mean_net[forecast.chosen])
    outlook = Outlook(mean_net, forecast.tied_days, chance, forecast.loss_net, forecast.evidence)
    found = limits(rules, terms, outlook, shelf, query.discount)
    decision, binding, most = decide(found, shelf)
    ask, labour = _cents(float(forecast.asks[forecast.chosen])), terms.labour()
    values.update(
        decision=decision,
        binding_rule=binding,
        most_worth_paying=most,
        limits=found,
        asking_price=ask,
        expected_proceeds=_cents(mean_net),
        proceeds=Spread(*(_cents(float(v)) for v in forecast.net_quantiles)),
        speed_basis=forecast.speed_basis or f"your own assumption of {terms.assumed_days} days: no listing dates",
        choices=_choices(forecast) if detail else (),
        receipt=terms.receipt(ask, shelf) if detail else (),
        reason=_reason(decision, binding, most, shelf, {limit.rule: limit.meaning for limit in found}),
    )
    if known_speed:
        values.update(
            days_50=forecast.days_for(0.5),
            days_80=forecast.days_for(0.8),
            sold_within={day: round(forecast.sold_by(day), 4) for day in (14, 30, 60, 90)},
            sold_curve=tuple(
                (int(day), round(float(share), 4))
                for day, share in zip(DAYS, forecast.sold_share, strict=True)
                if detail and day <= 180
            ),
        )
    else:
        values.update(warnings=("The comps carry no listing dates, so the time to sell is not known.",))
    if shelf is None:
        return replace(blank, **values)
    landed = terms.landed(shelf, query.discount)
    hold = float(landed) * (1.0 + float(terms.capital_rate) * forecast.tied_days / 365.0)
    before = mean_net - hold
    spread = [_cents(float(value) - hold - float(labour)) for value in forecast.net_quantiles]
    hours = float(terms.prep_minutes) / 60.0
    return replace(
        blank,
        **values,
        shelf_price=shelf,
        landed_cost=landed,
        profit_before_labour=_cents(before),
        profit_after_labour=_cents(before - float(labour)),
        profit=Spread(*spread),
        profit_per_hour=_cents(before / hours) if hours > 0 else None,
        chance_of_loss=round(forecast.chance_of_loss(hold + float(labour)), 4),
        break_even_sale=terms.break_even_sale(landed),
    )


def _nothing(query: Query, item: Item, settings: Settings) -> Verdict:
    return Verdict(
        query=query,
        item=item,
        currency=settings.currency,
        decision="too little to go on",
        reason="",
        binding_rule="",
        most_worth_paying=None,
        shelf_price=query.shelf_price,
        landed_cost=None,
        asking_price=None,
        sale_price=None,
        speed_basis="",
        days_50=None,
        days_80=None,
        sold_within={},
        expected_proceeds=None,
        proceeds=None,
        profit_before_labour=None,
        profit_after_labour=None,
        profit=None,
        profit_per_hour=None,
        chance_of_loss=None,
        comps_sold=0,
        comps_unsold=0,
        comps_set_aside=0,
        newest_comp=None,
        match="no comps",
        rests_on="There are no comps of this item.",
        cautions=CAUTIONS,
    )


def _comps(item: Item, rows: list[tuple[Any, ...]], forecast: Forecast) -> list[Comp]:
    """Describe every row; weights are shares of the whole weight of the own comps."""
    total = float(forecast.weight.sum()) or 1.0
    comps = []
    for row, (weight, aside) in zip(rows, _used(rows, forecast), strict=True):
        listed, ended = _day(row[5]), _day(row[6])
        stop = row[7] if row[0] == 0 else row[6]
        comps.append(
            Comp(
                status=_STATUS[row[0]],
                paid=_minor((row[3] or 0) + (row[4] or 0)) if row[0] == 1 and row[3] else None,
                asking_price=_minor(row[2]) if row[2] is not None else None,
                listed_on=listed,
                ended_on=ended,
                days=stop - row[5] if stop is not None and row[5] is not None else None,
                size=row[8],
                condition=row[9],
                channel=row[10],
                title=row[11],
                match=_closeness(item, row),
                weight=round(weight / total, 4),
                set_aside=aside,
            )
        )
    return sorted(comps, key=lambda comp: comp.ended_on or comp.listed_on or _EPOCH, reverse=True)


def _closeness(item: Item, row: tuple[Any, ...]) -> str:
    if item.gtin and row[1] == int(item.gtin):
        return "same code"
    if item.size and fold(row[8]) == fold(item.size):
        return "same style and size"
    return "same style, other size" if row[8] and item.size else "same style"


@dataclass(frozen=True)
class _Support:
    """How much speaks for the item: counts, newest day, and how closely it matches."""

    sold: int
    unsold: int
    aside: int
    newest: date | None
    match: str
    sentence: str


def _support(item: Item, rows: list[tuple[Any, ...]], forecast: Forecast) -> _Support:
    """Count the rows that were used and say in words what the verdict rests on."""
    used = [row for row, (weight, reason) in zip(rows, _used(rows, forecast), strict=True) if weight > 0 and not reason]
    sold = [row for row in used if row[0] == 1]
    days = [day for row in used if (day := row[6] if row[6] is not None else row[5]) is not None]
    newest, match = _day(max(days, default=None)), _match(item, sold)
    when = f", newest {newest.isoformat()}" if newest else ", undated"
    sentence = (
        f"{len(sold)} sold and {len(used) - len(sold)} unsold comps{when}; {match}."
        if used
        else f"No comps of its own ({match})."
    )
    return _Support(len(sold), len(used) - len(sold), len(rows) - len(used), newest, match, sentence)


def _used(rows: list[tuple[Any, ...]], forecast: Forecast) -> Iterator[tuple[float, str]]:
    """Yield each row's weight and why it was set aside; a row without a price has no part in the forecast."""
    each = iter(zip(forecast.weight.tolist(), forecast.aside, strict=True))
    for row in rows:
        yield next(each) if log_price(row) is not None else (0.0, "it names no price")


def _match(item: Item, sold: list[tuple[Any, ...]]) -> str:
    if not sold:
        if item.brand:
            return f"no sale of its own: {item.brand} and its category stand in"
        return "no sale of its own: its category stands in" if item.category else "no sale of its own"
    exact = sum(_closeness(item, row) in ("same code", "same style and size") for row in sold)
    return f"{exact} of {len(sold)} of the very code or size" if exact else f"{len(sold)} of the same style"


def _reason(decision: str, binding: str, most: Decimal | None, shelf: Decimal | None, meaning: dict[str, str]) -> str:
    if most is None:
        return "No rule limits the price."
    why = meaning.get(binding, "").rstrip(".")
    if shelf is None and most > 0:
        return f"No shelf price was given: worth up to {most}. The rule that decides: {why}."
    if decision == "buy":
        assert shelf is not None
        return f"Buy: {most - shelf} of room below the most worth paying, {most}. The rule that decides: {why}."
    if most <= 0:
        return f"Pass at any price. The rule that fails: {why}."
    return f"Pass: it becomes a buy at {most} or less. The rule that decides: {why}."


def _choices(forecast: Forecast) -> tuple[AskChoice, ...]:
    """Show a few asking prices around the chosen one."""
    low = int(np.clip(forecast.chosen - 2, 0, len(forecast.asks) - 5))
    return tuple(
        AskChoice(
            _cents(float(forecast.asks[k])),
            round(float(forecast.by_target[k]), 4),
            forecast.days_half(k),
            _cents(float(forecast.mean_net[k])),
            k == forecast.chosen,
        )
        for k in range(low, low + 5)
    )


def _cents(value: float) -> Decimal:
    return Decimal(repr(float(value))).quantize(_CENT)


def _minor(value: int) -> Decimal:
    return Decimal(value).scaleb(-2)


def _day(value: int | None) -> date | None:
    return None if value is None else _EPOCH + timedelta(days=value)
