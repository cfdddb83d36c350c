"""Lay out the pictures of the track record; ``templates/record/_pictures.html`` draws them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import log, log10

from sourcing.language import separated
from sourcing.record.parts import Bin, GroupLine
from web.charts import BOTTOM, LEFT, RIGHT, TOP, Tick

_ROW = 26.0
_RATIOS = (1 / 1.5, 1.0, 1.5)
_RATIO_WORDS = ("−33 %", "0", "+50 %")


@dataclass(frozen=True)
class Pairs:
    """Prices paid against their forecasts, both axes in equal ratios; the diagonal is a forecast that came true."""

    dots: tuple[tuple[float, float], ...]
    band: str  # within a fifth either way
    line: tuple[float, float, float, float]
    x_ticks: tuple[Tick, ...]
    y_ticks: tuple[Tick, ...]


@dataclass(frozen=True)
class Reliable:
    """Share sold against the chance that was forecast, a band and a dot a bin."""

    dots: tuple[tuple[float, float, float, float, float], ...]  # x, y, y of the band's ends, radius
    line: tuple[float, float, float, float]
    x_ticks: tuple[Tick, ...]
    y_ticks: tuple[Tick, ...]


@dataclass(frozen=True)
class Levels:
    """Forecast over price paid by group, with its interval; a row each."""

    height: float
    rows: tuple[tuple[str, float, float, float, float, bool], ...]  # name, y, x, x of the ends, whether told
    even: float
    x_ticks: tuple[Tick, ...]


def pairs(found: Sequence[tuple[float, float]]) -> Pairs | None:
    """Lay out forecasts and prices paid; None below three."""
    if len(found) < 3:
        return None
    low, high = min(map(min, found)) * 0.9, max(map(max, found)) * 1.1
    span = log(high) - log(low)

    def across(value: float) -> float:
        return LEFT + (RIGHT - LEFT) * (log(value) - log(low)) / span

    def up(value: float) -> float:
        return BOTTOM - (BOTTOM - TOP) * (log(value) - log(low)) / span

    def clipped(factor: float) -> tuple[tuple[float, float], tuple[float, float]]:
        start, end = max(low, low / factor), min(high, high / factor)
        return (across(start), up(start * factor)), (across(end), up(end * factor))

    (a, b), (c, d) = clipped(1.2), clipped(1 / 1.2)
    corners = " L".join(f"{x:.1f} {y:.1f}" for x, y in (a, b, (RIGHT, TOP), d, c, (LEFT, BOTTOM)))
    ticks = _money_ticks(low, high)
    return Pairs(
        tuple((across(x), up(y)) for x, y in found), f"M{corners}Z", (LEFT, BOTTOM, RIGHT, TOP),
        tuple(Tick(across(one), f"{one:g}") for one in ticks), tuple(Tick(up(one), f"{one:g}") for one in ticks),
    )  # fmt: skip


def reliable(bins: Sequence[Bin]) -> Reliable | None:
    """Lay out the bins whose share is known; None without one."""
    known = [one for one in bins if one.sold is not None]
    if not known:
        return None

    def across(share: float) -> float:
        return LEFT + (RIGHT - LEFT) * share

    def up(share: float) -> float:
        return BOTTOM - (BOTTOM - TOP) * share

    dots = tuple(
        (across(one.forecast), up(one.sold or 0.0), up(one.low), up(one.high), 3.0 + min(3.0, one.count / 60))
        for one in known
    )
    parts = (0.0, 0.25, 0.5, 0.75, 1.0)
    return Reliable(
        dots, (across(0), up(0), across(1), up(1)),
        tuple(Tick(across(one), separated(f"{100 * one:.0f}%")) for one in parts),
        tuple(Tick(up(one), separated(f"{100 * one:.0f}%")) for one in parts),
    )  # fmt: skip


def levels(groups: Sequence[GroupLine]) -> Levels | None:
    """Lay out the level of each group with prices; None without one."""
    known = [one for one in groups if one.price is not None][:12]
    if not known:
        return None
    edge = 1.5

    def across(ratio: float) -> float:
        inside = min(max(ratio, 1 / edge), edge)
        return 110.0 + (RIGHT - 110.0) * (log(inside) + log(edge)) / (2 * log(edge))

    rows = []
    for at, one in enumerate(known):
        assert one.price is not None
        part = one.price
        rows.append(
            (one.name, 22.0 + _ROW * at, across(part.level), across(part.low), across(part.high), part.more <= 0)
        )
    height = 22.0 + _ROW * len(known)
    return Levels(
        height + 24.0, tuple(rows), across(1.0),
        tuple(Tick(across(one), words) for one, words in zip(_RATIOS, _RATIO_WORDS, strict=True)),
    )  # fmt: skip


def _money_ticks(low: float, high: float) -> list[float]:
    found = [
        step * 10.0**power for power in range(int(log10(low)) - 1, int(log10(high)) + 2) for step in (1, 2, 5)
        if low <= step * 10.0**power <= high
    ]  # fmt: skip
    while len(found) > 6:
        found = found[::2]
    return found
