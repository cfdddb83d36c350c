"""What a file leaves open, asked with its own rows as each answer would read "
"them; and the answers put into a layout."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from sourcing.comps import values
from sourcing.comps.columns import IDENTIFYING, STATUSES
from sourcing.comps.layout import Layout, Money, Use
from sourcing.comps.meaning import amounts, codes, days, terms
from sourcing.comps.meaning.header_words import meanings
from sourcing.errors import BadInput

SHOWN = 3  # real rows beside each choice
MOST_WORDS = 30  # unknown words of one column asked about; more is no column of words
PRICES = ("asking_price", "sold_price", "shipping_charged")
DAYS = ("listed_on", "ended_on")


@dataclass(frozen=True)
class Known:
    """What the table and the settings hold: folded words by field, the user's own conditions, the home currency."""

    words: Mapping[str, frozenset[str]] = field(default_factory=dict)
    conditions: tuple[str, ...] = ()
    currency: str = "USD"

    def inside(self, name: str, text: str) -> str:
        """Return what a text holds of a field, "" for nothing."""
        return codes.inside(name, text, self.words.get("style_code", frozenset()))


@dataclass(frozen=True)
class Sample:
    """Rows of a file, column by column; `more` holds further distinct cells of the rest of the file."""

    header: tuple[str, ...]
    columns: tuple[tuple[str, ...], ...]
    more: Mapping[int, frozenset[str]] = field(default_factory=dict)

    @classmethod
    def of(cls, header: Sequence[str], rows: Sequence[Sequence[str]]) -> Sample:
        columns = tuple(zip(*rows, strict=True)) if rows else ((),) * len(header)
        return cls(tuple(header), columns)

    def cells(self, place: int) -> list[str]:
        """Return the distinct filled cells of a column, in the order of the file first."""
        return [
            cell for cell in dict.fromkeys((*self.columns[place], *sorted(self.more.get(place, ())))) if cell.strip()
        ]


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


def fill(layout: Layout, sample: Sample, known: Known) -> Layout:
    """Put into a layout what the values decide beyond doubt; what it holds already stays."""
    money, order, words = dict(layout.money), dict(layout.days), {k: dict(v) for k, v in layout.words.items()}
    for place in _places(layout, PRICES):
        if place not in money and len(found := _marks(layout, sample, place)) == 1:
            money[place] = found[0]
    for place in _places(layout, DAYS):
        if place not in order and len(found_orders := days.orders_of(sample.cells(place))) == 1:
            order[place] = found_orders[0]
    for place in _places(layout, PRICES):  # a file writes all its columns one way
        alike = [one for one in dict.fromkeys(money.values()) if one in _marks(layout, sample, place)]
        if place not in money and len(alike) == 1:
            money[place] = alike[0]
    for place in _places(layout, DAYS):
        orders = [one for one in dict.fromkeys(order.values()) if one in days.orders_of(sample.cells(place))]
        if place not in order and len(orders) == 1:
            order[place] = orders[0]
    for place in _places(layout, ("status",)):
        about = "sold" in meanings(layout.header[place])
        for cell in sample.cells(place):
            if meaning := terms.status_of(cell, about_sold=about):
                words.setdefault("status", {}).setdefault(terms.term(cell), meaning)
    for place in _places(layout, ("condition",)):
        for cell in sample.cells(place):
            ours = terms.condition_of(cell, known.conditions)
            if ours and ours != cell.strip():
                words.setdefault("condition", {}).setdefault(terms.term(cell), ours)
    for sign in _signs(layout, sample):
        if len(options := amounts.may_be(sign)) == 1:
            words.setdefault("currency", {}).setdefault(sign, options[0])
    return replace(layout, money=money, days=order, words=words)


def questions(layout: Layout, sample: Sample, known: Known) -> tuple[Question, ...]:
    """Return what is left open about a layout."""
    return tuple(_open(layout, sample, known))


