"""Which of several channels an item is best sold on: the same objective that chooses the asking price.

Price and pace are taken to be alike on every channel, so that only terms tell them apart. Were comps to show that a
channel brings other prices, its forecast would be made on its own footing and compared here just the same.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from decimal import Decimal

import numpy as np

from models.price import Floats, Ints
from sourcing.forecast import Forecasts
from sourcing.language import gettext, gettext_noop
from sourcing.objective import values
from sourcing.rules import Rules
from sourcing.terms import Terms

ASSUMES = gettext_noop("It takes price and pace to be alike on each: the comps of all channels are counted together.")


def best(forecasts: Sequence[Forecasts], terms: Terms, rules: Rules) -> Ints:
    """Choose a channel for each of N items, by what each channel's own best asking price brings: indices (N,).

    The category's objective decides; where it holds several equal, the higher expected proceeds do.
    """

    def each(of: Callable[[Forecasts], Floats]) -> Floats:
        return np.column_stack([one.of_choice(of(one)) for one in forecasts])

    net = each(lambda one: one.outcome.mean_net)
    compared = replace(
        forecasts[0].outcome,
        ask=each(lambda one: one.outcome.ask),
        mean_net=net,
        mean_days=each(lambda one: one.outcome.mean_days),
        by_target=each(lambda one: one.outcome.by_target),
    )
    value = values(compared, terms, rules)
    top = value >= value.max(axis=1, keepdims=True)
    return np.asarray(np.where(top, net, -np.inf).argmax(axis=1), dtype=np.int64)


def words(channels: Sequence[str], nets: Sequence[Decimal], chosen: int, write: Callable[[Decimal], str]) -> str:
    """Say which channel an item is best sold on and by how much."""
    others = []
    for at, (name, net) in enumerate(zip(channels, nets, strict=True)):
        if at != chosen:
            others.append(_beside(name, nets[chosen] - net, write))
    best_on = gettext("Best sold on {channel}: {others}.", channel=channels[chosen], others=", ".join(others))
    return f"{best_on} {gettext(ASSUMES)}"


def _beside(channel: str, gap: Decimal, write: Callable[[Decimal], str]) -> str:
    """Say what the best channel brings beside another one."""
    if gap == 0:
        return gettext("as much as on {channel}", channel=channel)
    if gap > 0:
        return gettext("{amount} more expected than on {channel}", amount=write(gap), channel=channel)
    return gettext("{amount} less expected than on {channel}", amount=write(-gap), channel=channel)
