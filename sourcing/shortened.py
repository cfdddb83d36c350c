"""Titles as long as a file may hold them, shortened where a line has to be read at a glance."""

from __future__ import annotations

_LEEWAY = 5  # characters that are not worth a cut: the pages' ``truncate`` allows as many
MOST = 110


def shortened(text: str, most: int = MOST) -> str:
    """Cut a text between words, or within one that is longer than all; “...” stands for what is left out.

    It cuts where the pages' ``truncate`` does, so that an item is called the same there and on the command line.
    """
    if len(text) <= most + _LEEWAY:
        return text
    return text[: most - 3].rsplit(" ", 1)[0] + "..."
