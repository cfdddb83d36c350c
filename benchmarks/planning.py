"""The plan of a haul beside one bare `scipy.optimize.milp` call on the very same matrix: 500 candidates, two limits.

Candidates are invented anew by fixed seeds: costs of 3 to 50, one to eight copies that fall off by 15 % and 0.80 each,
3 to 15 minutes of prep; cash and prep time for a fiftieth, a tenth or three tenths of them all. Times are CPU.
"""

from __future__ import annotations

import random
import statistics
import time
from decimal import Decimal
from typing import Any

import numpy as np

from sourcing.answer import Query
from sourcing.planner import Asked, Candidate, Copy, plan
from sourcing.planner.choice import Pieces, choose
from sourcing.planner.model import model
from sourcing.rules import HaulLimits

CANDIDATES = 500
SHELVES = tuple((seed, share) for seed in (1, 2, 3) for share in (0.02, 0.1, 0.3))


def shelf(seed: int, share: float) -> tuple[list[Candidate], HaulLimits]:
    """Invent a shelf and limits that let about this share of it be taken."""
    draw = random.Random(seed)
    found, cash, minutes = [], Decimal(0), Decimal(0)
    for at in range(CANDIDATES):
        cost, prep = Decimal(draw.randint(299, 4999)).scaleb(-2), Decimal(draw.randint(6, 30)) / 2
        first = cost * Decimal(draw.uniform(0.3, 2.5))
        asked = Asked(f"row {at}", Query(code=f"{at}"), "list")
        profits = [first * Decimal("0.85") ** k - Decimal("0.8") * k for k in range(draw.randint(1, 8))]
        copies = [Copy(round(profit, 2), cost, True, asked) for profit in profits if round(profit, 2) > 0]
        found.append(Candidate(asked, f"item {at}", "buy", "", "shoes", f"{at}", prep, tuple(copies)))
        cash, minutes = cash + len(copies) * cost, minutes + len(copies) * prep
    part = Decimal(str(share))
    return found, HaulLimits(cash=round(part * cash, 2), prep_hours=round(part * minutes / 60, 2))


def bare(pieces: Pieces) -> int:
    """Solve the same knapsack with nothing around it, to the same proof."""
    from scipy.optimize import Bounds, LinearConstraint, milp

    solved = milp(
        -pieces.profit.astype(float),
        integrality=np.ones(len(pieces.profit)),
        bounds=Bounds(0, 1),
        constraints=LinearConstraint(pieces.use.astype(float), -np.inf, pieces.room.astype(float)),
        options={"mip_rel_gap": 0.0},
    )
    return int(pieces.profit @ np.round(solved.x).astype(np.int64))


def run() -> list[dict[str, Any]]:
    """Return one record a measurement: name, ratio, bar, detail."""
    once, whole, reference, most = [], [], [], 0
    warm, limits = shelf(0, 0.02)
    plan(warm[:20], limits)  # scipy loads at the first plan
    for seed, share in SHELVES:
        candidates, limits = shelf(seed, share)
        pieces = model(candidates, limits, every=False).pieces
        most = max(most, len(pieces.profit))
        start = time.process_time()
        best = bare(pieces)
        reference.append(time.process_time() - start)
        start = time.process_time()
        chosen = choose(pieces)
        once.append(time.process_time() - start)
        start = time.process_time()
        found = plan(candidates, limits)
        whole.append(time.process_time() - start)
        assert chosen.profit == best == int(found.profit * 100), "the two disagree on the best haul"
    return [
        {
            "name": f"plan of {CANDIDATES} candidates within two limits, {what}",
            "ratio": statistics.median(ours) / statistics.median(reference),
            "bar": bar,
            "detail": f"{statistics.median(ours):.2f} CPU s, at most {max(ours):.2f}, against "
            f"{statistics.median(reference):.2f} and {max(reference):.2f} of one bare scipy milp on the same matrix of "
            f"up to {most:,} pieces, proven best on both sides, of the same profit; {len(SHELVES)} shelves{more}",
        }
        for what, ours, bar, more in (
            ("the choice alone", once, 1.0, ""),
            ("the whole answer", whole, 4.0, "; with more cash, more time and every reason, each solved anew"),
        )
    ]


if __name__ == "__main__":
    for line in run():
        print(f"{line['name']}: {line['ratio']:.3g} (bar {line['bar']}); {line['detail']}")
