"""What happened to stock day by day, in cents and pieces: every figure of a period is a sum over its days.

Sums by day are read once, a few thousand at most, however many pieces there are; any month, year or pair of dates is
then a matter of adding up.
"""

from __future__ import annotations

import json
from bisect import bisect_left
from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import date, datetime
from decimal import Decimal
from operator import add, sub

from sourcing.books.origins import origins
from sourcing.flags.marked import flagged
from sourcing.money import cents, to_minor
from sourcing.settings import Settings
from sourcing.stock.item import day_number, to_date
from sourcing.storage import Store
from sourcing.stores.trip import trips


@dataclass
class Day:
    """Sums of one day, or of several; amounts are cents, distances tenths of the unit.

    ``*_cost`` are landed costs of the pieces that came or went. Fees and postage are those that were recorded;
    ``fees_unknown`` and ``postage_unknown`` count the sales without. Supplies are as the terms have them.
    """

    bought: int = 0
    bought_cost: int = 0
    sold: int = 0
    sold_cost: int = 0
    paid: int = 0
    fees: int = 0
    fees_unknown: int = 0
    postage: int = 0
    postage_unknown: int = 0
    supplies: int = 0
    back: int = 0
    back_cost: int = 0
    refunded: int = 0
    return_costs: int = 0
    given: int = 0
    given_cost: int = 0
    given_got: int = 0
    runs: int = 0
    distance: int = 0
    mileage: int = 0

    def add(self, other: Day) -> None:
        """Add another day's sums to these."""
        for name in _NAMES:
            setattr(self, name, getattr(self, name) + getattr(other, name))

    def figures(self) -> tuple[int, ...]:
        """Return the sums, in the order in which they are declared."""
        return tuple(getattr(self, name) for name in _NAMES)

    @property
    def stock_cost(self) -> int:
        """By how much stock at cost is more at the end than at the beginning."""
        return self.bought_cost - self.sold_cost + self.back_cost - self.given_cost

    @property
    def stock(self) -> int:
        """By how many pieces stock is more at the end than at the beginning."""
        return self.bought - self.sold + self.back - self.given


_NAMES = tuple(one.name for one in fields(Day))


class Days:
    """All days on which something happened, as running sums: any stretch of days is a difference of two of them."""

    def __init__(self, by_day: Mapping[int, Day]) -> None:
        self._days = sorted(by_day)
        self._sums = [(0,) * len(_NAMES)]
        for number in self._days:
            self._sums.append(tuple(map(add, self._sums[-1], by_day[number].figures())))

    @property
    def first(self) -> date | None:
        """The first day on which anything happened."""
        return to_date(self._days[0]) if self._days else None

    def between(self, first: date, last: date) -> Day:
        """Add up from the beginning of one day to the end of another."""
        return Day(*map(sub, self._until(day_number(last) + 1), self._until(day_number(first))))

    def before(self, day: date) -> Day:
        """Add up all that was before a day."""
        return Day(*self._until(day_number(day)))

    def _until(self, number: int) -> tuple[int, ...]:
        return self._sums[bisect_left(self._days, number)]


def read_days(store: Store, settings: Settings) -> Days:
    """Read what happened on every day."""
    found: dict[int, Day] = {}

    def at(number: int) -> Day:
        return found.setdefault(number, Day())

    for day, count, cost in store.read("SELECT bought_on, COUNT(*), SUM(landed) FROM stock_item GROUP BY bought_on"):
        at(day).bought += count
        at(day).bought_cost += cost
    _by_origin(store, found)
    for day, count, cost, paid, fees, postage, no_fees, no_postage in store.read(
        "SELECT s.sold_on, COUNT(*), SUM(i.landed), SUM(s.paid), TOTAL(s.fees), TOTAL(s.postage), SUM(s.fees IS NULL), "
        "SUM(s.postage IS NULL) FROM stock_sale s JOIN stock_item i ON i.id = s.item_id GROUP BY s.sold_on"
    ):
        at(day).add(Day(
            sold=count, sold_cost=cost, paid=paid, fees=int(fees), postage=int(postage), fees_unknown=no_fees,
            postage_unknown=no_postage,
        ))  # fmt: skip
    for day, count, cost, refunded, way_back in store.read(
        "SELECT s.returned_on, COUNT(*), SUM(i.landed), TOTAL(s.refunded), TOTAL(s.return_cost) FROM stock_sale s "
        "JOIN stock_item i ON i.id = s.item_id WHERE s.returned_on IS NOT NULL GROUP BY s.returned_on"
    ):
        at(day).add(Day(back=count, back_cost=cost, refunded=int(refunded), return_costs=int(way_back)))
    for day, count, cost, got in store.read(
        "SELECT ended_on, COUNT(*), SUM(landed), TOTAL(got) FROM stock_item WHERE state = 'given up' GROUP BY ended_on"
    ):
        at(day).add(Day(given=count, given_cost=cost, given_got=int(got)))
    supplies = Supplies(settings)
    for day, category, flags, count in store.read(
        "SELECT s.sold_on, i.category, i.flags, COUNT(*) FROM stock_sale s JOIN stock_item i ON i.id = s.item_id "
        "GROUP BY s.sold_on, i.category, i.flags"
    ):
        at(day).supplies += count * supplies.of(category, flags)
    told = trips(store)
    for number, started in store.read("SELECT id, started_at FROM haul"):
        distance = told[number].counts.distance
        if distance:
            on = datetime.fromisoformat(started).astimezone().date()
            cost = to_minor(driving(settings, on, distance))
            at(day_number(on)).add(Day(runs=1, distance=int(distance.scaleb(1)), mileage=cost))
    return Days(found)


def driving(settings: Settings, on: date, distance: Decimal) -> Decimal:
    """Return what driving a distance cost, by the rate of its day, rounded half up to the cent."""
    return cents(distance * settings.business.rate_on(on))


class Supplies:
    """What packing takes by category and flags, in cents; each looked up once."""

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        self._known: dict[tuple[str, str], int] = {}

    def of(self, category: str, flags: str) -> int:
        """Return the supplies of one sale; ``flags`` are JSON as stock keeps them."""
        key = (category, flags)
        if key not in self._known:
            deal = flagged(self._settings.for_category(category), self._settings, tuple(json.loads(flags)))
            self._known[key] = to_minor(deal.terms.supplies)
        return self._known[key]


def _by_origin(store: Store, found: dict[int, Day]) -> None:
    """Put the cost of joined pieces on the days on which they were bought: the lot itself has the last of them."""
    own = origins(store.read)
    bought = dict(store.read("SELECT id, bought_on FROM stock_item WHERE part_of IS NOT NULL")) if own else {}
    for number, shares in own.items():
        for share in shares:
            if share.bought_on != bought[number]:
                found[bought[number]].bought_cost -= share.cents
                found.setdefault(share.bought_on, Day()).bought_cost += share.cents
