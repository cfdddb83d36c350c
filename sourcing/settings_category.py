"""What the settings come to for one category: its terms on each channel and its rules, inheritance resolved."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from sourcing.channels import FEES, fees_on
from sourcing.errors import BadInput
from sourcing.labour import LEARNING
from sourcing.language import gettext, separated
from sourcing.parcel import billed_weight, postage_for
from sourcing.rules import Rules
from sourcing.settings_file import closest, folded
from sourcing.settings_table import defaults
from sourcing.terms import PriceCutPlan, Terms

if TYPE_CHECKING:
    from sourcing.settings import Settings

_RULES = tuple(f.name for f in dataclasses.fields(Rules))
_PLAN = tuple(f.name for f in dataclasses.fields(PriceCutPlan))
_TERMS = tuple(f.name for f in dataclasses.fields(Terms))
_MOST_TAKEN = Decimal("0.99")  # fee and returns together; above it a break-even price runs away


@dataclass(frozen=True)
class CategorySettings:
    """Terms and rules of one category, inheritance resolved; ``channels`` has the terms on each, where it has several.

    ``terms`` are those of the first channel.
    """

    terms: Terms
    rules: Rules
    channels: tuple[Terms, ...] = ()

    def on(self, channel: str) -> CategorySettings:
        """Return the same with the terms of one of its channels; of another name, as it is."""
        found = [terms for terms in self.channels if terms.channel == channel]
        return replace(self, terms=found[0]) if found else self


def resolved(settings: Settings, category: str, day: date) -> CategorySettings:
    """Work out one category, "" for any other, with the fees in force on a day.

    Raises
    ------
    BadInput
        The settings contradict each other.
    """
    values = {**settings.default, **settings.categories.get(category, {})}
    where = category or "default"
    values["postage"] = _postage(settings, values, where)
    values |= _learnt(settings, values, category)
    plan = PriceCutPlan(**{key: values[key] for key in _PLAN})
    if plan.cuts and plan.cuts[-1][0] >= plan.give_up_day:
        raise BadInput(
            gettext(
                "In {where}, a price cut on day {day} comes no earlier than giving up on day {last}.",
                where=where,
                day=plan.cuts[-1][0],
                last=plan.give_up_day,
            ),
            gettext("Cuts before the day of giving up."),
            gettext("Change cuts or give_up_day."),
            field="cuts",
        )
    names = sold_on(settings, str(values["channel"]), where)
    channels = tuple(_terms(settings, {**values, "plan": plan, "channel": name}, where, day) for name in names)
    rules = Rules(**{key: values[key] for key in _RULES})
    return CategorySettings(channels[0], rules, channels if len(channels) > 1 else ())


def _learnt(settings: Settings, values: Mapping[str, Any], category: str) -> dict[str, Any]:
    """Return the minutes that the user's own timed batches put in place of those set, and what they rest on."""
    found = settings.learnt.in_place(category) if values["learn_minutes"] == LEARNING[0] else {}
    return {
        **{f"{step}_minutes": one.minutes for step, one in found.items()},
        "learnt_steps": tuple((step, one.batches) for step, one in found.items()),
    }


def sold_on(settings: Settings, text: str, where: str) -> list[str]:
    """Return the channels a category names: one, or several with commas between.

    Raises
    ------
    BadInput
        There is no such channel.
    """
    if folded(text) in settings.channels:
        return [folded(text)]
    found = list(dict.fromkeys(folded(part) for part in text.split(",") if part.strip())) or [folded(text)]
    for name in found:
        if name not in settings.channels:
            raise BadInput(
                gettext("{where} is sold on channel “{name}”, which has no fees.", where=where, name=name),
                closest(name, settings.channels),
                gettext("Name a known channel, or add [channel.{name}].", name=name),
                field="channel",
            )
    return found


def _terms(settings: Settings, values: Mapping[str, Any], where: str, day: date) -> Terms:
    channel = {**defaults("channel"), **settings.channels[values["channel"]]}
    fees, since, later = fees_on(channel, day)
    values = {**channel, **values, "fees": fees, "fees_since": since, "fees_next": later}
    terms = Terms(**{key: values[key] for key in _TERMS})
    for start, slope, _ in terms.net_lines:
        if 1 - slope >= _MOST_TAKEN:
            taken = {"where": where, "channel": terms.channel, "share": separated(f"{1 - slope:.1%}")}
            raise BadInput(
                gettext(
                    "In {where}, fees and returns on {channel} take {share} of the price above {amount}.",
                    amount=separated(f"{start:.2f}"),
                    **taken,
                )
                if start
                else gettext("In {where}, fees and returns on {channel} take {share} of the price.", **taken),
                gettext("Less than {share} together.", share=separated(f"{_MOST_TAKEN:.0%}")),
                gettext("Lower the fee's share, return_rate or return_value_lost."),
                field="share" if FEES in channel else "fee_rate",
            )
    return terms


def _postage(settings: Settings, values: Mapping[str, Any], where: str) -> Decimal:
    if values["postage"] is not None:
        return Decimal(values["postage"])
    grams, parcel = values["packed_weight"], settings.parcel
    # An undated divisor is not trusted: carriers change theirs.
    if None not in (values["packed_size"], parcel["volume_divisor"], parcel["volume_divisor_dated"]):
        grams = billed_weight(
            grams,
            values["packed_size"],
            parcel["volume_divisor"] / 1000,
            step=parcel["weight_step"],
            side_rounding=parcel["side_rounding"],
            volume_from=parcel["volume_from"],
        )
    return postage_for(grams, parcel["postage_table"], parcel["zone_shares"], where)
