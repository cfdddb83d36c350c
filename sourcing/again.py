"""An item that was checked before: when, at which price, and what came of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import NamedTuple

from sourcing.language import gettext, gettext_noop, ngettext, spoken
from sourcing.storage import Store

CORRECTION = timedelta(minutes=2)  # a check so soon after one of the same item mends it: a price, a flag, a size
_NUMBERS = (
    gettext_noop("no"),
    gettext_noop("one"),
    gettext_noop("two"),
    gettext_noop("three"),
    gettext_noop("four"),
    gettext_noop("five"),
    gettext_noop("six"),
    gettext_noop("seven"),
    gettext_noop("eight"),
    gettext_noop("nine"),
    gettext_noop("ten"),
    gettext_noop("eleven"),
    gettext_noop("twelve"),
)
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
    state = "taken" if one.taken else one.decision if one.decision in ("buy", "pass") else "little"
    when, shelf = ago(one.at, now_at), one.shelf_price
    if shelf is None:
        told = gettext(_WITHOUT_PRICE[state], ago=when)
    else:
        told = gettext(_AT_PRICE[state], price=write(shelf), ago=when)
    if price is not None:
        if price == shelf:
            return gettext("{told}; the same price now.", told=told)
        return gettext("{told}; {price} now.", told=told, price=write(price))
    return f"{told}."


_AT_PRICE = {
    "taken": gettext_noop("Taken at {price} {ago}"),
    "buy": gettext_noop("A buy at {price} {ago}, not taken"),
    "pass": gettext_noop("Passed at {price} {ago}"),
    "little": gettext_noop("Too little to go on at {price} {ago}"),
}
_WITHOUT_PRICE = {
    "taken": gettext_noop("Taken, with no price, {ago}"),
    "buy": gettext_noop("A buy, with no price, {ago}, not taken"),
    "pass": gettext_noop("Passed, with no price, {ago}"),
    "little": gettext_noop("Too little to go on, with no price, {ago}"),
}


def ago(then: datetime, now: datetime) -> str:
    """Say how long ago, by the days of this computer's calendar; both moments know their time zone."""
    days = (now.astimezone().date() - then.astimezone().date()).days
    if days > 1:
        return ngettext("{number} day ago", "{number} days ago", days, number=_spelt(days))
    if days == 1:
        return gettext("yesterday")
    minutes = max(int((now - then).total_seconds() // 60), 0)
    if minutes < 1:
        return gettext("a moment ago")
    if minutes < 60:
        return ngettext("{number} minute ago", "{number} minutes ago", minutes, number=_spelt(minutes))
    hours = minutes // 60
    return ngettext("{number} hour ago", "{number} hours ago", hours, number=_spelt(hours))


def _spelt(number: int) -> str:
    """Spell a small number out, in English, which does so in a sentence."""
    return _NUMBERS[number] if number < len(_NUMBERS) and spoken() == "en" else str(number)
