"""Read the cells of a block of rows into values, one column at a time: a third of the work of doing it row by row."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import date
from functools import partial
from typing import Any

from sourcing.comps import values
from sourcing.comps.columns import NAMES
from sourcing.comps.read import Block
from sourcing.comps.standing import Columns, Findings
from sourcing.comps.translate import Source
from sourcing.comps.values import Memo
from sourcing.comps.whole import amounts, codes, some_codes, some_styles

_PRINTABLE = bytes(range(32, 127))  # of ASCII
_TEXTS = {
    name: values.LONG_TEXT if name in ("title", "note") else values.SHORT_TEXT
    for name in ("brand", "category", "title", "size", "condition", "channel", "note", "listing")
}


class Cells:
    """Read the documented columns of one file.

    Parameters
    ----------
    sources : mapping of str to Source
        Where each documented field comes from.
    latest : date
        The latest day the file can speak of.

    Attributes
    ----------
    gtins : sequence of str, optional
        The codes of the block read last, where all of them are written as their number is.
    """

    def __init__(self, sources: Mapping[str, Source], latest: date) -> None:
        self._sources = sources
        date_of = partial(values.day, latest=latest)
        parsers: dict[str, Callable[[str], values.Reading]] = {
            "gtin": values.gtin,
            "style_code": _style,
            "asking_price": values.money,
            "sold_price": values.money,
            "shipping_charged": partial(values.money, zero_is_fine=True),
            "listed_on": date_of,
            "ended_on": date_of,
            "status": values.status,
            "currency": values.currency,
        }
        parsers |= {name: partial(values.text, longest=longest) for name, longest in _TEXTS.items()}
        self._memos = {name: Memo(parsers[name]) for name in NAMES}
        self._memos |= {name: Memo(source.reader(parsers[name])) for name, source in sources.items() if source.plain}
        self._inside = {name: Memo(_found(parsers[name], s.inside[1])) for name, s in sources.items() if s.inside}
        self._whole = _at_once(sources)
        self.gtins: Sequence[str] | None = None

    def read(self, block: Block) -> tuple[Columns, Findings]:
        """Return the values of every documented column, and what is wrong with single cells."""
        columns: Columns = {}
        found: Findings = {}
        self.gtins = None
        for name in NAMES:
            memo, source = self._memos[name], self._sources.get(name)
            memo.trim()
            if source is None or not block.numbers or (source.place is None and not source.inside):
                # How a row stands is not settled before its sold price is known.
                text = source.fixed if source and name != "status" else ""
                columns[name] = [memo[text]] * len(block.numbers)
                continue
            if source.place is None:
                columns[name] = [memo[""]] * len(block.numbers)
                self._look_inside(name, source, block, columns, found)
                continue
            cells = block.columns[source.place]
            if _TEXTS.get(name) == values.LONG_TEXT and (texts := _plain_texts(cells)) is not None:
                columns[name] = texts
                continue
            whole = self._whole.get(name)
            if whole is not None and (at_once := whole(cells)) is not None:
                columns[name] = at_once
                if name == "gtin":
                    self.gtins = cells
                continue
            if name == "gtin":
                memo.update(some_codes(memo.unread(cells)))
            elif name == "style_code" and source.plain is None:
                styles = some_styles(memo.unread(cells))
                memo.update((cell, _keyed(*read)) for cell, read in styles.items())
            columns[name] = list(map(memo.__getitem__, cells))
            if memo.findings:
                for place, cell in enumerate(cells):
                    if cell in memo.findings:
                        found.setdefault(place, []).append((name, cell, memo.findings[cell]))
            if source.inside:
                self._look_inside(name, source, block, columns, found)
        return columns, found

    def _look_inside(self, name: str, source: Source, block: Block, columns: Columns, found: Findings) -> None:
        """Take a value out of a longer text where the field is empty otherwise."""
        assert source.inside is not None
        memo, empty = self._inside[name], self._memos[name][""]
        memo.trim()
        texts = block.columns[source.inside[0]]
        columns[name] = [
            memo[text] if value == empty else value for value, text in zip(columns[name], texts, strict=True)
        ]
        for place, text in enumerate(texts):
            if text in memo.findings and columns[name][place] == memo[text]:
                found.setdefault(place, []).append((name, text, memo.findings[text]))


def _at_once(sources: Mapping[str, Source]) -> dict[str, Callable[[Sequence[str]], list[Any] | None]]:
    """Return what may read whole columns; a price hardly ever comes twice, and neither does a code in a block."""
    found: dict[str, Callable[[Sequence[str]], list[Any] | None]] = {
        name: partial(amounts, mark=source.decimal)
        for name, source in sources.items()
        if name in ("asking_price", "sold_price") and source.inside is None
    }
    gtin = sources.get("gtin")
    if gtin is not None and gtin.plain is None and gtin.inside is None:
        found["gtin"] = codes
    return found


def _style(text: str) -> values.Reading:
    """Read a style code as typed and as the key of its product."""
    read, finding = values.style(text)
    return _keyed(*read), finding


def _keyed(clean: str, key: str) -> tuple[str, str]:
    return clean, f"s:{key}" if key else ""


def _found(parse: Callable[[str], values.Reading], find: Callable[[str], str]) -> Callable[[str], values.Reading]:
    """Read what is found inside a text."""
    return lambda text: parse(find(text))


def _plain_texts(cells: Sequence[str]) -> list[str] | None:
    """Read a whole column in one go if it needs nothing but its outer spaces dropped; hardly any text comes twice."""
    text = "".join(cells)
    if not text:
        return list(cells)
    if len(text) > values.LONG_TEXT and max(map(len, cells)) > values.LONG_TEXT:
        return None
    # Of ASCII alone, in half the time of `isprintable`.
    plain = not text.encode().translate(None, _PRINTABLE) if text.isascii() else text.isprintable()
    return list(map(str.strip, cells)) if plain else None
