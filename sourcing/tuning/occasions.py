"""Occasions to buy: an item on a day at a shelf price, from the user's own checks and hauls."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any, Literal

from sourcing.answer import Item, Query
from sourcing.codes import parse_code
from sourcing.errors import BadInput
from sourcing.evidence import gather
from sourcing.history import recent
from sourcing.language import gettext_noop
from sourcing.storage import Store

Source = Literal["check", "haul", "candidate", "drawn"]
EPOCH = date(1970, 1, 1)
MOST = 5_000  # the newest; a history beyond it says little of the rules of today
_LOOKED_AT = 20_000


@dataclass(frozen=True)
class Occasion:
    """One item that could have been bought.

    ``shelf`` is None where it is still to be drawn: then ``share`` says at which share of its usual sale price.
    """

    day: int  # since 1970-01-01
    item: Item
    source: Source
    shelf: Decimal | None = None
    discount: Any = None  # as the query had it
    share: float = 0.0
    check_id: int | None = None


@dataclass(frozen=True)
class Found:
    """Occasions, the comps behind each in rows of `lookup.COLUMNS_READ`, and how many were left out for a reason."""

    occasions: tuple[Occasion, ...]
    rows: tuple[list[tuple[Any, ...]], ...]
    left_out: dict[str, int]


def from_history(store: Store, until: int, candidates: Sequence[tuple[int, Query]] = ()) -> Found:
    """Collect the checks that had a shelf price, those taken into a haul, and ``candidates`` of (day, query).

    The same item at the same price on one day is one occasion, however often it was asked. What was asked after the day
    ``until`` is left out: nothing can have come of it yet.
    """
    taken = {row[0] for row in store.read("SELECT DISTINCT check_id FROM haul_item WHERE undone_at IS NULL")}
    wanted: dict[tuple[Any, ...], tuple[int, Query, Source, int | None]] = {}
    left_out: dict[str, int] = {}
    unpriced = recent_ones = 0
    for past in recent(store, _LOOKED_AT):
        if past.shelf_price is None:
            unpriced += past.id not in taken
            continue
        day = _day_of(past.at)
        if day > until:
            recent_ones += 1
            continue
        key: tuple[Any, ...] = (day, *_same(past.query))
        if key not in wanted or past.id in taken:  # newest first; one that was taken counts before one that was not
            wanted[key] = (day, past.query, "haul" if past.id in taken else "check", past.id)
    for day, query in candidates:
        key = (day, *_same(query))
        if query.shelf_price is not None and day <= until:
            wanted.setdefault(key, (day, query, "candidate", None))
    readable = [one for one in wanted.values() if _readable(one[1])]
    left_out |= {
        gettext_noop("it had no shelf price"): unpriced,
        gettext_noop("it is too recent for anything to have come of it"): recent_ones,
        gettext_noop("its code can no longer be read"): len(wanted) - len(readable),
    }
    readable = sorted(readable, key=lambda one: one[0])[-MOST:]
    evidence = gather(store, [query for _, query, _, _ in readable], suggest=False)
    occasions = tuple(
        Occasion(day, item, source, query.shelf_price, query.discount, check_id=check_id)
        for (day, query, source, check_id), item in zip(readable, evidence.items, strict=True)
    )
    return Found(occasions, evidence.rows, {why: count for why, count in left_out.items() if count})


def _same(query: Query) -> tuple[Any, ...]:
    return query.code, query.title, query.size, query.condition, query.flags, query.shelf_price


def day_text(day: int) -> str:
    """Write a day, given since 1970-01-01, as an ISO date."""
    return (EPOCH + timedelta(days=day)).isoformat()


def _day_of(moment: datetime) -> int:
    return (moment.astimezone(UTC).date() - EPOCH).days


def _readable(query: Query) -> bool:
    try:
        if query.code.strip():
            parse_code(query.code)
    except BadInput:
        return False
    return True
