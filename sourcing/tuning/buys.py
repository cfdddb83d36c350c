"""Which occasions a set of rules buys: the limits of `sourcing.limits` over arrays, any threshold a comparison."""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

import numpy as np
from numpy.typing import NDArray

from models.price import Floats, Ints
from models.proceeds import Outcome
from sourcing.objective import choose
from sourcing.rules import A_DAY, Rules
from sourcing.settings import CategorySettings
from sourcing.tuning.replay import Flags, Replay

RULES = ("least_profit", "least_return", "wanted_chance", "most_loss_chance", "least_comps")
Thresholds = tuple[Decimal | None, ...]


@dataclass(frozen=True)
class Buys:
    """What G rule sets buy of N occasions, and at which asking price.

    Attributes
    ----------
    taken : (N, G). asked : (N,) index of the asking price under every rule set, or (N, G) where it depends on them.
    """

    taken: Flags
    asked: Ints


@dataclass(frozen=True)
class _Looks:
    """What the rules look at, (N,) each: at the asking prices chosen."""

    left: Floats
    hold: Floats
    landed: Ints
    least: Ints
    chance: Floats
    timed: Flags
    loss: Floats
    evidence: Floats


def buys(replay: Replay, deal: CategorySettings, rule: str, thresholds: Thresholds) -> Buys:
    """Apply a category's rules with one of them at each of G thresholds, None being off."""
    if not _moves_asking(rule, deal.rules):
        asked = asking(replay, deal)
        looks = _looks(replay, asked)
        others = _others(looks, deal.rules, rule)
        return Buys(others[:, None] & _holds(looks, rule, thresholds), asked)
    taken, picked = [], []
    for threshold in thresholds:
        there = replace(deal, rules=_with(deal.rules, rule, threshold))
        asked = asking(replay, there)
        looks = _looks(replay, asked)
        taken.append(_others(looks, there.rules, rule) & _holds(looks, rule, (threshold,))[:, 0])
        picked.append(asked)
    return Buys(np.stack(taken, axis=1), np.stack(picked, axis=1))


def bought(replay: Replay, deal: CategorySettings) -> Flags:
    """Tell which occasions a category's rules buy, as they are: (N,)."""
    return np.asarray(buys(replay, deal, RULES[0], (deal.rules.least_profit,)).taken[:, 0])


def asking(replay: Replay, deal: CategorySettings) -> Ints:
    """Choose the asking price of each occasion as a check would: (N,)."""
    none = np.zeros((len(replay), 0))
    outcome = Outcome(
        ask=replay.ask, mean_net=replay.mean_net, mean_days=replay.mean_days, by_target=replay.by_target,
        sold_by_edge=none, edges=none, rest_mean=none, rest_var=none,
    )  # fmt: skip
    return choose(outcome, deal.terms, deal.rules)


def looked_at(replay: Replay, deal: CategorySettings, rule: str) -> tuple[Floats, Flags]:
    """Return what one rule looks at of each occasion, and which of them every other rule would buy: (N,), (N,)."""
    looks = _looks(replay, asking(replay, deal))
    cost = looks.landed / 100.0
    profit = looks.left - looks.hold * cost
    seen = {
        "least_profit": profit,
        "least_return": profit / np.maximum(cost, 0.01),
        "wanted_chance": looks.chance,
        "most_loss_chance": looks.loss,
        "least_comps": looks.evidence,
    }[rule]
    return seen, _others(looks, deal.rules, rule)


def _with(rules: Rules, rule: str, threshold: Decimal | None) -> Rules:
    changed: dict[str, Any] = {rule: threshold}
    return replace(rules, **changed)


def _moves_asking(rule: str, rules: Rules) -> bool:
    """Tell whether the asking price depends on a rule's threshold, see `sourcing.objective`."""
    return rule == "wanted_chance" or (rules.objective == A_DAY and rule in ("least_profit", "least_return"))


def _looks(replay: Replay, asked: Ints) -> _Looks:
    each = np.arange(len(replay))
    hold = 1.0 + replay.rate * replay.mean_days[each, asked] / 365.0
    return _Looks(
        replay.mean_net[each, asked] - replay.labour, hold, replay.landed, replay.least,
        replay.by_target[each, asked], replay.timed, replay.loss[each, asked], replay.evidence,
    )  # fmt: skip


def _others(looks: _Looks, rules: Rules, rule: str) -> Flags:
    found = np.ones(len(looks.left), dtype=bool)
    for other in RULES:
        if other != rule:
            found &= _holds(looks, other, (getattr(rules, other),))[:, 0]
    return found


def _holds(looks: _Looks, rule: str, thresholds: Thresholds) -> Flags:
    """Tell where a rule holds at each threshold: (N, G)."""
    on = np.array([threshold is not None for threshold in thresholds])
    value = np.array([0.0 if threshold is None else float(threshold) for threshold in thresholds])
    return np.asarray(~on | _HOLDS[rule](looks, value))


def _profit(looks: _Looks, value: Floats) -> Flags:
    return _affords(looks, (looks.left[:, None] - value) / looks.hold[:, None])


def _return(looks: _Looks, value: Floats) -> Flags:
    return _affords(looks, looks.left[:, None] / (looks.hold[:, None] + value))


def _affords(looks: _Looks, bound: Floats) -> Flags:
    """Compare landed costs with the highest at which a rule holds, to the cent as `sourcing.limits` does.

    A limit of no cent is a pass at any price, also of what costs nothing.
    """
    micro = np.rint(bound * 1e6)
    cents = np.floor(micro / 1e4)
    return (micro >= 0) & (cents >= looks.landed[:, None]) & (cents >= looks.least[:, None])


def _chance(looks: _Looks, value: Floats) -> Flags:
    return np.asarray(~looks.timed[:, None] | (looks.chance[:, None] >= value))


def _loss(looks: _Looks, value: Floats) -> Flags:
    return np.asarray(looks.loss[:, None] <= value)


def _evidence(looks: _Looks, value: Floats) -> NDArray[np.bool_]:
    return np.asarray(looks.evidence[:, None] >= value)


_HOLDS = {
    "least_profit": _profit,
    "least_return": _return,
    "wanted_chance": _chance,
    "most_loss_chance": _loss,
    "least_comps": _evidence,
}
