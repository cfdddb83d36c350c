"""Conjugate updates and pooling, against textbook examples and direct integration."""

from __future__ import annotations

import numpy as np
import pytest

from models.shrinkage import (
    beta_posterior,
    beta_quantile,
    between_variance,
    gamma_above,
    gamma_posterior,
    gamma_quantile,
    heterogeneity,
    james_stein,
    james_stein_factor,
    normal_posterior,
    pooled_mean,
)
from models.survival import gamma_frailty_survival

pytestmark = pytest.mark.published

# Efron & Morris 1975 (JASA 70:311); in R as pscl::EfronMorris. Hits in 45 and the season's average.
HITS = np.array([18, 17, 16, 15, 14, 14, 13, 12, 11, 11, 10, 10, 10, 10, 10, 9, 8, 7])
SEASON = np.array([.346, .298, .276, .222, .273, .270, .263, .210, .269, .230, .264, .256, .303, .264, .226, .285, .316,
                   .200])  # fmt: skip
# Rubin 1981; BDA3 sec. 5.5, as printed and unrounded.
SCHOOLS = np.array([28.0, 8, -3, 7, -1, 1, 18, 12]), np.array([15.0, 10, 16, 11, 9, 11, 10, 18]) ** 2
UNROUNDED = (np.array([28.39, 7.94, -2.75, 6.82, -0.64, 0.63, 18.01, 12.16]),
             np.array([14.9, 10.2, 16.3, 11, 9.4, 11.4, 10.4, 17.6]) ** 2)  # fmt: skip


def test_batting_averages() -> None:
    """Efron & Morris 1975, 1977: factor .212, first estimate .294 (from memory), ratio of errors 3.5."""
    y = HITS / 45
    m = y.mean()
    sigma2 = m * (1 - m) / 45
    assert m == pytest.approx(0.265432, abs=1e-6)
    assert sigma2 == pytest.approx(0.0043328, abs=5e-8)
    assert np.sum((y - m) ** 2) == pytest.approx(0.082442, abs=1e-6)
    assert james_stein_factor(y, sigma2) == pytest.approx(0.211654, abs=1e-6)
    shrunk = james_stein(y, sigma2)
    assert shrunk[[0, 1, -1]] == pytest.approx([0.293914, 0.289211, 0.242176], abs=1e-6)
    raw, better = np.sum((y - SEASON) ** 2), np.sum((shrunk - SEASON) ** 2)
    assert (raw, better) == pytest.approx((0.07532, 0.02131), abs=5e-6)
    assert raw / better == pytest.approx(3.53, abs=5e-3)
    assert np.sum(np.abs(shrunk - SEASON) < np.abs(y - SEASON)) == 16


def test_batting_averages_by_arcsine() -> None:
    """Efron & Morris 1975 (from memory): .209; errors 17.56 and 5.01, ratio 3.50, within 1 %."""
    x, target = (np.sqrt(45) * np.arcsin(2 * v - 1) for v in (HITS / 45, SEASON))
    assert np.sum((x - x.mean()) ** 2) == pytest.approx(18.9627, abs=5e-5)
    assert james_stein_factor(x, 1.0) == pytest.approx(0.2090, abs=5e-5)
    raw, better = np.sum((x - target) ** 2), np.sum((james_stein(x, 1.0) - target) ** 2)
    assert (raw, better, raw / better) == pytest.approx((17.571, 4.999, 3.515), abs=1e-3)
    assert (raw, better, raw / better) == pytest.approx((17.56, 5.01, 3.50), rel=0.01)


def test_gamma_posteriors() -> None:
    """Johnson, Ott & Dogucu, Bayes Rules!, ch. 5; Albert's teaching example; BDA3 sec. 2.6 (from memory)."""
    a, b = gamma_posterior(10, 2, 6 + 2 + 2 + 1, 4)
    assert (a, b, a / b) == (21, 6, 3.5)
    assert np.sqrt(a) / b == pytest.approx(0.763763, abs=1e-6)
    a, b = gamma_posterior(0, 0, 58, 581)
    assert a / b == pytest.approx(0.0998279, abs=1e-7)
    assert gamma_quantile(a, b, [0.05, 0.95]) == pytest.approx([0.0792890, 0.1223220], abs=1e-7)
    a, b = gamma_posterior([3, 3], [5, 5], [3, 30], [2, 20])
    assert [*a, *b] == [6, 33, 7, 25]
    assert a / b == pytest.approx([0.857143, 1.32], abs=1e-6)
    assert gamma_above(a, b, 1.0) == pytest.approx([0.300708, 0.928544], abs=1e-6)


