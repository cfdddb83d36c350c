"""Lay out the two small pictures: figures to places; ``templates/_pictures.html`` draws them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise
from typing import Any

from sourcing.day import month
from sourcing.language import gettext, separated

WIDTH, HEIGHT = 340.0, 190.0
LEFT, RIGHT, TOP, BOTTOM = 44.0, 332.0, 14.0, 160.0
APART = 13.0  # between the baselines of two labels


@dataclass(frozen=True)
class Dot:
    """One sale."""

    x: float
    y: float
    set_aside: bool


@dataclass(frozen=True)
class Line:
    """One level line, named in words."""

    kind: str  # "shelf", "even" or "ask": also its CSS class
    label: str
    amount: str
    y: float
    label_y: float


@dataclass(frozen=True)
class Tick:
    """One mark on an axis."""

    place: float
    label: str


@dataclass(frozen=True)
class Sales:
    """Past sales against time."""

    dots: tuple[Dot, ...]
    lines: tuple[Line, ...]
    x_ticks: tuple[Tick, ...]
    y_ticks: tuple[Tick, ...]


@dataclass(frozen=True)
class Curve:
    """Share sold by day."""

    path: str
    x_ticks: tuple[Tick, ...]
    y_ticks: tuple[Tick, ...]


def past_sales(answer: dict[str, Any]) -> Sales | None:
    """Lay out the dated sales of a verdict; None when there is none."""
    sold = [
        (date.fromisoformat(comp["ended_on"]), float(comp["paid"]), bool(comp["set_aside"]))
        for comp in answer["comps"]
        if comp["status"] == "sold" and comp["paid"] is not None and comp["ended_on"]
    ]
    if not sold:
        return None
    levels = [
        (kind, label, answer[key])
        for kind, label, key in (
            ("ask", gettext("Asking price"), "asking_price"),
            ("even", gettext("Break-even sale"), "break_even_sale"),
            ("shelf", gettext("Shelf price"), "shelf_price"),
        )
        if answer[key] is not None
    ]
    first, last = min(row[0] for row in sold), max(row[0] for row in sold)
    if first == last:
        first -= timedelta(days=7)
    top = 1.1 * max([row[1] for row in sold if not row[2]] + [float(amount) for _, _, amount in levels] or [1.0])
    top = top or 1.0

    def across(day: date) -> float:
        return LEFT + (RIGHT - LEFT - 6) * ((day - first) / (last - first))

    def up(amount: float) -> float:
        return BOTTOM - (BOTTOM - TOP) * min(amount / top, 1.0)

    middle = first + (last - first) / 2
    return Sales(
        dots=tuple(Dot(across(day), up(paid), aside) for day, paid, aside in sold),
        lines=_apart([Line(kind, label, amount, up(float(amount)), 0) for kind, label, amount in levels]),
        x_ticks=tuple(Tick(across(day), on_axis(day)) for day in (first, middle, last)),
        y_ticks=tuple(Tick(up(level), f"{level:.0f}") for level in round_levels(top)),
    )


def on_axis(day: date) -> str:
    """Return a day as an axis has room for it."""
    return gettext("{day} {month} {year}", day=f"{day:%d}", month=month(day), year=f"{day:%y}")


def share_sold(answer: dict[str, Any]) -> Curve | None:
    """Lay out the share sold by day at the asking price; None when it is not known."""
    points = [(float(day), float(share)) for day, share in answer["sold_curve"]]
    if len(points) < 2:
        return None
    last = points[-1][0]

    def across(day: float) -> float:
        return LEFT + (RIGHT - LEFT) * day / last

    def up(share: float) -> float:
        return BOTTOM - (BOTTOM - TOP) * share

    path = "M" + " L".join(f"{across(day):.1f} {up(share):.1f}" for day, share in points)
    return Curve(
        path=path,
        x_ticks=tuple(
            Tick(across(last * part), gettext("day {number}", number=f"{last * part:.0f}"))
            for part in (0, 1 / 3, 2 / 3, 1)
        ),
        y_ticks=tuple(Tick(up(part), separated(f"{100 * part:.0f}%")) for part in (0, 0.5, 1)),
    )


def round_levels(top: float) -> list[float]:
    step = next(size * 10**power for power in range(7) for size in (1, 2, 5) if top / (size * 10**power) <= 5)
    return [float(step * count) for count in range(int(top / step) + 1)]


def _apart(lines: list[Line]) -> tuple[Line, ...]:
    """Move labels of near lines apart, downwards from the highest, then back up off the axis."""
    ordered = sorted(lines, key=lambda line: line.y)
    places = [line.y - 3 for line in ordered]
    for before, after in pairwise(range(len(places))):
        places[after] = max(places[after], places[before] + APART)
    floor = BOTTOM - 3
    for place in reversed(range(len(places))):
        places[place] = min(places[place], floor)
        floor = places[place] - APART
    return tuple(
        Line(line.kind, line.label, line.amount, line.y, place) for line, place in zip(ordered, places, strict=True)
    )
