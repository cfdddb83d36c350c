"""What a check answers: plain frozen records shared by the pages, the JSON twin and the command line."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Literal

from sourcing.language import gettext_noop
from sourcing.purchase import Discounts

Decision = Literal["buy", "pass", "too little to go on"]
DECISIONS = (gettext_noop("buy"), gettext_noop("pass"), gettext_noop("too little to go on"))
"""Kept and compared as they are; said by gettext where they are shown."""


@dataclass(frozen=True)
class Query:
    """What the user asked: any one of ``code`` and ``title`` identifies; the rest sharpens the answer."""

    code: str = ""
    shelf_price: Decimal | None = None
    brand: str = ""
    category: str = ""
    title: str = ""
    size: str = ""
    condition: str = ""
    discount: Discounts | None = None  # None takes the settings' own
    flags: tuple[str, ...] = ()  # what the piece has: names of the settings' flags


@dataclass(frozen=True)
class Item:
    """The item a query was understood as."""

    label: str  # the best human name: title, else brand and style code, else the code as typed
    known: bool  # whether the table holds comps of this very item
    root: int | None  # product key in storage
    gtin: str  # canonical GTIN-14, or ""
    style_code: str  # canonical style code, or ""
    brand: str
    category: str
    title: str
    size: str
    condition: str
    code_note: str = ""  # what the code was recognised as, when that needs saying (in-store tag, demo, ...)
    suggestions: tuple[str, ...] = ()  # closest known codes on a miss
    flags: tuple[str, ...] = ()  # what the piece has


@dataclass(frozen=True)
class Spread:
    """Quantiles of one money amount."""

    low: Decimal  # 10 %
    mid: Decimal  # 50 %
    high: Decimal  # 90 %


@dataclass(frozen=True)
class Range:
    """What nine in ten amounts lie between."""

    low: Decimal  # 5 %
    high: Decimal  # 95 %


@dataclass(frozen=True)
class Comp:
    """One comparable listing as the verdict used it."""

    status: Literal["sold", "open", "ended unsold"]
    paid: Decimal | None  # item + shipping charged, sold rows only
    asking_price: Decimal | None
    listed_on: date | None
    ended_on: date | None
    days: int | None  # days on the market so far, when known
    size: str
    condition: str
    channel: str
    title: str
    match: str  # "same code", "same style, other size", ...
    weight: float  # share of the own-comps evidence about the price, 0 to 1
    set_aside: str = ""  # why it was set aside; empty when it was used


@dataclass(frozen=True)
class AskChoice:
    """One asking price of the trade-off table."""

    ask: Decimal
    chance_by_target: float  # chance sold by the category's target day
    days_50: int | None  # None: not reached within the plan
    expected_proceeds: Decimal
    chosen: bool


@dataclass(frozen=True)
class Copy:
    """One of several copies of the item, listed together and sold one after another."""

    number: int  # 1 is the first to sell
    expected_proceeds: Decimal
    days: int  # expected until it is sold or given up
    chance_sold: float  # before it is given up
    profit: Decimal | None  # after labour and cash tied up, at the shelf price
    most: Decimal | None  # highest shelf price at which this many are worth taking; None: no limit
    worth_it: bool  # at the shelf price, with all before it


@dataclass(frozen=True)
class FlagNote:
    """What one flag of the piece does."""

    name: str
    label: str
    minutes: Decimal = Decimal(0)  # of prep, added
    supplies: Decimal = Decimal(0)  # added
    price_change: float | None = None  # as a share, -0.15 is 15 % less; None: the price is left as it is
    low: float | None = None  # 90 % interval of what comps show; None: they do not show it
    high: float | None = None
    comps: int = 0  # that name it and have like ones without it beside them
    words: str = ""  # what it does to the price, in one sentence


@dataclass(frozen=True)
class Limit:
    """The highest shelf price at which one rule still holds."""

    rule: str  # settings name of the rule, e.g. "least_profit"
    meaning: str  # one line in plain words, figures in it
    most: Decimal | None  # None: the rule does not bind at any price; 0: it fails at every price
    holds: bool  # at the asked shelf price


@dataclass(frozen=True)
class ReceiptLine:
    """One line of the worked sale: label, signed amount, and how it was worked out."""

    label: str
    amount: Decimal
    how: str = ""


@dataclass(frozen=True)
class Verdict:
    """The whole answer to one check. Money is decimal to the currency's minor unit; chances are 0 to 1."""

    query: Query
    item: Item
    currency: str
    decision: Decision
    reason: str  # one sentence
    binding_rule: str  # settings name of the lowest limit's rule; "" when too little to go on
    most_worth_paying: Decimal | None
    shelf_price: Decimal | None
    landed_cost: Decimal | None
    asking_price: Decimal | None
    sale_price: Spread | None  # the next comparable sale, 80 % interval
    sale_price_wide: Range | None  # the same, 90 % interval
    speed_basis: str  # what the time to sell rests on, in words
    days_50: int | None  # None with speed known: not reached
    days_80: int | None
    sold_within: dict[int, float]  # 14, 30, 60, 90 days, at that asking price; empty: not known
    expected_proceeds: Decimal | None
    proceeds: Spread | None
    profit_before_labour: Decimal | None
    profit_after_labour: Decimal | None
    profit: Spread | None  # after labour
    profit_per_hour: Decimal | None  # before labour, per hour of prep
    chance_of_loss: float | None
    comps_sold: int
    comps_unsold: int
    comps_set_aside: int
    newest_comp: date | None
    match: str  # how closely the comps match, in words
    rests_on: str  # one sentence: how many, how old, how closely matched
    would_settle: str = ""  # for "too little to go on": the evidence that would settle it
    objective: str = ""  # what the asking price was chosen for
    channel: str = ""  # where it is best sold
    channel_words: str = ""  # which of several channels, by how much, and what that takes for granted
    choices: tuple[AskChoice, ...] = ()
    depth: tuple[Copy, ...] = ()  # the 1st, 2nd, ... copy; of single checks only
    worth_taking: int | None = None  # how many copies, at most as many as ``depth`` has; None: no shelf price
    depth_words: str = ""  # the same in words
    depth_assumes: str = ""
    limits: tuple[Limit, ...] = ()
    comps: tuple[Comp, ...] = ()
    receipt: tuple[ReceiptLine, ...] = ()  # one sale at the chosen asking price, line by line
    sold_curve: tuple[tuple[int, float], ...] = ()  # (day, share sold) at the chosen asking price
    break_even_sale: Decimal | None = None  # the sale price that just covers everything at this shelf price
    cautions: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    flags: tuple[FlagNote, ...] = ()  # what each flag of the piece does
    fit_made_at: datetime | None = None

    def but(self, values: dict[str, Any]) -> Verdict:
        """Return a copy with other values of some fields; `dataclasses.replace` takes longer than judging does."""
        found = object.__new__(Verdict)
        found.__dict__.update(self.__dict__)
        found.__dict__.update(values)
        return found

    def as_dict(self) -> dict[str, Any]:
        """Return a JSON-able mapping: money as strings with two decimals, dates as ISO 8601."""
        return {name: _plain(value) for name, value in vars(self).items()}

    def same_json(self) -> bytes:
        """Write what is the same at every shelf price, the bulk of `as_dict`, as JSON without its braces."""
        return _json({name: value for name, value in vars(self).items() if name not in CHANGING})[1:-1]

    def changing_json(self) -> bytes:
        """Write the other part of `as_dict` as JSON without its braces."""
        values = vars(self)
        return _json({name: values[name] for name in CHANGING})[1:-1]


