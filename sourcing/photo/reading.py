"""Try readers and copies of a photo in turn until one code is sure; the maker's code goes before a store's tag.

The order and the votes were measured on generated photos that are not part of this project: the first stage takes one
good reading, the second, which tries harder and so errs more, wants two. A UPC-E that only one of the readers sees is
offered to confirm, never taken: half of a torn EAN-13 can look like a whole UPC-E.
"""

from __future__ import annotations

import time
from collections import Counter
from dataclasses import dataclass, field, replace

from sourcing.codes import Code, compress_upce, parse_code
from sourcing.errors import BadInput
from sourcing.language import gettext, gettext_noop
from sourcing.photo import readers
from sourcing.photo.picture import Picture
from sourcing.photo.readers import Found, Reader

MOST_CPU = 1.5  # seconds of this thread
SURE = 12  # agreeing scans of the first reader that are worth a second vote
MAKERS = ("product", "demo", "unknown")

_Pass = tuple[str, int, float | str]
FAST: tuple[_Pass, ...] = (
    ("zbar", 1000, 0),
    ("zxing", 1600, 0),
    *((name, 1000, turn) for turn in (45, 30, 60) for name in ("zbar", "zxing")),
)
SLOW: tuple[_Pass, ...] = (
    ("zbar", 640, 0),
    ("zxing", 1000, 0),
    ("zbar", 1600, 0),
    ("zbar", 0, "x2"),
    ("zxing", 0, "x2"),
    *((name, 1600, turn) for turn in (30, 60, 45, 22.5, 67.5) for name in ("zbar", "zxing")),
    ("zbar", 1600, "sharp"),
    ("zxing", 1600, "sharp"),
    ("zbar", 1000, "sharp"),
)


@dataclass(frozen=True)
class Seen:
    """One code that a reader saw: its text as the reader spells it, and its symbology."""

    text: str
    symbology: str


@dataclass(frozen=True)
class PhotoReading:
    """What a photo showed: the code to use, else one to confirm, everything seen, and a sentence about it."""

    chosen: Code | None
    maybe: Code | None
    seen: tuple[Seen, ...]
    note: str


@dataclass
class _Tally:
    """What the passes saw so far, by canonical number or style code."""

    codes: dict[str, Code] = field(default_factory=dict)
    votes: Counter[str] = field(default_factory=Counter)
    place: dict[str, float] = field(default_factory=dict)
    doubtful: dict[str, Code] = field(default_factory=dict)
    short: dict[str, set[str]] = field(default_factory=dict)  # UPC-E, by the readers that saw them
    seen: dict[Seen, None] = field(default_factory=dict)

    def add(self, found: list[Found], reader: str) -> list[str]:
        """Count one pass; return the keys of the makers' codes in it."""
        makers: dict[str, None] = {}
        for one in found:
            code = understood(one)
            if code is None:
                continue
            self.seen[Seen(one.text, one.symbology)] = None
            key = code.gtin or code.style_key
            if one.symbology == "UPCE":
                self.short.setdefault(key, set()).add(reader)
                if len(self.short[key]) < 2:  # half of a torn EAN-13 can look like a whole one to either
                    self.doubtful.setdefault(key, code)
                    continue
            self.codes.setdefault(key, code)
            self.place[key] = min(one.off_centre, self.place.get(key, one.off_centre))
            sure = 2 if one.quality >= SURE else 1
            if code.kind in MAKERS and key not in makers:
                self.votes[key] += sure
                makers[key] = None
        return list(makers)

    def central(self, keys: list[str]) -> str:
        """Return the one of these nearest to the middle of the picture."""
        return min(keys, key=lambda key: (self.place[key], key))


def read_photo(data: bytes) -> PhotoReading:
    """Read the product code in a photo, within 1.5 seconds of processor time or so.

    Raises
    ------
    BadInput
        Empty, too large, cut off, or not a picture.
    """
    started = time.thread_time()  # this thread's own: other requests do not use up the time
    picture, tally = Picture(data), _Tally()
    known: dict[str, Reader | None] = {"zbar": readers.zbar(), "zxing": readers.zxing()}
    for at, (name, side, how) in enumerate((*FAST, *SLOW)):
        reader = known[name]
        if reader is None or (how == "x2" and not picture.small):
            continue
        if at and time.thread_time() - started > MOST_CPU:
            break
        makers = tally.add(reader(picture.copy(how, side)), name)
        if at >= len(FAST):
            makers = [key for key, votes in tally.votes.items() if votes >= 2]
        if makers:
            return _chosen(tally, tally.central(makers))
    return _undecided(tally)


