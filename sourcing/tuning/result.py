"""What the bench answers: plain frozen records for the pages, the JSON and the command line. Figures are estimates."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any


@dataclass(frozen=True)
class Band:
    """An estimate and the ends of its 90 % band."""

    low: float
    mid: float
    high: float


@dataclass(frozen=True)
class Point:
    """What one threshold would have brought, all its buys together; money and hours of all the occasions replayed."""

    threshold: Decimal | None  # None: the rule is off
    buys: int
    profit: Band  # after labour and cash
    cash: Band  # tied up on average over the days replayed
    outlay: float  # paid at the till
    hours: float  # of prep
    per_hour: Band | None  # profit before labour per hour of prep; None without prep or buys
    per_cash: Band | None  # profit a year per unit of cash tied up; None without buys


@dataclass(frozen=True)
class Gain:
    """What choosing the threshold brought over today's, on days and items that had no part in the choice."""

    enough: bool
    why: str  # why it is too few to tell; "" where it is told
    amount: Band | None  # in the objective's own unit
    share: float | None  # of today's figure; None where that is not above 0
    profit: Band | None  # the same choice's gain in money
    in_sample: float | None  # the flattering one: of the best on these very occasions, in the objective's unit
    folds: int
    occasions: int


@dataclass(frozen=True)
class Suggestion:
    """A change of one rule that can be accepted in one step."""

    category: str
    rule: str
    was: Decimal | None
    value: Decimal | None
    objective: str
    why: str  # kept with the settings


@dataclass(frozen=True)
class Frontier:
    """One category as one rule moves, from the loosest threshold to the strictest."""

    category: str  # "": without one
    rule: str
    unit: str  # of the thresholds: "money", "share" or "count"
    meaning: str
    source: str  # "history" or "drawn"
    source_words: str
    occasions: int
    styles: int
    by_own_outcome: int
    by_later_comps: int
    first_day: date
    last_day: date
    points: tuple[Point, ...]
    today: int  # index of the setting in force
    best: int | None  # index of the objective's best; None: no setting had buys enough
    best_range: tuple[Decimal | None, Decimal | None]  # thresholds nine in ten resamples put the best between
    gain: Gain
    words: str
    left_out: tuple[tuple[str, int], ...]
    suggestion: Suggestion | None


@dataclass(frozen=True)
class Bench:
    """The frontiers of the categories asked for."""

    frontiers: tuple[Frontier, ...]
    rule: str
    objective: str
    currency: str
    left_out: tuple[tuple[str, int], ...]  # of all categories together: why, and how many occasions
    made_at: datetime
    notes: tuple[str, ...]  # what must be said with it

    def as_dict(self) -> dict[str, Any]:
        """Return it for JSON: amounts as text, days as ISO dates."""
        found: dict[str, Any] = _plain(dataclasses.asdict(self))
        return found


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _plain(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(one) for one in value]
    if isinstance(value, Decimal):
        return str(value)
    if isinstance(value, date):  # a datetime is one too
        return value.isoformat()
    if isinstance(value, float):
        return round(value, 4)
    return value
