"""The columns of a list's answers: one table that writes the file and that the docs are held to."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from sourcing.answer import Verdict
from sourcing.language import gettext_noop


@dataclass(frozen=True)
class AnswerColumn:
    """One column of the answer: name, unit, meaning; in English, said by gettext where it is shown."""

    name: str
    unit: str
    meaning: str


COLUMNS: tuple[AnswerColumn, ...] = (
    AnswerColumn("item", "text", gettext_noop("the item as it was understood")),
    AnswerColumn("flags", "text", gettext_noop("what the piece was said to have, as it was understood")),
    AnswerColumn("decision", "text", gettext_noop("buy, pass, or too little to go on")),
    AnswerColumn("binding_rule", "text", gettext_noop("the rule with the lowest limit")),
    AnswerColumn("most_worth_paying", "money", gettext_noop("the highest shelf price at which every rule holds")),
    AnswerColumn("asking_price", "money", gettext_noop("the asking price to list at, shipping charged included")),
    AnswerColumn("channel", "text", gettext_noop("channel of your settings it is best sold on")),
    AnswerColumn("sale_price_05", "money", gettext_noop("next comparable sale, 5 % point")),
    AnswerColumn("sale_price_10", "money", gettext_noop("next comparable sale, 10 % point")),
    AnswerColumn("sale_price_50", "money", gettext_noop("next comparable sale, median")),
    AnswerColumn("sale_price_90", "money", gettext_noop("next comparable sale, 90 % point")),
    AnswerColumn("sale_price_95", "money", gettext_noop("next comparable sale, 95 % point")),
    AnswerColumn(
        "days_to_sell_50", "days", gettext_noop("half of such listings sell within, or 'not reached'; empty: not known")
    ),
    AnswerColumn(
        "days_to_sell_80", "days", gettext_noop("four in five sell within, or 'not reached'; empty: not known")
    ),
    AnswerColumn("sold_within_14", "share", gettext_noop("chance sold within 14 days at that asking price")),
    AnswerColumn("sold_within_30", "share", gettext_noop("chance sold within 30 days at that asking price")),
    AnswerColumn("sold_within_60", "share", gettext_noop("chance sold within 60 days at that asking price")),
    AnswerColumn("sold_within_90", "share", gettext_noop("chance sold within 90 days at that asking price")),
    AnswerColumn("expected_proceeds", "money", gettext_noop("expected net proceeds under the price-cut plan")),
    AnswerColumn(
        "profit_before_labour", "money", gettext_noop("expected profit at the shelf price, labour not counted")
    ),
    AnswerColumn("profit_after_labour", "money", gettext_noop("expected profit at the shelf price after labour")),
    AnswerColumn("chance_of_loss", "share", gettext_noop("chance that the profit after labour is below zero")),
    AnswerColumn("comps_sold", "count", gettext_noop("sold comps used")),
    AnswerColumn("comps_unsold", "count", gettext_noop("open and ended unsold comps used")),
    AnswerColumn("comps_set_aside", "count", gettext_noop("comps set aside")),
    AnswerColumn("newest_comp", "date", gettext_noop("day of the newest comp used")),
    AnswerColumn("match", "text", gettext_noop("how closely the comps match the item")),
)


def row(verdict: Verdict) -> dict[str, str]:
    """Return one answer row as text; empty where there is no answer."""
    sale, wide, known = verdict.sale_price, verdict.sale_price_wide, bool(verdict.sold_within)
    values: dict[str, Decimal | float | int | str | None] = {
        "item": verdict.item.label,
        "flags": ", ".join(verdict.item.flags),
        "decision": verdict.decision,
        "binding_rule": verdict.binding_rule,
        "most_worth_paying": verdict.most_worth_paying,
        "asking_price": verdict.asking_price,
        "channel": verdict.channel,
        "sale_price_05": wide.low if wide else None,
        "sale_price_10": sale.low if sale else None,
        "sale_price_50": sale.mid if sale else None,
        "sale_price_90": sale.high if sale else None,
        "sale_price_95": wide.high if wide else None,
        "days_to_sell_50": _days(verdict.days_50, known),
        "days_to_sell_80": _days(verdict.days_80, known),
        **{f"sold_within_{day}": _share(verdict.sold_within.get(day)) for day in (14, 30, 60, 90)},
        "expected_proceeds": verdict.expected_proceeds,
        "profit_before_labour": verdict.profit_before_labour,
        "profit_after_labour": verdict.profit_after_labour,
        "chance_of_loss": _share(verdict.chance_of_loss),
        "comps_sold": verdict.comps_sold,
        "comps_unsold": verdict.comps_unsold,
        "comps_set_aside": verdict.comps_set_aside,
        "newest_comp": verdict.newest_comp.isoformat() if verdict.newest_comp else "",
        "match": verdict.match,
    }
    return {name: "" if value is None else str(value) for name, value in values.items()}


def _share(value: float | None) -> str:
    return "" if value is None else f"{value:.4f}"


def _days(value: int | None, known: bool) -> str:
    return str(value) if value is not None else ("not reached" if known else "")
