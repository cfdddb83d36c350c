"""The engine's promises held against what happened later, before they are believed.

The time to sell is learnt again from what was known some weeks ago, and what it promised is compared with what became
of the listings that began since. Their first sixteen days count, in which hardly any seller cuts, so that the asking
price on record is the one that was promised for.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from models.frailty import Mixture
from models.price import Floats, Ints, PriceModel
from models.response import read
from models.season import usual_pace
from models.speed import pieces_exposure
from sourcing.pace import learn_pace
from sourcing.training import Flags, Training

_BACK = (40.0, 80.0)  # days before the newest at which the promises were made
_WEEKS = 40.0  # days for whose new listings they are checked
_SOON = 16.0  # days in which hardly anyone cuts
_FEWEST = 30  # sales promised, below which nothing is concluded
_USUAL = 0.1  # how far promises are usually off, in log hazard


@dataclass(frozen=True)
class Kept:
    """Sales promised and made within sixteen days."""

    promised: float
    sold: int


def check(table: Training, offsets: Floats) -> list[Kept]:
    """Look at the promises of each of some days; what cannot be checked is left out."""
    if np.isnan(table.listed).all() or not ((table.state != 1) & ~np.isnan(table.duration)).any():
        return []
    return [kept for back in _BACK if (kept := _at(table, offsets, table.as_of - back)) is not None]


def correction(looks: list[Kept]) -> float:
    """Return the factor by which promised hazards are to be corrected.

    The log of sales over promises is averaged over the days it was looked at and drawn towards nothing by its own
    spread and by how few sales there were: one look may be luck, or a season.
    """
    looks = [one for one in looks if one.promised >= _FEWEST]
    if not looks:
        return 1.0
    logs = np.array([np.log((one.sold + 1.0) / (one.promised + 1.0)) for one in looks])
    noise = np.array([1.0 / (one.promised + 1.0) for one in looks])
    spread = float(np.mean((logs - logs.mean()) ** 2)) if len(logs) > 1 else _USUAL**2
    precision = 1.0 / (noise + spread)
    return float(np.exp(precision @ logs / (precision.sum() + 1.0 / _USUAL**2)))


def _at(table: Training, offsets: Floats, day: float) -> Kept | None:
    """Compare what would have been promised on one day with what came of the listings begun in the weeks after."""
    early = _known_on(table, day)
    late: Flags = (table.listed > day) & (table.listed <= day + _WEEKS) & ~np.isnan(table.asked * table.duration)
    if early.sold.sum() < 60 or late.sum() < _FEWEST:
        return None
    model = PriceModel().fit(early.priced(early.sold), offsets)
    # Levels are those of the day, for the old listings and the new: nothing later is looked at.
    level = model.level_[table.variant] + model.condition_[table.category, table.condition]
    variance = model.level_var_[table.variant]
    x = np.log(table.asked) - level
    for category in range(len(table.categories)):
        here = table.category == category
        x[here & np.isnan(x)] = np.nanmedian(x[here]) if np.isfinite(x[here]).any() else 0.0
    old: Flags = table.listed <= day
    pace = learn_pace(early, level[old], variance[old])
    if any(one["rate"] is None for one in pace["categories"]):
        return None
    promised = _promised(table, early, old, pace, x, late)
    sold = (table.state == 1) & (table.duration <= _SOON)
    return Kept(float(promised[late].sum()), int(sold[late].sum()))


def _known_on(table: Training, day: float) -> Training:
    """Return the listings begun by a day as they stood then."""
    old = table.listed <= day
    going = (table.state == 0) | (table.ended > day)
    state = np.where(going, 0, table.state)
    every = {
        name: getattr(table, name)[old]
        for name in ("category", "cell", "product", "variant", "condition", "listed", "asked")
    }
    return replace(
        table,
        **every,
        state=state[old],
        ended=np.where(going, np.nan, table.ended)[old],
        seen=np.where(going, np.minimum(np.where(table.state == 0, table.seen, table.ended), day), np.nan)[old],
        paid=np.where(going, np.nan, table.paid)[old],
    )


def _promised(table: Training, early: Training, old: Flags, pace: dict[str, Any], x: Floats, late: Flags) -> Floats:
    """Chance of a sale of each late listing within sixteen days or as long as it could be watched: (n,)."""
    count = len(table.titles)
    # A sale whose day is not known says nothing of how soon its style sells.
    dated = ~np.isnan(early.duration)
    own = _spent(early.category[dated], early.listed[dated], early.duration[dated], x[old][dated], pace)
    sales = (early.state[dated] == 1).astype(np.float64)
    events, hazard = (np.bincount(early.product[dated], part, count) for part in (sales, own))
    a, b, _ = Mixture(np.array(pace["mixture"])).gamma(events.astype(np.float64), hazard.astype(np.float64))
    # A listing taken down was watched until then, as far as a sale could come.
    watched = np.minimum(np.where(table.state == 1, table.as_of - table.listed, table.duration), _SOON)
    spent = _spent(table.category[late], table.listed[late], watched[late], x[late], pace)
    found = np.zeros(len(x))
    owner: Ints = table.product[late]
    found[late] = 1.0 - np.exp(-a[owner] * np.log1p(spent / b[owner]))
    return found


def _spent(category: Ints, listed: Floats, days: Floats, x: Floats, pace: dict[str, Any]) -> Floats:
    """Hazard spent by listings over some days at their asking prices, for a style of usual speed: (n,)."""
    found = np.zeros(len(x))
    for index, one in enumerate(pace["categories"]):
        here = category == index
        if not here.any():
            continue
        exposure = pieces_exposure(days[here]) @ np.array(one["rate"])
        season = usual_pace(np.array(one["season"]), listed[here], listed[here] + days[here])
        found[here] = exposure * season * np.exp(read(np.array(one["response"]), x[here]))
    return np.nan_to_num(found)
