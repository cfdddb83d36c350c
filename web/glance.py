"""What a verdict says at a glance: what to do now, and why in one sentence."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Any, NamedTuple


class Glance(NamedTuple):
    """Two short sentences; ``do`` is empty where there is too little to go on."""

    do: str
    why: str


def glance(answer: Mapping[str, Any], write: Callable[[Any], str]) -> Glance:
    """Put a verdict, as it is kept, into two sentences; ``write`` shows an amount."""
    decision, most, shelf = answer["decision"], _money(answer["most_worth_paying"]), _money(answer["shelf_price"])
    rule = next((one for one in answer["limits"] if one["rule"] == answer["binding_rule"]), None)
    if decision not in ("buy", "pass"):
        return Glance("", answer["reason"])
    if decision == "pass":
        do = f"Leave it, or ask for {write(most)}." if most else "Leave it."
    elif shelf is None and most is not None:
        do = f"Take it at {write(most)} or less."
    else:
        copies = answer.get("worth_taking") or 1
        do = f"Take up to {copies}." if copies > 1 else "Take it."
    if most is None or rule is None:
        return Glance(do, answer["reason"])
    meaning = rule["meaning"].rstrip(".")
    meaning = meaning[:1].lower() + meaning[1:]
    if decision == "pass" and most <= 0:
        return Glance(do, f"This rule holds at no price: {meaning}.")
    if shelf is None:
        return Glance(do, f"The rule that decides: {meaning}.")
    apart = f"{write(most - shelf)} to spare by" if decision == "buy" else f"{write(shelf - most)} too much for"
    return Glance(do, f"{apart} the rule that decides: {meaning}.")


def _money(text: str | None) -> Decimal | None:
    return None if text is None else Decimal(text)
