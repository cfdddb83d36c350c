"""Minutes learnt from timed batches: held to published poolings, to normal theory, and to simulated people."""

from __future__ import annotations

import numpy as np
import pytest

from models.prep import Batches, minutes_learnt, normal_effects, running_median
from models.price import Floats
from sourcing.prep.learnt import FEWEST_BATCHES, WIDEST

PEOPLE = 120


class TestNormalEffects:
    """The linear core beside published values."""

    @pytest.mark.published
    def test_one_observation_of_a_normal_prior(self) -> None:
        """N(100, 15^2) before, one observation 115 of sd 10: normal-normal updating, BDA3 sec. 2.5."""
        mean, cov = normal_effects(np.ones((1, 1)), np.array([15.0]), np.array([1 / 100]), np.array([1 / 225]))
        assert 100 + mean[0] == pytest.approx(110.384615, abs=5e-7)
        assert np.sqrt(cov[0, 0]) == pytest.approx(8.320503, abs=5e-7)

    @pytest.mark.published
    def test_eight_schools(self) -> None:
        """Rubin 1981; BDA3 sec. 5.5: a common effect known by nothing else, schools with sd 5 around it."""
        y = np.array([28, 8, -3, 7, -1, 1, 18, 12], dtype=float)
        s = np.array([15, 10, 16, 11, 9, 11, 10, 18], dtype=float)
        design = np.column_stack([np.ones(8), np.eye(8)])
        mean, cov = normal_effects(design, y, 1 / s**2, np.array([0.0, *[1 / 25] * 8]))
        assert mean[0] == pytest.approx(7.8510, abs=5e-5)
        assert np.sqrt(cov[0, 0]) == pytest.approx(4.4921, abs=5e-5)
        assert mean[0] + mean[1:] == pytest.approx(
            [9.8659, 7.8808, 6.8856, 7.7053, 5.7635, 6.6779, 9.8808, 8.1482], abs=5e-5
        )
        sds = np.sqrt(cov[0, 0] + np.diag(cov)[1:] + 2 * cov[0, 1:])
        assert sds == pytest.approx([6.2326, 5.7371, 6.2868, 5.8804, 5.5576, 5.8804, 5.7371, 6.3719], abs=5e-5)

    def test_without_priors_it_is_weighted_least_squares(self) -> None:
        """The same numbers as numpy's own solver."""
        rng = np.random.default_rng(1)
        design, y, weight = rng.normal(size=(30, 3)), rng.normal(size=30), rng.uniform(0.5, 2, 30)
        mean, _ = normal_effects(design, y, weight, np.zeros(3))
        root = np.sqrt(weight)
        assert mean == pytest.approx(np.linalg.lstsq(design * root[:, None], y * root, rcond=None)[0])


def person(seed: int, batches: int, forgotten: float = 0.04) -> tuple[Batches, Floats, Floats, Floats, Floats, Floats]:
    """Draw one person: true minutes by category, more for flags, days better and worse, pieces easy and hard.

    Of the batches a share ``forgotten`` runs on for one to ten hours. Returned: batches, minutes assumed, the same of
    flags, the true ones, and which batches were forgotten.
    """
    rng = np.random.default_rng(seed)
    assumed, extra = np.array([2.5, 2.0, 1.5]), np.array([0.0, 3.0])
    truth = assumed * np.exp(rng.normal(0, 0.4) + rng.normal(0, 0.25, 3))
    more = np.maximum(extra + rng.normal(0, 1.0, 2), 0.0)
    pieces, flagged, minutes = np.zeros((batches, 3)), np.zeros((batches, 2)), np.zeros(batches)
    lost = rng.random(batches) < forgotten
    for at in range(batches):
        count = int(rng.integers(3, 25))
        kind = rng.integers(0, 3, count) if rng.random() < 0.3 else np.full(count, rng.integers(0, 3))
        has = rng.random((count, 2)) < 0.2 * (rng.random() < 0.5)
        each = truth[kind] * rng.gamma(1 / 0.4**2, 0.4**2, count) + has @ more
        minutes[at] = each.sum() * np.exp(rng.normal(-(0.25**2) / 2, 0.25)) + lost[at] * rng.uniform(60, 600)
        pieces[at], flagged[at] = np.bincount(kind, minlength=3), has.sum(axis=0)
    return Batches(minutes, pieces, flagged), assumed, extra, truth, more, lost.astype(float)


