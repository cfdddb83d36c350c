"""The books as rows: the statement period by period, every entry behind it, and what each column means."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import fields
from datetime import date, datetime
from decimal import ROUND_HALF_UP, Decimal
from typing import Any, NamedTuple

from sourcing.books.days import Supplies, driving
from sourcing.books.origins import origins
from sourcing.books.period import Statement
from sourcing.language import gettext_noop
from sourcing.money import from_minor
from sourcing.settings import Settings
from sourcing.stock.item import day_number, to_date
from sourcing.storage import Store
from sourcing.stores.trip import trips


class Column(NamedTuple):
    """One column: its name in files, its unit, and what it means; English, said by gettext where it is shown."""

    name: str
    unit: str
    meaning: str


STATEMENT: tuple[Column, ...] = tuple(
    Column(*one)
    for one in (
        ("first", "date", gettext_noop("first day of the period")),
        ("last", "date", gettext_noop("last day of the period")),
        ("opening_pieces", "pieces", gettext_noop("pieces in stock before the first day")),
        ("opening_stock", "money", gettext_noop("their landed cost")),
        ("bought", "pieces", gettext_noop("pieces bought; a part of a split piece is one")),
        ("purchases", "money", gettext_noop("their landed cost: shelf price less discounts plus purchase tax")),
        ("closing_pieces", "pieces", gettext_noop("pieces in stock at the end of the last day")),
        ("closing_stock", "money", gettext_noop("their landed cost")),
        ("cost_of_goods", "money", gettext_noop("opening stock + purchases - closing stock")),
        ("cost_of_sold", "money", gettext_noop("of these, the landed cost of what was sold less what came back")),
        ("cost_given_up", "money", gettext_noop("of these, the landed cost of what was given up")),
        ("sold", "pieces", gettext_noop("sales made, those that came back later too")),
        ("sales", "money", gettext_noop("what their buyers paid in all, shipping charged included")),
        ("returned", "pieces", gettext_noop("sales that came back, by the day they came back")),
        ("refunds", "money", gettext_noop("refunded to their buyers")),
        ("net_sales", "money", gettext_noop("sales - refunds")),
        ("gross_margin", "money", gettext_noop("net sales - cost of what was sold")),
        ("fees", "money", gettext_noop("fees recorded for the sales")),
        ("fees_unknown", "pieces", gettext_noop("sales without recorded fees, which count as 0")),
        ("postage", "money", gettext_noop("postage recorded for the sales")),
        ("postage_unknown", "pieces", gettext_noop("sales without recorded postage, which counts as 0")),
        ("return_costs", "money", gettext_noop("postage of the way back, and fees that were kept")),
        ("supplies", "money", gettext_noop("supplies as the terms have them for each sale; no receipts are behind it")),
        ("runs", "pieces", gettext_noop("runs with a distance")),
        ("distance", "distance", gettext_noop("driven on them, there and back")),
        ("mileage", "money", gettext_noop("distance at the rate of its day")),
        ("given_up", "pieces", gettext_noop("pieces given up")),
        ("given_up_got", "money", gettext_noop("what giving them up brought")),
        ("given_up_loss", "money", gettext_noop("their landed cost - what giving them up brought")),
        ("left", "money", gettext_noop("gross margin - loss of given up - fees - postage - return costs - supplies - "
                                       "mileage: what is left before your labour and taxes")),
        ("average_stock", "money", gettext_noop("mean of stock at the beginning and at each end of a month up to the "
                                                "last day")),
        ("sell_through", "share", gettext_noop("(sold - returned) / (sold - returned + closing pieces)")),
        ("turns", "times", gettext_noop("cost of what was sold / average stock, in the period")),
        ("turns_a_year", "times", gettext_noop("the same at that pace for 365 days")),
        ("days_of_supply", "days", gettext_noop("365 / turns a year")),
        ("gmroi", "times", gettext_noop("gross margin / average stock, in the period")),
        ("gmroi_a_year", "times", gettext_noop("the same at that pace for 365 days")),
    )
)  # fmt: skip
ENTRIES: tuple[Column, ...] = tuple(
    Column(*one)
    for one in (
        ("day", "date", gettext_noop("the day it counts on")),
        ("entry", "text", gettext_noop("purchase, sale, return, given up or run")),
        ("number", "number", gettext_noop("of the piece, or of the run")),
        ("label", "text", gettext_noop("on the piece, where it has one")),
        ("what", "text", gettext_noop("what the piece is called")),
        ("category", "text", gettext_noop("its category")),
        ("store", "text", gettext_noop("where it was bought, or the store of the run")),
        ("channel", "text", gettext_noop("where it was sold")),
        ("cost", "money", gettext_noop("landed cost of the piece, or the part of it that was bought on that day")),
        ("paid", "money", gettext_noop("by the buyer in all, shipping charged included")),
        ("fees", "money", gettext_noop("recorded fees; empty: not known")),
        ("postage", "money", gettext_noop("recorded postage; empty: not known")),
        ("supplies", "money", gettext_noop("as the terms have them")),
        ("refunded", "money", gettext_noop("to the buyer")),
        ("return_cost", "money", gettext_noop("postage of the way back, and fees that were kept")),
        ("got", "money", gettext_noop("what giving up brought")),
        ("distance", "distance", gettext_noop("driven, there and back")),
        ("mileage", "money", gettext_noop("distance at the rate of its day")),
        ("photos", "text", gettext_noop("files in the folder photos, with blanks between")),
    )
)


_RATIO = Decimal("0.0001")
_STEPS = {"money": Decimal("0.01"), "share": _RATIO, "times": _RATIO, "days": _RATIO}


def statement_row(told: Statement) -> dict[str, Any]:
    """Return a statement by the names of `STATEMENT`: amounts to the cent, ratios to four decimals.

    Ratios are worked out of what is not rounded yet.
    """
    found: dict[str, Any] = {}
    for column in STATEMENT:
        value = getattr(told, column.name)
        step = _STEPS.get(column.unit)
        found[column.name] = value if value is None or step is None else value.quantize(step, ROUND_HALF_UP)
    return found


assert {one.name for one in STATEMENT} == {one.name for one in fields(Statement)}  # every figure has its meaning


def entries(
    store: Store, settings: Settings, first: date, last: date, photos: Mapping[tuple[str, int], str] | None = None
) -> Iterator[dict[str, Any]]:
    """Yield every entry of a period by the names of `ENTRIES`, in order of their days.

    Parameters
    ----------
    photos : names of files by ("item" or "run", number).
    """
    begin, end = day_number(first), day_number(last)
    shown = photos or {}
    found = [*_purchases(store, begin, end), *_sales(store, settings, begin, end), *_gone(store, begin, end)]
    found += _driven(store, settings, begin, end)
    found.sort(key=lambda one: (one[0], one[1]))
    for day, _, values in found:
        of = "run" if values["entry"] == "run" else "item"
        values["photos"] = shown.get((of, values["number"]), "") if values["entry"] in ("purchase", "run") else ""
        yield {column.name: values.get(column.name) for column in ENTRIES} | {"day": to_date(day)}


_Found = tuple[int, tuple[int, int], dict[str, Any]]
_ABOUT = "i.id, coalesce(i.label, ''), i.what, i.category, i.store"


def _about(entry: str, row: tuple[Any, ...]) -> dict[str, Any]:
    number, label, what, category, store = row
    return {"entry": entry, "number": number, "label": label, "what": what, "category": category, "store": store}


def _purchases(store: Store, begin: int, end: int) -> list[_Found]:
    made_of = origins(store.read)
    found: list[_Found] = []
    for bought, landed, *about in store.read(f"SELECT i.bought_on, i.landed, {_ABOUT} FROM stock_item i"):  # noqa: S608
        shares = made_of.get(about[0])
        parts = [(bought, landed)] if shares is None else [(one.bought_on, one.cents) for one in shares]
        for day, cost in parts:
            if begin <= day <= end:
                found.append((day, (0, about[0]), _about("purchase", tuple(about)) | {"cost": from_minor(cost)}))
    return found


def _sales(store: Store, settings: Settings, begin: int, end: int) -> list[_Found]:
    supplies, found = Supplies(settings), list[_Found]()
    for row in store.read(
        f"SELECT s.sold_on, s.returned_on, s.paid, s.fees, s.postage, s.refunded, s.return_cost, s.channel, i.flags, "  # noqa: S608
        f"i.landed, {_ABOUT} FROM stock_sale s JOIN stock_item i ON i.id = s.item_id "
        "WHERE (s.sold_on BETWEEN ?1 AND ?2) OR (s.returned_on BETWEEN ?1 AND ?2)",
        (begin, end),
    ):
        sold, back, paid, fees, postage, refunded, cost, channel, flags, landed, *about = row
        if begin <= sold <= end:
            found.append((sold, (1, about[0]), _about("sale", tuple(about)) | {
                "channel": channel, "cost": from_minor(landed), "paid": from_minor(paid), "fees": _or_none(fees),
                "postage": _or_none(postage), "supplies": from_minor(supplies.of(about[3], flags)),
            }))  # fmt: skip
        if back is not None and begin <= back <= end:
            found.append((back, (2, about[0]), _about("return", tuple(about)) | {
                "channel": channel, "cost": from_minor(landed), "refunded": from_minor(refunded or 0),
                "return_cost": from_minor(cost or 0),
            }))  # fmt: skip
    return found


def _gone(store: Store, begin: int, end: int) -> list[_Found]:
    rows = store.read(
        f"SELECT i.ended_on, i.landed, i.got, {_ABOUT} FROM stock_item i WHERE i.state = 'given up' "  # noqa: S608
        "AND i.ended_on BETWEEN ? AND ?",
        (begin, end),
    )
    return [
        (
            day,
            (3, about[0]),
            _about("given up", tuple(about)) | {"cost": from_minor(cost), "got": from_minor(got or 0)},
        )
        for day, cost, got, *about in rows
    ]


def _driven(store: Store, settings: Settings, begin: int, end: int) -> list[_Found]:
    told, found = trips(store), list[_Found]()
    for number, name, started in store.read("SELECT id, store, started_at FROM haul"):
        on = datetime.fromisoformat(started).astimezone().date()
        distance = told[number].counts.distance
        if distance and begin <= day_number(on) <= end:
            about = _about("run", (number, "", "", "", name))
            found.append((
                day_number(on), (4, number),
                about | {"distance": distance, "mileage": driving(settings, on, distance)},
            ))  # fmt: skip
    return found


def assumed(store: Store, settings: Settings, first: date, last: date) -> tuple[Decimal, Decimal]:
    """Return what the terms would make of the fees and the postage that sales of a period still lack."""
    fees = postage = Decimal(0)
    for category, paid, no_fees, no_postage in store.read(
        "SELECT i.category, s.paid, s.fees IS NULL, s.postage IS NULL FROM stock_sale s "
        "JOIN stock_item i ON i.id = s.item_id WHERE s.sold_on BETWEEN ? AND ? "
        "AND (s.fees IS NULL OR s.postage IS NULL)",
        (day_number(first), day_number(last)),
    ):
        terms = settings.for_category(category).terms
        fees += terms.fee(from_minor(paid)) if no_fees else 0
        postage += terms.postage if no_postage else 0
    return fees, postage


def _or_none(cents: int | None) -> Decimal | None:
    return None if cents is None else from_minor(cents)
