"""Words in comps by which a listing says that the piece has a flag: whole words, and not where they are denied."""

from __future__ import annotations

import re
import unicodedata
from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import accumulate

MOST_FLAGS = 60  # learnt at once: they are kept as the bits of one number a row

_WORD = re.compile(r"[^\W_]+")
_BREAK = re.compile(r"[,;.:()\[\]{}|/!?+&\n–—]")
_WITHOUT = re.compile(r"\bw/o\b")


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


_DENIES = _words(
    "no not without never non neither zero isnt wasnt arent doesnt didnt hasnt dont "
    "ohne kein keine keinen keiner nicht sans pas sin senza sem zonder geen utan"
)
_BETWEEN = _words(  # may stand between a denial and what it denies: “no visible signs of scuffs”
    "a an any the of at all visible obvious noticeable major minor real big heavy sign signs other more single have "
    "has had does do need needs been is are"
)
_OR = _words("or nor oder ou noch")
_NOT_SO = _words("included present visible needed required there applicable")  # “box not included”
_GONE = _words("missing removed absent gone none")  # at the end of what is said: “box missing”
_GIVEN_FREE = _words("postage shipping delivery post returns p")  # “scuffed free postage” denies nothing
_JOINS = _words("and but with has w")  # left over at an end when a flag's words are taken out
_FURTHEST_BACK = 7


@dataclass(frozen=True)
class _Said:
    """One text as words, and the number of the clause each stands in."""

    words: list[str]
    clause: list[int]


def find_flags(texts: Sequence[str], phrases: Mapping[str, Sequence[str]]) -> dict[int, int]:
    """Find what each text says of flags: a number whose bit k stands for the k-th flag, by the text's place.

    Parameters
    ----------
    texts : of listings, title and note. phrases : by flag, at most `MOST_FLAGS`, the words that mean it.

    Notes
    -----
    The rarest word of each phrase is looked for in all texts at once; only where it stands is a text read word by
    word, so that a table of many rows costs little more than one pass over its text.
    """
    wanted = _phrases(tuple((name, tuple(few)) for name, few in phrases.items()))
    if not wanted or not texts:
        return {}
    folded = fold_text("\n".join(text.replace("\n", ";") if "\n" in text else text for text in texts))
    lines = folded.split("\n")
    ends = list(accumulate(len(line) + 1 for line in lines))
    places: set[int] = set()
    for word in {max(phrase, key=len) for _, phrase in wanted}:
        at = folded.find(word)
        while at >= 0:
            line = bisect_right(ends, at)
            places.add(line)
            at = folded.find(word, ends[line])
    found = {place: _marks(lines[place], wanted)[0] for place in sorted(places)}
    return {place: bits for place, bits in found.items() if bits}


def without_flags(text: str, phrases: Mapping[str, Sequence[str]]) -> tuple[str, int]:
    """Return a condition's plain words less those that mean flags, and the bits of these: “new, no box” is “new”."""
    bits, left = _marks(fold_text(text), _phrases(tuple((name, tuple(few)) for name, few in phrases.items())))
    while left and left[-1] in _JOINS:
        left.pop()
    while left and left[0] in _JOINS:
        left.pop(0)
    return " ".join(left), bits


def fold_text(text: str) -> str:
    """Fold case and the ways to write one letter; apostrophes go, “w/o” is “without”."""
    if not text.isascii():
        text = unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", text).casefold()).replace("’", "'")
    return _WITHOUT.sub("without", text.lower().replace("'", ""))


@lru_cache(maxsize=32)
def _phrases(named: tuple[tuple[str, tuple[str, ...]], ...]) -> tuple[tuple[int, tuple[str, ...]], ...]:
    """Each phrase as (bit, words), the longest first, so that “box not included” goes before “box”."""
    found = [
        (1 << bit, tuple(_WORD.findall(fold_text(phrase))))
        for bit, (_, few) in enumerate(named[:MOST_FLAGS])
        for phrase in few
    ]
    return tuple(sorted(((bit, words) for bit, words in found if words), key=lambda one: -len(one[1])))


def _marks(folded: str, wanted: tuple[tuple[int, tuple[str, ...]], ...]) -> tuple[int, list[str]]:
    """Return the bits a folded text says, and its words without those that say them."""
    said = _read(folded)
    taken = [0] * len(said.words)  # length of the phrase a word belongs to
    spans = []
    for bit, phrase in wanted:
        for at in _at(said, phrase):
            if max(taken[at : at + len(phrase)]) <= len(phrase):  # “no box” says nothing of a flag that is called “box”
                spans.append((bit, phrase, at))
                taken[at : at + len(phrase)] = [len(phrase)] * len(phrase)
    bits = 0
    gone: set[int] = set()
    for bit, phrase, at in spans:
        if not _denied(said, phrase, at, taken):
            bits |= bit
            gone.update(range(at, at + len(phrase)))
    return bits, [word for at, word in enumerate(said.words) if at not in gone]


def _read(folded: str) -> _Said:
    words, clause, now, last = [], [], 0, 0
    for match in _WORD.finditer(folded):
        if _BREAK.search(folded, last, match.start()):
            now += 1
        words.append(match.group())
        clause.append(now)
        last = match.end()
    return _Said(words, clause)


def _at(said: _Said, phrase: tuple[str, ...]) -> list[int]:
    """Where the phrase stands, its words next to each other within one clause."""
    size = len(phrase)
    return [
        at
        for at in range(len(said.words) - size + 1)
        if said.words[at] == phrase[0]
        and tuple(said.words[at : at + size]) == phrase
        and said.clause[at] == said.clause[at + size - 1]
    ]


def _denied(said: _Said, phrase: tuple[str, ...], at: int, taken: list[int]) -> bool:
    """Whether the text says the opposite: “not scuffed”, “no signs of scuffs”, “scuff free”, “box not included”."""
    if not _DENIES.isdisjoint(phrase) or not _GONE.isdisjoint(phrase):
        return False  # what is said is itself that something is not there
    return _denied_before(said, at, taken) or _denied_after(said, at + len(phrase))


def _denied_before(said: _Said, at: int, taken: list[int]) -> bool:
    words, clause, back = said.words, said.clause, at - 1
    while back >= max(at - _FURTHEST_BACK, 0) and clause[back] == clause[at]:
        word = words[back]
        if word in _OR:  # “no stains or scuffs”: what is listed beside it is passed over
            back -= 2
            continue
        if taken[back]:  # the “no” of “no box scuffed” is spent
            return False
        if word in _DENIES or (word == "free" and words[back + 1] == "of"):
            return True
        if word not in _BETWEEN:
            return False
        back -= 1
    return False


def _denied_after(said: _Said, end: int) -> bool:
    words, clause = said.words, said.clause
    if end >= len(words):
        return False
    here, following = clause[end - 1], words[end : end + 2]
    if clause[end] != here:
        return following[0] == "none" and (len(words) == end + 1 or clause[end + 1] != clause[end])  # “scuffs: none”
    closes = len(following) == 1 or clause[end + 1] != here
    if following[0] in _GONE:
        return closes
    if following[0] == "free":
        return closes or following[1] not in _GIVEN_FREE
    return following[0] in _DENIES and not closes and following[1] in _NOT_SO
