"""What fits cost beside general libraries, and how near the closed forms come to a fine sum."""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np

from benchmarks._open_durations import frame_of
from models.costs import Costs
from models.price import Floats, Ints, PriceModel, PriceRows
from models.proceeds import STEPS, Plan, Prospects, level_nodes, outcomes, share_below
from models.response import HINGES, Response, read
from models.speed import Listings, SpeedModel, pieces_exposure

PIECES = 6  # of the hazard on others' data: as many as the engine's own cuts make
SLOPE, SPREAD, BASE, AGEING = -2.5, 0.5, 0.05, 0.85  # of the made market: slope, variance of speed, Weibull hazard
STYLES, KINDS = 3000, 5
QUANTILES = np.array([0.1, 0.5, 0.9])
MONTH = 365.25 / 12
Quantiler = Callable[[Ints, Ints], Floats]  # rows to learn from, rows to forecast: (n, 3)


def chance_below(level_var: float, cuts: tuple[tuple[int, float], ...] = ((30, 0.1), (60, 0.2))) -> float:
    """Worst error of `models.proceeds.share_below` beside sums over 4,096 equally likely levels: a chance.

    The reference keeps what is left unsold together with the low levels at which that happens; each node has its
    frailty integrated in closed form, its own price on each day and its own value when given up (spread 0.1, as ours).
    """
    from scipy.special import ndtr, ndtri

    plan, haggle, mean, shape = Plan(cuts, 120, 0.4), (-0.05, 0.08), np.array([3.5]), 2.0
    response = Response.of(SLOPE, np.zeros(len(HINGES)), SLOPE, 0.3, np.linspace(-0.3, 0.4, 50)).values
    edges, factor = plan.nodes()
    base = pieces_exposure(edges) @ np.array([0.030, 0.025, 0.020, 0.018, 0.015, 0.012])
    var = np.array([level_var])
    gamma = np.full((1, 5), shape)
    items = Prospects(mean, var, *level_nodes(mean, var), gamma, gamma, response)
    result = outcomes(items, base, plan, Costs((0.0,), (1.0,), (0.0,)), haggle, 60.0, (-0.36, 0.64))
    level = mean[0] + np.sqrt(level_var) * ndtri((np.arange(4096) + 0.5) / 4096)
    worst = 0.0
    for choice in range(STEPS):
        ask = np.log(result.ask[0, choice])
        total = np.linspace(ask - 2.0, ask + 0.4, 200)
        got = share_below(np.exp(total)[None], np.array([choice]), result, plan, haggle)[0]
        steps = np.diff(base) * np.exp(read(response, ask + np.log(factor) - level[:, None]))
        alive = np.exp(-shape * np.log1p(np.cumsum(np.insert(steps, 0, 0.0, axis=1), axis=1) / shape))
        sale = ndtr((total[:, None] - ask - np.log(factor) - haggle[0]) / haggle[1])
        rest = ndtr((total[:, None] - level - np.log(plan.salvage)) / 0.1)
        want = sale @ -np.diff(alive, axis=1).mean(axis=0) + rest @ alive[:, -1] / len(level)
        worst = max(worst, float(np.max(np.abs(got - want))))
    return worst


def _prices(rows: int) -> tuple[PriceRows, int]:
    """Made sales: 10,000 styles of two sizes, 300 brands, 8 categories, 4 conditions, two years; and the styles."""
    rng = np.random.default_rng(0)
    styles, cells, kinds, conditions = 10_000, 300, 8, 4
    kind_of, cell_of = rng.integers(0, kinds, cells), rng.integers(0, cells, styles)
    popular = np.arange(1, styles + 1) ** -0.8
    style = rng.choice(styles, rows, p=popular / popular.sum())
    variant, condition = 2 * style + rng.integers(0, 2, rows), rng.integers(0, conditions, rows)
    age = rng.uniform(0, 700, rows)
    level = rng.normal(3.0, 0.5, styles)[style] + rng.normal(0, 0.06, 2 * styles)[variant]
    y = level - 0.1 * condition - 0.05 * age / 365 + 0.15 * rng.standard_t(4, rows)
    of_variant = np.arange(2 * styles) // 2
    cell = cell_of[style]
    return PriceRows(y, kind_of[cell], cell, style, variant, condition, age, kind_of, cell_of, of_variant, conditions,
                     kinds), styles  # fmt: skip


def _listings(rows: int) -> Listings:
    """Made listings in whole days: 20,000 styles by Zipf's law, 40 categories, listed over 700 days."""
    rng = np.random.default_rng(0)
    styles, kinds = 20_000, 40
    popular = 1.0 / np.arange(1, styles + 1)
    style = rng.choice(styles, rows, p=popular / popular.sum())
    x = rng.normal(0.05, 0.2, rows)
    wait = rng.exponential(1.0, rows) / (0.03 * rng.gamma(2.0, 0.5, styles)[style] * np.exp(SLOPE * x))
    ends = rng.exponential(60.0, rows)
    days, kind = np.maximum(np.ceil(np.minimum(wait, ends)), 1.0), rng.integers(0, kinds, styles)[style]
    return Listings(days, (wait < ends).astype(float), x, kind, style,
                    kinds, rng.integers(0, 700, rows).astype(float))  # fmt: skip


