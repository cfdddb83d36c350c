"""Look rows up in the table: by code, by misspelt words among products, narrowed down, in order, page by page."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any
from weakref import WeakKeyDictionary

from sourcing.codes import closest, parse_code, style_key
from sourcing.comps import lookup, values
from sourcing.comps.columns import OUT, STATUSES
from sourcing.comps.comp import CompRow, comps
from sourcing.comps.names import spellings
from sourcing.comps.title_index import TitleIndex
from sourcing.comps.version import Version, data_version
from sourcing.errors import BadInput, NotFound
from sourcing.language import gettext, gettext_noop
from sourcing.storage import Store

PER_PAGE = 50
MOST_ITEMS = 200  # found by words
_LEAST, _OF_BEST = 0.1, 0.6  # likeness below which a title is not meant: of one, and of the likest one's
_DAY = "coalesce(c.ended, CASE c.status WHEN 0 THEN c.seen END, c.listed)"
_PRICE = "coalesce(c.sold, c.ask)"
_FROM = "FROM comp c JOIN product p ON p.id = c.product_id"
SORTS = {
    gettext_noop("newest"): f"{_DAY} DESC NULLS LAST",
    gettext_noop("oldest"): f"{_DAY} NULLS LAST",
    gettext_noop("dearest"): f"{_PRICE} DESC NULLS LAST",
    gettext_noop("cheapest"): f"{_PRICE} NULLS LAST",
    gettext_noop("loaded last"): "c.batch_id DESC, c.row",
    gettext_noop("likest"): "{rank}",
}
"""Orders by their names, which are said by gettext where they are shown; "likest" is for searches by words alone."""

NONE = "(none)"
"""In the place of a brand, category or condition: rows without one."""


@dataclass(frozen=True)
class Filter:
    """Which rows are wanted, and in which order; "" and None do not narrow down."""

    query: str = ""  # a code, or words of brand and title
    brand: str = ""
    category: str = ""
    condition: str = ""
    status: str = ""  # one of STATUSES
    within: int | None = None  # days since it ended, was last seen open, or was listed
    older: int | None = None  # more than that many days
    counts: str = ""  # "counted", or why not: one of OUT
    batch_id: int | None = None  # brought by that load, alone or with others
    item: int | None = None  # number of a root product
    sort: str = ""  # one of SORTS; else "likest" where there is a query, "newest" where there is none
    page: int = 1


@dataclass(frozen=True)
class Found:
    """One page of rows."""

    rows: tuple[CompRow, ...]
    total: int
    page: int
    pages: int
    by: str  # how the query was understood: "code", "words", or "" without one
    sort: str


def search(store: Store, wanted: Filter, *, per_page: int = PER_PAGE) -> Found:
    """Return one page of the rows wanted.

    Raises
    ------
    BadInput
        A status, a reason, an order or a page that there is none of.
    """
    where, given = _conditions(store, wanted)
    by, hits = find_items(store, wanted.query) if wanted.query.strip() else ("", [])
    sort = wanted.sort or ("likest" if by else "newest")
    if sort not in SORTS:
        raise BadInput(
            gettext("“{sort}” is no order.", sort=sort[:40]),
            gettext("One of: {sorts}.", sorts=", ".join(SORTS)),
            field="sort",
        )
    if wanted.page < 1:
        raise BadInput(gettext("There is no page {page}.", page=wanted.page), gettext("1 or more."), field="page")
    if by:
        where.append(f"p.root IN ({','.join('?' * len(hits))})")
        given += hits
    total = store.read(f"SELECT count(*) {_FROM} WHERE {' AND '.join(where)}", given)[0][0]
    pages = max(1, -(-total // per_page))
    page = min(wanted.page, pages)
    ranks = " ".join(f"WHEN {int(root)} THEN {rank}" for rank, root in enumerate(hits))
    order = SORTS[sort].format(rank=f"CASE p.root {ranks} END" if ranks else "NULL")
    end = f"ORDER BY {order}, {SORTS['newest']}, c.product_id, c.key LIMIT ? OFFSET ?"
    rows = comps(store, " AND ".join(where), [*given, per_page, (page - 1) * per_page], end)
    return Found(tuple(rows), total, page, pages, by, sort)


def find_items(store: Store, query: str) -> tuple[str, list[int]]:
    """Return how a query was understood, "code" or "words", and the root products it may mean, the likest first."""
    by_code = _by_code(store, query)
    if by_code:
        return "code", by_code
    items = dict.fromkeys(_by_misspelt_code(store, query))
    roots, index = _title_index(store)
    near = index.nearest(query, 2 * MOST_ITEMS, _LEAST)
    likest = near[0][1] if near else 0.0
    items |= dict.fromkeys(roots[place] for place, likeness in near if likeness >= _OF_BEST * likest)
    return "words", list(items)[:MOST_ITEMS]


def root_of(store: Store, product_id: int) -> int:
    """Return the root product that a product's rows count for.

    Raises
    ------
    NotFound
        There is no such product.
    """
    found = store.read("SELECT root FROM product WHERE id = ?", (product_id,))
    if not found:
        raise NotFound(
            gettext("There is no item number {product_id}.", product_id=product_id),
            next_step=gettext("Look for it in the table."),
        )
    return int(found[0][0])


def item_of(store: Store, code: str) -> int:
    """Return the root product that a style code or barcode means.

    Raises
    ------
    BadInput
        It means none, or several.
    """
    by, items = find_items(store, code) if code.strip() else ("", [])
    if by != "code" or len(items) != 1:
        raise BadInput(
            gettext("“{code}” is no code of the table.", code=code[:40])
            if code.strip()
            else gettext("No code was given."),
            gettext("The whole style code or barcode of an item that is there."),
            gettext("Look for that item in the table first."),
            field="into",
        )
    return items[0]


def _by_code(store: Store, query: str) -> list[int]:
    """Return the item of a whole code, else the items whose codes begin with it."""
    try:
        gtin = parse_code(query).gtin
    except BadInput:
        gtin = ""
    key = style_key(query)
    whole = lookup.find_root(store, gtin, key)
    if whole is not None:
        return [whole]
    if len(key) < 3 or not any(letter.isdigit() for letter in key):
        return []
    # Between the code and the code followed by the last letter there is: an index finds that at once.
    between = (f"s:{key}", f"s:{key}\U0010ffff", MOST_ITEMS)
    found = store.read("SELECT root FROM product WHERE key > ? AND key < ? ORDER BY key LIMIT ?", between)
    if not found and key.isdigit():
        like = f"%{key}%"
        found = store.read(
            "SELECT root FROM code WHERE printf('%014d', gtin) LIKE ? ORDER BY gtin LIMIT ?", (like, MOST_ITEMS)
        )
    return list(dict.fromkeys(row[0] for row in found))


def _by_misspelt_code(store: Store, query: str) -> list[int]:
    """Return the items whose codes are most like one word that could be a code."""
    key = style_key(query)
    if len(query.split()) > 1 or not any(letter.isdigit() for letter in key):
        return []
    near = closest(key, lookup.known_codes(store))
    found = (lookup.find_root(store, code if len(code) == 14 and code.isdigit() else "", code) for code in near)
    return [root for root in found if root is not None]


_kept: WeakKeyDictionary[Store, tuple[Version, list[tuple[Any, ...]], TitleIndex]] = WeakKeyDictionary()


def _title_index(store: Store) -> tuple[list[int], TitleIndex]:
    """Return the roots of products and the index of their words, made anew only when a product has changed."""
    version = data_version(store)
    kept = _kept.get(store)
    if kept is None or kept[0] != version:
        products = store.read("SELECT root, brand, title, style_code FROM product ORDER BY id")
        same = kept is not None and kept[1] == products
        index = kept[2] if kept is not None and same else TitleIndex([" ".join(row[1:]) for row in products])
        kept = _kept[store] = (version, products, index)
    return [row[0] for row in kept[1]], kept[2]


def _conditions(store: Store, wanted: Filter) -> tuple[list[str], list[Any]]:
    """Return the conditions on comp ``c`` and product ``p``, and the values of their marks."""
    where, given = ["1"], list[Any]()
    for kind in ("brand", "category", "condition"):
        name = getattr(wanted, kind)
        if name:
            spelt = spellings(store, kind, "" if name == NONE else name)
            where.append(f"c.{kind} IN ({','.join('?' * len(spelt))})")
            given += spelt
    if wanted.status:
        if wanted.status not in STATUSES:
            raise BadInput(
                gettext("“{status}” is no status.", status=wanted.status[:40]),
                gettext("One of: {statuses}.", statuses=", ".join(STATUSES)),
                field="status",
            )
        where.append("c.status = ?")
        given.append(STATUSES.index(wanted.status))
    if wanted.counts:
        known = ("counted", *OUT[1:])
        if wanted.counts not in known:
            raise BadInput(
                gettext("“{counts}” is no reason.", counts=wanted.counts[:40]),
                gettext("One of: {known}.", known=", ".join(known)),
                field="counts",
            )
        where.append("c.out = ?")
        given.append(known.index(wanted.counts))
    today = values.days(datetime.now(UTC).date())
    for days, sign in ((wanted.within, ">="), (wanted.older, "<")):
        if days is not None:
            where.append(f"{_DAY} {sign} ?")
            given.append(today - days)
    if wanted.batch_id is not None:
        where.append(
            "(c.batch_id = ? OR EXISTS (SELECT 1 FROM also_in a WHERE a.batch_id = ? AND a.product_id = c.product_id "
            "AND a.key = c.key))"
        )
        given += [wanted.batch_id, wanted.batch_id]
    if wanted.item is not None:
        where.append("p.root = ?")
        given.append(wanted.item)
    return where, given
