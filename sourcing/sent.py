"""What a phone did without the server and sends later: each thing is stored once, however often it comes.

A phone gives each thing an id of its own, with a random part that no other phone has. The id is written in the same
transaction as what it stands for, so that a send whose answer got lost, and is repeated, changes nothing. A price seen
is a load of its own, which knows its row again; its id is written right after it.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any, Literal

from sourcing import haul, history
from sourcing.answer import Query, Verdict
from sourcing.check import check
from sourcing.errors import BadInput, NotFound, Refused
from sourcing.language import gettext
from sourcing.storage import Store

if TYPE_CHECKING:
    from sqlalchemy.engine import Connection

LONGEST_ID = 64
OLDEST = timedelta(days=400)  # a phone that was off for longer says "now"


@dataclass(frozen=True)
class Moment:
    """When something happened, by both clocks; the server's wins."""

    at: datetime
    phone_at: str


@dataclass(frozen=True)
class Seen:
    """One price seen elsewhere."""

    price: Decimal
    sold: bool
    condition: str = ""


@dataclass(frozen=True)
class Outcome:
    """What became of one thing: the check, the haul's line or the load it now is; None where that is not known."""

    state: Literal["stored", "undone"]
    target: int | None = None


def server_name(store: Store) -> str:
    """Return what phones tell these data from others by."""
    return str(store.read("SELECT value FROM about WHERE name = 'server'")[0][0])


def moment(phone_at: str, phone_now: str, now: datetime | None = None) -> Moment:
    """Return when something happened: as long before now as the phone says it was, by whatever its clock showed.

    Parameters
    ----------
    phone_at, phone_now : str
        ISO 8601 moments by the phone's clock: of the thing, and of the sending.
    now : datetime, optional
        The server's clock.
    """
    now = now or datetime.now(UTC)
    then, sending = _read(phone_at), _read(phone_now)
    ago = sending - then if then is not None and sending is not None else timedelta(0)
    return Moment(now - ago if timedelta(0) <= ago <= OLDEST else now, phone_at[:40])


def keep_check(store: Store, client_id: str, query: Query, when: Moment, said: Mapping[str, Any]) -> Outcome:
    """Judge an item that a phone judged from its pack, and keep it among the past checks.

    Parameters
    ----------
    said : mapping
        As the phone sent it, with the verdict it had shown: kept beside the server's.

    Raises
    ------
    BadInput
        The id or the code cannot be one.
    """
    if known := _known(store, client_id):
        return known
    verdict: Verdict = check(store, query)
    with store.write() as connection:
        if known := _known_in(connection, client_id):
            return known
        number = history.record_in(connection, verdict, when.at)
        return _keep(connection, client_id, "check", number, when, said)


def keep_taking(
    store: Store, client_id: str, check: str | int, count: int, when: Moment, said: Mapping[str, Any]
) -> Outcome:
    """Add a checked item to the open haul.

    Parameters
    ----------
    check : str or int
        The check's own id where the phone made it, else its number.

    Raises
    ------
    BadInput, NotFound
        The count is not from 1 to 999; there is no such check here.
    """
    if known := _known(store, client_id):
        return known
    with store.write() as connection:
        if known := _known_in(connection, client_id):
            return known
        number = check if isinstance(check, int) else _check_of(connection, check)
        line = haul.take_in(connection, number, count, client_id, when.at)
        return _keep(connection, client_id, "take", line, when, said)


def keep_price(
    store: Store, client_id: str, query: Query, seen: Seen, when: Moment, said: Mapping[str, Any]
) -> Outcome:
    """Store a price seen elsewhere as a comp of its day.

    Raises
    ------
    BadInput
        The price is 0, or nothing says which item it is.
    """
    from sourcing.comps.typed_in import type_in

    if known := _known(store, client_id):
        return known
    token, day = hashlib.blake2b(client_id.encode(), digest_size=8).hexdigest(), when.at.date()
    report = type_in(store, query, seen.price, sold=seen.sold, condition=seen.condition, token=token, today=day)
    with store.write() as connection:
        if known := _known_in(connection, client_id):
            return known
        target = report.batch_id if report.batch_id is not None else _batch_of(store, token)
        return _keep(connection, client_id, "comp", target, when, said)


