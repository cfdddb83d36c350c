# ruff: noqa: S608 - only names of columns and placeholders are put into the statements
"""What the user may change in the comps table: rows, rows set aside, style codes, names; each is one undoable edit."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any, NamedTuple

from sourcing.codes import style_key
from sourcing.comps import values
from sourcing.comps.change import PRODUCT, ROWS, Edit, Patch, Plan, make, read_as
from sourcing.comps.columns import NAMES, label
from sourcing.comps.comp import STORAGE, CompRow, RowId, cells, comp
from sourcing.comps.many import blocks, marks
from sourcing.comps.read import Block
from sourcing.comps.rows import Judge
from sourcing.comps.titles import fold_title
from sourcing.comps.translate import Source
from sourcing.errors import BadInput, NotFound
from sourcing.language import gettext, gettext_noop, separated
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
        raise BadInput(
            gettext("“{unknown}” is no column.", unknown=unknown[0][:40]),
            gettext("The documented ones: {names}.", names=", ".join(NAMES)),
        )
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
    words = gettext("Changed {columns} of {row}", columns=_listed([label(name) for name in told]), row=_short(row))
    return make(store, "row", lambda raw: Plan(words, [_still_there(raw, patch)]))


def _read(judge: Judge, said: Mapping[str, str], strict: Iterable[str] | None = None) -> dict[str, Any]:
    """Read one row as a file's is read; with `strict`, anything noted about those columns is refused."""
    judged = judge.judge(Block([2], [[said[name]] for name in NAMES]))
    for problem in judged.problems:
        if problem.rejected or problem.column in (strict or ()):
            value = f"“{problem.value[:60]}”: " if problem.value else ""
            reason = problem.reason.replace(values.kept_without(), "")
            field = problem.column or "style_code"
            raise BadInput(
                f"{label(field).capitalize()}: {value}{reason}",
                "",
                problem.fix,
                field=field,
            )
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
    why = _text(reason, "reason", gettext("Why the row should not count, such as: lot of three."))
    words = gettext("Set aside {rows}: {why}", rows=ROWS, why=why)
    return make(store, "aside", lambda raw: Plan(words, _each(raw, rows, "aside", why)))


def bring_back(store: Store, rows: Sequence[RowId]) -> Edit:
    """Let rows that were set aside count again.

    Raises
    ------
    BadInput
        None of them was set aside.
    NotFound
        A row is not there.
    """
    words = gettext("Brought back {rows}", rows=ROWS)
    return make(store, "back", lambda raw: Plan(words, _each(raw, rows, "aside", "")))


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
            raise BadInput(gettext("The two are one item already."), gettext("Two different items."), field="into")
        found = raw.execute("SELECT key FROM comp WHERE product_id = ?", (gone,))
        patches = [Patch(RowId(gone, key), {PRODUCT: first}, {PRODUCT: second}) for (key,) in found]
        words = gettext("Merged {gone} into {stays}: {rows}", gone=_said_of(first), stays=_said_of(second), rows=ROWS)
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
    typed = _text(style_code, "style_code", gettext("A style code of letters and digits."))
    key = style_key(typed)
    if not key:
        raise BadInput(
            gettext("“{typed}” is no style code.", typed=typed[:40]), gettext("Letters and digits."), field="style_code"
        )

    def plan(raw: sqlite3.Connection) -> Plan:
        target = read_as(raw, f"s:{key}")
        said = typed if target == f"s:{key}" else target[2:]  # of a code that was merged into another, the other
        patches = []
        for patch in _each(raw, rows, "style_code", said):
            came = {PRODUCT: _product_key(raw, patch.at.product_id)}
            patches.append(Patch(patch.at, patch.was | came, patch.now | {PRODUCT: target}))
        return Plan(gettext("Moved {rows} to {item}", rows=ROWS, item=_said_of(target)), patches)

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
        raise BadInput(
            gettext("“{kind}” is neither brand nor category.", kind=kind[:40]),
            gettext("brand or category."),
            field="kind",
        )
    said = _RENAMED[kind]
    if not theirs:
        raise BadInput(gettext(said.none_chosen), gettext(said.at_least_one), field="name")
    name = _text(ours, "to", gettext(said.wanted))
    chosen = {fold_title(one) for one in theirs}

    def plan(raw: sqlite3.Connection) -> Plan:
        spelt = [one for (one,) in raw.execute(f"SELECT DISTINCT {kind} FROM comp") if fold_title(one) in chosen]
        patches = []
        for some in blocks(sorted(spelt)):
            found = raw.execute(f"SELECT product_id, key, {kind} FROM comp WHERE {kind} IN {marks(some)}", some)
            patches += [Patch(RowId(number, key), {kind: was}, {kind: name}) for number, key, was in found]
        if not patches:
            raise BadInput(gettext(said.no_row), gettext(said.one_of_list), field="name")
        earlier = raw.execute("SELECT theirs, ours FROM alias WHERE kind = ?", (kind,)).fetchall()
        words = chosen - {""} | {word for word, now in earlier if fold_title(now) in chosen}
        shown = _listed(sorted({one or gettext(said.nothing) for one in spelt}))
        told = gettext(said.renamed, names=shown, name=name, rows=ROWS)
        return Plan(told, patches, {(kind, word): name for word in words})

    return make(store, "rename", plan)


