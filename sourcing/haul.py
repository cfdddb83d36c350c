"""The haul: what was taken on this run, what it costs so far and what it should bring."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import insert, select, update
from sqlalchemy.engine import Connection

from sourcing.alike import Thing, alike, thing
from sourcing.errors import BadInput, NotFound, Refused
from sourcing.flags.marked import flagged
from sourcing.language import gettext
from sourcing.settings import Settings, load_settings
from sourcing.storage import Store
from sourcing.storage.schema import checked, haul, haul_item

MOST_COUNT = 999
MOST_NAME = 80


@dataclass(frozen=True)
class HaulItem:
    """One line of a haul; money is for one piece."""

    id: int
    check_id: int
    label: str
    decision: str
    count: int
    shelf_price: Decimal | None
    landed_cost: Decimal | None
    profit_before_labour: Decimal | None
    profit_after_labour: Decimal | None
    prep_minutes: Decimal
    taken_at: str
    undone: bool
    worth_taking: int | None  # copies, by the verdict that was kept; None: it does not say
    line_before: Decimal | None = None  # profit before labour of all its pieces, each later one selling later and lower
    line_after: Decimal | None = None  # likewise after labour
    client_id: str = ""  # the tap's own id, made by the page or the phone
    style_code: str = ""
    category: str = ""
    about: tuple[str, ...] = ()  # what tells it from others of its name: style code, size, condition, flags
    before: int = 0  # pieces of the same item that were taken before it

    @property
    def too_many(self) -> bool:
        """Whether some of its pieces are more than its verdict took to be worth taking."""
        return self.worth_taking is not None and self.before + self.count > self.worth_taking


@dataclass(frozen=True)
class HaulView:
    """A haul with its running figures, which leave undone lines out."""

    id: int | None  # None: no haul is open
    store: str
    started_at: str
    items: tuple[HaulItem, ...]
    currency: str
    pieces: int
    outlay: Decimal
    profit_before_labour: Decimal
    profit_after_labour: Decimal
    prep_minutes: Decimal
    profit_per_hour: Decimal | None  # before labour, per hour of prep; None without prep
    unpriced: int  # pieces without a landed cost or a forecast, which the sums cannot hold


def start(store: Store, name: str = "") -> int:
    """Start a haul, closing the open one, and return its number.

    Raises
    ------
    BadInput
        The store's name is too long.
    """
    name = " ".join(name.split())
    if len(name) > MOST_NAME:
        raise BadInput(
            gettext("The store's name has {name} characters.", name=len(name)),
            gettext("Up to {most_name}.", most_name=MOST_NAME),
            gettext("Shorten it."),
            field="store",
        )
    with store.write() as connection:
        _close(connection)
        return _start(connection, name)


def close(store: Store) -> int:
    """Close the open haul and return how many were open (0 or 1)."""
    with store.write() as connection:
        return _close(connection)


def take(store: Store, check_id: int, count: int = 1, client_id: str = "") -> int:
    """Add a checked item to the open haul (started if none is) and return the line's number.

    A second call with the same ``client_id`` adds nothing and returns the first one's line: a tap sent twice.

    Raises
    ------
    BadInput
        The count is not from 1 to 999.
    NotFound
        There is no such check.
    """
    with store.write() as connection:
        return take_in(connection, check_id, count, client_id)


def take_in(connection: Connection, check_id: int, count: int, client_id: str, at: datetime | None = None) -> int:
    """Do as `take` inside a transaction of the caller's, for a taking of now or of another moment."""
    if not 1 <= count <= MOST_COUNT:
        raise BadInput(
            gettext("{number} pieces cannot be taken.", number=count),
            gettext("From 1 to {most_count}.", most_count=MOST_COUNT),
            field="count",
        )
    if client_id and (known := _line_of(connection, client_id)):
        return known
    if connection.execute(select(checked.c.id).where(checked.c.id == check_id)).first() is None:
        raise NotFound(
            gettext("There is no check number {check_id}.", check_id=check_id),
            next_step=gettext("Check the item again."),
        )
    open_one = connection.execute(
        select(haul.c.id).where(haul.c.closed_at.is_(None)).order_by(haul.c.id.desc())
    ).scalar()
    line = insert(haul_item).values(
        haul_id=open_one if open_one is not None else _start(connection, ""),
        check_id=check_id,
        client_id=client_id or None,
        count=count,
        taken_at=_now() if at is None else at.isoformat(timespec="seconds"),
    )
    return _key(connection.execute(line).inserted_primary_key)


