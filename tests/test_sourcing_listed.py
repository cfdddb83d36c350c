"""Items listed already: the chance to sell from here, held to the curve of a fresh listing and to simulation."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest

from models.proceeds import Prospects
from models.response import TABLE
from sourcing.answer import Query
from sourcing.check import check, forecast_of
from sourcing.comps import load_file
from sourcing.errors import BadInput
from sourcing.fitting import refit
from sourcing.listed import sells_from_here
from sourcing.storage import Store, open_store

D = Decimal
SAMPLES = Path(__file__).parent.parent / "sample_comps"


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    store = open_store(str(tmp_path_factory.mktemp("listed") / "data.sqlite3"))
    load_file(store, SAMPLES / "spring_sales.csv", name="spring_sales.csv")
    refit(store)
    return store


@pytest.fixture(scope="module")
def query(store: Store) -> Query:
    codes = [row[0] for row in store.read("SELECT style_code FROM product WHERE style_code <> '' LIMIT 30")]
    return next(Query(code=code) for code in codes if check(store, Query(code=code)).sold_within)


def test_a_fresh_listing_has_the_chances_of_the_verdict(store: Store, query: Query) -> None:
    verdict = check(store, query)
    assert verdict.asking_price is not None
    found = sells_from_here(store, query, [(0, verdict.asking_price)], 0, (14, 30, 60, 90))
    assert found is not None
    for day, chance in found.chances.items():
        # The verdict lets the level drift on, a hundredth of the price or two by then.
        assert chance == pytest.approx(verdict.sold_within[day], abs=0.03)


def test_chances_follow_from_the_survival_function(store: Store, query: Query) -> None:
    """S(30 + 14) / S(30), whichever day one stands on: they multiply up to the chance of a fresh listing."""
    asked = [(0, D("60.00"))]
    whole = sells_from_here(store, query, asked, 0, (44,))
    assert whole is not None
    forecasts, item = forecast_of(store, query) or pytest.fail("no forecast")
    # The season is the calendar's, so the listing of then must have begun thirty days earlier.
    then = replace(forecasts, season=np.zeros(4))
    start = then.sells_next(item, [(0, 60.0)], 0, [30, 44])
    later = then.sells_next(item, [(0, 60.0)], 30, [14])
    assert 1 - start[1] == pytest.approx((1 - start[0]) * (1 - later[0]), rel=1e-9)


def test_standing_long_speaks_for_a_slow_style(store: Store, query: Query) -> None:
    forecasts, item = forecast_of(store, query) or pytest.fail("no forecast")
    steady = replace(forecasts, season=np.zeros(4), rate=np.full(6, 0.02))  # the same hazard at every age
    chances = [float(steady.sells_next(item, [(0, 60.0)], days, [14])[0]) for days in (0, 30, 90, 300)]
    assert chances == sorted(chances, reverse=True)
    assert chances[0] > 1.05 * chances[-1]


def test_a_cut_helps_and_a_longer_wait_too(store: Store, query: Query) -> None:
    plain = sells_from_here(store, query, [(0, D("70.00"))], 20)
    cut = sells_from_here(store, query, [(0, D("70.00")), (20, D("60.00"))], 20)
    assert plain is not None
    assert cut is not None
    assert cut.chances[14] > plain.chances[14]
    assert cut.chances[30] > cut.chances[14]


def test_the_closed_form_beside_simulation(store: Store, query: Query) -> None:
    """Speeds and levels drawn, listings sold by exponential thresholds; those unsold on day 25 are followed."""
    forecasts, _ = forecast_of(store, query) or pytest.fail("no forecast")
    told = replace(
        forecasts,
        season=np.zeros(4),
        rate=np.full(6, 0.03),
        prospects=Prospects(
            np.array([4.0]), np.array([0.01]), np.array([[3.8, 3.9, 4.0, 4.1, 4.2]]),
            np.array([[0.1, 0.2, 0.4, 0.2, 0.1]]), np.full((1, 5), 2.0), np.full((1, 5), 2.0), -2.5 * TABLE,
        ),
    )  # fmt: skip
    rng = np.random.default_rng(3)
    size = 400_000
    level = rng.choice([3.8, 3.9, 4.0, 4.1, 4.2], size, p=[0.1, 0.2, 0.4, 0.2, 0.1])
    speed = rng.gamma(2.0, 0.5, size)
    dear, cheap = (0.03 * speed * np.exp(-2.5 * (np.log(price) - level)) for price in (62.0, 55.0))
    threshold = rng.exponential(1.0, size)
    unsold = 10 * dear + 15 * cheap < threshold  # ten days at 62, then at 55
    sold = unsold & (10 * dear + 15 * cheap + 21 * cheap >= threshold)
    expected = sold.sum() / unsold.sum()
    found = told.sells_next(0, [(0, 62.0), (10, 55.0)], 25, [21])[0]
    assert found == pytest.approx(expected, abs=4 * np.sqrt(0.25 / unsold.sum()))


def test_too_little_to_go_on(store: Store) -> None:
    assert sells_from_here(store, Query(brand="nobody", title="no such thing"), [(0, D(9))], 3) is None


@pytest.mark.parametrize(
    ("asked", "days", "message"),
    [
        ([], 3, "begin on days"), ([(1, D(9))], 3, "begin on days"), ([(0, D(9)), (5, D(8))], 3, "begin on days"),
        ([(0, D(9))], -1, "-1 days listed"), ([(0, D(0))], 3, "0 or less"),
        ([(0, D(9)), (0, D(8))], 3, "begin on days"),
    ],
)  # fmt: skip
def test_impossible_listings(
    store: Store, query: Query, asked: list[tuple[int, Decimal]], days: int, message: str
) -> None:
    with pytest.raises(BadInput, match=message):
        sells_from_here(store, query, asked, days)
