# ruff: noqa: S608 - only names of columns are put into the statement
"""The brands, categories and conditions the table holds, however they are spelt."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass
from weakref import WeakKeyDictionary

from sourcing.comps.titles import fold_title
from sourcing.comps.version import Version, data_version
from sourcing.storage import Store

KINDS = ("brand", "category", "condition")


@dataclass(frozen=True)
class Name:
    """One brand, category or condition."""

    shown: str  # its commonest spelling, "" for rows without one
    spellings: tuple[str, ...]  # the commonest first
    rows: int
    items: int
    read_as: tuple[str, ...] = ()  # words of files that are read as it


_kept: WeakKeyDictionary[Store, tuple[Version, dict[str, tuple[Name, ...]]]] = WeakKeyDictionary()
# Rows are kept by product, so that counting them by product first needs no sorting of them all.
_ROWS = f"""SELECT p.root, {", ".join(f"c.{kind}" for kind in KINDS)}, count(*)
FROM product p CROSS JOIN comp c ON c.product_id = p.id GROUP BY p.id, {", ".join(f"c.{kind}" for kind in KINDS)}"""


def names(store: Store, kind: str) -> tuple[Name, ...]:
    """Return the names of one of `KINDS`, those with most rows first; kept until the table changes."""
    version = data_version(store)
    kept = _kept.get(store)
    if kept is None or kept[0] != version:
        kept = _kept[store] = (version, _names(store))
    return kept[1][kind]


def spellings(store: Store, kind: str, name: str) -> tuple[str, ...]:
    """Return how a name is spelt in the table; nothing when no row has it."""
    folded = fold_title(name)
    return next((one.spellings for one in names(store, kind) if fold_title(one.shown) == folded), ())


def _names(store: Store) -> dict[str, tuple[Name, ...]]:
    heard: dict[tuple[str, str], list[str]] = defaultdict(list)
    for kind, theirs, ours in store.read("SELECT kind, theirs, ours FROM alias ORDER BY theirs"):
        if theirs != fold_title(ours):
            heard[kind, fold_title(ours)].append(theirs)
    rows = store.read(_ROWS)
    found = {}
    for place, kind in enumerate(KINDS, 1):
        counts: Counter[str] = Counter()
        items: dict[str, set[int]] = defaultdict(set)
        for row in rows:
            counts[row[place]] += row[-1]
            items[row[place]].add(row[0])
        spelt: dict[str, list[str]] = defaultdict(list)
        for text in sorted(counts, key=lambda text: (-counts[text], text)):
            spelt[fold_title(text)].append(text)
        made = [
            Name(few[0], tuple(few), sum(counts[one] for one in few), len(set().union(*(items[one] for one in few))),
                 tuple(heard[kind, word]))
            for word, few in spelt.items()
        ]  # fmt: skip
        found[kind] = tuple(sorted(made, key=lambda one: (-one.rows, one.shown)))
    return found
