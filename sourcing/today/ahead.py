"""The forecast of listed pieces from today on: chances of a sale, the asking price to move to, what that gains."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal
from typing import Any

import numpy as np

from models.price import Floats
from models.proceeds import STEPS
from models.standing import (
    LEAST_AHEAD,
    Pace,
    Spells,
    gains,
    outcomes_ahead,
    plan_ahead,
    quantiles,
    sells_ahead,
    sells_within,
    unsold_so_far,
)
from sourcing.answer import Query
from sourcing.evidence import gather
from sourcing.fitting import Fit, current_fit, fold
from sourcing.flags.marked import flagged
from sourcing.forecast import Forecasts, forecast_group
from sourcing.objective import values
from sourcing.outcomes.mark import OWN
from sourcing.rules import DEAREST
from sourcing.settings import CategorySettings, Settings
from sourcing.stock.item import StockItem, day_number
from sourcing.storage import Store
from sourcing.verdict import to_cents

AHEAD = (14, 30)
_BETTER = 0.02  # share of the worth of a listing by which another price must do better to be worth a tap
AT_ONCE = 2_000  # pieces forecast in one pass: memory stays small, and more together are no quicker
_NOTE = 12  # in rows of `lookup.COLUMNS_READ`


@dataclass(frozen=True)
class Move:
    """The asking price to move to now; ``gain`` is expected, with an 80 % interval, cash tied up counted.

    It is below 0 where the price is moved for the chance of a sale that the rules want, and costs something.
    """

    to: Decimal
    gain: Decimal
    low: Decimal
    high: Decimal
    sooner: int  # days, on average; below 0 it is later


@dataclass(frozen=True)
class FromToday:
    """One listed piece from today on.

    Attributes
    ----------
    chances : by days ahead at today's asking price, given that it has not sold yet; empty where nothing is known of the
    time to sell. after : the same at the price to move to. move : None where the price is best left as it is, or where
    there is too little to go on, which ``why`` says. left : days until the plan gives it up, 0 when that is over.
    """

    item: StockItem
    days: int
    chances: dict[int, float] = field(default_factory=dict)
    after: dict[int, float] = field(default_factory=dict)
    move: Move | None = None
    left: int = 0
    why: str = ""


TOO_LITTLE, NO_DATES, BEST = WHYS = ("too little to go on", "no listing dates", "best as it is")


def from_today(store: Store, items: Sequence[StockItem], settings: Settings, today: date) -> list[FromToday]:
    """Forecast listed pieces from today on, all of a category, flags and channel in one vectorised pass.

    A piece's own listing is among the comps as an open one; it is left out here: the forecast is told of it exactly.
    """
    if len(items) > AT_ONCE:
        parts = (items[at : at + AT_ONCE] for at in range(0, len(items), AT_ONCE))
        return [one for part in parts for one in from_today(store, part, settings, today)]
    fit = current_fit(store)
    queries = [_query(item) for item in items]
    evidence = gather(store, queries, suggest=False)
    groups: dict[tuple[str, tuple[str, ...], str], list[int]] = {}
    for at, known in enumerate(evidence.items):
        listing = items[at].listing
        assert listing is not None, "listed pieces have a listing"
        groups.setdefault((fold(known.category), known.flags, listing.channel), []).append(at)
    found: dict[int, FromToday] = {}
    for (category, flags, channel), members in groups.items():
        mine = [items[at] for at in members]
        if fit is None:
            for at in members:
                found[at] = FromToday(items[at], _days(items[at], today), why=TOO_LITTLE)
            continue
        deal = flagged(settings.for_category(category), settings, flags).on(channel)
        rows = [_others(evidence.rows[at], items[at]) for at in members]
        known_items = [replace(evidence.items[at], flags=flags) for at in members]
        forecasts = forecast_group(fit, category, known_items, rows, deal.terms, deal.rules)
        found.update(zip(members, _of_group(forecasts, fit, category, deal, mine, today), strict=True))
    return [found[at] for at in range(len(items))]


def spells_of(items: Sequence[StockItem], today: date) -> Spells:
    """Lay out the asking prices so far of listed pieces."""
    now = day_number(today)
    start, listed, owner, since, until, price = [], [], [], [], [], []
    for at, item in enumerate(items):
        assert item.listing is not None, "listed pieces have a listing"
        asked = item.listing.asked
        first = day_number(asked[0].on)
        start.append(first)
        listed.append(max(now - first, 0))
        ends = [*(day_number(one.on) for one in asked[1:]), max(now, first)]
        for one, end in zip(asked, ends, strict=True):
            owner.append(at)
            since.append(day_number(one.on) - first)
            until.append(max(end - first, day_number(one.on) - first))
            price.append(float(one.price))
    return Spells(
        np.array(start, dtype=float), np.array(listed, dtype=float), np.array(owner, dtype=np.int64),
        np.array(since, dtype=float), np.array(until, dtype=float), np.array(price),
    )  # fmt: skip


def _of_group(
    forecasts: Forecasts, fit: Fit, category: str, deal: CategorySettings, items: Sequence[StockItem], today: date
) -> list[FromToday]:
    """Do as `from_today` for pieces of one category, with one set of flags, on one channel."""
    rules, terms, plan = deal.rules, deal.terms, forecasts.plan
    spells = spells_of(items, today)
    last = float((spells.start + spells.listed).max()) + max(plan.give_up, rules.target_days, *AHEAD) + LEAST_AHEAD
    pace = Pace.of(forecasts.rate, forecasts.season, float(spells.start.min()), last)
    known = unsold_so_far(forecasts.prospects, spells, pace)
    now = spells.now
    ahead = plan_ahead(plan, spells, pace)
    ask = _asks(forecasts, fit, now)
    # Counted from today: the days gone by cannot be had back, and would ask for a price that gives the piece away.
    wanted = sells_within(known, ask, spells, pace, rules.target_days)
    outcome = outcomes_ahead(known, ask, ahead, plan, forecasts.costs, forecasts.haggle, wanted)
    worth = values(outcome, terms, rules)
    best = worth.argmax(axis=1)
    each = np.arange(len(items))
    if rules.objective != DEAREST:
        # What is not clearly better is not worth a tap, nor a question of the buyer's about yesterday's price.
        stays = worth[each, best] - worth[:, -1] <= _BETTER * np.abs(outcome.mean_net[:, -1])
        best = np.where(stays, ask.shape[1] - 1, best)
    then = ask[each, best]
    cost = np.array([float(item.landed_cost) for item in items]) * float(terms.capital_rate) / 365.0
    kin = fit.categories.get(category)
    bend = kin.errors.get("slope", 0.0) if kin is not None else 0.0
    gain, weight = gains(known, now, then, ahead, plan, forecasts.costs, forecasts.haggle, cost, bend)
    spread = quantiles(gain, weight, (0.1, 0.9))
    mean = (outcome.mean_net - cost[:, None] * outcome.mean_days)[each, best]
    mean = mean - outcome.mean_net[:, -1] + cost * outcome.mean_days[:, -1]
    chance = [sells_ahead(known, price, spells, pace, np.array(AHEAD, dtype=float)) for price in (now, then)]
    enough = forecasts.evidence >= float(rules.least_comps or 0)
    answers = []
    for at, item in enumerate(items):
        days, left = int(spells.listed[at]), max(int(plan.give_up - spells.listed[at]), 0)
        one = FromToday(item, days, left=left)
        if not enough[at] or not forecasts.speed_basis:
            answers.append(replace(one, why=NO_DATES if enough[at] else TOO_LITTLE))
            continue
        one = replace(one, chances=_by_day(chance[0][at]), after=_by_day(chance[1][at]))
        if best[at] == ask.shape[1] - 1:
            answers.append(replace(one, why=BEST))
            continue
        sooner = outcome.mean_days[at, -1] - outcome.mean_days[at, best[at]]
        to, gained, low, high = (to_cents(float(value)) for value in (then[at], mean[at], *spread[at]))
        answers.append(replace(one, move=Move(to, gained, low, high, round(float(sooner)))))
    return answers


def _asks(forecasts: Forecasts, fit: Fit, now: Floats) -> Floats:
    """Asking prices tried, today's last: (N, STEPS + 1)."""
    low, high = np.log(forecasts.outcome.ask[:, 0]), np.log(forecasts.outcome.ask[:, -1])
    tried = np.round(np.exp(np.linspace(low, high, STEPS, axis=1)), 2)
    return np.column_stack([np.maximum(tried, 0.01), now])


def _by_day(chances: Floats) -> dict[int, float]:
    return dict(zip(AHEAD, np.round(chances, 4).tolist(), strict=True))


def _days(item: StockItem, today: date) -> int:
    assert item.listing is not None
    return max((today - item.listing.listed_on).days, 0)


def _others(rows: list[tuple[Any, ...]], item: StockItem) -> list[tuple[Any, ...]]:
    """Return the comps that are not this very listing."""
    mine = f"{OWN}{item.id}"
    return [row for row in rows if row[0] or not row[_NOTE].startswith(OWN) or row[_NOTE].split(";")[0] != mine]


def _query(item: StockItem) -> Query:
    return Query(
        code=item.gtin or item.style_code, brand=item.brand, category=item.category, title=item.title or item.what,
        size=item.size, condition=item.condition, flags=item.flags,
    )  # fmt: skip
