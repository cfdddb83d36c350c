"""The settings of language, currency, parcels and sales channels: their part of the one table of settings."""

from __future__ import annotations

from decimal import Decimal

from sourcing.fees import BASES, WAYS, FeePart
from sourcing.language import gettext_noop
from sourcing.parcel import SIDE_ROUNDINGS
from sourcing.setting import Setting
from sourcing.terms import Terms

_MOST = Decimal("0.95")
_ONE = Decimal(1)
_FEE = Terms.fees[0]
_POSTAGE = tuple(  # invented round figures
    (grams, Decimal(price))
    for grams, price in (
        (250, "4.20"),
        (500, "4.90"),
        (1000, "7.40"),
        (1500, "8.90"),
        (2500, "9.80"),
        (5000, "12.90"),
        (10000, "17.90"),
        (20000, "27.90"),
    )
)
COSTS: tuple[Setting, ...] = (
    Setting(
        "locale",
        "general",
        "text",
        "en_US",
        gettext_noop("which language is spoken, and how amounts and dates are written"),
    ),
    Setting(
        "currency", "general", "text", "USD", gettext_noop("the one currency of all amounts, as its ISO 4217 code")
    ),
    Setting(
        "postage_table",
        "parcel",
        "steps",
        _POSTAGE,
        gettext_noop("postage as [up to this many grams, price], or a price for each zone"),
    ),
    Setting(
        "zone_shares",
        "parcel",
        "zones",
        None,
        gettext_noop("share of your parcels that goes to each zone of the postage table"),
        True,
    ),
    Setting(
        "volume_divisor",
        "parcel",
        "cm3 per kg",
        None,
        gettext_noop("carrier's divisor for volumetric weight"),
        True,
        _ONE,
    ),
    Setting("volume_divisor_dated", "parcel", "date", None, gettext_noop("day you looked the divisor up"), True),
    Setting("volume_from", "parcel", "cm3", Decimal(0), gettext_noop("parcels up to this volume go by plain weight")),
    Setting(
        "weight_step",
        "parcel",
        "grams",
        Decimal(500),
        gettext_noop("volumetric weight is rounded up to a multiple of this"),
        lowest=_ONE,
    ),
    Setting(
        "side_rounding",
        "parcel",
        "choice",
        "up",
        gettext_noop("how the carrier rounds each side to a whole cm first: up, nearest or none"),
        choices=SIDE_ROUNDINGS,
    ),
    Setting(
        "fee_rate",
        "channel",
        "share",
        _FEE.share[0].share,
        gettext_noop("fee as a share of what the buyer pays"),
        highest=_MOST,
    ),
    Setting("fee_fixed", "channel", "money", _FEE.fixed, gettext_noop("fixed part of the fee per order")),
    Setting("fee_cap", "channel", "money", _FEE.most, gettext_noop("the percentage part never exceeds this"), True),
    Setting(
        "shipping",
        "channel",
        "shipping",
        Terms.shipping,
        gettext_noop(
            "what the buyer pays for shipping, part of the total: you pay (nothing), same as postage, or an amount"
        ),
    ),
    Setting(
        "buyer_tax",
        "channel",
        "share",
        Terms.buyer_tax,
        gettext_noop("buyer's average tax, for fees charged on the total with tax"),
        highest=_ONE,
    ),
    Setting(
        "fees_refunded",
        "channel",
        "share",
        Terms.fees_refunded,
        gettext_noop("share of the fees given back on a return"),
        highest=_ONE,
    ),
    Setting(
        "share",
        "fee",
        "brackets",
        FeePart.share,
        gettext_noop("share of the amount, or brackets as [from this amount, share] or [from, share, flat amount]"),
        highest=_MOST,
    ),
    Setting(
        "by",
        "fee",
        "choice",
        FeePart.by,
        gettext_noop(
            "slices: each bracket's share of its slice; whole amount: all of it at the share of the bracket it falls in"
        ),
        choices=WAYS,
    ),
    Setting("least", "fee", "money", FeePart.least, gettext_noop("the brackets come to at least this"), True),
    Setting("most", "fee", "money", FeePart.most, gettext_noop("the brackets come to at most this"), True),
    Setting("fixed", "fee", "money", FeePart.fixed, gettext_noop("fixed part per order, on top")),
    Setting("on", "fee", "choice", FeePart.on, gettext_noop("what it is charged on"), choices=BASES),
    Setting(
        "only",
        "fee",
        "share",
        FeePart.only,
        gettext_noop("part of your sales it is charged on: 1 all, 0 switched off"),
        highest=_ONE,
    ),
)