class _Renamed(NamedTuple):
    """What is said of renaming brands or categories."""

    none_chosen: str
    at_least_one: str
    wanted: str
    no_row: str
    one_of_list: str
    nothing: str
    renamed: str


_RENAMED = {
    "brand": _Renamed(
        gettext_noop("No brand was chosen."),
        gettext_noop("At least one brand of the list."),
        gettext_noop("The brand the rows are to have."),
        gettext_noop("No row has that brand."),
        gettext_noop("A brand of the list."),
        gettext_noop("no brand"),
        gettext_noop("Renamed the brand {names} to {name} in {rows}"),
    ),
    "category": _Renamed(
        gettext_noop("No category was chosen."),
        gettext_noop("At least one category of the list."),
        gettext_noop("The category the rows are to have."),
        gettext_noop("No row has that category."),
        gettext_noop("A category of the list."),
        gettext_noop("no category"),
        gettext_noop("Renamed the category {names} to {name} in {rows}"),
    ),
}


def _each(raw: sqlite3.Connection, rows: Sequence[RowId], column: str, now: str) -> list[Patch]:
    if not rows:
        raise BadInput(gettext("No row was chosen."), gettext("At least one row of the list."), field="row")
    if len(rows) > MOST_ROWS:
        raise BadInput(
            gettext("{number} rows were chosen.", number=separated(f"{len(rows):,}")),
            gettext("At most {most} at a time.", most=separated(f"{MOST_ROWS:,}")),
            field="row",
        )
    return [Patch(at, {column: _value(raw, at, column)}, {column: now}) for at in dict.fromkeys(rows)]


def _value(raw: sqlite3.Connection, at: RowId, column: str) -> Any:
    found = raw.execute(f'SELECT "{column}" FROM comp WHERE product_id = ? AND key = ?', at).fetchone()
    if found is None:
        raise NotFound(
            gettext("There is no row {at} in the comps table.", at=at),
            next_step=gettext("It was moved or its load was undone; look for it in the table."),
        )
    return found[0]


def _still_there(raw: sqlite3.Connection, patch: Patch) -> Patch:
    _value(raw, patch.at, "key")
    return patch


def _product_key(raw: sqlite3.Connection, number: int) -> str:
    found = raw.execute("SELECT key FROM product WHERE id = ?", (number,)).fetchone()
    if found is None:
        raise NotFound(
            gettext("There is no item number {number}.", number=number), next_step=gettext("Look for it in the table.")
        )
    return str(found[0])


def _said_of(product_key: str) -> str:
    """Return the key of a product as a user knows it."""
    return product_key[2:].lstrip("0") if product_key.startswith("g:") else product_key[2:][:60]


def _short(row: CompRow) -> str:
    return row.label if len(row.label) <= 60 else f"{row.label[:57]}..."


def _listed(words: Sequence[str]) -> str:
    shown = list(words[:4]) + ([gettext("{number} more", number=len(words) - 4)] if len(words) > 4 else [])
    return gettext(" and ").join(filter(None, (", ".join(shown[:-1]), *shown[-1:])))


def _text(raw: str, field: str, accepted: str) -> str:
    clean, finding = values.text(raw, longest=values.SHORT_TEXT)
    if finding is not None and finding.rejected:
        raise BadInput(
            gettext("It is longer than {most} characters.", most=values.SHORT_TEXT),
            accepted,
            finding.fix,
            field=field,
        )
    if not clean:
        raise BadInput(gettext("It is empty."), accepted, field=field)
    return str(clean)
