"""Why each candidate is taken or left: for what is left, the limit without which the plan would take it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from itertools import combinations

import numpy as np

from sourcing.language import gettext, gettext_noop
from sourcing.money import from_minor
from sourcing.planner.candidates import Candidate
from sourcing.planner.choice import Choice, Flags, Real, Whole, choose
from sourcing.planner.model import KINDS, Kind, Model
from sourcing.rules import HaulLimits
from sourcing.shortened import shortened

_NAMED = 60  # characters of a title within a sentence
_PLACE = (gettext_noop("1st"), gettext_noop("2nd"), gettext_noop("3rd"))
_FOR: dict[Kind, str] = {
    "cash": gettext_noop("for cash"),
    "prep_hours": gettext_noop("for prep time"),
    "most_of_style": gettext_noop("for their style"),
    "most_in_category": gettext_noop("for their category"),
}
_MORE: dict[Kind, str] = {
    "cash": gettext_noop("more cash"),
    "prep_hours": gettext_noop("more prep time"),
    "most_of_style": gettext_noop("more of one style"),
    "most_in_category": gettext_noop("more cash in its category"),
}


def _place(number: int) -> str:
    """Say which piece, 1 being the 1st."""
    return gettext(_PLACE[number - 1]) if number <= len(_PLACE) else gettext("{number}th", number=number)


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
            found.append(Why("stock", gettext("None of it is on the shelf.")))
        elif one.copies[0].profit <= 0:
            amount = write(one.copies[0].profit)
            found.append(Why("loses", gettext("Loses money: it would bring {amount}.", amount=amount)))
        elif one.decision == "buy":
            amount = write(one.copies[0].profit)
            found.append(Why("rule", gettext("It would bring {amount}, too little for your rules.", amount=amount)))
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
        said = {"place": _place(count + 1), "amount": write(further)}
        if further <= 0:
            more = gettext("The {place} would bring {amount}, which loses money.", **said)
        else:
            more = gettext("The {place} would bring {amount}, which is too little for your rules.", **said)
        return f"{words} {more}"
    if count > 1 and one.asked.stock is not None and not one.others:
        return f"{words} {gettext('That is all there are.')}"
    return words


def _brings(model: Model, at: int, counts: Whole, worth: Real, write: Callable[[Decimal], str]) -> str:
    """Say what the taken copies bring beside what their cash and time would bring elsewhere."""
    one, count = model.candidates[at], int(counts[at])
    profit = sum((copy.profit for copy in one.copies[:count]), Decimal(0))
    cash = sum((copy.landed for copy in one.copies[:count]), Decimal(0))
    said = {"profit": write(profit), "cash": write(cash)}
    if one.minutes:
        time = _minutes(count * one.minutes)
        words = gettext("Brings {profit} from {cash} of cash and {time}", time=time, **said)
    else:
        words = gettext("Brings {profit} from {cash} of cash", **said)
    mine = (model.owner == at) & model.first(counts)
    elsewhere = float(worth @ model.pieces.use[:, mine].sum(axis=1)) if len(worth) else 0.0
    if elsewhere < 0.5:
        return f"{words}."
    value = from_minor(round(elsewhere))
    if value > profit:
        return gettext("{words}; it fits into what the others leave.", words=words)
    return gettext("{words}; elsewhere that would bring about {amount}.", words=words, amount=write(value))


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
        spent = kinds in (("cash",), ("prep_hours",))
        words = _beside(_lead(one, kinds, together, limits, write), instead, less, spent, write)
    if count:
        left = gettext("A {place} is left: {why}", place=_place(count + 1), why=words[0].lower() + words[1:])
        words = f"{_brings(model, at, counts, worth, write)} {left}"
    return Why("taken" if count else "limit", words, kinds, together, instead, less)


def _lead(
    one: Candidate, kinds: tuple[Kind, ...], together: bool, limits: HaulLimits, write: Callable[[Decimal], str]
) -> str:
    """Name the limits."""
    if together:
        return gettext("Others come first, {whys}", whys=gettext(" and ").join(gettext(_FOR[kind]) for kind in kinds))
    if len(kinds) > 1:
        more = gettext(" or ").join(gettext(_MORE[kind]) for kind in kinds)
        return gettext("{more} would take it", more=more.capitalize())
    if kinds[0] == "cash":
        return gettext("Its cash is better spent")
    if kinds[0] == "prep_hours":
        return gettext("Its {time} are better spent", time=_minutes(one.minutes))
    if kinds[0] == "most_of_style":
        return gettext("At most {number} of one style", number=limits.most_of_style)
    amount = write(limits.most_in_category or Decimal(0))
    return gettext("At most {amount} in {category}", amount=amount, category=one.category)


def _beside(
    lead: str, instead: tuple[tuple[str, int], ...], less: Decimal | None, spent: bool, write: Callable[[Decimal], str]
) -> str:
    """Add to the limits named what would have to go, and how much less the plan would bring then."""
    if less is None:
        return gettext("{lead} elsewhere.", lead=lead) if spent else f"{lead}."
    said = {"lead": lead, "names": _named(instead), "amount": write(less)}
    if spent and less:
        return gettext("{lead} on {names}: taking it instead would bring {amount} less.", **said)
    if spent:
        return gettext("{lead} on {names}: taking it instead would bring just the same.", **said)
    if less:
        return gettext("{lead}: in place of {names} it would bring {amount} less.", **said)
    return gettext("{lead}: in place of {names} it would bring just the same.", **said)


def _alone(
    model: Model, at: int, count: int, kinds: tuple[Kind, ...], limits: HaulLimits, write: Callable[[Decimal], str]
) -> str:
    """Say which limit one more piece goes beyond all by itself, if it does."""
    one = model.candidates[at]
    landed = one.copies[count].landed
    if "cash" in kinds and limits.cash is not None and landed > limits.cash:
        return gettext(
            "One costs {amount}, more than all the cash, {most}.", amount=write(landed), most=write(limits.cash)
        )
    if "prep_hours" in kinds and limits.prep_hours is not None and one.minutes > 60 * limits.prep_hours:
        return gettext(
            "One takes {time}, more than all the prep time, {most}.",
            time=_minutes(one.minutes),
            most=_minutes(60 * limits.prep_hours),
        )
    most = limits.most_in_category
    if "most_in_category" in kinds and most is not None and landed > most:
        return gettext(
            "One costs {amount}, more than the {most} for all of {category}.",
            amount=write(landed),
            most=write(most),
            category=one.category,
        )
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
    told = [
        gettext("{number} of {label}", number=count, label=label) if count > 1 else label
        for label, count in ((shortened(label, _NAMED), count) for label, count in instead[:2])
    ]
    if len(instead) > 2:
        return gettext("{names} and {number} more", names=", ".join(told), number=len(instead) - 2)
    return gettext(" and ").join(told)


def _minutes(minutes: Decimal) -> str:
    return gettext("{minutes} min", minutes=f"{minutes.normalize():f}")