def recount(store: Store, item_id: int, count: int) -> int:
    """Let one line of the open haul hold that many pieces, and return how many it held: what an undo puts back.

    Raises
    ------
    BadInput
        The count is not from 1 to 999.
    NotFound, Refused
        There is no such line; its haul is closed.
    """
    if not 1 <= count <= MOST_COUNT:
        raise BadInput(
            gettext("{number} pieces cannot be held.", number=count),
            gettext("From 1 to {most_count}.", most_count=MOST_COUNT),
            gettext("Undo the line for none."),
            field="count",
        )
    with store.write() as connection:
        _check_open(connection, item_id)
        before = connection.execute(select(haul_item.c.count).where(haul_item.c.id == item_id)).scalar_one()
        connection.execute(update(haul_item).where(haul_item.c.id == item_id).values(count=count))
        return int(before)


def undo(store: Store, item_id: int) -> None:
    """Put one line of the open haul back on the shelf; ``redo`` brings it back exactly.

    Raises
    ------
    NotFound, Refused
        There is no such line; its haul is closed.
    """
    _mark(store, item_id, _now())


def redo(store: Store, item_id: int) -> None:
    """Take an undone line back into the open haul.

    Raises
    ------
    NotFound, Refused
        There is no such line; its haul is closed.
    """
    _mark(store, item_id, None)


def current(store: Store) -> HaulView:
    """Return the open haul, or an empty view when none is open."""
    head = store.read("SELECT id, store, started_at FROM haul WHERE closed_at IS NULL ORDER BY id DESC LIMIT 1")
    return _view(store, *(head[0] if head else (None, "", "")))


def view(store: Store, haul_id: int) -> HaulView:
    """Return any haul, open or ended, reckoned with the terms in force.

    Raises
    ------
    NotFound
        There is no such haul.
    """
    head = store.read("SELECT id, store, started_at FROM haul WHERE id = ?", (haul_id,))
    if not head:
        raise NotFound(
            gettext("There is no haul number {haul_id}.", haul_id=haul_id),
            next_step=gettext("Choose one from the list of runs."),
        )
    return _view(store, *head[0])


def _view(store: Store, number: int | None, name: str, started: str) -> HaulView:
    settings = load_settings(store)
    rows = store.read(
        "SELECT i.id, i.check_id, c.label, c.decision, i.count, i.taken_at, i.undone_at, c.answer, i.client_id "
        "FROM haul_item i JOIN checked c ON c.id = i.check_id WHERE i.haul_id = ? ORDER BY i.id DESC",
        (number,),
    )
    items: list[HaulItem] = []
    there: list[tuple[Thing, int]] = []
    for item_id, check_id, label, decision, count, taken, undone, text, tap in reversed(rows):  # in the order of taking
        answer = json.loads(text)
        deal = settings.for_category(answer["item"]["category"])
        minutes = flagged(deal, settings, tuple(answer["item"].get("flags", ()))).terms.prep_minutes
        shelf, landed, before, after = (
            None if answer[key] is None else Decimal(answer[key])
            for key in ("shelf_price", "landed_cost", "profit_before_labour", "profit_after_labour")
        )
        item = HaulItem(
            item_id,
            check_id,
            label,
            decision,
            count,
            shelf,
            landed,
            before,
            after,
            Decimal(minutes),
            taken,
            undone is not None,
            answer.get("worth_taking"),  # verdicts kept long ago do not have it
            client_id=tap or "",
            style_code=answer["item"].get("style_code") or "",
            about=about(answer["item"], settings),
            category=answer["item"]["category"],
        )
        mine = thing(answer["item"])
        start = 0 if item.undone else sum(number for other, number in there if alike(mine, other))
        item = replace(item, before=start)
        if before is not None and after is not None:
            total = sum(_each_after(answer, after, start, count), Decimal(0))
            item = replace(item, line_before=total + count * (before - after), line_after=total)
        if not item.undone:
            there.append((mine, count))
        items.append(item)
    items.reverse()
    return _summed(number, name, started, tuple(items), settings.currency)


