"""What buying and selling one item costs: fees, postage, supplies, returns, tax, discounts, labour.

Formulas of retail arithmetic: Levy & Weitz, Retailing Management; Berman & Evans, Retail Management. Every line is
rounded half up to the cent by itself, as on an invoice, so that a receipt adds up exactly.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import ROUND_CEILING, Decimal
from functools import cached_property
from itertools import zip_longest
from typing import Any

from sourcing.answer import ReceiptLine
from sourcing.errors import BadInput
from sourcing.fees import FeePart, Line, one_fee, summed
from sourcing.labour import STEPS, Flag
from sourcing.language import gettext, gettext_noop
from sourcing.money import cents
from sourcing.purchase import NO_DISCOUNT, Discounts, taxed, untaxed

YOU_PAY, AS_POSTAGE = SHIPPING = (gettext_noop("you pay"), gettext_noop("same as postage"))
EXEMPTIONS = (gettext_noop("no"), gettext_noop("yes"))
PAYERS = (gettext_noop("you pay"), gettext_noop("buyer pays"))
_CENT, _ZERO = Decimal("0.01"), Decimal(0)
_MOST_KEPT = 500
Lines = tuple[tuple[ReceiptLine, ...], Decimal]  # of a receipt, and what they add up to


@dataclass(frozen=True)
class PriceCutPlan:
    """Cuts as (day, cumulative share off), the day of giving up, and the share of the level got then."""

    cuts: tuple[tuple[int, Decimal], ...] = ((30, Decimal("0.10")), (60, Decimal("0.20")))
    give_up_day: int = 120
    salvage: Decimal = Decimal("0.40")


@dataclass(frozen=True)
class Terms:
    """Terms of sale of one category on one channel; the defaults are invented round figures, to be replaced.

    ``shipping`` is what the buyer pays for it, part of the total: “you pay” is nothing, “same as postage” the postage.
    ``fees_since`` is the day the fees hold from, ``fees_next`` the day other ones are kept for; None: no day is known.
    """

    channel: str = "main"
    fees: tuple[FeePart, ...] = one_fee(Decimal("0.13"), Decimal("0.30"))
    fees_since: date | None = None
    fees_next: date | None = None
    shipping: Decimal | str = YOU_PAY
    buyer_tax: Decimal = Decimal("0.00")
    fees_refunded: Decimal = Decimal(1)
    postage: Decimal = Decimal("7.50")
    supplies: Decimal = Decimal("0.75")
    purchase_tax: Decimal = Decimal("0.00")
    resale_exemption: str = "no"  # "yes": no purchase tax is charged
    store_discount: Discounts = NO_DISCOUNT
    clean_minutes: Decimal = Decimal(1)
    photograph_minutes: Decimal = Decimal("1.5")
    list_minutes: Decimal = Decimal("2.5")
    pack_minutes: Decimal = Decimal(1)
    learnt_steps: tuple[tuple[str, int], ...] = ()  # steps whose minutes are learnt, and from how many timed batches
    hourly_value: Decimal = Decimal("18.00")
    return_rate: Decimal = Decimal("0.04")
    return_value_lost: Decimal = Decimal("0.15")
    return_way_back: str = PAYERS[0]
    return_outward_lost: Decimal = Decimal("0.00")
    capital_rate: Decimal = Decimal("0.20")
    assumed_days: int = 45
    plan: PriceCutPlan = field(default_factory=PriceCutPlan)

    @cached_property
    def shipping_charged(self) -> Decimal:
        """What of the total the buyer pays for shipping."""
        if isinstance(self.shipping, Decimal):
            return self.shipping
        return self.postage if self.shipping == AS_POSTAGE else _ZERO

    def charges(self, total: Decimal) -> tuple[Decimal, ...]:
        """Return what each fee part charges on a sale whose buyer pays ``total``, each rounded half up to the cent."""
        shipping, tax = self.shipping_charged, self.buyer_tax
        return tuple(part.charge(part.base(total, shipping, tax)) for part in self.fees)

    def fee(self, total: Decimal) -> Decimal:
        """All fees on what the buyer pays."""
        if len(self.fees) == 1:  # most channels; lists of thousands ask
            part = self.fees[0]
            return part.charge(part.base(total, self.shipping_charged, self.buyer_tax))
        return sum(self.charges(total), _ZERO)

    def returns(self, total: Decimal) -> Decimal:
        """Expected cost of returns a sale.

        rate x (share of value lost x total + postage back, where you pay it + outward postage lost + fees kept). The
        sale itself counts as made, for the piece sells again: what is lost is its loss in value, the postage spent for
        nothing and what the channel keeps of its fees.
        """
        return self._returns(total, self.fee(total))

    def _returns(self, total: Decimal, fee: Decimal) -> Decimal:
        fixed, by_total, by_fee = self._return_shares
        return cents(fixed + by_total * total + by_fee * fee)

    @cached_property
    def _return_shares(self) -> tuple[Decimal, Decimal, Decimal]:
        """Expected cost of returns: a fixed amount, a share of the total and a share of the fees."""
        rate = self.return_rate
        return rate * self._postage_lost, rate * self.return_value_lost, rate * (1 - self.fees_refunded)

    @cached_property
    def _postage_lost(self) -> Decimal:
        """Postage of one return: the way back, and the share of the outward way that is lost."""
        return self.postage * ((self.return_way_back == PAYERS[0]) + self.return_outward_lost)

    def net(self, total: Decimal) -> Decimal:
        """Net proceeds of one sale whose buyer pays ``total``, before labour and purchase."""
        fee = self.fee(total)
        return total - fee - self._sent - self._returns(total, fee)

    @cached_property
    def _sent(self) -> Decimal:
        return self.postage + self.supplies

    @cached_property
    def receipt_lines(self) -> dict[tuple[Any, ...], Lines]:
        """Lines of sales and of purchases worked out already, by their amounts and the language."""
        return {}

    @cached_property
    def net_lines(self) -> tuple[Line, ...]:
        """Net proceeds before rounding, as lines over the total: what the forecast sums over."""
        kept = 1 + self.return_rate * (1 - self.fees_refunded)
        other = self.postage + self.supplies + self.return_rate * self._postage_lost
        slope = 1 - self.return_rate * self.return_value_lost
        fees = summed([part.over_total(self.shipping_charged, self.buyer_tax) for part in self.fees])
        return tuple(Line(start, slope - kept * share, -other - kept * fixed) for start, share, fixed in fees)

    @property
    def tax(self) -> Decimal:
        """Purchase tax in force: none with a resale exemption."""
        return _ZERO if self.resale_exemption == "yes" else self.purchase_tax

    def landed(self, shelf: Decimal, discount: Discounts | None = None) -> Decimal:
        """Shelf price less the discounts plus purchase tax; each line is rounded half up to the cent."""
        return taxed((self.store_discount if discount is None else discount).off(shelf), self.tax)

    def shelf_for_landed(self, landed: Decimal, discount: Discounts | None = None) -> Decimal:
        """Return the highest shelf price, to the cent, whose landed cost is at most ``landed``; never below 0."""
        paid = untaxed(max(landed, _ZERO), self.tax)
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
        # Divided last, so that half a cent is half a cent: a sixtieth is no decimal.
        return cents(getattr(self, f"{step}_minutes") * self.hourly_value / 60)

    def labour(self) -> Decimal:
        """Value of the prep minutes: the sum of the steps, each rounded half up to the cent."""
        return self._labour

    @cached_property
    def _labour(self) -> Decimal:
        return sum((self.step_cost(step) for step in STEPS), _ZERO)

    def break_even_sale(self, landed: Decimal) -> Decimal:
        """Smallest total, to the cent, whose net proceeds cover landed cost and labour.

        Raises
        ------
        BadInput
            Fees and returns take the whole price, so that no price breaks even.
        """
        found = self._even.get(landed)
        if found is None:
            if len(self._even) > _MOST_KEPT:
                self._even.clear()
            found = self._even[landed] = self._break_even(landed)
        return found

    @cached_property
    def _even(self) -> dict[Decimal, Decimal]:
        """Break-even sales worked out already: the same tags hang on many items."""
        return {}

    def _break_even(self, landed: Decimal) -> Decimal:
        need = landed + self.labour()
        # What rounding can make up: half a cent a fee line, of which returns take their share, and half of the returns.
        slack = _CENT / 2 * (len(self.fees) * (1 + self._return_shares[2]) + 1)
        lines = self.net_lines
        for (start, slope, fixed), after in zip_longest(lines, lines[1:]):
            if slope <= 0:
                low = high = start
            else:
                low, high = (max((need + way * slack - fixed) / slope, start) for way in (-1, 1))
            total = low.quantize(_CENT, ROUND_CEILING)
            while total <= high + _CENT and (after is None or total < after.start):
                if self.net(total) >= need:
                    return total
                total += _CENT
        raise BadInput(
            gettext("The fees and returns take the whole price, so that no price breaks even."),
            gettext("Less than 100 % of the price."),
            gettext("Lower the share of a fee."),
            field="share",
        )

    def receipt(
        self, total: Decimal, shelf: Decimal | None = None, discount: Discounts | None = None
    ) -> tuple[ReceiptLine, ...]:
        """One worked sale, line by line, each rounded half up to the cent; the lines add up to the last."""
        from sourcing.receipt import receipt

        return receipt(self, total, shelf, self.store_discount if discount is None else discount)
