"""A pack of random figures, rules and terms, and what the server's own judging makes of them; nothing here is real."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from types import SimpleNamespace
from typing import Any

import numpy as np

from sourcing import check, prospect
from sourcing.answer import Query, Verdict
from sourcing.codes import check_digit
from sourcing.day import day_writer
from sourcing.pack.figures import COLUMNS, Ints
from sourcing.pack.file import as_bytes
from sourcing.pack.header import money_in_plain
from sourcing.pack.reckoned import OTHER, Group, Known, _item, _stand_in
from sourcing.purchase import Discounts, Step
from sourcing.rules import OBJECTIVES, Rules
from sourcing.settings import CategorySettings, Settings
from sourcing.terms import Terms
from sourcing.verdict import SOLD_WITHIN, Figures, Support, _match

CONDITIONS = {"new": 0.0, "new, no box": -0.12, "used": -0.45}
_MADE = datetime(2026, 1, 2, 3, 4, 5, tzinfo=UTC)
Draw = np.random.Generator


def deal(draw: Draw) -> CategorySettings:
    """Make up rules and terms; a rule is off now and then."""

    def money(most: float, places: int = 2) -> Decimal:
        return Decimal(f"{draw.uniform(0, most):.{places}f}")

    def rule(value: Decimal) -> Decimal | None:
        return None if draw.random() < 0.2 else value

    terms = Terms(
        purchase_tax=draw.choice([Decimal(0), money(0.25, 4), Decimal("0.0825")]),
        resale_exemption=draw.choice(["no", "no", "yes"]),
        store_discount=discount(draw) if draw.random() < 0.3 else Discounts(),
        capital_rate=money(0.6, 3),
        hourly_value=money(40),
        **{f"{step}_minutes": money(12, 1) for step in ("clean", "photograph", "list", "pack")},
    )
    rules = Rules(
        rule(money(25)), rule(money(0.8, 3)), int(draw.integers(7, 180)), rule(money(0.95)), rule(money(0.6)),
        rule(money(2)), OBJECTIVES[int(draw.integers(3))],
    )  # fmt: skip
    others = (Terms(channel="second", hourly_value=money(40)),) if draw.random() < 0.3 else ()
    return CategorySettings(terms, rules, (terms, *others) if others else ())


def discount(draw: Draw) -> Discounts:
    """Make up one to three steps."""
    shares = draw.random(int(draw.integers(1, 4))) < 0.6
    return Discounts(
        *(Step(Decimal(int(draw.integers(1, 70 if share else 900))) / 100, bool(share)) for share in shares)
    )


def figures(draw: Draw, slots: int, count: int, channels: int) -> dict[str, Ints]:
    """Make up figures in their order of size and beyond it: losses, no evidence, nothing sold."""
    level = np.exp(draw.normal(3.4, 0.8, (slots, count)))
    spread = draw.uniform(0.05, 0.6, (slots, count))
    net = level * 0.8 - 9 + draw.normal(0, 3, (slots, count))
    whole = {
        "ask": level * 1.1, "sale_10": level * np.exp(-spread), "sale_50": level, "sale_90": level * np.exp(spread),
        "net": net, "net_10": net - 9, "net_50": net + 1, "net_90": net + 8,
        "net_loss": net - draw.uniform(0, 9, net.shape),
    }  # fmt: skip
    found = {name: np.rint(values * 100).astype(np.int64) for name, values in whole.items()}
    found["tied"] = draw.integers(0, 2_000, (slots, count))
    chances = np.sort(draw.integers(0, 10_001, (len(SOLD_WITHIN) + 1, slots, count)), axis=0)
    found |= dict(zip(("by_target", *(f"sold_{day}" for day in SOLD_WITHIN)), chances, strict=True))
    most = {"days_50": 300, "days_80": 366, "evidence": 900, "channel": channels, "dearer": 2, "sold": 40, "unsold": 30}
    found |= {name: draw.integers(0, top, (slots, count)) for name, top in most.items()}
    found["newest"] = np.where(draw.random((slots, count)) < 0.1, 0, draw.integers(19_000, 21_000, (slots, count)))
    found["others"] = (draw.random((slots, count)) < 0.6).astype(np.int64)
    there = {
        "others_net": found["net"] - draw.integers(-200, 900, net.shape),
        "others_loss": found["net_loss"] - draw.integers(-200, 900, net.shape),
        "others_tied": draw.integers(0, 2_000, (slots, count)),
        "others_by_target": draw.integers(0, 10_001, (slots, count)),
    }
    found |= {name: np.where(found["others"] == 1, values, 0) for name, values in there.items()}
    return {one.name: found[one.name] for one in COLUMNS}


def made_up(draw: Draw, groups: int, each: int, settings: Settings) -> tuple[bytes, list[Group]]:
    """Make a pack of so many categories with so many items each, and one more that stands in for unknown ones."""
    found, codes, number = [], [], 0
    for at in range(groups):
        own = deal(draw)
        known = []
        for _ in range(each):
            number += 1
            known.append(Known(number, f"s:MU{number:07d}", f"MU{number:07d}", f"Maker {number % 90}", f"kind {at}",
                               f"Made-up thing {number}"))  # fmt: skip
            body = f"0952{number:09d}"
            codes.append((int(body + check_digit(body)), number))
        basis = "made-up sales" if draw.random() < 0.85 else ""
        found.append(_group(draw, f"kind {at}", own, basis, tuple(known), ()))
    for at in range(groups):
        found.append(_group(draw, f"kind {at}", found[at].deal, found[at].speed_basis, (), ("", "maker 1")))
    found.append(_group(draw, OTHER, deal(draw), "", (), ("",)))
    made = _MADE.isoformat()
    about = {
        "stamp": "made up", "built": made, "learnt": made, "day": "2026-01-02", "fees_until": None, "comps": 1,
        "sold": 1, "currency": settings.currency, "locale": settings.locale, "newest_comp": None, "codes": len(codes),
    }  # fmt: skip
    said = {"about": about, "money": money_in_plain(settings), "flags": [], "haul": {}}
    return as_bytes(found, codes, [], said), found


def _group(
    draw: Draw, name: str, own: CategorySettings, basis: str, known: tuple[Known, ...], brands: tuple[str, ...]
) -> Group:
    slots = tuple(CONDITIONS) if name != OTHER else ("",)
    values = figures(draw, len(slots), len(known) or len(brands), len(own.channels) or 1)
    places = {condition: place for place, condition in enumerate(slots)}
    shifts = tuple(CONDITIONS.values())[: len(slots)]
    return Group(
        name, own, basis, "new", places if name != OTHER else {"new": 0}, slots, 0, shifts, known, brands, values
    )


def wanted(group: Group, record: int, query: Query, settings: Settings) -> dict[str, Any]:
    """Judge one record as the server does, at the price that others get too where that is to be shown."""
    slot = group.conditions.get(" ".join(query.condition.casefold().split()), group.other) if query.condition else 0
    one = {name: int(values[slot, record]) for name, values in group.figures.items()}
    answer, beside = _answered(group, record, one, query, settings).as_dict(), None
    if one["others"] and answer["asking_price"] is not None:
        own = {"ask": "sale_50", "net": "others_net", "net_loss": "others_loss", "tied": "others_tied",
               "by_target": "others_by_target"}  # fmt: skip
        there = {name: one[other] for name, other in own.items()}
        said = _answered(group, record, one | there, query, settings).as_dict()
        beside = {name: said[name] for name in ("decision", "most_worth_paying")}
    return answer | {"at_others": beside}


def _answered(group: Group, record: int, one: dict[str, int], query: Query, settings: Settings) -> Verdict:
    """Judge one record by its figures before they were packed."""
    category = query.category if group.category == OTHER else group.category  # an unknown one is kept as it was asked
    item = _item(group.known[record]) if group.known else _stand_in(category, group.brands[record])
    newest = date(1970, 1, 1) + timedelta(one["newest"]) if one["newest"] else None
    match = _match(item, one["sold"], 0)
    when = f", newest {day_writer()(newest)}" if newest else ", undated"
    rests = (
        f"{one['sold']} sold and {one['unsold']} unsold comps{when}; {match}."
        if one["sold"] + one["unsold"]
        else f"No comps of its own ({match})."
    )
    support = Support(one["sold"], one["unsold"], 0, newest, match, rests)
    figure = Figures(
        [[one[name] / 100 for name in ("sale_10", "sale_50", "sale_90")]], [[1.0, 2.0]], [one["evidence"] / 100],
        [one["ask"] / 100], [one["net"] / 100], [one["tied"] / 10], [one["by_target"] / 10_000],
        [one["net_loss"] / 100], [[one[name] / 100 for name in ("net_10", "net_50", "net_90")]],
        [one["days_50"] or -1], [one["days_80"] or -1], [[one[f"sold_{day}"] / 10_000 for day in SOLD_WITHIN]],
        [support],
    )  # fmt: skip
    forecasts: Any = SimpleNamespace(speed_basis=group.speed_basis, dearer=[bool(one["dearer"])])
    fit: Any = SimpleNamespace(made_at=_MADE)
    sold_on = group.deal.channels or (group.deal.terms,)
    own = group.deal.on(sold_on[one["channel"]].channel)
    base = prospect._base(query, item, [], settings, own, fit, forecasts, figure, 0, False)
    return check._at_price(prospect.Prospect(base, own, settings.locale, forecasts, figure, 0), query, 0.0, True)
