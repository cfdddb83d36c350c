"""What if: one item at any shelf price, discount, asking price and number of days, all figures anew."""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

import numpy as np

from models.price import Floats
from models.proceeds import Outcome, net_quantiles, outcomes_at
from sourcing import depth, verdict
from sourcing.answer import Query, Verdict
from sourcing.check import judge, prospect_of
from sourcing.dearer import Ask, passed_over
from sourcing.errors import BadInput
from sourcing.forecast import Forecasts, share_held, shares_wanted
from sourcing.language import gettext
from sourcing.money import money_writer
from sourcing.objective import choose
from sourcing.others import TOO_FAR
from sourcing.prospect import Prospect, at_asking
from sourcing.rules import Rules
from sourcing.settings import Settings
from sourcing.storage import Store

MOST_DAYS = 365


@dataclass(frozen=True)
class AtAsk:
    """What one asking price would bring; the rest as supposed."""

    ask: Decimal
    left: Decimal  # expected profit after everything at the shelf price; without one, before the purchase
    chance: float | None  # sold within the days supposed, under the price-cut plan; None: not known
    days_50: int | None  # None: not reached under the plan
    chosen: bool  # the figures are at this one
    best: bool  # the objective would choose this one


@dataclass(frozen=True)
class WhatIf:
    """The whole answer to one supposition."""

    verdict: Verdict  # at the supposed values; its receipt is one sale at the supposed asking price
    days: int  # by which it is to be sold: the target of the rules, or as supposed
    chance: float | None  # sold within them, under the price-cut plan; None: not known
    give_up_day: int  # of the price-cut plan
    asks: tuple[AtAsk, ...] = ()  # ascending; empty: too little to go on
    why_best: str = ""  # why a dearer one that would bring more is not advised; "": there is none, or not for that

    @property
    def best_ask(self) -> Decimal | None:
        """The asking price the objective would choose; None: too little to go on."""
        return next((one.ask for one in self.asks if one.best), None)

    def as_dict(self) -> dict[str, Any]:
        """Return a JSON-able mapping: money as text, chances 0 to 1."""
        return {
            "days": self.days,
            "chance": self.chance,
            "give_up_day": self.give_up_day,
            "asks": [{**vars(one), "ask": str(one.ask), "left": str(one.left)} for one in self.asks],
            "verdict": self.verdict.as_dict(),
        }


def what_if(
    store: Store, query: Query, settings: Settings, ask: Decimal | None = None, days: int | None = None
) -> WhatIf:
    """Judge one item as supposed; nothing is recorded.

    Parameters
    ----------
    query : the item, the shelf price and the discount supposed. ask : asking price to list at; None takes what the
    objective chooses. days : by which it is to be sold, in place of the rules' target; None keeps that.

    Raises
    ------
    BadInput
        The code cannot be one; the asking price lies absurdly far from what such items bring; the days are none.
    """
    if days is not None and not 1 <= days <= MOST_DAYS:
        raise BadInput(
            gettext("{days} days cannot be waited for.", days=days),
            gettext("From 1 to {most_days}.", most_days=MOST_DAYS),
            field="days",
        )
    found = prospect_of(store, query, settings)
    target, give_up = days or found.deal.rules.target_days, found.deal.terms.plan.give_up_day
    if found.forecasts is None or found.base.decision == "too little to go on":
        return WhatIf(judge(found, query), target, None, give_up)
    moved, best = supposed(found, ask, target)
    answer = judge(moved, query)
    asks = _asks(moved, answer, best)
    chance = next(one.chance for one in asks if one.chosen)
    why = passed_over(
        [Ask(one.ask, one.left, one.chance, one.best) for one in asks],
        moved.deal.rules.objective,
        moved.deal.rules,
        money_writer(answer.currency, moved.locale),
    )
    return WhatIf(answer, target, chance, give_up, asks, why)


