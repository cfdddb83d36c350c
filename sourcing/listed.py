"""An item that is listed already: its chance to sell from here, given that it has not sold so far."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from sourcing.answer import Query
from sourcing.check import forecast_of
from sourcing.errors import BadInput
from sourcing.language import gettext, separated
from sourcing.storage import Store

AHEAD = (14, 30)
_LONGEST = 3_650


@dataclass(frozen=True)
class FromHere:
    """Chances of a sale within some days from today, at the asking price now in force."""

    days_listed: int
    chances: dict[int, float]  # days ahead -> chance, given that it is unsold today
    speed_basis: str  # what the time to sell rests on; "" when it is the settings' own assumption


def sells_from_here(
    store: Store,
    query: Query,
    asked: Sequence[tuple[int, Decimal]],
    days_listed: int,
    ahead: Sequence[int] = AHEAD,
) -> FromHere | None:
    """Say how likely a listed item sells within some days from today.

    Parameters
    ----------
    query : the item. asked : (day since it was listed, asking price from then on, shipping charged included), the first
    of day 0. days_listed : how long it has stood. ahead : days from today.

    Returns
    -------
    None where there is too little to go on.

    Raises
    ------
    BadInput
        The days or prices cannot be those of a listing.
    """
    days = [day for day, _ in asked]
    if not 0 <= days_listed <= _LONGEST:
        raise BadInput(
            gettext("{days_listed} days listed is not possible.", days_listed=days_listed),
            gettext("From 0 to {longest}.", longest=separated(f"{_LONGEST:,}")),
            field="days_listed",
        )
    if not days or days[0] != 0 or days != sorted(set(days)) or days[-1] > days_listed:
        raise BadInput(
            gettext("The asking prices begin on days {days}.", days=days),
            gettext("The first on day 0, each later one on a later day, none after today."),
            field="asked",
        )
    if any(price <= 0 for _, price in asked):
        raise BadInput(gettext("An asking price of 0 or less is none."), gettext("Above 0."), field="asked")
    found = forecast_of(store, query)
    if found is None:
        return None
    forecasts, item = found
    wanted = sorted(set(ahead))
    chances = forecasts.sells_next(item, [(day, float(price)) for day, price in asked], days_listed, wanted)
    return FromHere(days_listed, dict(zip(wanted, chances.round(4).tolist(), strict=True)), forecasts.speed_basis)
