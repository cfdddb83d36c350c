"""What became of items the user bought: the user's own sales, where they are known."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Protocol


@dataclass(frozen=True)
class Outcome:
    """How one bought piece ended.

    ``net`` is what was left of the sale, or of giving it up, before labour and purchase; ``days`` from the purchase
    until then. A piece that is still for sale has no outcome yet.
    """

    check_id: int  # the check by which it was bought
    net: Decimal
    days: int


class Outcomes(Protocol):
    """Whoever knows what became of bought items."""

    def of_checks(self, check_ids: Sequence[int]) -> Mapping[int, Outcome]:
        """Return the outcomes known for some checks, by check."""

    def stamp(self) -> str:
        """Say what the outcomes stand at: equal as long as none has come or changed."""


class Known:
    """Outcomes that are at hand, by check."""

    def __init__(self, found: Mapping[int, Outcome]) -> None:
        self._found = dict(found)

    def of_checks(self, check_ids: Sequence[int]) -> Mapping[int, Outcome]:
        """Return those known for some checks."""
        return {key: self._found[key] for key in check_ids if key in self._found}

    def stamp(self) -> str:
        """Write them all out: there are few."""
        return repr(sorted(self._found.items()))


class NoOutcomes:
    """Nobody knows yet: every item is valued by later comps."""

    def of_checks(self, check_ids: Sequence[int]) -> Mapping[int, Outcome]:
        """Return none."""
        return {}

    def stamp(self) -> str:
        """Never changes."""
        return ""
