"""One worked sale, line by line: what each line is, what it comes to, and how that was worked out."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from sourcing.answer import ReceiptLine
from sourcing.day import day_writer
from sourcing.fees import ITEM, SLICES, TAXED, FeePart
from sourcing.labour import STEPS
from sourcing.language import gettext, gettext_noop, ngettext, separated, spoken
from sourcing.money import cents
from sourcing.purchase import Discounts

if TYPE_CHECKING:
    from sourcing.terms import Lines, Terms

ROUNDING = gettext_noop("Each line is rounded half up to the cent by itself, as on an invoice.")
_WORDS = {
    "clean": gettext_noop("Cleaning"),
    "photograph": gettext_noop("Photographing"),
    "list": gettext_noop("Listing"),
    "pack": gettext_noop("Packing"),
}
_ZERO = Decimal(0)
_MOST_KEPT = 500


def receipt(terms: Terms, total: Decimal, shelf: Decimal | None, discount: Discounts) -> tuple[ReceiptLine, ...]:
    """Work one sale out; the lines add up to the last."""
    sold, left = _kept(terms, (total, spoken()), lambda: _sold(terms, total))
    if shelf is None:
        return (*sold, _left(left))
    bought, spent = _kept(terms, (str(shelf), discount, spoken()), lambda: _bought(terms, shelf, discount))
    return (*sold, *bought, _left(left + spent))


def cash_cost(answer: Mapping[str, Any]) -> Decimal | None:
    """Return what the cash costs until the item is sold, as a verdict (`Verdict.as_dict`) has reckoned with it.

    None where the verdict has no forecast or no shelf price.
    """
    proceeds, landed, profit = (answer[key] for key in ("expected_proceeds", "landed_cost", "profit_before_labour"))
    if proceeds is None or landed is None or profit is None:
        return None
    return Decimal(proceeds) - Decimal(landed) - Decimal(profit)


def _kept(terms: Terms, asked: tuple[Any, ...], work_out: Callable[[], list[ReceiptLine]]) -> Lines:
    """Return lines and what they add up to, worked out once: the same tags hang on many items."""
    found = terms.receipt_lines.get(asked)
    if found is None:
        if len(terms.receipt_lines) > _MOST_KEPT:
            terms.receipt_lines.clear()
        lines = work_out()
        found = terms.receipt_lines[asked] = (tuple(lines), sum((line.amount for line in lines), _ZERO))
    return found


def _left(amount: Decimal) -> ReceiptLine:
    return ReceiptLine(gettext("Left"), amount, gettext("the lines above added up"))


def _sold(terms: Terms, total: Decimal) -> list[ReceiptLine]:
    shipping = terms.shipping_charged
    paid = (
        gettext("shipping charged {amount} included", amount=separated(f"{shipping:.2f}"))
        if shipping
        else gettext("shipping is free to the buyer")
    )
    lines = [ReceiptLine(gettext("Buyer pays"), total, paid)]
    for part, charge in zip(terms.fees, terms.charges(total), strict=True):
        base = part.base(total, shipping, terms.buyer_tax)
        label = gettext("Fee") if part.name == "fee" else gettext("Fee: {name}", name=part.name)
        lines.append(ReceiptLine(label, -charge, charged(part, base)))
    lines.append(ReceiptLine(gettext("Postage"), -terms.postage, gettext("what you pay the carrier")))
    lines.append(ReceiptLine(gettext("Supplies"), -terms.supplies, gettext("box, filling, label")))
    lines.append(ReceiptLine(gettext("Expected returns"), -terms.returns(total), _returned(terms, total)))
    learnt = dict(terms.learnt_steps)
    lines += [
        ReceiptLine(
            gettext(_WORDS[step]),
            -terms.step_cost(step),
            _worked(minutes, terms.hourly_value, learnt.get(step)),
        )
        for step in STEPS
        if (minutes := getattr(terms, f"{step}_minutes"))
    ]
    return lines


def _worked(minutes: Decimal, hourly: Decimal, batches: int | None) -> str:
    """Say what one step's minutes are worth, and of how many timed batches they were learnt."""
    said = {"minutes": separated(f"{minutes.normalize():f}"), "amount": separated(f"{hourly:.2f}")}
    if batches is None:
        return gettext("{minutes} min at {amount} an hour", **said)
    return ngettext(
        "{minutes} min, learnt from {count} batch of yours, at {amount} an hour",
        "{minutes} min, learnt from {count} batches of yours, at {amount} an hour",
        batches,
        **said,
    )


