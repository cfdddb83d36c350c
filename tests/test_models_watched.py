"""Chances of a sale against outcomes of which some are still to come."""

from __future__ import annotations

import numpy as np
import pytest

from models.scores import brier, murphy
from models.watched import brier_watched, parts, reliability, weights_at, weights_ended

# 6-MP trial: Freireich et al. 1963 (Blood 21:699); Gehan 1965.
WEEKS = np.array([6, 6, 6, 6, 7, 9, 10, 10, 11, 13, 16, 17, 19, 20, 22, 23, 25, 32, 32, 34, 35], dtype=float)
EVENT = np.array([1, 1, 1, 0, 1, 0, 1, 0, 0, 1, 1, 0, 0, 0, 1, 1, 0, 0, 0, 0, 0], dtype=float)


def _simulated(seed: int, count: int, off: float = 1.0) -> tuple[np.ndarray, ...]:
    """Exponential times to sell watched for 5 to 120 days; the forecast has ``off`` times their hazard."""
    rng = np.random.default_rng(seed)
    rate = np.exp(rng.normal(-3.6, 0.7, count))
    time, watched = rng.exponential(1 / rate), rng.uniform(5, 120, count)
    return 1 - np.exp(-30 * rate * off), np.minimum(time, watched), (time <= watched).astype(float), rate


@pytest.mark.published
class TestMurphy:
    """Reference: Murphy 1973; five forecasts of .2 and five of .7, and four of .25 and .75, all outcomes known."""

    @pytest.mark.parametrize(
        ("chance", "outcome", "expected"),
        [
            ([0.2] * 5 + [0.7] * 5, [0, 0, 0, 0, 1, 1, 1, 1, 0, 1], (0.165, 0.005, 0.09, 0.25, 0.34)),
            ([0.25] * 4 + [0.75] * 4, [0, 0, 1, 0, 1, 1, 0, 0], (0.25, 0.03125, 0.015625, 0.234375, -1 / 15)),
        ],
    )
    def test_nothing_censored_gives_the_published_parts(
        self, chance: list[float], outcome: list[int], expected: tuple[float, ...]
    ) -> None:
        time = np.where(np.array(outcome) == 1, 10.0, 90.0)
        bins = reliability(chance, time, outcome, 30.0)
        found = parts(chance, time, outcome, 30.0, bins)
        assert (found.brier, found.reliability, found.resolution, found.uncertainty, found.skill) == pytest.approx(
            expected
        )
        assert found.within == pytest.approx(0, abs=1e-12)
        plain = murphy(chance, outcome)
        assert (plain.reliability, plain.resolution) == pytest.approx((found.reliability, found.resolution))


