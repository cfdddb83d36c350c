"""How one item's forecast came about: where its price level, speed and interval come from, in numbers and words."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, replace
from decimal import Decimal
from typing import Any

import numpy as np

from models.features import title_offset, words_of
from models.frailty import Mixture
from models.proceeds import by_price, survive
from models.season import spent
from models.speed import CUTS
from models.trend import slope_now
from sourcing.answer import Item, Query, Verdict
from sourcing.check import check
from sourcing.evidence import gather
from sourcing.explain_words import Section, change_of, sections
from sourcing.fitting import BUCKETS, CategoryFit, Fit, current_fit, fold
from sourcing.flags.marked import flagged
from sourcing.forecast import DAYS, Forecasts, forecast_group
from sourcing.language import gettext, gettext_noop
from sourcing.limits import Outlook, decide, limits
from sourcing.money import money_writer
from sourcing.outcomes.words import own_words
from sourcing.settings import CategorySettings, load_settings
from sourcing.storage import Store
from sourcing.verdict import figures, to_cents

# Names of sources are kept English; pages say them by gettext.
OWN_FIRST = (gettext_noop("own comps"), gettext_noop("title"), gettext_noop("brand"))
CATEGORY, ALL_CATEGORIES = gettext_noop("category"), gettext_noop("all categories")
_MOST_WORDS = 8  # of a title, the weightiest first
_MOST_TITLES = 20_000  # read to see how far titles differ within a category
_DEARER = 1.1
_WITHIN = 30.0  # days


@dataclass(frozen=True)
class Source:
    """What one source gives to the price level: its share of the precision (one over the variance), 0 to 1."""

    name: str
    share: float


@dataclass(frozen=True)
class Word:
    """By what share one word of the title moves the level before own comps: 0.1 is 10 % up."""

    word: str
    change: float


@dataclass(frozen=True)
class WhatIf:
    """The answer if one more sale at ``price`` were known."""

    price: Decimal
    median: Decimal  # of the next comparable sale
    most_worth_paying: Decimal | None  # None: no limit, or still too little to go on
    enough: bool  # whether there is enough to go on


@dataclass(frozen=True)
class Explanation:
    """Why one item's forecast is what it is; None where it is not known, shares as 0 to 1.

    Attributes
    ----------
    trend_a_year, ahead : by what share prices of the category move a year now, and until the next sale.
    speed : how many times as quick as the usual style, posterior mean. days_usual : until half of the usual style is
    sold at the asking price, held. chance_30, chance_30_dearer : sold within 30 days at the asking price held, and at
    one 10 % dearer. beyond : the asking price over the level lies beyond those the market showed. factor : of the
    interval's half-width against the model's own, for items of so many own sales.
    """

    item: Item
    currency: str
    verdict: Verdict
    sources: tuple[Source, ...] = ()
    words: tuple[Word, ...] = ()
    words_change: float = 0.0
    trend_a_year: float | None = None
    ahead: float | None = None
    speed: float | None = None
    days_usual: int | None = None
    chance_30: float | None = None
    chance_30_dearer: float | None = None
    beyond: bool | None = None
    factor: float | None = None
    what_if: tuple[WhatIf, ...] = ()
    sections: tuple[Section, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """Return a JSON-able mapping: money as text, dates as ISO 8601."""
        shown = {name: value for name, value in asdict(self).items() if name != "verdict"}
        found: dict[str, Any] = json.loads(json.dumps(shown, default=str))
        return {"decision": self.verdict.decision, **found}


def explain(store: Store, query: Query) -> Explanation:
    """Take one item's forecast apart; nothing is recorded.

    Raises
    ------
    BadInput
        The code cannot be one.
    """
    answer, fit, settings = check(store, query), current_fit(store), load_settings(store)
    blank = Explanation(answer.item, answer.currency, answer)
    if fit is None:
        said = Section(gettext("No forecast yet"), (answer.reason, answer.would_settle))
        return replace(blank, sections=(said,))
    evidence = gather(store, [query])
    item, rows = evidence.items[0], evidence.rows[0]
    category = fold(item.category)
    deal = flagged(settings.for_category(category), settings, item.flags)
    kin = fit.categories.get(category)
    bare = replace(item, title="")
    # The same item with ever less known of it: own comps, then title, then brand left out.
    less = [item, replace(bare, brand="", known=False)]
    now = forecast_group(fit, category, [item], [rows], deal.terms, deal.rules)
    known = forecast_group(fit, category, less, [[], []], deal.terms, deal.rules)
    extra = _titles_var(store, fit, category) if item.title else 0.0
    steps = np.maximum.accumulate([0.0, *(1.0 / (known.var[[1, 0]] + extra)), 1.0 / known.var[0], 1.0 / now.var[0]])
    shares = (np.diff(steps) / steps[-1])[::-1]
    names = (*OWN_FIRST, CATEGORY if kin else ALL_CATEGORIES)
    words = _words(fit, item, category)
    found = replace(
        blank,
        sources=tuple(Source(name, round(float(share), 4)) for name, share in zip(names, shares, strict=True)),
        words=words[:_MOST_WORDS],
        words_change=change_of(title_offset(fit.words, item.title, category)),
        trend_a_year=change_of(slope_now(np.array(kin.trend))) if kin else None,
        ahead=change_of(now.ahead),
        factor=round(fit.factors[int(np.searchsorted(np.array(BUCKETS), answer.comps_sold))], 3),
        what_if=_what_ifs(fit, category, kin, deal, item, rows, answer),
    )
    if now.speed_basis and answer.asking_price is not None:
        found = replace(found, **_speed(fit, now, kin))
    told = sections(found, fit, kin, now, money_writer(answer.currency, settings.locale))
    if own := own_words(now.seen, fit):
        told = (*told, Section(gettext("Your own sales"), own))
    return replace(found, sections=told)


def _titles_var(store: Store, fit: Fit, category: str) -> float:
    """How far titles spread the styles of a category, in log price squared: what a style without one lacks."""
    rows = store.read("SELECT category, title FROM product WHERE id = root LIMIT ?", (_MOST_TITLES,))
    said = [title_offset(fit.words, title, category) for name, title in rows if fold(name) == category]
    return float(np.var(said)) if len(said) > 1 else 0.0


def _words(fit: Fit, item: Item, category: str) -> tuple[Word, ...]:
    """Effects of the title's words, a word's own and its category's together, the weightiest first."""
    effects: dict[str, float] = {}
    for feature in words_of(item.title, category):
        word = feature.rpartition("\t")[2]
        effects[word] = effects.get(word, 0.0) + fit.words.get(feature, 0.0)
    moving = sorted((one for one in effects.items() if one[1]), key=lambda one: -abs(one[1]))
    return tuple(Word(word, change_of(effect)) for word, effect in moving)


