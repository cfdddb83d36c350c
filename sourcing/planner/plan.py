"""The plan of a haul: which candidates to take and how many of each, what more cash or time would bring, and why."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from sourcing.errors import BadInput
from sourcing.language import gettext, separated
from sourcing.money import from_minor
from sourcing.planner.candidates import LITTLE, MOST_CANDIDATES, Asked, Candidate
from sourcing.planner.choice import MOST_NODES, MOST_SECONDS, Choice, choose
from sourcing.planner.limits import checked
from sourcing.planner.model import HOUR, Kind, Model, model
from sourcing.planner.reasons import Why, reasons
from sourcing.rules import HaulLimits

MORE_CASH = Decimal(10)


@dataclass(frozen=True)
class Part:
    """How many are taken of one asked item; the same item at two prices has two parts."""

    asked: Asked
    count: int


@dataclass(frozen=True)
class Line:
    """One candidate in the plan: how many to take, what they bring and cost together, and why no more or none."""

    candidate: Candidate
    count: int  # 0: left behind
    profit: Decimal  # after labour and cash tied up
    cash: Decimal  # landed cost
    minutes: Decimal
    why: Why
    parts: tuple[Part, ...]

    @property
    def change(self) -> int:
        """How many more than the haul holds now; below 0: to be put back."""
        return self.count - self.candidate.held

    def as_dict(self) -> dict[str, object]:
        """Return a JSON-able mapping."""
        one = self.candidate
        return {
            "key": one.key,
            "item": one.label,
            "category": one.category,
            "decision": one.decision,
            "take": self.count,
            "in_haul": one.held,
            "profit": str(self.profit),
            "cash": str(self.cash),
            "prep_minutes": str(self.minutes),
            "copies": [{"profit": str(copy.profit), "landed_cost": str(copy.landed)} for copy in one.copies],
            "why": self.why.words,
            "reason": self.why.kind,
            "limits": list(self.why.limits),
            "together": self.why.together,
            "instead": [{"item": label, "pieces": count} for label, count in self.why.instead],
            "less": _text(self.why.less),
        }


@dataclass(frozen=True)
class Plan:
    """The answer; sums are over what is taken."""

    limits: HaulLimits
    every: bool
    currency: str
    taken: tuple[Line, ...]  # the most profit first
    left: tuple[Line, ...]  # what would bring most first
    unknown: tuple[tuple[Candidate, str], ...]  # nothing can be planned of them, and why
    profit: Decimal
    cash: Decimal
    minutes: Decimal
    more_cash: Decimal | None  # profit that ten more of cash would bring; None: cash is not limited
    more_hour: Decimal | None  # profit that one more hour of prep would bring; None: time is not limited
    cash_dual: Decimal | None  # profit a unit of cash would bring if parts of pieces could be taken
    hour_dual: Decimal | None
    short: Decimal  # no plan brings more than this beyond ``profit``; 0: it is the best there is

    @property
    def pieces(self) -> int:
        """How many pieces are taken."""
        return sum(line.count for line in self.taken)

    @property
    def stopped(self) -> bool:
        """Whether the search ended before the plan was proven best."""
        return self.short > 0

    def as_dict(self) -> dict[str, object]:
        """Return a JSON-able mapping: money as text with two decimals."""
        limits = {name: None if value is None else str(value) for name, value in vars(self.limits).items()}
        return {
            "currency": self.currency,
            "limits": limits,
            "every": self.every,
            "pieces": self.pieces,
            "profit": str(self.profit),
            "cash": str(self.cash),
            "prep_minutes": str(self.minutes),
            "more_cash": _text(self.more_cash),
            "more_hour": _text(self.more_hour),
            "cash_dual": _text(self.cash_dual),
            "hour_dual": _text(self.hour_dual),
            "stopped": self.stopped,
            "short": str(self.short),
            "taken": [line.as_dict() for line in self.taken],
            "left": [line.as_dict() for line in self.left],
            "unknown": [{"key": one.key, "item": one.label, "why": why} for one, why in self.unknown],
        }


def plan(
    candidates: Sequence[Candidate],
    limits: HaulLimits,
    *,
    every: bool = False,
    currency: str = "USD",
    write: Callable[[Decimal], str] = str,
    nodes: int = MOST_NODES,
    seconds: float = MOST_SECONDS,
) -> Plan:
    """Plan which candidates to take and how many of each for the most expected profit within the limits.

    The same candidates and limits give the same plan, in whatever order they come; where several plans bring the same,
    it is always the same one of them.

    Parameters
    ----------
    candidates : sequence of Candidate
        What may be taken, each with what every copy of it brings.
    limits : HaulLimits
        None is off.
    every : bool
        Take candidates and copies your rules pass too, where they bring anything at all.
    write : callable
        Shows an amount of money in the reasons.
    nodes, seconds : int, float
        Where each search stops; ``short`` of the plan then says how much more there could be.

    Raises
    ------
    BadInput
        There are no candidates or too many, or nothing can be taken within a limit; ``field`` names it.
    """
    checked(limits)
    if not candidates:
        raise BadInput(
            gettext("There is nothing to choose from."),
            gettext("Lines of the open haul, past checks with a shelf price, or a shelf list."),
            gettext("Check an item, or bring a list."),
            field="candidates",
        )
    if len(candidates) > MOST_CANDIDATES:
        raise BadInput(
            gettext("There are {number} candidates.", number=separated(f"{len(candidates):,}")),
            gettext("Up to {most}.", most=separated(f"{MOST_CANDIDATES:,}")),
            gettext("Choose fewer."),
            field="candidates",
        )
    unknown = tuple((one, _unknown(one)) for one in candidates if _unknown(one))
    found = model([one for one in candidates if not _unknown(one)], limits, every=every)
    best = choose(found.pieces, nodes=nodes, seconds=seconds)
    counts = found.counts(best.taken)
    best_taken = found.first(counts)
    why = reasons(found, best_taken, best.worth, limits, every, write, nodes, seconds)
    lines = [_line(one, int(counts[at]), why[at]) for at, one in enumerate(found.candidates)]
    taken = sorted((line for line in lines if line.count), key=lambda line: -line.profit)
    left = sorted((line for line in lines if not line.count), key=_would_bring)
    zero = Decimal(0)
    return Plan(
        limits,
        every,
        currency,
        tuple(taken),
        tuple(left),
        unknown,
        sum((line.profit for line in taken), zero),
        sum((line.cash for line in taken), zero),
        sum((line.minutes for line in taken), zero),
        _more(found, best, "cash", int(MORE_CASH * 100), nodes, seconds),
        _more(found, best, "prep_hours", HOUR, nodes, seconds),
        _dual(found, best, "cash", 1.0),
        _dual(found, best, "prep_hours", HOUR / 100),
        from_minor(best.bound - best.profit),
    )


def _text(value: Decimal | None) -> str | None:
    return None if value is None else str(value)


def _unknown(one: Candidate) -> str:
    if one.decision == LITTLE:
        return one.why
    if not one.copies and one.asked.stock != 0:
        return gettext("No shelf price was given, so there is nothing to weigh.")
    return ""


def _line(one: Candidate, count: int, why: Why) -> Line:
    copies = one.copies[:count]
    parts: dict[str, Part] = {}
    for copy in copies:
        before = parts[copy.asked.key].count if copy.asked.key in parts else 0
        parts[copy.asked.key] = Part(copy.asked, before + 1)
    return Line(
        one,
        count,
        sum((copy.profit for copy in copies), Decimal(0)),
        sum((copy.landed for copy in copies), Decimal(0)),
        count * one.minutes,
        why,
        tuple(parts.values()),
    )


def _would_bring(line: Line) -> tuple[Decimal, str]:
    copies = line.candidate.copies
    return (-copies[0].profit if copies else Decimal(0), line.candidate.label)


def _more(found: Model, best: Choice, kind: Kind, more: int, nodes: int, seconds: float) -> Decimal | None:
    """Plan again with a higher limit; what it brings beyond the plan."""
    if kind not in found.kinds:
        return None
    again = choose(found.with_more(kind, more), best.taken, nodes=nodes, seconds=seconds)
    return from_minor(again.profit - best.profit)


def _dual(found: Model, best: Choice, kind: Kind, unit: float) -> Decimal | None:
    if kind not in found.kinds:
        return None
    return round(Decimal(repr(float(np.sum(best.worth[found.of_kind(kind)]) * unit))), 4)
