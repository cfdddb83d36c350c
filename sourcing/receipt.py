"""One worked sale, line by line: what each line is, what it comes to, and how that was worked out."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from sourcing.answer import ReceiptLine
from sourcing.fees import ITEM, SLICES, TAXED, FeePart
from sourcing.labour import STEPS
from sourcing.money import cents
from sourcing.purchase import Discounts

if TYPE_CHECKING:
    from sourcing.terms import Terms

ROUNDING = "Each line is rounded half up to the cent by itself, as on an invoice."
_WORDS = {"clean": "Cleaning", "photograph": "Photographing", "list": "Listing", "pack": "Packing"}
_ZERO = Decimal(0)
_MOST_KEPT = 500


def receipt(terms: Terms, total: Decimal, shelf: Decimal | None, discount: Discounts) -> tuple[ReceiptLine, ...]:
    """Work one sale out; the lines add up to the last."""
    known = terms.sale_lines
    if total not in known:
        if len(known) > _MOST_KEPT:
            known.clear()
        known[total] = _sold(terms, total)
    lines = [*known[total]]
    if shelf is not None:
        lines += _bought(terms, shelf, discount)
    return (*lines, ReceiptLine("Left", sum((line.amount for line in lines), _ZERO), "the lines above added up"))


def _sold(terms: Terms, total: Decimal) -> tuple[ReceiptLine, ...]:
    shipping = terms.shipping_charged
    paid = f"shipping charged {shipping:.2f} included" if shipping else "shipping is free to the buyer"
    lines = [ReceiptLine("Buyer pays", total, paid)]
    for part, charge in zip(terms.fees, terms.charges(total), strict=True):
        base = part.base(total, shipping, terms.buyer_tax)
        lines.append(ReceiptLine("Fee" if part.name == "fee" else f"Fee: {part.name}", -charge, charged(part, base)))
    lines.append(ReceiptLine("Postage", -terms.postage, "what you pay the carrier"))
    lines.append(ReceiptLine("Supplies", -terms.supplies, "box, filling, label"))
    lines.append(ReceiptLine("Expected returns", -terms.returns(total), _returned(terms, total)))
    lines += [
        ReceiptLine(
            _WORDS[step],
            -terms.step_cost(step),
            f"{minutes.normalize():f} min at {terms.hourly_value:.2f} an hour",
        )
        for step in STEPS
        if (minutes := getattr(terms, f"{step}_minutes"))
    ]
    return tuple(lines)


def charged(part: FeePart, base: Decimal) -> str:
    """Say how one part's charge came about."""
    what = {ITEM: "the item alone", TAXED: "the total with the buyer's tax"}.get(part.on, "item and shipping")
    said, whole = [], _ZERO
    flat = _ZERO
    for at, (start, share, extra) in enumerate(part.share):
        stop = part.share[at + 1].start if at + 1 < len(part.share) else None
        if base < start:
            break
        if part.by == SLICES:
            upper = base if stop is None else min(base, stop)
            whole += share * (upper - start)
            if share and (upper > start or len(part.share) == 1):
                said.append(f"{percent(share)} of {plain(upper - start)}")
        else:
            whole, said = share * base, [f"{percent(share)} of {plain(base)}"] if share else []
        flat = extra
    if flat:
        whole += flat
        said.append(f"{flat:.2f}")
    words = " + ".join(said) or "nothing by share"
    if part.least is not None and whole < part.least:
        words = f"{words}, at least {part.least:.2f}"
    elif part.most is not None and whole > part.most:
        words = f"{words}, at most {part.most:.2f}"
    if part.fixed:
        words += f" + {part.fixed:.2f} an order"
    if part.only != 1:
        words = f"({words}), on {percent(part.only)} of sales"
    return f"{words}; charged on {what}" if any(share for _, share, _ in part.share) else words


def _returned(terms: Terms, total: Decimal) -> str:
    parts = [f"{percent(terms.return_value_lost)} of {total:.2f} lost in value"]
    if terms.return_way_back == "you pay":
        parts.append(f"{terms.postage:.2f} postage back")
    if terms.return_outward_lost:
        parts.append(f"{cents(terms.postage * terms.return_outward_lost):.2f} outward postage lost")
    if kept := cents(terms.fee(total) * (1 - terms.fees_refunded)):
        parts.append(f"{kept:.2f} of fees kept by the channel")
    return f"{percent(terms.return_rate)} of sales come back, each costing {' + '.join(parts)}"


def _bought(terms: Terms, shelf: Decimal, discount: Discounts) -> list[ReceiptLine]:
    lines, price = [ReceiptLine("Shelf price", -shelf, "the tag")], shelf
    for step in discount.steps:
        left = step.off(price)
        how = f"of {price:.2f}, which leaves {left:.2f}"
        lines.append(ReceiptLine(f"Store discount {step}", price - left, how))
        price = left
    if terms.resale_exemption == "yes":
        lines.append(ReceiptLine("Purchase tax", _ZERO, "none: resale exemption"))
    elif terms.tax:
        landed = terms.landed(shelf, discount)
        lines.append(ReceiptLine("Purchase tax", price - landed, f"{percent(terms.tax)} of {price:.2f}"))
    return lines


def fee_note(terms: Terms) -> str:
    """Say whose fees these are, since when they hold, and from when others are kept."""
    since = f" as of {terms.fees_since.isoformat()}" if terms.fees_since else ""
    later = f"; other fees are kept from {terms.fees_next.isoformat()} on" if terms.fees_next else ""
    return f"Fees of {terms.channel}{since}{later}."


def percent(share: Decimal) -> str:
    """Write a share as a percentage without needless zeros."""
    return f"{plain(share * 100)} %"


def plain(number: Decimal) -> str:
    """Write a number without needless zeros; whole cents of an amount that has any."""
    short = number.normalize()
    exponent = short.as_tuple().exponent
    return f"{short:f}" if isinstance(exponent, int) and (exponent >= 0 or exponent < -2) else f"{number:.2f}"
