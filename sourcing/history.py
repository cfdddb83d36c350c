"""Every check that was made, passes too: what was asked and what was said then."""

from __future__ import annotations

import dataclasses
import json
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from sourcing.answer import Item, Query, Verdict
from sourcing.errors import NotFound
from sourcing.language import gettext
from sourcing.purchase import Discounts, kept_discount
from sourcing.storage import Store

if TYPE_CHECKING:
    from sqlalchemy.engine import Connection

_COLUMNS = "id, at, label, code, shelf, decision, most, query"


@dataclass(frozen=True)
class PastCheck:
    """One line of the history."""

    id: int
    at: datetime
    label: str
    code: str
    shelf_price: Decimal | None
    decision: str
    most_worth_paying: Decimal | None
    query: Query


def record(store: Store, verdict: Verdict, at: datetime | None = None) -> int:
    """Keep one verdict, given now or at another moment, and return its number."""
    with store.write() as connection:
        return record_in(connection, verdict, at)


def record_in(connection: Connection, verdict: Verdict, at: datetime | None = None) -> int:
    """Do as `record` inside a transaction of the caller's."""
    from sourcing.storage.schema import checked

    query = {
        key: str(value) if isinstance(value, Decimal | Discounts) else value
        for key, value in dataclasses.asdict(verdict.query).items()
    }
    row = {
        "at": (at or datetime.now(UTC)).isoformat(timespec="seconds"),
        "code": verdict.query.code,
        "label": verdict.item.label,
        "shelf": _minor(verdict.shelf_price),
        "decision": verdict.decision,
        "most": _minor(verdict.most_worth_paying),
        "query": json.dumps(query),
        "answer": json.dumps(verdict.as_dict()),
        **named(verdict.item),
    }
    key = connection.execute(checked.insert().values(row)).inserted_primary_key
    assert key is not None
    return int(key[0])


def named(item: Item) -> dict[str, str]:
    """Return what tells an item from others: its GTIN, and its style code or title with its size, folded."""
    from sourcing.fitting import fold

    name = fold(item.style_code or f"{item.brand} {item.title}")
    return {"gtin": item.gtin, "style_size": f"{name}|{fold(item.size)}" if name else ""}


def recent(store: Store, limit: int = 50) -> list[PastCheck]:
    """Return the last checks, newest first."""
    rows = store.read(f"SELECT {_COLUMNS} FROM checked ORDER BY id DESC LIMIT ?", (limit,))  # noqa: S608
    return [
        PastCheck(
            row[0],
            datetime.fromisoformat(row[1]),
            row[2],
            row[3],
            _money(row[4]),
            row[5],
            _money(row[6]),
            query_of(row[7]),
        )
        for row in rows
    ]


def get(store: Store, check_id: int) -> tuple[Query, dict[str, Any]]:
    """Return what was asked and answered.

    Raises
    ------
    NotFound
        There is no check of that number.
    """
    rows = store.read("SELECT query, answer FROM checked WHERE id = ?", (check_id,))
    if not rows:
        raise NotFound(
            gettext("There is no check number {check_id}.", check_id=check_id),
            next_step=gettext("Open it from the list of past checks."),
        )
    return query_of(rows[0][0]), json.loads(rows[0][1])


def query_of(text: str) -> Query:
    """Read a query as it is kept."""
    values = json.loads(text)
    if values.get("shelf_price") is not None:
        values["shelf_price"] = Decimal(values["shelf_price"])
    values["discount"] = kept_discount(values.get("discount"))
    values["flags"] = tuple(values.get("flags", ()))
    return Query(**values)


def _minor(amount: Decimal | None) -> int | None:
    return None if amount is None else int(amount * 100)


def _money(minor: int | None) -> Decimal | None:
    return None if minor is None else Decimal(minor).scaleb(-2)
