"""What may be taken: lines of the open haul, past checks, rows of a shelf list, each with what every copy brings."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Literal

from models.depth import Copies
from sourcing import depth, haul, history
from sourcing.alike import Thing, alike, thing
from sourcing.answer import Item, Query, Verdict
from sourcing.check import judge
from sourcing.fitting import fold
from sourcing.prospect import prospects
from sourcing.settings import Settings
from sourcing.storage import Store

Source = Literal["haul", "check", "list"]
MOST_CANDIDATES = 1_000
LITTLE = "too little to go on"


@dataclass(frozen=True)
class Asked:
    """One item somebody may take: what was asked of it and where it comes from."""

    key: str  # "check 12" or "row 5": the same item keeps its key from one plan to the next
    query: Query
    source: Source
    check_id: int | None = None
    stock: int | None = None  # how many stand on the shelf; None: as many as are worth taking
    held: int = 0  # how many are in the open haul


@dataclass(frozen=True)
class Copy:
    """One copy of an item; money after everything, labour and cash tied up too."""

    profit: Decimal
    landed: Decimal
    worth_it: bool  # by your rules, with all before it
    asked: Asked  # the one it would be taken by


@dataclass(frozen=True)
class Candidate:
    """One item and what each copy of it brings, the first to sell first."""

    asked: Asked  # the cheapest, where it stands at several prices
    label: str
    decision: str
    why: str  # the verdict's own sentence
    category: str
    style: str  # pieces with the same one are of one style
    minutes: Decimal  # of prep, a copy
    copies: tuple[Copy, ...]
    others: tuple[Asked, ...] = ()  # the same item once more
    about: tuple[str, ...] = ()  # what tells it from others of its name

    @property
    def key(self) -> str:
        """The key it was asked by."""
        return self.asked.key

    @property
    def held(self) -> int:
        """How many are in the open haul."""
        return sum(one.held for one in self.all_asked)

    @property
    def all_asked(self) -> tuple[Asked, ...]:
        """Every asked item it stands for, the cheapest first."""
        return (self.asked, *self.others)

    @property
    def worth(self) -> int:
        """How many copies your rules take."""
        return next((k for k, copy in enumerate(self.copies) if not copy.worth_it), len(self.copies))


def of_haul(store: Store) -> list[Asked]:
    """Return the items of the open haul; what was put back is left out, lines of one check are put together."""
    found: dict[int, Asked] = {}
    for line in haul.current(store).items:
        if line.undone:
            continue
        held = line.count + (found[line.check_id].held if line.check_id in found else 0)
        query = history.get(store, line.check_id)[0]
        found[line.check_id] = Asked(f"check {line.check_id}", query, "haul", line.check_id, held, held)
    return list(found.values())


def of_checks(store: Store, numbers: Iterable[int]) -> list[Asked]:
    """Return past checks by their numbers.

    Raises
    ------
    NotFound
        There is no check of that number.
    """
    wanted = dict.fromkeys(numbers)
    return [Asked(f"check {number}", history.get(store, number)[0], "check", number) for number in wanted]


def joined(*groups: Sequence[Asked], stock: Mapping[str, int | None] | None = None) -> list[Asked]:
    """Put groups together, the first mention of a key kept; ``stock`` says how many there are where that is known."""
    found: dict[str, Asked] = {}
    for one in (one for group in groups for one in group):
        found.setdefault(one.key, one)
    known = stock or {}
    return [replace(one, stock=known.get(key, one.stock)) for key, one in found.items()]


def judged(store: Store, asked: Sequence[Asked], settings: Settings) -> list[Candidate]:
    """Judge every item with its further copies, in one vectorised pass a category.

    The same item asked for several times is one candidate, for its copies compete with each other whichever is picked
    up: the cheapest are taken first.

    Raises
    ------
    BadInput
        A code cannot be one.
    """
    copies: dict[int, Copies] = {}
    same: list[tuple[Thing, object, list[tuple[Asked, Verdict, Decimal]]]] = []
    for one, prospect in zip(asked, prospects(store, [each.query for each in asked], settings, False), strict=True):
        forecasts = prospect.forecasts
        if forecasts is not None:
            if id(forecasts) not in copies:
                copies[id(forecasts)] = depth.further_copies(forecasts)
            prospect = replace(prospect, copies=copies[id(forecasts)])
        verdict = judge(prospect, one.query)
        minutes = prospect.deal.terms.prep_minutes
        mine, rest = thing(vars(verdict.item)), _rest(verdict.item, one.query)
        offers = next((there for other, its, there in same if its == rest and alike(mine, other)), None)
        if offers is None:
            offers = []
            same.append((mine, rest, offers))
        offers.append((one, verdict, minutes))
    return [_candidate(offers, settings) for _mine, _rest_of, offers in same]


def _candidate(offers: list[tuple[Asked, Verdict, Decimal]], settings: Settings) -> Candidate:
    never = Decimal("Infinity")
    offers = sorted(offers, key=lambda offer: never if offer[1].landed_cost is None else offer[1].landed_cost)
    found: list[Copy] = []
    for one, verdict, _ in offers:
        if verdict.landed_cost is None or verdict.decision == LITTLE:
            continue
        end = len(verdict.depth) if one.stock is None else len(found) + one.stock
        found += [
            Copy(copy.profit, verdict.landed_cost, copy.worth_it, one)
            for copy in verdict.depth[len(found) : end]
            if copy.profit is not None
        ]
    (first, verdict, minutes), *rest = offers
    item = verdict.item
    return Candidate(
        first,
        item.label,
        verdict.decision,
        verdict.reason,
        item.category,
        item.style_code or item.gtin or fold(item.label),
        minutes,
        tuple(found),
        tuple(other for other, _, _ in rest),
        haul.about(vars(item), settings),
    )


def _rest(item: Item, query: Query) -> object:
    """Return what else two pieces must have in common to be planned as copies of the same item."""
    named = {"code": "", "title": "", "brand": "", "category": "", "size": "", "condition": ""}
    return fold(item.category), replace(query, shelf_price=None, discount=None, **named)  # type: ignore[arg-type]
