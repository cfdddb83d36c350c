"""Put one forecast into words and cents: the verdict as the pages, the JSON and the lists show it."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from functools import lru_cache
from typing import Any, Literal

import numpy as np

from models.price import Floats
from models.robust import Z80, Z90
from sourcing.answer import AskChoice, Comp, Item, Query, Spread, Verdict
from sourcing.day import day_writer
from sourcing.fitting import fold
from sourcing.forecast import DAYS, Forecasts
from sourcing.language import gettext, gettext_noop, separated, spoken

_EPOCH = date(1970, 1, 1)
_STATUS: tuple[Literal["open", "sold", "ended unsold"], ...] = ("open", "sold", "ended unsold")
_CENT = Decimal("0.01")
SOLD_WITHIN = (14, 30, 60, 90)
CAUTIONS = (
    gettext_noop("Look up recalls before you buy: selling recalled goods is unlawful in many places."),
    gettext_noop(
        "If the origin or price looks wrong, do not buy: selling counterfeits can be a crime even unknowingly."
    ),
    gettext_noop("Figures describe past sales; they are no promise and no tax or legal advice."),
)
NO_COMPS = gettext_noop("no comps")
NO_COMPS_OF_IT = gettext_noop("There are no comps of this item.")


@dataclass(frozen=True)
class Figures:
    """N items' figures as plain lists, read off the arrays once: a read an item cost more than the forecast."""

    level: list[list[float]]  # 10, 50 and 90 % of the next comparable sale
    wide: list[list[float]]  # 5 and 95 %
    evidence: list[float]
    ask: list[float]
    mean_net: list[float]
    tied_days: list[float]
    by_target: list[float]
    loss_net: list[float]
    net_quantiles: list[list[float]]
    days_50: list[int]
    days_80: list[int]
    sold_within: list[list[float]]
    support: list[Support]

    def of(self, item: int) -> Figures:
        """Return the figures of one item."""
        return Figures(**{name: values[item : item + 1] for name, values in vars(self).items()})


@dataclass(frozen=True)
class Support:
    """How much speaks for the item: counts, newest day, and how closely it matches."""

    sold: int
    unsold: int
    aside: int
    newest: date | None
    match: str
    sentence: str


def figures(items: list[Item], forecasts: Forecasts) -> Figures:
    """Read the figures of every item off its arrays, rounded as they are kept.

    Rounded before any limit is worked out of them: a pack that holds them so then gives the very same verdict.
    """
    middle = forecasts.mean[:, None] + forecasts.ahead
    z, wide = np.array([-Z80, 0.0, Z80]), np.array([-Z90, Z90])
    of = forecasts.of_choice
    return Figures(
        kept(np.exp(middle + forecasts.spread[:, None] * z), MONEY).tolist(),
        kept(np.exp(middle + forecasts.wide_spread[:, None] * wide), MONEY).tolist(),
        kept(forecasts.evidence, WORTH).tolist(),
        kept(of(forecasts.outcome.ask), MONEY).tolist(),
        kept(of(forecasts.outcome.mean_net), MONEY).tolist(),
        kept(of(forecasts.outcome.mean_days), TIED).tolist(),
        kept(of(forecasts.outcome.by_target), CHANCE).tolist(),
        kept(forecasts.loss_net, MONEY).tolist(),
        kept(forecasts.net_quantiles, MONEY).tolist(),
        forecasts.days_for(0.5).tolist(),
        forecasts.days_for(0.8).tolist(),
        kept(forecasts.sold_by(SOLD_WITHIN), CHANCE).tolist(),
        _supports(items, forecasts),
    )


MONEY, WORTH, TIED, CHANCE = 2, 2, 1, 4
"""Decimals to which figures are kept: amounts, evidence in sales, days tied up, chances."""


def kept(values: Floats, decimals: int) -> Floats:
    """Round figures of a forecast to what is kept of them; never a negative zero."""
    rounded: Floats = np.round(values, decimals) + 0.0
    return rounded