def test_chance_of_no_sale_is_negative_binomial() -> None:
    """Predictive of Gamma(6, 7) over exposure 1: (7 / 8)^6, the gamma frailty's survival."""
    from scipy.stats import nbinom

    assert gamma_frailty_survival(6, 7, 1.0) == pytest.approx(0.448795, abs=1e-6)
    assert gamma_frailty_survival(6, 7, 1.0) == pytest.approx(nbinom.pmf(0, 6, 7 / 8), abs=1e-12)


def test_rare_events_lean_on_the_prior() -> None:
    """BDA3 sec. 2.7, kidney cancer (from memory): 0, 1, 2 deaths in 10 x 1000 person-years."""
    a, b = gamma_posterior(20, 430_000, [0, 1, 2], 10_000)
    assert a / b == pytest.approx([4.5455e-5, 4.7727e-5, 5.0e-5], abs=5e-10)


def test_beta_posterior() -> None:
    """BDA3 sec. 2.4, placenta previa (from memory)."""
    a, b = beta_posterior(1, 1, 437, 980)
    assert (a, b) == (438, 544)
    assert a / (a + b) == pytest.approx(0.446029, abs=1e-6)
    assert np.sqrt(a * b / (a + b) ** 2 / (a + b + 1)) == pytest.approx(0.015854, abs=1e-6)
    assert beta_quantile(a, b, [0.025, 0.975]) == pytest.approx([0.415065, 0.477200], abs=1e-6)


def test_normal_posterior() -> None:
    """Normal-normal, computed; beside it the posterior by brute force on a grid."""
    mean, var = normal_posterior(100, 15**2, 115, 10**2)
    assert (mean, np.sqrt(var)) == pytest.approx((110.384615, 8.320503), abs=1e-6)
    grid = np.linspace(20, 200, 20_001)
    density = np.exp(-((grid - 100) ** 2) / 450 - (grid - 115) ** 2 / 200)
    naive = np.sum(grid * density) / np.sum(density)
    assert mean == pytest.approx(naive, abs=1e-6)
    assert var == pytest.approx(np.sum((grid - naive) ** 2 * density) / np.sum(density), abs=1e-5)
    means, variances = normal_posterior(100, [225, 225], [115, np.nan], [100, np.inf])
    assert list(means) == pytest.approx([110.384615, 100.0], abs=1e-6)
    assert variances[1] == 225


def test_eight_schools_pooled() -> None:
    """Rubin 1981; BDA3 sec. 5.5: 7.7 and 16.6 from the printed table, 7.9 and 17.4 from the unrounded one."""
    full = pooled_mean(*SCHOOLS, 0.0)
    assert (full.mu, full.se**2, full.se) == pytest.approx((7.685617, 16.580526, 4.071919), abs=1e-6)
    assert full.mean == pytest.approx(np.full(8, full.mu))  # zero variance pools completely, and does not crash
    assert full.sd == pytest.approx(np.full(8, full.se))
    exact = pooled_mean(*UNROUNDED, 0.0)
    assert (exact.mu, exact.se**2) == pytest.approx((7.870546, 17.352038), abs=1e-6)


def test_eight_schools_between_variance() -> None:
    assert heterogeneity(*SCHOOLS) == pytest.approx(4.707079, abs=1e-6)
    assert between_variance(*SCHOOLS) == 0.0  # Q below its 7 degrees of freedom: clipped


def test_eight_schools_at_given_spread() -> None:
    """Computed in closed form; beside it the joint normal posterior by linear algebra."""
    five = pooled_mean(*SCHOOLS, 25.0)
    assert (five.mu, five.se) == pytest.approx((7.8510, 4.4921), abs=5e-5)
    assert five.mean == pytest.approx([9.8659, 7.8808, 6.8856, 7.7053, 5.7635, 6.6779, 9.8808, 8.1482], abs=5e-5)
    assert five.sd == pytest.approx([6.2326, 5.7371, 6.2868, 5.8804, 5.5576, 5.8804, 5.7371, 6.3719], abs=5e-5)
    twenty = pooled_mean(*SCHOOLS, 400.0)
    assert twenty.mean == pytest.approx([20.967, 8.0928, 1.4737, 7.3400, 0.5937, 2.7334, 16.0928, 10.4175], abs=5e-4)
    mean, sd = _joint(*SCHOOLS, 25.0)
    assert [five.mu, *five.mean] == pytest.approx(mean)
    assert [five.se, *five.sd] == pytest.approx(sd)


