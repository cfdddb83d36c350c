"""A made-up reseller whose truth is known: pieces bought over a year, their forecasts, and what came of them."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import date

import numpy as np

from sourcing.stock.item import day_number
from sourcing.storage import Store

CATEGORIES = ("shoes", "toys", "games")
STORES = ("Tannery Row", "Mill Lane", "Quay Street", "Chapel Yard")
SPREAD = 0.25  # of prices paid about the forecast median, in log price
_Z80, _Z90 = 1.2815515655, 1.6448536270


@dataclass(frozen=True)
class Truth:
    """How a reseller's outcomes lie beside the forecasts.

    Attributes
    ----------
    bias : log of what is paid over the forecast median; by category where that is named. pace : hazard of sale over the
    one that was forecast.
    """

    bias: float = 0.0
    pace: float = 1.0
    category_bias: tuple[tuple[str, float], ...] = ()


def fill(store: Store, seed: int, count: int, today: date, truth: Truth | None = None) -> np.ndarray:
    """Put ``count`` pieces bought in the year before a day into stock; return the true chances sold in 30 days."""
    truth, end_day = truth or Truth(), day_number(today)
    rng = np.random.default_rng(seed)
    category = rng.integers(0, len(CATEGORIES), count)
    place = rng.integers(0, len(STORES), count)
    style = rng.integers(0, max(count // 4, 1), count)
    bought = np.sort(end_day - 365 + np.floor(rng.uniform(0, 360, count))).astype(int)
    listed = bought + rng.integers(1, 6, count)
    rate = np.exp(rng.normal(-3.7, 0.6, count))
    mid = np.exp(rng.normal(3.6, 0.5, count))
    off = np.full(count, truth.bias)
    for name, more in truth.category_bias:
        off[category == CATEGORIES.index(name)] += more
    # Listed at any hour, sold at any hour: of both only the days are recorded.
    time = np.floor(rng.random(count) + rng.exponential(1.0 / (rate * truth.pace)))
    paid = mid * np.exp(off + SPREAD * rng.standard_normal(count))
    items, listings, sales = [], [], []
    for at in range(count):
        sold = listed[at] + time[at] <= end_day
        out = listed[at] > end_day
        item = at + 1
        told = {
            "sale_price": _prices(mid[at], low=-_Z80, mid=0.0, high=_Z80),
            "sale_price_wide": _prices(mid[at], low=-_Z90, high=_Z90),
            "asking_price": f"{mid[at] * 1.05:.2f}",
            "sold_within": {str(day): float(1 - np.exp(-rate[at] * day)) for day in (14, 30, 60, 90)},
            # Of a sale 13 % + 0.30 of fees and 8.25 of postage, recorded below, and 0.75 of supplies, as the terms say.
            "expected_proceeds": f"{0.87 * mid[at] * np.exp(SPREAD**2 / 2) - 9.30:.2f}",
            "comps_sold": int(rng.integers(0, 20)),
        }  # fmt: skip
        landed = round(float(mid[at]) * 25)
        state = "to prep" if out else "sold" if sold else "listed"
        items.append((
            item, f"Fellwander {style[at]}", f"FW{style[at]}", CATEGORIES[category[at]], STORES[place[at]],
            int(bought[at]), landed, json.dumps(told), state, int(listed[at] + time[at]) if sold else None,
        ))  # fmt: skip
        if out:
            continue
        asked = json.dumps([[int(listed[at]), round(float(mid[at]) * 105)]])
        end = int(listed[at] + time[at]) if sold else None
        listings.append((item, item, "main", asked, end, "sold" if sold else ""))
        if sold:
            cents = round(float(paid[at]) * 100)
            sales.append((item, item, end, cents, round(cents * 0.13) + 30, 825, "main"))
    with store.write_rows() as raw:
        raw.executemany(
            "INSERT INTO stock_item (id, what, style_code, category, store, bought_on, landed, forecast, state,"
            " ended_on, code, gtin, brand, title, size, condition, flags, bin, note)"
            " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, '', '', '', '', '', '', '[]', '', '')",
            items,
        )
        raw.executemany(
            "INSERT INTO stock_listing (id, item_id, channel, asked, ended_on, how) VALUES (?, ?, ?, ?, ?, ?)", listings
        )
        raw.executemany(
            "INSERT INTO stock_sale (id, item_id, sold_on, paid, fees, postage, channel) VALUES (?, ?, ?, ?, ?, ?, ?)",
            sales,
        )
    return np.asarray(1 - np.exp(-30 * rate * truth.pace))


TODAY = date(2026, 6, 30)


def _prices(middle: float, **ends: float) -> dict[str, str]:
    return {name: f"{middle * np.exp(z * SPREAD):.2f}" for name, z in ends.items()}
