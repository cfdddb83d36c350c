"""What was learnt of flags from comps, and what of it is claimed."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

from models.robust import Z90

FEWEST = 5  # marked sales with like ones beside them, over all categories, before anything is said of the price


class Effect(NamedTuple):
    """Effect of one flag on the log price in one category: mean, variance, and the marked sales it rests on."""

    mean: float
    var: float
    here: int  # of the category
    every: int  # of all categories

    @property
    def enough(self) -> bool:
        """Whether there are enough marked sales to say anything."""
        return self.every >= FEWEST

    @property
    def claimed(self) -> bool:
        """Whether the price is moved: enough sales, and a 90 % interval that leaves out no effect at all."""
        return self.enough and abs(self.mean) > Z90 * math.sqrt(self.var)

    def change(self, at: float = 0.0) -> float:
        """Return the change of the price as a share, -0.15 is 15 % less, ``at`` so many standard deviations."""
        return math.expm1(self.mean + at * math.sqrt(self.var))


@dataclass(frozen=True)
class FlagFit:
    """What was learnt about one flag, in log price.

    Attributes
    ----------
    words : those it was learnt with. mean, var : of the flag over all categories. between2 : variance of a category's
    effect about it. style2 : variance of a style's effect about its category's. effects : mean, variance and marked
    sales by category.
    """

    words: tuple[str, ...]
    mean: float
    var: float
    between2: float
    style2: float
    effects: Mapping[str, tuple[float, float, int]]

    def of(self, category: str) -> Effect:
        """Return the effect in a category; one without comps of the flag leans on all others."""
        every = sum(count for _, _, count in self.effects.values())
        mean, var, here = self.effects.get(category, (self.mean, self.var + self.between2, 0))
        return Effect(mean, var, here, every)


def unpack_flags(plain: Mapping[str, Mapping[str, Any]]) -> dict[str, FlagFit]:
    """Read what `sourcing.flags.learning.learn_flags` found, or its JSON."""
    return {
        name: FlagFit(
            tuple(values["words"]),
            values["mean"],
            values["var"],
            values["between2"],
            values["style2"],
            {category: (mean, var, count) for category, (mean, var, count) in values["effects"].items()},
        )
        for name, values in plain.items()
    }