def supposed(prospect: Prospect, ask: Decimal | None, days: int) -> tuple[Prospect, int]:
    """Return one item listed at another asking price and wanted sold by another day, and the objective's choice.

    The asking prices are those of the trade-off, with the one supposed between them. The choice is an index into them.

    Raises
    ------
    BadInput
        The asking price lies absurdly far from what such items bring.
    """
    was = prospect.forecasts
    assert was is not None
    assert len(was.mean) == 1
    deal = replace(prospect.deal, rules=replace(prospect.deal.rules, target_days=days))
    asks = np.unique(was.outcome.ask)
    outcome = _outcome(was, asks, days)
    best = chosen = int(choose(outcome, deal.terms, deal.rules)[0])
    if ask is not None:
        _plausible(ask, float(np.exp(was.mean[0])), prospect)
        best_ask, asks = asks[best], np.unique(np.append(asks, float(ask)))
        outcome = _outcome(was, asks, days)
        best, chosen = (int(place) for place in np.searchsorted(asks, [best_ask, float(ask)]))
    forecasts = _listed_at(was, outcome, chosen, deal.rules)
    figures = verdict.figures([prospect.base.item], forecasts)
    base = prospect.base.but(at_asking(deal, forecasts, figures, 0, True))
    copies, total = depth.further_copies(forecasts), forecasts.total_of(0)
    return Prospect(base, deal, prospect.locale, forecasts, figures, 0, copies, total), best


def _outcome(was: Forecasts, asks: Floats, days: int) -> Outcome:
    return outcomes_at(was.prospects, asks[None, :], was.base, was.plan, was.costs, was.haggle, days)


def _listed_at(was: Forecasts, outcome: Outcome, chosen: int, rules: Rules) -> Forecasts:
    """Return the forecast of one item with another trade-off and another of its asking prices chosen."""
    pick = np.array([chosen])
    ask = outcome.ask[0, pick]
    quantiles = net_quantiles(pick, outcome, was.plan, was.costs, was.haggle, shares_wanted(rules))
    return replace(
        was,
        chosen=pick,
        dearer=np.log(ask) - was.mean > was.dearest_seen + 0.01,
        net_quantiles=quantiles[:, :3],
        loss_net=quantiles[:, 3],
        sold_share=share_held(was.prospects, ask, was.rate, was.season, was.as_of),
        outcome=outcome,
    )


def _plausible(ask: Decimal, usual: float, prospect: Prospect) -> None:
    if usual / TOO_FAR <= float(ask) <= usual * TOO_FAR:
        return
    write = money_writer(prospect.base.currency, prospect.locale)
    shown, low, mid, high = (
        write(verdict.to_cents(float(amount))) for amount in (ask, usual / TOO_FAR, usual, usual * TOO_FAR)
    )
    raise BadInput(
        gettext(
            "Nothing can be said of an asking price of {shown}: such items bring about {mid}.", shown=shown, mid=mid
        ),
        gettext("From {low} to {high}.", low=low, high=high),
        gettext("Type one nearer to what they bring."),
        field="ask",
    )


def _asks(prospect: Prospect, answer: Verdict, best: int) -> tuple[AtAsk, ...]:
    """Read what every asking price would bring off the forecast of one item."""
    forecasts, terms = prospect.forecasts, prospect.deal.terms
    assert forecasts is not None
    outcome, landed = forecasts.outcome, float(answer.landed_cost or 0)
    hold = 1.0 + float(terms.capital_rate) * verdict.kept(outcome.mean_days[0], verdict.TIED) / 365.0
    left = verdict.kept(outcome.mean_net[0], verdict.MONEY) - (landed * hold + float(terms.labour()))
    known, chosen = bool(forecasts.speed_basis), int(forecasts.chosen[0])
    return tuple(
        AtAsk(
            verdict.to_cents(float(outcome.ask[0, k])),
            verdict.to_cents(float(left[k])),
            round(float(outcome.by_target[0, k]), 4) if known else None,
            forecasts.days_half(0, k) if known else None,
            k == chosen,
            k == best,
        )
        for k in range(len(left))
    )
