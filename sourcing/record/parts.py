"""The parts of the track record: price, time to sell, profit, and the groups they are taken apart by."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from models.price import Floats
from models.scores import RatioStudy, ratio_study
from models.shares import median_interval, needed, share_interval
from models.watched import Bin, Parts, parts, reliability, weights_ended
from sourcing.language import gettext
from sourcing.record.outcomes import HORIZONS, Flags, Outcomes

__all__ = [
    "Bin",
    "GroupLine",
    "PricePart",
    "ProfitPart",
    "SpeedPart",
    "groups",
    "price_part",
    "profit_part",
    "speed_part",
]

FEWEST = 8  # outcomes before anything is said in figures
_WITHIN = 0.10  # a level told to a tenth either way is told
_USUAL = 0.35  # spread of log errors where too few are known to say
_SHARE_NEEDED = 40  # outcomes that tell a coverage of 80 % to ten points either way, nine times in ten
_EPOCH = date(1970, 1, 1)
BUCKET_WORDS = ("0", "1–3", "4–12", "13+")  # own sold comps at the time: `fitting.BUCKETS`


@dataclass(frozen=True)
class PricePart:
    """Forecast over price paid, of sold pieces.

    Attributes
    ----------
    level, low, high : median ratio with its 90 % interval; 1.1 is a tenth too dear. miss : median distance, as a share.
    study : ratio-study statistics; None below three. inside_80, inside_90 : share of prices within the range that was
    forecast, with their interval. more : how many more sales it takes to tell the level to a tenth; 0 is told.
    """

    count: int
    level: float
    low: float
    high: float
    miss: float
    study: RatioStudy | None
    inside_80: tuple[float, float, float] | None
    inside_90: tuple[float, float, float] | None
    more: int


@dataclass(frozen=True)
class SpeedPart:
    """Chances of a sale within some days, of listed pieces, those unsold counted as such.

    ``promised`` and ``made`` are sales until now by the forecasts and in truth; ``more`` how many more sales it takes.
    """

    days: int
    count: int
    sold: int
    unsold: int
    bins: tuple[Bin, ...]
    parts: Parts | None
    forecast: float
    seen: Bin | None
    more: int


@dataclass(frozen=True)
class ProfitPart:
    """What pieces left beside what was expected, before labour; money a piece.

    Of those that ended, weighted so that they speak for those still going on as well: a plain mean speaks for the quick
    ones. ``low`` and ``high`` are the 90 % interval of the gap.
    """

    count: int
    going: int
    expected: float
    left: float
    gap: float
    low: float
    high: float
    more: int


@dataclass(frozen=True)
class GroupLine:
    """One category, store, bucket of evidence or quarter."""

    name: str
    price: PricePart | None
    speed: SpeedPart | None
    profit: ProfitPart | None


def price_part(found: Outcomes) -> PricePart | None:
    """Return how the prices went; None where nothing with a forecast was sold."""
    use = found.priced
    count = int(use.sum())
    if not count:
        return None
    error = found.error[use]
    middle, low, high = median_interval(error)
    spread = 1.4826 * float(np.median(np.abs(error - middle))) if count >= FEWEST else _USUAL
    paid = found.paid[use]

    def inside(below: Floats, above: Floats) -> tuple[float, float, float] | None:
        known = ~np.isnan(below[use])
        if not known.any():
            return None
        hits = int(((paid >= below[use] - 0.005) & (paid <= above[use] + 0.005))[known].sum())
        return hits / int(known.sum()), *share_interval(hits, int(known.sum()))

    return PricePart(
        count, float(np.exp(-middle)), float(np.exp(-high)), float(np.exp(-low)),
        float(np.expm1(np.median(np.abs(error)))), ratio_study(found.mid[use], paid) if count >= 3 else None,
        inside(found.low, found.high), inside(found.wide_low, found.wide_high),
        max(needed(max(spread, 0.05), _WITHIN), FEWEST, _SHARE_NEEDED) - count,
    )  # fmt: skip


def speed_part(found: Outcomes, days: int, bins: int = 6) -> SpeedPart | None:
    """Return how the chances of a sale within ``days`` days went; None where nothing with one was listed."""
    use = found.timed
    count = int(use.sum())
    if not count:
        return None
    chance = found.chance[use, HORIZONS.index(days)]
    time, sold = found.days[use], found.sold[use].astype(np.float64)
    each = max(1, min(bins, count // 15))
    told = reliability(chance, time, sold, days, each)
    (whole,) = reliability(chance, time, sold, days, 1)
    done = parts(chance, time, sold, days, told) if count >= FEWEST and whole.sold is not None else None
    made = int((sold[time <= days] == 1).sum())
    return SpeedPart(
        days, count, made, int((sold == 0).sum()), told, done, float(chance.mean()), whole,
        _SHARE_NEEDED - whole.reached,
    )  # fmt: skip


def profit_part(found: Outcomes) -> ProfitPart | None:
    """Return what ended pieces left beside what was expected; None where none did or nothing was expected."""
    known = ~np.isnan(found.expected)
    few = found.of(known)
    if not len(few) or not few.ended.any():
        return None
    time = np.where(few.ended, few.ended_on, few.today) - few.bought
    weight = weights_ended(np.maximum(time, 0.0), few.ended)
    use = few.ended & (weight > 0)
    w = weight[use] / weight[use].sum()
    expected, left = few.expected[use] - few.landed[use], few.left[use] - few.landed[use]
    gap = left - expected
    mean = float(w @ gap)
    error = float(np.sqrt(np.sum((w * (gap - mean)) ** 2)))
    count = int(use.sum())
    spread = float(np.std(gap)) if count > 1 else 0.0
    usual = max(float(np.mean(np.abs(few.expected[use]))), 1.0)
    return ProfitPart(
        count, int((~few.ended).sum()), float(w @ expected), float(w @ left), mean, mean - 1.645 * error,
        mean + 1.645 * error, max(needed(spread / usual, 0.15), FEWEST) - count,
    )  # fmt: skip


def groups(found: Outcomes, by: str, days: int) -> tuple[GroupLine, ...]:
    """Take the record apart by "category", "store", "evidence" or "period", the largest group first."""
    lines = []
    for name, mask in _split(found, by):
        few = found.of(mask)
        lines.append((int(mask.sum()), GroupLine(name, price_part(few), speed_part(few, days), profit_part(few))))
    if by in ("category", "store"):
        lines.sort(key=lambda one: -one[0])
    return tuple(line for _, line in lines)


def _split(found: Outcomes, by: str) -> list[tuple[str, Flags]]:
    if by == "category":
        return [(name, found.category == at) for at, name in enumerate(found.names) if (found.category == at).any()]
    if by == "store":
        return [(name, found.place == at) for at, name in enumerate(found.places) if (found.place == at).any()]
    if by == "evidence":
        return [
            (gettext("{count} own sales", count=words), found.bucket == at)
            for at, words in enumerate(BUCKET_WORDS)
            if (found.bucket == at).any()
        ]
    quarter = np.array([_quarter(day) for day in found.bought])
    return [(f"{one // 4}, Q{one % 4 + 1}", quarter == one) for one in sorted(set(quarter.tolist()))]


def _quarter(day: float) -> int:
    on = _EPOCH + timedelta(days=int(day))
    return on.year * 4 + (on.month - 1) // 3
