"""Effects of flags: pooling worked by hand, effects of known size found again, none found where there is none."""

from __future__ import annotations

import numpy as np
import pytest

from models.flags import FlagEffects, LikeSales, fit_effects, pool
from models.robust import Z90

SIGMA = 0.12
STYLES, CATEGORIES = 300, 4


def test_pooling_is_as_worked_by_hand() -> None:
    """One flag, two categories: -0.30 with precision 100, -0.10 with precision 25; a third says nothing.

    With a variance of 0.01 between categories the two weigh 1 / (0.01 + 0.01) = 50 and 1 / (0.04 + 0.01) = 20. Flags
    vary by 0.04 about 0, a precision of 25: the flag's effect is (50 * -0.30 + 20 * -0.10) / 95 = -17 / 95, variance
    1 / 95. First category: own precision 100 and the flag's 1 / 0.01 = 100 weigh alike. Second: 25 and 100, a fifth and
    four fifths. What is unsure of the flag comes on top: a half of it squared, and four fifths of it squared.
    """
    precision, mean = np.array([[100.0, 25.0, 0.0]]), np.array([[-0.30, -0.10, 0.0]])
    by_category, var, flag, flag_var, _ = pool(precision, mean, np.array([0.01]), 0.04)
    all_of_it = -17 / 95
    assert flag == pytest.approx([all_of_it])
    assert flag_var == pytest.approx([1 / 95])
    assert by_category[0] == pytest.approx([(-0.30 + all_of_it) / 2, -0.1 / 5 + all_of_it * 4 / 5, all_of_it])
    assert var[0] == pytest.approx([1 / 200 + 1 / 4 / 95, 1 / 125 + 16 / 25 / 95, 0.01 + 1 / 95])


def test_a_contrast_is_marked_less_unmarked_of_the_same_group() -> None:
    """Dear and cheap styles alike, the flag only ever on the cheap one: what the styles differ by is none of it."""
    y = np.array([3.0, 3.0, 3.0, 2.0, 2.0, 1.8, 1.8])
    group = np.array([0, 0, 0, 1, 1, 1, 1])
    marked = np.array([False] * 3 + [False, False, True, True])
    found = fit_effects(LikeSales(y, np.full(7, 1e-6), group, marked), np.array([0, 0]), np.array([0, 0]), 1, 1)
    assert found.count.tolist() == [[2]]
    assert -0.2 < found.mean[0, 0] < -0.12  # drawn towards 0 by what is usual of flags, styles and categories
    alone = fit_effects(LikeSales(y[5:], np.full(2, 1e-6), np.zeros(2, int), marked[5:]), np.array([0]), np.array([0]),
                        1, 1)  # fmt: skip
    assert alone.count.tolist() == [[0]]
    assert alone.mean[0, 0] == 0.0


def simulated(seed: int, effects: tuple[float, ...], share: float) -> tuple[np.ndarray, FlagEffects]:
    """Draw styles with sales that name flags; effects differ by 0.05 between categories and 0.04 between styles."""
    rng = np.random.default_rng(seed)
    flags, some = len(effects), np.array(effects) != 0
    true = np.array(effects)[:, None] + rng.normal(0, 0.05, (flags, CATEGORIES)) * some[:, None]
    kind = rng.integers(0, CATEGORIES, STYLES)
    style = np.repeat(np.arange(STYLES), rng.geometric(1 / 8, STYLES))
    named = rng.random((len(style), flags)) < share
    own = rng.normal(0, 0.04, (STYLES, flags)) * some
    y = rng.normal(3.5, 0.5, STYLES)[style] + rng.normal(0, SIGMA, len(style))
    y += (named * (true[:, kind[style]].T + own[style])).sum(axis=1)
    y += (rng.random(len(style)) < 0.02) * rng.choice([-1.2, 1.1], len(style))  # mistyped codes, lots
    bits = named @ (1 << np.arange(flags))
    group, flag, category = [], [], []
    for k in range(flags):
        like, place = np.unique(style * (1 << flags) + (bits & ~(1 << k)), return_inverse=True)
        group.append(place + sum(map(len, flag)))
        flag.append(np.full(len(like), k))
        category.append(kind[like >> flags])
    sales = LikeSales(
        np.tile(y, flags), np.full(len(y) * flags, SIGMA**2), np.concatenate(group), np.concatenate(named.T)
    )
    return true, fit_effects(sales, np.concatenate(flag), np.concatenate(category), flags, CATEGORIES)


@pytest.mark.parametrize("share", [0.02, 0.1])
def test_known_effects_lie_inside_their_interval_in_nine_of_ten(share: float) -> None:
    inside, error = [], []
    for seed in range(60):
        true, found = simulated(seed, (-0.2, -0.35, 0.1), share)
        inside.append(np.abs(found.mean - true) <= Z90 * np.sqrt(found.var))
        error.append(found.mean - true)
    assert 0.85 <= np.mean(inside) <= 0.97
    assert abs(np.mean(error)) < 0.008


@pytest.mark.parametrize("share", [0.02, 0.1])
def test_hardly_an_effect_is_claimed_where_there_is_none(share: float) -> None:
    claimed = []
    for seed in range(60):
        _, found = simulated(seed, (0.0, 0.0, 0.0), share)
        claimed.append(np.abs(found.mean) > Z90 * np.sqrt(found.var))
    assert np.mean(claimed) <= 0.1
