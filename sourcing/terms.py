"""What buying and selling one item costs: fees, postage, supplies, returns, tax, discount, labour.

Formulas of retail arithmetic: Levy & Weitz, Retailing Management; Berman & Evans, Retail Management.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal

from sourcing.answer import ReceiptLine
from sourcing.errors import BadInput
from sourcing.money import cents
from sourcing.retail import price_for

_CENT = Decimal("0.01")


@dataclass(frozen=True)
class PriceCutPlan:
    """Cuts as (day, cumulative share off), the day of giving up, and the share of the level got then."""

    cuts: tuple[tuple[int, Decimal], ...] = ((30, Decimal("0.10")), (60, Decimal("0.20")))
    give_up_day: int = 120
    salvage: Decimal = Decimal("0.40")


@dataclass(frozen=True)
class Terms:
    """Terms of sale of one category; the defaults are invented round figures, to be replaced by your own."""

    fee_rate: Decimal = Decimal("0.13")
    fee_fixed: Decimal = Decimal("0.30")
    fee_cap: Decimal | None = None
    postage: Decimal = Decimal("7.50")
    supplies: Decimal = Decimal("0.75")
    purchase_tax: Decimal = Decimal("0.00")
    store_discount: Decimal = Decimal("0.00")
    prep_minutes: Decimal = Decimal("6")
    hourly_value: Decimal = Decimal("18.00")
    return_rate: Decimal = Decimal("0.04")
    return_value_lost: Decimal = Decimal("0.15")
    capital_rate: Decimal = Decimal("0.20")
    assumed_days: int = 45
    plan: PriceCutPlan = field(default_factory=PriceCutPlan)

    def fee(self, total: Decimal) -> Decimal:
        """Fee on what the buyer pays, rounded half up to the cent like an invoice line."""
        share = self.fee_rate * total
        return cents(share if self.fee_cap is None else min(share, self.fee_cap)) + self.fee_fixed

    def returns(self, total: Decimal) -> Decimal:
        """Expected cost of returns: rate times (postage back and value lost)."""
        return cents(self.return_rate * (self.postage + self.return_value_lost * total))

    def net(self, total: Decimal) -> Decimal:
        """Net proceeds of one sale whose buyer pays ``total``, before labour and purchase."""
        return total - self.fee(total) - self.postage - self.supplies - self.returns(total)

    def landed(self, shelf: Decimal, discount: Decimal | None = None) -> Decimal:
        """Shelf price less discount plus purchase tax."""
        return cents(shelf * self._factor(discount))

    def shelf_for_landed(self, landed: Decimal, discount: Decimal | None = None) -> Decimal:
        """Return the highest shelf price, to the cent, whose landed cost is at most ``landed``; never below 0.

        Raises
        ------
        BadInput
            The discount takes the whole price.
        """
        factor = self._factor(discount)
        if factor <= 0:
            raise BadInput(
                "The store discount takes the whole price.", "Less than 100 %.", "Lower it.", field="discount"
            )
        paid = max(landed, Decimal(0)).quantize(_CENT, ROUND_FLOOR)  # the till rounds to whole cents
        shelf = ((paid + _CENT / 2) / factor).quantize(_CENT, ROUND_FLOOR)
        # Half a cent rounds up, so the price that meets it exactly is one too many.
        while shelf > 0 and self.landed(shelf, discount) > paid:
            shelf -= _CENT
        return shelf

    def _factor(self, discount: Decimal | None) -> Decimal:
        return (1 - (self.store_discount if discount is None else discount)) * (1 + self.purchase_tax)

    def labour(self) -> Decimal:
        """Value of the prep minutes."""
        return cents(self.prep_minutes / 60 * self.hourly_value)

    def break_even_sale(self, landed: Decimal) -> Decimal:
        """Smallest total, to the cent, whose net proceeds cover landed cost and labour.

        Raises
        ------
        BadInput
            Fees and returns take the whole price, so that no price breaks even.
        """
        need = landed + self.labour()
        lost = self.return_rate * self.return_value_lost
        charges = self.fee_fixed + self.postage * (1 + self.return_rate) + self.supplies
        rate = self.fee_rate + lost
        ways = [price_for(need, charges, rate)] if rate < 1 or self.fee_cap is None else []
        if self.fee_cap is not None:
            ways.append(price_for(need, charges + self.fee_cap, lost))
        total = max(min(ways), Decimal(0)).quantize(_CENT, ROUND_CEILING)
        while total > 0 and self.net(total - _CENT) >= need:
            total -= _CENT
        while self.net(total) < need:
            total += _CENT
        return total

    def receipt(self, total: Decimal, shelf: Decimal | None = None) -> tuple[ReceiptLine, ...]:
        """One worked sale, line by line; the lines add up to the last."""
        lines = [
            ReceiptLine("Buyer pays, shipping included", total),
            ReceiptLine("Fees", -self.fee(total)),
            ReceiptLine("Postage", -self.postage),
            ReceiptLine("Supplies", -self.supplies),
            ReceiptLine("Expected returns", -self.returns(total)),
            ReceiptLine("Prep time", -self.labour()),
        ]
        if shelf is not None:
            lines.append(ReceiptLine("Landed cost", -self.landed(shelf)))
        return (*lines, ReceiptLine("Left", sum((line.amount for line in lines), Decimal(0))))