def _supports(items: list[Item], forecasts: Forecasts) -> list[Support]:
    """Count the rows that were used and say in words what each verdict rests on."""
    seen, count = forecasts.seen, len(items)
    used = (forecasts.weight > 0) & ~forecasts.aside
    sold = np.bincount(seen.owner[used & seen.sold], minlength=count).tolist()
    every = np.bincount(seen.owner[used], minlength=count).tolist()
    size = np.diff(seen.start).tolist()
    exact = np.bincount(seen.owner[used & seen.sold & (seen.same_code | seen.same_size)], minlength=count).tolist()
    newest = np.full(count, -np.inf)
    dated = used & ~np.isnan(seen.when)
    np.maximum.at(newest, seen.owner[dated], seen.when[dated])
    # Looked up once: a list has thousands of items.
    dated_words = gettext("{sold} sold and {unsold} unsold comps, newest {day}; {match}.")
    undated_words = gettext("{sold} sold and {unsold} unsold comps, undated; {match}.")
    none_words = gettext("No comps of its own ({match}).")
    found, written = [], day_writer()
    for at, item in enumerate(items):
        day = to_day(int(newest[at])) if newest[at] > -np.inf else None
        match = _match(item, sold[at], exact[at])
        words = (dated_words if day else undated_words) if every[at] else none_words
        sentence = words.format(sold=sold[at], unsold=every[at] - sold[at], day=day and written(day), match=match)
        found.append(Support(sold[at], every[at] - sold[at], size[at] - every[at], day, match, sentence))
    return found


def _match(item: Item, sold: int, exact: int) -> str:
    if not sold:
        if item.brand:
            return gettext("no sale of its own: {brand} and its category stand in", brand=item.brand)
        if item.category:
            return gettext("no sale of its own: its category stands in")
        return gettext("no sale of its own")
    if exact:
        return gettext("{exact} of {sold} of the very code or size", exact=exact, sold=sold)
    return gettext("{sold} of the same style", sold=sold)


def comps(item: Item, rows: list[tuple[Any, ...]], forecasts: Forecasts, at: int) -> tuple[Comp, ...]:
    """Describe every row of one item, newest first; weights are shares of the whole weight of the own comps."""
    seen = forecasts.seen
    mine = slice(int(seen.start[at]), int(seen.start[at + 1]))
    weight = forecasts.weight[mine]
    shares = np.round(weight / (float(weight.sum()) or 1.0), 4).tolist()
    priced, aside, distance = seen.priced[mine].tolist(), forecasts.aside[mine].tolist(), forecasts.distance[mine]
    found = []
    for k, row in enumerate(rows):
        stop = row[7] if row[0] == 0 else row[6]
        found.append(
            Comp(
                status=_STATUS[row[0]],
                paid=_minor((row[3] or 0) + (row[4] or 0)) if row[0] == 1 and row[3] else None,
                asking_price=_minor(row[2]) if row[2] is not None else None,
                listed_on=to_day(row[5]),
                ended_on=to_day(row[6]),
                days=stop - row[5] if stop is not None and row[5] is not None else None,
                size=row[8],
                condition=row[9],
                channel=row[10],
                title=row[11],
                match=_closeness(item, row),
                weight=shares[k],
                set_aside=_why(seen.words[mine.start + k], aside[k], float(distance[k]))
                if priced[k]
                else gettext("it names no price"),
            )
        )
    return tuple(sorted(found, key=lambda comp: comp.ended_on or comp.listed_on or _EPOCH, reverse=True))


def _why(word: str, aside: bool, distance: float) -> str:
    if not aside:
        return ""
    if word:
        if distance > 0:
            return gettext("its text says “{word}” and its price lies above the others", word=word)
        return gettext("its text says “{word}” and its price lies below the others", word=word)
    times = separated(f"{abs(distance):.1f}")
    if distance > 0:
        return gettext("its price lies far above the others ({times} times the usual spread)", times=times)
    return gettext("its price lies far below the others ({times} times the usual spread)", times=times)


def _closeness(item: Item, row: tuple[Any, ...]) -> str:
    if item.gtin and row[1] == int(item.gtin):
        return gettext("same code")
    if item.size and fold(row[8]) == fold(item.size):
        return gettext("same style and size")
    return gettext("same style, other size") if row[8] and item.size else gettext("same style")


