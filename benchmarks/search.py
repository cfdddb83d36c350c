"""Search among titles: CPU beside rapidfuzz comparing every title, and how often the item is among the first twenty.

Titles and queries are invented anew by a fixed seed: words of uneven frequency, and queries that leave words out, put
the rest in another order and misspell two of them.
"""

from __future__ import annotations

import random
import statistics
import string
import time
from typing import Any

from rapidfuzz import fuzz, process

from sourcing.comps.title_index import TitleIndex

TITLES, QUERIES, REFERENCE = 100_000, 400, 12
FIRST = 20
_SYLLABLES = ("ba", "ke", "lo", "tri", "mar", "den", "sto", "vel", "un", "gar", "pi", "ros", "tan", "el", "ith", "om")


def titles(count: int, draw: random.Random) -> list[str]:
    """Return invented titles of five to eleven words, few of them common and most of them rare."""
    words = ["".join(draw.choices(_SYLLABLES, k=draw.randint(1, 4))) for _ in range(4_000)]
    weights = [1 / (rank + 5) for rank in range(len(words))]
    return [" ".join(draw.choices(words, weights, k=draw.randint(5, 11))) for _ in range(count)]


def misspelt(word: str, draw: random.Random) -> str:
    """Drop a letter, swap two, or strike a wrong key; words of up to three letters stay."""
    if len(word) < 4:
        return word
    at = draw.randrange(len(word) - 1)
    return draw.choice([
        word[:at] + word[at + 1 :],
        word[:at] + word[at + 1] + word[at] + word[at + 2 :],
        word[:at] + draw.choice(string.ascii_lowercase) + word[at + 1 :],
    ])  # fmt: skip


def query_for(title: str, draw: random.Random) -> str:
    """Return the title as somebody might type it: one or two words left out, shuffled, two misspelt."""
    words = title.split()
    draw.shuffle(words)
    words = words[: -2 if len(words) > 6 else -1]
    for _ in range(2):
        place = draw.randrange(len(words))
        words[place] = misspelt(words[place], draw)
    return " ".join(words)


def run() -> list[dict[str, Any]]:
    """Return one record a measurement: name, ratio, bar, detail."""
    draw = random.Random(5)
    made = titles(TITLES, draw)
    asked = [(place, query_for(made[place], draw)) for place in draw.sample(range(TITLES), QUERIES)]
    start = time.process_time()
    index = TitleIndex(made)
    built = time.process_time() - start
    ours, theirs, found = [], [], 0
    for turn, (place, query) in enumerate(asked):
        start = time.process_time()
        near = index.nearest(query, FIRST)
        ours.append(time.process_time() - start)
        found += place in {one for one, _ in near}
        if turn % (QUERIES // REFERENCE) == 0:
            start = time.process_time()
            process.extract(query, made, scorer=fuzz.token_sort_ratio, limit=FIRST)
            theirs.append(time.process_time() - start)
    one, other = statistics.median(ours), statistics.median(theirs)
    return [
        {
            "name": f"search among {TITLES:,} titles",
            "ratio": round(one / other, 3),
            "bar": 0.25,
            "detail": f"{1000 * one:.1f} CPU ms a query; rapidfuzz token_sort_ratio over all titles "
            f"{1000 * other:.0f}; the index is built once in {built:.1f} s",
        },
        {
            "name": f"searches that miss the item among the first {FIRST}",
            "ratio": round(1 - found / QUERIES, 4),
            "bar": 0.02,
            "detail": f"{QUERIES} queries with words left out, the others shuffled, two of them misspelt",
        },
    ]


if __name__ == "__main__":
    for line in run():
        print(f"{line['name']}: {line['ratio']} (bar {line['bar']}); {line['detail']}")
