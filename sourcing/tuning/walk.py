"""Walk forward: forecast every occasion with what was known on its day, by the last fit made before it.

Rolling-origin evaluation (Tashman 2000, International Journal of Forecasting 16:437): the fit is made anew at a few
days, the item's own comps are those of the day itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import numpy as np
from numpy.typing import NDArray

from models.price import Floats, Ints
from models.proceeds import STEPS, share_below
from sourcing.fitting import Fit, fold
from sourcing.flags.marked import flagged
from sourcing.forecast import Forecasts, forecast_group
from sourcing.language import gettext, separated
from sourcing.settings import CategorySettings, Settings
from sourcing.tuning.known import EVIDENCE, Row, known_on
from sourcing.tuning.occasions import Occasion
from sourcing.tuning.past import PastFits, Tell

_ASKED = ("ask", "mean_net", "mean_days", "by_target", "loss")
_USUAL_FROM = 3  # own sales whose middle is an item's usual price; with fewer, the forecast stands in
_CENT = Decimal("0.01")


@dataclass(frozen=True)
class Walked:
    """Forecasts of n occasions at the K asking prices of each; money as floats.

    Attributes
    ----------
    at : (n,) places in the occasions walked; one whose day has no fit is missing. ask, mean_net, mean_days, by_target,
    loss : (n, K), as `models.proceeds.Outcome` has them, and the chance of loss at the shelf price. evidence : (n,)
    sales' worth of evidence. timed : (n,) whether the time to sell was known. shelf : (n,) to the cent.
    """

    at: Ints
    ask: Floats
    mean_net: Floats
    mean_days: Floats
    by_target: Floats
    loss: Floats
    evidence: Floats
    timed: NDArray[np.bool_]
    shelf: tuple[Decimal, ...]


def walk(
    occasions: Sequence[Occasion], rows: Sequence[list[Row]], fits: PastFits, settings: Settings, tell: Tell
) -> Walked:
    """Forecast the occasions, those of one category and week in one pass."""
    groups: dict[tuple[str, tuple[str, ...], int], list[int]] = {}
    made: dict[tuple[str, tuple[str, ...], int], Fit] = {}
    for at, one in enumerate(occasions):
        found = fits.before(one.day)
        if found is not None:
            key = (fold(one.item.category), one.item.flags, found[0])
            groups.setdefault(key, []).append(at)
            made[key] = found[1]
    places: list[int] = []
    shelves: list[Decimal] = []
    parts: list[dict[str, Any]] = []
    for number, (key, members) in enumerate(groups.items()):
        if number % 20 == 0:
            words = gettext(
                "Forecasting {number} occasions, each as on its own day", number=separated(f"{len(occasions):,}")
            )
            tell(number / len(groups), words)
        chosen = [occasions[at] for at in members]
        known = [known_on(rows[at], occasions[at].day, EVIDENCE) for at in members]
        deal = flagged(settings.for_category(key[0]), settings, key[1])
        part, shelf = _forecast(made[key], key[0], chosen, known, deal)
        places += members
        shelves += shelf
        parts.append(part)
    order = np.argsort(np.array(places, dtype=np.int64), kind="stable")
    joined = {name: _joined(parts, name)[order] for name in (*_ASKED, "evidence", "timed")}
    tags = tuple(shelves[at] for at in order)
    return Walked(at=np.array(places, dtype=np.int64)[order], shelf=tags, **joined)


def _joined(parts: list[dict[str, Any]], name: str) -> Any:
    if not parts:
        shape = (0, STEPS) if name in _ASKED else (0,)
        return np.zeros(shape, dtype=bool if name == "timed" else float)
    return np.concatenate([part[name] for part in parts])


def _forecast(
    fit: Fit, category: str, chosen: list[Occasion], known: list[list[Row]], deal: CategorySettings
) -> tuple[dict[str, Any], list[Decimal]]:
    found = forecast_group(fit, category, [one.item for one in chosen], known, deal.terms, deal.rules)
    shelf = [
        one.shelf if one.shelf is not None else _tag(one.share * usual)
        for one, usual in zip(chosen, _usual(found, known).tolist(), strict=True)
    ]
    outcome = found.outcome
    part = {
        "ask": outcome.ask,
        "mean_net": outcome.mean_net,
        "mean_days": outcome.mean_days,
        "by_target": outcome.by_target,
        "loss": _loss(found, chosen, shelf, deal),
        "evidence": found.evidence,
        "timed": np.full(len(chosen), bool(found.speed_basis)),
    }
    return part, shelf


def _usual(found: Forecasts, known: list[list[Row]]) -> Floats:
    """Return what each item usually sold for by its day: the middle of its own sales, each as in its condition."""
    usual = np.exp(found.mean)
    seen = found.seen
    use = seen.sold & seen.priced & ~seen.suspect
    for at in range(len(known)):
        mine = slice(int(seen.start[at]), int(seen.start[at + 1]))
        own = (seen.price - seen.gap)[mine][use[mine]]
        if len(own) >= _USUAL_FROM:
            usual[at] = float(np.exp(np.median(own)))
    return usual


def _tag(price: float) -> Decimal:
    return max(Decimal(f"{price:.2f}"), _CENT)


def _loss(found: Forecasts, chosen: list[Occasion], shelf: list[Decimal], deal: CategorySettings) -> Floats:
    """Chance of loss at the shelf price at each asking price: (n, K)."""
    landed = np.array([float(deal.terms.landed(price, one.discount)) for price, one in zip(shelf, chosen, strict=True)])
    outcome, labour, rate = found.outcome, float(deal.terms.labour()), float(deal.terms.capital_rate)
    loss = np.empty_like(outcome.mean_net)
    for k in range(loss.shape[1]):
        spent = landed * (1.0 + rate * outcome.mean_days[:, k] / 365.0) + labour
        total = found.costs.total_for(spent[:, None])
        asked = np.full(len(landed), k)
        loss[:, k] = share_below(total, asked, outcome, found.plan, found.haggle)[:, 0]
    return np.clip(loss, 0.0, 1.0)