def take_back(store: Store, client_id: str, when: Moment) -> Outcome:
    """Undo what a phone sent; what has not come yet is not stored when it does.

    Raises
    ------
    Refused
        The check was taken into a haul; the line's haul is closed.
    """
    from sourcing.comps import undo_batch

    _checked_id(client_id)
    rows = store.read("SELECT kind, state, target FROM sent WHERE client_id = ?", (client_id,))
    kind, state, target = rows[0] if rows else ("undo", "", _line_number(store, client_id))
    if state == "undone":
        return Outcome("undone", target)
    if kind == "comp" and target is not None:
        if store.read("SELECT 1 FROM batch WHERE id = ? AND undone_at IS NULL", (target,)):
            undo_batch(store, target)
    elif kind == "take" or (kind == "undo" and target is not None):
        haul.undo(store, target)
    with store.write() as connection:
        if kind == "check":
            _forget_check(connection, target)
        _mark_undone(connection, client_id, kind, target, when)
    return Outcome("undone", target)


def said_of_check(store: Store, check_id: int) -> dict[str, Any] | None:
    """Return what a phone had said of a check when it was made, with both clocks; None where no phone had."""
    rows = store.read(
        "SELECT said, at, phone_at, received_at FROM sent WHERE kind = 'check' AND target = ? AND state = 'stored'",
        (check_id,),
    )
    if not rows:
        return None
    said, at, phone_at, received_at = rows[0]
    return {**json.loads(said), "at": at, "phone_at": phone_at, "received_at": received_at}


def _known(store: Store, client_id: str) -> Outcome | None:
    _checked_id(client_id)
    rows = store.read("SELECT state, target FROM sent WHERE client_id = ?", (client_id,))
    return Outcome(*rows[0]) if rows else None


def _known_in(connection: Connection, client_id: str) -> Outcome | None:
    from sqlalchemy import select

    from sourcing.storage.schema_sent import sent

    row = connection.execute(select(sent.c.state, sent.c.target).where(sent.c.client_id == client_id)).first()
    return None if row is None else Outcome(row.state, row.target)


def _keep(
    connection: Connection, client_id: str, kind: str, target: int | None, when: Moment, said: Mapping[str, Any]
) -> Outcome:
    from sourcing.storage.schema_sent import sent

    connection.execute(
        sent.insert().values(
            client_id=client_id,
            kind=kind,
            state="stored",
            target=target,
            said=json.dumps(said),
            at=_iso(when.at),
            phone_at=when.phone_at,
            received_at=_iso(datetime.now(UTC)),
        )
    )
    return Outcome("stored", target)


def _mark_undone(connection: Connection, client_id: str, kind: str, target: int | None, when: Moment) -> None:
    from sourcing.storage.schema_sent import sent

    if _known_in(connection, client_id) is None:
        _keep(connection, client_id, kind, target, when, {})
    connection.execute(sent.update().where(sent.c.client_id == client_id).values(state="undone"))


def _check_of(connection: Connection, client_id: str) -> int:
    from sqlalchemy import select

    from sourcing.storage.schema_sent import sent

    found = select(sent.c.target).where(sent.c.client_id == client_id, sent.c.kind == "check", sent.c.state == "stored")
    number = connection.execute(found).scalar()
    if number is None:
        raise NotFound(
            gettext("The check this piece was taken on is not here."),
            next_step=gettext("It was undone or refused. Check the item again and take it."),
        )
    return int(number)


def _forget_check(connection: Connection, check_id: int | None) -> None:
    from sqlalchemy import select

    from sourcing.storage.schema import checked, haul_item

    if connection.execute(select(haul_item.c.id).where(haul_item.c.check_id == check_id)).first() is not None:
        raise Refused(
            gettext("This check was taken into a haul, so it stays among the past checks."),
            next_step=gettext("Put the piece back in the haul; the check itself costs nothing."),
        )
    connection.execute(checked.delete().where(checked.c.id == check_id))


def _line_number(store: Store, client_id: str) -> int | None:
    """Return the haul's line of this id that came by a form of the pages."""
    rows = store.read("SELECT id FROM haul_item WHERE client_id = ?", (client_id,))
    return int(rows[0][0]) if rows else None


def _batch_of(store: Store, token: str) -> int | None:
    """Return the load of a price whose answer was lost: only after a crash, for it looks through all comps."""
    rows = store.read("SELECT batch_id FROM comp WHERE note = ?", (f"typed by you, {token}",))
    return int(rows[0][0]) if rows else None


def _checked_id(client_id: str) -> None:
    if not 8 <= len(client_id) <= LONGEST_ID or not client_id.isascii() or not client_id.isprintable():
        raise BadInput(
            gettext("That has no id that can be used."),
            gettext("From 8 to {longest_id} plain characters.", longest_id=LONGEST_ID),
            gettext("Load the page anew."),
        )


def _read(text: str) -> datetime | None:
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        return None
    return found if found.tzinfo else None


def _iso(at: datetime) -> str:
    return at.isoformat(timespec="seconds")
