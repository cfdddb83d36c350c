# ruff: noqa: S608 - only names of columns and placeholders are put into the statements
"""Change rows of the table and keep what was there, so that each change can be taken back.

A row keeps its key, the hash of what its file said, whatever is changed, so the same file loaded again still finds it.
What was changed is noted by the keys of products and rows, never by numbers, which differ once a product was gone.
"""

from __future__ import annotations

import json
import sqlite3
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any, NamedTuple

from sourcing.comps.columns import STATUSES
from sourcing.comps.comp import RowId
from sourcing.comps.counted import count_again
from sourcing.comps.many import blocks, marks
from sourcing.comps.refresh import refresh
from sourcing.comps.undo import _SEEN as SEEN
from sourcing.errors import BadInput
from sourcing.language import gettext, ngettext, separated
from sourcing.storage import Store

PRODUCT = "product"  # among the columns of a patch: the key of the product the row counts for
OPEN = STATUSES.index("open")
Target = str | int | None  # of a moved row: a product's key; its number where there is none of it now; not moved


class Patch(NamedTuple):
    """What changes in one row: columns of comp, and `PRODUCT`."""

    at: RowId
    was: dict[str, Any]
    now: dict[str, Any]


ROWS = "{rows}"  # stands in the words of a change for how many rows it is of


@dataclass
class Plan:
    """What one edit is to do."""

    words: str  # with `ROWS` where their count goes
    patches: list[Patch]
    aliases: dict[tuple[str, str], str] = field(default_factory=dict)  # kind, folded word -> what it is read as


@dataclass(frozen=True)
class Edit:
    """One edit, live or undone."""

    id: int
    at: str  # ISO 8601, UTC
    kind: str
    words: str
    undone_at: str | None


def make(store: Store, kind: str, plan_of: Callable[[sqlite3.Connection], Plan]) -> Edit:
    """Carry out a plan that is made inside the transaction; return the edit.

    Raises
    ------
    BadInput
        It would change nothing.
    """
    now = moment()
    with store.write_rows() as raw:
        plan = plan_of(raw)
        patches = [changed for patch in plan.patches if (changed := _only_changes(patch)).now]
        ledger = Ledger(raw, _new_edit(raw, now, kind))
        for (of, theirs), ours in plan.aliases.items():
            ledger.read_as(of, theirs, ours)
            if of == "style":
                ledger.join(theirs, ours)
        if not patches and not ledger.changed:
            raise BadInput(gettext("Nothing would change."), gettext("A value that differs from what is there."))
        rows = group(raw, patches)
        touched = write(raw, patches, ledger)
        settle(raw, patches, touched)
        words = plan.words.replace(ROWS, count_of(len(patches)))
        before = {"count": len(patches), "rows": rows, **ledger.as_json()}
        raw.execute("UPDATE edit SET words = ?, before = ? WHERE id = ?", (words, dump(before), ledger.edit_id))
    return Edit(ledger.edit_id, now, kind, words, None)


