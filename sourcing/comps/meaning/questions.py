"""What a file leaves open, asked with its own rows as each answer would read them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from sourcing.comps.columns import IDENTIFYING, STATUSES
from sourcing.comps.layout import Layout, Money
from sourcing.comps.meaning import amounts, codes, days, terms
from sourcing.comps.meaning.answers import answered, stands
from sourcing.comps.meaning.decided import fill
from sourcing.comps.meaning.header_words import meanings
from sourcing.comps.meaning.sample import DAYS, MONEY, Known, Sample, cells_with, marks_in, places_of, signs_in
from sourcing.language import gettext, gettext_noop

__all__ = ["Choice", "Known", "Question", "Sample", "answered", "fill", "questions", "stands"]

SHOWN = 3  # real rows beside each choice
MOST_WORDS = 30  # unknown words of one column asked about; more is no column of words


@dataclass(frozen=True)
class Choice:
    """One answer: its value, what it means, and up to three real cells with what each would be read as."""

    value: str
    text: str
    rows: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Question:
    """One thing only the user can say; `column` is the file's own column name, "" for the file as a whole."""

    id: str
    text: str
    choices: tuple[Choice, ...]
    column: str = ""


def questions(layout: Layout, sample: Sample, known: Known) -> tuple[Question, ...]:
    """Return what is left open about a layout."""
    return tuple(_open(layout, sample, known))


def _open(layout: Layout, sample: Sample, known: Known) -> Iterator[Question]:
    yield from _item(layout, sample)
    yield from _status(layout, sample)
    yield from _total(layout, sample)
    for place in places_of(layout, MONEY):
        found = marks_in(sample, place)
        if place not in layout.money and len(found) > 1:
            yield _about_marks(layout, sample, place, found)
            break  # the answer holds for the other columns too, where it fits
    for place in places_of(layout, DAYS):
        orders = days.orders_of(sample.cells(place))
        if place not in layout.days and len(orders) > 1:
            cells = _telling(
                sample.cells(place), [{c: days.day_text(c, o) for c in sample.cells(place)} for o in orders]
            )
            choices = tuple(
                Choice(order, gettext(days.WRITTEN[order]), tuple((cell, days.day_text(cell, order)) for cell in cells))
                for order in orders
            )
            text = gettext(
                "How does {column} write its days? Every one can be read in more than one way.",
                column=repr(layout.header[place]),
            )
            yield Question(f"days:{place}", text, choices, layout.header[place])
            break
    for sign in signs_in(layout, sample):
        if sign not in layout.words.get("currency", {}) and (options := amounts.may_be(sign)):
            ordered = sorted(options, key=lambda code: code != known.currency)
            shown = tuple((cell, sign) for cell in cells_with(layout, sample, sign)[:SHOWN])
            choices = tuple(Choice(code, code, tuple((cell, code) for cell, _ in shown)) for code in ordered)
            yield Question(
                f"currency:{sign}", gettext("Which currency is {sign} in this file?", sign=repr(sign)), choices
            )
    yield from _words(layout, sample)
    for place in places_of(layout, ("gtin",)):
        lost = [(cell, codes.with_zeros(cell)) for cell in sample.cells(place) if codes.with_zeros(cell)]
        if lost and place not in layout.zeros and str(place) not in layout.words.get("zeros", {}):
            shown = tuple(lost[:SHOWN])
            text = gettext(
                "{number} codes of {column} seem to have been taken for numbers; mend them?",
                number=len(lost),
                column=repr(layout.header[place]),
            )
            mend = Choice("mend", gettext("put back what the check digit confirms"), shown)
            left = tuple((cell, gettext("left out")) for cell, _ in shown)
            leave = Choice("leave", gettext("leave them as they are"), left)
            yield Question(f"zeros:{place}", text, (mend, leave), layout.header[place])


def _item(layout: Layout, sample: Sample) -> Iterator[Question]:
    fed = {use.field for use in layout.uses} | set(layout.fixed)
    if fed.isdisjoint(IDENTIFYING):
        used = {use.column for use in layout.uses if use.field not in ("brand", "category")}
        free = [place for place in range(len(layout.header)) if place not in used and sample.cells(place)]
        choices = tuple(
            Choice(str(place), layout.header[place], tuple((cell, cell) for cell in sample.cells(place)[:SHOWN]))
            for place in free[:12]
        )
        if not choices:
            return
        text = gettext("Which column says what the item is? Rows alike in it are taken for one item.")
        yield Question("item", text, choices)


