"""Standard errors of effects told within styles, beside the mixed-model equations written out."""

from __future__ import annotations

import numpy as np
import pytest

from models.within import effect_errors


def test_errors_are_those_of_the_whole_system() -> None:
    """Levels and effects solved together: the effects' block of the inverse, whose base is held at nothing."""
    rng = np.random.default_rng(7)
    effect, product = rng.integers(3, size=80), rng.integers(12, size=80)
    precision, prior = rng.uniform(10, 90, 80), rng.uniform(20, 60, 12)
    design = np.zeros((80, 12 + 2))
    design[np.arange(80), product] = 1.0
    for column, which in ((12, 0), (13, 2)):
        design[effect == which, column] = 1.0
    whole = design.T @ (design * precision[:, None]) + np.diag(np.append(prior, [5.0, 5.0]))
    expected = np.sqrt(np.diag(np.linalg.inv(whole))[12:])
    found = effect_errors(precision, effect, 3, product, prior, base=1, ridge=5.0)
    assert found[[0, 2]] == pytest.approx(expected, rel=1e-9)
    assert found[1] == 0.0


def test_an_effect_that_no_row_shows_keeps_its_prior() -> None:
    found = effect_errors(np.array([50.0, 40.0]), np.array([0, 0]), 2, np.array([0, 1]), np.full(2, 30.0), 0, 4.0)
    assert found.tolist() == [0.0, 0.5]


def test_a_style_alone_in_its_condition_says_less_the_freer_its_level() -> None:
    """One style in each condition: 1/400 + 1/400 for the rows, twice the styles' variance on top."""
    row, style = np.full(2, 400.0), 0.01
    found = effect_errors(row, np.array([0, 1]), 2, np.array([0, 1]), np.full(2, 1 / style), 0, 1e-9)
    # The base is the zero of the scale, so the error is that of the other's own mean: its rows' and its style's.
    assert found[1] == pytest.approx(np.sqrt(1 / 400 + style), rel=1e-6)
