"""Prep by step, and the flags of a piece's condition that ask for more of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal

from sourcing.language import gettext, gettext_noop

LEARNING = ("yes", "no")  # whether minutes learnt from timed batches take the place of those set
STEPS = (gettext_noop("clean"), gettext_noop("photograph"), gettext_noop("list"), gettext_noop("pack"))
_NONE = Decimal(0)


@dataclass(frozen=True)
class Flag:
    """A condition of one piece: minutes it adds by step, supplies it adds, and the words in comps that mean it."""

    name: str
    label: str | None = None  # as the page shows it; None: the name with blanks
    clean_minutes: Decimal = _NONE
    photograph_minutes: Decimal = _NONE
    list_minutes: Decimal = _NONE
    pack_minutes: Decimal = _NONE
    supplies: Decimal = _NONE
    words: tuple[str, ...] = ()

    @property
    def shown(self) -> str:
        """The label, or the name with blanks for underscores."""
        return gettext(self.label or self.name.replace("_", " "))

    @property
    def minutes(self) -> Decimal:
        """Minutes it adds in all."""
        return self.clean_minutes + self.photograph_minutes + self.list_minutes + self.pack_minutes


@dataclass(frozen=True)
class StepMinutes:
    """Minutes of one step as the user's own timed batches tell them, with their 90 % interval.

    ``assumed`` are those of the settings; ``enough`` says whether the learnt ones take their place.
    """

    minutes: Decimal
    low: Decimal
    high: Decimal
    batches: int
    pieces: int
    assumed: Decimal
    enough: bool


@dataclass(frozen=True)
class Learnt:
    """Minutes learnt by (category, step) and by (flag, step); category "" is any that the settings do not name.

    ``say`` is how much each timed batch counts: 1 in full, near 0 where its watch seems to have been forgotten, or
    stopped too soon; ``short`` are those that took less than was to be expected.
    """

    by_category: Mapping[tuple[str, str], StepMinutes] = field(default_factory=dict)
    by_flag: Mapping[tuple[str, str], StepMinutes] = field(default_factory=dict)
    say: Mapping[int, float] = field(default_factory=dict)
    short: frozenset[int] = frozenset()

    def in_place(self, category: str) -> dict[str, StepMinutes]:
        """Return by step what takes the place of a category's minutes."""
        found = {step: self.by_category.get((category, step)) for step in STEPS}
        return {step: one for step, one in found.items() if one is not None and one.enough}

    def flag(self, flag: Flag) -> Flag:
        """Return a flag with its learnt minutes where there are enough."""
        found = {step: self.by_flag.get((flag.name, step)) for step in STEPS}
        learnt = {f"{step}_minutes": one.minutes for step, one in found.items() if one is not None and one.enough}
        return replace(flag, **learnt) if learnt else flag  # type: ignore[arg-type]


NOTHING_LEARNT = Learnt()


def first_flags() -> dict[str, Flag]:
    """Return the flags of a fresh install; minutes and amounts are invented round figures."""
    gettext_noop("scuffed")  # which is called by its name
    flags = (
        Flag("price_ink", gettext_noop("price ink to remove"), clean_minutes=Decimal(3), supplies=Decimal("0.15"),
             words=("price ink", "marker on box", "sticker residue")),
        Flag("no_box", gettext_noop("no box"), pack_minutes=Decimal(2), supplies=Decimal("0.60"),
             words=("no box", "without box", "box missing")),
        Flag("scuffed", None, clean_minutes=Decimal(4), photograph_minutes=Decimal(1), words=("scuffed", "scuffs")),
        Flag("battery_test", gettext_noop("needs a battery test"), clean_minutes=Decimal(4), supplies=Decimal("0.80"),
             words=("untested", "not tested")),
    )  # fmt: skip
    return {flag.name: flag for flag in flags}
