"""One table of the settings as fields of a form, and what was typed there read back."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from itertools import zip_longest
from typing import Any, Literal

from werkzeug.datastructures import MultiDict

from sourcing.errors import BadInput
from sourcing.language import gettext, gettext_noop
from sourcing.settings_table import Setting
from sourcing.settings_values import read_value
from web.filters import plain
from web.settings_words import UNITS, label, meaning, shown
from web.state import settings as in_force

Kind = Literal["number", "text", "choice", "ticks", "date", "rows"]
SPARE = {"brackets": 1}  # empty rows to fill, by unit; two of others
_TEXTS = ("text", "words", "discounts", "shipping", "shares", "zones")
_SHARES = ("shares", "zones")
_MOST_ZONES = 10
_NUMBER = re.compile(r"-?\d{1,12}(\.\d{1,9})?")
_DECIMAL_COMMA = re.compile(r"-?(0,\d+|\d+,\d{1,2})")  # 1,500 may mean thousands, so it is refused
_COLUMNS = {  # of settings that are lists: the label of each column and its unit
    "cuts": ((gettext_noop("From day"), "days"), (gettext_noop("Off the first price"), "share")),
    "rates": ((gettext_noop("From day"), "date"), (gettext_noop("Amount"), "amount")),
    "steps": ((gettext_noop("Up to"), "grams"), (gettext_noop("Price"), "money")),
    "sides": ((gettext_noop("Longest side"), "cm"), (gettext_noop("Middle"), "cm"), (gettext_noop("Shortest"), "cm")),
    "brackets": (
        (gettext_noop("From"), "money"),
        (gettext_noop("Share"), "share"),
        (gettext_noop("Flat, on top"), "money"),
    ),
}


@dataclass(frozen=True)
class Column:
    """One column of a setting that is a list."""

    label: str
    unit: str


@dataclass(frozen=True)
class Field:
    """One setting as a form shows it; texts as they were typed, or as they are in force."""

    name: str
    label: str
    help: str
    kind: Kind
    unit: str
    optional: bool  # has a switch to off
    inherits: bool  # of a category's table: left empty, [default] speaks
    own: bool  # the table says it itself
    off: bool  # the switch
    text: str = ""
    rows: tuple[tuple[str, ...], ...] = ()
    columns: tuple[Column, ...] = ()
    choices: tuple[str, ...] = ()
    inherited: str = ""  # what [default] says, in words
    wrong: BadInput | None = None

    @property
    def ticked(self) -> tuple[str, ...]:
        """The names that are ticked."""
        return tuple(part.strip() for part in self.text.split(",") if part.strip())

    @property
    def id(self) -> str:
        """The id of the input that is to be focused."""
        return f"{self.name}.0.0" if self.kind == "rows" else f"{self.name}.0" if self.kind == "ticks" else self.name


def fields(
    wanted: Iterable[Setting],
    own: Mapping[str, Any],
    default: Mapping[str, Any] | None = None,
    choices: Mapping[str, tuple[str, ...]] | None = None,
) -> tuple[Field, ...]:
    """Return the fields of some settings; ``default`` is what is inherited where ``own`` does not say.

    ``choices`` are names to tick, by setting: those of which several may be chosen.
    """
    return tuple(_field(setting, own, default, choices or {}) for setting in wanted)


def _field(
    setting: Setting, own: Mapping[str, Any], default: Mapping[str, Any] | None, choices: Mapping[str, tuple[str, ...]]
) -> Field:
    said = setting.name in own
    value = own.get(setting.name)
    ticks = choices.get(setting.name, ())
    options = ticks or setting.choices
    columns = tuple(Column(name, _unit(unit)) for name, unit in _columns(setting, value))
    kind: Kind = "rows" if columns else "choice" if options else "date" if setting.unit == "date" else "number"
    if setting.unit in _TEXTS and not options:
        kind = "text"
    kind = "ticks" if ticks else kind
    return Field(
        setting.name,
        label(setting),
        meaning(setting),
        kind,
        _unit(setting.unit),
        setting.optional,
        default is not None,
        said,
        said and value is None,
        _text(setting, value) if said and kind != "rows" else "",
        _rows(setting, value, kind == "rows" and setting.unit != "sides") if columns else (),
        columns,
        options,
        shown(setting, default[setting.name]) if default is not None else "",
    )


def _columns(setting: Setting, value: Any) -> list[tuple[str, str]]:
    """Return the columns of a setting that is a list, label and unit; a postage table has one to spare for a zone."""
    found = [(gettext(name), unit) for name, unit in _COLUMNS.get(setting.unit, ())]
    if setting.unit == "steps":
        prices = max((len(row) - 1 for row in value or ()), default=1)
        first = 1 if prices == 1 else 0  # one price for all is no zone yet
        zones = [
            (gettext("Zone {number}", number=at + 1), "money") for at in range(first, min(prices + 1, _MOST_ZONES))
        ]
        found = [*found[: 1 + first], *zones]
    return found


def _unit(unit: str) -> str:
    if unit == "money":
        from sourcing.money import currency_marks

        kept = in_force()
        return currency_marks(kept.currency, kept.locale)[-1]
    return gettext(UNITS.get(unit, unit if unit == "cm" else ""))


def _text(setting: Setting, value: Any) -> str:
    if value is None:
        return ""
    if setting.unit == "share":
        return plain(Decimal(value) * 100)
    if isinstance(value, tuple):
        return ", ".join(plain(part * 100) if setting.unit in _SHARES else str(part) for part in value)
    return f"{value:f}" if setting.unit == "money" else plain(value)


def _rows(setting: Setting, value: Any, spare: bool) -> tuple[tuple[str, ...], ...]:
    units = [unit for _, unit in _columns(setting, value)]
    if setting.unit == "sides":
        return (tuple(map(plain, value)) if value else ("",) * 3,)
    rows = [
        tuple(_cell(part, unit, at) for at, (part, unit) in enumerate(zip_longest(row, units, fillvalue="")))
        for row in value or ()
    ]
    return (*rows, *((("",) * len(units),) * (SPARE.get(setting.unit, 2) if spare else 0)))


def _cell(part: Any, unit: str, at: int) -> str:
    if unit == "share":
        return plain(part * 100)
    return "" if at == 2 and not part else str(part)  # no flat amount on top


def typed(
    form: Mapping[str, str], wanted: Iterable[Setting], shown_fields: Iterable[Field], own: Mapping[str, Any]
) -> tuple[dict[str, Any], tuple[Field, ...]]:
    """Read what was typed over ``own``: the table's new values, and the fields as they were sent.

    A field that was not sent stays as it is. One sent empty is inherited where it can be. A field whose value cannot
    be used has ``wrong`` set, and its value stays the old one.
    """
    values, sent = dict(own), []
    for setting, field in zip(wanted, shown_fields, strict=True):
        back = _sent(form, field)
        if back is None:
            sent.append(field)
            continue
        try:
            if _nothing(back) and not back.off and field.inherits:
                values.pop(setting.name, None)
            elif back.off:
                values[setting.name] = None
            else:
                values[setting.name] = _value(setting, back)
        except BadInput as error:
            back = replace(back, wrong=_in_words(setting, back, error))
        sent.append(back)
    return values, tuple(sent)


def _sent(form: Mapping[str, str], field: Field) -> Field | None:
    if field.kind == "rows":
        width = len(field.columns)
        rows: list[tuple[str, ...]] = []
        while len(rows) < 200 and f"{field.name}.{len(rows)}.0" in form:
            rows.append(tuple(form.get(f"{field.name}.{len(rows)}.{at}", "").strip()[:40] for at in range(width)))
        if not rows:
            return None
        back = replace(field, rows=tuple(rows))
    elif field.kind == "ticks" and f"{field.name}:ticks" in form:
        back = replace(field, text=", ".join(_every(form, field.name))[:1000])
    elif field.name not in form:
        return None
    else:
        back = replace(field, text=form[field.name].strip()[:1000])
    switch = f"{field.name}:off" in form
    # A value typed into a field that was off means that it is to be on; the switch of a field that was on means off.
    return replace(back, off=switch and (_nothing(back) or not field.off), wrong=None)


def _every(form: Mapping[str, str], name: str) -> list[str]:
    """Return all values sent under one name."""
    return form.getlist(name) if isinstance(form, MultiDict) else [form[name]] if name in form else []


def _nothing(field: Field) -> bool:
    return not any(map(any, field.rows)) if field.kind == "rows" else not field.text


def _value(setting: Setting, field: Field) -> Any:
    if field.kind == "rows":
        return read_value(setting, _cells(setting, [row for row in field.rows if any(row)]))
    if field.kind == "number":
        return read_value(setting, _number(field.text, setting.unit))
    if setting.unit == "words":
        return read_value(setting, [word.strip() for word in field.text.split(",") if word.strip()])
    if setting.unit in _SHARES:
        return read_value(
            setting, [_number(part.strip(), "share") for part in re.split(r"[,;]\s|;|\s", field.text) if part]
        )
    if setting.unit == "shipping":
        return read_value(setting, _number(field.text, "money"))
    return read_value(setting, field.text)


def _cells(setting: Setting, rows: list[tuple[str, ...]]) -> Any:
    """Return rows as the setting reads them; brackets begin at 0, and have a flat amount only where one was typed."""
    units = [unit for _, unit in _COLUMNS[setting.unit]]
    cells = [
        [_number(part, unit) for part, unit in zip_longest(row, units[: len(row)], fillvalue="money")] for row in rows
    ]
    if setting.unit == "brackets":
        cells = [[first or Decimal(0), share, *([flat] if flat else [])] for first, share, flat in cells]
        cells = [[start, share or Decimal(0), *flat] for start, share, *flat in cells]
    if setting.unit == "steps":
        cells = [[*row[:1], *(part for part in row[1:] if part != "")] for row in cells]
    return cells[0] if setting.unit == "sides" and cells else cells


def _number(text: str, unit: str) -> Any:
    """Read a number as people type it; what is none stays a text, which the setting refuses."""
    bare = text.replace("\N{NO-BREAK SPACE}", " ")
    marks: tuple[str, ...] = ("%",) if unit == "share" else (_unit(unit),)
    if unit == "money":
        from sourcing.money import currency_marks

        kept = in_force()
        marks = currency_marks(kept.currency, kept.locale)
    for mark in marks:
        bare = bare.removeprefix(mark).removesuffix(mark).strip()
    if _DECIMAL_COMMA.fullmatch(bare):
        bare = bare.replace(",", ".")
    if not _NUMBER.fullmatch(bare):
        return text
    number = Decimal(bare)
    return number / 100 if unit == "share" else number


def _in_words(setting: Setting, field: Field, error: BadInput) -> BadInput:
    """Say it with the page's name of the setting, and in percent where the page asks for percent."""
    said = " ".join(part for row in field.rows for part in row if part) if field.kind == "rows" else field.text
    accepted = error.accepted
    if setting.unit == "share":
        low, high = (plain(bound * 100) for bound in (setting.lowest, setting.highest))
        accepted = (
            gettext("A percentage from {low} to {high}, or off.", low=low, high=high)
            if setting.optional
            else gettext("A percentage from {low} to {high}.", low=low, high=high)
        )
    elif setting.unit == "cuts":
        accepted = gettext("A whole day and a percentage under 100 in each row, both rising from row to row.")
    elif setting.unit == "steps":
        accepted = gettext(
            "Whole grams and a price in each row, or as many prices in each as there are zones; grams rising, prices "
            "not falling."
        )
    elif setting.unit == "brackets":
        low, high = (plain(bound * 100) for bound in (setting.lowest, setting.highest))
        accepted = gettext(
            "In each row the amount from which it holds and a percentage from {low} to {high}. The first row "
            "holds from 0, each other from more than the one before, so that none overlap.",
            low=low,
            high=high,
        )
    elif setting.unit in _SHARES:
        accepted = accepted.replace("0.15, 0.30, 0.50", "15, 30, 50").replace("[", "").replace("]", "")
    elif setting.unit == "sides":
        accepted = (
            gettext("Three sides in cm, each over 0 and up to 300, or off.")
            if setting.optional
            else gettext("Three sides in cm, each over 0 and up to 300.")
        )
    return BadInput(
        gettext("{label}: “{said}” cannot be used.", label=field.label, said=said[:60])
        if said
        else gettext("{label}: Nothing was typed.", label=field.label),
        accepted,
        gettext("The old value stays in force."),
        field=setting.name,
    )
