"""Let listings sell, day by day: each sells once its cumulative hazard passes its own exponential threshold."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from benchmarks.market.draw import FIRST, Constants, Listings, Styles, level_of
from benchmarks.market.shapes import Floats, Ints, cut_so_far, log_age, log_demand

MOST_CHEAPER = 5


def sell(
    constants: Constants,
    styles: Styles,
    listings: Listings,
    until: int,
    since: int | None = None,
    watch: Callable[[int, Ints, Floats], None] | None = None,
) -> None:
    """Run the market from the first listing to the end of day ``until``, filling in how each listing ended.

    A listing of age 1 is one day old: that is the first day on which it can sell. The asking price in force on a day
    has the cuts of the days before.

    Parameters
    ----------
    since : start after this day instead of the first listing's; what was listed before has not sold so far.
    watch : called every day with the day, and the style and log asking price over value of what is open.
    """
    config = constants.config
    order = np.argsort(listings.listed, kind="stable")
    starts = listings.listed[order]
    total = np.zeros(len(order))
    active = np.array([], dtype=np.int64)
    first = (int(starts[0]) if len(starts) else until) + 1 if since is None else since + 1
    for day in range(first, until + 1):
        low, high = np.searchsorted(starts, [day - 1 if day > first else -(10**6), day])
        active = np.concatenate([active, order[low:high]])
        style = listings.style[active]
        category = styles.category[style]
        age = day - listings.listed[active]
        ask = listings.ask[active] - listings.cuts[active] * cut_so_far(age - 1)
        value = level_of(constants, styles, style, day) + listings.offset[active]
        x = ask - value
        if watch is not None:
            watch(day, style, x)
        log = (
            np.log(constants.hazard[category] * styles.speed[style])
            + constants.season[category, day - FIRST]
            + log_age(config.age, age - 0.5)
            + log_demand(config.demand, x, constants.elasticity[category])
        )
        if config.undercut:
            log -= config.undercut * np.minimum(cheaper(style, x), MOST_CHEAPER)
        total[active] += np.exp(log)
        sold = total[active] >= listings.threshold[active]
        left = ~sold & (age >= listings.leave[active])
        done = active[sold | left]
        listings.status[done] = np.where(sold[sold | left], 1, 2)
        listings.ended[done] = day
        listings.ask_last[active] = ask
        listings.value[active] = value
        gone = active[sold]
        listings.sold[gone] = ask[sold] + listings.haggle[gone]
        active = active[~(sold | left)]


def cheaper(group: Ints, x: Floats) -> Ints:
    """Count for each listing those of its group that ask less for what they are."""
    order = np.lexsort((x, group))
    sorted_group = group[order]
    start = np.searchsorted(sorted_group, sorted_group)
    count = np.empty(len(x), dtype=np.int64)
    count[order] = np.arange(len(x)) - start
    return count
