"""What a parcel is billed at: plain weight or volume over the carrier's divisor, then the postage table.

Divisors, thresholds and the rounding of sides are each carrier's own and change; so all are settings with a date.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import ROUND_CEILING, ROUND_HALF_UP, Decimal

from sourcing.errors import BadInput

SIDE_ROUNDINGS = ("up", "nearest", "none")


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


def postage_for(grams: Decimal, table: Sequence[tuple[int, Decimal]]) -> Decimal:
    """Return the price of the first step that reaches this weight.

    Raises
    ------
    BadInput
        The parcel is heavier than the table's last step.
    """
    for up_to, price in table:
        if grams <= up_to:
            return price
    raise BadInput(
        f"A parcel billed at {grams:f} g is heavier than the postage table's last step.",
        f"Up to {table[-1][0]} g.",
        "Add a heavier step to postage_table, or set the category's postage itself.",
        field="postage_table",
    )
