"""The statement of one period: stock, cost of goods, sales and what came off them, and the ratios of the handbooks.

Opening stock + purchases - closing stock = cost of goods (Berman & Evans, Retail Management; Levy & Weitz, Retailing
Management): that of what was sold and stayed sold, and that of what was given up. Average stock is the mean of stock
at the beginning and at every end of a month up to the end of the period, as they have it; of one month that is half of
opening and closing. Turnover is the cost of goods sold over average stock at cost, GMROI the gross margin over average
stock at cost, sell-through what sold of what could have.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from sourcing import retail
from sourcing.books.days import Day, Days
from sourcing.errors import BadInput
from sourcing.language import gettext
from sourcing.money import from_minor

MONTH, QUARTER, YEAR = SPANS = ("month", "quarter", "year")
_YEAR_DAYS = Decimal(365)
MOST_YEARS = 60


@dataclass(frozen=True)
class Statement:
    """What the books say of one period, both days included; money to the cent, ratios unrounded, None where none is.

    Attributes
    ----------
    cost_of_goods : opening stock + purchases - closing stock, which is ``cost_of_sold`` + ``cost_given_up``.
    cost_of_sold : of pieces that were sold, less those that came back.
    fees, postage : as recorded; ``fees_unknown`` and ``postage_unknown`` count sales that still lack them.
    supplies : as the terms have them for every sale, for what was really bought is not recorded.
    left : what is left before your own labour and taxes.
    """

    first: date
    last: date
    opening_pieces: int
    opening_stock: Decimal
    bought: int
    purchases: Decimal
    closing_pieces: int
    closing_stock: Decimal
    cost_of_goods: Decimal
    cost_of_sold: Decimal
    cost_given_up: Decimal
    sold: int
    sales: Decimal
    returned: int
    refunds: Decimal
    net_sales: Decimal
    gross_margin: Decimal
    fees: Decimal
    fees_unknown: int
    postage: Decimal
    postage_unknown: int
    return_costs: Decimal
    supplies: Decimal
    runs: int
    distance: Decimal
    mileage: Decimal
    given_up: int
    given_up_got: Decimal
    given_up_loss: Decimal
    left: Decimal
    average_stock: Decimal
    sell_through: Decimal | None
    turns: Decimal | None
    turns_a_year: Decimal | None
    days_of_supply: Decimal | None
    gmroi: Decimal | None
    gmroi_a_year: Decimal | None

    @property
    def days(self) -> int:
        """Days of the period."""
        return (self.last - self.first).days + 1


def statement(days: Days, first: date, last: date) -> Statement:
    """Add up one period.

    Raises
    ------
    BadInput
        The last day is before the first.
    """
    _in_order(first, last)
    was, there = days.before(first), days.between(first, last)
    opening, closing = was.stock_cost, was.stock_cost + there.stock_cost
    sold_cost = there.sold_cost - there.back_cost
    net_sales = there.paid - there.refunded
    margin, loss = net_sales - sold_cost, there.given_cost - there.given_got
    costs = there.fees + there.postage + there.return_costs + there.supplies + there.mileage
    today = date.today()
    until = today if first <= today < last else last  # of days that have not come nothing is known
    average = _average(days, first, until)
    gone = there.sold - there.back
    on_hand = was.stock + there.stock
    ratios = _ratios(from_minor(sold_cost), from_minor(margin), average, (until - first).days + 1)
    return Statement(
        first=first, last=last,
        opening_pieces=was.stock, opening_stock=from_minor(opening),
        bought=there.bought, purchases=from_minor(there.bought_cost),
        closing_pieces=on_hand, closing_stock=from_minor(closing),
        cost_of_goods=from_minor(opening + there.bought_cost - closing),
        cost_of_sold=from_minor(sold_cost), cost_given_up=from_minor(there.given_cost),
        sold=there.sold, sales=from_minor(there.paid),
        returned=there.back, refunds=from_minor(there.refunded),
        net_sales=from_minor(net_sales), gross_margin=from_minor(margin),
        fees=from_minor(there.fees), fees_unknown=there.fees_unknown,
        postage=from_minor(there.postage), postage_unknown=there.postage_unknown,
        return_costs=from_minor(there.return_costs), supplies=from_minor(there.supplies),
        runs=there.runs, distance=Decimal(there.distance).scaleb(-1), mileage=from_minor(there.mileage),
        given_up=there.given, given_up_got=from_minor(there.given_got), given_up_loss=from_minor(loss),
        left=from_minor(margin - loss - costs),
        average_stock=average,
        sell_through=retail.sell_through(Decimal(gone), Decimal(on_hand)) if gone >= 0 and gone + on_hand > 0 else None,
        **ratios,
    )  # fmt: skip


def _ratios(sold_cost: Decimal, margin: Decimal, average: Decimal, days: int) -> dict[str, Decimal | None]:
    none: dict[str, Decimal | None] = dict.fromkeys(
        ("turns", "turns_a_year", "days_of_supply", "gmroi", "gmroi_a_year")
    )
    if average <= 0:
        return none
    turns = retail.turnover(sold_cost, average, average)
    a_year, gmroi = turns * _YEAR_DAYS / days, retail.gmroi_of_amounts(margin, average)
    return {
        "turns": turns,
        "turns_a_year": a_year,
        "days_of_supply": retail.days_of_supply(a_year) if a_year > 0 else None,
        "gmroi": gmroi,
        "gmroi_a_year": gmroi * _YEAR_DAYS / days,
    }


def _average(days: Days, first: date, last: date) -> Decimal:
    """Return mean stock at cost of the beginning, every end of a month within, and the end."""
    points = [days.before(first).stock_cost]
    for _, end in spans(first, last, MONTH):
        points.append(days.before(end + timedelta(1)).stock_cost)
    return from_minor(sum(points)) / len(points)


def months_of(days: Days, first: date, last: date) -> list[Statement]:
    """Add up the months of a period, the outer ones cut to it; those that have not begun are left out, save the first.

    Raises
    ------
    BadInput
        The last day is before the first, or more than 60 years after it.
    """
    today = date.today()
    begun = [span for span in spans(first, last, MONTH) if span[0] <= max(today, first)]
    return [statement(days, *span) for span in begun]


def spans(first: date, last: date, each: str, year_start: tuple[int, int] = (1, 1)) -> Iterator[tuple[date, date]]:
    """Cut a period at the ends of months, quarters or years of the books; the outer ones may be parts.

    Raises
    ------
    BadInput
        The last day is before the first, or more than 60 years after it.
    """
    _in_order(first, last)
    start = first
    while start <= last:
        end = min(span_of(start, each, year_start)[1], last)
        yield start, end
        start = end + timedelta(1)


def span_of(day: date, each: str, year_start: tuple[int, int] = (1, 1)) -> tuple[date, date]:
    """Return the first and last day of the month, quarter or year of the books that a day lies in.

    Quarters are counted from the month in which the year begins; months are those of the calendar.
    """
    month, dom = year_start
    if each == MONTH:
        begin = day.replace(day=1)
        return begin, _months_on(begin, 1) - timedelta(1)
    begin = date(day.year, month, dom)
    if begin > day:
        begin = date(day.year - 1, month, dom)
    if each == YEAR:
        return begin, date(begin.year + 1, month, dom) - timedelta(1)
    quarter = max(step for step in (0, 3, 6, 9) if _months_on(begin, step) <= day)
    return _months_on(begin, quarter), _months_on(begin, quarter + 3) - timedelta(1)


def _months_on(day: date, months: int) -> date:
    at = day.month - 1 + months
    year, month = day.year + at // 12, at % 12 + 1
    for dom in range(day.day, 0, -1):  # 31 January and a month is the last day of February
        try:
            return date(year, month, dom)
        except ValueError:
            continue
    raise AssertionError("every month has a first day")


def _in_order(first: date, last: date) -> None:
    if last < first or last.year - first.year > MOST_YEARS:
        raise BadInput(
            gettext("The period is from {first} to {last}.", first=first, last=last),
            gettext("A last day that is not before the first, at most {years} years after it.", years=MOST_YEARS),
            gettext("Correct the days."), field="to",
        )  # fmt: skip


__all__ = ["MONTH", "QUARTER", "SPANS", "YEAR", "Day", "Statement", "span_of", "spans", "statement"]
