"""What files that hold only sold, or only open, listings leave out: the chance that a listing is held at all."""

from __future__ import annotations

import numpy as np

from benchmarks.market.config import DAYS
from benchmarks.market.draw import Constants
from benchmarks.market.shapes import Floats, ask_camps, cut_so_far, log_age, log_demand

_Z, _W = np.polynomial.hermite_e.hermegauss(15)
_W = _W / _W.sum()


def log_kept(told: Constants, log_speed: Floats) -> list[Floats]:
    """Log chance that the files hold a listing by speed and days since it was listed: per category (speeds, DAYS + 1).

    The seller's first asking price, cuts and patience are averaged over; season, drift and rivals are left aside.
    """
    age = np.arange(1, DAYS + 1)
    found = []
    for c in range(len(told.hazard)):
        stays = np.exp(-np.arange(DAYS + 1) / told.leave[c])
        kept = np.zeros((len(log_speed), DAYS + 1))
        for share, centre, sd in ask_camps(told.config.asks, float(told.ask_centre[c]), float(told.ask_sd[c])):
            for z, weight in zip(_Z, _W, strict=True):
                for cut, chance in ((0.0, 1.0 - told.cutters[c]), (float(told.cut[c]), told.cutters[c])):
                    x = centre + sd * z - cut * cut_so_far(age - 1)
                    log = log_demand(told.config.demand, x, told.elasticity[c]) + log_age(told.config.age, age - 0.5)
                    total = np.concatenate([[0.0], np.cumsum(told.hazard[c] * np.exp(log))])
                    alive = np.exp(-np.exp(log_speed)[:, None] * total)
                    if told.config.sold_only:
                        sales = (alive[:, :-1] - alive[:, 1:]) * stays[:-1]
                        part = np.concatenate([np.zeros((len(log_speed), 1)), np.cumsum(sales, axis=1)], axis=1)
                    else:
                        part = alive * stays
                    kept += share * weight * chance * part
        found.append(np.log(np.maximum(kept, 1e-12)))
    return found
