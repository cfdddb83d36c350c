"""Invented answers for tests of pages: every part filled, so that every part is drawn."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

from sourcing.answer import AskChoice, Comp, Copy, Item, Limit, Query, Range, ReceiptLine, Spread, Verdict
from sourcing.depth import ASSUMES

NEWEST = date(2026, 11, 20)


def money(text: str) -> Decimal:
    return Decimal(text)


def comps() -> tuple[Comp, ...]:
    found = []
    for place in range(14):
        ended = NEWEST - timedelta(days=11 * place)
        paid = money(f"{62 + 5 * (place * 7 % 5) - place}.50")
        aside = {3: "far above the others: likely a lot of three", 9: "said to be damaged"}.get(place, "")
        found.append(
            Comp(
                "sold",
                paid * 3 if place == 3 else paid,
                paid + 5,
                ended - timedelta(days=20 + place),
                ended,
                20 + place,
                "9 US",
                "new",
                "auction hall",
                f"Fellwander Ridge trail shoe {place}",
                "same style, other size" if place % 2 else "same code",
                0 if aside else 0.08,
                aside,
            )
        )
    found.append(
        Comp(
            "open",
            None,
            money("79.00"),
            NEWEST - timedelta(days=40),
            None,
            40,
            "10 US",
            "new",
            "",
            "Fellwander Ridge, open listing",
            "same style, other size",
            0.0,
        )
    )
    return tuple(found)


def item(**changes: Any) -> Item:
    values: dict[str, Any] = {
        "label": "Fellwander Ridge trail shoe",
        "known": True,
        "root": 1,
        "gtin": "09521234567899",
        "style_code": "FWR1042",
        "brand": "Fellwander",
        "category": "shoes",
        "title": "Ridge trail shoe",
        "size": "9 US",
        "condition": "new",
    }
    return Item(**values | changes)


def verdict(**changes: Any) -> Verdict:
    query = changes.pop("query", Query(code="952123456789", shelf_price=money("24.99")))
    values: dict[str, Any] = {
        "query": query,
        "item": item(),
        "currency": "USD",
        "decision": "buy",
        "reason": "Buy: it should sell for about $61.00 in 24 days, leaving $13.20 after your time.",
        "binding_rule": "least_profit",
        "most_worth_paying": money("28.40"),
        "shelf_price": query.shelf_price,
        "landed_cost": money("26.74"),
        "asking_price": money("64.00"),
        "sale_price": Spread(money("49.10"), money("61.00"), money("75.60")),
        "sale_price_wide": Range(money("44.80"), money("82.00")),
        "speed_basis": "12 own sales and one open listing, leaning on 340 of its category.",
        "days_50": 24,
        "days_80": None,
        "sold_within": {14: 0.33, 30: 0.58, 60: 0.74, 90: 0.79},
        "expected_proceeds": money("46.30"),
        "proceeds": Spread(money("31.00"), money("46.00"), money("58.00")),
        "profit_before_labour": money("19.56"),
        "profit_after_labour": money("13.20"),
        "profit": Spread(money("-2.10"), money("13.00"), money("25.40")),
        "profit_per_hour": money("58.68"),
        "chance_of_loss": 0.12,
        "comps_sold": 12,
        "comps_unsold": 1,
        "comps_set_aside": 2,
        "newest_comp": NEWEST,
        "match": "Same style code; half in another size",
        "rests_on": "Rests on 12 sales of this style, newest 5 days old, half in another size.",
        "choices": (
            AskChoice(money("58.00"), 0.71, 18, money("43.90"), False),
            AskChoice(money("64.00"), 0.58, 24, money("46.30"), True),
            AskChoice(money("72.00"), 0.41, 49, money("45.10"), False),
        ),
        "objective": "most profit",
        "depth": (
            Copy(1, money("46.30"), 31, 0.86, money("13.20"), money("28.40"), True),
            Copy(2, money("42.80"), 52, 0.69, money("9.40"), money("25.10"), True),
            Copy(3, money("39.10"), 71, 0.53, money("5.40"), money("21.30"), False),
            Copy(4, money("36.00"), 86, 0.40, money("2.10"), money("18.20"), False),
        ),
        "worth_taking": 2,
        "depth_words": "Take up to 2: the 1st brings $13.20, the 2nd $9.40. The 3rd would bring $5.40, too little for "
        "your rules.",
        "depth_assumes": ASSUMES,
        "limits": (
            Limit("least_profit", "Profit of at least $10.00 after your time", money("28.40"), True),
            Limit("least_return", "Return on outlay of at least 30 %", money("33.00"), True),
            Limit("wanted_chance", "Sold within 60 days with a chance of at least 60 %", None, True),
        ),
        "comps": comps(),
        "receipt": (
            ReceiptLine("Buyer pays", money("64.00")),
            ReceiptLine("Fees", money("-8.62")),
            ReceiptLine("Postage and supplies", money("-8.40")),
            ReceiptLine("Landed cost", money("-26.74")),
            ReceiptLine("Your time", money("-6.36")),
            ReceiptLine("Left", money("13.88")),
        ),
        "sold_curve": tuple((day, 0.8 * (1 - 0.965**day)) for day in range(0, 121, 5)),
        "break_even_sale": money("47.80"),
        "cautions": ("Look the item up among the recalls before you sell it.",),
        "fit_made_at": datetime(2026, 11, 25, 9, 0, tzinfo=UTC),
    }
    return Verdict(**values | changes)


def passing() -> Verdict:
    limits = (Limit("least_profit", "Profit of at least $10.00 after your time", money("28.40"), False),)
    return verdict(
        query=Query(code="FWR1042", shelf_price=money("44.00")),
        decision="pass",
        limits=limits,
        reason="Pass: at $44.00 only $-3.10 would be left; it becomes a buy at $28.40.",
    )


def unknown() -> Verdict:
    return verdict(
        query=Query(code="FWR1043", shelf_price=money("20.00")),
        decision="too little to go on",
        item=item(
            label="FWR1043",
            known=False,
            root=None,
            gtin="",
            suggestions=("FWR1042", "FWR1143"),
            code_note="This looks like a style code that is not in the table.",
        ),
        reason="There are no sales of this item, nor of its kin.",
        binding_rule="",
        most_worth_paying=None,
        landed_cost=None,
        asking_price=None,
        sale_price=None,
        sale_price_wide=None,
        speed_basis="",
        days_50=None,
        sold_within={},
        expected_proceeds=None,
        proceeds=None,
        profit_before_labour=None,
        profit_after_labour=None,
        profit=None,
        profit_per_hour=None,
        chance_of_loss=None,
        comps_sold=0,
        comps_unsold=0,
        comps_set_aside=0,
        newest_comp=None,
        match="nothing matches",
        rests_on="Rests on nothing.",
        objective="",
        choices=(),
        depth=(),
        worth_taking=None,
        depth_words="",
        depth_assumes="",
        limits=(),
        comps=(),
        receipt=(),
        sold_curve=(),
        break_even_sale=None,
        would_settle="Three sales of FWR1043, or its brand and category.",
    )
