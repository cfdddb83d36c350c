"""What a verdict says at a glance: what to do now, and why in one sentence."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Any, NamedTuple

from sourcing.language import gettext
from web.filters import inside


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
        do = gettext("Leave it, or ask for {price}.", price=write(most)) if most else gettext("Leave it.")
    elif shelf is None and most is not None:
        do = gettext("Take it at {price} or less.", price=write(most))
    else:
        copies = answer.get("worth_taking") or 1
        do = gettext("Take up to {count}.", count=copies) if copies > 1 else gettext("Take it.")
    if most is None or rule is None:
        return Glance(do, answer["reason"])
    meaning = inside(rule["meaning"].rstrip("."))
    if decision == "pass" and most <= 0:
        return Glance(do, gettext("No price meets this rule: {rule}.", rule=meaning))
    if shelf is None:
        return Glance(do, gettext("The rule that decides: {rule}.", rule=meaning))
    if decision == "buy":
        spare = write(most - shelf)
        return Glance(do, gettext("{amount} to spare by the rule that decides: {rule}.", amount=spare, rule=meaning))
    over = write(shelf - most)
    return Glance(do, gettext("{amount} too much for the rule that decides: {rule}.", amount=over, rule=meaning))


def _money(text: str | None) -> Decimal | None:
    return None if text is None else Decimal(text)