def _open(layout: Layout, sample: Sample, known: Known) -> Iterator[Question]:
    yield from _item(layout, sample)
    yield from _status(layout, sample)
    for place in _places(layout, PRICES):
        found = _marks(layout, sample, place)
        if place not in layout.money and len(found) > 1:
            yield _about_marks(layout, sample, place, found)
            break  # the answer holds for the other columns too, where it fits
    for place in _places(layout, DAYS):
        orders = days.orders_of(sample.cells(place))
        if place not in layout.days and len(orders) > 1:
            cells = _telling(
                sample.cells(place), [{c: days.day_text(c, o) for c in sample.cells(place)} for o in orders]
            )
            choices = tuple(
                Choice(order, days.WRITTEN[order], tuple((cell, days.day_text(cell, order)) for cell in cells))
                for order in orders
            )
            text = f"How does {layout.header[place]!r} write its days? Every one can be read in more than one way."
            yield Question(f"days:{place}", text, choices, layout.header[place])
            break
    for sign in _signs(layout, sample):
        if sign not in layout.words.get("currency", {}) and (options := amounts.may_be(sign)):
            ordered = sorted(options, key=lambda code: code != known.currency)
            shown = tuple((cell, sign) for cell in _with_sign(layout, sample, sign)[:SHOWN])
            choices = tuple(Choice(code, code, tuple((cell, code) for cell, _ in shown)) for code in ordered)
            yield Question(f"currency:{sign}", f"Which currency is {sign!r} in this file?", choices)
    yield from _words(layout, sample)
    for place in _places(layout, ("gtin",)):
        lost = [(cell, codes.with_zeros(cell)) for cell in sample.cells(place) if codes.with_zeros(cell)]
        if lost and place not in layout.zeros and str(place) not in layout.words.get("zeros", {}):
            shown = tuple(lost[:SHOWN])
            text = f"{len(lost)} codes of {layout.header[place]!r} seem to have been taken for numbers; mend them?"
            mend = Choice("mend", "put back what the check digit confirms", shown)
            leave = Choice("leave", "leave them as they are", tuple((cell, "left out") for cell, _ in shown))
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
        yield Question("item", "Which column says what the item is? Rows alike in it are taken for one item.", choices)


def _status(layout: Layout, sample: Sample) -> Iterator[Question]:
    fed = {use.field: use.column for use in layout.uses}
    if "status" in fed or "status" in layout.fixed:
        return
    if "sold_price" in fed:
        cells = sample.columns[fed["sold_price"]]
        empty = sum(not cell.strip() for cell in cells)
        if "sold" in meanings(layout.header[fed["sold_price"]]) or layout.header[fed["sold_price"]] == "sold_price":
            if empty and "asking_price" in fed:
                yield Question(
                    "status", "What are the rows without a sold price?", _stands(("open", "ended unsold"), cells)
                )
            return
        yield Question(
            "status", "The file does not say how its listings stand. What are its rows?", _stands(STATUSES, cells)
        )
        return
    cells = sample.columns[fed["asking_price"]] if "asking_price" in fed else ()
    yield Question(
        "status", "The file does not say how its listings stand. What are its rows?", _stands(STATUSES, cells)
    )


def _stands(statuses: Sequence[str], cells: Sequence[str]) -> tuple[Choice, ...]:
    means = {
        "sold": "sold, each at the price shown",
        "open": "open: the price is asked",
        "ended unsold": "ended without a sale: the price was asked",
    }
    rows = [cell for cell in cells if cell.strip()][:SHOWN]
    return tuple(Choice(one, means[one], tuple((cell, f"{one}, {cell.strip()}") for cell in rows)) for one in statuses)


def _words(layout: Layout, sample: Sample) -> Iterator[Question]:
    for place in _places(layout, ("status",)):
        told = layout.words.get("status", {})
        for cell in [cell for cell in sample.cells(place) if terms.term(cell) not in told][:MOST_WORDS]:
            choices = [Choice(one, one, ((cell, one),)) for one in STATUSES]
            choices.append(Choice("?", "cannot be told: its rows are rejected", ((cell, "rejected"),)))
            text = f"How does a listing stand where {layout.header[place]!r} says {cell.strip()[:60]!r}?"
            yield Question(f"status:{terms.term(cell)}", text, tuple(choices), layout.header[place])


def _about_marks(layout: Layout, sample: Sample, place: int, found: Sequence[Money]) -> Question:
    read = [{cell: amounts.plain_amount(cell, marks) for cell in sample.cells(place)} for marks in found]
    cells = _telling(sample.cells(place), read)
    choices = tuple(
        Choice(
            marks.decimal + marks.thousands,
            f"decimals after {marks.decimal!r}" + (f", thousands apart by {marks.thousands!r}" * bool(marks.thousands)),
            tuple((cell, one[cell]) for cell in cells),
        )
        for marks, one in zip(found, read, strict=True)
    )
    text = f"How does {layout.header[place]!r} write amounts? Its marks could mean thousands or decimals."
    return Question(f"decimal:{place}", text, choices, layout.header[place])


def _telling(cells: Sequence[str], read: Sequence[Mapping[str, str]]) -> list[str]:
    """Return the cells that read differently, the first few."""
    return [cell for cell in cells if len({one[cell] for one in read}) > 1][:SHOWN]