def charged(part: FeePart, base: Decimal) -> str:
    """Say how one part's charge came about."""
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
                said.append(_share_of(share, upper - start))
        else:
            whole, said = share * base, [_share_of(share, base)] if share else []
        flat = extra
    if flat:
        whole += flat
        said.append(separated(f"{flat:.2f}"))
    words = " + ".join(said) or gettext("nothing by share")
    if part.least is not None and whole < part.least:
        words = gettext("{charge}, at least {amount}", charge=words, amount=separated(f"{part.least:.2f}"))
    elif part.most is not None and whole > part.most:
        words = gettext("{charge}, at most {amount}", charge=words, amount=separated(f"{part.most:.2f}"))
    if part.fixed:
        words = gettext("{charge} + {amount} an order", charge=words, amount=separated(f"{part.fixed:.2f}"))
    if part.only != 1:
        words = gettext("({charge}), on {share} of sales", charge=words, share=percent(part.only))
    if not any(share for _, share, _ in part.share):
        return words
    if part.on == ITEM:
        return gettext("{charge}; charged on the item alone", charge=words)
    if part.on == TAXED:
        return gettext("{charge}; charged on the total with the buyer's tax", charge=words)
    return gettext("{charge}; charged on item and shipping", charge=words)


def _share_of(share: Decimal, amount: Decimal) -> str:
    return gettext("{share} of {amount}", share=percent(share), amount=plain(amount))


def _returned(terms: Terms, total: Decimal) -> str:
    share = percent(terms.return_value_lost)
    parts = [gettext("{share} of {amount} lost in value", share=share, amount=separated(f"{total:.2f}"))]
    if terms.return_way_back == "you pay":
        parts.append(gettext("{amount} postage back", amount=separated(f"{terms.postage:.2f}")))
    if terms.return_outward_lost:
        lost = cents(terms.postage * terms.return_outward_lost)
        parts.append(gettext("{amount} outward postage lost", amount=separated(f"{lost:.2f}")))
    if kept := cents(terms.fee(total) * (1 - terms.fees_refunded)):
        parts.append(gettext("{amount} of fees kept by the channel", amount=separated(f"{kept:.2f}")))
    return gettext(
        "{share} of sales come back, each costing {costs}", share=percent(terms.return_rate), costs=" + ".join(parts)
    )


def _bought(terms: Terms, shelf: Decimal, discount: Discounts) -> list[ReceiptLine]:
    lines, price = [ReceiptLine(gettext("Shelf price"), -shelf, gettext("the tag"))], shelf
    for step in discount.steps:
        left = step.off(price)
        how = gettext("of {price}, which leaves {left}", price=separated(f"{price:.2f}"), left=separated(f"{left:.2f}"))
        lines.append(ReceiptLine(gettext("Store discount {step}", step=separated(str(step))), price - left, how))
        price = left
    if terms.resale_exemption == "yes":
        lines.append(ReceiptLine(gettext("Purchase tax"), _ZERO, gettext("none: resale exemption")))
    elif terms.tax:
        landed = terms.landed(shelf, discount)
        how = gettext("{share} of {amount}", share=percent(terms.tax), amount=separated(f"{price:.2f}"))
        lines.append(ReceiptLine(gettext("Purchase tax"), price - landed, how))
    return lines


def fee_note(terms: Terms) -> str:
    """Say whose fees these are, since when they hold, and from when others are kept."""
    written = day_writer()
    since = terms.fees_since and written(terms.fees_since)
    later = terms.fees_next and written(terms.fees_next)
    if since and later:
        return gettext(
            "Fees of {channel} as of {since}; other fees are kept from {later} on.",
            channel=terms.channel,
            since=since,
            later=later,
        )
    if since:
        return gettext("Fees of {channel} as of {since}.", channel=terms.channel, since=since)
    if later:
        return gettext("Fees of {channel}; other fees are kept from {later} on.", channel=terms.channel, later=later)
    return gettext("Fees of {channel}.", channel=terms.channel)


def percent(share: Decimal) -> str:
    """Write a share as a percentage without needless zeros."""
    return separated(f"{_short(share * 100)}%")


def plain(number: Decimal) -> str:
    """Write a number without needless zeros; whole cents of an amount that has any."""
    return separated(_short(number))


def _short(number: Decimal) -> str:
    short = number.normalize()
    exponent = short.as_tuple().exponent
    short_enough = isinstance(exponent, int) and (exponent >= 0 or exponent < -2)
    return f"{short:f}" if short_enough else f"{number:.2f}"
