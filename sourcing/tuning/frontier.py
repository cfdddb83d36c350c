"""One category as one rule moves: what every threshold would have brought, the best, and whether that is told."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import numpy as np

from models.price import Floats
from models.resampling import resample
from sourcing.language import gettext
from sourcing.settings import CategorySettings
from sourcing.tuning import words
from sourcing.tuning.aims import FEWEST_BUYS, best, eligible, per_cash, per_hour, scorer
from sourcing.tuning.buys import Buys, Thresholds, buys, looked_at
from sourcing.tuning.grid import thresholds
from sourcing.tuning.nested import BAND, RESAMPLES, out_of_sample
from sourcing.tuning.occasions import EPOCH
from sourcing.tuning.replay import SOURCES, Flags, Replay
from sourcing.tuning.result import Band, Frontier, Gain, Point, Suggestion
from sourcing.tuning.tally import BUYS, CASH_YEARS, HOURS, OUTLAY, PROFIT, tally

FEWEST, FEWEST_STYLES = 60, 20  # occasions and items, below which nothing is concluded
_SEED = 956


def frontier(
    replay: Replay,
    deal: CategorySettings,
    category: str,
    rule: str,
    objective: str,
    left_out: dict[str, int],
    currency: str,
) -> Frontier:
    """Move one rule of a category over its thresholds, the other rules as they are."""
    today_value: Decimal | None = getattr(deal.rules, rule)
    seen, others = looked_at(replay, deal, rule)
    tried = thresholds(rule, seen[others], today_value)
    bought = buys(replay, deal, rule, tried)
    told = tally(replay, bought)
    today = tried.index(today_value)
    total = told.total
    allowed = eligible(total)
    score = scorer(objective, total)
    scores = score(total)
    drawn = resample(len(told.sums), RESAMPLES, _SEED)
    found = best(scores, allowed, today)
    sums = drawn.sums(told.sums, told.errors)
    days = int(replay.day[-1] - replay.day[0]) + 1
    drawn_source = bool((replay.source == SOURCES.index("drawn")).all())
    gain = _gain(replay, bought, today, objective, found)
    suggestion = None
    if gain.enough and found is not None and found != today:
        suggestion = Suggestion(
            category, rule, today_value, tried[found], objective,
            words.why(category, rule, tried[found], objective, gain, currency),
        )  # fmt: skip
    return Frontier(
        category=category,
        rule=rule,
        unit=words.UNITS[rule],
        meaning=gettext(words.MEANINGS[rule]),
        source="drawn" if drawn_source else "history",
        source_words=words.source(drawn_source, len(replay), replay.styles),
        occasions=len(replay),
        styles=replay.styles,
        by_own_outcome=int(replay.own.sum()),
        by_later_comps=int((~replay.own).sum()),
        first_day=EPOCH + timedelta(days=int(replay.day[0])),
        last_day=EPOCH + timedelta(days=int(replay.day[-1])),
        points=_points(tried, total, sums, days),
        today=today,
        best=found,
        best_range=_range(tried, score(sums), allowed, found),
        gain=gain,
        words=words.verdict(rule, objective, tried, today, found, gain, currency),
        left_out=words.said_left_out(left_out),
        suggestion=suggestion,
    )


def _points(tried: Thresholds, total: Floats, drawn: Floats, days: int) -> tuple[Point, ...]:
    """Put sums (G, COLUMNS) and resampled ones (B, G, COLUMNS) into points."""
    low, high = np.quantile(drawn, BAND, axis=0)
    ratios = [(each(total), _ends(each(drawn))) for each in (per_hour, per_cash)]
    year = 365.0 / days
    found = []
    for g, threshold in enumerate(tried):
        hour, cash = (_band(middle[g], ends[0][g], ends[1][g]) for middle, ends in ratios)
        found.append(
            Point(
                threshold,
                int(total[g, BUYS]),
                Band(float(low[g, PROFIT]), float(total[g, PROFIT]), float(high[g, PROFIT])),
                Band(*(float(one[g, CASH_YEARS] * year) for one in (low, total, high))),
                float(total[g, OUTLAY]),
                float(total[g, HOURS]),
                hour,
                cash,
            )
        )
    return tuple(found)


def _ends(drawn: Floats) -> tuple[Floats, Floats]:
    """Ends of the bands of ratios (B, G), over the resamples in which there is one: (G,) each, nan without."""
    ends = np.full((2, drawn.shape[1]), np.nan)
    for g in range(drawn.shape[1]):
        known = drawn[:, g][np.isfinite(drawn[:, g])]
        if len(known):
            ends[:, g] = np.quantile(known, BAND)
    return ends[0], ends[1]


def _band(middle: float, low: float, high: float) -> Band | None:
    return Band(float(low), float(middle), float(high)) if np.isfinite([middle, low, high]).all() else None


def _range(
    tried: Thresholds, scores: Floats, allowed: Flags, found: int | None
) -> tuple[Decimal | None, Decimal | None]:
    """Return the thresholds between which nine in ten resamples put the best."""
    if found is None:
        return (None, None)
    usable = np.where(allowed[None, :] & np.isfinite(scores), scores, -np.inf)
    low, high = np.quantile(usable.argmax(axis=1), BAND, method="nearest")
    return tried[int(low)], tried[int(high)]


def _gain(replay: Replay, bought: Buys, today: int, objective: str, found: int | None) -> Gain:
    if len(replay) < FEWEST or replay.styles < FEWEST_STYLES:
        why = gettext(
            "{occasions} occasions of {items} items have a known outcome; {fewest} of {fewest_items} are the fewest "
            "that say anything",
            occasions=len(replay),
            items=replay.styles,
            fewest=FEWEST,
            fewest_items=FEWEST_STYLES,
        )
        return Gain(False, why, None, None, None, None, 0, 0)
    if found is None and objective in ("per hour", "blend") and not replay.hours.any():
        why = gettext("your settings say that prep takes no time, so there is no profit per hour")
        return Gain(False, why, None, None, None, None, 0, 0)
    if found is None:
        why = gettext("no setting would have made {number} buys", number=FEWEST_BUYS)
        return Gain(False, why, None, None, None, None, 0, 0)
    scored = out_of_sample(replay, bought, today, objective)
    if scored is None:
        why = gettext("no setting made buys enough on the earlier days to choose by")
        return Gain(False, why, None, None, None, None, 0, 0)
    amount, profit = Band(*scored.amount), Band(*scored.profit)
    share = amount.mid / scored.today if scored.today > 0 else None
    enough = amount.low > 0
    why = "" if enough else gettext("the band of the gain over today's setting holds 0")
    return Gain(enough, why, amount, share, profit, scored.flattering, scored.folds, scored.occasions)
