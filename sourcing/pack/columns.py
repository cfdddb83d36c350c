"""Columns of whole numbers as bytes: each foretold from what is known before it, and only the rest written.

Numbers are written as planes: the low bytes of all, then the next bytes of all, which packs far better than number by
number. What is written is the difference to a forecast of it, made of doubles in an order of operations both sides keep
(IEEE 754 rounds each the same way everywhere), so that nothing is lost.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from sourcing.pack.figures import COLUMNS, Column, Ints

Floats = NDArray[np.float64]
# What each column of a record in its usual condition is foretold by: earlier columns.
BY: dict[str, tuple[str, ...]] = {
    "sale_50": ("ask",),
    "sale_90": ("sale_50",),
    "net": ("ask", "sale_50"),
    "net_10": ("sale_50", "net"),
    "net_50": ("ask", "net"),
    "net_90": ("ask",),
    "net_loss": ("net_10", "net_50"),
    "by_target": ("tied",),
    "sold_14": ("by_target", "tied"),
    "sold_30": ("by_target", "sold_14"),
    "sold_60": ("by_target", "sold_30"),
    "sold_90": ("sold_60", "sold_30"),
    "others_net": ("net", "sale_50"),
    "others_loss": ("others_net", "net_loss"),
    "others_tied": ("tied", "by_target"),
    "others_by_target": ("by_target",),
}
FEWEST = 60  # records of a group that are worth forecasts of their own


class Written(NamedTuple):
    """One column as bytes: planes of the usual conditions, then of the others; widths in bytes a number."""

    name: str
    usual: int
    others: int
    data: bytes


class Forecast(NamedTuple):
    """How one group's numbers are foretold: by column, (constant, factors) and by slot beyond the first, constants."""

    usual: dict[str, list[float]]
    ratio: list[float]  # by slot beyond the first: what goes with the level of prices over its usual value
    beyond: dict[str, list[int]]


def forecasts_of(figures: dict[str, Ints], shifts: tuple[float, ...]) -> Forecast:
    """Fit the forecasts of one group, whose figures are (slots, records) by column."""
    ratio = [round(float(np.exp(shift)), 6) for shift in shifts[1:]]
    usual: dict[str, list[float]] = {}
    beyond: dict[str, list[int]] = {}
    shown = figures["others"] == 1
    for one in COLUMNS:
        values = figures[one.name]
        fits = shown if one.at_others else np.ones_like(shown)
        if one.name in BY and fits[0].sum() >= FEWEST:
            usual[one.name] = _line(values[0, fits[0]], [figures[name][0, fits[0]] for name in BY[one.name]])
        if one.scales and (fits[0] & fits[1:]).sum(axis=1).min(initial=len(fits[0])) >= FEWEST:
            first = values[0].astype(np.float64)
            beyond[one.name] = [
                int(np.median((values[at] - _rounded(first * share))[fits[0] & fits[at]]))
                for at, share in enumerate(ratio, 1)
            ]
    return Forecast(usual, ratio, beyond)


def completed(figures: dict[str, Ints], how: Forecast) -> dict[str, Ints]:
    """Put what is foretold where no figure at the price others get is shown, so that nothing is written there."""
    found, shown = dict(figures), figures["others"] == 1
    for one in COLUMNS:
        if one.at_others:
            values = found[one.name].copy()
            guess = foretold(one, {name: few[0] for name, few in found.items()}, how)
            values[0] = np.where(shown[0], values[0], guess)
            for slot in range(1, len(values)):
                values[slot] = np.where(shown[slot], values[slot], foretold_beyond(one, values[0], slot, how))
            found[one.name] = values
    return found


def foretold(one: Column, values: dict[str, Ints], how: Forecast) -> Ints:
    """Foretell one column of a group's records in their usual condition: (records,)."""
    if one.name == "sale_10":  # the next sale is lognormal
        middle, high = values["sale_50"].astype(np.float64), np.maximum(values["sale_90"], 1).astype(np.float64)
        return _rounded(middle * middle / high)
    found = np.zeros(len(values["ask"]))
    if one.name in how.usual:
        constant, *factors = how.usual[one.name]
        found += constant
        for name, factor in zip(BY[one.name], factors, strict=True):
            found = found + factor * values[name]
    return _rounded(found)


def foretold_beyond(one: Column, usual: Ints, slot: int, how: Forecast) -> Ints:
    """Foretell one column in another condition from its values in the usual one: (records,)."""
    if not one.scales:
        return usual
    constant = how.beyond[one.name][slot - 1] if one.name in how.beyond else 0
    return _rounded(usual.astype(np.float64) * how.ratio[slot - 1]) + constant


def write(one: Column, groups: list[tuple[dict[str, Ints], Forecast]]) -> Written:
    """Write one column of all groups."""
    usual, others = [], []
    for figures, how in groups:
        values = figures[one.name]
        usual.append(values[0] - foretold(one, {name: few[0] for name, few in figures.items()}, how))
        others += [values[slot] - foretold_beyond(one, values[0], slot, how) for slot in range(1, len(values))]
    base, rest = planes(zigzag(_joined(usual))), planes(zigzag(_joined(others)))
    return Written(one.name, base[0], rest[0], base[1] + rest[1])


def zigzag(values: Ints) -> Ints:
    """Turn signed numbers into unsigned ones, small ones into small ones: 0, -1, 1, -2 are 0, 1, 2, 3."""
    return np.where(values < 0, -2 * values - 1, 2 * values)


def planes(values: Ints) -> tuple[int, bytes]:
    """Return how many bytes each number takes, and the numbers, 0 or more, as planes, the lowest first."""
    width = max((int(values.max()).bit_length() + 7) // 8 if len(values) else 0, 0)
    return width, values.astype("<u8").view(np.uint8).reshape(-1, 8)[:, :width].T.tobytes()


def _line(wanted: Ints, by: list[Ints]) -> list[float]:
    """Fit constant and factors by least squares, with few digits: they are written down too."""
    table = np.column_stack([np.ones(len(wanted)), *by]).astype(np.float64)
    found = np.linalg.lstsq(table, wanted.astype(np.float64), rcond=None)[0]
    return [float(f"{value:.3g}") for value in found]


def _rounded(values: Floats) -> Ints:
    return np.floor(values + 0.5).astype(np.int64)


def _joined(parts: list[Ints]) -> Ints:
    return np.concatenate(parts) if parts else np.zeros(0, dtype=np.int64)
