"""Corrections that would have helped out of sample: offered with their gain, never applied unasked.

All categories together are tried first, then each with enough outcomes on what the first leaves over. That many tries
find something by luck more often than one, so the level is shared out among them (Bonferroni).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from models.price import Floats
from models.walkforward import STEP, Gain, correct_level, correct_speed
from sourcing.record.corrected import Kind
from sourcing.record.outcomes import KNOTS, Flags, Outcomes

LEVEL = 0.05  # chance that anything at all is offered to a user with nothing to correct
LEAST_SALES, LEAST_IN_CATEGORY = 40, 60
_WORTH = 0.03  # a shift or a log factor below that is not worth a tap


@dataclass(frozen=True)
class Offer:
    """One correction and what it would have brought.

    Attributes
    ----------
    value : shift in log price, or log of the factor of the hazard. low, high : its 90 % interval. rests_on : sales.
    judged : pieces it was judged on, none of them known when it was learnt. gain, gain_low, gain_high : see below.
    before : what a price missed by without it. p : chance of such a gain with nothing to correct.

    The gain of a shift is in points of the median miss; that of a factor is by how many percent likelier it makes what
    happened, a piece.
    """

    kind: Kind
    category: str
    value: float
    low: float
    high: float
    rests_on: int
    judged: int
    gain: float
    gain_low: float
    gain_high: float
    before: float
    p: float

    @property
    def name(self) -> str:
        """What tells it from others."""
        return f"{self.kind}:{self.category}"

    @property
    def change(self) -> float:
        """The correction as a share: 0.1 is a tenth more."""
        return float(np.expm1(self.value))

    def as_dict(self) -> dict[str, Any]:
        """Return a JSON-able mapping."""
        return asdict(self)


@dataclass(frozen=True)
class Tried:
    """What was tried: the offers, and how many sales are lacking where too few are known to try at all."""

    offers: tuple[Offer, ...]
    tries: int
    lacking: int  # sales until the first try; 0 where there was one


def offers(found: Outcomes) -> Tried:
    """Try every correction and return those that helped beyond luck."""
    priced, timed = found.of(found.priced), found.of(found.timed)
    enough = {
        at
        for at in range(len(found.names))
        if (priced.category == at).sum() >= LEAST_IN_CATEGORY and len(set(found.category.tolist())) > 1
    }
    if len(priced) < LEAST_SALES:
        return Tried((), 0, LEAST_SALES - len(priced))
    tries = 2 * (1 + len(enough))
    kept = [*_levels(priced, enough, LEVEL / tries), *_speeds(timed, enough, LEVEL / tries)]
    return Tried(tuple(kept), tries, 0)


def _levels(few: Outcomes, enough: set[int], level: float) -> Iterator[Offer]:
    error = few.error
    gain = correct_level(error, few.bought, few.sold_on, few.style)
    first = _offer("price", "", gain, gain.value, gain.low, gain.high, level)
    if first is not None:
        yield first
        error = error - np.nan_to_num(gain.by_outcome)
    for at in sorted(enough):
        here: Flags = few.category == at
        own = correct_level(error[here], few.bought[here], few.sold_on[here], few.style[here])
        found = _offer("price", few.names[at], own, own.value, own.low, own.high, level)
        if found is not None:
            yield found


def _speeds(few: Outcomes, enough: set[int], level: float) -> Iterator[Offer]:
    if not len(few):
        return
    event = few.sold.astype(np.float64)
    gain = correct_speed(few.hazard, KNOTS, few.listed, few.days, event, few.ids)
    first = _offer("speed", "", gain, *_logs(gain), level)
    already: Floats | None = None
    if first is not None:
        yield first
        already = gain.by_outcome
    begun = float(few.listed.min())
    for at in sorted(enough):
        here: Flags = few.category == at
        if here.sum() < LEAST_IN_CATEGORY:
            continue
        mine = few.of(here)
        there = None if already is None else already[int((mine.listed.min() - begun) // STEP) :]
        if there is not None:  # steps of its own begin with its own first listing, up to one step later
            there = np.append(there, there[-1:])
        own = correct_speed(mine.hazard, KNOTS, mine.listed, mine.days, mine.sold.astype(float), mine.ids, 20.0, there)
        found = _offer("speed", few.names[at], own, *_logs(own), level)
        if found is not None:
            yield found


def _logs(gain: Gain) -> tuple[float, float, float]:
    with np.errstate(divide="ignore"):
        return float(np.log(gain.value)), float(np.log(gain.low)), float(np.log(gain.high))


def _offer(kind: Kind, category: str, gain: Gain, value: float, low: float, high: float, level: float) -> Offer | None:
    if gain.p >= level or abs(value) < _WORTH or low <= 0 <= high:
        return None
    return Offer(
        kind, category, value, low, high, gain.rests_on, gain.judged, gain.gain, gain.gain_low, gain.gain_high,
        gain.before, gain.p,
    )  # fmt: skip
