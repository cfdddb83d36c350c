"""Judge a block of rows: turn each into what is kept of it, or into the problems that keep it out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date
from functools import partial
from hashlib import blake2b
from typing import Any

from sourcing.answer import Problem
from sourcing.comps import values
from sourcing.comps.columns import NAMES, STATUSES
from sourcing.comps.header import Header
from sourcing.comps.read import Block
from sourcing.comps.titles import fold_title
from sourcing.comps.values import Finding, Memo

OPEN, SOLD = STATUSES.index("open"), STATUSES.index("sold")


Row = tuple[Any, ...]
"""A good row: the key of the product it speaks of, then the columns of `STORED` in that order."""

STORED = (
    "key", "status", "gtin", "ask", "sold", "ship", "listed", "ended",
    "size", "condition", "channel", "style_code", "brand", "category", "title", "note",
)  # fmt: skip
_RAGGED = "The row has not as many cells as the header."
_TEXTS = {
    name: values.LONG_TEXT if name in ("title", "note") else values.SHORT_TEXT
    for name in ("brand", "category", "title", "size", "condition", "channel", "note")
}


class Judge:
    """Judge the rows of one file, block by block.

    Parameters
    ----------
    header : Header
        Where the columns stand.
    latest : date
        The latest day the file can speak of.
    digits : int
        Decimals of the currency.
    """

    def __init__(self, header: Header, *, latest: date, digits: int = 2) -> None:
        self._places = header.places
        price = partial(values.money, digits=digits)
        date_of = partial(values.day, latest=latest)
        parsers: dict[str, Callable[[str], values.Reading]] = {
            "gtin": values.gtin,
            "style_code": values.style,
            "asking_price": price,
            "sold_price": price,
            "shipping_charged": partial(price, zero_is_fine=True),
            "listed_on": date_of,
            "ended_on": date_of,
            "status": values.status,
        }
        parsers |= {name: partial(values.text, longest=longest) for name, longest in _TEXTS.items()}
        self._memos = {name: Memo(parsers[name]) for name in NAMES}
        self._met: set[int] = set()  # the keys of this file so far
        self._again: dict[int, int] = {}  # how often a key was met again
        self.identical = 0
        self.latest_day: int | None = None  # the latest day named by a good row

    def judge(self, block: Block) -> tuple[list[Row], list[Problem], int]:
        """Return the good rows, the problems, and the number of rows rejected."""
        raw = self._columns(block)
        columns: list[list[Any]] = []
        found: dict[int, list[tuple[str, str, Finding]]] = {}
        for name in NAMES:
            memo = self._memos[name]
            memo.trim()
            cells = raw.get(name)
            if cells is None:
                columns.append([memo[""]] * len(block.rows))
                continue
            if name in _TEXTS and _plain_text(cells, _TEXTS[name]):
                columns.append(list(map(str.strip, cells)))
                continue
            columns.append(list(map(memo.__getitem__, cells)))
            if memo.findings:
                for place, cell in enumerate(cells):
                    if cell in memo.findings:
                        found.setdefault(place, []).append((name, cell, memo.findings[cell]))
        good: list[Row] = []
        problems = [
            _problem(number, "", f"{cells} cells", Finding(_RAGGED, "Quote cells that hold a comma."))
            for number, cells in block.ragged
        ]
        rejected = len(problems)
        none: list[tuple[str, str, Finding]] = []
        for place, row in enumerate(zip(*columns, strict=True)):
            findings = found.get(place, none)
            kept = self._judge_row(row, findings)
            if kept is None:
                rejected += 1
            else:
                good.append(kept)
            if findings:
                problems += [_problem(block.numbers[place], *finding) for finding in findings]
                none = []  # what was found out about one row is not to be said of the next
        problems.sort(key=lambda problem: problem.row)
        return good, problems, rejected

    def _columns(self, block: Block) -> dict[str, tuple[str, ...]]:
        whole = list(zip(*block.rows, strict=True))
        return {name: whole[place] for name, place in self._places.items()} if whole else {}

    def _judge_row(self, row: tuple[Any, ...], findings: list[tuple[str, str, Finding]]) -> Row | None:
        (
            gtin, style, brand, category, title, size, condition, channel,
            ask, sold, ship, listed, ended, status, note,
        ) = row  # fmt: skip
        if findings and any(finding.rejected for _, _, finding in findings):
            return None
        if status is None:
            if sold is None:
                findings.append(("status", "", Finding("It is empty, and so is sold_price.", "Fill in one of them.")))
                return None
            status = SOLD
        elif status == SOLD:
            if sold is None:
                findings.append(("sold_price", "", Finding("A sale needs its price.", "Fill it in.")))
                return None
        elif sold is not None:
            reason = f"The row is {STATUSES[status]}, yet has a sold price."
            findings.append(("sold_price", values.plain(sold), Finding(reason, "Correct the status or empty it.")))
            return None
        if ended is not None:
            if status == OPEN:
                reason = "An open listing has not ended." + values.KEPT
                findings.append(
                    ("ended_on", values.iso(ended), Finding(reason, "Correct the status or empty it.", False))
                )
                ended = None
            elif listed is not None and ended < listed:
                findings.append(
                    (
                        "ended_on",
                        values.iso(ended),
                        Finding("It ended before it was listed.", "Correct the days."),
                    )
                )
                return None
        if style[1]:
            product_key = "s:" + style[1]
        elif gtin is not None:
            product_key = f"g:{gtin:014d}"
        elif title:
            product_key = "t:" + fold_title(title)
        else:
            self._nothing_identifies(findings)
            return None
        # Every value in storage's order: equal texts are equal rows, whichever file they came from. Control
        # characters were made spaces, so the separator cannot occur inside a value.
        text = (
            f"{status}\x1f{gtin}\x1f{ask}\x1f{sold}\x1f{ship}\x1f{listed}\x1f{ended}\x1f{size}\x1f{condition}"
            f"\x1f{channel}\x1f{style[0]}\x1f{brand}\x1f{category}\x1f{title}\x1f{note}"
        )
        key = row_key(text)
        if key in self._met:
            again = self._again[key] = self._again.get(key, 0) + 1
            self.identical += 1
            key = row_key(f"{text}\x1e{again}")
        else:
            self._met.add(key)
        latest = ended if ended is not None else listed
        if latest is not None and (self.latest_day is None or latest > self.latest_day):
            self.latest_day = latest
        return (
            product_key, key, status, gtin, ask, sold, ship, listed, ended, size, condition, channel,
            style[0], brand, category, title, note,
        )  # fmt: skip

    @staticmethod
    def _nothing_identifies(findings: list[tuple[str, str, Finding]]) -> None:
        for place, (name, cell, finding) in enumerate(findings):
            if name == "gtin":
                findings[place] = (name, cell, Finding(finding.reason.removesuffix(values.KEPT), finding.fix))
                return
        reason = "Nothing says what the item is: gtin, style_code and title are all empty."
        findings.append(("title", "", Finding(reason, "Fill in one of them.")))


def row_key(text: str) -> int:
    """Return 63 bits of BLAKE2b over a row's canonical text; stored, so never to change between versions."""
    return int.from_bytes(blake2b(text.encode(), digest_size=8).digest(), "big") >> 1


def _plain_text(cells: Sequence[str], longest: int) -> bool:
    """Tell in one go whether a whole column needs nothing but its outer spaces dropped."""
    return "".join(cells).isprintable() and max(map(len, cells)) <= longest


def _problem(number: int, column: str, value: str, finding: Finding) -> Problem:
    return Problem(number, column, value[:200], finding.reason, finding.fix, finding.rejected)
