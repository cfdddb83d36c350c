"""How one item's forecast came about: where its price level, speed and interval come from, in numbers and words."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, replace
from datetime import date
from decimal import Decimal
from typing import Any

import numpy as np

from models.features import title_offset, words_of
from models.frailty import Mixture
from models.proceeds import by_price, survive
from models.season import spent
from models.speed import CUTS
from models.trend import curve_at, slope_now
from sourcing.answer import Item, Query, Verdict
from sourcing.check import check
from sourcing.evidence import gather
from sourcing.fitting import BUCKETS, CategoryFit, Fit, current_fit, fold
from sourcing.forecast import DAYS, Forecasts, forecast_group
from sourcing.limits import Outlook, decide, limits
from sourcing.money import money_writer
from sourcing.settings import CategorySettings, load_settings
from sourcing.storage import Store
from sourcing.verdict import figures, to_cents, to_day

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
class Section:
    """A heading and its sentences."""

    heading: str
    sentences: tuple[str, ...]


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
        said = Section("No forecast yet", (answer.reason, answer.would_settle))
        return replace(blank, sections=(said,))
    evidence = gather(store, [query])
    item, rows = evidence.items[0], evidence.rows[0]
    category = fold(item.category)
    deal, kin = settings.for_category(category), fit.categories.get(category)
    bare = replace(item, title="")
    # The same item with ever less known of it: own comps, then title, then brand left out.
    less = [item, replace(bare, brand="", known=False)]
    now = forecast_group(fit, category, [item], [rows], deal.terms, deal.rules)
    known = forecast_group(fit, category, less, [[], []], deal.terms, deal.rules)
    extra = _titles_var(store, fit, category) if item.title else 0.0
    steps = np.maximum.accumulate([0.0, *(1.0 / (known.var[[1, 0]] + extra)), 1.0 / known.var[0], 1.0 / now.var[0]])
    shares = (np.diff(steps) / steps[-1])[::-1]
    names = ("own comps", "title", "brand", "category" if kin else "all categories")
    words = _words(fit, item, category)
    found = replace(
        blank,
        sources=tuple(Source(name, round(float(share), 4)) for name, share in zip(names, shares, strict=True)),
        words=words[:_MOST_WORDS],
        words_change=_change(title_offset(fit.words, item.title, category)),
        trend_a_year=_change(slope_now(np.array(kin.trend))) if kin else None,
        ahead=_change(now.ahead),
        factor=round(fit.factors[int(np.searchsorted(np.array(BUCKETS), answer.comps_sold))], 3),
        what_if=_what_ifs(fit, category, kin, deal, item, rows, answer),
    )
    if now.speed_basis and answer.asking_price is not None:
        found = replace(found, **_speed(fit, now, kin))
    return replace(found, sections=_sections(found, fit, kin, now, money_writer(answer.currency, settings.locale)))


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
    return tuple(Word(word, _change(effect)) for word, effect in moving)


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
    """Forecast anew with one more sale, today, in the item's size and condition, at the 10, 50 and 90 % price."""
    assert answer.sale_price is not None
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


def _sections(found: Explanation, fit: Fit, kin: CategoryFit | None, now: Forecasts, write: Any) -> tuple[Section, ...]:
    """Say it in plain words."""
    answer, made = found.verdict, []
    own, title, brand, rest = found.sources
    if own.share > 0:
        first = f"Its own comps give {_per_cent(own.share)} of what is known of the price level"
        given = f"the title {_per_cent(title.share)}, the brand {_per_cent(brand.share)}, {_named(rest)}"
        made.append(f"{first}; {given} {_per_cent(rest.share)}.")
    else:
        kin_given = [f"the {one.name} ({_per_cent(one.share)})" for one in (title, brand) if one.share > 0]
        last = "the category" if kin else "the average of every category you have comps of"
        all_of = " and ".join([", ".join(kin_given), f"{last} ({_per_cent(rest.share)})"] if kin_given else [last])
        made.append(f"No comps of its own speak for the price: it is guessed from {all_of}.")
        if not found.item.known and found.item.suggestions:
            made.append(f"Close known codes: {', '.join(found.item.suggestions)}. If one is meant, ask with it.")
        if answer.decision != "too little to go on":  # which says itself what would settle it
            made.append("One recent sale of this very item would tell more than all of that; the table says how much.")
    if found.words:
        each = ", ".join(f"“{one.word}” {_signed(one.change)}" for one in found.words)
        made.append(f"Words of the title moved the starting level by {_signed(found.words_change)} in all: {each}.")
    else:
        still = "No word of the title moved the starting level."
        made.append(still if found.item.title else "It has no title that could move the starting level.")
    sections = [Section("Where the price level comes from", tuple(made))]
    sections.append(Section("Brought to today", _moved(found, kin, now)))
    aside = [one for one in answer.comps if one.set_aside]
    if aside:
        priced = [(one.paid if one.status == "sold" else one.asking_price, one.set_aside) for one in aside]
        said = [f"{write(amount)}: {why}." for amount, why in priced if amount is not None]
        if (mute := len(aside) - len(said)) > 0:
            said.append(f"{mute} of its listings {'names' if mute == 1 else 'name'} no price.")
        sections.append(Section("Set aside", tuple(said)))
    sections.append(Section("How quick it is", _quick(found, now, write)))
    if fit.rests_on.get("held_out_coverage_80") is None:
        sure = (
            f"Too few later sales to check against: the range shown is {found.factor:.2f} times as wide as the model's."
        )
    else:
        sure = (
            f"Later sales held back called for a range {found.factor:.2f} times as wide as the model's own for an "
            "item with as many own sales; the range shown is that wide."
        )
    sections.append(Section("How sure", (sure,)))
    if answer.decision == "too little to go on":
        sections.append(Section("Too little to go on", (answer.reason, answer.would_settle)))
    newest = fit.rests_on.get("newest")
    day = to_day(newest)
    sections.append(
        Section(
            "What the fit rests on",
            (
                f"{fit.rests_on['comps']:,} comps, {fit.rests_on['sold']:,} of them sold, "
                f"{_on(day)}; fitted {fit.made_at:%Y-%m-%d %H:%M} UTC.",
                f"Of this item: {answer.rests_on}",
            ),
        )
    )
    return tuple(sections)


