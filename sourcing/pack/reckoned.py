"""One vectorised pass a category over every known item in every condition, and over what stands in for unknown ones."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from sourcing import verdict
from sourcing.answer import Item
from sourcing.best_channel import best
from sourcing.comps import lookup
from sourcing.fitting import Fit, fold
from sourcing.forecast import forecast_group
from sourcing.kin import pooled
from sourcing.language import gettext
from sourcing.pack.figures import COLUMNS, Ints, as_columns
from sourcing.pack.others import at_others
from sourcing.settings import CategorySettings, Settings
from sourcing.storage import Store

_AT_ONCE = 4_000  # items times conditions a pass; more would hold hundreds of megabytes at once
OTHER = "\N{BLACK STAR}"  # stands for every category nothing is known of; no folded name is this alone


class Known(NamedTuple):
    """One known item, as its comps name it."""

    root: int
    key: str
    style_code: str
    brand: str
    category: str
    title: str


@dataclass(frozen=True)
class Group:
    """Records of one category, figures by condition.

    Attributes
    ----------
    category : folded. conditions : what each folded name of a condition is: a place among ``slots``. slots : one
    condition for each footing of prices, the usual one first. other : the slot of unknown ones. shifts : log price of
    each over the usual one. known : the items, in order; empty where the records stand in for unknown ones. brands :
    folded brand of each stand-in, "" for the category as a whole. figures : (slots, records) by column.
    """

    category: str
    deal: CategorySettings
    speed_basis: str
    base_condition: str
    conditions: dict[str, int]
    slots: tuple[str, ...]
    other: int
    shifts: tuple[float, ...]
    known: tuple[Known, ...]
    brands: tuple[str, ...]
    figures: dict[str, Ints]

    @property
    def records(self) -> int:
        """How many there are."""
        return len(self.known) or len(self.brands)


_ITEMS = "SELECT id, key, style_code, brand, category, title FROM product WHERE root = id"


def reckon(
    store: Store, settings: Settings, fit: Fit, tell: Callable[[float, str], None] = lambda share, what: None
) -> list[Group]:
    """Work every figure of the pack out: known items first, by category, then what stands in for unknown ones.

    ``tell`` is told the share done and what goes on; it may raise to stop the work.
    """
    known: dict[str, list[Known]] = {}
    for row in store.read(_ITEMS):
        known.setdefault(fold(row[4]), []).append(Known(*row))
    names = sorted({*known, *fit.categories, *(fold(name) for name in settings.categories), OTHER})
    groups = []
    for at, name in enumerate(name for name in names if name in known):
        what = gettext("Reckoning {category}", category=name) if name else gettext("Reckoning items without a category")
        tell(0.9 * at / len(names), what)
        # Those without a style code last; the rest in the order a code is looked up in.
        items = sorted(known[name], key=lambda one: (not one.style_code, one.style_code, one.key))
        groups.append(_group(store, settings, fit, name, tuple(items), ()))
    brands: dict[str, list[str]] = {}
    for cell in fit.cells:
        category, brand = cell.split("\t")
        if brand:
            brands.setdefault(category, []).append(brand)
    for at, name in enumerate(names):
        tell(0.9 + 0.1 * at / len(names), gettext("Reckoning unknown items"))
        groups.append(_group(store, settings, fit, name, (), ("", *sorted(brands.get(name, ())))))
    return groups


def _group(
    store: Store, settings: Settings, fit: Fit, name: str, known: tuple[Known, ...], brands: tuple[str, ...]
) -> Group:
    kin = fit.categories.get(name) or pooled(fit)
    usual = fold(kin.base_condition)
    by_shift, slots = {kin.conditions.get(usual, 0.0): 0}, [""]
    conditions: dict[str, int] = {usual: 0}
    for condition, shift in kin.conditions.items():
        if shift not in by_shift:
            by_shift[shift] = len(slots)
            slots.append(condition)
        conditions[condition] = by_shift[shift]
    if 0.0 not in by_shift:  # what an unknown condition comes to
        by_shift[0.0] = len(slots)
        slots.append(OTHER)
    first = next(iter(by_shift))
    deal = settings.for_category("" if name == OTHER else name)
    items = (
        [_item(one) for one in known]
        if known
        else [_stand_in("" if name == OTHER else name, brand) for brand in brands]
    )
    rows: dict[int, list[tuple[Any, ...]]] = {}
    per = max(_AT_ONCE // len(slots), 1)
    parts: list[list[dict[str, Ints]]] = [[] for _ in slots]
    basis = ""
    for at in range(0, len(items), per):
        some = items[at : at + per]
        rows.clear()
        for row in lookup.rows_of_many(store, [item.root for item in some if item.root is not None]):
            rows.setdefault(row[0], []).append(row[1:])
        own = [rows.get(item.root, []) if item.root is not None else [] for item in some]
        every = [_in(item, condition) for condition in slots for item in some]
        figures, basis = _figures(fit, name, every, own * len(slots), deal)
        for slot in range(len(slots)):
            cut = slice(slot * len(some), (slot + 1) * len(some))
            parts[slot].append({column: values[cut] for column, values in figures.items()})
    return Group(
        name,
        deal,
        basis,
        kin.base_condition,
        conditions,
        tuple(slots),
        by_shift[0.0],
        tuple(shift - first for shift in by_shift),
        known,
        brands,
        {one.name: np.stack([np.concatenate([part[one.name] for part in some]) for some in parts]) for one in COLUMNS},
    )


def _figures(
    fit: Fit, category: str, items: list[Item], rows: list[list[tuple[Any, ...]]], deal: CategorySettings
) -> tuple[dict[str, Ints], str]:
    """Forecast items on every channel of their category and take each one's best, as a check does."""
    sold_on = deal.channels or (deal.terms,)
    offers = [forecast_group(fit, category, items, rows, terms, deal.rules) for terms in sold_on]
    chosen = best(offers, deal.terms, deal.rules) if len(offers) > 1 else np.zeros(len(items), dtype=np.int64)
    tables = [
        as_columns(verdict.figures(items, one), np.full(len(items), place), one.dearer)
        for place, one in enumerate(offers)
    ]
    each = np.arange(len(items))
    found = {name: np.stack([table[name] for table in tables])[chosen, each] for name in tables[0]}
    return found | at_others(offers, chosen, found, deal.rules), offers[0].speed_basis


def _item(one: Known) -> Item:
    label = one.title or f"{one.brand} {one.style_code}".strip()
    return Item(label, True, one.root, "", one.style_code, one.brand, one.category, one.title, "", "")


def _stand_in(category: str, brand: str) -> Item:
    return Item(category, False, None, "", "", brand, category, "", "", "")


def _in(item: Item, condition: str) -> Item:
    return item if not condition else Item(**{**vars(item), "condition": condition})


def counts(groups: Sequence[Group]) -> tuple[int, int]:
    """Return how many items are known, and how many records stand in for unknown ones."""
    return sum(len(one.known) for one in groups), sum(len(one.brands) for one in groups)
