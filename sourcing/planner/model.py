"""Candidates and limits as one knapsack: every copy a piece, every limit a row, money in cents, time in 1/100 min."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from typing import Literal

import numpy as np

from sourcing.fitting import fold
from sourcing.money import to_minor
from sourcing.planner.candidates import Candidate
from sourcing.planner.choice import Flags, Pieces, Whole
from sourcing.rules import HaulLimits

Kind = Literal["cash", "prep_hours", "most_of_style", "most_in_category"]
KINDS: tuple[Kind, ...] = ("cash", "prep_hours", "most_of_style", "most_in_category")
MINUTE = 100
HOUR = 60 * MINUTE


@dataclass(frozen=True)
class Model:
    """The knapsack of N candidates, and whose each piece and which limit each row is."""

    candidates: tuple[Candidate, ...]
    pieces: Pieces
    owner: Whole  # (P,) place among the candidates
    place: Whole  # (P,) 0 for the first copy
    kinds: tuple[Kind, ...]  # (R,)
    possible: Whole  # (N,) copies that may be taken

    def counts(self, taken: Flags) -> Whole:
        """Return how many of each candidate a choice takes."""
        return np.bincount(self.owner[taken], minlength=len(self.candidates))

    def first(self, counts: Whole) -> Flags:
        """Return the choice of that many of each candidate, the first copies always."""
        return self.place < counts[self.owner]

    def of_kind(self, *kinds: Kind) -> Flags:
        """Say which rows are limits of these kinds."""
        return np.array([kind in kinds for kind in self.kinds], dtype=bool)

    def with_more(self, kind: Kind, more: int) -> Pieces:
        """Return the pieces with a limit that is higher by ``more`` of its own units."""
        room = self.pieces.room + np.where(self.of_kind(kind), more, 0)
        return Pieces(self.pieces.profit, self.pieces.use, room, self.pieces.before)


def model(candidates: Sequence[Candidate], limits: HaulLimits, *, every: bool) -> Model:
    """Lay the candidates out; ``every`` takes copies against your rules too, where they bring anything at all.

    The order in which the candidates came does not matter.
    """
    sorted_ones = tuple(sorted(candidates, key=lambda one: (one.label, one.key)))
    possible = [_possible(one, every) for one in sorted_ones]
    copies = [copy for one, count in zip(sorted_ones, possible, strict=True) for copy in one.copies[:count]]
    owner = np.repeat(np.arange(len(sorted_ones)), possible)
    place = np.concatenate([np.arange(count) for count in possible]) if possible else np.zeros(0, dtype=np.int64)
    profit = np.array([to_minor(copy.profit) for copy in copies], dtype=np.int64)
    cash = np.array([to_minor(copy.landed) for copy in copies], dtype=np.int64)
    minutes = np.array([_hundredths(one.minutes) for one in sorted_ones], dtype=np.int64)[owner]
    rows: list[tuple[Kind, Whole, int]] = []
    if limits.cash is not None:
        rows.append(("cash", cash, to_minor(limits.cash)))
    if limits.prep_hours is not None:
        rows.append(("prep_hours", minutes, int((limits.prep_hours * HOUR).to_integral_value(ROUND_FLOOR))))
    if limits.most_of_style is not None:
        each = np.ones(len(copies), dtype=np.int64)
        rows += _grouped("most_of_style", [one.style for one in sorted_ones], owner, each, limits.most_of_style)
    if limits.most_in_category is not None:
        names = [fold(one.category) for one in sorted_ones]
        rows += _grouped("most_in_category", names, owner, cash, to_minor(limits.most_in_category))
    use = np.array([row for _, row, _ in rows], dtype=np.int64).reshape(len(rows), len(copies))
    pieces = Pieces(profit, use, np.array([room for *_, room in rows], dtype=np.int64), _order(profit, cash, place))
    return Model(
        sorted_ones, pieces, owner, place, tuple(kind for kind, *_ in rows), np.array(possible, dtype=np.int64)
    )


def _possible(one: Candidate, every: bool) -> int:
    gains = next((k for k, copy in enumerate(one.copies) if copy.profit <= 0), len(one.copies))
    return gains if every else min(gains, one.worth) if one.decision == "buy" else 0


def _grouped(kind: Kind, names: Sequence[str], owner: Whole, amount: Whole, room: int) -> list[tuple[Kind, Whole, int]]:
    """Return a row for every group that could go beyond its limit; what has no name is in no group."""
    rows: list[tuple[Kind, Whole, int]] = []
    of = np.array(names)[owner] if len(owner) else np.zeros(0, dtype=str)
    for name in sorted(set(names) - {""}):
        row = np.where(of == name, amount, 0)
        if row.sum() > room:
            rows.append((kind, row, room))
    return rows


def _order(profit: Whole, cash: Whole, place: Whole) -> Whole:
    """Say which copy has to wait for the one before it; where that one is no worse in anything, none has to.

    A copy that has to wait needs all before it, so that these wait for each other too.
    """
    before = np.full(len(profit), -1, dtype=np.int64)
    waits = False
    for at in reversed(range(len(profit))):
        if place[at] == 0:
            waits = False
            continue
        waits = waits or bool(profit[at] > profit[at - 1] or cash[at] < cash[at - 1])
        if waits:
            before[at] = at - 1
    return before


def _hundredths(minutes: Decimal) -> int:
    return int((minutes * MINUTE).to_integral_value(ROUND_CEILING))
