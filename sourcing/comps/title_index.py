"""Find texts by words that are misspelt, left out or in another order: weighed letter triples of words.

Every word is cut into overlapping triples of letters, its ends included; a triple counts the more, the fewer texts hold
it, and texts are compared by the angle between their weights (Salton & Buckley 1988; Zobel & Dart 1995 on spelling).
A query then touches only the texts that share a triple with it, as one sum over lists.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from models.price import Floats, Ints

_BITS = 18  # triples are told apart by a hash of this length; a title holds some forty of them
_SPACE = 32
_ASCII = {code: chr(code).lower() if chr(code).isalnum() else " " for code in range(128)}


def plain_words(text: str) -> str:
    """Return the words of a text in small letters without accents, signs made spaces, one space between words."""
    if not text.isascii():
        parts = unicodedata.normalize("NFKD", text.casefold())
        text = "".join(one if one.isalnum() else " " for one in parts if not unicodedata.combining(one))
    return " ".join(text.translate(_ASCII).split())


class TitleIndex:
    """The letter triples of many texts.

    Parameters
    ----------
    texts : sequence of str
        The texts, in any spelling. Those without a letter are never found.
    """

    def __init__(self, texts: Sequence[str]) -> None:
        self.count = len(texts)
        triples, owner = _triples([plain_words(text) for text in texts])
        both, times = np.unique(triples * max(self.count, 1) + owner, return_counts=True)
        triple, self._text = both // max(self.count, 1), (both % max(self.count, 1)).astype(np.int32)
        held = np.bincount(triple, minlength=1 << _BITS)
        self._start = np.concatenate([[0], np.cumsum(held)])
        self._rarity = np.log((1.0 + self.count) / (1.0 + held)) + 1.0
        weight = times * self._rarity[triple]
        length = np.sqrt(np.bincount(self._text, weight**2, minlength=self.count))
        self._weight = (weight / length[self._text]).astype(np.float32)

    def likeness(self, query: str) -> Floats:
        """Return how like the query each text is, from 0 to 1."""
        triples, _ = _triples([plain_words(query)])
        triples, times = np.unique(triples, return_counts=True)
        weight = times * self._rarity[triples]
        weight = weight / (np.sqrt((weight**2).sum()) or 1.0)
        spans = [slice(self._start[one], self._start[one + 1]) for one in triples]
        if not spans or not self.count:
            return np.zeros(self.count)
        texts = np.concatenate([self._text[span] for span in spans])
        weights = np.concatenate([self._weight[span] * w for span, w in zip(spans, weight, strict=True)])
        return np.asarray(np.bincount(texts, weights, minlength=self.count), dtype=np.float64)

    def nearest(self, query: str, most: int, least: float = 0.0) -> list[tuple[int, float]]:
        """Return places and likenesses of the texts most like the query, the likest first, above `least` only."""
        likeness = self.likeness(query)
        above = np.flatnonzero(likeness > least)
        if len(above) > most:
            above = above[np.argpartition(-likeness[above], most)[:most]]
        above = above[np.lexsort((above, -likeness[above]))]
        return [(int(place), float(likeness[place])) for place in above]


def _triples(texts: Sequence[str]) -> tuple[Ints, Ints]:
    """Return a number of every letter triple within a word of the texts, and the place of its text."""
    lengths = np.fromiter((len(text) + 1 for text in texts), np.int64, len(texts))
    letters: NDArray[np.uint64] = np.frombuffer(f" {' '.join(texts)} ".encode("utf-32-le"), np.uint32).astype(np.uint64)
    if len(letters) < 3:
        return np.zeros(0, np.int64), np.zeros(0, np.int64)
    first, middle, last = letters[:-2], letters[1:-1], letters[2:]
    # Multiplicative hashing (Knuth, The Art of Computer Programming 3, section 6.4): the upper bits are well mixed.
    mixed = (first << np.uint64(42) | middle << np.uint64(21) | last) * np.uint64(0x9E3779B97F4A7C15)
    owner = np.repeat(np.arange(len(texts)), lengths)[: len(middle)]
    inside = middle != _SPACE
    return (mixed >> np.uint64(64 - _BITS)).astype(np.int64)[inside], owner[inside]
