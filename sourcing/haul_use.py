"""What a haul uses of its limits: cash, prep time, pieces of one style, cash in one category."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from sourcing.fitting import fold
from sourcing.haul import HaulItem, HaulView
from sourcing.rules import HaulLimits

_ZERO, _HOUR = Decimal(0), Decimal(60)


@dataclass(frozen=True)
class Line:
    """One line of a haul: ``landed`` (None: not known) and ``minutes`` of prep are of one of its pieces."""

    style: str  # pieces with the same one are of one style
    category: str
    count: int
    landed: Decimal | None
    minutes: Decimal


def lines_of(view: HaulView) -> list[Line]:
    """Return the lines of a haul that were not put back, at what their verdicts said."""
    return [
        Line(style_of(one), one.category, one.count, one.landed_cost, one.prep_minutes)
        for one in view.items
        if not one.undone
    ]


def style_of(item: HaulItem) -> str:
    """Return what pieces of one style have in common: its code, or what it is called."""
    return item.style_code or fold(item.label)


@dataclass(frozen=True)
class Use:
    """How much of one limit is used; money, hours or pieces, as the limit is."""

    limit: str  # of `HaulLimits`
    what: str  # the style or category it is about; "" for the whole haul
    used: Decimal
    most: Decimal

    @property
    def over(self) -> Decimal:
        """By how much it is broken; 0 where it holds."""
        return max(self.used - self.most, _ZERO)


def used(lines: Iterable[Line], limits: HaulLimits, *, every: bool = False) -> tuple[Use, ...]:
    """Return the use of every limit that is on.

    Of styles and categories each that breaks the limit is named, or the one nearest to it; all with ``every``. A piece
    whose landed cost is not known counts as a piece and in the prep.
    """
    held = list(lines)
    styles: dict[str, Decimal] = {}
    categories: dict[str, Decimal] = {}
    cash = minutes = _ZERO
    for line in held:
        spent = line.count * (line.landed or _ZERO)
        cash, minutes = cash + spent, minutes + line.count * line.minutes
        styles[line.style] = styles.get(line.style, _ZERO) + line.count
        key = fold(line.category)
        categories[key] = categories.get(key, _ZERO) + spent
    found = []
    if limits.cash is not None:
        found.append(Use("cash", "", cash, limits.cash))
    if limits.prep_hours is not None:
        found.append(Use("prep_hours", "", minutes / _HOUR, limits.prep_hours))
    if limits.most_of_style is not None:
        found += _grouped("most_of_style", styles, Decimal(limits.most_of_style), every)
    if limits.most_in_category is not None:
        found += _grouped("most_in_category", categories, limits.most_in_category, every)
    return tuple(found)


def _grouped(limit: str, groups: dict[str, Decimal], most: Decimal, every: bool) -> list[Use]:
    each = sorted(groups.items(), key=lambda one: (-one[1], one[0]))
    uses = [Use(limit, name, amount, most) for name, amount in each]
    return [use for at, use in enumerate(uses) if every or at == 0 or use.over]
