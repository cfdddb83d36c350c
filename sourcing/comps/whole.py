"""Read a whole column of cells at once where every cell of it is written in the commonest way, or leave it alone.

Each reads as `sourcing.comps.values` reads it cell by cell, which a test holds this to.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from functools import cache

from sourcing.comps.values import LARGEST, SHORT_TEXT

_DIGIT = bytes(max(0, byte - ord("0")) for byte in range(256))  # what a digit's byte stands for
_LEFT_OVER = bytes(total % 10 for total in range(256))
_USUAL = frozenset("1345678")  # first digits of GTIN-13 that name goods and nothing else


def amounts(cells: Sequence[str], *, mark: str = ".", digits: int = 2) -> list[int | None] | None:
    """Read amounts above 0, below the largest, with all their decimals and no thousands mark, and empty cells.

    Parameters
    ----------
    cells : sequence of str
        A column.
    mark : str
        Its decimal mark.
    digits : int
        Decimals of the currency.

    Returns
    -------
    list of int or None, optional
        Minor units, None where a cell is empty; None where any cell is written in another way.
    """
    text = "\n".join(cells) + "\n"
    if _amounts(mark, digits).fullmatch(text) is None:
        return None
    plain = text.replace(mark, "").split("\n")
    plain.pop()
    read = [int(cell) if cell else None for cell in plain]
    return None if 0 in read or len(read) != len(cells) else read


@cache
def _amounts(mark: str, digits: int) -> re.Pattern[str]:
    whole = len(str(LARGEST)) - 1
    return re.compile(rf"(?:(?:[0-9]{{1,{whole}}}{re.escape(mark)}[0-9]{{{digits}}})?+\n)++" if digits else r"(?!)")


def codes(cells: Sequence[str]) -> list[int] | None:
    """Read GTIN-13 with their check digit right, none of a range of other uses; None where any cell is another."""
    text = "".join(cells)
    if len(text) != 13 * len(cells) or set(map(len, cells)) != {13} or not (text.isascii() and text.isdigit()):
        return None
    if not all(a in _USUAL or a + b == "95" for a, b in set(zip(text[::13], text[1::13], strict=True))):
        return None
    return None if any(_left_over(text)) else list(map(int, cells))


def some_codes(cells: Iterable[str]) -> dict[str, int]:
    """Read those cells that `codes` reads."""
    usual = [
        cell
        for cell in cells
        if len(cell) == 13 and cell.isascii() and cell.isdigit() and (cell[0] in _USUAL or cell[:2] == "95")
    ]
    return {cell: int(cell) for cell, left in zip(usual, _left_over("".join(usual)), strict=True) if not left}


def some_styles(cells: Iterable[str]) -> dict[str, tuple[str, str]]:
    """Read style codes, as typed and as their keys, if all are of letters, digits and dashes of ASCII; else none."""
    some = list(cells)
    plain = "\n".join(some).replace("-", "")
    if not plain.isascii() or not plain.replace("\n", "").isalnum() or max(map(len, some)) > SHORT_TEXT:
        return {}
    keys = plain.upper().split("\n")
    return {cell: (cell, key) for cell, key in zip(some, keys, strict=True)} if len(keys) == len(some) else {}


def _left_over(digits: str) -> bytes:
    """Return of each GTIN-13, written one behind the other, the last digit of its sum: 0 where it is right.

    Those that begin with 0, 2, 96 to 99 (store tags, coupons, refunds, books) are of no use here. The sum is the one
    of the GS1 General Specifications, section 7.9: weights 1 and 3 in turn from the right. It is at most 225, so it
    fits a byte, and one sum of long integers adds it up for every number at once.
    """
    worth = digits.encode().translate(_DIGIT)
    places = [int.from_bytes(worth[place::13], "big") for place in range(13)]
    sums = sum(places[::2]) + 3 * sum(places[1::2])
    return sums.to_bytes(len(digits) // 13, "big").translate(_LEFT_OVER)
