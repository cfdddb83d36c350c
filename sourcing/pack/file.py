"""The pack as bytes: a fixed start, a header of JSON, then columns one after another. See docs/pack_format.md."""

from __future__ import annotations

import gzip
import json
import struct
from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

import numpy as np

from sourcing.codes.gtin import is_gtin
from sourcing.pack.columns import Forecast, Written, completed, forecasts_of, planes, write, zigzag
from sourcing.pack.figures import COLUMNS, Ints
from sourcing.pack.header import deal_in_plain
from sourcing.pack.reckoned import Group, Known

MAGIC = b"TAKEALNG"
VERSION = 2
START = struct.Struct("<8sHHIIII")  # magic, version, 0, length of the header, length of all, two sums of the rest
_LEVEL = 9


class Part(NamedTuple):
    """One stretch of bytes after the header; ``widths`` are bytes a number, none for text."""

    name: str
    widths: tuple[int, ...]
    data: bytes


def as_bytes(
    groups: Sequence[Group], codes: Iterable[tuple[int, int]], also: Iterable[tuple[str, int]], said: dict[str, Any]
) -> bytes:
    """Return the pack, not compressed.

    Parameters
    ----------
    groups : known items first, as `reckoned.reckon` returns them. codes : (GTIN, root product).
    also : (key, root product) of the style codes and titles that were merged into another item.
    said : what the header says beyond the groups and columns.
    """
    known = [one for group in groups for one in group.known]
    record = {one.root: at for at, one in enumerate(known)}
    brands = sorted({one.brand for one in known})
    hows = [forecasts_of(group.figures, group.shifts) for group in groups]
    parts = [
        *_items(groups, known, brands),
        *_codes(record, codes),
        *_figures(groups, hows),
    ]
    deals: list[dict[str, Any]] = []
    plain = {
        **said,
        "items": len(known),
        "brands": brands,
        "titled": [at for at, one in enumerate(known) if one.key.startswith("t:")],
        "also": {key: record[root] for key, root in sorted(also) if root in record},
        "groups": [_plain(group, how, deals) for group, how in zip(groups, hows, strict=True)],
        "deals": deals,
        "figures": [[one.name, one.decimals, int(one.scales)] for one in COLUMNS],
        "columns": [[part.name, len(part.data), *part.widths] for part in parts],
    }
    header = json.dumps(plain, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode()
    body = b"".join((header, *(part.data for part in parts)))
    body += b"\0" * (-(START.size + len(body)) % 4)
    return START.pack(MAGIC, VERSION, 0, len(header), START.size + len(body), *sums(body)) + body


def sums(body: bytes) -> tuple[int, int]:
    """Add all words of four bytes up, and all sums on the way, each modulo 2 to the 32nd.

    Every changed bit shows in the first, every change of order in the second (Fletcher 1982, IEEE Transactions on
    Communications 30). A CRC takes a phone ten times as long.
    """
    words = np.frombuffer(body, dtype="<u4").astype(np.uint64)
    left = np.arange(len(words), 0, -1, dtype=np.uint64)
    return int(words.sum()) % 2**32, int((words * left).sum()) % 2**32


def packed(raw: bytes) -> bytes:
    """Return it compressed, the same bytes for the same pack."""
    return gzip.compress(raw, _LEVEL, mtime=0)


def _plain(group: Group, how: Forecast, deals: list[dict[str, Any]]) -> dict[str, Any]:
    deal = deal_in_plain(group.deal)
    if deal not in deals:
        deals.append(deal)
    return {
        "category": group.category,
        "deal": deals.index(deal),
        "known": len(group.known),
        "brands": list(group.brands),
        "speed_basis": group.speed_basis,
        "base_condition": group.base_condition,
        "conditions": group.conditions,
        "slots": len(group.slots),
        "other": group.other,
        "usual": how.usual,
        "ratio": how.ratio,
        "beyond": how.beyond,
    }


def _items(groups: Sequence[Group], known: list[Known], brands: list[str]) -> list[Part]:
    """Write what each item is called: brand, title, style code less what it shares with the one before it."""
    place = {brand: at for at, brand in enumerate(brands)}
    titles = [one.title.encode() for one in known]
    same, more, codes = [], [], []
    for group in groups:
        before = b""
        for one in group.known:
            code = one.style_code.encode()
            shared = next((at for at, (a, b) in enumerate(zip(before, code, strict=False)) if a != b), None)
            shared = min(len(before), len(code)) if shared is None else shared
            same.append(shared)
            more.append(len(code) - shared)
            codes.append(code[shared:])
            before = code
    return [
        _numbers("brand", [place[one.brand] for one in known]),
        _numbers("title_length", [len(title) for title in titles]),
        Part("title", (), b"".join(titles)),
        _numbers("style_same", same),
        _numbers("style_more", more),
        Part("style", (), b"".join(codes)),
    ]


def _codes(record: dict[int, int], codes: Iterable[tuple[int, int]]) -> list[Part]:
    """Write every barcode's number less its check digit, as steps from the one before, and the item each leads to."""
    found = sorted((gtin // 10, record[root]) for gtin, root in codes if root in record and is_gtin(f"{gtin:014d}"))
    numbers = np.array(found, dtype=np.int64).reshape(-1, 2)
    steps = np.diff(numbers, axis=0, prepend=np.zeros((1, 2), dtype=np.int64))
    return [_numbers("gtin_step", steps[:, 0]), _numbers("gtin_record", zigzag(steps[:, 1]))]


def _figures(groups: Sequence[Group], hows: list[Forecast]) -> list[Part]:
    both = [(completed(group.figures, how), how) for group, how in zip(groups, hows, strict=True)]
    written: list[Written] = [write(one, both) for one in COLUMNS]
    return [Part(one.name, (one.usual, one.others), one.data) for one in written]


def _numbers(name: str, values: Ints | list[int]) -> Part:
    width, data = planes(np.asarray(values, dtype=np.int64))
    return Part(name, (width,), data)
