"""Robust location, outliers and quantiles, against published values and naive forms of themselves."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.robust import (
    MODIFIED_Z,
    NORMAL_MAD,
    grouped_medians,
    grubbs,
    grubbs_critical,
    mad,
    modified_z,
    student_weights,
    trimmed_mean,
    tukey_fences,
    weighted_median,
    weighted_quantile,
)

# NIST/SEMATECH e-Handbook of Statistical Methods, 7.1.6.
NIST = np.fromstring(
    """
30 171 184 201 212 250 265 270 272 289 305 306 322 322 336 346 351 370 390 404 409 411 436 437 439 441 444 448 451 453
470 480 482 487 494 495 499 503 514 521 522 527 548 550 559 560 570 572 574 578 585 592 592 607 616 618 621 629 637 638
640 656 668 707 709 719 737 739 752 758 766 792 792 794 802 818 830 832 843 858 860 869 918 925 953 991 1000 1005 1068
1441""",
    sep=" ",
)
# NIST/SEMATECH e-Handbook, 1.3.5.17.1 (Grubbs' test).
MASSES = [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57]
# As in Iglewicz & Hoaglin 1993 (data from memory).
MASKED = [2.1, 2.6, 2.4, 2.5, 2.3, 2.1, 2.3, 2.6, 8.2, 8.3]


@pytest.mark.published
def test_handbook_fences() -> None:
    """NIST/SEMATECH e-Handbook 7.1.6: inner and outer fences, one mild outlier."""
    assert len(NIST) == 90
    assert np.median(NIST) == 559.5
    assert tukey_fences(NIST) == (-39.0, 1211.0)
    assert tukey_fences(NIST, 3.0) == (-507.75, 1679.75)
    low, high = tukey_fences(NIST)
    assert [v for v in NIST if not low <= v <= high] == [1441.0]
    # The quartiles are those at (n + 1) p; numpy's default ones are not the handbook's.
    assert list(np.quantile(NIST, [0.25, 0.75], method="weibull")) == [429.75, 742.25]
    assert list(np.quantile(NIST, [0.25, 0.75])) == [436.25, 738.5]


@pytest.mark.published
def test_modified_z_of_the_handbook_data() -> None:
    """Iglewicz & Hoaglin 1993; formula in NIST/SEMATECH e-Handbook 1.3.5.17."""
    z = dict(zip(NIST, modified_z(NIST), strict=True))
    assert mad(NIST) == 153.0
    assert [z[1441.0], z[1068.0], z[30.0]] == pytest.approx([3.886090, 2.241721, -2.334299], abs=1e-6)
    assert [v for v in NIST if abs(z[v]) > 3.5] == [1441.0]


@pytest.mark.published
def test_grubbs_and_modified_z_of_the_masses() -> None:
    """NIST/SEMATECH e-Handbook 1.3.5.17.1: G 2.4687, one-sided 5 % critical value 2.032."""
    assert grubbs(MASSES) == pytest.approx(2.468765, abs=1e-6)
    assert grubbs_critical(8) == pytest.approx(2.031652, abs=1e-6)
    z = modified_z(MASSES)
    assert np.median(MASSES) == pytest.approx(201.37)
    assert mad(MASSES) == pytest.approx(0.995, abs=1e-9)
    assert z[-1] == pytest.approx(29.962714, abs=1e-6)
    assert np.all(np.abs(z[:-1]) < 1.4)


@pytest.mark.published
def test_two_wild_values_do_not_mask_each_other() -> None:
    """Data as in Iglewicz & Hoaglin 1993 (from memory), values computed: plain z flags nothing."""
    assert modified_z(MASKED)[-2:] == pytest.approx([25.8558, 26.3055], abs=1e-4)
    plain = (np.array(MASKED) - np.mean(MASKED)) / np.std(MASKED, ddof=1)
    assert plain[-2:] == pytest.approx([1.8724, 1.9126], abs=1e-4)


def test_zero_mad_falls_back_to_the_mean_deviation() -> None:
    """Iglewicz & Hoaglin 1993 (rule from memory): more than half equal, factor 1.253314."""
    z = modified_z([50, 50, 50, 50, 90])
    assert list(z[:4]) == [0.0] * 4
    assert z[4] == pytest.approx(40 / (1.253314 * 8))
    assert z[4] > 3.5
    assert list(modified_z([7, 7, 7])) == [0.0] * 3
    assert list(modified_z([7])) == [0.0]


@pytest.mark.published
def test_normal_consistent_mad() -> None:
    """R manual for mad: both 2.9652; constants are 1 / qnorm(.75) and qnorm(.75)."""
    assert mad(range(1, 10), normal=True) == pytest.approx(2.9652, abs=5e-5)
    assert mad([*range(1, 9), 100], normal=True) == pytest.approx(2.9652, abs=5e-5)
    from scipy.special import ndtri

    assert pytest.approx(1 / ndtri(0.75), abs=1e-12) == NORMAL_MAD
    assert pytest.approx(ndtri(0.75), abs=5e-5) == MODIFIED_Z


@pytest.mark.published
def test_weighted_median() -> None:
    """Cormen, Leiserson, Rivest & Stein, Introduction to Algorithms, problem 9-2 (first); definitions (others)."""
    x = [0.1, 0.35, 0.05, 0.1, 0.15, 0.05, 0.2]
    assert weighted_median(x, x) == 0.2
    assert weighted_median(x, np.ones(7)) == 0.1
    assert weighted_median(range(1, 6), [0.15, 0.1, 0.2, 0.3, 0.25]) == 4
    for weights in ([1, 1, 1, 1], [0.49, 0.01, 0.25, 0.25]):
        assert weighted_median(range(1, 5), weights) == 2
        assert weighted_median(range(1, 5), weights, "midpoint") == 2.5
    assert weighted_median([3, 9], [0, 1]) == 9


@pytest.mark.published
def test_weights_as_counts() -> None:
    """Hyndman & Fan 1996, type 1: the quantiles of the repeated list."""
    levels = [0.1, 0.25, 0.5, 0.75, 0.9]
    answer = weighted_quantile([10, 20, 30, 40], [1, 3, 2, 4], levels)
    assert list(answer) == [10, 20, 30, 40, 40]
    assert list(np.quantile(np.repeat([10, 20, 30, 40], [1, 3, 2, 4]), levels, method="inverted_cdf")) == list(answer)


@pytest.mark.published
@pytest.mark.parametrize(("method", "expected"), [
    ("linear", [1.9, 3.25, 5.5, 9.1]), ("weibull", [1.1, 2.75, 5.5, 9.9]),
    ("averaged_inverted_cdf", [1.5, 3, 5.5, 9.5]), ("median_unbiased", [1.366667, 2.916667, 5.5, 9.633333]),
])  # fmt: skip
def test_the_library_s_quantile_types(method: str, expected: list[float]) -> None:
    """Guards numpy, not us: Hyndman & Fan 1996, types 7, 6, 2 and 8 of 1..10."""
    answer = np.quantile(np.arange(1.0, 11.0), [0.1, 0.25, 0.5, 0.9], method=method)  # type: ignore[call-overload]
    assert list(answer) == pytest.approx(expected, abs=1e-6)


def test_trimmed_mean() -> None:
    """Value computed by scipy.stats.trim_mean."""
    from scipy.stats import trim_mean

    values = [*range(11), 50]
    assert trimmed_mean(values, 0.1) == 5.5 == trim_mean(values, 0.1)
    assert trimmed_mean(values, 0.0) == pytest.approx(np.mean(values))


@given(st.lists(st.tuples(st.integers(-50, 50), st.integers(0, 6)), min_size=1, max_size=30).filter(
    lambda pairs: any(w for _, w in pairs)))  # fmt: skip
def test_whole_weights_equal_the_repeated_list(pairs: list[tuple[int, int]]) -> None:
    x, w = zip(*pairs, strict=True)
    repeated = np.repeat(np.array(x, dtype=float), w)
    half = sorted(repeated)
    assert weighted_median(x, w) == half[(len(half) - 1) // 2]
    assert weighted_median(x, w, "midpoint") == np.median(repeated)
    for tenth in range(11):  # exact ranks in whole numbers: floor((tenths * n + 9) / 10)
        rank = max((tenth * len(half) + 9) // 10, 1)
        assert weighted_quantile(x, w, tenth / 10) == half[rank - 1]


@given(st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=40))
def test_naive_mad(values: list[float]) -> None:
    middle = np.median(values)
    assert mad(values) == pytest.approx(float(np.median([abs(v - middle) for v in values])))
    assert np.isfinite(modified_z(values)).all()


def test_student_weights() -> None:
    """Lange, Little & Taylor 1989: (nu + 1) / (nu + d^2)."""
    assert list(student_weights([0.0, 2.0, -6.0], 2.0, 4.0)) == pytest.approx([5 / 4, 5 / 5, 5 / 13])
    # Iterated, they give the maximum of the Student likelihood: its score is zero there.
    rng = np.random.default_rng(4)
    x = np.append(rng.normal(0, 1, 50), [30.0, 40.0])
    centre = float(np.median(x))
    for _ in range(200):
        w = student_weights(x - centre, 1.0)
        centre = float(np.average(x, weights=w))
    step = 1e-5
    assert (_student_log(x, centre + step) - _student_log(x, centre - step)) / (2 * step) == pytest.approx(0, abs=1e-5)
    assert abs(centre) < 0.5 < abs(np.mean(x))


def _student_log(x: np.ndarray, centre: float) -> float:
    from scipy.stats import t

    return float(t.logpdf(x - centre, 4.0).sum())


def test_bad_input_is_refused() -> None:
    for call in (lambda: mad([]), lambda: mad([1.0, float("nan")]), lambda: weighted_median([1, 2], [0, 0]),
                 lambda: weighted_median([1, 2], [1]), lambda: weighted_median([1, 2], [-1, 3]),
                 lambda: weighted_quantile([1], [1], 1.2), lambda: student_weights([1.0], 0.0),
                 lambda: grubbs([1, 2]), lambda: grubbs_critical(2), lambda: trimmed_mean([1], 0.5)):  # fmt: skip
        with pytest.raises(ValueError, match=r"must|expected|needs"):
            call()


def test_medians_of_groups_are_the_weighted_medians_of_each() -> None:
    rng = np.random.default_rng(11)
    values, weights = np.abs(rng.standard_t(2, 3000)), rng.uniform(0.01, 1.0, 3000)
    values[:40] = 0.0
    values[40:400] = values[400]  # ties
    group = rng.integers(0, 6, 3000)
    group[group == 4] = 5  # one group empty
    each, overall = grouped_medians(values, weights, group, 7)
    assert overall == weighted_median(values, weights)
    assert np.isnan(each[[4, 6]]).all()
    for index in (0, 1, 2, 3, 5):
        assert each[index] == weighted_median(values[group == index], weights[group == index])
    assert grouped_medians(np.zeros(3), np.ones(3), np.zeros(3, dtype=np.int64), 1)[1] == 0.0