class Ledger:
    """Set words that are read as others and rows that were moved, noting what was there before."""

    def __init__(self, raw: sqlite3.Connection, edit_id: int) -> None:
        self._raw = raw
        self.edit_id = edit_id
        self._words: dict[tuple[str, str], list[str | None]] = {}
        self._moved: dict[tuple[str, int], list[Target]] = {}

    @property
    def changed(self) -> bool:
        """Whether anything was set to what it was not."""
        return bool(self.as_json()["words"] or self.as_json()["moved"])

    def as_json(self) -> dict[str, Any]:
        """Return what changed: (kind, word, before, after) and (product, row, before, after)."""
        return {
            "words": [[*word, *both] for word, both in self._words.items() if both[0] != both[1]],
            "moved": [[*row, *both] for row, both in self._moved.items() if both[0] != both[1]],
        }

    def read_as(self, kind: str, theirs: str, ours: str | None) -> None:
        """Let a word be read as another, or as itself with None."""
        found = self._raw.execute("SELECT ours FROM alias WHERE kind = ? AND theirs = ?", (kind, theirs)).fetchone()
        self._words.setdefault((kind, theirs), [found[0] if found else None, None])[1] = ours
        if ours is None:
            self._raw.execute("DELETE FROM alias WHERE kind = ? AND theirs = ?", (kind, theirs))
        else:
            self._raw.execute("INSERT OR REPLACE INTO alias VALUES (?, ?, ?, ?)", (kind, theirs, ours, self.edit_id))

    def join(self, theirs: str, ours: str) -> None:
        """Let rows that were moved out of or into a style code that is no more be found by the other one."""
        gone, stays = f"s:{theirs}", f"s:{ours}"
        for (key,) in self._raw.execute("SELECT key FROM moved WHERE product_key = ?", (gone,)).fetchall():
            target = moved_to(self._raw, (gone, key))
            self.send(gone, key, None)
            self.send(stays, key, None if target == stays else target)
        into = "SELECT m.product_key, m.key FROM moved m JOIN product p ON p.id = m.product_id WHERE p.key = ?"
        for came, key in self._raw.execute(into, (gone,)).fetchall():
            self.send(came, key, None if came == stays else stays)

    def send(self, product_key: str, key: int, target: Target) -> None:
        """Let a row that comes with one product go to another, or stay with None."""
        at = (product_key, key)
        self._moved.setdefault(at, [moved_to(self._raw, at), None])[1] = target
        number = product_number(self._raw, target) if isinstance(target, str) else target
        if number is None:
            self._raw.execute("DELETE FROM moved WHERE product_key = ? AND key = ?", at)
        else:
            self._raw.execute("INSERT OR REPLACE INTO moved VALUES (?, ?, ?, ?)", (*at, number, self.edit_id))


def moved_to(raw: sqlite3.Connection, at: tuple[str, int]) -> Target:
    """Return where a row is moved to."""
    found = raw.execute(
        "SELECT coalesce(p.key, m.product_id) FROM moved m LEFT JOIN product p ON p.id = m.product_id "
        "WHERE m.product_key = ? AND m.key = ?",
        at,
    ).fetchone()
    return found[0] if found else None


def product_number(raw: sqlite3.Connection, key: str) -> int | None:
    """Return the number of the product with a key, or None where there is none."""
    found = raw.execute("SELECT id FROM product WHERE key = ?", (key,)).fetchone()
    return int(found[0]) if found else None


def product_made(raw: sqlite3.Connection, key: str) -> int:
    """Return the number of the product with a key; one without rows yet is made where there is none."""
    number = product_number(raw, key)
    if number is not None:
        return number
    top = "SELECT max(coalesce((SELECT max(id) FROM product), 0), coalesce((SELECT max(product_id) FROM moved), 0))"
    number = 1 + int(raw.execute(top).fetchone()[0])
    style = key[2:] if key.startswith("s:") else ""
    raw.execute("INSERT INTO product VALUES (?, ?, ?, ?, '', '', '')", (number, key, number, style))
    return number


def write(raw: sqlite3.Connection, patches: Sequence[Patch], ledger: Ledger | None) -> set[int]:
    """Write what changes and return the products touched; with a ledger, note where moved rows are to be found."""
    touched = {patch.at.product_id for patch in patches}
    alike: dict[tuple[str, ...], list[Patch]] = defaultdict(list)
    for patch in patches:
        alike[tuple(name for name in patch.now if name != PRODUCT)].append(patch)
    for names, few in alike.items():
        if names:
            sets = ", ".join(f'"{name}" = ?' for name in names)
            values = ([*(patch.now[name] for name in names), *patch.at] for patch in few)
            raw.executemany(f"UPDATE comp SET {sets} WHERE product_id = ? AND key = ?", values)
    moves = [(patch.at, str(patch.now[PRODUCT])) for patch in patches if PRODUCT in patch.now]
    numbers = {key: product_made(raw, key) for key in sorted({key for _, key in moves})}
    if ledger is not None:
        for at, key in moves:
            _note_move(raw, at, key, ledger)
    places = [(numbers[key], *at) for at, key in moves]
    raw.executemany("UPDATE comp SET product_id = ? WHERE product_id = ? AND key = ?", places)
    raw.executemany("UPDATE also_in SET product_id = ? WHERE product_id = ? AND key = ?", places)
    return touched | set(numbers.values())


