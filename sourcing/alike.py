"""Which pieces are copies of one item, and so press on each other's sale, however each was asked for."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

from sourcing.comps.titles import fold_title


class Thing(NamedTuple):
    """What a piece is: its product, or what it is called where it has none, and what tells its kinds apart."""

    root: int | None
    name: str
    gtin: str
    size: str
    condition: str


def thing(item: Mapping[str, Any]) -> Thing:
    """Return what the item of a verdict is (`sourcing.answer.Item` as a mapping)."""
    root = item["root"]
    name = "" if root is not None else fold_title(item["label"])
    return Thing(root, name, item["gtin"] or "", *(fold_title(item[key] or "") for key in ("size", "condition")))


def alike(one: Thing, other: Thing) -> bool:
    """Whether two are copies of one item: the same product, the same kind of it, the same condition if both name one.

    A piece asked for by its style code alone may be any of its sizes. Two that name different barcodes or sizes find
    different buyers, and so may one that names a barcode and one that names a size. What else a piece has, such as no
    box, makes it no other item: its buyers are the same.
    """
    if one.root != other.root or one.name != other.name or not _agree(one.condition, other.condition):
        return False
    kinds = (one.gtin, other.gtin), (one.size, other.size)
    if not (one.gtin or one.size) or not (other.gtin or other.size):
        return True
    return all(_agree(*both) for both in kinds) and any(mine and mine == its for mine, its in kinds)


def _agree(mine: str, its: str) -> bool:
    return mine == its or not mine or not its
