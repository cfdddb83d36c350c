"""A QR code as one path of an inline picture, so that it needs no other request and no markup made in Python."""

from __future__ import annotations

from itertools import groupby
from typing import NamedTuple

QUIET = 4  # modules left empty on each side (ISO/IEC 18004, section 6.3.8)


class Code(NamedTuple):
    """A picture of ``side`` x ``side`` modules, its dark ones as the path ``d``."""

    side: int
    d: str


def code(text: str) -> Code:
    """Return the QR code of a link, each run of dark modules as one rectangle."""
    import segno

    matrix = segno.make(text, error="m", micro=False).matrix
    runs = []
    for row, modules in enumerate(matrix):
        column = 0
        for dark, run in groupby(modules):
            width = len(list(run))
            if dark:
                runs.append(f"M{column + QUIET} {row + QUIET}h{width}v1h-{width}z")
            column += width
    return Code(len(matrix) + 2 * QUIET, "".join(runs))