class TestSimulatedPeople:
    @pytest.mark.parametrize("batches", [4, 12, 40])
    def test_the_interval_holds_the_truth_in_nine_of_ten(self, batches: int) -> None:
        held: list[bool] = []
        flags: list[bool] = []
        for seed in range(PEOPLE):
            told, assumed, extra, truth, more, _ = person(seed, batches)
            found = minutes_learnt(told, assumed, extra)
            held += list((found.low <= truth) & (truth <= found.high))
            flags += list((found.extra_low <= more) & (more <= found.extra_high))
        # Three categories of one person share a pace, so that 360 answers are worth about 200.
        band = 3 * np.sqrt(0.9 * 0.1 / 200)
        assert 0.9 - band <= np.mean(held) <= 0.9 + band
        assert np.mean(flags) >= 0.9 - band  # flags are rare: their interval is mostly the one before any batch

    def test_enough_is_enough(self) -> None:
        """What takes the place of the minutes assumed is nearer the truth: by far on average, worse hardly ever."""
        learnt: list[float] = []
        before: list[float] = []
        for seed in range(PEOPLE):
            told, assumed, extra, truth, _, _ = person(1000 + seed, 15)
            found = minutes_learnt(told, assumed, extra)
            enough = (found.batches >= FEWEST_BATCHES) & (found.high <= WIDEST * found.mean)
            learnt += list(np.abs(np.log(found.mean / truth))[enough])
            before += list(np.abs(np.log(assumed / truth))[enough])
        assert len(learnt) > PEOPLE / 2  # a dozen batches are enough for many
        assert np.mean(learnt) < 0.13
        assert np.mean(learnt) < 0.4 * np.mean(before)
        assert np.mean(np.array(learnt) > np.array(before) + 0.1) < 0.1

    def test_a_forgotten_watch_has_no_say(self) -> None:
        told, assumed, extra, *_ = person(7, 20, forgotten=0.0)
        sound = minutes_learnt(told, assumed, extra)
        minutes = told.minutes.copy()
        minutes[3] += 9 * 60
        found = minutes_learnt(Batches(minutes, told.pieces, told.flagged), assumed, extra)
        assert found.say[3] < 0.01
        assert np.delete(found.say, 3).min() > 0.3
        assert not found.short[3]
        assert found.mean == pytest.approx(sound.mean, rel=0.05)
        # The plain mean would be far off: what the weights are for.
        plain = minutes.sum() / told.pieces.sum()
        assert plain > 2 * told.minutes.sum() / told.pieces.sum()

    def test_nor_has_one_stopped_at_once_which_is_told_from_it(self) -> None:
        told, assumed, extra, *_ = person(7, 20, forgotten=0.0)
        minutes = told.minutes.copy()
        minutes[3] = 0.27
        found = minutes_learnt(Batches(minutes, told.pieces, told.flagged), assumed, extra)
        assert found.say[3] < 0.01
        assert found.short[3]
        assert 0.2 < np.delete(found.short, 3).mean() < 0.8  # of the sound ones as many are a little short as long


class TestShrinkage:
    def test_one_batch_moves_part_of_the_way(self) -> None:
        one = Batches(np.array([40.0]), np.array([[10.0, 0.0]]), np.zeros((1, 0)))
        found = minutes_learnt(one, np.array([2.0, 2.0]), np.zeros(0))
        assert 2.0 < found.mean[1] < found.mean[0] < 4.0  # a category never timed follows, but not as far
        assert found.batches.tolist() == [1, 0]
        assert found.high[1] / found.low[1] > found.high[0] / found.low[0]

    def test_a_hundred_batches_are_believed(self) -> None:
        rng = np.random.default_rng(5)
        minutes = 10 * 3.7 * np.exp(rng.normal(-0.02, 0.2, 100))
        found = minutes_learnt(
            Batches(minutes, np.full((100, 1), 10.0), np.zeros((100, 0))), np.array([2.0]), np.zeros(0)
        )
        assert found.mean[0] == pytest.approx(minutes.mean() / 10, rel=0.01)
        # The interval is that of the mean of a hundred log-normals, for the prior is next to nothing by now.
        expected = np.log(minutes).std(ddof=1) / 10 * 1.66
        assert np.log(found.high[0] / found.mean[0]) == pytest.approx(expected, rel=0.15)

    def test_a_flag_adds_and_never_takes_away(self) -> None:
        pieces = np.full((40, 1), 10.0)
        flagged = np.tile([[0.0], [10.0]], (20, 1))
        slow = Batches(np.tile([20.0, 70.0], 20), pieces, flagged)
        found = minutes_learnt(slow, np.array([2.0]), np.array([0.0]))
        assert found.mean[0] == pytest.approx(2.0, rel=0.05)
        assert found.extra[0] == pytest.approx(5.0, rel=0.1)
        quick = minutes_learnt(Batches(np.tile([20.0, 12.0], 20), pieces, flagged), np.array([2.0]), np.array([1.0]))
        assert quick.extra[0] == 0.0

    def test_a_batch_without_pieces_or_time_is_refused(self) -> None:
        for minutes, pieces in ((0.0, 5.0), (5.0, 0.0)):
            with pytest.raises(ValueError, match="a batch has one piece"):
                minutes_learnt(
                    Batches(np.array([minutes]), np.array([[pieces]]), np.zeros((1, 0))), np.array([2.0]), np.zeros(0)
                )


def test_running_median_by_hand() -> None:
    assert running_median([9.0, 1.0, 5.0, 7.0, 3.0, 100.0], 3).tolist() == [9.0, 5.0, 5.0, 5.0, 5.0, 7.0]
