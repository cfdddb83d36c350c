"""Labels of pieces: the user's own pattern, counters, a check character; given out, and read back.

A pattern is text with fields in square brackets, such as ``[year][week]-[count 4][check]``. The check character is that
of ISO/IEC 7064 MOD 37,36 over the letters and digits before it: it finds every single wrong character and nearly every
swap of two neighbours.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from stdnum.iso7064 import mod_37_36

from sourcing.codes import parse_code
from sourcing.errors import BadInput, Refused
from sourcing.language import gettext, gettext_noop, ngettext
from sourcing.settings import load_settings
from sourcing.stock.item import TO_PREP, StockItem
from sourcing.stock.ledger import Entry, act
from sourcing.stock.paper import PATTERN
from sourcing.stock.pieces import each
from sourcing.stock.shelf import find
from sourcing.storage import Store

FIELDS: Mapping[str, str] = {
    "bin": gettext_noop("where it lies, [bin 3] its first three letters or digits"),
    "store": gettext_noop("store it was bought in, [store 3] its first three"),
    "category": gettext_noop("category, [category 2] its first two"),
    "year": gettext_noop("last two digits of the year"),
    "month": gettext_noop("month, two digits"),
    "week": gettext_noop("ISO 8601 week, two digits"),
    "day": gettext_noop("day of the month, two digits"),
    "count": gettext_noop(
        "a counter, [count 4] padded to four digits; it counts on for each text before and behind it"
    ),
    "check": gettext_noop("check character, last"),
}
LONGEST = 24
_FIELD = re.compile(r"\[([a-z]+)(?: ([1-9]))?\]")
_PLAIN = re.compile(r"[A-Z0-9./-]*")
_MOST_LABELS = 1000
_WORDS = ("bin", "store", "category")  # fields of as many characters as the piece's own word has
_MADE_UP = StockItem(
    0, None, None, None, "", "trail shoe", "", "", "", "", "shoes", "", "", "", (), "Tannery Row", date(2026, 1, 31),
    None, Decimal(0), {}, TO_PREP, "B4", None, None, "",
)  # fmt: skip


@dataclass(frozen=True)
class Pattern:
    """A pattern taken apart: literal texts and (field, width), in order."""

    text: str
    parts: tuple[str | tuple[str, int], ...]

    @property
    def checked(self) -> bool:
        """Whether labels end with a check character."""
        return ("check", 0) in self.parts

    @property
    def width(self) -> int:
        """How many digits the counter is padded to, at least 1."""
        return max(1, next(part[1] for part in self.parts if isinstance(part, tuple) and part[0] == "count"))

    @property
    def shape(self) -> re.Pattern[str]:
        """What labels of this pattern look like, each field a group."""
        return re.compile("".join(re.escape(one) if isinstance(one, str) else _field_shape(*one) for one in self.parts))

    def spelt(self, label: str, *, full: bool = False) -> str:
        """Return a label typed without this pattern's signs (- . /) with them; "" where its shape is another.

        ``full`` takes only fields of exactly their width for its own: a longer counter may be any run of digits, such
        as a barcode.
        """
        if full and any(part[1] == 0 for part in self.parts if isinstance(part, tuple) and part[0] in _WORDS):
            return ""
        loose = (
            re.sub(r"(\\[.-]|/)", r"\1?", re.escape(one)) if isinstance(one, str) else _field_shape(*one, full=full)
            for one in self.parts
        )
        met = re.fullmatch("".join(loose), label)
        fields = iter(met.groups() if met else ())
        return "".join(one if isinstance(one, str) else next(fields) for one in self.parts) if met else ""

    def around(self, item: StockItem, on: date) -> tuple[str, str]:
        """Return what stands before and behind the counter, without the check character."""
        before, behind, met = "", "", False
        for part in self.parts:
            if isinstance(part, tuple) and part[0] == "count":
                met = True
            elif part != ("check", 0):
                told = part if isinstance(part, str) else _told(part[0], part[1], item, on)
                before, behind = (before, behind + told) if met else (before + told, behind)
        return before, behind

    def label(self, before: str, number: int, behind: str) -> str:
        """Put a label together."""
        found = f"{before}{number:0{self.width}d}{behind}"
        if self.checked:
            found += mod_37_36.calc_check_digit(signs(found))
        if len(found) > LONGEST:
            raise BadInput(
                gettext("The label {label} has {number} characters.", label=found, number=len(found)),
                gettext("Up to {most}.", most=LONGEST),
                gettext("Shorten the pattern, such as [store 3] for [store]."),
                field="pattern",
            )
        return found


def pattern_of(text: str) -> Pattern:
    """Take a pattern apart.

    Raises
    ------
    BadInput
        An unknown field, a character that labels do not have, no counter or two, a check character that is not last.
    """
    text = text.strip()
    parts: list[str | tuple[str, int]] = []
    at = 0
    for match in _FIELD.finditer(text):
        if match.start() > at:
            parts.append(_literal(text[at : match.start()]))
        name, width = match[1], int(match[2] or 0)
        if name not in FIELDS:
            raise _wrong(gettext("There is no field “[{name}]” in a label.", name=name))
        parts.append((name, width))
        at = match.end()
    if at < len(text):
        parts.append(_literal(text[at:]))
    names = [part[0] for part in parts if isinstance(part, tuple)]
    if names.count("count") != 1:
        raise _wrong(
            gettext(
                "The pattern “{text}” has {number} counters; labels must differ.",
                text=text[:60],
                number=names.count("count"),
            )
        )
    if "check" in names and (names.count("check") > 1 or parts[-1] != ("check", 0)):
        raise _wrong(gettext("The check character covers what is before it, so it comes last and once."))
    return Pattern(text, tuple(parts))


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
    if len(label) > LONGEST or not _PLAIN.fullmatch(label):
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


def fits(text: str) -> bool:
    """Whether the last character of a text is the check character of those before it."""
    plain = signs(folded(text))
    return len(plain) > 1 and bool(mod_37_36.is_valid(plain))


def mistyped(text: str, pattern: str) -> bool:
    """Whether a text has the shape of a label, its signs there or left out, and a check character that does not fit.

    Without its signs only where each field has exactly its width; a whole barcode is never a mistyped label.
    """
    cut, label = pattern_of(pattern), folded(text)
    if not cut.checked or fits(label):
        return False
    if cut.shape.fullmatch(label):
        return True
    return bool(cut.spelt(label, full=True)) and not _is_barcode(label)


def wrong_check(label: str) -> Refused:
    """Return what is said of a label whose check character does not fit."""
    return Refused(
        gettext("“{label}” is no label as it stands: its check character does not fit.", label=label[:40]),
        gettext("A label as it is printed."),
        gettext("Look at it again; 0 and O, 1 and I are easily taken for each other."),
    )


def folded(text: str) -> str:
    """Return a label as it is compared: capitals, no blanks, full-width signs as plain ones."""
    return "".join(unicodedata.normalize("NFKC", text).upper().split())


def _whole(store: Store, label: str, pattern: str) -> str:
    """Return a label with its signs, where it is surely one of the pattern; else as it is."""
    cut = pattern_of(pattern)
    if (whole := cut.spelt(label, full=True)) and not (mistyped(whole, pattern) and _is_barcode(label)):
        return whole
    whole = cut.spelt(label)
    return whole if whole and find(store, label=whole, limit=1) else label


def _is_barcode(text: str) -> bool:
    try:
        return bool(parse_code(text).gtin)
    except BadInput:
        return False


def _field_shape(name: str, width: int, *, full: bool = False) -> str:
    """Return the shape of a field's text, as a group; ``full`` asks for exactly its width."""
    if name in ("year", "month", "week", "day"):
        return r"(\d\d)"
    if name == "check":
        return "([A-Z0-9])"
    if name == "count":
        return rf"(\d{{{max(width, 1)}{'' if full else ','}}})"
    return f"([A-Z0-9]{{{width if full else 0},{width or LONGEST}}})"