def _moved(found: Explanation, kin: CategoryFit | None, now: Forecasts) -> tuple[str, ...]:
    seen = now.seen
    used = (now.weight > 0) & ~now.aside
    if kin is None or found.trend_a_year is None:
        return ("Its category is not known, so that no trend, condition or size is allowed for.",)
    made = [
        f"Prices of its category move by {_signed(found.trend_a_year)} a year now, "
        f"and {_signed(found.ahead or 0.0)} until the next sale."
    ]
    sales = used & seen.sold
    if sales.any():
        shift = _change(float(-np.mean(curve_at(np.array(kin.trend), seen.age[sales]))))
        made.append(f"Its own sales were moved by {_signed(shift)} on average to today's level.")
        if (undated := int((sales & np.isnan(seen.when)).sum())) > 0:
            made.append(f"{undated} of them carry no date and count as half a year old.")
    gaps = seen.gap[used]
    if (other := int((np.abs(gaps) > 1e-9).sum())) > 0:
        moved = _change(float(-gaps[np.abs(gaps) > 1e-9].mean()))
        made.append(f"{other} of its comps are in another condition and were moved by {_signed(moved)} on average.")
    elif used.any():
        made.append("No comp needed moving for its condition.")
    if used.any():
        same, every = int((seen.same_size & used).sum()), int(used.sum())
        made.append(
            f"{same} of {every} are of the size asked for; the others count for less, their prices are not moved."
            if found.item.size
            else "No size was asked for, so every comp counts as of another size: a little less, its price not moved."
        )
    return tuple(made)


def _quick(found: Explanation, now: Forecasts, write: Any) -> tuple[str, ...]:
    answer = found.verdict
    if not now.speed_basis:
        return ("The comps carry no listing dates, so its speed is not known; your own assumption stands in.",)
    if found.speed is None or answer.asking_price is None:
        return ("With too little to go on no asking price is chosen, and no time to sell foretold.",)
    dated = ~np.isnan(now.seen.days) & ~now.aside & ~now.seen.suspect
    sold = int((dated & now.seen.sold).sum())
    from_what = f"from at most {sold} sold and {int(dated.sum()) - sold} unsold listings of its own with dates"
    ask = write(answer.asking_price)
    usual = (
        f"in {found.days_usual} days"
        if found.days_usual is not None
        else f"not within the {min(now.horizon, DAYS[-1]):.0f} days the comps can speak of"
    )
    made = [
        f"It sells {found.speed:.2f} times as quickly as the usual style, {from_what}."
        if dated.any()
        else "No listing of its own carries dates: it is taken to be as quick as the usual style, which is unsure.",
        f"Half of the usual style would be sold at {ask} {usual}, the asking price held.",
        f"Asking 10 % more takes the chance of a sale within 30 days from {_per_cent(found.chance_30 or 0.0)} to "
        f"{_per_cent(found.chance_30_dearer or 0.0)}.",
    ]
    if found.beyond:
        made.append(f"Asking {ask} lies beyond what the market showed; the chance there is extrapolated, with care.")
    elif found.beyond is False:
        made.append(f"Asking {ask} lies within what the market showed of this category.")
    return tuple(made)


def _named(source: Source) -> str:
    return source.name if source.name.startswith("all ") else f"the {source.name}"


def _change(log: float) -> float:
    return round(float(np.expm1(log)), 4)


def _per_cent(share: float) -> str:
    if 0 < share < 0.01:
        return "under 1 %"
    return "over 99 %" if 0.99 < share < 1 else f"{share * 100:.0f} %"


def _signed(change: float) -> str:
    return f"{change * 100:+.1f} %"


def _on(day: date | None) -> str:
    return f"the newest sale of {day.isoformat()}" if day else "none of them dated"
