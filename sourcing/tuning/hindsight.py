"""What really came of an occasion: its own sale where it was bought, else what later listings of the item showed.

Every later listing of the item is one way it could have gone: the same listing at your asking price, under your cuts,
given up on your day (see `models.replayed`). What it would have brought follows from when it would have sold; what is
given up brings its share of the price later ones sold for. Where none was listed later nothing is said.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from models.price import Floats, Ints
from models.proceeds import Plan
from models.replayed import Thresholds, thresholds
from models.response import read
from models.season import spent, usual_pace
from models.speed import CUTS, pieces_exposure
from sourcing.fitting import CategoryFit, Fit, fold
from sourcing.flags.footing import footing
from sourcing.forecast import costs_of
from sourcing.kin import pooled
from sourcing.language import gettext_noop
from sourcing.observations import Observations, observe
from sourcing.terms import Terms
from sourcing.tuning.known import Row, begun_between
from sourcing.tuning.occasions import Occasion

_LEAST_SEEN = 0.5  # of one usual sale that later listings could have shown by now, sold or not


@dataclass(frozen=True)
class Values:
    """What n occasions brought at each of K asking prices; money as floats, nan where nothing is known.

    Attributes
    ----------
    net : (n, K) net proceeds, before labour and purchase. days : (n, K) until sold or given up. error : (n, K) standard
    error of ``net`` as what this item brings on average. later : (n,) later listings it rests on. why : of each
    occasion that has no value, why not; "" where it has one.
    """

    net: Floats
    days: Floats
    error: Floats
    later: Ints
    why: tuple[str, ...]


# Why nothing is known: kept as they are, said by gettext where they are shown.
NO_LATER = gettext_noop("no later listing of the item shows what became of it")
TOO_RECENT = gettext_noop("later listings of the item are too recent to show what became of it")


def by_later_comps(
    fit: Fit, category: str, occasions: Sequence[Occasion], rows: Sequence[list[Row]], ask: Floats, terms: Terms
) -> Values:
    """Value occasions of one category by the listings of the same item begun after each, until the day of giving up.

    Parameters
    ----------
    fit : made of all that is known now. rows : every comp of each occasion's item. ask : (n, K) first asking prices.
    """
    kin = fit.categories.get(fold(category)) or pooled(fit)
    plan = Plan(
        tuple((day, float(cut)) for day, cut in terms.plan.cuts), terms.plan.give_up_day, float(terms.plan.salvage)
    )
    later = [begun_between(few, one.day, one.day + plan.give_up) for one, few in zip(occasions, rows, strict=True)]
    items = [one.item for one in occasions]
    seen = observe(fit, kin, items, later)
    flags = footing(fit, category, kin, items, later, seen.suspect)
    if flags is not None:
        seen = replace(seen, gap=seen.gap + flags.gap(seen.owner))
    level = _levels(kin, seen, len(occasions))
    paths = _Paths(fit, kin, seen, level) if kin.rate is not None else None
    shape = ask.shape
    net, days, error = (np.full(shape, np.nan) for _ in range(3))
    count, why = np.zeros(len(occasions), dtype=np.int64), []
    for at, one in enumerate(occasions):
        mine = slice(int(seen.start[at]), int(seen.start[at + 1]))
        told = _told(paths, seen, mine, level[at])
        if isinstance(told, str):
            why.append(told)
            continue
        why.append("")
        count[at] = told.listings
        if told.path is None or paths is None:
            net[at], days[at], error[at] = _by_sales(kin, seen, mine, terms)
        else:
            net[at], days[at], error[at] = _by_paths(kin, told.path, paths, plan, terms, one.day, ask[at], level[at])
    return Values(net, days, error, count, tuple(why))


@dataclass(frozen=True)
class _Told:
    listings: int
    path: Thresholds | None


class _Paths:
    """Hazard that later listings have spent, and could have by now, each at its own asking price: (M,) each."""

    def __init__(self, fit: Fit, kin: CategoryFit, seen: Observations, level: Floats) -> None:
        self.rate, self.season, self.response = np.array(kin.rate), np.array(kin.season), np.array(kin.response)
        x = seen.asked - seen.gap - level[seen.owner] if len(seen.owner) else np.zeros(0)
        answer = np.exp(read(self.response, np.where(np.isnan(x), kin.ask[0], x)))
        self.use: NDArray[np.bool_] = ~np.isnan(seen.days) & ~seen.suspect
        self.spent = self._base(seen.listed, seen.days) * answer
        self.possible = self._base(seen.listed, np.maximum(fit.as_of - seen.listed, 0.5)) * answer

    def _base(self, listed: Floats, days: Floats) -> Floats:
        if not len(days):
            return np.zeros(0)
        sound = np.where(np.isnan(days), 0.5, days)
        start = np.where(np.isnan(listed), 0.0, listed)
        return np.asarray(pieces_exposure(sound) @ self.rate * usual_pace(self.season, start, start + sound))


def _told(paths: _Paths | None, seen: Observations, mine: slice, level: float) -> _Told | str:
    if mine.stop == mine.start or np.isnan(level):
        return NO_LATER
    if paths is None:  # no listing dates at all: what it sold for is known, not how soon
        sales = int((seen.sold & seen.priced & ~seen.suspect)[mine].sum())
        return _Told(sales, None) if sales else NO_LATER
    use = paths.use[mine]
    if not use.any():
        return NO_LATER
    # Whether enough could be seen must not depend on what was: a quick sale would count where a slow one did not.
    if float(-np.expm1(-paths.possible[mine][use]).sum()) < _LEAST_SEEN:
        return TOO_RECENT
    sold = seen.sold[mine][use].astype(np.float64)
    return _Told(int(use.sum()), thresholds(paths.spent[mine][use], sold))


def _levels(kin: CategoryFit, seen: Observations, count: int) -> Floats:
    """Log of what each item sold for later, in its condition; by what was asked where none sold; nan without either."""
    price = seen.price - seen.gap - np.where(seen.sold, 0.0, kin.ask[0])
    found = np.full(count, np.nan)
    sound = seen.priced & ~seen.suspect
    for at in range(count):
        mine = slice(int(seen.start[at]), int(seen.start[at + 1]))
        few, sold = price[mine], seen.sold[mine]
        for use in (sound[mine] & sold, sound[mine]):
            if use.any():
                found[at] = float(np.median(few[use]))
                break
    return found


def _by_paths(
    kin: CategoryFit, path: Thresholds, paths: _Paths, plan: Plan, terms: Terms, day: int, ask: Floats, level: float
) -> tuple[Floats, Floats, Floats]:
    """Net proceeds, days and standard error at K asking prices, by the thresholds of the later listings."""
    costs = costs_of(terms)
    edges, factor = plan.nodes()
    base = np.diff(spent(paths.rate, paths.season, day, edges, CUTS))
    x = np.log(ask)[:, None] - level + np.log(factor)
    hazard = np.concatenate([np.zeros((len(ask), 1)), np.cumsum(base * np.exp(read(paths.response, x)), axis=1)], 1)
    total = ask[:, None] * factor * np.exp(kin.haggle[0] + kin.haggle[1] ** 2 / 2)
    rest = np.full((len(ask), 1), plan.salvage * np.exp(level))
    brings = np.concatenate([costs.net(total), costs.net(rest)], axis=1)
    middle = np.append((edges[:-1] + edges[1:]) / 2, plan.give_up)

    def shares(alive: Floats) -> Floats:
        return np.concatenate([alive[:, :-1] - alive[:, 1:], alive[:, -1:]], axis=1)

    mass = shares(path.unsold(hazard))
    net = (mass * brings).sum(axis=1)
    # One path's spread by its smooth curve: the steps of a single sale would have none.
    smooth = shares(np.exp(-path.rate * hazard))
    mean = (smooth * brings).sum(axis=1)
    spread = (smooth * (brings - mean[:, None]) ** 2).sum(axis=1)
    return net, mass @ middle, np.sqrt(spread / path.seen)


def _by_sales(kin: CategoryFit, seen: Observations, mine: slice, terms: Terms) -> tuple[float, float, float]:
    """Net proceeds by the prices of later sales alone, the days being the settings' own assumption."""
    use = (seen.sold & seen.priced & ~seen.suspect)[mine]
    paid = np.exp((seen.price - seen.gap)[mine][use])
    error = float(np.mean(paid)) * float(np.sqrt(kin.sigma2 / len(paid)))
    return float(np.mean(costs_of(terms).net(paid))), float(terms.assumed_days), error
