"""An explanation in plain words: one section a subject, each a few sentences with their figures."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

import numpy as np

from models.robust import Z90
from models.trend import curve_at
from sourcing.day import day_writer
from sourcing.fitting import CategoryFit, Fit
from sourcing.forecast import DAYS, Forecasts
from sourcing.language import gettext, ngettext, separated
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
        made.append(_shares(found.sources, kin))
    else:
        made.append(
            gettext(
                "No comps of its own speak for the price: it is guessed from {sources}.",
                sources=_guessed_from(title, brand, rest, kin),
            )
        )
        if not found.item.known and found.item.suggestions:
            made.append(
                gettext(
                    "Close known codes: {codes}. If one is meant, ask with it.", codes=", ".join(found.item.suggestions)
                )
            )
        if answer.decision != "too little to go on":  # which says itself what would settle it
            made.append(
                gettext("One recent sale of this very item would tell more than all of that; the table says how much.")
            )
    if found.words:
        each = ", ".join(f"“{one.word}” {_signed(one.change)}" for one in found.words)
        made.append(
            gettext(
                "Words of the title moved the starting level by {change} in all: {each}.",
                change=_signed(found.words_change),
                each=each,
            )
        )
    elif found.item.title:
        made.append(gettext("No word of the title moved the starting level."))
    else:
        made.append(gettext("It has no title that could move the starting level."))
    told = [Section(gettext("Where the price level comes from"), tuple(made))]
    told.append(Section(gettext("Brought to today"), _moved(found, kin, now)))
    aside = [one for one in answer.comps if one.set_aside]
    if aside:
        priced = [(one.paid if one.status == "sold" else one.asking_price, one.set_aside) for one in aside]
        said = [f"{write(amount)}: {why}." for amount, why in priced if amount is not None]
        if (mute := len(aside) - len(said)) > 0:
            said.append(
                ngettext("{count} of its listings names no price.", "{count} of its listings name no price.", mute)
            )
        told.append(Section(gettext("Set aside"), tuple(said)))
    told.append(Section(gettext("How quick it is"), _quick(found, fit, now, write)))
    told.append(Section(gettext("How sure"), _sure(found, fit)))
    if answer.decision == "too little to go on":
        told.append(Section(gettext("Too little to go on"), (answer.reason, answer.would_settle)))
    of_it = gettext("Of this item: {words}", words=answer.rests_on)
    told.append(Section(gettext("What the fit rests on"), (_fitted(fit), of_it)))
    return tuple(told)


def _shares(sources: tuple[Source, ...], kin: CategoryFit | None) -> str:
    """Say what each source gives where the item's own comps are among them."""
    shares = dict(zip(("own", "title", "brand", "rest"), (_per_cent(one.share) for one in sources), strict=True))
    if kin:
        return gettext(
            "Its own comps give {own} of what is known of the price level; the title {title}, the brand {brand}, the "
            "category {rest}.",
            **shares,
        )
    return gettext(
        "Its own comps give {own} of what is known of the price level; the title {title}, the brand {brand}, all "
        "categories {rest}.",
        **shares,
    )


def _guessed_from(title: Source, brand: Source, rest: Source, kin: CategoryFit | None) -> str:
    """Name the sources that stand in for own comps."""
    last = gettext("the category") if kin else gettext("the average of every category you have comps of")
    given = []
    if title.share > 0:
        given.append(gettext("the title ({share})", share=_per_cent(title.share)))
    if brand.share > 0:
        given.append(gettext("the brand ({share})", share=_per_cent(brand.share)))
    if not given:
        return last
    return gettext("{sources} and {last} ({share})", sources=", ".join(given), last=last, share=_per_cent(rest.share))


def _sure(found: Explanation, fit: Fit) -> tuple[str, ...]:
    """Say how the range and the pace were checked on later sales."""
    if fit.rests_on.get("held_out_coverage_80") is None:
        sure = gettext(
            "Too few later sales to check against: the range shown is {factor} times as wide as the model's.",
            factor=separated(f"{found.factor:.2f}"),
        )
    else:
        sure = gettext(
            "Later sales held back called for a range {factor} times as wide as the model's own for an item with as "
            "many own sales; the range shown is that wide.",
            factor=separated(f"{found.factor:.2f}"),
        )
    if not (promised := fit.rests_on.get("sales_promised")):
        return (sure,)
    return (
        sure,
        gettext(
            "Looking back from two earlier days, {promised} sales within sixteen days were promised for the listings "
            "begun after them, and {made} came; the pace is corrected for what of that is no luck.",
            promised=separated(f"{promised:,.0f}"),
            made=separated(f"{fit.rests_on['sales_made']:,}"),
        ),
    )


def _fitted(fit: Fit) -> str:
    """Say on how many comps the fit rests, how new they are, and when it was made."""
    written = day_writer()
    known = {
        "comps": separated(f"{fit.rests_on['comps']:,}"),
        "sold": separated(f"{fit.rests_on['sold']:,}"),
        "made": f"{written(fit.made_at)} {fit.made_at:%H:%M}",
    }
    day = to_day(fit.rests_on.get("newest"))
    if day is None:
        return gettext("{comps} comps, {sold} of them sold, none of them dated; fitted {made} UTC.", **known)
    return gettext(
        "{comps} comps, {sold} of them sold, the newest sale of {day}; fitted {made} UTC.", day=written(day), **known
    )


