"""The Books page: one period of the books, its months, and the files."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any, NamedTuple

from flask import Response, make_response, render_template, request
from werkzeug.wrappers import Response as AnyResponse

from sourcing.books.period import MONTH, QUARTER, SPANS, YEAR, months_of, span_of, spans, statement
from sourcing.errors import BadInput
from sourcing.language import gettext, gettext_noop
from web.charts_books import by_month
from web.state import current, settings, store
from web.stock_forms import read_text

NAMES = {MONTH: gettext_noop("Month"), QUARTER: gettext_noop("Quarter"), YEAR: gettext_noop("Year")}
KINDS = {
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "zip": "application/zip",
}


class Period(NamedTuple):
    """What was asked for: a span by its kind, or two days of one's own (``each`` is "")."""

    each: str
    first: date
    last: date

    @property
    def query(self) -> dict[str, str]:
        """The same as parameters of an address."""
        return {"from": self.first.isoformat(), "to": self.last.isoformat()} | (
            {"each": self.each} if self.each else {}
        )


def show() -> str | AnyResponse:
    """Show one period."""
    try:
        return _page(_period())
    except BadInput as error:
        return make_response(_page(_span(YEAR, date.today()), error), 400)


def _page(period: Period, error: BadInput | None = None) -> str:
    from sourcing.books.days import read_days
    from sourcing.books.file import CAUTION
    from sourcing.books.lines import STATEMENT, assumed

    kept = settings()
    days = read_days(store(), kept)
    told = statement(days, period.first, period.last)
    months = months_of(days, period.first, period.last)
    wider = months if len(months) > 1 else _months_up_to(days, period.last)
    near = {
        "before": _span(period.each, period.first - timedelta(1)) if period.each else None,
        "after": _span(period.each, period.last + timedelta(1)) if period.each else None,
    }
    return render_template(
        "books/show.html",
        period=period,
        told=told,
        months=wider,
        picture=by_month(wider),
        assumed=assumed(store(), kept, period.first, period.last) if told.fees_unknown + told.postage_unknown else None,
        names={each: gettext(NAMES[each]) for each in SPANS},
        spans={each: _span(each, min(period.last, date.today())) for each in SPANS},
        near=near,
        columns=STATEMENT,
        caution=gettext(CAUTION),
        unit=kept.business.distance,
        started=days.first,
        today=date.today(),
        error=error,
        values=request.args,
    )


def _months_up_to(days: Any, last: date) -> list[Any]:
    """Return the twelve months up to a day, or fewer where the books begin later: one month alone is no picture."""
    first = span_of(last, MONTH)[0]
    for _ in range(11):
        first = span_of(first - timedelta(1), MONTH)[0]
    if days.first is not None:
        first = max(first, span_of(min(days.first, last), MONTH)[0])
    return months_of(days, first, last)


def statement_csv() -> Response:
    """Send the statement, a row a month."""
    return _file("statement.csv")


def entries_csv() -> Response:
    """Send every entry behind it."""
    return _file("entries.csv")


def dictionary_csv() -> Response:
    """Send what every column means."""
    return _file("dictionary.csv")


def workbook() -> Response:
    """Send all of it as one workbook."""
    return _file("books.xlsx")


def everything() -> Response:
    """Send all files and the photos of the period in one."""
    return _file("books.zip")


def _file(name: str) -> Response:
    from sourcing.books.file import Books

    period = _period()
    books = Books(store(), settings(), period.first, period.last)
    stem, _, ending = name.rpartition(".")
    data = books.workbook() if ending == "xlsx" else books.zip(current().folder) if ending == "zip" else books.csv(name)
    answer = Response(data, content_type=KINDS[ending])
    answer.headers["Content-Disposition"] = (
        f"attachment; filename={stem}-{period.first.isoformat()}-{period.last.isoformat()}.{ending}"
    )
    return answer


def _period() -> Period:
    """Read the period from the address: two days, or a span by its kind; this year of the books by default."""
    each = read_text("each")
    each = each if each in SPANS else ""
    first, last = _day("from"), _day("to")
    if first is None and last is None:
        return _span(each or YEAR, date.today())
    if first is None or last is None:
        missing = gettext("The first day is missing.") if first is None else gettext("The last day is missing.")
        raise BadInput(
            missing, gettext("Two days."), gettext("Type both."), field="from" if first is None else "to"
        )  # fmt: skip
    statement_order(first, last)
    if each and span_of(first, each, settings().business.year_start) != (first, last):
        each = ""
    return Period(each, first, last)


def statement_order(first: date, last: date) -> None:
    """Refuse days the wrong way round, as the books do."""
    next(iter(spans(first, last, MONTH)))


def _span(each: str, day: date) -> Period:
    return Period(each, *span_of(day, each, settings().business.year_start))


def _day(name: str) -> date | None:
    text = read_text(name)
    if not text:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise BadInput(
            gettext("“{text}” is not a day.", text=text[:40]), gettext("A day such as 2026-01-31."),
            gettext("Correct it."), field=name,
        ) from error  # fmt: skip
