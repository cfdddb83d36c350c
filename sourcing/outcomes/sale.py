"""A sale beside what was assumed of it, and the difference line by line, to the cent.

What was assumed is a sale at the asking price that was planned, under the terms in force on the day it was bought; what
came is what was paid, charged and refunded. A figure that is not known yet is taken as the terms say, and said so. The
lines add up to the difference, each saying where it comes from.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from sourcing.errors import SourcingError
from sourcing.flags.marked import flagged
from sourcing.language import gettext, separated
from sourcing.money import cents
from sourcing.settings import Settings, default_settings, from_toml, load_settings
from sourcing.stock import shelf
from sourcing.stock.item import Sale, StockItem
from sourcing.storage import Store
from sourcing.terms import Terms

_ZERO = Decimal(0)
_VERSIONS = "SELECT saved_at, undone_at, toml FROM settings_version ORDER BY id"


@dataclass(frozen=True)
class Line:
    """One line: what was assumed, what came, and how the difference is explained; amounts signed, costs below 0."""

    name: str
    assumed: Decimal
    actual: Decimal
    known: bool  # False: not known yet, taken as assumed
    why: str

    @property
    def difference(self) -> Decimal:
        """What came over what was assumed."""
        return self.actual - self.assumed


@dataclass(frozen=True)
class Explained:
    """One sale taken apart; ``assumed`` and ``actual`` are what is left before labour, the piece's own cost gone."""

    item: StockItem
    sale: Sale
    lines: tuple[Line, ...]
    channel: str
    supplies: Decimal  # by the terms: what one sale took is not recorded
    notes: tuple[str, ...]

    @property
    def assumed(self) -> Decimal:
        """Left by the terms, before labour."""
        return sum((line.assumed for line in self.lines), _ZERO)

    @property
    def actual(self) -> Decimal:
        """Left in truth, as far as it is known."""
        return sum((line.actual for line in self.lines), _ZERO)

    @property
    def difference(self) -> Decimal:
        """The sum of the lines' differences."""
        return self.actual - self.assumed

    def as_dict(self) -> dict[str, Any]:
        """Return a JSON-able mapping, money as text."""
        return {
            "item": self.item.id, "what": self.item.what, "sold_on": self.sale.sold_on.isoformat(),
            "assumed": str(self.assumed), "actual": str(self.actual), "difference": str(self.difference),
            "lines": [
                {"name": one.name, "assumed": str(one.assumed), "actual": str(one.actual), "known": one.known,
                 "why": one.why} for one in self.lines
            ],
            "notes": list(self.notes),
        }  # fmt: skip


class TermsOfThen:
    """The terms of sale that were in force on days of the past: the settings as they were saved, fees by their day."""

    def __init__(self, store: Store) -> None:
        self._versions = store.read(_VERSIONS)
        self._now = load_settings(store)
        self._read: dict[str, Settings] = {}

    def settings(self, day: date) -> Settings:
        """Return the settings in force at the end of a day."""
        text, end = "", f"{day.isoformat()}T23:59:59+00:00"
        for saved, undone, toml in self._versions:
            if saved <= end and (undone is None or undone > end):
                text = toml
        if text not in self._read:
            try:
                self._read[text] = from_toml(text) if text else default_settings()
            except SourcingError:  # an old version that can be read no more
                self._read[text] = self._now
        return self._read[text]

    def of(self, item: StockItem, channel: str = "") -> Terms:
        """Return the terms a piece was bought under, on the channel it sold on where these settings know it."""
        settings = self.settings(item.bought_on)
        deal = settings.for_category(item.category, item.bought_on)
        if channel and channel in settings.channels and channel != deal.terms.channel:
            deal = settings.on_channel(item.category, channel, item.bought_on)
        return flagged(deal, settings, tuple(one for one in item.flags if one in settings.flags)).terms


