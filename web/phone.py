"""The page of a check and the phone: what is kept there of a piece taken here, and what the phone had said."""

from __future__ import annotations

import re
from datetime import date
from decimal import Decimal
from typing import Any, Literal, NamedTuple

from sourcing import sent
from sourcing.answer import DECISIONS
from web.state import settings, store


class Phone(NamedTuple):
    """For the page of one check.

    Attributes
    ----------
    server : by what phones tell these data from others.
    shown : what a phone keeps of a piece taken on the page, as its own pages do: whole cents, minutes.
    said : what the phone had said of the check before it was sent; None where no phone had. at : when it did.
    differs : whether that was another decision, or another most worth paying.
    """

    server: str
    shown: dict[str, Any]
    said: dict[str, Any] | None
    at: str
    differs: Literal["", "word", "limit"]  # what the phone had said otherwise


def phone(check_id: int, answer: dict[str, Any]) -> Phone:
    """Return what the page of one check needs."""
    kept = sent.said_of_check(store(), check_id) or {}
    said = _readable(kept.get("shown"))
    differs: Literal["", "word", "limit"] = ""
    if said is not None and said["decision"] != answer["decision"]:
        differs = "word"
    elif said is not None and _cents(said["most"]) != _cents(answer["most_worth_paying"]):
        differs = "limit"
    return Phone(sent.server_name(store()), _shown(answer), said, str(kept.get("at", "")), differs)


def _readable(said: Any) -> dict[str, Any] | None:
    """Return what a phone sent of its verdict, where it is whole: a phone may be of another version."""
    if not isinstance(said, dict) or said.get("decision") not in DECISIONS:
        return None
    most, built = said.get("most"), str(said.get("built", ""))[:10]
    if most is not None and not re.fullmatch(r"[0-9]{1,9}(\.[0-9]{1,2})?", str(most)):
        return None
    try:
        date.fromisoformat(built)
    except ValueError:
        return None
    return said


def _shown(answer: dict[str, Any]) -> dict[str, Any]:
    from sourcing.flags.marked import flagged

    item, kept = answer["item"], settings()
    terms = flagged(kept.for_category(item["category"]), kept, tuple(item.get("flags", ()))).terms
    return {
        "label": item["label"],
        "decision": answer["decision"],
        "landed": _cents(answer["landed_cost"]),
        "profit": _cents(answer["profit_after_labour"]),
        "minutes": float(terms.prep_minutes),
        "style": item["style_code"],
        "category": item["category"],
        "size": item["size"],
    }


def _cents(amount: Any) -> int | None:
    return None if amount is None else round(Decimal(str(amount)) * 100)
