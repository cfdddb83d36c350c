"""A file that came in: what it holds, how it would be read, what is still to be said about it, before it is loaded."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Literal

from sourcing.comps import layouts
from sourcing.comps.columns import NAMES
from sourcing.comps.header import fold_name, match_header
from sourcing.comps.layout import FileForm, Layout, Use, fitted
from sourcing.comps.meaning import codes
from sourcing.comps.meaning.header_words import fold
from sourcing.comps.meaning.questions import Known, Question, Sample, answered, fill, questions
from sourcing.comps.meaning.recognise import LEAST, Guess, Recognition, recognise
from sourcing.comps.read import opened
from sourcing.comps.sniff import Sniffed, sniff
from sourcing.comps.titles import fold_title
from sourcing.comps.translate import as_layout, shared_price
from sourcing.errors import BadInput
from sourcing.settings import load_settings
from sourcing.storage import Store

PRICE = "price"
"""Said of a column that holds the sold price of sold rows and the asking price of the others."""

_ROWS = 1_000  # looked at whole; of the others, what single columns hold
_DISTINCT = 5_000  # cells of a column remembered beyond those rows
_EXAMPLES = 3
_KNOWN = 50_000  # style codes of the table that are looked for
Origin = Literal["", "ours", "remembered", "guessed", "said"]


@dataclass(frozen=True)
class Column:
    """One column of the file: what it is called, cells of it, what it feeds, and what it may be, the surest first."""

    place: int
    name: str
    examples: tuple[str, ...]
    field: str  # a documented name, `PRICE`, or "" when it is left out
    guesses: tuple[Guess, ...]

    @property
    def guess(self) -> Guess | None:
        """The guess behind what it feeds; None when nothing spoke for it."""
        names = ("asking_price", "sold_price") if self.field == PRICE else (self.field,)
        return next((guess for guess in self.guesses if guess.field in names), None)


@dataclass(frozen=True)
class Look:
    """What a look at a file tells.

    Attributes
    ----------
    sniffed : how its bytes become rows; where it asks for a member or an encoding, the rest is empty until then.
    layout : how the file would be read; None while `sniffed` asks.
    origin : whose layout it is: our own format's, one remembered, one guessed, or what the user said.
    columns : the file's, in its order.
    questions : what only the user can say before it can be loaded.
    offers : values that can also be taken out of a longer text, if the user wants them.
    examples : what the offers would find, by field: a cell and what is found in it.
    """

    sniffed: Sniffed
    layout: Layout | None = None
    origin: Origin = ""
    columns: tuple[Column, ...] = ()
    questions: tuple[Question, ...] = ()
    offers: tuple[Use, ...] = ()
    examples: Mapping[str, tuple[tuple[str, str], ...]] = ()  # type: ignore[assignment]
    certain: bool = False

    @property
    def ready(self) -> bool:
        """Whether it can be loaded as it is."""
        return self.layout is not None and not self.questions

    @property
    def one_tap(self) -> bool:
        """Whether it can be loaded without asking the user: our own format, or like a file they have matched."""
        return self.ready and self.origin in ("ours", "remembered")


def look(
    store: Store,
    path: Path,
    name: str = "",
    *,
    member: str = "",
    encoding: str = "",
    sheet: str = "",
    layout: Layout | None = None,
) -> Look:
    """Look at a file.

    Parameters
    ----------
    store : Store
        What it knows helps to tell columns; layouts remembered in it are tried first.
    path : Path
        The file.
    name : str
        What the user calls it.
    member, encoding, sheet : str
        What the user picked of an earlier look's.
    layout : Layout, optional
        What the user has said so far.

    Raises
    ------
    BadInput, NotFound
        It is no file that is read.
    """
    sniffed = sniff(path, name, member=member, encoding=encoding, sheet=sheet)
    if sniffed.asks:
        return Look(sniffed)
    stat = path.stat()
    sample = _sample(str(path), stat.st_mtime_ns, stat.st_size, sniffed.form)
    known, origin = known_words(store), "said"
    found: Recognition | None = None
    if layout is not None:
        layout = replace(fitted(layout, sample.header), form=sniffed.form)
    elif (kept := layouts.recall(store, sample.header, sniffed.form)) is not None:
        layout, origin = kept, "remembered"
    elif (ours := _ours(sample)) is not None:
        return Look(sniffed, replace(ours, form=sniffed.form), "ours", _columns(sample, ours, None), certain=True)
    rows = list(map(list, zip(*sample.columns, strict=True)))
    found = recognise(sample.header, rows, known, form=sniffed.form)
    if layout is None:
        if ours_beside := _beside(sample, found):
            return Look(sniffed, replace(ours_beside, form=sniffed.form), "ours", _columns(sample, ours_beside, found))
        # What the first rows decided is decided again by all of them.
        layout, origin = replace(found.layout, money={}, days={}, words={}), "guessed"
    layout = fill(layout, sample, known)
    asked = questions(layout, sample, known)
    offers = tuple(use for use in found.offers if use.field not in {one.field for one in layout.uses})
    certain = not asked and all(found.confidence(use) >= 0.8 for use in layout.uses)
    return Look(
        sniffed, layout, origin, _columns(sample, layout, found), asked, offers,  # type: ignore[arg-type]
        {use.field: _found_inside(sample, use) for use in offers}, certain,
    )  # fmt: skip


def say(
    look: Look,
    *,
    columns: Mapping[int, str] | None = None,
    fixed: Mapping[str, str] | None = None,
    extracts: Sequence[Use] | None = None,
    answers: Mapping[str, str] | None = None,
) -> Layout:
    """Put what the user says into the layout of a look.

    Parameters
    ----------
    look : Look
        With a layout.
    columns : mapping of int to str, optional
        What columns feed, by place: a documented name, `PRICE`, or "" to leave it out. Columns not named stay.
    fixed : mapping of str to str, optional
        The value every row has in fields no column feeds; an empty one takes it back.
    extracts : sequence of Use, optional
        Which offers are taken; all others are not.
    answers : mapping of str to str, optional
        By the id of a question, the value of a choice.

    Raises
    ------
    BadInput
        Two columns are to feed one field, a field or a column does not exist, a question was not asked.
    """
    layout = look.layout
    if layout is None:
        raise BadInput("How the file is written is not settled yet.", next_step="Pick that first.")
    if columns is not None:
        layout = _matched(layout, columns)
    if fixed is not None:
        layout = _fixed(layout, fixed)
    if extracts is not None:
        plain = {use.field for use in layout.uses if not use.extract}
        kept = [use for use in layout.uses if not use.extract or use.field == "currency"]
        layout = replace(layout, uses=(*kept, *(use for use in extracts if use.field not in plain)))
    return answered(layout, answers or {})


def _matched(layout: Layout, columns: Mapping[int, str]) -> Layout:
    now = {use.column: use.field for use in layout.uses if not use.extract}
    if shared_price(layout):
        now = {place: PRICE if field in ("asking_price", "sold_price") else field for place, field in now.items()}
    for place, field in columns.items():
        if not 0 <= place < len(layout.header):
            raise BadInput(f"There is no column number {place + 1}.", f"1 to {len(layout.header)}.", field="column")
        if field not in ("", PRICE, *NAMES):
            raise BadInput(
                f"{field[:40]!r} is nothing a column can be.", f"One of {', '.join((PRICE, *NAMES))}.", field="column"
            )
        now[place] = field
    uses: list[Use] = []
    for place, field in sorted(now.items()):
        for one in ("asking_price", "sold_price") if field == PRICE else (field,) if field else ():
            other = next((use for use in uses if use.field == one), None)
            if other is not None:
                both = f"{layout.header[other.column]!r} and {layout.header[place]!r}"
                raise BadInput(
                    f"Two columns are both the {one.replace('_', ' ')}: {both}.",
                    "One column for each field.",
                    "Leave one of them out, or say what else it is.",
                    field="column",
                )
            uses.append(Use(one, place))
    fed = {use.field for use in uses}
    extracts = [
        use
        for use in layout.uses
        if use.extract and use.field not in fed and (use.column in now or use.field == "size")
    ]
    changed = {place for place, field in columns.items() if field != _field(layout, place)}
    return replace(
        layout,
        uses=(*uses, *extracts),
        fixed={name: text for name, text in layout.fixed.items() if name not in fed},
        money={place: marks for place, marks in layout.money.items() if place not in changed},
        days={place: order for place, order in layout.days.items() if place not in changed},
    )


def _field(layout: Layout, place: int) -> str:
    fields = [use.field for use in layout.uses if use.column == place and not use.extract]
    return PRICE if len(fields) == 2 else fields[0] if fields else ""


def _fixed(layout: Layout, fixed: Mapping[str, str]) -> Layout:
    from sourcing.comps import values

    now = dict(layout.fixed)
    fed = {use.field for use in layout.uses if not use.extract}
    for name, text in fixed.items():
        if name not in NAMES:
            raise BadInput(f"{name[:40]!r} is no field.", f"One of {', '.join(NAMES)}.", field="fixed")
        if not text.strip():
            now.pop(name, None)
            continue
        if name in fed:
            column = next(use.column for use in layout.uses if use.field == name and not use.extract)
            raise BadInput(
                f"The {name.replace('_', ' ')} of all rows is given, yet {layout.header[column]!r} holds it too.",
                "One or the other.",
                "Leave that column out, or empty the value for all rows.",
                field="fixed",
            )
        if name == "status":
            _, finding = values.status(text)
            if finding is not None:
                raise BadInput(f"{text[:40]!r}: {finding.reason}", "", finding.fix, field="fixed")
        if name == "currency":
            _, finding = values.currency(text)
            if finding is not None:
                raise BadInput(f"{text[:40]!r}: {finding.reason}", "", finding.fix, field="fixed")
        now[name] = text.strip()[: values.SHORT_TEXT]
    return replace(layout, fixed=now)


def known_words(store: Store) -> Known:
    """Return what the table and the settings hold that helps to tell columns."""
    words = {
        name: frozenset(fold(text) for (text,) in store.read(f"SELECT DISTINCT {name} FROM product"))  # noqa: S608
        for name in ("brand", "category")
    }
    styles = store.read("SELECT style_code FROM product WHERE style_code <> '' LIMIT ?", (_KNOWN,))
    words["style_code"] = frozenset(style.casefold() for (style,) in styles)
    conditions = [text for (text,) in store.read("SELECT DISTINCT condition FROM comp WHERE condition <> '' LIMIT 200")]
    settings = load_settings(store)
    own = {fold_title(text): text for text in conditions}
    words["condition"] = frozenset(own)
    return Known({name: found - {""} for name, found in words.items()}, tuple(own.values()), settings.currency)


@lru_cache(maxsize=4)
def _sample(path: str, _changed: int, _size: int, form: FileForm) -> Sample:
    """Read the whole file once; keep its first rows, and of the others the distinct cells as far as they are few."""
    with opened(path, form) as records:
        header, more = records.header, [set[str]() for _ in records.header]
        rows: list[list[str]] = []
        open_ones = list(range(len(header)))
        for block in records.blocks():
            if len(rows) < _ROWS:
                rows += block.rows
                continue
            for place in open_ones:
                more[place].update(block.columns[place])
            open_ones = [place for place in open_ones if len(more[place]) < _DISTINCT]
    first = Sample.of(header, rows)
    return replace(first, more={place: frozenset(cells) for place, cells in enumerate(more) if cells})


def _ours(sample: Sample) -> Layout | None:
    """Return the layout of a file whose columns are all documented ones."""
    try:
        header = match_header(list(sample.header))
    except BadInput:
        return None
    return None if header.notes else as_layout(list(sample.header), header)


def _beside(sample: Sample, found: Recognition) -> Layout | None:
    """Return the layout of a file in our own format whose further columns mean nothing."""
    try:
        header = match_header(list(sample.header))
    except BadInput:
        return None
    others = [use for use in found.layout.uses if fold_name(sample.header[use.column]) != use.field]
    return None if others else as_layout(list(sample.header), header)


def _columns(sample: Sample, layout: Layout, found: Recognition | None) -> tuple[Column, ...]:
    return tuple(
        Column(
            place,
            name,
            tuple(cell.strip()[:80] for cell in sample.cells(place)[:_EXAMPLES]),
            _field(layout, place),
            tuple(guess for guess in found.guesses[place] if guess.confidence >= LEAST / 2) if found else (),
        )
        for place, name in enumerate(sample.header)
    )


def _found_inside(sample: Sample, use: Use) -> tuple[tuple[str, str], ...]:
    found = [(cell, codes.inside(use.field, cell)) for cell in sample.cells(use.column)[:200]]
    return tuple((cell.strip()[:80], inside) for cell, inside in found if inside)[:_EXAMPLES]
