"""Which figures the pack holds of an item in one condition, and to how many decimals: one column each."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sourcing.verdict import CHANCE, MONEY, SOLD_WITHIN, TIED, WORTH, Figures

Ints = NDArray[np.int64]
_EPOCH_ORDINAL = 719_163  # date(1970, 1, 1).toordinal()


class Column(NamedTuple):
    """One column of whole numbers: a figure is the number over 10 to the power of ``decimals``.

    ``scales`` says that the figure goes with the level of prices, so that its value in another condition is foretold
    by its value in the usual one. ``at_others`` says that it is one at the price others get, and nothing
    where `others` is 0.
    """

    name: str
    decimals: int
    scales: bool = False
    at_others: bool = False


COLUMNS = (
    Column("ask", MONEY, True),
    Column("sale_50", MONEY, True),
    Column("sale_90", MONEY, True),
    Column("sale_10", MONEY, True),
    Column("net", MONEY, True),
    Column("net_10", MONEY, True),
    Column("net_50", MONEY, True),
    Column("net_90", MONEY, True),
    Column("net_loss", MONEY, True),
    Column("tied", TIED),
    Column("by_target", CHANCE),
    *(Column(f"sold_{day}", CHANCE) for day in SOLD_WITHIN),
    Column("days_50", 0),  # 0: not reached
    Column("days_80", 0),
    Column("evidence", WORTH),
    Column("channel", 0),  # place among the channels of its category
    Column("dearer", 0),  # 1: the asking price lies above those the market has shown
    Column("sold", 0),
    Column("unsold", 0),
    Column("newest", 0),  # day since 1970-01-01; 0: undated or none
    Column("others", 0),  # 1: a dearer asking price is advised than others get, and the limit at theirs is shown too
    Column("others_net", MONEY, True, True),
    Column("others_loss", MONEY, True, True),
    Column("others_tied", TIED, at_others=True),
    Column("others_by_target", CHANCE, at_others=True),
)
"""In the order they are written, each after those it is foretold by."""
OTHERS = tuple(one.name for one in COLUMNS if one.at_others)


def as_columns(figures: Figures, channel: Ints, dearer: NDArray[np.bool_]) -> dict[str, Ints]:
    """Return N items' figures as whole numbers by column, but for those at the price others get: (N,) each."""
    level, net = np.array(figures.level).reshape(-1, 3), np.array(figures.net_quantiles).reshape(-1, 3)
    within = np.array(figures.sold_within).reshape(-1, len(SOLD_WITHIN))
    plain = {
        "ask": figures.ask, "sale_10": level[:, 0], "sale_50": level[:, 1], "sale_90": level[:, 2],
        "net": figures.mean_net, "net_10": net[:, 0], "net_50": net[:, 1], "net_90": net[:, 2],
        "net_loss": figures.loss_net, "tied": figures.tied_days, "by_target": figures.by_target,
        **{f"sold_{day}": within[:, at] for at, day in enumerate(SOLD_WITHIN)},
        "days_50": np.maximum(figures.days_50, 0), "days_80": np.maximum(figures.days_80, 0),
        "evidence": figures.evidence, "channel": channel, "dearer": dearer,
        "sold": [one.sold for one in figures.support], "unsold": [one.unsold for one in figures.support],
        "newest": [0 if one.newest is None else one.newest.toordinal() - _EPOCH_ORDINAL for one in figures.support],
    }  # fmt: skip
    return {one.name: whole(plain[one.name], one.decimals) for one in COLUMNS if one.name in plain}


def whole(values: ArrayLike, decimals: int) -> Ints:
    """Return figures that are rounded already as the whole numbers that are kept."""
    found: Ints = np.rint(np.asarray(values, dtype=np.float64) * 10**decimals).astype(np.int64)
    return found
