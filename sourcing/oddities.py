"""Words by which a listing looks like a lot or a damaged piece rather than one sound piece of the style."""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Sequence
from itertools import accumulate

_SUSPECT = re.compile(r"\b(lot|bundle|set) of\b|\b(lot|bundle|job lot|damaged|for parts|broken|faulty|spares)\b", re.I)


def odd_words(texts: Sequence[str]) -> dict[int, str]:
    """Find the first such word of each text that has one, by the text's place."""
    found: dict[int, str] = {}
    # One search over all texts: a search a text cost as much as the forecast.
    joined = "\n".join(text.replace("\n", " ") if "\n" in text else text for text in texts)
    ends = list(accumulate(len(text) + 1 for text in texts))
    for match in _SUSPECT.finditer(joined):
        found.setdefault(bisect_right(ends, match.start()), match.group(0).lower())
    return found


def looks_odd(text: str) -> bool:
    """Whether one text has such a word."""
    return bool(_SUSPECT.search(text))
