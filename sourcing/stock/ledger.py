# ruff: noqa: S608 - only names of tables and columns of this module are put into the statements
"""The ledger of stock: every action with what it found and what it left, appended and never changed.

The tables of pieces, listings and sales hold how things stand now. An undo is an action too, which puts back what its
action found; it goes through only where everything still is as that action left it, so later ones are undone first.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Literal

from sourcing.errors import BadInput, NotFound, Refused
from sourcing.language import gettext, gettext_noop
from sourcing.stock.item import ITEM_COLUMNS, LISTING_COLUMNS, SALE_COLUMNS
from sourcing.storage import Store

Kept = Literal["item", "listing", "sale"]
_TABLES: Mapping[str, tuple[str, tuple[str, ...]]] = {
    "item": ("stock_item", ITEM_COLUMNS),
    "listing": ("stock_listing", LISTING_COLUMNS),
    "sale": ("stock_sale", SALE_COLUMNS),
}
UNDO = "undo"


@dataclass(frozen=True)
class Action:
    """One action of the ledger; ``undone`` where a later one took it back and was not itself taken back."""

    id: int
    at: str  # ISO 8601, UTC
    kind: str
    words: str
    undoes: int | None
    undone: bool


class Entry:
    """What one action does, noted as it is done; for use inside `act` only."""

    def __init__(self, raw: sqlite3.Connection, action_id: int) -> None:
        self.raw = raw
        self.action_id = action_id
        self.changes = 0

    def rows(self, statement: str, values: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
        """Run one SELECT inside the transaction."""
        return self.raw.execute(statement, values).fetchall()

    def create(self, kept: Kept, values: Mapping[str, Any]) -> int:
        """Add a row and return its number, which is never given again."""
        table, columns = _TABLES[kept]
        names = [name for name in columns if name in values]
        marks = ", ".join("?" * len(names))
        try:
            cursor = self.raw.execute(
                f"INSERT INTO {table} ({', '.join(names)}) VALUES ({marks})", [values[name] for name in names]
            )
        except sqlite3.IntegrityError as error:  # one that was taken out comes back, and its label has gone on
            raise _on_another(values) from error
        number = cursor.lastrowid
        assert number is not None
        self._note(kept, number, None, self.find(kept, number))
        return number

    def change(self, kept: Kept, number: int, values: Mapping[str, Any]) -> None:
        """Set columns of a row; those that already are so are left alone."""
        row = self.row(kept, number)
        now = {name: value for name, value in values.items() if row[name] != value}
        if now:
            self._set(kept, number, now)
            self._note(kept, number, {name: row[name] for name in now}, now)

    def remove(self, kept: Kept, number: int) -> None:
        """Take a row out; the ledger keeps it whole."""
        row = self.row(kept, number)
        self.raw.execute(f"DELETE FROM {_TABLES[kept][0]} WHERE id = ?", (number,))
        self._note(kept, number, row, None)

    def put_back(self, kept: Kept, number: int, before: dict[str, Any] | None, after: dict[str, Any] | None) -> None:
        """Turn one change round: ``after`` is what it left, ``before`` what it found.

        Raises
        ------
        Refused
            It is no longer as the change left it.
        """
        row = self.find(kept, number)
        if after is None:
            if row is not None:
                raise Refused(
                    gettext(_THERE_AGAIN[kept], number=number),
                    next_step=gettext("Reload the page."),
                )
            assert before is not None
            self.create(kept, before)
            return
        if row is None or any(row[name] != value for name, value in after.items()):
            raise Refused(
                gettext("What this action left was changed since."),
                next_step=gettext("Undo the later actions on the same pieces first."),
            )
        if before is None:
            self.remove(kept, number)
        else:
            self.change(kept, number, before)

    def find(self, kept: Kept, number: int) -> dict[str, Any] | None:
        """Return a row as it is stored, or None."""
        table, columns = _TABLES[kept]
        found = self.raw.execute(f"SELECT {', '.join(columns)} FROM {table} WHERE id = ?", (number,)).fetchone()
        return None if found is None else dict(zip(columns, found, strict=True))

    def row(self, kept: Kept, number: int) -> dict[str, Any]:
        """Return a row as it is stored.

        Raises
        ------
        NotFound
            There is none of that number.
        """
        found = self.find(kept, number)
        if found is None:
            raise NotFound(
                gettext(_MISSING[kept], number=number),
                next_step=gettext("Reload the page."),
            )
        return found

    def _set(self, kept: Kept, number: int, values: Mapping[str, Any]) -> None:
        marks = ", ".join(f"{name} = ?" for name in values)
        try:
            self.raw.execute(f"UPDATE {_TABLES[kept][0]} SET {marks} WHERE id = ?", (*values.values(), number))
        except sqlite3.IntegrityError as error:
            raise _on_another(values) from error

    def _note(self, kept: Kept, number: int, before: dict[str, Any] | None, after: dict[str, Any] | None) -> None:
        self.raw.execute(
            "INSERT INTO stock_change (action_id, place, kept, number, before, after) VALUES (?, ?, ?, ?, ?, ?)",
            (self.action_id, self.changes, kept, number, _dump(before), _dump(after)),
        )
        self.changes += 1


def _on_another(values: Mapping[str, Any]) -> Refused:
    return Refused(
        gettext("The label “{label}” is on another piece.", label=values.get("label")),
        gettext("A label that no other piece bears."),
        gettext("Take the next free one."),
        field="label",
    )


_MISSING = {
    "item": gettext_noop("There is no piece number {number}."),
    "listing": gettext_noop("There is no listing number {number}."),
    "sale": gettext_noop("There is no sale number {number}."),
}
_THERE_AGAIN = {
    "item": gettext_noop("The piece number {number} is there again."),
    "listing": gettext_noop("The listing number {number} is there again."),
    "sale": gettext_noop("The sale number {number} is there again."),
}


def act(store: Store, kind: str, do: Callable[[Entry], str], client_id: str = "", undoes: int | None = None) -> int:
    """Carry out one action, all of it or nothing, and return its number.

    Parameters
    ----------
    do : carries it out and returns what it did in words. client_id : of the tap; sent twice, it acts once.

    Raises
    ------
    BadInput
        Nothing would change.
    """
    with store.write_rows() as raw:
        if client_id:
            known = raw.execute("SELECT id FROM stock_action WHERE client_id = ?", (client_id,)).fetchone()
            if known:
                return int(known[0])
        cursor = raw.execute(
            "INSERT INTO stock_action (at, kind, words, client_id, undoes) VALUES (?, ?, '', ?, ?)",
            (datetime.now(UTC).isoformat(timespec="seconds"), kind, client_id or None, undoes),
        )
        number = int(cursor.lastrowid)
        entry = Entry(raw, number)
        words = do(entry)
        if not entry.changes:
            raise BadInput(gettext("Nothing would change."), gettext("A value that differs from what is there."))
        # Within the transaction that made it: nobody has seen the line yet.
        raw.execute("UPDATE stock_action SET words = ? WHERE id = ?", (words, number))
    return number


def undo(store: Store, action_id: int, client_id: str = "") -> int:
    """Take an action back and return the number of the action that does; undoing that one is a redo.

    Raises
    ------
    NotFound, Refused
        There is no such action; it is undone already; what it left was changed since.
    """

    def do(entry: Entry) -> str:
        found = entry.rows("SELECT words FROM stock_action WHERE id = ?", (action_id,))
        if not found:
            raise NotFound(
                gettext("There is no action number {action_id}.", action_id=action_id),
                next_step=gettext("Open the list of actions."),
            )
        if undone(entry.rows, action_id, before=entry.action_id):
            raise Refused(
                gettext("This action is undone already."), next_step=gettext("Undo the undoing to have it again.")
            )
        changes = entry.rows(
            "SELECT kept, number, before, after FROM stock_change WHERE action_id = ? ORDER BY place DESC", (action_id,)
        )
        for kept, number, before, after in changes:
            entry.put_back(kept, number, _load(before), _load(after))
        return gettext("Undone: {change}", change=found[0][0])

    return act(store, UNDO, do, client_id, action_id)


_OF_ITEM = """WHERE a.id IN (
    SELECT action_id FROM stock_change WHERE kept = 'item' AND number = ?
    UNION SELECT action_id FROM stock_change WHERE kept = 'listing'
        AND number IN (SELECT id FROM stock_listing WHERE item_id = ?)
    UNION SELECT action_id FROM stock_change WHERE kept = 'sale'
        AND number IN (SELECT id FROM stock_sale WHERE item_id = ?))"""


def actions(store: Store, limit: int = 50, item_id: int | None = None, before: int = 1 << 62) -> list[Action]:
    """Return the last actions, newest first: of one piece, its listings and sales where its number is given.

    ``before`` is the number of the last action of the page before.
    """
    where, values = "WHERE a.id < ?", (before, limit)
    if item_id is not None:
        where, values = f"{_OF_ITEM} AND a.id < ?", (item_id, item_id, item_id, before, limit)  # type: ignore[assignment]
    rows = store.read(
        f"SELECT a.id, a.at, a.kind, a.words, a.undoes FROM stock_action a {where} ORDER BY a.id DESC LIMIT ?", values
    )
    return [_action(store, row) for row in rows]


def action(store: Store, number: int) -> Action:
    """Return one action.

    Raises
    ------
    NotFound
        There is none of that number.
    """
    rows = store.read("SELECT id, at, kind, words, undoes FROM stock_action WHERE id = ?", (number,))
    if not rows:
        raise NotFound(
            gettext("There is no action number {number}.", number=number),
            next_step=gettext("Open the list of actions."),
        )
    return _action(store, rows[0])


def items_of(store: Store, action_id: int) -> list[int]:
    """Return the numbers of the pieces that an action changed, made, priced or sold, and that there are still."""
    rows = store.read(
        "SELECT i.id FROM stock_item i WHERE i.id IN ("
        "SELECT number FROM stock_change WHERE action_id = ?1 AND kept = 'item' "
        "UNION SELECT l.item_id FROM stock_change c JOIN stock_listing l ON c.kept = 'listing' AND l.id = c.number "
        "WHERE c.action_id = ?1 "
        "UNION SELECT s.item_id FROM stock_change c JOIN stock_sale s ON c.kept = 'sale' AND s.id = c.number "
        "WHERE c.action_id = ?1) ORDER BY i.id",
        (action_id,),
    )
    return [row[0] for row in rows]


def _action(store: Store, row: tuple[Any, ...]) -> Action:
    return Action(row[0], row[1], row[2], row[3], row[4], undone(store.read, row[0]))


def undone(rows: Callable[..., list[tuple[Any, ...]]], action_id: int, before: int = 1 << 62) -> bool:
    """Whether the last action that took this one back still stands; ``rows`` runs a SELECT."""
    last = rows("SELECT MAX(id) FROM stock_action WHERE undoes = ? AND id < ?", (action_id, before))[0][0]
    return last is not None and not undone(rows, last, before)


def _dump(values: dict[str, Any] | None) -> str | None:
    return None if values is None else json.dumps(values, separators=(",", ":"))


def _load(text: str | None) -> dict[str, Any] | None:
    return None if text is None else json.loads(text)