def _summed(number: int | None, name: str, started: str, items: tuple[HaulItem, ...], currency: str) -> HaulView:
    zero = Decimal(0)
    live = [item for item in items if not item.undone]
    before = sum((item.line_before or zero for item in live), zero)
    minutes = sum((item.count * item.prep_minutes for item in live), zero)
    return HaulView(
        id=number,
        store=name,
        started_at=started,
        items=items,
        currency=currency,
        pieces=sum(item.count for item in live),
        outlay=sum((item.count * (item.landed_cost or zero) for item in live), zero),
        profit_before_labour=before,
        profit_after_labour=sum((item.line_after or zero for item in live), zero),
        prep_minutes=minutes,
        profit_per_hour=before * 60 / minutes if minutes else None,
        unpriced=sum(item.count for item in live if item.landed_cost is None or item.profit_after_labour is None),
    )


def _each_after(answer: dict[str, Any], alone: Decimal, start: int, count: int) -> list[Decimal]:
    """Profit after labour of each of ``count`` pieces, ``start`` of the same having been taken before.

    Beyond the last copy that the verdict looked at, each brings what that one does; a verdict without copies speaks of
    each as if it were alone.
    """
    known = [Decimal(copy["profit"]) for copy in answer.get("depth") or () if copy["profit"] is not None]
    return [known[min(at, len(known) - 1)] if known else alone for at in range(start, start + count)]


def _start(connection: Connection, name: str) -> int:
    made = connection.execute(insert(haul).values(store=name, started_at=_now()))
    return _key(made.inserted_primary_key)


def _close(connection: Connection) -> int:
    return connection.execute(update(haul).where(haul.c.closed_at.is_(None)).values(closed_at=_now())).rowcount


def about(item: Mapping[str, Any], settings: Settings) -> tuple[str, ...]:
    """Return what tells the item of a verdict from others of its name, for people."""
    flags = (settings.flags[name].shown if name in settings.flags else name for name in item.get("flags", ()))
    told = (item.get("style_code"), item.get("size"), item.get("condition"), *flags)
    return tuple(str(one) for one in told if one)


def _line_of(connection: Connection, client_id: str) -> int | None:
    return connection.execute(select(haul_item.c.id).where(haul_item.c.client_id == client_id)).scalar()


def _mark(store: Store, item_id: int, undone_at: str | None) -> None:
    with store.write() as connection:
        _check_open(connection, item_id)
        connection.execute(update(haul_item).where(haul_item.c.id == item_id).values(undone_at=undone_at))


def _check_open(connection: Connection, item_id: int) -> None:
    found = connection.execute(
        select(haul.c.closed_at).join(haul_item, haul_item.c.haul_id == haul.c.id).where(haul_item.c.id == item_id)
    ).first()
    if found is None:
        raise NotFound(
            gettext("There is no line number {item_id} in a haul.", item_id=item_id),
            next_step=gettext("Reload the haul."),
        )
    if found.closed_at is not None:
        raise Refused(gettext("This line's haul is closed."), next_step=gettext("Only an open haul can be changed."))


def _key(key: object) -> int:
    assert key is not None
    return int(key[0])  # type: ignore[index]


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")