def _places(layout: Layout, fields: Sequence[str]) -> list[int]:
    return list(dict.fromkeys(use.column for use in layout.uses if use.field in fields and not use.extract))


def _marks(layout: Layout, sample: Sample, place: int) -> tuple[Money, ...]:
    return amounts.marks_of(sample.cells(place))


def _currency_places(layout: Layout) -> dict[int, bool]:
    return {use.column: use.extract for use in layout.uses if use.field == "currency"}


def _signs(layout: Layout, sample: Sample) -> list[str]:
    found: dict[str, None] = {}
    for place, extract in _currency_places(layout).items():
        for cell in sample.cells(place):
            sign = amounts.apart(cell)[1] if extract else cell.strip()
            if sign:
                found.setdefault(sign)
    return list(found)


def _with_sign(layout: Layout, sample: Sample, sign: str) -> list[str]:
    return [cell for place in _currency_places(layout) for cell in sample.cells(place) if sign in cell]


def answered(layout: Layout, answers: Mapping[str, str]) -> Layout:
    """Put answers into a layout, by the id of the question and the value of the choice.

    Raises
    ------
    BadInput
        There is no such question about this layout, or no such choice.
    """
    for name, value in answers.items():
        layout = _answer(layout, name, value)
    return layout


def _answer(layout: Layout, name: str, value: str) -> Layout:
    kind, _, rest = name.partition(":")
    place = int(rest) if rest.isascii() and rest.isdigit() and int(rest) < len(layout.header) else -1
    words = {key: dict(told) for key, told in layout.words.items()}
    if kind == "decimal" and place >= 0:
        marks = next((one for one in amounts.MARKS if one.decimal + one.thousands == value), None)
        if marks is None:
            raise BadInput(f"{value!r} is no way of writing amounts.", "A decimal mark: . or ,", field=name)
        return replace(layout, money={**layout.money, place: marks})
    if kind == "days" and place >= 0:
        order = next((one for one in days.WRITTEN if one == value), None)
        if order is None:
            raise BadInput(f"{value!r} is no order of days.", f"One of {', '.join(days.WRITTEN)}.", field=name)
        return replace(layout, days={**layout.days, place: order})  # type: ignore[dict-item]
    if name == "status":
        return stands(layout, value)
    if kind == "status" and rest:
        _one_of(value, (*STATUSES, "?"), name)
        words.setdefault("status", {})[rest] = value
        return replace(layout, words=words)
    if kind == "currency" and rest:
        _one_of(value, amounts.may_be(value), name)
        words.setdefault("currency", {})[rest] = value.strip().upper()
        return replace(layout, words=words)
    if kind == "zeros" and place >= 0:
        _one_of(value, ("mend", "leave"), name)
        if value == "mend":
            return replace(layout, zeros=tuple(sorted({*layout.zeros, place})))
        words.setdefault("zeros", {})[rest] = value
        return replace(layout, words=words)
    if name == "item":
        if not (value.isascii() and value.isdigit() and int(value) < len(layout.header)):
            raise BadInput(f"There is no column {value!r}.", "The place of a column, from 0.", field=name)
        kept = tuple(use for use in layout.uses if use.column != int(value))
        return replace(layout, uses=(*kept, Use("title", int(value))))
    raise BadInput(f"Nothing was asked as {name!r}.", next_step="Look at the file again.", field=name)


def _one_of(value: str, options: Sequence[str], name: str) -> None:
    if value not in options:
        accepted = f"One of {', '.join(options)}." if options else "A code of ISO 4217, like EUR."
        raise BadInput(f"{value[:60]!r} is no answer to that.", accepted, field=name)


def stands(layout: Layout, status: str) -> Layout:
    """Say how all rows stand that have no sold price of their own; the only price becomes what that makes it."""
    status = next((one for one in STATUSES if values.status(status)[0] == STATUSES.index(one)), "")
    if not status:
        raise BadInput("It is no known status.", f"One of {', '.join(STATUSES)}.", field="status")
    uses = tuple(use for use in layout.uses if use.field != "status")
    fed = {use.field for use in uses}
    wrong, right = ("asking_price", "sold_price") if status == "sold" else ("sold_price", "asking_price")
    only = next((use for use in uses if use.field == wrong), None)
    said = meanings(layout.header[only.column]) if only else frozenset()
    if only and right not in fed and not (wrong == "sold_price" and "sold" in said):
        uses = tuple(replace(use, field=right) if use is only else use for use in uses)
    return replace(layout, uses=uses, fixed={**layout.fixed, "status": status})
