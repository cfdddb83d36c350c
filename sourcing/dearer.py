"""Why a dearer asking price that would bring more was not chosen: what `sourcing.objective` does, in a sentence."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal
from typing import Any, NamedTuple

from sourcing.language import gettext, separated
from sourcing.rules import PROFIT, Rules

_RULE = "wanted_chance"


class Ask(NamedTuple):
    """One asking price that could be chosen."""

    ask: Decimal
    brings: Decimal
    chance: float | None  # sold by the target day; None: not known
    chosen: bool


def passed_over(asks: Sequence[Ask], objective: str, rules: Rules, write: Callable[[Decimal], str]) -> str:
    """Say that the rule of the chance within the target days kept dearer ones out; "" where it did not.

    It did where every price that brings more than the chosen one misses that chance, and the chosen one meets it: where
    none does, the rule keeps nothing out.
    """
    wanted, chosen = rules.wanted_chance, next((one for one in asks if one.chosen), None)
    if objective != PROFIT or wanted is None or chosen is None or not _meets(chosen, wanted):
        return ""
    better = [one for one in asks if one.brings > chosen.brings]
    if not better or any(_meets(one, wanted) or one.ask < chosen.ask for one in better):
        return ""
    return gettext(
        "Some prices above {ask} bring more on average, but only those that sell within {days} days with a chance of "
        "at least {wanted} are chosen from, as your rule asks.",
        ask=write(chosen.ask),
        days=rules.target_days,
        wanted=separated(f"{wanted:.0%}"),
    )


def passed_over_then(answer: Mapping[str, Any], rules: Rules, write: Callable[[Decimal], str]) -> str:
    """Do as `passed_over` for a kept answer (`Verdict.as_dict`); "" where the rule reads otherwise today.

    A kept answer holds the rule as it was said on its day, and no number of it.
    """
    said = next((limit["meaning"] for limit in answer.get("limits", ()) if limit["rule"] == _RULE), None)
    if said is None or rules.wanted_chance is None or not _reads(said, rules):
        return ""
    asks = [
        Ask(Decimal(one["ask"]), Decimal(one["expected_proceeds"]), one["chance_by_target"], one["chosen"])
        for one in answer.get("choices", ())
    ]
    return passed_over(asks, answer.get("objective", ""), rules, write)


def _meets(one: Ask, wanted: Decimal) -> bool:
    return one.chance is not None and one.chance >= float(wanted)


def _reads(said: str, rules: Rules) -> bool:
    """Tell whether the rule was said as it would be now, whatever chance it found."""
    before, after = gettext(
        "Sold within {days} days with a chance of {wanted}: it is {chance}",
        days=rules.target_days,
        wanted=separated(f"{rules.wanted_chance:.0%}"),
        chance="\n",
    ).split("\n")
    return said.startswith(before) and said.endswith(after)