def _note_move(raw: sqlite3.Connection, at: RowId, target: str, ledger: Ledger) -> None:
    """Let the row be found again when a file brings it: with the product that file names, it goes to the target."""
    came = raw.execute("SELECT product_key FROM moved WHERE product_id = ? AND key = ?", at).fetchone()
    if came is None:
        came = raw.execute("SELECT key FROM product WHERE id = ?", (at.product_id,)).fetchone()
    origin = read_as(raw, came[0])
    if origin == target:
        if moved_to(raw, (origin, at.key)) is not None:
            ledger.send(origin, at.key, None)
    else:
        ledger.send(origin, at.key, target)


def read_as(raw: sqlite3.Connection, product_key: str) -> str:
    """Return the key of the product that rows with a style code count for, after the user's merges."""
    if not product_key.startswith("s:"):
        return product_key
    found = raw.execute("SELECT ours FROM alias WHERE kind = 'style' AND theirs = ?", (product_key[2:],)).fetchone()
    return f"s:{found[0]}" if found else product_key


def settle(raw: sqlite3.Connection, patches: Iterable[Patch], touched: set[int]) -> None:
    """Bring what is derived in line with the rows."""
    numbers: dict[str, int | None] = {}
    for patch in patches:
        if "status" in patch.now:
            key, place = patch.now.get(PRODUCT), patch.at.product_id
            if key is not None:
                place = numbers.setdefault(key, product_number(raw, key)) or place
            if patch.now["status"] == OPEN:
                raw.execute(SEEN, (place, patch.at.key))
            else:
                raw.execute("UPDATE comp SET seen = NULL WHERE product_id = ? AND key = ?", (place, patch.at.key))
    count_again(raw, refresh(raw, touched) | touched)


def group(raw: sqlite3.Connection, patches: Sequence[Patch]) -> list[dict[str, Any]]:
    """Return patches as plain data: rows that change alike stand together, by the products they were in."""
    keys: dict[int, str] = {}
    for some in blocks(sorted({patch.at.product_id for patch in patches})):
        keys.update(raw.execute(f"SELECT id, key FROM product WHERE id IN {marks(some)}", some))
    alike: dict[str, dict[str, Any]] = {}
    for patch in patches:
        both = {"was": patch.was, "is": patch.now}
        rows = alike.setdefault(dump(both), {**both, "at": defaultdict(list)})["at"]
        rows[keys[patch.at.product_id]].append(patch.at.key)
    return list(alike.values())


def ungroup(before: dict[str, Any]) -> Iterator[tuple[str, int, dict[str, Any], dict[str, Any]]]:
    """Yield of each row the product it was in, its key, and its changed columns before and after."""
    for alike in before["rows"]:
        for product_key, keys in alike["at"].items():
            for key in keys:
                yield product_key, key, alike["was"], alike["is"]


def dump(plain: Any) -> str:
    """Write plain data as JSON, short."""
    return json.dumps(plain, ensure_ascii=False, separators=(",", ":"), sort_keys=True)


def moment() -> str:
    """Return the moment it is, to the microsecond, so that edits can be told from fits made before them."""
    return datetime.now(UTC).isoformat(timespec="microseconds")


def count_of(rows: int) -> str:
    """Return a count of rows in words."""
    return ngettext("1 row", "{number} rows", rows, number=separated(f"{rows:,}"))


def _new_edit(raw: sqlite3.Connection, now: str, kind: str) -> int:
    cursor = raw.execute("INSERT INTO edit (at, kind, words, before) VALUES (?, ?, '', '')", (now, kind))
    assert cursor.lastrowid is not None
    return cursor.lastrowid


def _only_changes(patch: Patch) -> Patch:
    names = [name for name in patch.now if patch.now[name] != patch.was[name]]
    return Patch(patch.at, {name: patch.was[name] for name in names}, {name: patch.now[name] for name in names})