def explain(item: StockItem, sale: Sale, terms: Terms) -> Explained:
    """Take one sale apart."""
    told = item.forecast.get("asking_price")
    planned = Decimal(str(told)) if told is not None else sale.paid
    notes = [] if told is not None else [gettext("No price was forecast for it: the price paid is taken.")]
    fee_planned, fee_by_terms = terms.fee(planned), terms.fee(sale.paid)
    fees = fee_by_terms if sale.fees is None else sale.fees
    postage = terms.postage if sale.postage is None else sale.postage
    returns = terms.returns(planned)
    lost = (sale.refunded or _ZERO) + (sale.return_cost or _ZERO)
    price = gettext(
        "planned to ask {planned}, the buyer paid {paid}",
        planned=separated(f"{planned:.2f}"),
        paid=separated(f"{sale.paid:.2f}"),
    )
    lines = [
        Line(gettext("Buyer pays"), planned, sale.paid, True, price),
        Line(
            gettext("Fees, for the other price"), -fee_planned, -fee_by_terms, True,
            gettext(
                "the terms on {paid} instead of {planned}",
                paid=separated(f"{sale.paid:.2f}"),
                planned=separated(f"{planned:.2f}"),
            ),
        ),
        Line(
            gettext("Fees, charged otherwise"), _ZERO, fee_by_terms - fees, sale.fees is not None,
            _fees(sale, fee_by_terms),
        ),
        Line(gettext("Postage"), -terms.postage, -postage, sale.postage is not None, _postage(sale, terms)),
        Line(
            gettext("Supplies"), -terms.supplies, -terms.supplies, False,
            gettext("as the terms say; what one sale took is not recorded"),
        ),
        Line(gettext("Returns"), -returns, -lost, True, _returns(sale, terms)),
        Line(
            gettext("What it cost, landed"), -item.landed_cost,
            -item.landed_cost if sale.returned_on is None else _ZERO, True,
            gettext("paid when it was bought")
            if sale.returned_on is None
            else gettext("it is in stock again at its cost"),
        ),
    ]  # fmt: skip
    return Explained(item, sale, tuple(lines), terms.channel, terms.supplies, tuple(notes))


def _fees(sale: Sale, by_terms: Decimal) -> str:
    if sale.fees is None:
        return gettext("not known yet: taken as the terms say, {amount}", amount=separated(f"{by_terms:.2f}"))
    said = {"fees": separated(f"{sale.fees:.2f}"), "amount": separated(f"{by_terms:.2f}")}
    if sale.fees == by_terms:
        return gettext("{fees} was charged, as the terms say", **said)
    return gettext("{fees} was charged, {amount} by the terms", **said)


def _postage(sale: Sale, terms: Terms) -> str:
    if sale.postage is None:
        return gettext("not known yet: taken as the terms say")
    return gettext(
        "{paid} was paid, {assumed} assumed",
        paid=separated(f"{sale.postage:.2f}"),
        assumed=separated(f"{terms.postage:.2f}"),
    )


def _returns(sale: Sale, terms: Terms) -> str:
    rate = f"{cents(terms.return_rate * 100).normalize():f}"
    if sale.returned_on is None:
        return gettext("{rate} % of sales were assumed to come back; this one did not", rate=rate)
    return gettext(
        "it came back on {day}: {refunded} refunded, {cost} for the way back; the piece is in stock again",
        day=sale.returned_on, refunded=separated(f"{sale.refunded or _ZERO:.2f}"),
        cost=separated(f"{sale.return_cost or _ZERO:.2f}"),
    )  # fmt: skip


@dataclass(frozen=True)
class Sales:
    """The last sales taken apart, and in all of these what each line made of the difference."""

    sales: tuple[Explained, ...]
    totals: tuple[tuple[str, Decimal], ...]
    incomplete: int  # of them with fees or postage not known yet


def explained_sales(store: Store, limit: int = 50, item_ids: Sequence[int] = ()) -> Sales:
    """Take the last sales apart, newest first, or those of some pieces."""
    where, values = "", (limit,)
    if item_ids:
        where = f"WHERE item_id IN ({', '.join('?' * len(item_ids))})"
        values = (*item_ids, limit)  # type: ignore[assignment]
    rows = store.read(f"SELECT id, item_id FROM stock_sale {where} ORDER BY sold_on DESC, id DESC LIMIT ?", values)  # noqa: S608
    items = {one.id: one for one in shelf.some(store, [item for _, item in rows])} if rows else {}
    sales = {sale.id: sale for few in shelf.sales_of(store, list(items)).values() for sale in few} if rows else {}
    then = TermsOfThen(store)
    found = tuple(
        explain(items[item], sales[number], then.of(items[item], sales[number].channel)) for number, item in rows
    )
    totals: dict[str, Decimal] = {}
    for one in found:
        for line in one.lines:
            totals[line.name] = totals.get(line.name, _ZERO) + line.difference
    missing = sum(one.sale.fees is None or one.sale.postage is None for one in found)
    return Sales(found, tuple((name, amount) for name, amount in totals.items() if amount), missing)
