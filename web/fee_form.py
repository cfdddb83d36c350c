"""One day's fees of a channel as a form: named parts, each with its rows of amounts and percentages."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import Any

from sourcing.channels import FEES, SHORT
from sourcing.errors import BadInput
from sourcing.fees import PAID, Bracket, FeePart
from sourcing.language import gettext, gettext_noop
from sourcing.settings_table import defaults, of_place
from web.settings_form import Field, fields, typed

Parts = dict[str, dict[str, Any]]
FIRST = "selling"  # what the first part is called where nobody named it
_PLAIN = ("share", "fixed")  # the others are folded away
_MOST_PARTS = 12


@dataclass(frozen=True)
class Part:
    """One part as the form shows it; ``at`` numbers it, and every name of its fields begins with it."""

    at: int
    name: str
    fields: tuple[Field, ...]
    wrong: BadInput | None = None

    @property
    def plain(self) -> tuple[Field, ...]:
        """The fields that every price list has."""
        return tuple(one for one in self.fields if one.name.split(".")[1] in _PLAIN)

    @property
    def more(self) -> tuple[Field, ...]:
        """The fields that some have."""
        return tuple(one for one in self.fields if one.name.split(".")[1] not in _PLAIN)

    @property
    def new(self) -> bool:
        """Whether nothing is in it yet."""
        return not self.name and not any(one.text for one in self.plain) and not any(map(any, self.plain[0].rows))


def parts_on(channel: Mapping[str, Any] | None, day: date | None) -> Parts:
    """Return the parts of one day's fees; the short form is one part, and a channel that is not there has none."""
    if channel is None:
        return {}
    if channel.get(FEES):
        return {name: dict(values) for name, values in channel[FEES].get(day, {}).items()}
    rate, fixed, cap = ({**defaults("channel"), **channel}[name] for name in SHORT)
    return {FeePart.name: {"share": (Bracket(Decimal(0), Decimal(rate)),), "fixed": fixed, "most": cap}}


def part_forms(parts: Parts) -> tuple[Part, ...]:
    """Return the forms of some parts."""
    every = enumerate(parts.items())
    return tuple(Part(at, name, _fields(at, {**defaults("fee"), **values})) for at, (name, values) in every)


def blank_part(at: int) -> Part:
    """Return the form of a part to come."""
    return Part(at, "", _fields(at, {name: value for name, value in defaults("fee").items() if name in ("by", "on")}))


def _fields(at: int, values: Mapping[str, Any]) -> tuple[Field, ...]:
    return tuple(
        replace(
            field,
            name=f"p{at}.{field.name}",
            optional=False,
            off=False,
            label=gettext(_LABELS[field.name]) if field.name in _LABELS else field.label,
            help=gettext(_HELP[field.name]) if field.name in _HELP else field.help,
        )
        for field in fields(of_place("fee").values(), values)
    )


_HELP = {
    "share": gettext_noop("One row, or one for each amount from which another percentage holds"),
    "fixed": gettext_noop("Added to every order"),
    "most": gettext_noop("The percentages come to no more than this; empty is no cap"),
    "least": gettext_noop("The percentages come to no less than this; empty is no floor"),
    "only": gettext_noop("100 for all of them; less for what only some bear, such as promoted listings"),
}
_LABELS = {
    "share": gettext_noop("Percentage"),
    "fixed": gettext_noop("Fixed, per order"),
    "most": gettext_noop("At most"),
    "least": gettext_noop("At least"),
    "on": gettext_noop("Charged on"),
    "by": gettext_noop("Brackets count as"),
    "only": gettext_noop("Charged on this part of your sales"),
}


def read_parts(form: Mapping[str, str]) -> tuple[Parts, tuple[Part, ...]]:
    """Read every part that was sent; one left empty or ticked to go is left out.

    An empty amount is none: no percentage, nothing fixed, no floor, no cap.
    """
    parts: Parts = {}
    sent: list[Part] = []
    settings = tuple(of_place("fee").values())
    for at in range(_MOST_PARTS):
        if f"p{at}.name" not in form or f"p{at}:drop" in form:
            continue
        name = " ".join(form[f"p{at}.name"].split())[:60]
        filled = _filled(form, at)
        values, back = typed(filled, settings, _fields(at, defaults("fee")), {})
        # What was typed goes back as it was typed, not as it was filled up.
        back = tuple(
            replace(one, off=False, text="" if not form.get(one.name, "").strip() else one.text) for one in back
        )
        part = Part(at, name, tuple(_unfilled(one, form) for one in back))
        if part.new:
            continue
        name = name or (FIRST if not parts else f"fee {at + 1}")
        if name in parts:
            wrong = gettext("Two fees are called “{name}”.", name=name)
            alike = BadInput(wrong, gettext("Names that differ."), gettext("Rename one."), field=f"p{at}.name")
            part = replace(part, wrong=alike)
        parts[name] = values
        sent.append(replace(part, name=name))
    return parts, tuple(sent)


def _filled(form: Mapping[str, str], at: int) -> dict[str, str]:
    filled, start = dict(form), f"p{at}."
    if not any(text.strip() for key, text in form.items() if key.startswith(f"{start}share.")):
        filled |= {f"{start}share.0.0": "0", f"{start}share.0.1": "0"}
    for name, nothing in (("fixed", "0"), ("only", "100")):
        if not form.get(start + name, "").strip():
            filled[start + name] = nothing
    for name in ("least", "most"):
        if not form.get(start + name, "").strip():
            filled[f"{start}{name}:off"] = "on"
    return filled


def _unfilled(field: Field, form: Mapping[str, str]) -> Field:
    if field.kind != "rows":
        return field
    rows = tuple(
        tuple(form.get(f"{field.name}.{line}.{at}", "").strip() for at in range(len(row)))
        for line, row in enumerate(field.rows)
    )
    return replace(field, rows=rows)


def stated(channel: Mapping[str, Any] | None, parts: Parts, was: date | None, day: date | None) -> dict[str, Any]:
    """Return a channel's fees as settings: the short form where it can say them, else by day and part.

    Parameters
    ----------
    was : the day whose fees were edited; None: the short form, or new ones. day : the day they hold from now.
    """
    others = {one: held for one, held in ((channel or {}).get(FEES) or {}).items() if one not in (was, day)}
    only = next(iter(parts.values())) if len(parts) == 1 else {}
    if only and day is None and not others and _is_short(only):
        return {"fee_rate": only["share"][0].share, "fee_fixed": only["fixed"], "fee_cap": only["most"]}
    since = day or was or date.today()
    return {FEES: dict(sorted({**others, since: parts}.items()))}


def _is_short(part: Mapping[str, Any]) -> bool:
    return (
        len(part["share"]) == 1
        and not part["share"][0].flat
        and part["least"] is None
        and part["on"] == PAID
        and part["only"] == 1
    )
