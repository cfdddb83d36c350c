"""The main job: from a query to a verdict, one at a time or a whole list in one pass."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from decimal import Decimal
from functools import lru_cache
from typing import Any

import numpy as np

from models.depth import Copies
from sourcing import depth, verdict
from sourcing.answer import Query, Verdict
from sourcing.codes import parse_code
from sourcing.comps.version import COUNTS
from sourcing.errors import BadInput, SourcingError
from sourcing.fitting import current_fit
from sourcing.forecast import Forecasts
from sourcing.kept import Kept
from sourcing.language import spoken
from sourcing.limits import at_price, decide
from sourcing.money import money_writer
from sourcing.others import AtOthers, price_of_others
from sourcing.prospect import Prospect
from sourcing.prospect import prospects as prospects_of
from sourcing.settings import Settings, load_settings
from sourcing.storage import Store


def check(store: Store, query: Query, settings: Settings | None = None) -> Verdict:
    """Judge one item; nothing is recorded.

    A forecast does not depend on the shelf price, so it is kept until the next fit, load or change of settings: the
    next size of the same style, or a second look, is a comparison and a subtraction.

    Raises
    ------
    BadInput
        The code cannot be one.
    """
    if settings is not None:
        return judge(_alone(store, asked_without_price(query), settings), query)
    return judge(prospect_of(store, query, load_settings(store)), query)


def check_json(store: Store, query: Query, settings: Settings) -> bytes:
    """Judge one item under the settings in force and write the answer as JSON, as `Verdict.as_dict` has it.

    With ``at_others``, as `AtOthers.as_dict` has it. Nothing is recorded.

    Raises
    ------
    BadInput
        The code cannot be one.
    """
    prospect = prospect_of(store, query, settings)
    there = at_others(prospect, query)
    beside = b"null" if there is None else json.dumps(there.as_dict()).encode()
    return b'{%b, "at_others": %b, %b}' % (judge(prospect, query).changing_json(), beside, prospect.same)


def at_others(prospect: Prospect, query: Query) -> AtOthers | None:
    """Judge at the price others get, where a dearer one is advised; None where nothing stands beside the answer."""
    found, price = prospect.limits_at_others(query.discount), price_of_others(prospect.base)
    if found is None or price is None:
        return None
    return AtOthers(price, *decide(found, query.shelf_price))


def at_others_of(store: Store, query: Query, answer: Mapping[str, Any], settings: Settings) -> AtOthers | None:
    """Do as `at_others` for a kept answer (`Verdict.as_dict`), under today's settings.

    None where something was learnt since: the two would rest on different comps; and where a flag of it is gone.
    """
    fit = current_fit(store)
    if fit is None or fit.made_at.isoformat() != answer.get("fit_made_at"):
        return None
    try:
        return at_others(prospect_of(store, query, settings), query)
    except SourcingError:
        return None


def asked_without_price(query: Query) -> Query:
    """Return a query without what its forecast does not depend on."""
    return replace(query, shelf_price=None, discount=None)


def prospect_of(store: Store, query: Query, settings: Settings) -> Prospect:
    """Return what is kept of an item, or forecast it; the query's price and discount do not matter.

    Raises
    ------
    BadInput
        The code cannot be one.
    """
    asked = asked_without_price(query)
    stamp, key, known = stands_on(store, settings), (asked, spoken()), by_code(asked)
    prospect = kept.get(stamp, key) if known is None else kept.get(stamp, key, known)
    if prospect is None:
        prospect = _alone(store, asked, settings)
        kept.put(stamp, key, prospect)
    return prospect


_STAMP = f"SELECT (SELECT made_at FROM fit ORDER BY id DESC LIMIT 1), {COUNTS}"  # noqa: S608 - no value in it
kept = Kept()  # by the language too: it holds words


def by_code(asked: Query) -> tuple[str, ...] | None:
    """Return what a known item is kept by, however its code is typed; None where more than a code is asked."""
    return _named(asked.code, spoken()) if asked == Query(asked.code) else None


@lru_cache(maxsize=16_384)
def _named(code: str, language: str) -> tuple[str, ...] | None:
    try:
        found = parse_code(code)
    except BadInput:
        return None
    return (found.kind, found.gtin, found.style_key, found.note, language)


def forget() -> None:
    """Let go of every forecast that is kept."""
    kept.forget()


def stands_on(store: Store, settings: Settings) -> tuple[Any, ...]:
    """Return what every forecast rests on: it is worth keeping while this stays the same."""
    return (store.url, store.read_once(_STAMP)[0], settings, date.today())  # fees change by the day


def _alone(store: Store, asked: Query, settings: Settings) -> Prospect:
    """Forecast one item, its further copies too: too dear for every line of a list."""
    return each_alone(prospects_of(store, [asked], settings, True))[0]


def each_alone(found: list[Prospect]) -> list[Prospect]:
    """Give items forecast together their further copies, and part them, so that each can be let go of by itself."""
    copies: dict[int, Copies] = {}
    for one in found:
        if one.forecasts is not None and id(one.forecasts) not in copies:
            copies[id(one.forecasts)] = depth.further_copies(one.forecasts)
    parted = []
    for one in found:
        if one.forecasts is None or one.figures is None:
            parted.append(one)
            continue
        own, total = copies[id(one.forecasts)], one.forecasts.total_of(one.at)
        forecasts, figures = one.forecasts, one.figures
        if len(forecasts.mean) > 1:
            forecasts, figures, own = forecasts.of(one.at), figures.of(one.at), own.of(one.at)
        parted.append(replace(one, forecasts=forecasts, figures=figures, at=0, copies=own, total=total))
    return parted


def judge(prospect: Prospect, query: Query) -> Verdict:
    """Judge one item, its further copies too, by what is known of it; ``query`` says at which price and discount."""
    answer = _at_price(prospect, query, None, True)
    if prospect.copies is None:
        return answer
    write = money_writer(answer.currency, prospect.locale)
    copies = prospect.bounds(query.discount, write).copies
    return depth.with_copies(answer, copies, prospect.deal.terms, write)


def forecast_of(store: Store, query: Query) -> tuple[Forecasts, int] | None:
    """Return the forecast of one item and its place in it; None where there is too little to go on.

    Raises
    ------
    BadInput
        The code cannot be one.
    """
    prospect = prospect_of(store, query, load_settings(store))
    if prospect.forecasts is None or prospect.base.decision == "too little to go on":
        return None
    return prospect.forecasts, prospect.at


def check_list(
    store: Store, queries: Sequence[Query], settings: Settings | None = None, *, detail: bool = True
) -> list[Verdict]:
    """Judge many items in one vectorised pass per category, in the order given.

    Without ``detail`` the comps, the trade-off of asking prices, the receipt and the curve are left out: a list of
    thousands shows none of them, and building them costs more than the forecast.
    """
    prospects = prospects_of(store, queries, settings or load_settings(store), detail)
    losses = _losses(queries, prospects)
    return [_at_price(*one, detail) for one in zip(prospects, queries, losses, strict=True)]


def _losses(queries: Sequence[Query], prospects: list[Prospect]) -> list[float | None]:
    """Chance of loss of every item that has a shelf price, one pass a category."""
    losses: list[float | None] = [None] * len(queries)
    groups: dict[int, list[int]] = {}
    for at, (query, prospect) in enumerate(zip(queries, prospects, strict=True)):
        if prospect.forecasts is not None and query.shelf_price is not None:
            groups.setdefault(id(prospect.forecasts), []).append(at)
    for members in groups.values():
        forecasts = prospects[members[0]].forecasts
        assert forecasts is not None
        spent = np.zeros(len(forecasts.mean))
        for at in members:
            spent[prospects[at].at] = _spent(prospects[at], queries[at])[1]
        chance = forecasts.chance_of_loss(spent).tolist()
        for at in members:
            losses[at] = chance[prospects[at].at]
    return losses


def _spent(prospect: Prospect, query: Query) -> tuple[Decimal, float, float]:
    """Return landed cost; all that was spent, cash tied up and labour included; the same before labour."""
    terms, figures = prospect.deal.terms, prospect.figures
    assert figures is not None
    assert query.shelf_price is not None
    landed = terms.landed(query.shelf_price, query.discount)
    hold = float(landed) * (1.0 + float(terms.capital_rate) * figures.tied_days[prospect.at] / 365.0)
    return landed, hold + float(terms.labour()), hold


def _at_price(prospect: Prospect, query: Query, loss: float | None, detail: bool) -> Verdict:
    """Compare the shelf price with the limits; a comparison and a few subtractions, nothing of the market."""
    base, figures, at, shelf = prospect.base, prospect.figures, prospect.at, query.shelf_price
    if base.decision == "too little to go on" or figures is None or prospect.forecasts is None:
        landed = None if shelf is None else prospect.deal.terms.landed(shelf, query.discount)
        return base.but({"query": query, "shelf_price": shelf, "landed_cost": landed})
    terms = prospect.deal.terms
    mean_net = figures.mean_net[at]
    # Lists show no sentence, and writing amounts the locale's way costs more than the verdict.
    write = money_writer(base.currency, prospect.locale) if detail else str
    bounds = prospect.bounds(query.discount, write)
    found = at_price(bounds.limits, shelf)
    decision, binding, most = decide(found, shelf)
    values: dict[str, Any] = {
        "query": query,
        "decision": decision,
        "binding_rule": binding,
        "most_worth_paying": most,
        "limits": found,
        "receipt": terms.receipt(base.asking_price, shelf) if detail and base.asking_price is not None else (),
        "reason": verdict.reason(decision, binding, most, shelf, bounds.meanings, write),
    }
    if shelf is not None:
        landed, spent, hold = _spent(prospect, query)
        if loss is None:
            total = prospect.total or prospect.forecasts.total_of(at)
            loss = prospect.forecasts.costs.chance_short(spent, total.below)
        hours = float(terms.prep_minutes) / 60.0
        values |= {
            "shelf_price": shelf,
            "landed_cost": landed,
            "profit_before_labour": verdict.to_cents(mean_net - hold),
            "profit_after_labour": verdict.to_cents(mean_net - spent),
            "profit": verdict.spread(value - spent for value in figures.net_quantiles[at]),
            "profit_per_hour": verdict.to_cents((mean_net - hold) / hours) if hours > 0 else None,
            "chance_of_loss": round(loss, 4),
            "break_even_sale": terms.break_even_sale(landed),
        }
    return base.but(values)
