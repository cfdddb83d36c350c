"""Which asking price to list at: what the user is after, among those the market is forecast for."""

from __future__ import annotations

import numpy as np

from models.price import Floats, Ints
from models.proceeds import Outcome
from sourcing.rules import A_DAY, DEAREST, Rules
from sourcing.terms import Terms

_EVEN = 0.5  # the chance wanted where that rule is off and the objective needs one


def choose(result: Outcome, terms: Terms, rules: Rules) -> Ints:
    """Choose one asking price an item, as an index into its K: shape (N,).

    Only those that meet the wanted chance of a sale by the target day count, where any does. None of the objectives
    looks at the shelf price, so that a forecast holds at any.
    """
    return np.asarray(values(result, terms, rules).argmax(axis=1), dtype=np.int64)


def values(result: Outcome, terms: Terms, rules: Rules) -> Floats:
    """Value asking prices (N, K) by the objective; those that sell too late are worth nothing while any does not."""
    value = _VALUES.get(rules.objective, _profit)(result, terms, rules)
    if rules.wanted_chance is not None:
        quick = result.by_target >= float(rules.wanted_chance)
        value = np.where(quick | ~quick.any(axis=1, keepdims=True), value, -np.inf)
    return value


def _profit(result: Outcome, terms: Terms, _rules: Rules) -> Floats:
    """Value asking prices (N, K) by expected proceeds less the cost of cash tied up."""
    outlay = np.maximum(result.mean_net.max(axis=1, keepdims=True), 0.0)
    value: Floats = result.mean_net - float(terms.capital_rate) * result.mean_days / 365.0 * outlay
    return value


def _profit_a_day(result: Outcome, terms: Terms, rules: Rules) -> Floats:
    """Value asking prices (N, K) by expected profit per day of cash tied up, at a stand-in for the outlay.

    Profit a day needs an outlay, and the shelf price must not be it. The stand-in is the dearest purchase the user's
    own least profit allows at the best asking price: the one at which the choice decides between buying and passing.
    Cash costs the same every day at one outlay, so that its cost a day changes no order and is left out.
    """
    left = result.mean_net - float(terms.labour())
    best = np.maximum(left.max(axis=1, keepdims=True), 0.0)
    if rules.least_profit is not None:
        wanted = np.minimum(float(rules.least_profit), best)
    elif rules.least_return is not None:
        wanted = best * float(rules.least_return) / (1.0 + float(rules.least_return))
    else:
        wanted = best  # nothing is asked of a profit, and nothing stands in: as if it cost nothing
    profit = left - (best - wanted)
    # A loss spread over more days is no smaller.
    value: Floats = np.where(profit > 0, profit / np.maximum(result.mean_days, 1e-9), profit)
    return value


def _dearest(result: Outcome, _terms: Terms, rules: Rules) -> Floats:
    """Value asking prices (N, K) by themselves where they sell in time; where none does, by the chance that they do."""
    wanted = _EVEN if rules.wanted_chance is None else float(rules.wanted_chance)
    quick = result.by_target >= wanted
    # Chances stay below 1 and asking prices are never below a cent, so that adding 1 keeps the two apart.
    value: Floats = np.where(quick, 1.0 + result.ask, result.by_target)
    return value


_VALUES = {A_DAY: _profit_a_day, DEAREST: _dearest}
