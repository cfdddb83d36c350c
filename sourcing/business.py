"""What is set of the business itself: when its year begins, how distances are said, what driving costs from which day.

The amounts are invented round figures to start from. What a tax office allows for a kilometre or a mile changes with
the year and the place, so a rate is dated as fees are.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from itertools import pairwise

from sourcing.errors import BadInput
from sourcing.language import gettext

KM, MILES = DISTANCES = ("km", "miles")
Rates = tuple[tuple[date, Decimal], ...]


@dataclass(frozen=True)
class Business:
    """When the year of the books begins (month and day), the unit of distance, and dated costs of one of it."""

    year_starts: str = "01-01"
    distance: str = KM
    mileage: Rates = ((date(2026, 1, 1), Decimal("0.30")),)

    def rate_on(self, day: date) -> Decimal:
        """Return what one unit of distance costs on a day; before the first day the first holds, as it is with fees."""
        begun = [rate for since, rate in self.mileage if since <= day]
        if begun:
            return begun[-1]
        return self.mileage[0][1] if self.mileage else Decimal(0)

    @property
    def year_start(self) -> tuple[int, int]:
        """Month and day on which a year of the books begins."""
        month, day = self.year_starts.split("-")
        return int(month), int(day)


def check_business(business: Business) -> None:
    """Refuse a year that begins on no day of every year, and rates out of order.

    Raises
    ------
    BadInput
        ``field`` names the setting.
    """
    try:
        date.fromisoformat(f"2027-{business.year_starts}")  # no leap year: 29 February is no day of every year
    except ValueError as error:
        raise BadInput(
            gettext("The year of the books cannot begin on “{text}”.", text=business.year_starts[:20]),
            gettext("Month and day, such as 01-01 or 04-06."), gettext("Change it."), field="year_starts",
        ) from error  # fmt: skip
    for before, after in pairwise(business.mileage):
        if before[0] >= after[0]:
            raise BadInput(
                gettext(
                    "The cost of driving from {after} stands after that from {before}.",
                    after=after[0],
                    before=before[0],
                ),
                gettext("Days in order, the earliest first."),
                gettext("Mend the day or move the row."),
                field="mileage",
            )
