"""Lay out how old the evidence is by category; ``templates/table/_ages.html`` draws it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate

from sourcing.comps.gaps import AGE_WORDS, Thickness
from sourcing.language import gettext

WIDTH, STEP, BAR = 340.0, 40.0, 16.0
MOST = 10  # categories drawn; the table holds them all


@dataclass(frozen=True)
class Part:
    """Rows of one age."""

    kind: str  # its CSS class: a0 the newest
    x: float
    width: float


@dataclass(frozen=True)
class Bar:
    """One category."""

    label: str
    rows: int
    y: float  # top of the bar
    parts: tuple[Part, ...]


@dataclass(frozen=True)
class Ages:
    """The whole picture."""

    bars: tuple[Bar, ...]
    height: float
    words: tuple[tuple[str, str], ...]  # class and meaning of each part


def ages(found: Sequence[Thickness]) -> Ages | None:
    """Lay out the categories with most rows; None when there is none."""
    if not found:
        return None
    most = max(one.rows for one in found)
    bars = []
    for place, one in enumerate(found[:MOST]):
        widths = [WIDTH * count / most for count in one.by_age]
        starts = accumulate(widths, initial=0.0)
        parts = [Part(f"a{age}", x, width) for age, (x, width) in enumerate(zip(starts, widths, strict=False)) if width]
        bars.append(Bar(one.category or gettext("none named"), one.rows, place * STEP + 18, tuple(parts)))
    words = tuple((f"a{age}", word) for age, word in enumerate(AGE_WORDS))
    return Ages(tuple(bars), len(bars) * STEP, words)
