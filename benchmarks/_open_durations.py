"""Time to sell on open data and on a made market of known truth, beside Cox models."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from benchmarks._threads import one_thread
from models.frailty import POINTS
from models.price import Floats, Ints
from models.response import read
from models.season import PERIOD, harmonics
from models.speed import Listings, SpeedModel, pieces_exposure

PIECES = 6  # of the hazard on others' data: as many as the engine's own cuts make
SLOPE, SPREAD, BASE, AGEING = -2.5, 0.5, 0.05, 0.85  # of the made market: slope, variance of speed, Weibull hazard
STYLES, KINDS = 3000, 5
QUANTILES = np.array([0.1, 0.5, 0.9])
MONTH = 365.25 / 12
Quantiler = Callable[[Ints, Ints], Floats]  # rows to learn from, rows to forecast: (n, 3)


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
    rows = Listings(duration, sold, np.zeros(count), np.zeros(count, dtype=np.int64), np.arange(count), 1,
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
        return CoxPHFitter().fit(frame_of(z, t=duration[rows], e=sold[rows]), "t", "e")

    scores = []
    for seed in range(repeats):
        for near, far in KFold(5, shuffle=True, random_state=seed).split(raw):
            centre, spread = raw[near].mean(axis=0), raw[near].std(axis=0)
            z, held = (raw[near] - centre) / spread, (raw[far] - centre) / spread
            model, cox = fit_covariates(duration[near], sold[near], z), cox_fit(z, near)
            times = grid[(grid >= duration[far].min()) & (grid < duration[far].max())]
            seen, new = (Surv.from_arrays(sold[rows] == 1, duration[rows]) for rows in (near, far))
            log = held @ model.extra_, cox.predict_log_partial_hazard(frame_of(held)).to_numpy()
            theirs = cox.predict_survival_function(frame_of(held), times=times).to_numpy().T
            curves = unsold(model, times, log[0]), theirs
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


def frame_of(columns: Floats, **more: Floats) -> Any:
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
        model = SpeedModel().fit(Listings(days, sold, x, kind_of[style], style, KINDS, np.full(rows, np.nan)))
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
        cox = CoxPHFitter().fit(frame_of(np.column_stack([x, flags[kind_of[style]]]), t=days, e=sold), "t", "e")
        fresh = frame_of(np.column_stack([x_new, flags[kind_of[style_new]]]))
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
