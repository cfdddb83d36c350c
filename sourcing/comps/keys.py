"""The key of a row: a hash of all it says, so that the same row is known again in any file."""

from __future__ import annotations

import sys
from array import array
from collections.abc import Callable, Iterable, Sequence
from hashlib import blake2b
from typing import Any

_EMPTY = blake2b(digest_size=8)  # copying one costs half of making one
_ROOM = b"\x7f" + 7 * b"\xff"  # of one key: the highest bit stays clear


def row_texts(*columns: Sequence[Any]) -> list[str]:
    """Return the canonical text of rows, whose fifteen values come as columns; never to change between versions.

    Equal texts are equal rows, whichever file they came from. Control characters were made spaces, so the
    separator cannot occur inside a value.
    """
    return [
        f"{a}\x1f{b}\x1f{c}\x1f{d}\x1f{e}\x1f{f}\x1f{g}\x1f{h}\x1f{i}\x1f{j}\x1f{k}\x1f{l}\x1f{m}\x1f{n}\x1f{o}"
        for a, b, c, d, e, f, g, h, i, j, k, l, m, n, o in zip(*columns, strict=True)  # noqa: E741
    ]


def row_keys(texts: Iterable[str]) -> array[int]:
    """Return 63 bits of BLAKE2b over the text of each row; stored, so never to change between versions."""
    digests = []
    copy = _EMPTY.copy
    for text in texts:
        digest = copy()
        digest.update(text.encode())
        digests.append(digest.digest())
    # All are shifted as one long integer, which makes no integer of each.
    room = int.from_bytes(_ROOM * len(digests), "big")
    shifted = (int.from_bytes(b"".join(digests), "big") >> 1) & room
    keys = array("q", shifted.to_bytes(len(_ROOM) * len(digests), "big"))
    if sys.byteorder == "little":
        keys.byteswap()
    return keys


class Keys:
    """Keep the keys of one file's rows apart: identical rows are listings of their own, and get different keys."""

    def __init__(self) -> None:
        self.identical = 0  # rows that were met before in this file
        self._met: list[array[int]] = []  # eight bytes a row; a set would take ten times that
        self._again: dict[int, int] = {}  # how often a key was met again

    def apart(self, keys: Sequence[int], text_of: Callable[[int], str]) -> dict[int, int]:
        """Return the keys that rows met before are to have instead, by place.

        Parameters
        ----------
        keys : sequence of int
            Keys of the next rows of the file.
        text_of : callable
            Gives the canonical text of the row at a place.
        """
        fresh = set(keys)
        before = {key for met in self._met for key in fresh.intersection(met)}
        self._met.append(array("q", keys))
        if not before and len(fresh) == len(keys):  # nearly always
            return {}
        other: dict[int, int] = {}
        for place, key in enumerate(keys):
            if key in before:
                again = self._again[key] = self._again.get(key, 0) + 1
                other[place] = row_keys([f"{text_of(place)}\x1e{again}"])[0]
            before.add(key)
        self.identical += len(other)
        return other
