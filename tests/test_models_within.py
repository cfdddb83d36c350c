"""Standard errors of effects told within styles and sizes, beside the mixed-model equations written out."""

from __future__ import annotations

import numpy as np
import pytest

from models.price import PriceModel, PriceRows
from models.robust import student_efficiency, student_weights
from models.trend import KNOT_YEARS, Trend, carried_var
from models.within import Nest, effect_errors


def test_errors_are_those_of_the_whole_system() -> None:
    """Mean, brands, styles, sizes and effects solved together: the effects' block of the inverse; no base column."""
    rng = np.random.default_rng(7)
    rows, variants, products, cells = 90, 20, 8, 3
    effect, variant = rng.integers(3, size=rows), rng.integers(variants, size=rows)
    of, cell = rng.integers(products, size=variants), rng.integers(cells, size=products)
    precision = rng.uniform(10, 90, rows)
    spread = [rng.uniform(0.01, 0.06, count) for count in (variants, products, cells)]
    nest = Nest(((spread[0], of), (spread[1], cell), (spread[2], np.zeros(cells, dtype=np.int64))))
    parts = [np.eye(variants)[variant], np.eye(products)[of[variant]], np.eye(cells)[cell[of[variant]]]]
    shown = np.column_stack([effect == 0, effect == 2]).astype(float)
    design = np.column_stack([*parts, np.ones(rows), shown])
    prior = np.concatenate([*(1 / one for one in spread), [0.0, 5.0, 5.0]])
    whole = design.T @ (design * precision[:, None]) + np.diag(prior)
    expected = np.sqrt(np.diag(np.linalg.inv(whole))[-2:])
    found = effect_errors(precision, effect, 3, variant, nest, base=1, ridge=5.0)
    assert found[[0, 2]] == pytest.approx(expected, rel=1e-9)
    assert found[1] == 0.0


def test_an_effect_that_no_row_shows_keeps_its_prior() -> None:
    nest = Nest(((np.full(2, 0.03), np.zeros(2, dtype=np.int64)),))
    found = effect_errors(np.array([50.0, 40.0]), np.array([0, 0]), 2, np.array([0, 1]), nest, 0, 4.0)
    assert found.tolist() == [0.0, 0.5]


def test_a_drift_is_as_sure_as_many_draws_of_it_agree() -> None:
    """Drifts fitted to 150 draws of the errors of 2,000 styles scatter about as stated."""
    rng = np.random.default_rng(3)
    styles, error, rows = 2_000, 0.1, 10_000
    product = np.concatenate([np.arange(styles), rng.integers(styles, size=rows - styles)])
    age = 9 * KNOT_YEARS * rng.random(rows)
    category, precision = np.zeros(rows, dtype=np.int64), np.full(rows, error**-2)
    nest = Nest(((np.full(styles, 0.2**2), np.zeros(styles, dtype=np.int64)),))
    found = []
    for _ in range(150):
        y = 0.2 * rng.standard_normal(styles)[product] + error * rng.standard_normal(rows)
        trend = Trend()
        trend.start(age, category, 1)
        for _ in range(12):
            shown = y - trend.of_rows()
            total = np.bincount(product, precision) + 0.2**-2
            level = np.bincount(product, precision * shown) / total
            trend.improve(shown - level[product], precision)
        change, stated = trend.since(0.5, precision, category, product, nest)
        found.append(float(change[0]))
    # What is stated also holds how far a curve may bend between knots, so it is no smaller than the scatter.
    assert 0.9 * np.std(found) < stated[0] < 1.5 * np.std(found)


def test_weights_are_less_than_precisions() -> None:
    """Beside the scatter of means by Student weights of 40 normal errors each, over 4,000 samples."""
    rng = np.random.default_rng(5)
    errors = rng.standard_normal((4_000, 40))
    mean = np.zeros(4_000)
    for _ in range(30):
        weight = student_weights(errors - mean[:, None], 1.0)
        mean = (weight * errors).sum(axis=1) / weight.sum(axis=1)
    share = student_efficiency(errors.ravel())
    assert share == pytest.approx(0.949286 / 1.080075, abs=0.01)  # by the integrals over the normal density
    assert 1.0 / (share * weight.sum(axis=1).mean()) == pytest.approx(mean.var(), rel=0.06)


def test_a_level_takes_over_the_trend_s_error_by_the_age_of_what_it_rests_on() -> None:
    """Half a year old kin: the error itself; comps of today wash it out; nothing older than a year adds to it."""
    none = np.array([], dtype=np.int64)
    empty = np.array([])
    assert carried_var(0.1, empty, empty, none, np.array([25.0]))[0] == pytest.approx(0.1**2)
    fresh = carried_var(0.1, np.zeros(3), np.full(3, 100.0), np.zeros(3, dtype=np.int64), np.array([25.0]))
    assert fresh[0] == pytest.approx((0.1 * 25 / 325) ** 2)
    old = carried_var(0.1, np.full(2, 3.0), np.full(2, 1e6), np.zeros(2, dtype=np.int64), np.array([25.0]))
    assert old[0] == pytest.approx(0.2**2)


@pytest.mark.parametrize(("styles", "low", "high"), [(5, 0.06, 0.2), (400, 0.0, 0.03)])
def test_equal_styles_look_sure_only_where_they_are_many(styles: int, low: float, high: float) -> None:
    """Five styles alike may be luck: a sixth is expected further off than four hundred alike allow the next to be."""
    rng = np.random.default_rng(2)
    product = np.repeat(np.arange(styles), 4)
    none, n = np.zeros(styles, dtype=np.int64), 4 * styles
    zeros = np.zeros(n, dtype=np.int64)
    rows = PriceRows(
        4.0 + 0.05 * rng.standard_normal(n), zeros, zeros, product, product, zeros, np.zeros(n), none[:1], none,
        np.arange(styles), 1, 1,
    )  # fmt: skip
    model = PriceModel().fit(rows)
    assert low < np.sqrt(model.tau_style2_[0]) < high


def test_a_single_style_says_nothing_of_how_far_another_may_be_off() -> None:
    n = 140
    none, zeros = np.zeros(1, dtype=np.int64), np.zeros(n, dtype=np.int64)
    y = 4.0 + 0.15 * np.random.default_rng(2).standard_normal(n)
    model = PriceModel().fit(PriceRows(y, zeros, zeros, zeros, zeros, zeros, np.zeros(n), none, none, none, 1, 1))
    assert model.level_[0] == pytest.approx(y.mean(), abs=0.03)
    assert np.sqrt(model.tau_unseen2_[0]) > 0.1
