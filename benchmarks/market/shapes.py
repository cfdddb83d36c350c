"""The shapes of the market: demand by asking price, hazard by days on the market, speeds of styles, asking prices."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from benchmarks.market.config import AgeShape, Asks, Demand, Speeds

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
CUT_DAYS = (21, 42, 63)
_CLIFF, _WIDTH = 0.09, 0.035  # where demand breaks off, as a log over the level, and how sharply
_SLOW, _SLOW_SHARE = 0.35, 0.4
_MIXTURE = ((0.6, -0.75, 0.3), (0.4, 0.5, 0.3))  # share, centre and sd of the log speed


def log_demand(kind: Demand, x: Floats, elasticity: Floats | float) -> Floats:
    """Log of the hazard at log asking price over level ``x``, relative to asking the level."""
    if kind == "power":
        return np.asarray(elasticity * x)
    return np.asarray(np.log1p(np.exp(-_CLIFF / _WIDTH)) - np.logaddexp(0.0, (x - _CLIFF) / _WIDTH))


def log_age(kind: AgeShape, age: NDArray[Any]) -> Floats:
    """Log of the hazard by days on the market, relative to its usual height."""
    if kind == "constant":
        return np.zeros(age.shape)
    if kind == "decaying":
        return np.asarray(np.log(0.35 + 2.2 * np.exp(-age / 12.0)))
    return np.asarray(np.log(0.3 + 1.7 * age / 25.0 * np.exp(1.0 - age / 25.0)))


def cut_so_far(age: Ints) -> Ints:
    """Return how many cuts a cutting seller has made after ``age`` whole days."""
    return np.asarray(np.searchsorted(np.array(CUT_DAYS), age, side="right"))


def draw_speeds(rng: np.random.Generator, kind: Speeds, shape: float, size: int) -> Floats:
    """Draw the styles' speeds, of mean 1."""
    if kind == "gamma":
        return np.asarray(rng.gamma(shape, 1.0 / shape, size))
    if kind == "two-point":
        values, _ = speed_points(kind, shape)
        return np.asarray(np.exp(np.where(rng.random(size) < _SLOW_SHARE, values[0], values[1])))
    which = rng.random(size) < _MIXTURE[0][0]
    z = rng.standard_normal(size)
    log = np.where(which, _MIXTURE[0][1] + _MIXTURE[0][2] * z, _MIXTURE[1][1] + _MIXTURE[1][2] * z)
    return np.asarray(np.exp(log - _mixture_log_mean()))


def speed_points(kind: Speeds, shape: float, points: int = 33) -> tuple[Floats, Floats]:
    """Return log speeds and their prior weights for sums over the speeds."""
    if kind == "two-point":
        quick = (1.0 - _SLOW_SHARE * _SLOW) / (1.0 - _SLOW_SHARE)
        return np.log([_SLOW, quick]), np.array([_SLOW_SHARE, 1.0 - _SLOW_SHARE])
    log = np.linspace(-4.0, 2.0, points)
    if kind == "gamma":
        weight = np.exp(shape * log - shape * np.exp(log))
    else:
        at = log + _mixture_log_mean()
        weight = np.sum([p / s * np.exp(-(((at - m) / s) ** 2) / 2) for p, m, s in _MIXTURE], axis=0)
    return log, weight / weight.sum()


def _mixture_log_mean() -> float:
    return float(np.log(sum(p * np.exp(m + s**2 / 2) for p, m, s in _MIXTURE)))


def ask_camps(kind: Asks, centre: float, sd: float) -> tuple[tuple[float, float, float], ...]:
    """Return share, centre and sd of each camp of sellers, for the log asking price over the level when listed."""
    if kind == "normal":
        return ((1.0, centre, sd),)
    return ((0.55, centre - 0.09, sd * 0.55), (0.45, centre + 0.20, sd * 0.65))
