"""Labels of pieces: given out by the user's pattern, set by hand, and read back."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from sourcing.errors import BadInput
from sourcing.language import gettext, ngettext
from sourcing.settings import load_settings
from sourcing.stock.item import TO_PREP, StockItem
from sourcing.stock.label_pattern import LONGEST, PLAIN, Pattern, folded, is_barcode, mistyped, pattern_of, wrong_check
from sourcing.stock.ledger import Entry, act
from sourcing.stock.pieces import each
from sourcing.stock.shelf import find
from sourcing.storage import Store

_MOST_LABELS = 1000
_MADE_UP = StockItem(
    0, None, None, None, "", "trail shoe", "", "", "", "", "shoes", "", "", "", (), "Tannery Row", date(2026, 1, 31),
    None, Decimal(0), {}, TO_PREP, "B4", None, None, "",
)  # fmt: skip


def give(store: Store, items: Sequence[int], pattern: str, on: date, client_id: str = "") -> int:
    """Give a label to every one of some pieces that has none; return the action's number.

    Raises
    ------
    BadInput, NotFound
        The pattern cannot be used; no piece was named, or all bear a label already; there is no such piece.
    """
    cut = pattern_of(pattern)
    if len(items) > _MOST_LABELS:
        raise BadInput(
            gettext("{number} pieces at once.", number=len(items)),
            gettext("Up to {most}.", most=_MOST_LABELS),
            gettext("Label them in parts."),
            field="items",
        )

    def do(entry: Entry) -> str:
        last: dict[tuple[str, str], int] = {}
        done = 0
        for item in each(entry, items):
            if item.label:
                continue
            around = cut.around(item, on)
            if around not in last:
                last[around] = _highest(entry.rows, cut, around)
            last[around] += 1
            entry.change("item", item.id, {"label": cut.label(around[0], last[around], around[1])})
            done += 1
        return ngettext("{count} label given", "{count} labels given", done)

    return act(store, "labelled", do, client_id)


def examples(store: Store, pattern: str, on: date, count: int = 3) -> list[str]:
    """Return the next labels that a pattern would give to the newest pieces, or to a made-up one where there is none.

    Raises
    ------
    BadInput
        The pattern cannot be used.
    """
    cut = pattern_of(pattern)
    pieces = find(store, limit=count) or [_MADE_UP]
    last: dict[tuple[str, str], int] = {}
    found = []
    for at in range(count):
        around = cut.around(pieces[at % len(pieces)], on)
        last[around] = last.get(around, _highest(store.read, cut, around)) + 1
        found.append(cut.label(around[0], last[around], around[1]))
    return found


def set_label(store: Store, item_id: int, label: str, client_id: str = "") -> int:
    """Put one label on one piece, or take it off with an empty text; return the action's number.

    Raises
    ------
    BadInput, Refused
        The label has characters that labels do not have; it has the shape of the user's pattern and a check character
        that does not fit; it is on another piece.

    Notes
    -----
    A label of the pattern's shape without its signs is written with them, so that one label is never on two pieces.
    """
    pattern = load_settings(store).labels.pattern
    label = _whole(store, folded(label), pattern)
    if len(label) > LONGEST or not PLAIN.fullmatch(label):
        raise BadInput(
            gettext("“{label}” cannot be a label.", label=label[:40]),
            gettext("Up to {most} letters A to Z, digits and the signs - . /", most=LONGEST),
            field="label",
        )
    if mistyped(label, pattern):
        raise wrong_check(label)

    def do(entry: Entry) -> str:
        (item,) = each(entry, [item_id])
        entry.change("item", item_id, {"label": label or None})
        if label:
            return gettext("{what} labelled {label}", what=item.what, label=label)
        return gettext("Label of {what} taken off", what=item.what)

    return act(store, "labelled", do, client_id)


def bearers(store: Store, text: str, pattern: str) -> list[StockItem]:
    """Return the piece that bears a label, typed or scanned in whatever case and spacing, its signs there or left out.

    Empty where none does; two where one bears it as it is typed and another with its signs, as tables of earlier
    versions may have it. A label without its signs is known by the pattern; one set by hand is to be typed whole.
    """
    label = folded(text)
    found = find(store, label=label, limit=1) if label else []
    if (whole := pattern_of(pattern).spelt(label)) not in ("", label):
        found += find(store, label=whole, limit=1)
    return found


def _whole(store: Store, label: str, pattern: str) -> str:
    """Return a label with its signs, where it is surely one of the pattern; else as it is."""
    cut = pattern_of(pattern)
    if (whole := cut.spelt(label, full=True)) and not (mistyped(whole, pattern) and is_barcode(label)):
        return whole
    whole = cut.spelt(label)
    return whole if whole and find(store, label=whole, limit=1) else label


def _highest(rows: Callable[..., list[tuple[Any, ...]]], cut: Pattern, around: tuple[str, str]) -> int:
    """Highest counter now in use between two texts."""
    tail = r"[A-Z0-9]" if cut.checked else ""
    digits = rf"\d{{{cut.width}}}|[1-9]\d{{{cut.width},}}"  # padded so far and no farther, as `label` writes it
    shape = re.compile(rf"{re.escape(around[0])}({digits}){re.escape(around[1])}{tail}")
    start = around[0].replace("_", "\\_") + "%"
    told = rows("SELECT label FROM stock_item WHERE label LIKE ? ESCAPE '\\'", (start,))
    found = [match for (label,) in told if (match := shape.fullmatch(label))]
    return max((int(match[1]) for match in found), default=0)