def choices(forecasts: Forecasts, at: int) -> tuple[AskChoice, ...]:
    """Show a few asking prices around the chosen one."""
    outcome, chosen = forecasts.outcome, int(forecasts.chosen[at])
    low = min(max(chosen - 2, 0), outcome.ask.shape[1] - 5)
    return tuple(
        AskChoice(
            to_cents(float(outcome.ask[at, k])),
            round(float(outcome.by_target[at, k]), 4),
            forecasts.days_half(at, k),
            to_cents(float(outcome.mean_net[at, k])),
            k == chosen,
        )
        for k in range(low, low + 5)
    )


def curve(forecasts: Forecasts, at: int) -> tuple[tuple[int, float], ...]:
    """Share sold by day at the chosen asking price, as far as half a year."""
    shares = forecasts.sold_share[at]
    return tuple((int(day), round(float(share), 4)) for day, share in zip(DAYS, shares, strict=True) if day <= 180)


def reason(
    decision: str,
    binding: str,
    most: Decimal | None,
    shelf: Decimal | None,
    meaning: dict[str, str],
    write: Callable[[Decimal], str] = str,
) -> str:
    """Say in one sentence what decided; ``write`` shows an amount of money."""
    if most is None:
        return gettext("No rule limits the price.")
    why = meaning.get(binding, "").rstrip(".")
    if shelf is None and most > 0:
        return gettext(
            "No shelf price was given: worth up to {most}. The rule that decides: {rule}.", most=write(most), rule=why
        )
    if decision == "buy":
        assert shelf is not None
        return gettext(
            "Buy: {room} of room below the most worth paying, {most}. The rule that decides: {rule}.",
            room=write(most - shelf),
            most=write(most),
            rule=why,
        )
    if most <= 0:
        return gettext("Pass at any price. The rule that fails: {rule}.", rule=why)
    return gettext(
        "Pass: it becomes a buy at {most} or less. The rule that decides: {rule}.", most=write(most), rule=why
    )


def spread(values: Iterable[float]) -> Spread:
    """Three quantiles in cents."""
    low, mid, high = (to_cents(value) for value in values)
    return Spread(low, mid, high)


def to_cents(value: float) -> Decimal:
    """Round a float of the statistics to cents, half to even on its shortest decimal form."""
    if not math.isfinite(value):
        raise ValueError(f"not an amount: {value}")
    return Decimal(repr(value)).quantize(_CENT) + 0  # never a negative zero


def to_day(value: int | None) -> date | None:
    """Turn days since 1970-01-01 into a date."""
    return None if value is None else _EPOCH + timedelta(days=value)


def nothing(query: Query, item: Item, currency: str, values: dict[str, Any] | None = None) -> Verdict:
    """Return a verdict that says nothing yet beyond ``values``."""
    blank: dict[str, Any] = {
        "query": query,
        "item": item,
        "currency": currency,
        "shelf_price": query.shelf_price,
        "cautions": _said_cautions(spoken()),
        **_BLANK,
        "match": gettext(NO_COMPS),
        "rests_on": gettext(NO_COMPS_OF_IT),
    }
    return Verdict(**(blank | values if values else blank))


@lru_cache
def _said_cautions(_language: str) -> tuple[str, ...]:
    return tuple(gettext(one) for one in CAUTIONS)


_BLANK: dict[str, Any] = {
    "decision": "too little to go on",
    "reason": "",
    "binding_rule": "",
    "speed_basis": "",
    "sold_within": {},
    "comps_sold": 0,
    "comps_unsold": 0,
    "comps_set_aside": 0,
} | dict.fromkeys(
    (
        "most_worth_paying",
        "landed_cost",
        "asking_price",
        "sale_price",
        "sale_price_wide",
        "days_50",
        "days_80",
        "expected_proceeds",
        "proceeds",
        "profit_before_labour",
        "profit_after_labour",
        "profit",
        "profit_per_hour",
        "chance_of_loss",
        "newest_comp",
    )
)


def _minor(value: int) -> Decimal:
    return Decimal(value).scaleb(-2)
