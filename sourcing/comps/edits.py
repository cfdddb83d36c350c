# ruff: noqa: S608 - only names of columns and placeholders are put into the statements
"""What the user may change in the comps table: rows, rows set aside, style codes, names; each is one undoable edit."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

from sourcing.codes import style_key
from sourcing.comps import values
from sourcing.comps.change import PRODUCT, Edit, Patch, Plan, make, read_as
from sourcing.comps.columns import NAMES
from sourcing.comps.comp import STORAGE, CompRow, RowId, cells, comp
from sourcing.comps.many import blocks, marks
from sourcing.comps.read import Block
from sourcing.comps.rows import Judge
from sourcing.comps.titles import fold_title
from sourcing.comps.translate import Source
from sourcing.errors import BadInput, NotFound
from sourcing.storage import Store

KINDS = {"brand": "brand", "category": "category"}
MOST_ROWS = 5_000  # of one set-aside or split


def edit_row(store: Store, at: RowId, said: Mapping[str, str]) -> Edit:
    """Change fields of one row, given as a comps file writes them; columns left out stay.

    Raises
    ------
    BadInput
        A value cannot be used, ``field`` names its column; or nothing would change.
    NotFound
        There is no such row.
    """
    row = comp(store, at)
    was = cells(row)
    unknown = [name for name in said if name not in NAMES]
    if unknown:
        raise BadInput(f"“{unknown[0][:40]}” is no column.", f"The documented ones: {', '.join(NAMES)}.")
    styles = dict(store.read("SELECT theirs, ours FROM alias WHERE kind = 'style'"))
    judge = Judge(
        {name: Source(name, place) for place, name in enumerate(NAMES)},
        latest=datetime.now(UTC).date() + timedelta(days=1),
        aliases={"style": styles},
    )
    before, after = _read(judge, was), _read(judge, {**was, **said}, strict={*said} | {"status", "sold_price"})
    now = {STORAGE[name]: after[STORAGE[name]] for name in NAMES}
    told = [name for name in NAMES if now[STORAGE[name]] != before[STORAGE[name]]]
    # A row counts for the product its own words name, until the user says otherwise.
    product = after[PRODUCT] if after[PRODUCT] != before[PRODUCT] else row.product_key
    if "style_code" in told and style_key(now["style_code"]) in styles:  # merged into another: it gets that one
        now["style_code"] = styles[style_key(now["style_code"])]
    patch = Patch(row.id, {**{name: before[name] for name in now}, PRODUCT: row.product_key}, {**now, PRODUCT: product})
    words = f"Changed {_listed([name.replace('_', ' ') for name in told])} of {_short(row)}"
    return make(store, "row", lambda raw: Plan(words, [_still_there(raw, patch)]))


def _read(judge: Judge, said: Mapping[str, str], strict: Iterable[str] | None = None) -> dict[str, Any]:
    """Read one row as a file's is read; with `strict`, anything noted about those columns is refused."""
    judged = judge.judge(Block([2], [[said[name]] for name in NAMES]))
    for problem in judged.problems:
        if problem.rejected or problem.column in (strict or ()):
            value = f"“{problem.value[:60]}”: " if problem.value else ""
            reason = problem.reason.replace(values.KEPT, "")
            field = problem.column or "style_code"
            raise BadInput(f"{field.replace('_', ' ').capitalize()}: {value}{reason}", "", problem.fix, field=field)
    found = {name: column[0] for name, column in zip(judge.stored, judged.columns, strict=True)}
    return found | {PRODUCT: judged.products[0]}


def set_aside(store: Store, rows: Sequence[RowId], reason: str) -> Edit:
    """Let rows count no longer, for a reason in the user's words.

    Raises
    ------
    BadInput
        There is no reason, or no row; all were set aside for it already.
    NotFound
        A row is not there.
    """
    why = _text(reason, "reason", "Why the row should not count, such as: lot of three.")
    return make(store, "aside", lambda raw: Plan(f"Set aside {{rows}}: {why}", _each(raw, rows, "aside", why)))


def bring_back(store: Store, rows: Sequence[RowId]) -> Edit:
    """Let rows that were set aside count again.

    Raises
    ------
    BadInput
        None of them was set aside.
    NotFound
        A row is not there.
    """
    return make(store, "back", lambda raw: Plan("Brought back {rows}", _each(raw, rows, "aside", "")))


def merge(store: Store, gone: int, stays: int) -> Edit:
    """Make two items one: rows of the first count for the second, in files loaded later too where it has a style code.

    Parameters
    ----------
    store : Store
        The store.
    gone, stays : int
        Numbers of the two products.

    Raises
    ------
    NotFound
        One of them is not there.
    BadInput
        They are one already.
    """

    def plan(raw: sqlite3.Connection) -> Plan:
        first, second = _product_key(raw, gone), _product_key(raw, stays)
        if first == second:
            raise BadInput("The two are one item already.", "Two different items.", field="into")
        found = raw.execute("SELECT key FROM comp WHERE product_id = ?", (gone,))
        patches = [Patch(RowId(gone, key), {PRODUCT: first}, {PRODUCT: second}) for (key,) in found]
        words = f"Merged {_said_of(first)} into {_said_of(second)}: {{rows}}"
        if not (first.startswith("s:") and second.startswith("s:")):
            return Plan(words, patches)
        theirs, ours = first[2:], second[2:]
        before = raw.execute("SELECT theirs FROM alias WHERE kind = 'style' AND ours = ?", (theirs,)).fetchall()
        return Plan(words, patches, {("style", word): ours for (word,) in [(theirs,), *before]})

    return make(store, "merge", plan)


