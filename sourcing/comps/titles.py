"""One way to fold a title, so that the same words typed differently are the same title."""

from __future__ import annotations

import unicodedata


def fold_title(title: str) -> str:
    """Return the title in Unicode NFKC, case-folded, with single spaces; "" when nothing is left."""
    if title.isascii():  # NFKC leaves ASCII as it is, and most titles are ASCII
        return " ".join(title.lower().split())
    return " ".join(unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", title).casefold()).split())
