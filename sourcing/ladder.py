"""The break-even table: the most worth paying for every style of a brand or category, to be pinned at the rack."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from sourcing.answer import Query, Spread, Verdict
from sourcing.check import check_list, stands_on
from sourcing.codes import parse_code
from sourcing.errors import BadInput, SourcingError
from sourcing.fitting import fold
from sourcing.language import gettext, gettext_noop, separated, spoken
from sourcing.money import money_writer
from sourcing.purchase import Discounts
from sourcing.settings import CategorySettings, Settings
from sourcing.storage import Store

# Kept and compared as they are; said by gettext where they are shown.
STYLE, SIZE, CONDITION = GROUPS = (gettext_noop("style"), gettext_noop("size"), gettext_noop("condition"))
SORTS = (
    gettext_noop("name"),
    gettext_noop("most worth paying"),
    gettext_noop("soonest sold"),
    gettext_noop("best known"),
)
NONE_NAMED = gettext_noop("none named")
SIZES_OF_PAGES = (50, 200, 1000)
_AT_ONCE = 2_000  # items a pass; more would hold hundreds of megabytes at once
_MOST_KEPT = 4


@dataclass(frozen=True)
class Wanted:
    """Which items a table is of; empty texts leave nothing out."""

    brand: str = ""
    category: str = ""
    group: str = STYLE  # one of `GROUPS`: a line a style, or one for each size or condition its comps name
    discount: Discounts | None = None  # None takes the settings' own

    def __post_init__(self) -> None:
        """Refuse a grouping there is not."""
        if self.group not in GROUPS:
            raise BadInput(
                gettext("There is no line by “{group}”.", group=self.group[:40]),
                gettext("One of {groups}.", groups=", ".join(GROUPS)),
                field="group",
            )


@dataclass(frozen=True)
class Rung:
    """One line of the table."""

    label: str
    style_code: str
    brand: str
    category: str
    group: str  # the size or condition; "" for a line of the style as a whole
    most: Decimal | None  # highest shelf price; None: no limit, or not known
    known: bool  # False: too little to go on
    rule: str  # settings name of the rule that decides
    sale: Spread | None  # the next comparable sale, 80 % interval
    days_50: int | None  # None: not reached, or not known
    speed_known: bool
    sold: int
    unsold: int
    newest: date | None
    match: str
    settle: str  # what would settle it; "" where it is known


@dataclass(frozen=True)
class Ladder:
    """The whole table, unsorted lines told apart by whether there is enough to go on."""

    wanted: Wanted
    rungs: tuple[Rung, ...]
    little: tuple[Rung, ...]
    rules: tuple[tuple[tuple[str, ...], tuple[str, ...]], ...]  # categories, and the rules they share in words
    currency: str
    sold: int  # comps used; an item's count once, however many lines it has
    unsold: int
    newest: date | None
    fit_made_at: datetime | None

    def lines(self, *, little: bool = False, sort: str = SORTS[0], find: str = "") -> list[Rung]:
        """Return the lines that hold every word of ``find``, in order.

        Raises
        ------
        BadInput
            There is no such order.
        """
        if sort not in SORTS:
            raise BadInput(
                gettext("There is no order “{sort}”.", sort=sort[:40]),
                gettext("One of {sorts}.", sorts=", ".join(SORTS)),
                field="sort",
            )
        words = find.casefold().split()
        found = [one for one in (self.little if little else self.rungs) if all(word in _text(one) for word in words)]
        return sorted(found, key=_ORDERS[sort])


def ladder(store: Store, settings: Settings, wanted: Wanted) -> Ladder:
    """Work the table out in one vectorised pass a category; it is kept until the next fit, load or change of settings.

    Several passes where there are thousands of lines.
    """
    stamp = stands_on(store, settings)
    if _kept_for != [stamp] or len(_kept) > _MOST_KEPT:
        _kept.clear()
        _kept_for[:] = [stamp]
    asked = (wanted, spoken())
    if asked not in _kept:
        _kept[asked] = _worked_out(store, settings, wanted)
    return _kept[asked]


_kept: dict[tuple[Wanted, str], Ladder] = {}  # by the language too: it holds words
_kept_for: list[tuple[Any, ...]] = []


def _worked_out(store: Store, settings: Settings, wanted: Wanted) -> Ladder:
    queries = _queries(store, wanted)
    answers: list[Verdict] = []
    for at in range(0, len(queries), _AT_ONCE):
        answers += check_list(store, queries[at : at + _AT_ONCE], settings, detail=False)
    rungs = [_rung(answer, wanted.group) for answer in answers]
    known = [one for one in rungs if one.known]
    write = money_writer(settings.currency, settings.locale)
    rules: dict[tuple[str, ...], list[str]] = {}
    for name in sorted({fold(one.category) for one in known}):
        rules.setdefault(in_words(settings.for_category(name), wanted.discount, write), []).append(
            name or gettext("no category")
        )
    used = {(one.label, one.style_code): (one.sold, one.unsold) for one in known}
    made = [answer.fit_made_at for answer in answers if answer.fit_made_at is not None]
    return Ladder(
        wanted,
        tuple(known),
        tuple(one for one in rungs if not one.known),
        tuple((tuple(names), words) for words, names in rules.items()),
        settings.currency,
        sum(sold for sold, _ in used.values()),
        sum(unsold for _, unsold in used.values()),
        max((one.newest for one in known if one.newest is not None), default=None),
        made[0] if made else None,
    )


_ITEMS = "SELECT id, key, style_code, brand, category, title FROM product WHERE root = id"
_GROUPS = {
    STYLE: "SELECT p.root, '' FROM product p CROSS JOIN comp c ON c.product_id = p.id WHERE c.out = 0 GROUP BY p.root",
    SIZE: "SELECT p.root, c.size FROM product p CROSS JOIN comp c ON c.product_id = p.id WHERE c.out = 0 "
    "GROUP BY p.root, c.size",
    CONDITION: "SELECT p.root, c.condition FROM product p CROSS JOIN comp c ON c.product_id = p.id WHERE c.out = 0 "
    "GROUP BY p.root, c.condition",
}


def _queries(store: Store, wanted: Wanted) -> list[Query]:
    """Return one query a line, of items that have comps which count."""
    brand, category = fold(wanted.brand), fold(wanted.category)
    groups: dict[int, dict[str, str]] = {}
    for root, name in store.read(_GROUPS[wanted.group]):
        groups.setdefault(root, {}).setdefault(fold(name), " ".join(name.split()))
    found = []
    for root, key, style, own_brand, own_category, title in store.read(_ITEMS):
        if (brand and fold(own_brand) != brand) or (category and fold(own_category) != category):
            continue
        query = _query(key, style, title)
        for name in groups.get(root, {}).values():
            size, condition = (name if wanted.group == group else "" for group in (SIZE, CONDITION))
            found.append(replace(query, size=size, condition=condition, discount=wanted.discount))
    return found


def _query(key: str, style: str, title: str) -> Query:
    """Ask for an item by what it is kept under: its style code, its barcode or its title."""
    code = style or (key[2:] if key.startswith("g:") else "")
    try:
        if code:
            parse_code(code)
            return Query(code=code)
    except SourcingError:  # a style code that looks like a mistyped barcode
        return Query(title=title or code)
    return Query(title=title)


def _rung(answer: Verdict, group: str) -> Rung:
    item = answer.item
    return Rung(
        item.label,
        item.style_code or item.gtin,
        item.brand,
        item.category,
        "" if group == STYLE else (item.size if group == SIZE else item.condition) or NONE_NAMED,
        answer.most_worth_paying,
        answer.decision != "too little to go on",
        answer.binding_rule,
        answer.sale_price,
        answer.days_50,
        bool(answer.sold_within),
        answer.comps_sold,
        answer.comps_unsold,
        answer.newest_comp,
        answer.match,
        answer.would_settle,
    )


def in_words(deal: CategorySettings, discount: Discounts | None, write: Callable[[Decimal], str]) -> tuple[str, ...]:
    """Say the rules of one category in force, one each, and what lies between the tag and the till."""
    rules, terms = deal.rules, deal.terms
    said: Iterable[tuple[Any, str]] = (
        (
            rules.least_profit,
            gettext("expected profit of at least {amount}", amount=write(rules.least_profit or Decimal(0))),
        ),
        (
            rules.least_return,
            gettext("expected profit of at least {share} of the landed cost", share=_share(rules.least_return)),
        ),
        (
            rules.wanted_chance,
            gettext(
                "sold within {days} days with a chance of at least {chance}",
                days=rules.target_days,
                chance=_share(rules.wanted_chance),
            ),
        ),
        (
            rules.most_loss_chance,
            gettext("a chance of loss of at most {chance}", chance=_share(rules.most_loss_chance)),
        ),
        (
            rules.least_comps,
            gettext("evidence worth at least {number} sales of the item", number=separated(str(rules.least_comps))),
        ),
        (terms.tax, gettext("purchase tax of {share} counted", share=_share(terms.tax))),
        (discount, gettext("store discount {discount} taken off", discount=discount.shown() if discount else "")),
    )
    return tuple(words for value, words in said if value)


def _share(part: Decimal | None) -> str:
    return separated(f"{(part or Decimal(0)) * 100:f}".rstrip("0").rstrip(".") + "%")


def _text(one: Rung) -> str:
    return f"{one.label} {one.style_code} {one.brand} {one.category} {one.group}".casefold()


def _name(one: Rung) -> tuple[Any, ...]:
    return (fold(one.brand), fold(one.label), one.style_code, one.group)


def _most(one: Rung) -> tuple[Any, ...]:
    return (one.most is not None, -(one.most or Decimal(0)), *_name(one))


def _soonest(one: Rung) -> tuple[Any, ...]:
    return (one.days_50 is None, one.days_50 or 0, *_name(one))


def _best_known(one: Rung) -> tuple[Any, ...]:
    return (-one.sold, *_name(one))


_ORDERS = dict(zip(SORTS, (_name, _most, _soonest, _best_known), strict=True))


def as_row(one: Rung) -> dict[str, str]:
    """Return one line as text for a file; empty where there is nothing to say."""
    sale, shown = one.sale, {}
    if one.known:
        shown = {
            "most_worth_paying": "no limit" if one.most is None else str(one.most),
            "binding_rule": one.rule,
            "days_to_sell_50": str(one.days_50)
            if one.days_50 is not None
            else "not reached"
            if one.speed_known
            else "",
        }
    return dict.fromkeys(COLUMNS, "") | {
        "style_code": one.style_code,
        "item": one.label,
        "brand": one.brand,
        "category": one.category,
        "group": one.group,
        "sale_price_10": str(sale.low) if sale else "",
        "sale_price_50": str(sale.mid) if sale else "",
        "sale_price_90": str(sale.high) if sale else "",
        "comps_sold": str(one.sold),
        "comps_unsold": str(one.unsold),
        "newest_comp": one.newest.isoformat() if one.newest else "",
        "match": one.match,
        "known": "yes" if one.known else "too little to go on",
        **shown,
    }


COLUMNS = (
    "style_code", "item", "brand", "category", "group", "most_worth_paying", "binding_rule", "sale_price_10",
    "sale_price_50", "sale_price_90", "days_to_sell_50", "comps_sold", "comps_unsold", "newest_comp", "match", "known",
)  # fmt: skip
"""Columns of the file, in order; named and meant as in the answers of a list."""
