"""An explanation in plain words: one section a subject, each a few sentences with their figures."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING

import numpy as np

from models.robust import Z90
from models.trend import curve_at
from sourcing.fitting import CategoryFit, Fit
from sourcing.forecast import DAYS, Forecasts
from sourcing.verdict import to_day

if TYPE_CHECKING:
    from sourcing.explain import Explanation, Source

Write = Callable[[Decimal], str]


@dataclass(frozen=True)
class Section:
    """A heading and its sentences."""

    heading: str
    sentences: tuple[str, ...]


def sections(
    found: Explanation, fit: Fit, kin: CategoryFit | None, now: Forecasts, write: Write
) -> tuple[Section, ...]:
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
    told = [Section("Where the price level comes from", tuple(made))]
    told.append(Section("Brought to today", _moved(found, kin, now)))
    aside = [one for one in answer.comps if one.set_aside]
    if aside:
        priced = [(one.paid if one.status == "sold" else one.asking_price, one.set_aside) for one in aside]
        said = [f"{write(amount)}: {why}." for amount, why in priced if amount is not None]
        if (mute := len(aside) - len(said)) > 0:
            said.append(f"{mute} of its listings {'names' if mute == 1 else 'name'} no price.")
        told.append(Section("Set aside", tuple(said)))
    told.append(Section("How quick it is", _quick(found, fit, now, write)))
    if fit.rests_on.get("held_out_coverage_80") is None:
        sure = (
            f"Too few later sales to check against: the range shown is {found.factor:.2f} times as wide as the model's."
        )
    else:
        sure = (
            f"Later sales held back called for a range {found.factor:.2f} times as wide as the model's own for an "
            "item with as many own sales; the range shown is that wide."
        )
    checked = [sure]
    if promised := fit.rests_on.get("sales_promised"):
        checked.append(
            f"Looking back from two earlier days, {promised:,.0f} sales within sixteen days were promised for the "
            f"listings begun after them, and {fit.rests_on['sales_made']:,} came; the pace is corrected for what of "
            "that is no luck."
        )
    told.append(Section("How sure", tuple(checked)))
    if answer.decision == "too little to go on":
        told.append(Section("Too little to go on", (answer.reason, answer.would_settle)))
    newest = fit.rests_on.get("newest")
    day = to_day(newest)
    told.append(
        Section(
            "What the fit rests on",
            (
                f"{fit.rests_on['comps']:,} comps, {fit.rests_on['sold']:,} of them sold, "
                f"{_on(day)}; fitted {fit.made_at:%Y-%m-%d %H:%M} UTC.",
                f"Of this item: {answer.rests_on}",
            ),
        )
    )
    return tuple(told)


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
        shift = change_of(float(-np.mean(curve_at(np.array(kin.trend), seen.age[sales]))))
        made.append(f"Its own sales were moved by {_signed(shift)} on average to today's level.")
        if (undated := int((sales & np.isnan(seen.when)).sum())) > 0:
            made.append(f"{undated} of them carry no date and count as half a year old.")
    gaps = seen.gap[used]
    if (other := int((np.abs(gaps) > 1e-9).sum())) > 0:
        moved = change_of(float(-gaps[np.abs(gaps) > 1e-9].mean()))
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


def _quick(found: Explanation, fit: Fit, now: Forecasts, write: Write) -> tuple[str, ...]:
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
    if fit.slope_se > 0:
        # Few listings may seem to sell the better the dearer they are; that is never believed, nor said.
        gentle, middle, steep = (
            max(1.0 - 1.01 ** (fit.slope + sign * Z90 * fit.slope_se), 0.0) for sign in (1.0, 0.0, -1.0)
        )
        made.append(
            f"On the whole of your table, 1 % more asked lowers the chance of a sale on a day by about "
            f"{middle:.1%}; anything from {gentle:.1%} to {steep:.1%} would fit what was seen."
        )
    if found.beyond:
        made.append(f"Asking {ask} lies beyond what the market showed; the chance there is extrapolated, with care.")
    elif found.beyond is False:
        made.append(f"Asking {ask} lies within what the market showed of this category.")
    return tuple(made)


def _named(source: Source) -> str:
    return source.name if source.name.startswith("all ") else f"the {source.name}"


def change_of(log: float) -> float:
    """Return a change of a log price as a share: 0.1 is 10 % up."""
    return round(float(np.expm1(log)), 4)


def _per_cent(share: float) -> str:
    if 0 < share < 0.01:
        return "under 1 %"
    return "over 99 %" if 0.99 < share < 1 else f"{share * 100:.0f} %"


def _signed(change: float) -> str:
    return f"{change * 100:+.1f} %"


def _on(day: date | None) -> str:
    return f"the newest sale of {day.isoformat()}" if day else "none of them dated"
