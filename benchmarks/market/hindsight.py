"""What later listings say an occasion brought, beside the truth: ``python -m benchmarks.market.hindsight``.

On a simulated market the expected proceeds of any item at any asking price are known. The tuning bench knows nothing
but later listings of the item; here its values are set beside the truth, at asking prices from low to high.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from benchmarks.market import engine
from benchmarks.market.config import AS_OF, DAYS, VARIANTS
from benchmarks.market.draw import CONDITIONS, FIRST, Market
from benchmarks.market.prospect import Deals, Prospect, deals_of, usual_gap
from benchmarks.market.run import World
from benchmarks.market.shapes import Floats
from sourcing.codes import style_key
from sourcing.comps.lookup import products_of_many
from sourcing.fitting import current_fit, fold, refit
from sourcing.settings import load_settings
from sourcing.storage import Store
from sourcing.tuning.hindsight import by_later_comps
from sourcing.tuning.occasions import Occasion
from sourcing.tuning.past import origins, past_fits
from sourcing.tuning.racks import draw
from sourcing.tuning.walk import walk

PLACES = (3, 8, 12, 16)  # of the asking prices tried, from low to high
_DAY0 = (AS_OF - date(1970, 1, 1)).days - DAYS


@dataclass(frozen=True)
class Compared:
    """Net proceeds of n occasions at the asking prices `PLACES`, (n, 4) each; ``later`` (n,) listings they rest on."""

    true: Floats
    valued: Floats
    error: Floats
    foretold: Floats
    later: Floats


def compare(variant: str, seed: int) -> Compared:
    """Draw occasions on one market, forecast them on their days, value them by later listings, and see the truth."""
    world = World(VARIANTS[variant], seed)
    with engine.loaded(world.spoilt) as store:
        refit(store)
        return _compared(world.market, store)


def _compared(market: Market, store: Store) -> Compared:
    fit, settings = current_fit(store), load_settings(store)
    assert fit is not None
    found = draw(store, settings, set(fit.categories))
    fits = past_fits(store, origins([one.day for one in found.occasions]), lambda share, words: None)
    walked = walk(found.occasions, found.rows, fits, settings, lambda share, words: None)
    products = products_of_many(store, {one.item.root or 0 for one in found.occasions})
    number = {style_key(code): at for at, code in enumerate(market.styles.words.code)}
    gap, deals = usual_gap(market), deals_of(market)
    rows: list[tuple[Floats, ...]] = []
    for category in fit.categories:
        places = [k for k, at in enumerate(walked.at) if fold(found.occasions[at].item.category) == category]
        here = [found.occasions[walked.at[k]] for k in places]
        comps = [found.rows[walked.at[k]] for k in places]
        values = by_later_comps(fit, category, here, comps, walked.ask[places], settings.for_category(category).terms)
        for j, (one, k) in enumerate(zip(here, places, strict=True)):
            style = number.get(style_key(products[one.item.root or 0].style_code))
            if style is None or one.item.condition not in CONDITIONS:
                continue  # a mistyped code, or a condition nobody wrote down: nobody knows what it truly is
            true = _truth(market, deals, gap, style, one, walked.ask[k])
            rows.append(
                (true, values.net[j], values.error[j], walked.mean_net[k], np.full(true.shape, values.later[j]))
            )
    true, valued, error, foretold, later = (np.array([row[at] for row in rows])[:, PLACES] for at in range(5))
    return Compared(true, valued, error, foretold, later[:, 0])


def _truth(market: Market, deals: Deals, gap: Floats, style: int, one: Occasion, ask: Floats) -> Floats:
    """Return the true expected net proceeds of an item listed on its day, at asking prices (K,)."""
    constants, day = market.constants, one.day - _DAY0
    category = int(market.styles.category[style])
    sizes = constants.sizes(category)
    offset = constants.condition[category, CONDITIONS.index(one.item.condition)]
    offset += constants.size[category][sizes.index(one.item.size)] if one.item.size in sizes else 0.0
    # The market as it looks from that day: its path and seasons moved so that the day stands for the as-of day.
    path = np.roll(constants.path, DAYS - day, axis=1) - constants.path[:, [day - FIRST]]
    then = replace(constants, path=path, season=np.roll(constants.season, DAYS - day, axis=1))
    level = market.level(np.array([style]), day) + offset
    speed = np.log(market.styles.speed[[style]])
    prospect = Prospect(then, deals, gap, np.array([category]), np.array([0.0]), level, speed)
    return np.asarray(prospect.profit(ask[None])[0] + deals.labour[category])


def main() -> None:
    """Print how far values and forecasts lie from the truth."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--variant", default="standard", choices=list(VARIANTS))
    parser.add_argument("--seeds", type=int, default=1)
    given = parser.parse_args()
    for seed in range(1, given.seeds + 1):
        found = compare(given.variant, seed)
        known = ~np.isnan(found.valued[:, 0])
        mean = found.true[known].mean(axis=0)
        off = found.valued[known] - found.true[known]
        print(f"{given.variant}, seed {seed}: {known.sum()} of {len(known)} occasions have a value")
        print("  true mean at asking prices from low to high:", np.round(mean, 2))
        print("  values over it, share:", np.round(off.mean(axis=0) / mean, 3))
        print("  forecasts over it, share:", np.round((found.foretold - found.true)[known].mean(axis=0) / mean, 3))
        print("  spread of values over their stated error:", np.round((off / found.error[known]).std(axis=0), 2))
        print("  left out, true mean over the others':", np.round(found.true[~known].mean(axis=0) / mean, 3))


if __name__ == "__main__":
    main()
