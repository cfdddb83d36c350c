"""What buying and selling one item costs: fees, postage, supplies, returns, tax, discount, labour.

Formulas of retail arithmetic: Levy & Weitz, Retailing Management; Berman & Evans, Retail Management.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from decimal import ROUND_CEILING, Decimal
from functools import cached_property

from sourcing.answer import ReceiptLine
from sourcing.labour import STEPS, Flag
from sourcing.money import cents
from sourcing.purchase import NO_DISCOUNT, Discounts, taxed, untaxed
from sourcing.retail import price_for

_CENT = Decimal("0.01")
EXEMPTIONS = ("no", "yes")


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
    resale_exemption: str = "no"  # "yes": no purchase tax is charged
    store_discount: Discounts = NO_DISCOUNT
    clean_minutes: Decimal = Decimal(1)
    photograph_minutes: Decimal = Decimal("1.5")
    list_minutes: Decimal = Decimal("2.5")
    pack_minutes: Decimal = Decimal(1)
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

    @property
    def tax(self) -> Decimal:
        """Purchase tax in force: none with a resale exemption."""
        return Decimal(0) if self.resale_exemption == "yes" else self.purchase_tax

    def landed(self, shelf: Decimal, discount: Discounts | None = None) -> Decimal:
        """Shelf price less the discounts plus purchase tax; each line is rounded half up to the cent."""
        return taxed((self.store_discount if discount is None else discount).off(shelf), self.tax)

    def shelf_for_landed(self, landed: Decimal, discount: Discounts | None = None) -> Decimal:
        """Return the highest shelf price, to the cent, whose landed cost is at most ``landed``; never below 0."""
        paid = untaxed(max(landed, Decimal(0)), self.tax)
        return (self.store_discount if discount is None else discount).before(paid)

    @property
    def prep_minutes(self) -> Decimal:
        """Minutes of prep over all steps."""
        return self.clean_minutes + self.photograph_minutes + self.list_minutes + self.pack_minutes

    def flagged(self, flags: Iterable[Flag]) -> Terms:
        """Return the terms of a piece with these flags: their minutes by step and their supplies added."""
        found = tuple(flags)
        if not found:
            return self
        added = {f"{step}_minutes": sum(getattr(flag, f"{step}_minutes") for flag in found) for step in STEPS}
        added["supplies"] = sum(flag.supplies for flag in found)
        return replace(self, **{name: getattr(self, name) + more for name, more in added.items()})

    def step_cost(self, step: str) -> Decimal:
        """Value of one step's minutes, rounded half up to the cent."""
        return cents(getattr(self, f"{step}_minutes") / 60 * self.hourly_value)

    def labour(self) -> Decimal:
        """Value of the prep minutes: the sum of the steps, each rounded half up to the cent."""
        return self._labour

    @cached_property
    def _labour(self) -> Decimal:
        return sum((self.step_cost(step) for step in STEPS), Decimal(0))

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
