"""The user's own pattern of labels: taken apart, what labels of it look like, and whether a text is one.

A pattern is text with fields in square brackets, such as ``[year][week]-[count 4][check]``. The check character is that
of ISO/IEC 7064 MOD 37,36 over the letters and digits before it: it finds every single wrong character and nearly every
swap of two neighbours.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from stdnum.iso7064 import mod_37_36

from sourcing.codes import parse_code
from sourcing.errors import BadInput, Refused
from sourcing.language import gettext, gettext_noop
from sourcing.stock.item import StockItem
from sourcing.stock.paper import PATTERN

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
PLAIN = re.compile(r"[A-Z0-9./-]*")
_WORDS = ("bin", "store", "category")  # fields of as many characters as the piece's own word has


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
    return bool(cut.spelt(label, full=True)) and not is_barcode(label)


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


def is_barcode(text: str) -> bool:
    """Whether a text is a whole barcode."""
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
    if not PLAIN.fullmatch(text.upper()):
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
