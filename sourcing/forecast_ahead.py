"""Forecast ahead what is likely to be asked next: after a fit, a load, a change of settings, at the start of a day.

What was asked lately comes first, then what is in the hauls, then known items, those with the newest comps first, for
as long as there is room for them. Nothing of it is recorded, and no answer is another for it.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator
from itertools import islice
from typing import NamedTuple

from sourcing.answer import Query
from sourcing.check import asked_without_price, by_code, each_alone, judge, kept, stands_on
from sourcing.codes import parse_code
from sourcing.errors import BadInput
from sourcing.flags.marked import read_flags
from sourcing.history import query_of
from sourcing.kept import Stamp
from sourcing.language import of_locale, speaking, spoken
from sourcing.prospect import Prospect, prospects
from sourcing.settings import Settings, load_settings
from sourcing.storage import Store

AT_ONCE = 16  # items a pass: some 30 ms, for which a request may have to wait
_CHECKS, _IN_HAULS = 500, 200  # looked at, newest first
_CODES = 6  # of one item: its style code and the barcodes of its sizes

_CHECKED = "SELECT query FROM checked ORDER BY id DESC LIMIT ?"
_TAKEN = """SELECT c.query FROM haul_item h JOIN checked c ON c.id = h.check_id
 WHERE h.id IN (SELECT max(id) FROM haul_item GROUP BY check_id ORDER BY max(id) DESC LIMIT ?) ORDER BY h.id DESC"""
_NEWEST = """SELECT r.id, r.style_code FROM product r JOIN (
 SELECT p.root AS root, max(coalesce(c.ended, c.seen, c.listed, 0)) AS day
 FROM product p CROSS JOIN comp c ON c.product_id = p.id AND c.out = 0 GROUP BY p.root) n ON n.root = r.id
 WHERE r.title <> '' OR r.brand <> '' OR r.style_code <> '' ORDER BY n.day DESC, r.id LIMIT ?"""
_BARCODES = "SELECT gtin FROM code WHERE root = ? ORDER BY gtin LIMIT ?"


class Ahead(NamedTuple):
    """One item to forecast ahead, and what it is kept by."""

    key: Hashable
    asked: Query


def work_ahead(store: Store, rest: Callable[[], None] = lambda: None) -> Stamp | None:
    """Forecast ahead, as far as there is room, and return what it all stands on; None where that changed meanwhile.

    Parameters
    ----------
    rest : called before each pass of a few items, to let others work; it may raise to stop.
    """
    settings = load_settings(store)
    stamp = stands_on(store, settings)
    kept.begin(stamp)
    if not store.read("SELECT 1 FROM fit LIMIT 1"):
        return stamp
    with speaking(of_locale(settings.locale)):
        coming = likely(store, settings)
        while some := list(islice((one for one in coming if one.key not in kept), AT_ONCE)):
            rest()
            if stands_on(store, load_settings(store)) != stamp:
                return None
            for one, found in zip(some, _made(store, some, settings), strict=True):
                if answers(one, found) and not kept.put_ahead(stamp, one.key, found):
                    return stamp if stands_on(store, load_settings(store)) == stamp else None
    return stamp


def likely(store: Store, settings: Settings) -> Iterator[Ahead]:
    """Yield what is likely to be asked next, the likeliest first, each once."""
    seen: set[Hashable] = set()
    for one in _candidates(store, settings):
        if one.key not in seen:
            seen.add(one.key)
            yield one


def _candidates(store: Store, settings: Settings) -> Iterator[Ahead]:
    for statement, most in ((_CHECKED, _CHECKS), (_TAKEN, _IN_HAULS)):
        for row in store.read(statement, (most,)):
            asked = asked_without_price(query_of(row[0]))
            if _can_be_asked(asked, settings):
                yield Ahead((asked, spoken()), asked)
    # Each holds a few comps at the least, so that more would find no room.
    for root, style in store.read(_NEWEST, (kept.room_for,)):
        barcodes = [f"{row[0]:014d}" for row in store.read(_BARCODES, (root, _CODES))]
        for code in ([style] if style else []) + barcodes[: _CODES - bool(style)]:
            asked = Query(code)
            if _can_be_asked(asked, settings) and (key := by_code(asked)) is not None:
                yield Ahead(key, asked)


def _can_be_asked(asked: Query, settings: Settings) -> bool:
    try:
        if asked.code.strip():
            parse_code(asked.code)
        return read_flags(settings, asked.flags) == asked.flags
    except BadInput:  # checked under other settings
        return False


def _made(store: Store, some: list[Ahead], settings: Settings) -> list[Prospect]:
    """Forecast items in one pass a category, with all that a check of one item works out whatever its price."""
    found = each_alone(prospects(store, [one.asked for one in some], settings, True))
    for one, of in zip(found, some, strict=True):
        judge(one, of.asked)
        _ = one.same, one.limits_at_others(None)
    return found


def answers(one: Ahead, found: Prospect) -> bool:
    """Whether what was forecast in one pass with others is what a check of the item alone would have found.

    Not for an unknown code: alone, the closest known ones are looked up for it. Nor, kept by what the code means,
    where the answer names the item by the code as typed.
    """
    item = found.base.item
    if one.key == (one.asked, spoken()):
        return item.known or not one.asked.code.strip()
    return item.known and item.label != one.asked.code
