"""Retail arithmetic, exact in decimals and unrounded; rounding to the cent is the caller's.

Formulas: Levy & Weitz, Retailing Management; Berman & Evans, Retail Management.
"""

from __future__ import annotations

from decimal import ROUND_CEILING, Decimal

from sourcing.errors import BadInput
from sourcing.language import gettext, gettext_noop, separated

_ONE = Decimal(1)


def markup_on_cost(cost: Decimal, price: Decimal) -> Decimal:
    """Return (price - cost) / cost as a share."""
    _positive(cost, gettext_noop("cost"))
    return (price - cost) / cost


def margin(cost: Decimal, price: Decimal) -> Decimal:
    """Return (price - cost) / price as a share."""
    _positive(price, gettext_noop("price"))
    return (price - cost) / price


def margin_of_markup(markup: Decimal) -> Decimal:
    """Turn a markup on cost into a margin."""
    return markup / (1 + markup)


def markup_of_margin(share: Decimal) -> Decimal:
    """Turn a margin into a markup on cost; a margin of 100 % cannot be while the goods cost anything."""
    _below_one(share, gettext_noop("margin"))
    return share / (1 - share)


def price_for(cost: Decimal, charges: Decimal, fee_rate: Decimal, profit: Decimal = Decimal(0)) -> Decimal:
    """Return the price that covers cost, charges and a percentage fee on itself, and leaves the profit.

    Raises
    ------
    BadInput
        The fee takes the whole price.
    """
    _below_one(fee_rate, gettext_noop("fee rate"))
    return (cost + charges + profit) / (1 - fee_rate)


def most_to_pay(price: Decimal, charges: Decimal, fee_rate: Decimal, profit: Decimal = Decimal(0)) -> Decimal:
    """Return the cost at which selling at ``price`` just leaves the profit: the inverse of `price_for`."""
    _below_one(fee_rate, gettext_noop("fee rate"))
    return price * (1 - fee_rate) - charges - profit


def break_even_units(fixed: Decimal, price: Decimal, unit_cost: Decimal) -> int:
    """Return the whole units to sell before fixed costs are covered."""
    _positive(price - unit_cost, gettext_noop("price less unit cost"))
    return int((fixed / (price - unit_cost)).to_integral_value(ROUND_CEILING))


def break_even_sales(fixed: Decimal, price: Decimal, unit_cost: Decimal) -> Decimal:
    """Return the sales at which fixed costs are covered: F / (1 - v / p)."""
    _positive(price - unit_cost, gettext_noop("price less unit cost"))
    return fixed / (1 - unit_cost / price)


def regular_price(cost: Decimal, markup: Decimal, cut: Decimal, share_at_cut: Decimal) -> Decimal:
    """Return the regular price that keeps the average markup, in money, when some buyers pay less by ``cut``."""
    return cost + markup + cut * share_at_cut


def sell_through(sold: Decimal, on_hand: Decimal) -> Decimal:
    """Return sold / (sold + on hand): the share of what was received that is sold."""
    _positive(sold + on_hand, gettext_noop("what was received"))
    return sold / (sold + on_hand)


def turnover(cost_of_goods: Decimal, opening: Decimal, closing: Decimal) -> Decimal:
    """Return turns a year: cost of goods sold over average inventory at cost."""
    _positive(opening + closing, gettext_noop("inventory"))
    return cost_of_goods / ((opening + closing) / 2)


def days_of_supply(turns: Decimal) -> Decimal:
    """Return 365 / turns."""
    _positive(turns, gettext_noop("turns"))
    return 365 / turns


def gmroi(margin_share: Decimal, turns_at_retail: Decimal) -> Decimal:
    """Return gross margin on inventory at cost: margin x turns / (1 - margin), turns at retail."""
    return markup_of_margin(margin_share) * turns_at_retail


def gmroi_of_amounts(gross_margin: Decimal, inventory_at_cost: Decimal) -> Decimal:
    """Return gross margin over average inventory at cost, from amounts."""
    _positive(inventory_at_cost, gettext_noop("inventory"))
    return gross_margin / inventory_at_cost


def return_on_outlay(profit: Decimal, outlay: Decimal) -> Decimal:
    """Return profit / outlay as a share."""
    _positive(outlay, gettext_noop("outlay"))
    return profit / outlay


def annual_return(profit: Decimal, outlay: Decimal, days: Decimal) -> Decimal:
    """Return profit over outlay, brought to a year simply (no compounding)."""
    _positive(days, gettext_noop("days"))
    return return_on_outlay(profit, outlay) * 365 / days


def _positive(value: Decimal, name: str) -> None:
    if not value > 0:
        raise BadInput(
            gettext("The {name} is {value}.", name=gettext(name), value=value),
            gettext("An amount above 0."),
            gettext("Change it."),
            field=name,
        )


def _below_one(share: Decimal, name: str) -> None:
    if not share < _ONE:
        raise BadInput(
            gettext(
                "A {name} of {share} leaves nothing of the price.", name=gettext(name), share=separated(f"{share:.0%}")
            ),
            gettext("Less than 100 %."),
            gettext("Lower it."),
            field=name.replace(" ", "_"),
        )
