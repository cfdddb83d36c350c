"""Record the sales of a file in stock: one action of the ledger, undone as one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sourcing.errors import BadInput, SourcingError
from sourcing.language import gettext, ngettext
from sourcing.outcomes.match import Match
from sourcing.stock.item import LISTED, READY, RETURNED, SOLD, TO_PREP, day_number, minor
from sourcing.stock.ledger import Action, Entry, act, action
from sourcing.stock.pieces import end, last_sale, not_before, one, only, standing
from sourcing.storage import Store

KIND = "sales loaded"


@dataclass(frozen=True)
class Loaded:
    """What was recorded: the action to undo, sales and corrections of sales."""

    action_id: int
    sold: int
    updated: int


def record_sales(
    store: Store, matches: Sequence[Match], answers: Mapping[int, int] | None = None, *, sure: bool = True,
    name: str = "", client_id: str = "",
) -> Loaded:  # fmt: skip
    """Record sales; rows with neither an answer nor a sure match are left as they are.

    Parameters
    ----------
    answers : piece by number of the row, for rows the user answered. sure : record the sure ones and what the file
        knows better, too.

    Raises
    ------
    BadInput, NotFound, Refused
        Nothing would be recorded; a row was answered with a piece that cannot have sold so, or two rows with one.
    """
    chosen = dict(answers or {})
    wanted: list[tuple[Match, int]] = []
    for found in matches:
        if found.row.number in chosen and found.state != "wrong":
            wanted.append((found, chosen[found.row.number]))
        elif sure and found.state in ("sure", "update") and found.best is not None:
            wanted.append((found, found.best.id))
    if not wanted:
        raise BadInput(
            gettext("No row was chosen."), gettext("A sure match, or an answer to a question."),
            gettext("Answer a question, or load another file."), field="rows",
        )  # fmt: skip
    counts = [0, 0]

    def do(entry: Entry) -> str:
        for found, item in wanted:
            try:
                counts[_record(entry, found, item)] += 1
            except SourcingError as error:
                raise BadInput(
                    gettext("Row {row}: {wrong}", row=found.row.number, wrong=error.wrong), error.accepted,
                    error.next_step, field="rows",
                ) from error  # fmt: skip
        said = ngettext("{count} sale", "{count} sales", counts[0])
        return gettext("{sales} from {name}", sales=said, name=name or gettext("a file"))

    number = act(store, KIND, do, client_id)
    return Loaded(number, counts[0], counts[1])


def loads(store: Store, limit: int = 5) -> list[Action]:
    """Return the last actions that recorded sales of a file, newest first, undone ones too."""
    rows = store.read("SELECT id FROM stock_action WHERE kind = ? ORDER BY id DESC LIMIT ?", (KIND, limit))
    return [action(store, row[0]) for row in rows]


def _record(entry: Entry, found: Match, item_id: int) -> int:
    """Record one row; return 1 where the sale was known and its costs are put in, else 0."""
    row = found.row
    assert row.on is not None
    assert row.paid is not None
    item = one(entry, item_id)
    costs = {"fees": minor(row.fees), "postage": minor(row.postage)}
    if found.state == "update":
        told = {name: amount for name, amount in costs.items() if amount is not None}
        entry.change("sale", last_sale(entry, item_id).id, told)
        return 1
    only(item, (TO_PREP, READY, LISTED, RETURNED), gettext("be sold"))
    not_before(row.on, item.bought_on, item, gettext("sold"), gettext("bought"))
    channel = row.channel
    if item.state == LISTED:
        end(entry, item, row.on, "sold")
        channel = channel or standing(item).channel
    entry.create("sale", {
        "item_id": item_id, "sold_on": day_number(row.on), "paid": minor(row.paid), **costs, "channel": channel,
        "note": gettext("row {row} of a file", row=row.number),
    })  # fmt: skip
    entry.change("item", item_id, {"state": SOLD, "ended_on": day_number(row.on)})
    return 0
