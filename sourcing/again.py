"""An item that was checked before: when, at which price, and what came of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import NamedTuple

from sourcing.storage import Store

CORRECTION = timedelta(minutes=2)  # a check so soon after one of the same item mends it: a price, a flag, a size
_NUMBERS = ["no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"]
_MANY = 60  # earlier checks of one item that are looked at


@dataclass(frozen=True)
class Earlier:
    """An earlier check of the very item."""

    id: int
    at: datetime
    decision: str
    shelf_price: Decimal | None
    taken: int  # pieces of it that a haul holds


def earlier(store: Store, check_id: int, limit: int = 5) -> list[Earlier]:
    """Return earlier checks of the item a check was about, newest first.

    The very item is the same GTIN; where either check names none, the same style code (or title) and size. Of checks
    that mend each other, made within two minutes on one run, the last alone counts, and those that the check itself
    mends do not; one whose piece was taken was no mistake.
    """
    mine = store.read("SELECT at, gtin, style_size FROM checked WHERE id = ?", (check_id,))
    if not mine:
        return []
    at, gtin, style_size = mine[0]
    rows = store.read(
        "SELECT id, at, decision, shelf, "
        "(SELECT coalesce(sum(count), 0) FROM haul_item WHERE check_id = c.id AND undone_at IS NULL) "
        "FROM checked c WHERE (at < ? OR (at = ? AND id < ?)) AND ((gtin != '' AND gtin = ?) OR "
        "(style_size != '' AND style_size = ? AND (gtin = '' OR ? = ''))) ORDER BY at DESC, id DESC LIMIT ?",
        (at, at, check_id, gtin, style_size, gtin, _MANY),
    )
    found: list[Earlier] = []
    later = datetime.fromisoformat(at)
    for number, moment, decision, shelf, taken in rows:
        when = datetime.fromisoformat(moment)
        price = None if shelf is None else Decimal(shelf).scaleb(-2)
        if taken or later - when > CORRECTION or _run_between(store, when, later):
            found.append(Earlier(number, when, decision, price, taken))
        later = when
    return found[:limit]


def _run_between(store: Store, early: datetime, late: datetime) -> bool:
    """Say whether a run was ended, or one with a name was started, between two moments.

    One without a name starts by itself with the first piece taken, which separates nothing.
    """
    ends = (early.isoformat(timespec="seconds"), late.isoformat(timespec="seconds"))
    return bool(
        store.read(
            "SELECT 1 FROM haul WHERE (closed_at > ? AND closed_at <= ?) "
            "OR (store != '' AND started_at > ? AND started_at <= ?) LIMIT 1",
            ends + ends,
        )
    )


class Line(NamedTuple):
    """An earlier check in words."""

    id: int
    words: str


def lines(store: Store, check_id: int, price: Decimal | None, write: Callable[[Decimal], str]) -> list[Line]:
    """Say of each earlier check of the item what came of it, as of the day of the check that asks."""
    mine = store.read("SELECT at FROM checked WHERE id = ?", (check_id,))
    return [
        Line(one.id, words(one, datetime.fromisoformat(mine[0][0]), price, write)) for one in earlier(store, check_id)
    ]


def words(one: Earlier, now_at: datetime, price: Decimal | None, write: Callable[[Decimal], str]) -> str:
    """Say it in one line: “Passed at 34.99 nine days ago; 32.00 now.”; ``write`` shows an amount."""
    did = {"buy": "A buy", "pass": "Passed"}.get(one.decision, "Too little to go on")
    did = "Taken" if one.taken else did
    asked = f" at {write(one.shelf_price)}" if one.shelf_price is not None else ", with no price,"
    left = ", not taken" if one.decision == "buy" and not one.taken else ""
    now = ""
    if price is not None:
        now = "; the same price now" if price == one.shelf_price else f"; {write(price)} now"
    return f"{did}{asked} {ago(one.at, now_at)}{left}{now}."


def ago(then: datetime, now: datetime) -> str:
    """Say how long ago, by the days of this computer's calendar; both moments know their time zone."""
    days = (now.astimezone().date() - then.astimezone().date()).days
    if days > 1:
        return f"{_spelt(days)} days ago"
    if days == 1:
        return "yesterday"
    minutes = max(int((now - then).total_seconds() // 60), 0)
    if minutes < 1:
        return "a moment ago"
    if minutes < 60:
        return f"{_spelt(minutes)} minute{'s' if minutes > 1 else ''} ago"
    return f"{_spelt(minutes // 60)} hour{'s' if minutes >= 120 else ''} ago"


def _spelt(number: int) -> str:
    return _NUMBERS[number] if number < len(_NUMBERS) else str(number)
