"""The key of a row: a hash of all it says, so that the same row is known again in any file."""

from __future__ import annotations

import struct
from collections.abc import Sequence
from hashlib import blake2b
from typing import Any

_EMPTY = blake2b(digest_size=8)  # copying one costs half of making one


class Keys:
    """Give the rows of one file their keys; identical rows are listings of their own and get different ones."""

    def __init__(self) -> None:
        self.identical = 0  # rows that were met before in this file
        self._met: set[int] = set()
        self._again: dict[int, int] = {}  # how often a key was met again

    def of(self, *columns: Sequence[Any]) -> list[int]:
        """Return the keys of some rows, whose fifteen values come as columns.

        Equal texts are equal rows, whichever file they came from. Control characters were made spaces, so the
        separator cannot occur inside a value.
        """
        rows = [
            f"{a}\x1f{b}\x1f{c}\x1f{d}\x1f{e}\x1f{f}\x1f{g}\x1f{h}\x1f{i}\x1f{j}\x1f{k}\x1f{l}\x1f{m}\x1f{n}\x1f{o}"
            for a, b, c, d, e, f, g, h, i, j, k, l, m, n, o in zip(*columns, strict=True)  # noqa: E741
        ]
        keys = row_keys(rows)
        fresh = set(keys)
        if len(fresh) == len(keys) and self._met.isdisjoint(fresh):  # nearly always
            self._met |= fresh
            return keys
        return [self._own(key, row) for key, row in zip(keys, rows, strict=True)]

    def _own(self, key: int, row: str) -> int:
        if key not in self._met:
            self._met.add(key)
            return key
        again = self._again[key] = self._again.get(key, 0) + 1
        self.identical += 1
        return row_keys([f"{row}\x1e{again}"])[0]


def row_keys(texts: Sequence[str]) -> list[int]:
    """Return 63 bits of BLAKE2b over each row's text; stored, so never to change between versions."""
    digests = []
    for text in texts:
        digest = _EMPTY.copy()
        digest.update(text.encode())
        digests.append(digest.digest())
    return [number >> 1 for number in struct.unpack(f">{len(texts)}Q", b"".join(digests))]
