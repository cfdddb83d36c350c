"""The brands, categories and conditions the table holds, however they are spelt."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass

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


_kept: dict[str, tuple[Version, dict[str, tuple[Name, ...]]]] = {}


def names(store: Store, kind: str) -> tuple[Name, ...]:
    """Return the names of one of `KINDS`, those with most rows first; kept until the table changes."""
    version = data_version(store)
    kept = _kept.get(store.url)
    if kept is None or kept[0] != version:
        kept = _kept[store.url] = (version, {})
    found = kept[1].get(kind)
    if found is None:
        found = kept[1][kind] = _names(store, kind)
    return found


def spellings(store: Store, kind: str, name: str) -> tuple[str, ...]:
    """Return how a name is spelt in the table; nothing when no row has it."""
    folded = fold_title(name)
    return next((one.spellings for one in names(store, kind) if fold_title(one.shown) == folded), ())


def _names(store: Store, kind: str) -> tuple[Name, ...]:
    assert kind in KINDS
    rows = store.read(
        f"SELECT c.{kind}, p.root, count(*) FROM comp c JOIN product p ON p.id = c.product_id GROUP BY 1, 2"  # noqa: S608
    )
    heard: dict[str, list[str]] = defaultdict(list)
    for theirs, ours in store.read("SELECT theirs, ours FROM alias WHERE kind = ? ORDER BY theirs", (kind,)):
        if theirs != fold_title(ours):
            heard[fold_title(ours)].append(theirs)
    spelt: dict[str, Counter[str]] = defaultdict(Counter)
    items: dict[str, set[int]] = defaultdict(set)
    for text, root, count in rows:
        word = fold_title(text)
        spelt[word][text] += count
        items[word].add(root)
    found = [_name(counts, len(items[word]), heard[word]) for word, counts in spelt.items()]
    return tuple(sorted(found, key=lambda one: (-one.rows, one.shown)))


def _name(counts: Counter[str], items: int, heard: list[str]) -> Name:
    spellings = sorted(counts, key=lambda text: (-counts[text], text))
    return Name(spellings[0], tuple(spellings), counts.total(), items, tuple(heard))
