"""A channel's fees: named parts, each with brackets, floor, cap and fixed part, charged on its own base.

A part's charge is worked out as straight lines over its base, so that the receipt, the forecast and the break-even
price rest on the same lines. Each part is rounded half up to the cent, as an invoice rounds its lines.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from typing import NamedTuple

from sourcing.language import gettext_noop
from sourcing.money import cents

ITEM, PAID, TAXED = BASES = (gettext_noop("item"), gettext_noop("item and shipping"), gettext_noop("total with tax"))
SLICES, WHOLE = WAYS = (gettext_noop("slices"), gettext_noop("whole amount"))
_ZERO, _ONE = Decimal(0), Decimal(1)


class Bracket(NamedTuple):
    """From this amount of the base on, this share, and a flat amount on top for orders that reach it."""

    start: Decimal
    share: Decimal
    flat: Decimal = _ZERO


class Line(NamedTuple):
    """From ``start`` on, an amount is ``slope`` times the base (or the total) plus ``fixed``."""

    start: Decimal
    slope: Decimal
    fixed: Decimal


@dataclass(frozen=True)
class FeePart:
    """One named part of a fee schedule.

    With “slices” each bracket's share is taken of the slice of the base within it; with “whole amount” the whole base
    bears the share of the bracket it falls in. A bracket begins at its own amount, which belongs to it. Floor and cap
    bound what the brackets come to; the fixed part comes on top. ``only`` is the part of sales it is charged on.
    """

    name: str = "fee"
    share: tuple[Bracket, ...] = (Bracket(_ZERO, Decimal("0.13")),)
    by: str = SLICES
    least: Decimal | None = None
    most: Decimal | None = None
    fixed: Decimal = _ZERO
    on: str = PAID
    only: Decimal = _ONE

    def base(self, total: Decimal, shipping: Decimal, tax: Decimal) -> Decimal:
        """Return what it is charged on, of a total that holds ``shipping`` and bears the buyer's ``tax`` on top."""
        if self.on == ITEM:
            return max(total - shipping, _ZERO)
        return total * (1 + tax) if self.on == TAXED else total

    def charge(self, base: Decimal) -> Decimal:
        """Return the charge on a base (0 or more), rounded half up to the cent."""
        line = self._lines[bisect_right(self._starts, base) - 1]
        return cents(line.slope * base + line.fixed)

    def over_total(self, shipping: Decimal, tax: Decimal) -> tuple[Line, ...]:
        """Return the charge, unrounded, as lines over what the buyer pays without tax."""
        times, less = (1 + tax if self.on == TAXED else _ONE), (shipping if self.on == ITEM else _ZERO)
        lines = [
            Line((line.start + less) / times, line.slope * times, line.fixed - line.slope * less)
            for line in self._lines
        ]
        if less:
            lines.insert(0, Line(_ZERO, _ZERO, self._lines[0].fixed))
        return tuple(lines)

    @cached_property
    def _starts(self) -> list[Decimal]:
        return [line.start for line in self._lines]

    @cached_property
    def _lines(self) -> tuple[Line, ...]:
        found: list[Line] = []
        below = _ZERO  # what the slices under this bracket come to
        for at, (start, share, flat) in enumerate(self.share):
            stop = self.share[at + 1].start if at + 1 < len(self.share) else None
            fixed = flat if self.by == WHOLE else below - share * start + flat
            cuts = {start}
            for bound in (self.least, self.most):
                if bound is not None and share:
                    cut = (bound - fixed) / share
                    if cut > start and (stop is None or cut < stop):
                        cuts.add(cut)
            marks = sorted(cuts)
            for mark, after in zip(marks, [*marks[1:], stop], strict=True):
                inside = mark + 1 if after is None else (mark + after) / 2
                found.append(self._bounded(mark, share, fixed, share * inside + fixed))
            if stop is not None:
                below += share * (stop - start)
        return tuple(found)

    def _bounded(self, start: Decimal, slope: Decimal, fixed: Decimal, value: Decimal) -> Line:
        if self.least is not None and value < self.least:
            slope, fixed = _ZERO, self.least
        elif self.most is not None and value > self.most:
            slope, fixed = _ZERO, self.most
        return Line(start, slope * self.only, (fixed + self.fixed) * self.only)


def one_fee(rate: Decimal, fixed: Decimal = _ZERO, cap: Decimal | None = None) -> tuple[FeePart, ...]:
    """Return the short form of a schedule: one share of all the buyer pays, at most the cap, plus a fixed part."""
    return (FeePart(share=(Bracket(_ZERO, rate),), fixed=fixed, most=cap),)


def summed(parts: Sequence[tuple[Line, ...]]) -> tuple[Line, ...]:
    """Return the sum of several charges, each as lines from 0 on, as lines; neighbours alike are one."""
    found: list[Line] = []
    for start in sorted({_ZERO, *(line.start for lines in parts for line in lines)}):
        here = [lines[bisect_right([line.start for line in lines], start) - 1] for lines in parts]
        slope, fixed = sum((one.slope for one in here), _ZERO), sum((one.fixed for one in here), _ZERO)
        if not found or (found[-1].slope, found[-1].fixed) != (slope, fixed):
            found.append(Line(start, slope, fixed))
    return tuple(found)
