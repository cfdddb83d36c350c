"""From the cells of a file, as its layout says, to the text our own format would hold: one column at a time."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import partial

from sourcing.comps import values
from sourcing.comps.columns import STATUSES
from sourcing.comps.header import Header, fold_name
from sourcing.comps.layout import DayOrder, Layout, Money, Use
from sourcing.comps.values import Finding, Reading
from sourcing.language import gettext, gettext_noop

Words = Mapping[str, str]
PRICES = ("asking_price", "sold_price", "shipping_charged")
_UNTOLD = gettext_noop("It cannot be told how these listings stand.")


@dataclass(frozen=True)
class Source:
    """Where one documented field comes from.

    Attributes
    ----------
    said : what the file calls the column, for problems.
    place : its place in the file; None where no column is this field.
    plain : makes a cell the text our own format writes; None where it is that already.
    like : how the column writes its values, for advice; "" for the way of our own format.
    reads : whether a cell is written like its column; None where every cell is.
    decimal : the mark before the decimals of its amounts.
    inside : the place of a text that may hold the field, and what finds it there; used where the column is empty.
    fixed : the text of every row where no column is this field.
    """

    said: str
    place: int | None = None
    plain: Callable[[str], str] | None = None
    like: str = ""
    reads: Callable[[str], bool] | None = None
    decimal: str = "."
    inside: tuple[int, Callable[[str], str]] | None = None
    fixed: str = ""

    def reader(self, parse: Callable[[str], Reading]) -> Callable[[str], Reading]:
        """Put the translation before a parser of our own format."""
        plain, like, reads = self.plain, self.like, self.reads
        if plain is None:
            return parse

        def read(cell: str) -> Reading:
            text = plain(cell)
            if text == UNTOLD:
                return None, Finding(
                    gettext(_UNTOLD), gettext("Say it when the columns are matched, or fill in the cell.")
                )
            value, finding = parse(text)
            unlike = finding is None and reads is not None and not reads(cell)
            if unlike or (finding is not None and like and finding.form):
                return None, Finding(
                    gettext("It is not written like its column: {like}.", like=like), gettext("Correct the cell.")
                )
            return value, finding

        return read


UNTOLD = "\x00untold"


def documented(header: Header) -> dict[str, Source]:
    """Return the sources of a file in our own format."""
    return {name: Source(name, place) for name, place in header.places.items()}


def as_layout(names: list[str], header: Header) -> Layout:
    """Return the layout of a file whose columns bear our own names."""
    return Layout(tuple(names), tuple(Use(name, place) for name, place in header.places.items()))


def shared_price(layout: Layout) -> bool:
    """Tell whether one column holds what was paid on sold rows and what is asked on the others."""
    places = {use.field: use.column for use in layout.uses if not use.extract}
    return "sold_price" in places and places["sold_price"] == places.get("asking_price")


def sources(layout: Layout) -> dict[str, Source]:
    """Return where each field comes from under a layout; a field that nothing feeds is left out."""
    found: dict[str, Source] = {}
    for use in layout.uses:
        if not use.extract:
            name = layout.header[use.column]
            said = use.field if fold_name(name) == use.field else name
            plain, like = _plain(layout, use)
            decimal = layout.money[use.column].decimal if use.column in layout.money else "."
            found[use.field] = Source(said, use.column, plain, like, _reads(layout, use), decimal)
    for use in layout.uses:
        if use.extract:
            one = found.get(use.field, Source(layout.header[use.column]))
            inside = (use.column, _finder(layout, use))
            found[use.field] = replace(one, inside=inside)
    for name, text in layout.fixed.items():
        found.setdefault(name, Source(name, fixed=text))
    return found


def _plain(layout: Layout, use: Use) -> tuple[Callable[[str], str] | None, str]:
    from sourcing.comps.meaning import amounts, codes, days, terms

    field, place = use.field, use.column
    if field in PRICES and place in layout.money:
        marks = layout.money[place]
        return partial(amounts.plain_amount, marks=marks), _amount_like(marks)
    if field in ("listed_on", "ended_on") and place in layout.days:
        order: DayOrder = layout.days[place]
        return partial(days.day_text, order=order), gettext(days.WRITTEN[order])
    if field == "gtin" and place in layout.zeros:
        return lambda cell: codes.with_zeros(cell) or cell, ""
    if field == "size":
        return terms.size_text, ""
    words = layout.words.get(field, {})
    if field == "status" and words:
        return partial(_status, words=words), ""
    if field == "condition" and words:
        return lambda cell: words.get(terms.term(cell), cell), ""
    if field == "currency" and words:
        return lambda cell: words.get(cell.strip(), cell), ""
    return None, ""


def _reads(layout: Layout, use: Use) -> Callable[[str], bool] | None:
    """Amounts of a column are written in one way: a cell of another must not be read the other way by itself."""
    from sourcing.comps.meaning import amounts

    marks = layout.money.get(use.column) if use.field in PRICES else None
    return None if marks is None else partial(amounts.reads, marks=marks)


def _status(cell: str, words: Words) -> str:
    from sourcing.comps.meaning import terms

    told = words.get(terms.term(cell), "")
    return UNTOLD if told == "?" else told or cell


def _amount_like(marks: Money) -> str:
    return f"1{marks.thousands}299{marks.decimal}50"


def _finder(layout: Layout, use: Use) -> Callable[[str], str]:
    from sourcing.comps.meaning import amounts, codes, terms

    if use.field == "currency":
        signs = layout.words.get("currency", {})
        return lambda cell: signs.get(amounts.apart(cell)[1], "")
    words = layout.words.get(use.field, {}) if use.field == "condition" else {}

    def find(text: str) -> str:
        # What the table knows is left out of it: the same file must read the same however full the table is.
        found = codes.inside(use.field, text)
        return words.get(terms.term(found), found) if words else found

    return find


def fixed_status(layout: Layout) -> int | None:
    """Return the number of the status that rows without a sold price and a status of their own have."""
    said = layout.fixed.get("status", "")
    status: int | None = values.status(said)[0] if said else None
    return status if status is None or status < len(STATUSES) else None