def _highest(rows: Callable[..., list[tuple[Any, ...]]], cut: Pattern, around: tuple[str, str]) -> int:
    """Highest counter now in use between two texts."""
    tail = r"[A-Z0-9]" if cut.checked else ""
    digits = rf"\d{{{cut.width}}}|[1-9]\d{{{cut.width},}}"  # padded so far and no farther, as `label` writes it
    shape = re.compile(rf"{re.escape(around[0])}({digits}){re.escape(around[1])}{tail}")
    start = around[0].replace("_", "\\_") + "%"
    told = rows("SELECT label FROM stock_item WHERE label LIKE ? ESCAPE '\\'", (start,))
    found = [match for (label,) in told if (match := shape.fullmatch(label))]
    return max((int(match[1]) for match in found), default=0)


def _told(name: str, width: int, item: StockItem, on: date) -> str:
    days = {"year": f"{on:%y}", "month": f"{on:%m}", "week": f"{on.isocalendar().week:02d}", "day": f"{on:%d}"}
    if name in days:
        return days[name]
    plain = unicodedata.normalize("NFKD", {"bin": item.bin, "store": item.store, "category": item.category}[name])
    return re.sub("[^A-Z0-9]", "", plain.upper())[: width or None]


def signs(label: str) -> str:
    """Return the letters and digits of a label, which its check character is reckoned from."""
    return re.sub("[^A-Z0-9]", "", label)


def _literal(text: str) -> str:
    if not _PLAIN.fullmatch(text.upper()):
        raise _wrong(gettext("“{text}” has a sign that labels do not have.", text=text[:40]))
    return text.upper()


def _wrong(what: str) -> BadInput:
    known = ", ".join(f"[{name}]" for name in FIELDS)
    return BadInput(
        what,
        gettext(
            "Letters, digits, the signs - . / and the fields {known}; one [count], [check] only at the end.",
            known=known,
        ),
        gettext("Such as {pattern}.", pattern=PATTERN),
        field="pattern",
    )
