"""Why each candidate is taken or left: for what is left, the limit without which the plan would take it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from itertools import combinations

import numpy as np

from sourcing.money import from_minor
from sourcing.planner.candidates import Candidate
from sourcing.planner.choice import Choice, Flags, Real, Whole, choose
from sourcing.planner.model import KINDS, Kind, Model
from sourcing.rules import HaulLimits

_PLACE = ("1st", "2nd", "3rd", *(f"{k}th" for k in range(4, 100)))
_FOR: dict[Kind, str] = {
    "cash": "for cash",
    "prep_hours": "for prep time",
    "most_of_style": "for their style",
    "most_in_category": "for their category",
}
_MORE: dict[Kind, str] = {
    "cash": "more cash",
    "prep_hours": "more prep time",
    "most_of_style": "more of one style",
    "most_in_category": "more cash in its category",
}


@dataclass(frozen=True)
class Why:
    """Why so many, or none."""

    kind: str  # "taken", "loses", "rule", "stock", "limit"
    words: str
    limits: tuple[Kind, ...] = ()  # without any one of these the plan takes more of it; with ``together``, without all
    together: bool = False
    instead: tuple[tuple[str, int], ...] = ()  # (label, pieces) that would have to go to make room for one more
    less: Decimal | None = None  # how much less the plan would bring then


def reasons(
    model: Model,
    taken: Flags,
    worth: Real,
    limits: HaulLimits,
    every: bool,
    write: Callable[[Decimal], str],
    nodes: int,
    seconds: float,
) -> list[Why]:
    """Say of every candidate why it is taken, or why no more or none of it is.

    A limit is named when planning again without it takes more of the candidate: that is solved anew for every kind of
    limit, and for several together only where none alone explains it.
    """
    counts = model.counts(taken)
    relaxed = _Relaxed(model, taken, nodes, seconds)
    lacking = np.flatnonzero(counts < model.possible)
    named = relaxed.explained(lacking, counts)
    swaps = _Swaps(model, counts)
    found: list[Why] = []
    for at, one in enumerate(model.candidates):
        if at in named:
            found.append(_limited(model, at, counts, worth, swaps, named[at], limits, write))
        elif counts[at]:
            found.append(Why("taken", _kept(model, at, counts, worth, write)))
        elif not one.copies:
            found.append(Why("stock", "None of it is on the shelf."))
        elif one.copies[0].profit <= 0:
            found.append(Why("loses", f"Loses money: it would bring {write(one.copies[0].profit)}."))
        elif one.decision == "buy":
            found.append(Why("rule", f"It would bring {write(one.copies[0].profit)}, too little for your rules."))
        else:
            found.append(Why("rule", one.why))
    return found


class _Relaxed:
    """Plans without some kinds of limits, each made once."""

    def __init__(self, model: Model, taken: Flags, nodes: int, seconds: float) -> None:
        self._model, self._taken, self._nodes, self._seconds = model, taken, nodes, seconds

    def _without(self, kinds: tuple[Kind, ...]) -> Whole:
        model = self._model
        freed: Choice = choose(
            model.pieces.without(model.of_kind(*kinds)), self._taken, nodes=self._nodes, seconds=self._seconds
        )
        return model.counts(freed.taken)

    def explained(self, lacking: Whole, counts: Whole) -> dict[int, tuple[tuple[Kind, ...], bool]]:
        """Return the limits that keep each lacking candidate out: (kinds, whether only all of them together do)."""
        present = [kind for kind in KINDS if kind in self._model.kinds]
        found: dict[int, tuple[tuple[Kind, ...], bool]] = {}
        if not len(lacking):
            return found
        for kind in present:
            freed = self._without((kind,))
            for at in lacking:
                if freed[at] > counts[at]:
                    found[int(at)] = ((*found.get(int(at), ((), False))[0], kind), False)
        for size in range(2, len(present) + 1):
            for kinds in combinations(present, size):
                open_ones = [int(at) for at in lacking if int(at) not in found]
                if not open_ones:
                    return found
                freed = self._without(kinds)
                found |= {at: (kinds, True) for at in open_ones if freed[at] > counts[at]}
        return found


def _kept(model: Model, at: int, counts: Whole, worth: Real, write: Callable[[Decimal], str]) -> str:
    """Say what is taken and why it is no more, where no limit is the reason."""
    one, count = model.candidates[at], int(counts[at])
    words = _brings(model, at, counts, worth, write)
    if count < len(one.copies):
        further = one.copies[count].profit
        what = "loses money" if further <= 0 else "is too little for your rules"
        return f"{words} The {_PLACE[count]} would bring {write(further)}, which {what}."
    if count > 1 and one.asked.stock is not None and not one.others:
        return f"{words} That is all there are."
    return words


def _brings(model: Model, at: int, counts: Whole, worth: Real, write: Callable[[Decimal], str]) -> str:
    """Say what the taken copies bring beside what their cash and time would bring elsewhere."""
    one, count = model.candidates[at], int(counts[at])
    profit = sum((copy.profit for copy in one.copies[:count]), Decimal(0))
    cash = sum((copy.landed for copy in one.copies[:count]), Decimal(0))
    words = f"Brings {write(profit)} from {write(cash)} of cash"
    if one.minutes:
        words += f" and {_minutes(count * one.minutes)}"
    mine = (model.owner == at) & model.first(counts)
    elsewhere = float(worth @ model.pieces.use[:, mine].sum(axis=1)) if len(worth) else 0.0
    if elsewhere < 0.5:
        return f"{words}."
    value = from_minor(round(elsewhere))
    if value > profit:
        return f"{words}; it fits into what the others leave."
    return f"{words}; elsewhere that would bring about {write(value)}."


def _limited(
    model: Model,
    at: int,
    counts: Whole,
    worth: Real,
    swaps: _Swaps,
    named: tuple[tuple[Kind, ...], bool],
    limits: HaulLimits,
    write: Callable[[Decimal], str],
) -> Why:
    kinds, together = named
    one, count = model.candidates[at], int(counts[at])
    instead, less = swaps.for_one_more(at)
    words = _alone(model, at, count, kinds, limits, write)
    if not words:
        lead = _lead(one, kinds, together, limits, write)
        words = f"{lead}{_beside(instead, less, kinds == ('cash',) or kinds == ('prep_hours',), write)}."
    if count:
        words = f"{_brings(model, at, counts, worth, write)} A {_PLACE[count]} is left: {words[0].lower()}{words[1:]}"
    return Why("taken" if count else "limit", words, kinds, together, instead, less)


def _lead(
    one: Candidate, kinds: tuple[Kind, ...], together: bool, limits: HaulLimits, write: Callable[[Decimal], str]
) -> str:
    """Name the limits."""
    if together:
        return f"Others come first, {' and '.join(_FOR[kind] for kind in kinds)}"
    if len(kinds) > 1:
        return f"{' or '.join(_MORE[kind] for kind in kinds).capitalize()} would take it"
    if kinds[0] == "cash":
        return "Its cash is better spent"
    if kinds[0] == "prep_hours":
        return f"Its {_minutes(one.minutes)} are better spent"
    if kinds[0] == "most_of_style":
        return f"At most {limits.most_of_style} of one style"
    return f"At most {write(limits.most_in_category or Decimal(0))} in {one.category}"


def _beside(
    instead: tuple[tuple[str, int], ...], less: Decimal | None, spent: bool, write: Callable[[Decimal], str]
) -> str:
    """Name what would have to go, and how much less the plan would bring then."""
    if less is None:
        return " elsewhere" if spent else ""
    brings = f"bring {write(less)} less" if less else "bring just the same"
    names = _named(instead)
    return f" on {names}: taking it instead would {brings}" if spent else f": in place of {names} it would {brings}"


def _alone(
    model: Model, at: int, count: int, kinds: tuple[Kind, ...], limits: HaulLimits, write: Callable[[Decimal], str]
) -> str:
    """Say which limit one more piece goes beyond all by itself, if it does."""
    one = model.candidates[at]
    landed = one.copies[count].landed
    if "cash" in kinds and limits.cash is not None and landed > limits.cash:
        return f"One costs {write(landed)}, more than all the cash, {write(limits.cash)}."
    if "prep_hours" in kinds and limits.prep_hours is not None and one.minutes > 60 * limits.prep_hours:
        return f"One takes {_minutes(one.minutes)}, more than all the prep time, {_minutes(60 * limits.prep_hours)}."
    most = limits.most_in_category
    if "most_in_category" in kinds and most is not None and landed > most:
        return f"One costs {write(landed)}, more than the {write(most)} for all of {one.category}."
    return ""


class _Swaps:
    """What giving up the last 1, 2, ... copies of each candidate loses and frees: S ways in all."""

    def __init__(self, model: Model, counts: Whole) -> None:
        pieces = model.pieces
        self._model, self._counts = model, counts
        self._left = pieces.room - pieces.use @ model.first(counts)
        start = np.concatenate([[0], np.cumsum(model.possible)])
        given = [
            (owner, gone, np.arange(start[owner] + counts[owner] - gone, start[owner] + counts[owner]))
            for owner in np.flatnonzero(counts)
            for gone in range(1, int(counts[owner]) + 1)
        ]
        self._owner = np.array([owner for owner, _, _ in given], dtype=np.int64)
        self._gone = np.array([gone for _, gone, _ in given], dtype=np.int64)
        self._lost = np.array([pieces.profit[which].sum() for *_, which in given], dtype=np.int64)
        self._freed = np.array([pieces.use[:, which].sum(axis=1) for *_, which in given], dtype=np.int64).reshape(
            len(given), len(pieces.room)
        )

    def for_one_more(self, at: int) -> tuple[tuple[tuple[str, int], ...], Decimal | None]:
        """Find what would have to go to make room for one more: one candidate's last copies, else several's.

        Returns
        -------
        (label, pieces) of each, and how much less the plan would bring; nothing where no such swap was found.
        """
        model = self._model
        mine = np.flatnonzero((model.owner == at) & (model.place == self._counts[at]))[0]
        need = model.pieces.use[:, mine] - self._left
        other = self._owner != at
        enough = np.flatnonzero(other & np.all(self._freed >= need, axis=1))
        out = [int(enough[np.argmin(self._lost[enough])])] if len(enough) else self._several(np.maximum(need, 0), other)
        if not out:
            return (), None
        less = int(self._lost[out].sum()) - int(model.pieces.profit[mine])
        if less < 0:  # only where the search stopped before the plan was the best
            return (), None
        named = sorted((model.candidates[self._owner[way]].label, int(self._gone[way])) for way in out)
        return tuple(named), from_minor(less)

    def _several(self, need: Whole, other: Flags) -> list[int]:
        """Give up pieces one after another, those first that lose least for what they free of what is needed."""
        useful = np.minimum(self._freed, need) @ (1.0 / np.maximum(need, 1))
        ways = np.flatnonzero(other & (useful > 0))
        out: dict[int, int] = {}
        for way in ways[np.argsort(self._lost[ways] / useful[ways], kind="stable")]:
            owner = int(self._owner[way])
            if owner in out and self._gone[out[owner]] >= self._gone[way]:
                continue
            out[owner] = int(way)
            if np.all(self._freed[list(out.values())].sum(axis=0) >= need):
                return list(out.values())
        return []


def _named(instead: tuple[tuple[str, int], ...]) -> str:
    told = [f"{count} of {label}" if count > 1 else label for label, count in instead[:2]]
    if len(instead) > 2:
        return f"{', '.join(told)} and {len(instead) - 2} more"
    return " and ".join(told)


def _minutes(minutes: Decimal) -> str:
    return f"{minutes.normalize():f} min"