def split(store: Store, rows: Sequence[RowId], style_code: str) -> Edit:
    """Let rows count for another style code, a new one or one that is there; the same rows of later files too.

    Raises
    ------
    BadInput
        No row was chosen, or the style code cannot be one.
    NotFound
        A row is not there.
    """
    typed = _text(style_code, "style_code", "A style code of letters and digits.")
    key = style_key(typed)
    if not key:
        raise BadInput(f"“{typed[:40]}” is no style code.", "Letters and digits.", field="style_code")

    def plan(raw: sqlite3.Connection) -> Plan:
        target = read_as(raw, f"s:{key}")
        said = typed if target == f"s:{key}" else target[2:]  # of a code that was merged into another, the other
        patches = []
        for patch in _each(raw, rows, "style_code", said):
            came = {PRODUCT: _product_key(raw, patch.at.product_id)}
            patches.append(Patch(patch.at, patch.was | came, patch.now | {PRODUCT: target}))
        return Plan(f"Moved {{rows}} to {_said_of(target)}", patches)

    return make(store, "split", plan)


def rename(store: Store, kind: str, theirs: Sequence[str], ours: str) -> Edit:
    """Give brands or categories another name, in all rows and in files loaded later.

    Parameters
    ----------
    store : Store
        The store.
    kind : str
        "brand" or "category".
    theirs : sequence of str
        The names now; case and spaces do not matter. "" is for rows without one, and those of later files stay.
    ours : str
        The name they get.

    Raises
    ------
    BadInput
        The new name is empty or too long, or nothing has one of the names.
    """
    if kind not in KINDS:
        raise BadInput(f"“{kind[:40]}” is neither brand nor category.", "brand or category.", field="kind")
    if not theirs:
        raise BadInput(f"No {kind} was chosen.", f"At least one {kind} of the list.", field="name")
    name = _text(ours, "to", f"The {kind} the rows are to have.")
    chosen = {fold_title(one) for one in theirs}

    def plan(raw: sqlite3.Connection) -> Plan:
        spelt = [one for (one,) in raw.execute(f"SELECT DISTINCT {kind} FROM comp") if fold_title(one) in chosen]
        patches = []
        for some in blocks(sorted(spelt)):
            found = raw.execute(f"SELECT product_id, key, {kind} FROM comp WHERE {kind} IN {marks(some)}", some)
            patches += [Patch(RowId(number, key), {kind: was}, {kind: name}) for number, key, was in found]
        if not patches:
            raise BadInput(f"No row has that {kind}.", f"A {kind} of the list.", field="name")
        earlier = raw.execute("SELECT theirs, ours FROM alias WHERE kind = ?", (kind,)).fetchall()
        words = chosen - {""} | {word for word, now in earlier if fold_title(now) in chosen}
        shown = _listed(sorted({one or f"no {kind}" for one in spelt}))
        return Plan(
            f"Renamed the {kind} {shown} to {name} in {{rows}}", patches, {(kind, word): name for word in words}
        )

    return make(store, "rename", plan)


def _each(raw: sqlite3.Connection, rows: Sequence[RowId], column: str, now: str) -> list[Patch]:
    if not rows:
        raise BadInput("No row was chosen.", "At least one row of the list.", field="row")
    if len(rows) > MOST_ROWS:
        raise BadInput(f"{len(rows):,} rows were chosen.", f"At most {MOST_ROWS:,} at a time.", field="row")
    return [Patch(at, {column: _value(raw, at, column)}, {column: now}) for at in dict.fromkeys(rows)]


def _value(raw: sqlite3.Connection, at: RowId, column: str) -> Any:
    found = raw.execute(f'SELECT "{column}" FROM comp WHERE product_id = ? AND key = ?', at).fetchone()
    if found is None:
        raise NotFound(
            f"There is no row {at} in the comps table.",
            next_step="It was moved or its load was undone; look for it in the table.",
        )
    return found[0]


def _still_there(raw: sqlite3.Connection, patch: Patch) -> Patch:
    _value(raw, patch.at, "key")
    return patch


def _product_key(raw: sqlite3.Connection, number: int) -> str:
    found = raw.execute("SELECT key FROM product WHERE id = ?", (number,)).fetchone()
    if found is None:
        raise NotFound(f"There is no item number {number}.", next_step="Look for it in the table.")
    return str(found[0])


def _said_of(product_key: str) -> str:
    """Return the key of a product as a user knows it."""
    return product_key[2:].lstrip("0") if product_key.startswith("g:") else product_key[2:][:60]


def _short(row: CompRow) -> str:
    return row.label if len(row.label) <= 60 else f"{row.label[:57]}..."


def _listed(words: Sequence[str]) -> str:
    shown = list(words[:4]) + ([f"{len(words) - 4} more"] if len(words) > 4 else [])
    return " and ".join(filter(None, (", ".join(shown[:-1]), *shown[-1:])))


def _text(raw: str, field: str, accepted: str) -> str:
    clean, finding = values.text(raw, longest=values.SHORT_TEXT)
    if finding is not None and finding.rejected:
        raise BadInput(f"It is longer than {values.SHORT_TEXT} characters.", accepted, finding.fix, field=field)
    if not clean:
        raise BadInput("It is empty.", accepted, field=field)
    return str(clean)
