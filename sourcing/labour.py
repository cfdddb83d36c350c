"""Prep by step, and the flags of a piece's condition that ask for more of it."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

STEPS = ("clean", "photograph", "list", "pack")
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
        return self.label or self.name.replace("_", " ")

    @property
    def minutes(self) -> Decimal:
        """Minutes it adds in all."""
        return self.clean_minutes + self.photograph_minutes + self.list_minutes + self.pack_minutes


def first_flags() -> dict[str, Flag]:
    """Return the flags of a fresh install; minutes and amounts are invented round figures."""
    flags = (
        Flag("price_ink", "price ink to remove", clean_minutes=Decimal(3), supplies=Decimal("0.15"),
             words=("price ink", "marker on box", "sticker residue")),
        Flag("no_box", "no box", pack_minutes=Decimal(2), supplies=Decimal("0.60"),
             words=("no box", "without box", "box missing")),
        Flag("scuffed", None, clean_minutes=Decimal(4), photograph_minutes=Decimal(1), words=("scuffed", "scuffs")),
        Flag("battery_test", "needs a battery test", clean_minutes=Decimal(4), supplies=Decimal("0.80"),
             words=("untested", "not tested")),
    )  # fmt: skip
    return {flag.name: flag for flag in flags}
