"""Where evidence is, and where it is missing: how old and how thick by category, and what was asked for in vain."""

from __future__ import annotations

import json
from collections import defaultdict
from dataclasses import dataclass
from datetime import UTC, date, datetime
from statistics import median

from sourcing.comps import values
from sourcing.comps.titles import fold_title
from sourcing.language import gettext_noop
from sourcing.storage import Store

AGES = (30, 90, 180, 365)
"""Days that part the ages; older, and undated, stand behind them."""

AGE_WORDS = (  # said by gettext where they are shown
    gettext_noop("up to 30 days"),
    gettext_noop("31 to 90"),
    gettext_noop("91 to 180"),
    gettext_noop("181 to 365"),
    gettext_noop("older"),
    gettext_noop("no day"),
)
_MOST_CHECKS = 20_000  # of the history, the newest first


@dataclass(frozen=True)
class Thickness:
    """What the table holds of one category; rows that do not count are left out."""

    category: str  # "" for rows without one
    by_age: tuple[int, ...]  # rows, in the order of `AGE_WORDS`
    items: int
    sold_an_item: float  # median sales of its items
    thin: int  # items with fewer than three sales
    newest: date | None

    @property
    def rows(self) -> int:
        """How many there are."""
        return sum(self.by_age)


@dataclass(frozen=True)
class Wanted:
    """An item whose checks ended as too little to go on, and that were the last word on it."""

    label: str
    code: str
    category: str
    times: int
    last: str  # ISO 8601
    check_id: int  # the last of them
    known: bool  # whether the table held rows of it then


def thickness(store: Store, today: date | None = None) -> list[Thickness]:
    """Count rows by category and age, the categories with most rows first."""
    now = values.days(today or datetime.now(UTC).date())
    steps = " ".join(f"WHEN day >= {now - limit} THEN {place}" for place, limit in enumerate(AGES))
    rows = store.read(
        f"SELECT root, category, status = 1, CASE WHEN day IS NULL THEN {len(AGES) + 1} {steps} ELSE {len(AGES)} END, "  # noqa: S608
        "count(*), max(day) FROM (SELECT p.root, c.category, c.status, "
        "coalesce(c.ended, CASE c.status WHEN 0 THEN c.seen END, c.listed) AS day "
        "FROM comp c JOIN product p ON p.id = c.product_id WHERE c.out = 0) GROUP BY 1, 2, 3, 4"
    )
    ages: dict[str, list[int]] = defaultdict(lambda: [0] * len(AGE_WORDS))
    sales: dict[str, dict[int, int]] = defaultdict(lambda: defaultdict(int))
    spelt: dict[str, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    newest: dict[str, int] = {}
    for root, category, sold, age, count, day in rows:
        key = fold_title(category)
        ages[key][age] += count
        sales[key][root] += count * sold
        spelt[key][category] += count
        if day is not None:
            newest[key] = max(day, newest.get(key, day))
    found = [
        Thickness(
            category=min(spelt[key], key=lambda text: (-spelt[key][text], text)),
            by_age=tuple(counts),
            items=len(sales[key]),
            sold_an_item=float(median(sales[key].values())),
            thin=sum(sold < 3 for sold in sales[key].values()),
            newest=date.fromisoformat(values.iso(newest[key])) if key in newest else None,
        )
        for key, counts in ages.items()
    ]
    return sorted(found, key=lambda one: (-one.rows, one.category))


def most_wanted(store: Store, limit: int = 50) -> list[Wanted]:
    """Return the items comps are most worth gathering for: those most often, then most recently, asked for in vain.

    An item whose last check had an answer is left out.
    """
    rows = store.read(
        "SELECT id, at, code, label, decision, query, json_extract(answer, '$.item') FROM checked "
        "ORDER BY id DESC LIMIT ?",
        (_MOST_CHECKS,),
    )
    settled: set[str] = set()
    wanted: dict[str, list[int]] = {}
    last: dict[str, tuple[int, str, str, str, str, bool]] = {}
    for check_id, at, code, label, decision, query, item in rows:
        told = json.loads(item or "{}")
        key = told.get("style_code") or told.get("gtin") or code or fold_title(label)
        if key in settled:
            continue
        if decision != "too little to go on":
            if key not in wanted:
                settled.add(key)
            continue
        wanted.setdefault(key, []).append(check_id)
        category = told.get("category") or json.loads(query).get("category", "")
        last.setdefault(key, (check_id, label, code, category, at, bool(told.get("known"))))
    ordered = sorted(wanted, key=lambda key: (-len(wanted[key]), -last[key][0]))[:limit]
    found = []
    for key in ordered:
        check_id, label, code, category, at, known = last[key]
        found.append(Wanted(label, code, category, len(wanted[key]), at, check_id, known))
    return found