def _status(layout: Layout, sample: Sample) -> Iterator[Question]:
    fed = {use.field: use.column for use in layout.uses}
    if "status" in fed or "status" in layout.fixed:
        return
    if "sold_price" in fed:
        cells = sample.columns[fed["sold_price"]]
        empty = sum(not cell.strip() for cell in cells)
        if "sold" in meanings(layout.header[fed["sold_price"]]) or layout.header[fed["sold_price"]] == "sold_price":
            if empty >= (1 if "asking_price" in fed else 0.1 * len(cells)) > 0:  # a single one is a slip
                yield Question(
                    "status",
                    gettext("What are the rows without a sold price?"),
                    _stands(("open", "ended unsold"), cells),
                )
            return
        if _all_sold(layout, sample, fed):
            return
        yield Question("status", gettext(_ALL_ROWS), _stands(STATUSES, cells))
        return
    cells = sample.columns[fed["asking_price"]] if "asking_price" in fed else ()
    yield Question("status", gettext(_ALL_ROWS), _stands(STATUSES, cells))


_ALL_ROWS = gettext_noop("The file does not say how its listings stand. What are its rows?")


def _all_sold(layout: Layout, sample: Sample, fed: Mapping[str, int]) -> bool:
    """Tell whether every row has a day on which it was sold, by the name of that column."""
    if "ended_on" not in fed or "sold" not in meanings(layout.header[fed["ended_on"]]):
        return False
    cells = sample.columns[fed["ended_on"]]
    return bool(cells) and all(map(str.strip, cells)) and "" not in map(str.strip, sample.more.get(fed["ended_on"], ()))


def _total(layout: Layout, sample: Sample) -> Iterator[Question]:
    fed = {use.field: use.column for use in layout.uses if not use.extract}
    price, shipping = fed.get("sold_price", -1), fed.get("shipping_charged", -1)
    if min(price, shipping) < 0 or price == shipping or str(price) in layout.words.get("total", {}):
        return
    name, beside = layout.header[price], layout.header[shipping]
    if "total" not in meanings(name):
        return
    pairs = zip(sample.columns[price], sample.columns[shipping], strict=True)
    rows = [(paid.strip(), more.strip()) for paid, more in pairs if paid.strip() and more.strip()][:SHOWN]
    choices = (
        Choice(
            "with",
            gettext("yes: nothing is added to it"),
            tuple((paid, gettext("{amount} in all", amount=paid)) for paid, _ in rows),
        ),
        Choice(
            "without",
            gettext("no: the shipping came on top"),
            tuple((paid, f"{paid} + {more}") for paid, more in rows),
        ),
    )
    text = gettext("Does {column} hold the shipping of {other} already?", column=repr(name), other=repr(beside))
    yield Question(f"total:{price}", text, choices, name)


def _stands(statuses: Sequence[str], cells: Sequence[str]) -> tuple[Choice, ...]:
    means = {
        "sold": gettext("sold, each at the price shown"),
        "open": gettext("open: the price is asked"),
        "ended unsold": gettext("ended without a sale: the price was asked"),
    }
    rows = [cell for cell in cells if cell.strip()][:SHOWN]
    return tuple(
        Choice(one, means[one], tuple((cell, f"{gettext(one)}, {cell.strip()}") for cell in rows)) for one in statuses
    )


def _words(layout: Layout, sample: Sample) -> Iterator[Question]:
    for place in places_of(layout, ("status",)):
        told = layout.words.get("status", {})
        for cell in [cell for cell in sample.cells(place) if terms.term(cell) not in told][:MOST_WORDS]:
            choices = [Choice(one, gettext(one), ((cell, gettext(one)),)) for one in STATUSES]
            choices.append(
                Choice("?", gettext("cannot be told: its rows are rejected"), ((cell, gettext("rejected")),))
            )
            text = gettext(
                "How does a listing stand where {column} says {words}?",
                column=repr(layout.header[place]),
                words=repr(cell.strip()[:60]),
            )
            yield Question(f"status:{terms.term(cell)}", text, tuple(choices), layout.header[place])


def _about_marks(layout: Layout, sample: Sample, place: int, found: Sequence[Money]) -> Question:
    read = [{cell: amounts.plain_amount(cell, marks) for cell in sample.cells(place)} for marks in found]
    cells = _telling(sample.cells(place), read)
    choices = tuple(
        Choice(
            marks.decimal + marks.thousands,
            gettext(
                "decimals after {decimal}, thousands apart by {thousands}",
                decimal=repr(marks.decimal),
                thousands=repr(marks.thousands),
            )
            if marks.thousands
            else gettext("decimals after {decimal}", decimal=repr(marks.decimal)),
            tuple((cell, one[cell]) for cell in cells),
        )
        for marks, one in zip(found, read, strict=True)
    )
    text = gettext(
        "How does {column} write amounts? Its marks could mean thousands or decimals.",
        column=repr(layout.header[place]),
    )
    return Question(f"decimal:{place}", text, choices, layout.header[place])


def _telling(cells: Sequence[str], read: Sequence[Mapping[str, str]]) -> list[str]:
    """Return the cells that read differently, the first few."""
    return [cell for cell in cells if len({one[cell] for one in read}) > 1][:SHOWN]
