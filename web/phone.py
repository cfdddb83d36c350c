"""The page of a check and the phone: what is kept there of a piece taken here, and what the phone had said."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any, Literal, NamedTuple

from sourcing import sent
from sourcing.answer import DECISIONS
from web.state import settings, store

Differs = Literal["", "word", "limit", "figure"]  # what the phone had said otherwise
FRESH = timedelta(days=1)  # an older pack is named even where it said the same


class Phone(NamedTuple):
    """For the page of one check.

    Attributes
    ----------
    server : by what phones tell these data from others.
    shown : what a phone keeps of a piece taken on the page, as its own pages do: whole cents, minutes.
    said : what the phone had said of the check before it was sent; None where no phone had. at : when it did.
    differs : whether that was another decision, another most worth paying, or another of the three figures below.
    told : whether the page says so: what is the same, by a pack not older than a day, needs no word.
    """

    server: str
    shown: dict[str, Any]
    said: dict[str, Any] | None
    at: str
    differs: Differs
    told: bool


def phone(check_id: int, answer: dict[str, Any]) -> Phone:
    """Return what the page of one check needs."""
    kept = sent.said_of_check(store(), check_id) or {}
    said = _readable(kept.get("shown"))
    at = str(kept.get("at", ""))
    differs = "" if said is None else _differs(said, answer)
    told = said is not None and (bool(differs) or _old(str(said["built"]), at))
    return Phone(sent.server_name(store()), _shown(answer), said, at, differs, told)


def _differs(said: dict[str, Any], answer: dict[str, Any]) -> Differs:
    if said["decision"] != answer["decision"]:
        return "word"
    if _cents(said["most"]) != _cents(answer["most_worth_paying"]):
        return "limit"
    others = (answer["sale_price"] or {}).get("mid")
    here = {"others": others, "days": answer["days_50"], "profit": answer["profit_after_labour"]}
    had = said.get("figures")  # not from a phone whose page is older
    if isinstance(had, dict) and any(str(had.get(name)) != str(value) for name, value in here.items()):
        return "figure"
    return ""


def _old(built: str, at: str) -> bool:
    """Whether a pack was older than a day when the phone judged by it; True where that cannot be told."""
    try:
        return _moment(at) - _moment(built) > FRESH
    except ValueError:
        return True


def _moment(text: str) -> datetime:
    found = datetime.fromisoformat(text)
    return found if found.tzinfo else found.replace(tzinfo=UTC)


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