CHANGING = (
    "query", "shelf_price", "landed_cost", "decision", "binding_rule", "most_worth_paying", "reason", "limits",
    "receipt", "profit_before_labour", "profit_after_labour", "profit", "profit_per_hour", "chance_of_loss",
    "break_even_sale", "depth", "worth_taking", "depth_words", "depth_assumes",
)  # fmt: skip
"""Fields of a verdict that the shelf price and the store discount change."""


def _json(values: dict[str, Any]) -> bytes:
    import orjson  # writes dataclasses and dates by itself, in a fifth of the time

    return orjson.dumps(values, default=str, option=orjson.OPT_NON_STR_KEYS)


_AS_IS = frozenset((str, int, float, bool, type(None)))


def _plain(value: Any) -> Any:
    """Turn decimals, dates and tuples into JSON-able values."""
    kind = type(value)
    if kind in _AS_IS:
        return value
    if kind is Decimal or kind is Discounts:
        return str(value)
    if kind is tuple or kind is list:
        return [_plain(item) for item in value]
    if kind is dict:
        return {str(key): _plain(item) for key, item in value.items()}
    if kind is date or kind is datetime:
        return value.isoformat()
    # Not ``dataclasses.asdict``: it copies every value deeply first, which cost more than the forecast.
    return {name: item if type(item) in _AS_IS else _plain(item) for name, item in vars(value).items()}
