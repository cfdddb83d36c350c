"""Time to sell beside lifelines and scikit-survival, on published trials and open data."""

from __future__ import annotations

import numpy as np
import pytest

from benchmarks._open_durations import covariate_data, covariates, fit_covariates
from models.survival import kaplan_meier, log_rank

pytestmark = [pytest.mark.published, pytest.mark.filterwarnings("ignore:Starting with pandas")]

# 6-MP trial: Freireich et al. 1963 (Blood 21:699); Gehan 1965. The placebo group last, all relapsed.
WEEKS = np.array([6, 6, 6, 6, 7, 9, 10, 10, 11, 13, 16, 17, 19, 20, 22, 23, 25, 32, 32, 34, 35,
                  1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23], dtype=float)  # fmt: skip
EVENT = np.array([1, 1, 1, 0, 1, 0, 1, 0, 0, 1, 1, 0, 0, 0, 1, 1, 0, 0, 0, 0, 0, *[1] * 21], dtype=float)
PLACEBO = np.repeat([0.0, 1.0], 21)


def _groups() -> list[tuple[np.ndarray, np.ndarray]]:
    return [(WEEKS[:21], EVENT[:21]), (WEEKS[21:], EVENT[21:])] + [
        covariate_data(name)[:2] for name in ("rossi", "gbsg2")
    ]


@pytest.mark.parametrize("which", range(4), ids=["6-MP", "placebo", "rossi", "gbsg2"])
def test_survival_curve_and_hazard_equal_those_of_lifelines(which: int) -> None:
    """Kaplan-Meier with Greenwood errors, median and restricted mean; Nelson-Aalen from its counts."""
    from lifelines import KaplanMeierFitter, NelsonAalenFitter
    from lifelines.utils import restricted_mean_survival_time

    days, sold = _groups()[which]
    ours = kaplan_meier(days, sold)
    theirs = KaplanMeierFitter().fit(days, sold)
    assert ours.at(ours.times) == pytest.approx(theirs.predict(ours.times).to_numpy(), abs=1e-9)
    middle = (ours.times[1:] + ours.times[:-1]) / 2
    assert ours.at(middle) == pytest.approx(theirs.predict(middle).to_numpy(), abs=1e-9)
    # lifelines keeps Greenwood's sum: the standard error over the curve, squared.
    greenwood = np.sqrt(theirs._cumulative_sq_.reindex(ours.times).to_numpy()) * ours.survival
    live = ours.survival > 0
    assert ours.se[live] == pytest.approx(greenwood[live], abs=1e-9)
    median = theirs.median_survival_time_
    assert ours.median() == (None if np.isinf(median) else median)
    until = float(ours.times[-1])
    assert ours.restricted_mean(until) == pytest.approx(restricted_mean_survival_time(theirs, t=until), rel=1e-9)
    smooth = NelsonAalenFitter(nelson_aalen_smoothing=False).fit(days, sold)
    hazard = smooth.cumulative_hazard_["NA_estimate"].reindex(ours.times).to_numpy()
    assert np.cumsum(ours.events / ours.at_risk) == pytest.approx(hazard, abs=1e-9)


@pytest.mark.parametrize("which", ["6-MP", "gbsg2"])
def test_log_rank_equals_that_of_lifelines(which: str) -> None:
    """6-MP: 16.793, also printed by R; gbsg2: by hormonal therapy."""
    from lifelines.statistics import logrank_test

    days, sold, group = (WEEKS, EVENT, PLACEBO) if which == "6-MP" else covariate_data("gbsg2")
    one = (group if group.ndim == 1 else group[:, 0]) == 1
    theirs = logrank_test(days[one], days[~one], sold[one], sold[~one])
    ours = log_rank(days, sold, one.astype(int))
    assert (ours.chi2, ours.p) == pytest.approx((theirs.test_statistic, theirs.p_value), rel=1e-6)


def test_weibull_regression_of_the_trial() -> None:
    """A guard on lifelines, not on us: the log time is 1.2673 (0.3106) shorter on placebo (R survreg prints -1.267)."""
    from lifelines import WeibullAFTFitter
    from pandas import DataFrame

    fit = WeibullAFTFitter().fit(DataFrame({"t": WEEKS, "e": EVENT, "placebo": PLACEBO}), "t", "e")
    place, shape = fit.params_["lambda_"], fit.params_["rho_"]
    found = place["placebo"], place["Intercept"], shape["Intercept"]
    assert found == pytest.approx((-1.267335, 3.515687, 0.311709), abs=1e-4)
    assert fit.standard_errors_["lambda_"]["placebo"] == pytest.approx(0.310640, abs=1e-4)


def test_our_hazard_ranks_the_trial_as_cox_regression_does() -> None:
    """Concordance of the two groups 0.690042 (lifelines); the placebo sells 4.8 times as fast (Cox, Efron's ties)."""
    from lifelines import CoxPHFitter
    from lifelines.utils import concordance_index
    from pandas import DataFrame

    cox = CoxPHFitter().fit(DataFrame({"t": WEEKS, "e": EVENT, "placebo": PLACEBO}), "t", "e")
    assert cox.concordance_index_ == pytest.approx(0.690042, abs=1e-6)
    ours = fit_covariates(WEEKS, EVENT, PLACEBO[:, None])
    assert concordance_index(WEEKS, -PLACEBO * ours.extra_[0], EVENT) == pytest.approx(0.690042, abs=1e-6)
    assert abs(ours.extra_[0] - 1.572125) < 0.412397  # its standard error


@pytest.mark.parametrize("name", ["rossi", "gbsg2"])
def test_covariates_are_used_as_well_as_by_cox_regression(name: str) -> None:
    """Held out in five folds: concordance within 0.01 of lifelines' Cox model, integrated Brier score no worse."""
    found = covariates(name, 1)
    assert abs(found["concordance"] - found["concordance_cox"]) <= 0.01
    assert abs(found["in_sample"] - found["in_sample_cox"]) <= 0.01
    assert found["brier"] <= found["brier_cox"]
