"""The hand method: the median of the last ten sales of that exact code, less fees, as a careful human does it."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pandas as pd

from benchmarks.market.answers import blank
from benchmarks.market.config import HURDLE
from benchmarks.market.dirt import COLUMNS, Row, Spoilt
from benchmarks.market.draw import Market
from benchmarks.market.shelf import Shelf, query_rows, terms_of
from sourcing.money import cents

_AT = {name: place for place, name in enumerate(COLUMNS)}
_LAST = 10


def answer(market: Market, spoilt: Spoilt, shelf: Shelf) -> pd.DataFrame:
    """Answer the shelf list by hand.

    The code typed is looked up as it is spelt in the files; undated sales count as the oldest. The asking price is the
    median, the range its naive 10 and 90 % points, the profit what such a sale leaves; it is bought when that is at
    least the hurdle. The chance of a sale in time is the share of the code's ended listings that sold so soon.
    """
    by_code: dict[str, list[Row]] = {}
    for row in dict.fromkeys((*spoilt.earlier, *spoilt.later)):  # the two exports hold some rows twice
        for name in ("style_code", "gtin"):
            if row[_AT[name]]:
                by_code.setdefault(row[_AT[name]], []).append(row)
    found = blank(len(shelf))
    deals = terms_of(market)
    for i, asked in enumerate(query_rows(market, shelf)):
        rows = by_code.get(asked[0], [])
        sales = [row for row in rows if row[_AT["status"]] == "sold"]
        if not sales:
            continue
        sales.sort(key=lambda row: row[_AT["ended_on"]])
        paid = np.array([float(row[_AT["sold_price"]]) + float(row[_AT["shipping_charged"]]) for row in sales[-_LAST:]])
        low, middle, high = np.quantile(paid, [0.1, 0.5, 0.9])
        terms = deals[shelf.category[i]]
        profit = (
            middle
            - float(terms.fee(cents(Decimal(float(middle)))) + terms.postage + terms.supplies)
            - shelf.price[i]
            - float(terms.labour())
        )
        found.loc[i, ["ask", "q10", "q50", "q90", "profit"]] = [middle, low, middle, high, profit]
        if profit >= HURDLE:
            found.loc[i, "decision"] = "buy"
    return found
