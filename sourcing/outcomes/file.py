"""A file of one's own sales, looked at as a file of comps is, with four fields of its own: label, net, fees, postage.

Columns that hold labels of stock are told by the labels; amounts that were kept from one or spent are told by the words
of their names. The other columns are recognised as those of comps, and read by the same readers.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from functools import partial
from pathlib import Path
from typing import Any

from sourcing.comps import values
from sourcing.comps.cells import Cells
from sourcing.comps.header import fold_name
from sourcing.comps.incoming import known_words
from sourcing.comps.layout import FileForm, Layout, Use
from sourcing.comps.meaning import amounts
from sourcing.comps.meaning.decided import fill
from sourcing.comps.meaning.header_words import meanings, name_words
from sourcing.comps.meaning.questions import Known, Question, answered, questions
from sourcing.comps.meaning.recognise import recognise
from sourcing.comps.meaning.sample import Sample
from sourcing.comps.read import Records, opened
from sourcing.comps.sampled import sample_of
from sourcing.comps.sniff import Sniffed, sniff
from sourcing.comps.translate import sources
from sourcing.errors import BadInput
from sourcing.language import gettext, gettext_noop, separated
from sourcing.stock.label_pattern import folded as folded_label
from sourcing.storage import Store

LABEL, NET, FEES, POSTAGE = OWN_FIELDS = ("label", "net", "fees", "postage")
FIELDS: Mapping[str, str] = {
    "label": gettext_noop("your label"), "gtin": gettext_noop("barcode"), "style_code": gettext_noop("style code"),
    "title": gettext_noop("title"), "brand": gettext_noop("brand"), "size": gettext_noop("size"),
    "sold_price": gettext_noop("price paid"), "shipping_charged": gettext_noop("shipping charged"),
    "ended_on": gettext_noop("day sold"), "listed_on": gettext_noop("day listed"), "fees": gettext_noop("fees"),
    "postage": gettext_noop("postage you paid"), "net": gettext_noop("net, what you got"),
    "channel": gettext_noop("sold on"), "status": gettext_noop("how it stands"), "currency": gettext_noop("currency"),
}  # fmt: skip
MOST = 20_000  # rows
_PAYOUT = {
    "net", "payout", "proceeds", "earnings", "received", "netto", "auszahlung", "verse", "ingreso", "neto", "ricavo",
    "uitbetaling",
}  # fmt: skip
_LABEL_WORDS = {"label", "labels", "etikett", "etiquette", "etiqueta", "etichetta", "etiket"}
_LABELS = 0.5  # share of cells that are labels of stock, from which a column is one of labels
_EXAMPLES = 3


@dataclass(frozen=True)
class SaleRow:
    """One row as it was read; amounts in the settings' currency, ``paid`` with the shipping charged.

    ``wrong`` says why it cannot be a sale; "" where it can.
    """

    number: int
    label: str = ""
    gtin: str = ""
    style: str = ""
    title: str = ""
    brand: str = ""
    size: str = ""
    paid: Decimal | None = None
    on: date | None = None
    listed_on: date | None = None
    fees: Decimal | None = None
    postage: Decimal | None = None
    net: Decimal | None = None
    channel: str = ""
    wrong: str = ""
    note: str = ""


@dataclass(frozen=True)
class SaleColumn:
    """One column: its place, what the file calls it, cells of it, and what it feeds, "" where it is left out."""

    place: int
    name: str
    examples: tuple[str, ...]
    field: str


@dataclass(frozen=True)
class SalesFile:
    """A file as it would be read; ``questions`` are what only the user can say before its rows can be."""

    sniffed: Sniffed
    columns: tuple[SaleColumn, ...] = ()
    questions: tuple[Question, ...] = ()
    rows: tuple[SaleRow, ...] = ()
    unsold: int = 0  # rows that say they are no sales


def read_sales(
    store: Store, path: Path, name: str = "", *, said: Mapping[str, str] | None = None,
    member: str = "", encoding: str = "", sheet: str = "",
) -> SalesFile:  # fmt: skip
    """Look at a file of sales and read its rows as far as nothing is left to ask.

    Parameters
    ----------
    said : what the user said: "column:3" the field that a column feeds, "" for none; questions by their id.
    member, encoding, sheet : what the user picked of the file.

    Raises
    ------
    BadInput, NotFound
        It is no file that is read; a field that is none, or that two columns feed; no answer to what was asked.
    """
    said = said or {}
    sniffed = sniff(path, name, member=member, encoding=encoding, sheet=sheet)
    if sniffed.asks:
        return SalesFile(sniffed)
    sample = sample_of(path, sniffed.form, lambda _rows: None)
    known = known_words(store)
    fed = _told(sample, said) if any(key.startswith("column:") for key in said) else _guessed(store, sample, known)
    uses = tuple(Use(field, place) for place, field in fed.items() if field and field not in OWN_FIELDS)
    layout = Layout(sample.header, uses, sniffed.form, fixed={} if "status" in fed.values() else {"status": "sold"})
    layout = fill(layout, sample, known)
    asked = {key: value for key, value in said.items() if not key.startswith("column:") and value}
    layout = fill(answered(layout, asked), sample, known)
    columns = tuple(
        SaleColumn(place, header, tuple(sample.cells(place)[:_EXAMPLES]), fed.get(place, ""))
        for place, header in enumerate(sample.header)
    )
    left = tuple(one for one in questions(layout, sample, known) if one.id != "item")
    needed = {"sold_price", "ended_on"} - set(fed.values())
    if left or needed:
        return SalesFile(sniffed, columns, left)
    rows, unsold = _rows(path, sniffed.form, layout, sample, fed, known)
    return SalesFile(sniffed, columns, (), rows, unsold)


def _told(sample: Sample, said: Mapping[str, str]) -> dict[int, str]:
    found: dict[int, str] = {}
    for place in range(len(sample.header)):
        field = said.get(f"column:{place}", "")
        if field and field not in FIELDS:
            raise BadInput(
                gettext("“{field}” is no field.", field=field[:40]), ", ".join(FIELDS), field=f"column:{place}"
            )
        if field and field in found.values():
            raise BadInput(
                gettext("Two columns are said to be the {field}.", field=gettext(FIELDS[field])),
                gettext("One column for a field."), gettext("Leave one of them out."), field=f"column:{place}",
            )  # fmt: skip
        if field:
            found[place] = field
    return found


def _guessed(store: Store, sample: Sample, known: Known) -> dict[int, str]:
    """Tell our own fields first, then the others among the columns that are left."""
    ours = _ours(store, sample)
    header = [f"column {at}" if at in ours else name for at, name in enumerate(sample.header)]
    columns = tuple(("",) * len(cells) if at in ours else cells for at, cells in enumerate(sample.columns))
    rest = Sample.of(header, list(zip(*columns, strict=True)))
    found = recognise(header, list(map(list, zip(*rest.columns, strict=True))), known)
    fed = dict(ours)
    for use in found.layout.uses:
        field = "sold_price" if use.field == "asking_price" else use.field
        if not use.extract and use.column not in ours and field in FIELDS and field not in fed.values():
            fed[use.column] = field
    return fed


def _ours(store: Store, sample: Sample) -> dict[int, str]:
    known = {row[0] for row in store.read("SELECT label FROM stock_item WHERE label IS NOT NULL")}
    found: dict[int, str] = {}
    scores = []
    for place, name in enumerate(sample.header):
        cells = sample.cells(place)
        if fold_name(name) in OWN_FIELDS:
            found.setdefault(place, fold_name(name))
        elif cells and known:
            named = set(name_words(name)) & _LABEL_WORDS and not meanings(name) & {"cost", "shipping"}
            # Labels of pieces that are in stock no more are labels still, where the column is called so.
            share = sum(folded_label(cell) in known for cell in cells) / len(cells)
            scores.append((share + (0.5 if named else 0.0), -place))
    best = max(scores, default=(0.0, 0))
    if LABEL not in found.values() and best[0] >= _LABELS:
        found[-best[1]] = LABEL
    for place, name in enumerate(sample.header):
        field = _amount_field(name)
        if place not in found and field and field not in found.values() and _amounts(sample.cells(place)):
            found[place] = field
    return found


def _amount_field(name: str) -> str:
    """Return which amount of ours the words of a column name speak of."""
    said, words = meanings(name), set(name_words(name))
    if "bought" in said:
        return ""
    if "cost" in said:
        return POSTAGE if "shipping" in said else FEES
    return NET if words & _PAYOUT else ""


def _amounts(cells: Sequence[str]) -> bool:
    return bool(cells) and all(amounts.is_amount(cell.strip().lstrip("-\u2212(").rstrip(")")) for cell in cells[:50])


def _rows(
    path: Path, form: FileForm, layout: Layout, sample: Sample, fed: Mapping[int, str], known: Known
) -> tuple[tuple[SaleRow, ...], int]:
    latest = datetime.now(UTC).date() + timedelta(days=1)
    own = {field: place for place, field in fed.items() if field in OWN_FIELDS}
    money = {field: _reader(own[field], layout, sample, known) for field in (NET, FEES, POSTAGE) if field in own}
    found: list[SaleRow] = []
    unsold = 0
    with opened(path, form) as records:
        for row in _read(records, layout, latest):
            number, cells, given, wrong = row
            if given["status"] not in (1, None) and not given["sold_price"]:
                unsold += 1
                continue
            told: dict[str, Any] = {}
            for field, reader in money.items():
                amount, finding = reader(cells[own[field]])
                told[field] = None if amount is None else Decimal(abs(amount)).scaleb(-2)
                wrong = wrong or ("" if finding is None else f"{layout.header[own[field]]}: {finding.reason}")
            price = given["sold_price"]
            paid = None if not price else Decimal(price + (given["shipping_charged"] or 0)).scaleb(-2)
            if not wrong and paid is None:
                wrong = gettext("It names no price that was paid.")
            on = None if given["ended_on"] is None else date.fromisoformat(values.iso(given["ended_on"]))
            if not wrong and on is None:
                wrong = gettext("It names no day of sale.")
            listed = None if given["listed_on"] is None else date.fromisoformat(values.iso(given["listed_on"]))
            style = given["style_code"]
            one = SaleRow(
                number, folded_label(cells[own[LABEL]]) if LABEL in own else "",
                "" if given["gtin"] is None else f"{given['gtin']:014d}",
                style[1].removeprefix("s:") if isinstance(style, tuple) else "", given["title"], given["brand"],
                given["size"], paid, on, listed, told.get(FEES), told.get(POSTAGE), told.get(NET), given["channel"],
                wrong,
            )  # fmt: skip
            found.append(_worked_out(one))
            if len(found) > MOST:
                raise BadInput(
                    gettext("The file has more than {most} sales.", most=separated(f"{MOST:,}")),
                    gettext("Up to that many."),
                    gettext("Split it."), field="file",
                )  # fmt: skip
    return tuple(found), unsold


def _read(records: Records, layout: Layout, latest: date) -> Any:
    """Yield number, cells, values by field and what is wrong of every row, whatever is wrong with it."""
    reader = Cells(sources(layout), latest)
    for block in records.blocks():
        columns, problems = reader.read(block)
        for at, number in enumerate(block.numbers):
            cells = [column[at] for column in block.columns]
            given = {name: column[at] for name, column in columns.items()}
            wrong = "; ".join(
                f"{field.replace('_', ' ')}: {finding.reason}" for field, _, finding in problems.get(at, [])
            )
            yield number, cells, given, wrong
        for number, count in block.ragged:
            blank = dict.fromkeys(("status", "sold_price", "shipping_charged", "ended_on", "listed_on", "gtin"))
            texts = dict.fromkeys(("title", "brand", "size", "channel"), "")
            yield (
                number, [""] * len(layout.header), {**blank, **texts, "style_code": None},
                gettext("It has {count} cells, not as many as the header.", count=count),
            )  # fmt: skip


def _reader(place: int, layout: Layout, sample: Sample, known: Known) -> Any:
    """Return what reads a column of amounts of ours, written as the file writes its amounts; signs are left aside."""
    plain = Layout(layout.header, (Use("shipping_charged", place),), layout.form)
    clean = replace(
        sample,
        columns=tuple(tuple(map(_unsigned, one)) if at == place else one for at, one in enumerate(sample.columns)),
    )
    plain = fill(plain, clean, known)
    if place not in plain.money and layout.money:
        plain = replace(plain, money={**plain.money, place: next(iter(layout.money.values()))})
    read = sources(plain)["shipping_charged"].reader(partial(values.money, zero_is_fine=True))
    return lambda cell: read(_unsigned(cell))


def _unsigned(cell: str) -> str:
    return cell.strip().lstrip("-\u2212(").rstrip(")").strip()


def _worked_out(row: SaleRow) -> SaleRow:
    """Let what was got tell the one cost that is missing, and note it where the amounts contradict each other."""
    if row.paid is None or row.net is None:
        return row
    spent = row.paid - row.net
    if spent < 0:
        return replace(row, note=gettext("More was got than was paid: check the columns."))
    if row.fees is None and row.postage is not None and spent >= row.postage:
        return replace(row, fees=spent - row.postage)
    if row.postage is None and row.fees is not None and spent >= row.fees:
        return replace(row, postage=spent - row.fees)
    if row.fees is not None and row.postage is not None and abs(spent - row.fees - row.postage) > Decimal("0.01"):
        more = separated(f"{spent - row.fees - row.postage:.2f}")
        return replace(
            row, note=gettext("Fees, postage and net do not add up to what was paid: {more} is left.", more=more)
        )
    return row