def _joint(y: np.ndarray, v: np.ndarray, tau2: float) -> tuple[np.ndarray, np.ndarray]:
    """Posterior of (mu, groups) as one normal vector: precision matrix filled term by term, then inverted."""
    k = len(y)
    precision, pull = np.zeros((k + 1, k + 1)), np.zeros(k + 1)
    for j in range(k):
        precision[j + 1, j + 1] += 1 / v[j] + 1 / tau2
        precision[0, 0] += 1 / tau2
        precision[0, j + 1] = precision[j + 1, 0] = -1 / tau2
        pull[j + 1] = y[j] / v[j]
    cov = np.linalg.inv(precision)
    return cov @ pull, np.sqrt(np.diag(cov))


def test_eight_schools_over_all_spreads() -> None:
    """BDA3 table 5.3 (from memory): medians 10 8 7 8 5 6 10 8 under a flat prior on tau, within 1.

    tau is integrated on a grid by its marginal posterior (BDA3, eq. 5.21); the mixture's medians by its CDF.
    """
    from scipy.special import ndtr

    y, v = SCHOOLS
    taus = np.linspace(0.01, 60, 1500)
    fits = [pooled_mean(y, v, tau**2) for tau in taus]
    log_p = np.array([np.log(fit.se) - 0.5 * np.sum(np.log(v + tau**2) + (y - fit.mu) ** 2 / (v + tau**2))
                      for tau, fit in zip(taus, fits, strict=True)])  # fmt: skip
    weight = np.exp(log_p - log_p.max())
    weight /= weight.sum()
    grid = np.linspace(-40, 80, 1201)
    medians = []
    for j in range(8):
        below = sum(w * ndtr((grid - f.mean[j]) / f.sd[j]) for w, f in zip(weight, fits, strict=True))
        medians.append(grid[np.searchsorted(below, 0.5)])
    assert medians == pytest.approx([10.2, 7.9, 6.7, 7.7, 5.6, 6.5, 10.0, 8.2], abs=0.3)
    assert medians == pytest.approx([10, 8, 7, 8, 5, 6, 10, 8], abs=1)


def test_between_variance_finds_a_known_one_whatever_the_weights() -> None:
    rng = np.random.default_rng(2)
    variances = rng.uniform(0.5, 6.0, 4000)
    means = rng.normal(3.0, 2.0, 4000) + rng.normal(0, np.sqrt(variances))
    for weights in (None, np.ones(4000), rng.uniform(1, 2, 4000)):
        assert between_variance(means, variances, weights) == pytest.approx(4.0, rel=0.1)
    # Equal weights: Cochran's form, sample variance of the means less the mean sampling variance.
    naive = np.var(means, ddof=1) - variances.mean()
    assert between_variance(means, variances, np.ones(4000)) == pytest.approx(naive)
    w = 1 / variances
    direct = (heterogeneity(means, variances) - 3999) / (w.sum() - (w**2).sum() / w.sum())  # DerSimonian & Laird 1986
    assert between_variance(means, variances) == pytest.approx(direct)
    assert between_variance([3.0], [1.0]) == 0.0


def test_equal_values_and_bad_input() -> None:
    assert james_stein_factor([2.0] * 5, 1.0) == 0.0
    assert james_stein_factor([2.0, 2.1, 1.9, 2.0], 9.0) == 0.0  # never past the mean
    for call in (lambda: normal_posterior(0, 0, 1, 1), lambda: gamma_posterior(1, 1, -1, 1),
                 lambda: beta_posterior(1, 1, 3, 2), lambda: pooled_mean([1.0], [1.0], -1.0),
                 lambda: pooled_mean([1.0], [0.0], 1.0), lambda: pooled_mean([], [], 1.0),
                 lambda: between_variance([1, 2], [1, 1], [1, 0]),
                 lambda: james_stein_factor([1, 2, 3], 1)):  # fmt: skip
        with pytest.raises(ValueError, match=r"must|cannot|expected|needs"):
            call()
