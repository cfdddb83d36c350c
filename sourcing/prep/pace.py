"""Pieces an hour, batch by batch: how a person does against their own past, and beside what the trade says.

The trade's two rules of thumb are common practice with no published source, and do not agree with each other; they are
shown as what they are, and nothing is worked out from them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sourcing.labour import STEPS
from sourcing.language import gettext_noop
from sourcing.prep.batch import FINISHED, Batch

PRACTICE = (  # steps done, pieces an hour, in words
    (("photograph", "list"), 10.0, gettext_noop("about ten pairs an hour")),
    (("clean", "photograph", "list"), 20 * 60 / 105, gettext_noop("20 pairs in 1 h 45 min")),
)
RECENT = 5  # batches


@dataclass(frozen=True)
class Point:
    """One batch: when it ended, pieces an hour in it, and the median of it and the four before it."""

    batch: Batch
    at: datetime
    per_hour: float
    usual: float
    counts: float  # how much it counts among the minutes learnt, 0 to 1


@dataclass(frozen=True)
class Pace:
    """One step against its own past, oldest first."""

    step: str
    points: tuple[Point, ...]

    @property
    def now(self) -> float:
        """Pieces an hour of late: the median of the last batches."""
        return self.points[-1].usual

    @property
    def before(self) -> float | None:
        """The same of the batches before those; None where there are none."""
        past = [point.per_hour for point in self.points[:-RECENT]]
        return _median(past) if past else None


@dataclass(frozen=True)
class Beside:
    """Some steps together beside what the trade says."""

    steps: tuple[str, ...]
    mine: float | None  # pieces an hour of late; None where a step was never timed
    practice: float
    words: str


def paces(batches: Sequence[Batch], say: dict[int, float] | None = None) -> dict[str, Pace]:
    """Lay the finished batches out by step; steps that were never timed are left out."""
    from models.prep import running_median

    found = {}
    for step in STEPS:
        mine = [batch for batch in batches if batch.step == step and batch.state == FINISHED and batch.per_hour]
        mine.sort(key=lambda batch: batch.ended or batch.started)
        if mine:
            each = [batch.per_hour or 0.0 for batch in mine]
            usual = running_median(each, RECENT)
            found[step] = Pace(step, tuple(
                Point(batch, batch.ended or batch.started, each[at], float(usual[at]), (say or {}).get(batch.id, 1.0))
                for at, batch in enumerate(mine)
            ))  # fmt: skip
    return found


def beside(found: dict[str, Pace]) -> tuple[Beside, ...]:
    """Set what a person does beside what the trade says."""
    told = []
    for steps, practice, words in PRACTICE:
        known = [found[step].now for step in steps if step in found]
        mine = 1.0 / sum(1.0 / each for each in known) if len(known) == len(steps) else None
        told.append(Beside(steps, mine, practice, words))
    return tuple(told)


def _median(values: Sequence[float]) -> float:
    from statistics import median

    return median(values)
