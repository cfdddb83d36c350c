"""A file that came in: what it holds, how it would be read, what is still to be said about it, before it is loaded."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Literal

from sourcing.comps import layouts
from sourcing.comps.columns import IDENTIFYING
from sourcing.comps.header import fold_name, match_header
from sourcing.comps.layout import FileForm, Layout, Use, fitted
from sourcing.comps.load import load_file
from sourcing.comps.meaning import codes
from sourcing.comps.meaning.decided import currency_beside
from sourcing.comps.meaning.header_words import fold
from sourcing.comps.meaning.questions import Known, Question, Sample, fill, questions
from sourcing.comps.meaning.recognise import LEAST, Guess, Recognition, recognise
from sourcing.comps.report import LoadReport
from sourcing.comps.said import PRICE, feeds, say
from sourcing.comps.sampled import sample_of
from sourcing.comps.sniff import Sniffed, sniff
from sourcing.comps.titles import fold_title
from sourcing.comps.translate import as_layout
from sourcing.errors import BadInput, Busy
from sourcing.settings import load_settings
from sourcing.storage import Store

__all__ = ["PRICE", "Column", "Look", "known_words", "load_seen", "look", "say"]

_EXAMPLES = 3
_SHEETS = 5  # further ones of a workbook that are looked at
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
    picked : whether a member, an encoding or a sheet was picked, by the user or because the first sheet lists nothing.
    """

    sniffed: Sniffed
    layout: Layout | None = None
    origin: Origin = ""
    columns: tuple[Column, ...] = ()
    questions: tuple[Question, ...] = ()
    offers: tuple[Use, ...] = ()
    examples: Mapping[str, tuple[tuple[str, str], ...]] = field(default_factory=dict)
    picked: bool = False

    @property
    def read_by(self) -> Layout | None:
        """The layout to load it by; None for a plain file of our own format, which is read as every such file is."""
        return None if self.origin == "ours" and not self.picked else self.layout

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
    on_progress: Callable[[int], None] | None = None,
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
    on_progress : callable, optional
        Called with the number of rows looked through so far. What it raises ends the look.

    Raises
    ------
    BadInput, NotFound
        It is no file that is read.
    """
    tell = on_progress or _silent
    if layout is not None:  # what was said was said of this part of the file
        member, encoding = member or layout.form.member, encoding or _picked(layout.form)
        sheet = sheet or layout.form.sheet
    first = _look(store, path, name, member=member, encoding=encoding, sheet=sheet, layout=layout, tell=tell)
    first = replace(first, picked=bool(member or encoding or sheet))
    if sheet or layout is not None or first.sniffed.asks or _lists_something(first):
        return first
    # The first sheet may be a cover; another that lists something is taken, and the page says which.
    for other in first.sniffed.sheets[: _SHEETS + 1]:
        if other != first.sniffed.form.sheet:
            try:
                found = _look(store, path, name, member=member, encoding=encoding, sheet=other, layout=None, tell=tell)
            except BadInput:  # an empty sheet
                continue
            if _lists_something(found):
                return replace(found, picked=True)
    return first


def load_seen(store: Store, path: Path, name: str, seen: Look, *, dry: bool = False, **how: Any) -> LoadReport:
    """Load a file as a look at it says, and remember how for the next file like it; the rest is as for `load_file`."""
    report = load_file(store, path, name=name, layout=seen.read_by, dry=dry, **how)
    nothing = dry or (report.batch_id is None and report.rejected)
    if seen.layout is not None and seen.origin != "ours" and not nothing:
        with suppress(Busy):  # the rows are in: the next such file may be asked about again
            layouts.remember(store, name, seen.layout)
    return report


def _picked(form: FileForm) -> str:
    return form.encoding if form.kind == "text" and form.encoding != "utf-8" else ""


def _lists_something(look: Look) -> bool:
    """Tell whether columns say what items are and what they cost."""
    fed = {use.field for use in look.layout.uses} if look.layout else set()
    return not fed.isdisjoint(IDENTIFYING) and not fed.isdisjoint(("asking_price", "sold_price"))


def _look(
    store: Store,
    path: Path,
    name: str,
    *,
    member: str,
    encoding: str,
    sheet: str,
    layout: Layout | None,
    tell: Callable[[int], None],
) -> Look:
    tell(0)
    sniffed = sniff(path, name, member=member, encoding=encoding, sheet=sheet)
    if sniffed.asks:
        return Look(sniffed)
    tell(0)
    sample = sample_of(path, sniffed.form, tell)
    known, ours = known_words(store), _ours(sample)
    origin: Origin = "said"
    if layout is not None:
        layout = currency_beside(replace(fitted(layout, sample.header), form=sniffed.form), sample)
    # Of our own format more is known than of another file that had some of its columns.
    elif (kept := layouts.recall(store, sample.header, sniffed.form, exactly=ours is not None)) is not None:
        layout, origin = kept, "remembered"
    elif ours is not None:
        return Look(sniffed, replace(ours, form=sniffed.form), "ours", _columns(sample, ours, None))
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
    return Look(
        sniffed, layout, origin, _columns(sample, layout, found), asked, offers,
        {use.field: _found_inside(sample, use) for use in offers},
    )  # fmt: skip


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


def _silent(_rows: int) -> None:
    pass


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
            feeds(layout, place),
            tuple(guess for guess in found.guesses[place] if guess.confidence >= LEAST / 2) if found else (),
        )
        for place, name in enumerate(sample.header)
    )


def _found_inside(sample: Sample, use: Use) -> tuple[tuple[str, str], ...]:
    found = [(cell, codes.inside(use.field, cell)) for cell in sample.cells(use.column)[:200]]
    return tuple((cell.strip()[:80], inside) for cell, inside in found if inside)[:_EXAMPLES]