def understood(found: Found) -> Code | None:
    """Return the code a reader saw, spelt so that it can be typed and means the same; None for what is no code."""
    try:
        if found.symbology != "CODE128":
            code = parse_code(found.text, symbology=found.symbology)
            return replace(code, typed=spelt(code.gtin, found.symbology))
        try:
            code = parse_code(found.text)
        except BadInput:
            code = parse_code(found.text, as_style=True)
        return replace(code, typed=spelt(code.gtin)) if code.gtin else code
    except BadInput:
        return None


def spelt(gtin: str, symbology: str = "") -> str:
    """Return the digits as they stand under the bars, or longer ones where those could mean another number too."""
    if symbology == "UPCE":
        try:
            short = compress_upce(gtin)
        except BadInput:  # number system 1
            short = ""
        if _means(short, gtin):
            return short
    for length in (8, 12, 13):
        digits = gtin[-length:]
        if set(gtin[:-length]) <= {"0"} and _means(digits, gtin):
            return digits
    return gtin


def _means(digits: str, gtin: str) -> bool:
    try:
        code = parse_code(digits)
    except BadInput:
        return False
    return code.gtin == gtin and not code.alternatives


def _chosen(tally: _Tally, key: str) -> PhotoReading:
    code = tally.codes[key]
    others = [c.typed for k, c in tally.codes.items() if k != key and c.kind in MAKERS]
    rest = _rest(tally)
    if others:
        note = gettext(
            "Saw the maker's code {code}, nearest to the middle, and also {others}: photograph one label if that is "
            "not the one.",
            code=code.typed,
            others=", ".join(others),
        )
    elif rest:
        note = gettext("Saw the maker's code {code} and {rest}; took the maker's code.", code=code.typed, rest=rest)
    else:
        note = gettext("Saw the maker's code {code}.", code=code.typed)
    return PhotoReading(code, None, tuple(tally.seen), note)


def _undecided(tally: _Tally) -> PhotoReading:
    """Offer what one vote, or only the second reader, speaks for; else say what was seen."""
    seen, rest = tuple(tally.seen), _rest(tally)
    unsure = sorted(tally.votes, key=lambda key: (-tally.votes[key], tally.place[key], key))
    maybe = tally.codes[unsure[0]] if unsure else next(iter(tally.doubtful.values()), None)
    if maybe is not None:
        note = gettext("Saw perhaps {code}, not clearly: is this the number under the bars?", code=maybe.typed)
        return PhotoReading(None, maybe, seen, _also(note, rest))
    styles = [key for key, code in tally.codes.items() if code.kind == "style code"]
    if styles:
        code = tally.codes[tally.central(styles)]
        note = gettext("Saw “{code}” on a label and no product number: taken as the style code.", code=code.typed)
        return PhotoReading(code, None, seen, _also(note, rest))
    if not rest:
        note = gettext("No code could be read. Go closer and hold still, or type it.")
    elif any(code.kind == "store tag" for code in tally.codes.values()):
        note = gettext(
            "Saw only {rest}: it identifies nothing outside that store. Type the maker's style code.", rest=rest
        )
    else:
        note = gettext("Saw only {rest}: it names no product. Type the maker's style code.", rest=rest)
    return PhotoReading(None, None, seen, note)


def _also(note: str, rest: str) -> str:
    return f"{note} {gettext('There was {rest} too.', rest=rest)}" if rest else note


_OTHERS = {
    "store tag": gettext_noop("an in-store tag"),
    "coupon": gettext_noop("a coupon"),
    "refund": gettext_noop("a refund receipt"),
    "not a product": gettext_noop("a reserved number"),
}


def _rest(tally: _Tally) -> str:
    """Name what was seen beside makers' and style codes: "an in-store tag (2001234567893)"."""
    seen = [(_OTHERS[code.kind], code.typed) for code in tally.codes.values() if code.kind in _OTHERS]
    return gettext(" and ").join(f"{gettext(what)} ({typed})" for what, typed in seen)