class TestBins:
    def test_a_bin_holds_the_share_by_kaplan_and_meier(self) -> None:
        """6-MP: S(10) = .752941, S(22.5) = .537815 (published, R and Le's Introductory Biostatistics)."""
        (only,) = reliability(np.full(21, 0.3), WEEKS, EVENT, 10.0)
        assert only.sold == pytest.approx(1 - 0.752941, abs=1e-6)
        (later,) = reliability(np.full(21, 0.3), WEEKS, EVENT, 22.5)
        assert later.sold == pytest.approx(1 - 0.537815, abs=1e-6)

    def test_the_interval_is_that_of_lifelines(self) -> None:
        from lifelines import KaplanMeierFitter

        theirs = KaplanMeierFitter(alpha=0.1).fit(WEEKS, EVENT).confidence_interval_
        (only,) = reliability(np.full(21, 0.3), WEEKS, EVENT, 16.0)
        low, high = 1 - theirs.loc[16.0].to_numpy()[::-1]
        assert (only.low, only.high) == pytest.approx((low, high), abs=1e-9)

    def test_equal_forecasts_stay_together(self) -> None:
        chance = np.repeat([0.1, 0.4, 0.9], [50, 3, 47])
        bins = reliability(chance, np.full(100, 40.0), np.zeros(100), 30.0, bins=3)
        assert sum(one.count for one in bins) == 100
        assert all(one.sold == 0 for one in bins)
        assert len({one.forecast for one in bins}) == len(bins)

    def test_none_sold_is_bounded_as_clopper_and_pearson_have_it(self) -> None:
        (only,) = reliability(np.full(20, 0.2), np.full(20, 40.0), np.zeros(20), 30.0)
        assert (only.sold, only.low) == (0.0, 0.0)
        assert only.high == pytest.approx(1 - 0.05 ** (1 / 20))

    def test_nobody_watched_so_long_is_not_known(self) -> None:
        (only,) = reliability([0.5, 0.5, 0.5], [10, 20, 25], [0, 1, 0], 30.0)
        assert only.sold is None
        assert np.isnan(brier_watched([0.5, 0.5, 0.5], [10, 20, 25], [0, 1, 0], 30.0))

    def test_bands_hold_the_truth_about_as_often_as_they_say(self) -> None:
        hits = total = 0
        for seed in range(30):
            chance, time, event, _ = _simulated(seed, 600)
            for one in reliability(chance, time, event, 30.0):
                hits += one.low <= one.forecast <= one.high
                total += 1
        assert total == 240
        # 90 % nominal; binomial over 240 bins: from 0.84 to 0.95.
        assert 0.84 <= hits / total <= 0.95

    def test_dropping_the_unsold_would_say_otherwise(self) -> None:
        chance, time, event, _ = _simulated(4, 4000)
        sold = event == 1
        assert (time[sold] <= 30).mean() > 0.65  # of those that sold
        (only,) = reliability(np.full(4000, chance.mean()), time, event, 30.0)
        assert only.sold == pytest.approx(chance.mean(), abs=0.03)


class TestBrier:
    def test_nothing_censored_is_the_plain_score(self) -> None:
        rng = np.random.default_rng(1)
        chance, time = rng.random(80), rng.exponential(30, 80)
        assert brier_watched(chance, time, np.ones(80), 30.0) == pytest.approx(
            brier(chance, (time <= 30).astype(float))
        )

    @pytest.mark.published
    @pytest.mark.parametrize("day", [10.0, 30.0, 60.0])
    def test_equals_scikit_survival(self, day: float) -> None:
        """Days without ties: on ties scikit-survival takes the censoring of the day itself into the weight."""
        from sksurv.metrics import brier_score
        from sksurv.util import Surv

        chance, time, event, _ = _simulated(3, 500)
        assert len(np.unique(time)) == 500
        theirs = Surv.from_arrays(event.astype(bool), time)
        expected = brier_score(theirs, theirs, (1 - chance)[:, None], [day])[1][0]
        assert brier_watched(chance, time, event, day) == pytest.approx(expected, abs=1e-12)

    def test_is_that_of_complete_watching_on_the_whole(self) -> None:
        rng = np.random.default_rng(8)
        rate = np.exp(rng.normal(-3.6, 0.7, 20_000))
        time, watched = rng.exponential(1 / rate), rng.uniform(5, 120, 20_000)
        chance = 1 - np.exp(-30 * rate)
        seen = brier_watched(chance, np.minimum(time, watched), time <= watched, 30.0)
        assert seen == pytest.approx(brier(chance, (time <= 30).astype(float)), abs=0.004)

    def test_a_forecast_that_is_off_scores_worse(self) -> None:
        right, time, event, _ = _simulated(5, 3000)
        wrong = _simulated(5, 3000, off=2.0)[0]
        assert brier_watched(right, time, event, 30.0) < brier_watched(wrong, time, event, 30.0)


class TestWeights:
    def test_sum_up_to_all(self) -> None:
        _, time, event, _ = _simulated(6, 2000)
        weight = weights_at(time, event, 30.0)
        assert weight is not None
        assert weight.sum() == pytest.approx(2000, rel=0.03)

    def test_a_mean_over_what_ended_does_not_speak_for_the_quick_alone(self) -> None:
        rng = np.random.default_rng(2)
        time, watched = rng.uniform(0, 100, 20_000), rng.uniform(0, 150, 20_000)
        ended = time <= watched
        seen = np.minimum(time, watched)
        assert time[ended].mean() < 45
        weight = weights_ended(seen, ended)
        assert np.average(time, weights=weight) == pytest.approx(50, abs=1.5)