def _speed(fit: Fit, now: Forecasts, kin: CategoryFit | None) -> dict[str, Any]:
    """Speed beside the usual style's, and chances of a sale with the asking price held."""
    # The days the forecast itself is read off: those of the price-cut plan end where it gives up.
    items, ask = now.prospects, now.of_choice(now.outcome.ask)[:, None]
    held = by_price(spent(now.rate, now.season, now.as_of, DAYS, CUTS), DAYS, np.ones(len(DAYS) - 1), items.drift)
    usual_a, usual_b, _ = Mixture(np.array(fit.mixture)).gamma(np.zeros_like(items.a), np.zeros_like(items.a))

    def sold(prospects: Any, at: Any) -> Any:
        return 1.0 - np.einsum("njt,nj->nt", survive(prospects, at, *held)[:, 0], prospects.weights)[0]

    usual = sold(replace(items, a=usual_a, b=usual_b), ask)
    over = float(np.log(ask[0, 0]) - now.mean[0])
    return {
        "speed": round(float((items.weights * items.a / items.b).sum() / (items.weights * usual_a / usual_b).sum()), 3),
        "days_usual": round(float(np.interp(0.5, usual, DAYS))) if _reached(now, usual) else None,
        "chance_30": round(float(np.interp(_WITHIN, DAYS, sold(items, ask))), 4),
        "chance_30_dearer": round(float(np.interp(_WITHIN, DAYS, sold(items, ask * _DEARER))), 4),
        "beyond": not kin.asks_seen[0] <= over <= kin.asks_seen[1] if kin else None,
    }


def _reached(now: Forecasts, sold: Any) -> bool:
    """Whether half is sold within what the data can speak of."""
    return bool(np.interp(now.horizon, DAYS, sold) >= 0.5)


def _what_ifs(
    fit: Fit,
    category: str,
    kin: CategoryFit | None,
    deal: CategorySettings,
    item: Item,
    rows: list[tuple[Any, ...]],
    answer: Verdict,
) -> tuple[WhatIf, ...]:
    """Forecast anew with one more sale, today, in the item's size and condition, at the 10, 50 and 90 % price.

    An item that is like nothing known has no such prices, and nothing is supposed of it.
    """
    if answer.sale_price is None:
        return ()
    prices = (answer.sale_price.low, answer.sale_price.mid, answer.sale_price.high)
    condition = item.condition or (kin.base_condition if kin else "")
    code = int(item.gtin) if item.gtin else None
    more = [
        [*rows, (1, code, None, int(price * 100), 0, None, fit.as_of, None, item.size, condition, "", "", "", "")]
        for price in prices
    ]
    items = [item] * len(prices)
    then = forecast_group(fit, category, items, more, deal.terms, deal.rules)
    all_of = figures(items, then)
    found = []
    for at, price in enumerate(prices):
        enough = deal.rules.least_comps is None or all_of.evidence[at] >= float(deal.rules.least_comps)
        chance = all_of.by_target[at] if then.speed_basis else None
        outlook = Outlook(all_of.mean_net[at], all_of.tied_days[at], chance, all_of.loss_net[at], all_of.evidence[at])
        most = decide(limits(deal.rules, deal.terms, outlook, None, None), None)[2] if enough else None
        found.append(WhatIf(price, to_cents(all_of.level[at][1]), most, enough))
    return tuple(found)