def _moved(found: Explanation, kin: CategoryFit | None, now: Forecasts) -> tuple[str, ...]:
    seen = now.seen
    used = (now.weight > 0) & ~now.aside
    if kin is None or found.trend_a_year is None:
        return (gettext("Its category is not known, so that no trend, condition or size is allowed for."),)
    made = [
        gettext(
            "Prices of its category move by {trend} a year now, and {ahead} until the next sale.",
            trend=_signed(found.trend_a_year),
            ahead=_signed(found.ahead or 0.0),
        )
    ]
    sales = used & seen.sold
    if sales.any():
        shift = change_of(float(-np.mean(curve_at(np.array(kin.trend), seen.age[sales]))))
        made.append(gettext("Its own sales were moved by {change} on average to today's level.", change=_signed(shift)))
        if (undated := int((sales & np.isnan(seen.when)).sum())) > 0:
            made.append(gettext("{number} of them carry no date and count as half a year old.", number=undated))
    gaps = seen.gap[used]
    if (other := int((np.abs(gaps) > 1e-9).sum())) > 0:
        moved = change_of(float(-gaps[np.abs(gaps) > 1e-9].mean()))
        made.append(
            gettext(
                "{number} of its comps are in another condition and were moved by {change} on average.",
                number=other,
                change=_signed(moved),
            )
        )
    elif used.any():
        made.append(gettext("No comp needed moving for its condition."))
    if used.any():
        same, every = int((seen.same_size & used).sum()), int(used.sum())
        made.append(
            gettext(
                "{same} of {every} are of the size asked for; the others count for less, their prices are not moved.",
                same=same,
                every=every,
            )
            if found.item.size
            else gettext(
                "No size was asked for, so every comp counts as of another size: a little less, its price not moved."
            )
        )
    return tuple(made)


def _quick(found: Explanation, fit: Fit, now: Forecasts, write: Write) -> tuple[str, ...]:
    answer = found.verdict
    if not now.speed_basis:
        return (gettext("The comps carry no listing dates, so its speed is not known; your own assumption stands in."),)
    if found.speed is None or answer.asking_price is None:
        return (gettext("With too little to go on no asking price is chosen, and no time to sell foretold."),)
    dated = ~np.isnan(now.seen.days) & ~now.aside & ~now.seen.suspect
    sold = int((dated & now.seen.sold).sum())
    ask = write(answer.asking_price)
    made = [
        gettext(
            "It sells {speed} times as quickly as the usual style, from at most {sold} sold and {unsold} unsold "
            "listings of its own with dates.",
            speed=separated(f"{found.speed:.2f}"),
            sold=sold,
            unsold=int(dated.sum()) - sold,
        )
        if dated.any()
        else gettext(
            "No listing of its own carries dates: it is taken to be as quick as the usual style, which is unsure."
        ),
        gettext(
            "Half of the usual style would be sold at {ask} in {days} days, the asking price held.",
            ask=ask,
            days=found.days_usual,
        )
        if found.days_usual is not None
        else gettext(
            "Half of the usual style would be sold at {ask} not within the {days} days the comps can speak of, the "
            "asking price held.",
            ask=ask,
            days=separated(f"{min(now.horizon, DAYS[-1]):.0f}"),
        ),
        gettext(
            "Asking 10 % more takes the chance of a sale within 30 days from {chance} to {dearer}.",
            chance=_per_cent(found.chance_30 or 0.0),
            dearer=_per_cent(found.chance_30_dearer or 0.0),
        ),
    ]
    if fit.slope_se > 0:
        # Few listings may seem to sell the better the dearer they are; that is never believed, nor said.
        gentle, middle, steep = (
            max(1.0 - 1.01 ** (fit.slope + sign * Z90 * fit.slope_se), 0.0) for sign in (1.0, 0.0, -1.0)
        )
        made.append(
            gettext(
                "On the whole of your table, 1 % more asked lowers the chance of a sale on a day by about {middle}; "
                "anything from {gentle} to {steep} would fit what was seen.",
                middle=separated(f"{middle:.1%}"),
                gentle=separated(f"{gentle:.1%}"),
                steep=separated(f"{steep:.1%}"),
            )
        )
    if found.beyond:
        made.append(
            gettext(
                "Asking {ask} lies beyond what the market showed; the chance there is extrapolated, with care.", ask=ask
            )
        )
    elif found.beyond is False:
        made.append(gettext("Asking {ask} lies within what the market showed of this category.", ask=ask))
    return tuple(made)


def change_of(log: float) -> float:
    """Return a change of a log price as a share: 0.1 is 10 % up."""
    return round(float(np.expm1(log)), 4)


def _per_cent(share: float) -> str:
    if 0 < share < 0.01:
        return gettext("under 1 %")
    return gettext("over 99 %") if 0.99 < share < 1 else separated(f"{share * 100:.0f}%")


def _signed(change: float) -> str:
    return separated(f"{change * 100:+.1f}%")
