"""The conformal rank against published rules."""

from __future__ import annotations

import numpy as np
import pytest

from sourcing.learning import _conformal


# k = ceil((n + 1)(1 - alpha)); Vovk, Gammerman & Shafer 2005; Lei et al. 2018, JASA 113:1094.
@pytest.mark.parametrize(("n", "rank"), [(9, 8), (4, 4), (19, 16), (99, 80), (100, 81)])
def test_conformal_rank_at_eighty_percent(n: int, rank: int) -> None:
    assert _conformal(np.arange(1.0, n + 1.0)) == rank
