# ruff: noqa: S608 - only placeholders are put into the statements
"""Take an edit of the comps table back: every row it touched as it was, unless a later edit touched it too."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from sourcing.codes import style_key
from sourcing.comps.change import PRODUCT, Edit, Ledger, Patch, moment, settle, ungroup, write
from sourcing.comps.comp import RowId
from sourcing.comps.many import blocks, marks
from sourcing.comps.origin import named_since
from sourcing.errors import NotFound, Refused
from sourcing.language import gettext, ngettext, separated
from sourcing.storage import Store


@dataclass(frozen=True)
class TakenBack:
    """What taking back an edit did."""

    edit: Edit
    rows: int  # put back
    gone: int  # no longer there: their load was undone
    words: str


def edits(store: Store, limit: int = 200) -> list[Edit]:
    """Return the last edits, the newest first, undone ones included."""
    rows = store.read("SELECT id, at, kind, words, undone_at FROM edit ORDER BY id DESC LIMIT ?", (limit,))
    return [Edit(*row) for row in rows]


def undo_edit(store: Store, edit_id: int) -> TakenBack:
    """Take one edit back.

    Raises
    ------
    NotFound
        There is no such edit.
    Refused
        It is undone already, or a later edit changed the same and is to be undone first.
    """
    with store.write_rows() as raw:
        found = raw.execute(
            "SELECT id, at, kind, words, undone_at, before FROM edit WHERE id = ?", (edit_id,)
        ).fetchone()
        if found is None:
            raise NotFound(
                gettext("There is no change number {edit_id}.", edit_id=edit_id),
                next_step=gettext("See the list of changes for its number."),
            )
        edit, before = Edit(*found[:5]), json.loads(found[5])
        if edit.undone_at is not None:
            raise Refused(
                gettext("Change {edit_id} is undone already.", edit_id=edit_id),
                next_step=gettext("Make the change again to have it back."),
            )
        _refuse_if_built_on(raw, edit, before)
        patches, gone = _back(raw, before)
        known = {key for _, key, _, _ in ungroup(before)}
        patches += _came_later(raw, before, known) + named_since(raw, before, known)
        touched = write(raw, patches, None)
        _restore(Ledger(raw, edit_id), before)
        settle(raw, patches, touched)
        now = moment()
        raw.execute("UPDATE edit SET undone_at = ? WHERE id = ?", (now, edit_id))
    return TakenBack(Edit(edit.id, edit.at, edit.kind, edit.words, now), len(patches), gone, _words(edit, gone, before))


def _words(edit: Edit, gone: int, before: dict[str, Any]) -> str:
    said = gettext("Undone: {change}.", change=edit.words[0].lower() + edit.words[1:])
    if not gone:
        return said
    if gone == before["count"]:
        return f"{said} {gettext('Its rows are gone: the load that brought them was undone.')}"
    some = ngettext(
        "{number} of its rows is gone: the load that brought them was undone.",
        "{number} of its rows are gone: the load that brought them was undone.",
        gone,
        number=separated(f"{gone:,}"),
    )
    return f"{said} {some}"


def _refuse_if_built_on(raw: sqlite3.Connection, edit: Edit, before: dict[str, Any]) -> None:
    mine = set(_touched(before))
    later = raw.execute(
        "SELECT id, words, before FROM edit WHERE id > ? AND undone_at IS NULL ORDER BY id DESC", (edit.id,)
    )
    for number, words, other in later:
        if not mine.isdisjoint(_touched(json.loads(other))):
            raise Refused(
                gettext("A later change touched the same rows: {words} (change {number}).", words=words, number=number),
                next_step=gettext("Undo change {number} first, then this one.", number=number),
            )


def _touched(before: dict[str, Any]) -> Iterator[tuple[Any, ...]]:
    """Yield what an edit set: columns of rows, words read as others, places of moved rows."""
    for _, key, was, _ in ungroup(before):
        yield from ((key, name) for name in was)
    yield from (("word", kind, theirs) for kind, theirs, *_ in before["words"])
    yield from (("moved", product_key, key) for product_key, key, *_ in before["moved"])


def _back(raw: sqlite3.Connection, before: dict[str, Any]) -> tuple[list[Patch], int]:
    """Return what puts the rows back that are still as the edit left them, and how many are gone."""
    noted = {key: (product_key, was, now) for product_key, key, was, now in ungroup(before)}
    expected = {key: now.get(PRODUCT, product_key) for key, (product_key, _, now) in noted.items()}
    places = _find(raw, expected)
    patches = []
    for key, (number, product_key) in places.items():
        _, was, now = noted[key]
        names = [name for name in now if name != PRODUCT]
        there: dict[str, Any] = {PRODUCT: product_key}
        if names:
            columns = ", ".join(f'"{name}"' for name in names)
            row = raw.execute(f"SELECT {columns} FROM comp WHERE product_id = ? AND key = ?", (number, key)).fetchone()
            there |= zip(names, row, strict=True)
        # What is not as the edit left it came anew with a file: that is what it says.
        names = [name for name in now if there[name] == now[name]]
        patches.append(
            Patch(RowId(number, key), {name: now[name] for name in names}, {name: was[name] for name in names})
        )
    return [patch for patch in patches if patch.now], len(noted) - len(places)


def _find(raw: sqlite3.Connection, expected: dict[int, str]) -> dict[int, tuple[int, str]]:
    """Return where rows are, number and key of the product: nearly always where the edit left them."""
    numbers: dict[str, int] = {}
    for some in blocks(sorted(set(expected.values()))):
        numbers.update(raw.execute(f"SELECT key, id FROM product WHERE key IN {marks(some)}", some))
    names = {number: key for key, number in numbers.items()}
    found: dict[int, tuple[int, str]] = {}
    for some in blocks(sorted(names)):
        for number, key in raw.execute(f"SELECT product_id, key FROM comp WHERE product_id IN {marks(some)}", some):
            if key in expected and expected[key] == names[number]:
                found[key] = (number, names[number])
    if len(found) < len(expected):  # moved since, or gone
        everywhere = "SELECT c.product_id, c.key, p.key FROM comp c JOIN product p ON p.id = c.product_id"
        for number, key, product_key in raw.execute(everywhere):
            if key in expected and key not in found:
                found[key] = (number, product_key)
    return found


def _came_later(raw: sqlite3.Connection, before: dict[str, Any], known: set[int]) -> list[Patch]:
    """Return what takes rows back that files brought since under a style code that was merged into another."""
    patches = []
    for kind, theirs, was, now in before["words"]:
        if kind != "style":
            continue
        rows = raw.execute(
            "SELECT c.product_id, c.key, c.style_code FROM comp c JOIN product p ON p.id = c.product_id "
            "LEFT JOIN moved m ON m.product_id = c.product_id AND m.key = c.key WHERE p.key = ? AND m.key IS NULL",
            (f"s:{now}",),
        ).fetchall()
        target = {PRODUCT: f"s:{theirs if was is None else was}"}
        patches += [
            Patch(RowId(number, key), {PRODUCT: f"s:{now}"}, target)
            for number, key, typed in rows
            if key not in known and style_key(typed) == theirs
        ]
    return patches


def _restore(ledger: Ledger, before: dict[str, Any]) -> None:
    """Read words and send rows as before the edit."""
    for kind, theirs, was, _ in before["words"]:
        ledger.read_as(kind, theirs, was)
    for product_key, key, was, _ in before["moved"]:
        ledger.send(product_key, key, was)
