"""Thresholds worth trying of one rule: round figures over what it looks at, from the loosest to the strictest."""

from __future__ import annotations

from decimal import Decimal

import numpy as np

from models.price import Floats
from sourcing.tuning.buys import Thresholds

MOST = 40
_STEPS = tuple(Decimal(step) for step in ("0.01", "0.02", "0.05", "0.1", "0.2", "0.25", "0.5", "1", "2", "5", "10"))
_FINEST = {"least_profit": Decimal("0.50"), "least_comps": Decimal("0.05")}
_LOOSER_WHERE_HIGHER = ("most_loss_chance",)
_HIGHEST = {"least_return": Decimal(20), "wanted_chance": Decimal(1), "most_loss_chance": Decimal("0.95")}


def thresholds(rule: str, seen: Floats, today: Decimal | None) -> Thresholds:
    """Return up to `MOST` thresholds, off and today's among them.

    Parameters
    ----------
    seen : (N,) what the rule looks at, of the occasions that no other rule keeps from being bought.
    """
    finite = seen[np.isfinite(seen)]
    top = float(np.quantile(finite, 0.98)) if len(finite) else 1.0
    low = float(np.quantile(finite, 0.02)) if len(finite) and rule in _LOOSER_WHERE_HIGHER else 0.0
    top = min(max(top, 0.05), float(_HIGHEST.get(rule, Decimal(100_000))))
    finest = _FINEST.get(rule, _STEPS[0])
    step = next((one for one in _STEPS if one >= finest and (top - low) / float(one) <= MOST - 4), None)
    if step is None:  # dearer goods than small steps are for
        step = Decimal(int(np.ceil((top - low) / (MOST - 4) / 10.0)) * 10)
    first, last = int(low / float(step)), int(np.ceil(top / float(step)))
    found = {number * step for number in range(first, last + 1)}
    found = {one for one in found if one <= _HIGHEST.get(rule, one)}
    if rule == "most_loss_chance":
        found.discard(Decimal(0))  # such a rule holds never
    if today is not None:
        found = {one for one in found if one != today} | {today}
    strict = sorted(found, reverse=rule in _LOOSER_WHERE_HIGHER)
    return (None, *strict)
