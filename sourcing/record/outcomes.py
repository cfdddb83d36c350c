"""Every piece with a forecast and what is known of it by now, as arrays; what is unsold is kept as such."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from datetime import date
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from models.price import Floats, Ints
from sourcing.fitting import BUCKETS, fold
from sourcing.record.corrected import Correction, then_and_now
from sourcing.settings import load_settings
from sourcing.stock.item import GIVEN_UP, SOLD, day_number
from sourcing.storage import Store
from sourcing.stores.bring import Work

HORIZONS = (14, 30, 60, 90)
KNOTS = np.array([0.0, *HORIZONS])
_ITEMS = """SELECT id, category, store, brand, style_code, gtin, what, bought_on, landed, forecast, state, ended_on,
 got, flags FROM stock_item WHERE forecast <> '{}' ORDER BY id"""
_LISTINGS = "SELECT item_id, asked, ended_on FROM stock_listing ORDER BY item_id, id"
_SALES = """SELECT item_id, sold_on, paid, coalesce(fees, -1), coalesce(postage, -1), returned_on,
 coalesce(refunded, 0) + coalesce(return_cost, 0) FROM stock_sale ORDER BY item_id, id"""
Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Outcomes:
    """N pieces; money as floats, days since 1970-01-01, nan where nothing is known or was forecast.

    Attributes
    ----------
    category, place, bucket, style : (N,) numbers of names, of stores, of `fitting.BUCKETS`, of styles.
    mid, low, high, wide_low, wide_high : forecast of the next comparable sale: median, 80 % and 90 % range.
    chance : (N, 4) of a sale within `HORIZONS`. expected : net proceeds, labour and purchase not counted.
    listed : day it was first listed. days : listed until it sold, or so far. sold : whether it has, at first.
    sold_on, paid : of the first sale. ended : whether nothing more is to come. left : what all its sales and giving up
    brought in the end, fees and postage gone where known, else by ``kept_share`` of what was paid.
    """

    names: tuple[str, ...]
    places: tuple[str, ...]
    ids: Ints
    category: Ints
    place: Ints
    bucket: Ints
    style: Ints
    bought: Floats
    landed: Floats
    mid: Floats
    low: Floats
    high: Floats
    wide_low: Floats
    wide_high: Floats
    chance: Floats
    expected: Floats
    listed: Floats
    days: Floats
    sold: Flags
    sold_on: Floats
    paid: Floats
    ended: Flags
    ended_on: Floats
    left: Floats
    today: int

    def __len__(self) -> int:
        """Pieces."""
        return len(self.ids)

    @cached_property
    def foretold(self) -> Flags:
        """Bought on a forecast: of the price, of chances of a sale, or of what it would bring."""
        return np.asarray((self.mid > 0) | ~np.isnan(self.chance).any(axis=1) | ~np.isnan(self.expected))

    @cached_property
    def priced(self) -> Flags:
        """Sold, with a forecast of the price."""
        return np.asarray(self.sold & (self.mid > 0) & (self.paid > 0))

    @cached_property
    def timed(self) -> Flags:
        """Listed, with forecast chances of a sale."""
        return np.asarray(~np.isnan(self.days) & ~np.isnan(self.chance).any(axis=1))

    @cached_property
    def error(self) -> Floats:
        """Log of what was paid over the median that was forecast; nan where not both are known."""
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.asarray(np.where(self.priced, np.log(self.paid / self.mid), np.nan))

    @cached_property
    def hazard(self) -> Floats:
        """Promised cumulative hazard by `KNOTS`: (N, 5)."""
        spent = -np.log1p(-np.clip(self.chance, 0.0, 0.9999))
        return np.column_stack([np.zeros(len(self)), np.maximum.accumulate(spent, axis=1)])

    def of(self, mask: Flags) -> Outcomes:
        """Return some of the pieces."""
        picked = {
            one.name: getattr(self, one.name)[mask]
            for one in fields(self)
            if isinstance(getattr(self, one.name), np.ndarray)
        }
        return replace(self, **picked)


def outcomes(store: Store, corrections: Sequence[Correction] = (), today: date | None = None) -> Outcomes:
    """Read every piece with a forecast.

    Parameters
    ----------
    corrections : every one that was ever accepted. A forecast is taken as it would be made today: what was corrected
        when it was made is taken out, what is corrected now is put in, so that a bias that has been put right is not
        found again.
    """
    import orjson

    now = day_number(today or date.today())
    items, listings, sales = store.read(_ITEMS), store.read(_LISTINGS), store.read(_SALES)
    spells = _spells(listings, now)
    work = Work(load_settings(store))
    sold = _sales(sales, {row[0]: (row[1], row[13]) for row in items}, work)
    count = len(items)
    columns = list(zip(*items, strict=True)) if items else [()] * 14
    told = [orjson.loads(text) for text in columns[9]]
    names, category = _numbered([fold(name) for name in columns[1]])
    places, place = _numbered(list(columns[2]))
    # One style sold several times may go wrong together.
    _, style = _numbered([row[4] or row[5] or f"{row[3]}\t{row[6]}" for row in items])
    first = [sold.get(one) for one in columns[0]]
    shown = [spells.get(one) for one in columns[0]]
    sold_on = _floats([one[0] if one else np.nan for one in first])
    listed = _floats([one[0] if one else np.nan for one in shown])
    days = _floats([one[1] if one else np.nan for one in shown])
    is_sold = np.array([one is not None for one in first], dtype=bool)
    # A sale while listed ends the days; one after a listing was taken down is a sale nobody was promised for then.
    days = np.where(is_sold & ~np.isnan(days) & (sold_on < listed), np.nan, days)
    state = columns[10]
    gave_up = np.array([one == GIVEN_UP for one in state], dtype=bool)
    ended = np.array([one in (SOLD, GIVEN_UP) for one in state], dtype=bool)
    got = _floats([value or 0 for value in columns[12]]) / 100 if count else np.zeros(0)
    left = _floats([one[2] if one else 0.0 for one in first]) + np.where(gave_up, got, 0.0)
    prices = [_floats([_part(one, key, end) for one in told]) for key, end in _PRICES]
    found = Outcomes(
        tuple(names), tuple(places), np.array(columns[0], dtype=np.int64), category, place,
        np.searchsorted(np.array(BUCKETS), [one.get("comps_sold") or 0 for one in told]).astype(np.int64), style,
        _floats(columns[7]), _floats(columns[8]) / 100 if count else np.zeros(0),
        prices[0], prices[1], prices[2], prices[3], prices[4],
        _floats([[_chance(one, day) for day in HORIZONS] for one in told]).reshape(count, 4),
        _floats([_money(one.get("expected_proceeds")) for one in told]),
        listed, days, is_sold, sold_on, _floats([one[1] if one else np.nan for one in first]), ended,
        _floats([np.nan if value is None else value for value in columns[11]]),
        np.where(ended, left, np.nan), now,
    )  # fmt: skip
    return _as_now(found, corrections)


_PRICES = (
    ("sale_price", "mid"), ("sale_price", "low"), ("sale_price", "high"),
    ("sale_price_wide", "low"), ("sale_price_wide", "high"),
)  # fmt: skip


def _as_now(found: Outcomes, corrections: Sequence[Correction]) -> Outcomes:
    if not corrections or not len(found):
        return found
    shift, factor = np.zeros(len(found)), np.ones(len(found))
    for at, name in enumerate(found.names):
        here = found.category == at
        shift[here], factor[here] = then_and_now(corrections, name, found.bought[here])
    prices = {one: getattr(found, one) * np.exp(shift) for one in ("mid", "low", "high", "wide_low", "wide_high")}
    chance = 1.0 - (1.0 - found.chance) ** factor[:, None]
    return replace(found, chance=chance, **prices)


def _spells(listings: list[tuple[Any, ...]], now: int) -> dict[int, tuple[float, float]]:
    """Return by piece the day it was first listed and the days it was listed in all."""
    import orjson

    found: dict[int, tuple[float, float]] = {}
    for item, asked, ended in listings:
        begun = orjson.loads(asked)[0][0]
        spell = max((now if ended is None else ended) - begun, 0)
        first, days = found.get(item, (begun, 0.0))
        found[item] = (first, days + spell)
    return {item: (first, max(days, 0.5)) for item, (first, days) in found.items()}


def _sales(
    sales: list[tuple[Any, ...]], kinds: dict[int, tuple[str, str]], work: Work
) -> dict[int, tuple[float, float, float]]:
    """Return by piece the day and price of its first sale, and what all of them left.

    ``kinds`` are category and flags by piece. Fees and postage that are not recorded yet, and supplies, which never
    are, count as the terms have them: what was expected counted them too.
    """
    found: dict[int, tuple[float, float, float]] = {}
    for item, on, paid, fees, postage, returned, lost in sales:
        if item not in kinds:  # bought without a forecast
            continue
        gone = max(fees, 0) + max(postage, 0) + lost + work.terms(*kinds[item])[1]
        if returned is None:
            gone += work.assumed(*kinds[item], str(paid) if fees < 0 else None, int(postage < 0))
        left = (paid - gone) / 100
        if item in found:
            first, price, before = found[item]
            found[item] = (first, price, before + left)
        else:
            found[item] = (float(on), paid / 100, left)
    return found


def _numbered(names: list[str]) -> tuple[list[str], Ints]:
    seen: dict[str, int] = {}
    index = np.array([seen.setdefault(name, len(seen)) for name in names], dtype=np.int64)
    return list(seen), index


def _floats(values: Any) -> Floats:
    return np.array(values, dtype=np.float64)


def _part(told: dict[str, Any], key: str, end: str) -> float:
    return _money((told.get(key) or {}).get(end))


def _money(text: Any) -> float:
    return float(text) if text is not None else float("nan")


def _chance(told: dict[str, Any], day: int) -> float:
    found = (told.get("sold_within") or {}).get(str(day))
    return float("nan") if found is None else float(found)
