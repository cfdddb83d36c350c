"""The long work: collect the occasions, walk forward through them, value them, and keep the result."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from decimal import Decimal
from typing import Any

import numpy as np

from sourcing.answer import Query
from sourcing.comps.version import data_version
from sourcing.errors import BadInput
from sourcing.fitting import VERSION as FIT_VERSION
from sourcing.fitting import Fit, current_fit, fold
from sourcing.flags.marked import flagged
from sourcing.language import gettext, gettext_noop
from sourcing.settings import Settings, load_settings
from sourcing.storage import Store
from sourcing.terms import Terms
from sourcing.tuning import kept
from sourcing.tuning.hindsight import by_later_comps
from sourcing.tuning.known import Row
from sourcing.tuning.occasions import Found, Occasion, day_text, from_history
from sourcing.tuning.outcomes import NoOutcomes, Outcomes
from sourcing.tuning.own import of_stock
from sourcing.tuning.past import drop_past_fits, origins, past_fits
from sourcing.tuning.racks import described, draw
from sourcing.tuning.replay import SOURCES, Replay, Replays
from sourcing.tuning.walk import Walked, walk

VERSION = 1  # of what a replay is made of
FEWEST = 60  # valued occasions of a category's own history; with fewer, occasions are drawn for it
FOLLOWED = 30  # days an occasion must lie before the newest comps, or nothing can have come of it yet
NO_FIT = gettext_noop("too little was known by its day to forecast anything")
Tell = Callable[[float, str], None]
_NOBODY = NoOutcomes()


def is_prepared(store: Store, outcomes: Outcomes | None = None) -> bool:
    """Tell whether `prepare` would return at once."""
    fit, settings = current_fit(store), load_settings(store)
    if fit is None:
        return False
    told = of_stock(store, settings, fit.as_of) if outcomes is None else outcomes
    return kept.holds(store, "occasions", _stand(store, settings, fit, told, ()))


def prepare(
    store: Store,
    on_progress: Tell | None = None,
    *,
    candidates: Sequence[tuple[int, Query]] = (),
    outcomes: Outcomes | None = None,
    settings: Settings | None = None,
) -> Replays:
    """Replay the history, or return the replay that is kept, which stands until comps, checks or terms change.

    Parameters
    ----------
    on_progress : told the share done and what goes on; it may raise to stop the work, and nothing is kept then.
    candidates : more occasions, as (day since 1970-01-01, query with a shelf price).
    outcomes : what became of items that were bought; what the stock knows of them when left out.
    settings : in place of those in force.

    Raises
    ------
    BadInput
        The table holds no sale yet.
    """
    tell = on_progress or (lambda share, words: None)
    settings = settings or load_settings(store)
    fit = current_fit(store)
    if fit is None:
        raise BadInput(
            gettext("There is nothing to replay: the table holds no sale."),
            gettext("Comps with days on which they were listed and sold."),
            gettext("Load a file of past sales on the Comps page."),
        )
    outcomes = of_stock(store, settings, fit.as_of) if outcomes is None else outcomes
    stand = _stand(store, settings, fit, outcomes, candidates)
    found = kept.find(store, "occasions", stand)
    if found is not None:
        return Replays.unpack(*found)
    parts, left_out = _replayed(store, settings, fit, candidates, outcomes, tell)
    packed = Replays(fit.made_at, fit.as_of, parts, left_out).pack()
    made_at = kept.keep(store, "occasions", stand, packed)
    kept.drop_others(store, "occasions", [stand])
    tell(1.0, gettext("Done"))
    return Replays(made_at, fit.as_of, parts, left_out)


def _replayed(
    store: Store, settings: Settings, fit: Fit, candidates: Sequence[tuple[int, Query]], outcomes: Outcomes, tell: Tell
) -> tuple[dict[str, Replay], dict[str, dict[str, int]]]:
    tell(0.0, gettext("Looking through the history"))
    until = fit.as_of - FOLLOWED
    history = from_history(store, until, candidates)
    days: set[int] = set()
    parts: dict[str, Replay] = {}
    left_out: dict[str, dict[str, int]] = {}
    enough = False
    if history.occasions:
        parts, left_out = _value(store, settings, fit, history, outcomes, days, _part(tell, 0.0, 0.4))
        left_out.setdefault("", {}).update(history.left_out)
        enough = all(len(parts.get(name, ())) >= FEWEST for name in fit.categories)
    if not enough:
        thin = {name for name in fit.categories if len(parts.get(name, ())) < FEWEST}
        drawn = draw(store, settings, thin)
        more, missing = _value(
            store, settings, fit, drawn, _NOBODY, days, _part(tell, 0.4 if history.occasions else 0.0, 1.0)
        )
        for name, one in more.items():
            if len(one) > len(parts.get(name, ())):
                parts[name], left_out[name] = one, missing.get(name, {})
    drop_past_fits(store, days)
    return dict(sorted(parts.items())), left_out


def _part(tell: Tell, low: float, high: float) -> Tell:
    return lambda share, words: tell(low + share * (high - low), words)


def _value(
    store: Store, settings: Settings, fit: Fit, found: Found, outcomes: Outcomes, days: set[int], tell: Tell
) -> tuple[dict[str, Replay], dict[str, dict[str, int]]]:
    """Walk through occasions and value them: the replay, and what was left out, of each category.

    The days that were fitted on are added to ``days``.
    """
    fits = past_fits(store, origins([one.day for one in found.occasions]), _part(tell, 0.0, 0.7))
    days.update(fits.days)
    walked = walk(found.occasions, found.rows, fits, settings, _part(tell, 0.7, 0.9))
    left_out: dict[str, dict[str, int]] = {}
    gone = set(range(len(found.occasions))) - set(walked.at.tolist())
    for at in gone:
        _count(left_out, fold(found.occasions[at].item.category), NO_FIT)
    groups: dict[tuple[str, tuple[str, ...]], list[int]] = {}
    for place, at in enumerate(walked.at.tolist()):
        item = found.occasions[at].item
        groups.setdefault((fold(item.category), item.flags), []).append(place)
    parts: dict[str, list[Replay]] = {}
    for number, ((category, flags), places) in enumerate(groups.items()):
        tell(0.9 + 0.1 * number / len(groups), gettext("Looking at what became of them"))
        here = [found.occasions[walked.at[place]] for place in places]
        rows = [found.rows[walked.at[place]] for place in places]
        terms = flagged(settings.for_category(category), settings, flags).terms
        one, why = _replay(fit, terms, category, here, rows, walked, np.array(places), outcomes)
        for reason in why:
            _count(left_out, category, reason)
        if len(one):
            parts.setdefault(category, []).append(one)
    return {category: Replay.joined(few) for category, few in parts.items()}, left_out


def _count(left_out: dict[str, dict[str, int]], category: str, why: str) -> None:
    mine = left_out.setdefault(category, {})
    mine[why] = mine.get(why, 0) + 1


def _replay(
    fit: Fit,
    terms: Terms,
    category: str,
    here: list[Occasion],
    rows: list[list[Row]],
    walked: Walked,
    places: Any,
    outcomes: Outcomes,
) -> tuple[Replay, list[str]]:
    values = by_later_comps(fit, category, here, rows, walked.ask[places], terms)
    own = outcomes.of_checks([one.check_id for one in here if one.check_id is not None])
    mine = [own.get(one.check_id) if one.check_id is not None else None for one in here]
    net, days, error = values.net.copy(), values.days.copy(), values.error.copy()
    for at, outcome in enumerate(mine):
        if outcome is not None:
            net[at], days[at], error[at] = float(outcome.net), float(max(outcome.days, 0)), 0.0
    shelf = [walked.shelf[place] for place in places]
    landed = [_cents(terms.landed(price, one.discount)) for price, one in zip(shelf, here, strict=True)]
    least = [_cents(terms.landed(Decimal("0.01"), one.discount)) for one in here]
    count = len(here)
    whole = Replay(
        day=np.array([one.day for one in here], dtype=np.int64),
        style=np.array([_style(one, at) for at, one in enumerate(here)], dtype=np.int64),
        source=np.array([SOURCES.index(one.source) for one in here], dtype=np.int64),
        own=np.array([outcome is not None for outcome in mine], dtype=bool),
        landed=np.array(landed, dtype=np.int64),
        least=np.array(least, dtype=np.int64),
        labour=np.full(count, float(terms.labour())),
        rate=np.full(count, float(terms.capital_rate)),
        hours=np.full(count, float(terms.prep_minutes) / 60.0),
        evidence=walked.evidence[places],
        timed=walked.timed[places],
        ask=walked.ask[places],
        mean_net=walked.mean_net[places],
        mean_days=walked.mean_days[places],
        by_target=walked.by_target[places],
        loss=walked.loss[places],
        net=net,
        days=days,
        error=error,
    )
    told = np.asarray(~np.isnan(net).any(axis=1))
    why = [reason for reason, known in zip(values.why, told.tolist(), strict=True) if not known]
    return whole.of(told), why


def _style(one: Occasion, at: int) -> int:
    """Number of the item; one without a product of its own stands alone."""
    return one.item.root if one.item.root is not None else -1 - at


def _cents(amount: Decimal) -> int:
    return int(amount * 100)


def _stand(
    store: Store, settings: Settings, fit: Fit, outcomes: Outcomes, candidates: Sequence[tuple[int, Query]]
) -> kept.Stand:
    """Say what a replay stands on: the comps, the history, and of the settings all but the rules.

    Checks too recent to be valued are no part of it, or every check would call for another walk.
    """
    before = day_text(fit.as_of - FOLLOWED + 1)
    history = store.read(
        "SELECT count(*), coalesce(max(c.id), 0), (SELECT count(DISTINCT i.check_id) FROM haul_item i"
        " JOIN checked h ON h.id = i.check_id WHERE i.undone_at IS NULL AND h.at < ?) FROM checked c WHERE c.at < ?",
        (before, before),
    )[0]
    names = ["", *sorted(settings.categories)]
    terms = [(name, _terms_of(settings, name)) for name in names]
    told = repr((terms, settings.flags, settings.learnt.by_flag, settings.currency, list(candidates), outcomes.stamp()))
    return {
        "version": [VERSION, FIT_VERSION],
        "comps": data_version(store),
        "history": history,
        "settings": hashlib.sha256(told.encode()).hexdigest(),
    }


def _terms_of(settings: Settings, name: str) -> tuple[Any, ...]:
    deal = settings.for_category(name)
    return deal.terms, deal.rules.target_days, described(settings, name)