def _titles(sales: PriceRows) -> list[str]:
    """Made titles of the styles: the brand and six of 120 words by Zipf's law; they say nothing of prices."""
    rng = np.random.default_rng(2)
    popular = 1.0 / np.arange(1, 121)
    words = rng.choice(120, (len(sales.product_cell), 6), p=popular / popular.sum())
    cells = sales.product_cell
    return [f"brand{cell} " + " ".join(f"word{w}" for w in row) for cell, row in zip(cells, words, strict=True)]


def _price_and_titles(sales: PriceRows, titles: list[str]) -> object:
    """Fit as the engine does: levels first, then what titles say about them, then levels again around that."""
    from models.features import fit_titles

    plain = PriceModel().fit(sales)
    precision, mean = plain.styles_from_below(sales)
    category = sales.cell_category[sales.product_cell]
    target = np.where(precision > 0, mean - plain.cell_mean_[sales.product_cell], 0.0)
    weight = precision / (1.0 + plain.tau_style2_[category] * precision)
    return PriceModel().fit(sales, fit_titles(titles, [str(kind) for kind in category], target, weight).offsets)


def _ridge(sales: PriceRows, titles: list[str] | None = None) -> object:
    """Sparse ridge on what ours is told: category, brand's cell, style, size, condition, age, and words if given."""
    from scipy.sparse import csr_array, hstack
    from sklearn.feature_extraction.text import TfidfVectorizer
    from sklearn.linear_model import Ridge

    count = len(sales.y)

    def dummies(index: Ints) -> object:
        return csr_array((np.ones(count), (np.arange(count), index)), shape=(count, int(index.max()) + 1))

    known = (sales.category, sales.cell, sales.product, sales.variant, sales.condition)
    parts = [*map(dummies, known), csr_array((sales.age / 365)[:, None])]
    if titles is not None:
        # Each sale is a listing with a title of its own: the reference has no styles to read once.
        parts.append(csr_array(TfidfVectorizer().fit_transform([titles[style] for style in sales.product])))
    return Ridge(alpha=1.0, solver="sparse_cg").fit(hstack(parts, format="csr"), sales.y)


def _fit(what: str, rows: int) -> Callable[[], object]:
    """Make the data of one fit; calling what is returned fits."""
    if what.startswith("price"):
        sales = _prices(rows)[0]
        if what == "price":
            return lambda: PriceModel().fit(sales)
        if what.endswith("titles"):
            titles = _titles(sales)
            return (
                (lambda: _price_and_titles(sales, titles)) if what == "price-titles" else lambda: _ridge(sales, titles)
            )
        return lambda: _ridge(sales)
    listings = _listings(rows)
    if what.endswith("hours"):
        # Known to the hour and less, hardly two durations are equal, which is dear for a partial likelihood.
        listings = replace(listings, duration=listings.duration - np.random.default_rng(1).uniform(0, 0.99, rows))
    if not what.startswith("cox"):
        return lambda: SpeedModel().fit(listings)
    from lifelines import CoxPHFitter

    columns = np.column_stack([listings.x, np.eye(listings.categories)[listings.category][:, 1:]])
    return lambda: CoxPHFitter().fit(frame_of(columns, t=listings.duration, e=listings.sold), "t", "e")


def _child(what: str, rows: int) -> None:
    """Print the CPU seconds of one fit, imports apart, and the process's peak memory in MB."""
    _fit(what, 2000)()
    fit = _fit(what, rows)
    start = time.process_time()
    fit()
    taken = time.process_time() - start
    print(json.dumps([taken, _peak()]))


def _peak() -> float:
    """Peak memory of this process in MB; getrusage alone would not go below what the parent held at the fork."""
    status = Path("/proc/self/status")
    if status.exists():
        return float(status.read_text().split("VmHWM:", 1)[1].split()[0]) / 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def measured(what: str, rows: int) -> tuple[float, float]:
    """Run one fit in a process of its own on one thread: (CPU seconds, peak memory in MB)."""
    one = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "PYTHONWARNINGS": "ignore"}
    call = [sys.executable, "-m", "benchmarks._fit_costs", what, str(rows)]
    done = subprocess.run(
        call, check=True, capture_output=True, text=True, env=os.environ | one, cwd=Path(__file__).parent.parent
    )
    seconds, memory = json.loads(done.stdout.splitlines()[-1])
    return float(seconds), float(memory)


if __name__ == "__main__":
    _child(sys.argv[1], int(sys.argv[2]))
