"""The frame of answers that every reader hands over and the scores are taken of."""

from __future__ import annotations

import numpy as np
import pandas as pd

from benchmarks.market.config import HORIZONS

CHANCES = tuple(f"sold_{day}" for day in HORIZONS)
COLUMNS = ("decision", "ask", "q10", "q50", "q90", *CHANCES, "profit")
EXTRA = ("q05", "q95")  # may be there


def blank(count: int) -> pd.DataFrame:
    """Return answers that pass on everything and say nothing else."""
    frame = pd.DataFrame(np.nan, index=range(count), columns=list(COLUMNS[1:]))
    frame.insert(0, "decision", "pass")
    return frame
