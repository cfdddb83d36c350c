"""Which stores pay and on which days: what an hour brings there, with its uncertainty, and how sure the ranking is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from models.stores import Levels, levels
from sourcing.money import cents
from sourcing.settings_file import folded
from sourcing.stores.bring import Brought

FEWEST_RUNS = 3  # of a store; below it is shown, and called too few to tell
FEWEST_IN_ALL = 5  # runs, before anything is said of stores against each other
SURE = 0.8  # the chance from which a ranking is called likely


@dataclass(frozen=True)
class Place:
    """One store.

    Attributes
    ----------
    an_hour : profit over hours of its own runs as they are. level, low, high : what an hour there brings, learnt from
    all runs, with its 90 % interval. best : chance of being the best of all. pays : chance that it brings more than an
    hour of yours is worth. ahead : chance of really being ahead of the next store in the list; None for the last.
    """

    name: str
    runs: tuple[Brought, ...]  # newest first
    an_hour: Decimal
    level: float
    low: float
    high: float
    best: float
    pays: float
    ahead: float | None

    @property
    def few(self) -> bool:
        """Whether its runs are too few to tell."""
        return len(self.runs) < FEWEST_RUNS

    @property
    def realised(self) -> Decimal:
        """Realised profit of all its runs, mileage taken off."""
        return sum((one.realised_profit for one in self.runs), Decimal(0))

    @property
    def profit(self) -> Decimal:
        """Realised and promised profit of all its runs."""
        return sum((one.profit for one in self.runs), Decimal(0))

    @property
    def hours(self) -> float:
        """Hours of all its runs."""
        return sum(one.minutes for one in self.runs) / 60


@dataclass(frozen=True)
class OnDay:
    """One day of the week, Monday being 0; ``level`` and its interval are those of a usual store."""

    weekday: int
    runs: int
    level: float
    low: float
    high: float


@dataclass(frozen=True)
class Standing:
    """All stores, the best first, and the days of the week; no levels where there are too few runs to tell."""

    places: tuple[Place, ...]
    days: tuple[OnDay, ...]
    runs: int
    unnamed: int  # runs without a store's name, which count for the days alone
    untimed: int  # runs whose driving or shopping is not known, so that their hours are too few
    enough: bool  # whether stores may be ranked at all
    worth: float  # what an hour is worth by the settings

    @property
    def sure(self) -> bool:
        """Whether the first is likely the best."""
        return self.enough and len(self.places) > 1 and self.places[0].best >= SURE


def standing(found: Sequence[Brought], worth: Decimal) -> Standing:
    """Rank the stores by what an hour there brings, driving, prep and selling counted; ``worth`` is of one hour."""
    use = [one for one in found if one.counts]
    untimed = sum(one.trip.missing for one in use)
    if not use:
        return Standing((), (), 0, 0, 0, False, float(worth))
    names: dict[str, str] = {}
    for one in use:  # newest first: the last spelling is shown
        names.setdefault(folded(one.store), one.store)
    keys = list(names)
    place = np.array([keys.index(folded(one.store)) for one in use], dtype=np.int64)
    hours = np.array([one.minutes / 60 for one in use])
    each = np.array([float(one.profit) for one in use]) / hours
    weekday = np.array([one.day.weekday() for one in use], dtype=np.int64)
    told = levels(each, hours, place, weekday, len(keys))
    named = [at for at, key in enumerate(keys) if key]
    places = _places(told, named, keys, names, use, place, hours, float(worth))
    low, high = told.day_interval()
    middle = told.days.mean(axis=0)
    days = tuple(
        OnDay(at, int((weekday == at).sum()), float(middle[at]), float(low[at]), float(high[at])) for at in range(7)
    )
    enough = len(use) >= FEWEST_IN_ALL and sum(not one.few for one in places) > 1
    return Standing(places, days, len(use), sum(not one.store for one in use), untimed, enough, float(worth))


def _places(
    told: Levels, named: list[int], keys: list[str], names: dict[str, str], use: Sequence[Brought],
    place: np.ndarray, hours: np.ndarray, worth: float,
) -> tuple[Place, ...]:  # fmt: skip
    if not named:
        return ()
    mine = Levels(told.stores[:, named], told.days, told.spread, told.luck)
    middle, (low, high) = mine.stores.mean(axis=0), mine.interval()
    best, pays = mine.best(), mine.over(worth)
    order = np.argsort(-middle, kind="stable")
    ahead = [*mine.ahead(order).tolist(), None]
    found = []
    for rank, at in enumerate(order.tolist()):
        own = tuple(one for one, where in zip(use, place, strict=True) if where == named[at])
        spent = Decimal(str(round(float(hours[place == named[at]].sum()), 4)))
        found.append(Place(
            names[keys[named[at]]], own, cents(sum((one.profit for one in own), Decimal(0)) / spent), float(middle[at]),
            float(low[at]), float(high[at]), float(best[at]), float(pays[at]), ahead[rank],
        ))  # fmt: skip
    return tuple(found)
