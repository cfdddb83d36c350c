"""One price just seen for an item, typed in: stored as a comp in a load of its own, undoable like any load."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from datetime import UTC, date, datetime
from decimal import Decimal

from sourcing.answer import Query
from sourcing.comps.columns import NAMES
from sourcing.comps.comp import TYPED_IN
from sourcing.comps.load import load_file
from sourcing.comps.report import LoadReport
from sourcing.errors import BadInput
from sourcing.evidence import gather
from sourcing.language import gettext
from sourcing.storage import Store


def type_in(
    store: Store,
    query: Query,
    price: Decimal,
    *,
    sold: bool,
    condition: str = "",
    token: str,
    today: date | None = None,
) -> LoadReport:
    """Store a price seen today for the item of a query; the same token again adds nothing.

    Parameters
    ----------
    store : Store
        Where it goes.
    query : Query
        What says which item it is.
    price : Decimal
        What was paid, or is asked.
    sold : bool
        Whether it sold for that; else it is listed for that.
    condition : str
        Of the piece seen; the query's own when empty.
    token : str
        Tells this price from an equal one typed in before: a tap sent twice carries it twice.
    today : date, optional
        The day, today when left out.

    Raises
    ------
    BadInput
        The price is 0, or nothing says which item it is.
    """
    day = today or datetime.now(UTC).date()
    item = gather(store, [replace(query, shelf_price=None)], suggest=False).items[0]
    if price <= 0:
        raise BadInput(
            gettext("A price of 0 is no price."), gettext("What it sold for, or is asked for."), field="seen"
        )
    cells = dict.fromkeys(NAMES, "") | {
        "gtin": item.gtin,
        "style_code": item.style_code,
        "brand": item.brand,
        "category": item.category,
        # The listing's own title is not known: the item's would keep the row from being told again by a file.
        "title": query.title or ("" if item.gtin or item.style_code else item.title),
        "size": query.size,
        "condition": condition or query.condition,
        "status": "sold" if sold else "open",
        "sold_price" if sold else "asking_price": str(price),
        "ended_on": day.isoformat() if sold else "",
        "note": f"typed by you, {token}",
    }
    if not (cells["gtin"] or cells["style_code"] or cells["title"]):
        raise BadInput(
            gettext("Nothing says which item that price is of."),
            gettext("An item with a code or a title."),
            gettext("Check it by its code, then type the price in."),
            field="code",
        )
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, NAMES)
    writer.writeheader()
    writer.writerow(cells)
    report = load_file(store, io.BytesIO(text.getvalue().encode()), name=TYPED_IN, as_of=day)
    if report.rejected:
        problem = report.problems[0]
        raise BadInput(
            gettext("“{value}” cannot be used: {reason}", value=problem.value[:40], reason=problem.reason),
            "",
            problem.fix,
            field="seen",
        )
    return report
