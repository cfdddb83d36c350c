"""What a parcel is billed at: plain weight or volume over the carrier's divisor, then the postage table.

Divisors, thresholds and the rounding of sides are each carrier's own and change; so all are settings with a date.
"""

from __future__ import annotations

import operator
from collections.abc import Sequence
from decimal import ROUND_CEILING, ROUND_HALF_UP, Decimal
from typing import Any

from sourcing.errors import BadInput
from sourcing.language import gettext, gettext_noop
from sourcing.money import cents

SIDE_ROUNDINGS = (gettext_noop("up"), gettext_noop("nearest"), gettext_noop("none"))


def billed_weight(
    scale: Decimal,
    sides: Sequence[Decimal],
    divisor: Decimal,
    *,
    step: Decimal = Decimal(1),
    side_rounding: str = "none",
    volume_from: Decimal = Decimal(0),
) -> Decimal:
    """Return the larger of scale weight and volumetric weight, the latter rounded up to a step.

    Parameters
    ----------
    scale : Decimal
        Weight on the scale, in the carrier's unit (kg, lb).
    sides : sequence of Decimal
        Length, width and height, in the divisor's unit (cm, in).
    divisor : Decimal
        Volume that counts as one unit of weight (cm3 per kg, in3 per lb).
    step : Decimal
        Volumetric weight is rounded up to a multiple of it.
    side_rounding : str
        "up", "nearest" or "none": how each side is rounded to a whole unit first.
    volume_from : Decimal
        Parcels whose volume does not exceed it go by the scale alone.
    """
    how = {"up": ROUND_CEILING, "nearest": ROUND_HALF_UP}.get(side_rounding)
    volume = Decimal(1)
    for side in sides:
        volume *= side if how is None else side.quantize(Decimal(1), how)
    if volume <= volume_from:
        return scale
    return max(scale, (volume / divisor / step).quantize(Decimal(1), ROUND_CEILING) * step)


def postage_for(
    grams: Decimal, table: Sequence[tuple[Any, ...]], shares: Sequence[Decimal] | None = None, where: str = ""
) -> Decimal:
    """Return the price of the first step that reaches this weight: its one price, or the average over the zones.

    Parameters
    ----------
    grams : Decimal
        Billed weight.
    table : sequence of (grams, price, ...)
        Steps with a price, or a price for each zone.
    shares : sequence of Decimal, optional
        Share of parcels that goes to each zone; they come to 1. The average is rounded half up to the cent.
    where : str
        The category, for the message.

    Raises
    ------
    BadInput
        The parcel is heavier than the table's last step; prices and shares differ in number.
    """
    for up_to, *prices in table:
        if len(prices) != len(shares or (1,)):
            raise BadInput(
                gettext(
                    "The postage table has {prices} prices a step, zone_shares names {zones} zones.",
                    prices=len(prices),
                    zones=len(shares or ()),
                ),
                gettext("As many shares as prices."),
                gettext("Change zone_shares or postage_table."),
                field="zone_shares",
            )
        if grams <= up_to:
            price: Decimal = prices[0]
            return price if shares is None else cents(sum(map(operator.mul, prices, shares), Decimal(0)))
    raise BadInput(
        gettext(
            "There is no postage for {where}: a parcel billed at {grams} g is heavier than the postage table's last "
            "step.",
            where=where,
            grams=f"{grams:f}",
        )
        if where
        else gettext(
            "There is no postage: a parcel billed at {grams} g is heavier than the postage table's last step.",
            grams=f"{grams:f}",
        ),
        gettext("Up to {grams} g.", grams=table[-1][0]),
        gettext("Add a heavier step to postage_table, or set the category's postage itself."),
        field="postage_table",
    )
