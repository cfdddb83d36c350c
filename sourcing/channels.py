"""A channel's dated fee schedules as settings: read, told apart by day, turned into fee parts."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from itertools import pairwise
from typing import Any

from sourcing.errors import BadInput
from sourcing.fees import FeePart, one_fee
from sourcing.language import gettext

Schedule = Mapping[str, Mapping[str, Any]]  # part name -> its settings
SHORT = ("fee_rate", "fee_fixed", "fee_cap")  # one share, stated in the channel's own table
FEES = "fees"


def check_schedules(schedules: Mapping[date, Schedule], where: str) -> None:
    """Refuse schedules whose days are out of order or that name no part, and a floor over its cap.

    Raises
    ------
    BadInput
        ``field`` is “fees” or the part's setting.
    """
    for before, after in pairwise(schedules):
        if before >= after:
            raise BadInput(
                gettext(
                    "The fees of {where} from {after} stand after those from {before}.",
                    where=where,
                    after=after.isoformat(),
                    before=before.isoformat(),
                ),
                gettext("Days in order, the earliest first."),
                gettext("Mend the day or move the schedule."),
                field=FEES,
            )
    for day, parts in schedules.items():
        if not parts:
            raise BadInput(
                gettext("The fees of {where} from {day} name no part.", where=where, day=day.isoformat()),
                gettext(
                    "At least one, such as [channel.{where}.fees.{day}.selling].", where=where, day=day.isoformat()
                ),
                gettext("Add a part; one that costs nothing has share = 0."),
                field=FEES,
            )
        for name, part in parts.items():
            least, most = part.get("least"), part.get("most")
            if least is not None and most is not None and least > most:
                raise BadInput(
                    gettext(
                        "The fee “{name}” of {where} is at least {least} and at most {most}.",
                        name=name,
                        where=where,
                        least=f"{least:f}",
                        most=f"{most:f}",
                    ),
                    gettext("A floor not above the cap."),
                    gettext("Change one of the two."),
                    field="least",
                )


def fees_on(channel: Mapping[str, Any], day: date) -> tuple[tuple[FeePart, ...], date | None, date | None]:
    """Return the fee parts in force on a day, since when they hold, and from when others are kept.

    Before the first schedule's day the first holds: it is the only one known.
    """
    schedules: Mapping[date, Schedule] = channel.get(FEES, {})
    if not schedules:
        rate, fixed, cap = (channel[name] for name in SHORT)
        return one_fee(Decimal(rate), Decimal(fixed), cap), None, None
    begun = [since for since in schedules if since <= day]
    since = begun[-1] if begun else next(iter(schedules))
    later = [other for other in schedules if other > max(since, day)]
    parts = tuple(FeePart(name, **values) for name, values in schedules[since].items())
    return parts, since, later[0] if later else None
