"""Answers to what a file leaves open, put into its layout."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from sourcing.comps import values
from sourcing.comps.columns import STATUSES
from sourcing.comps.layout import Layout, Use
from sourcing.comps.meaning import amounts, days
from sourcing.comps.meaning.header_words import meanings
from sourcing.errors import BadInput
from sourcing.language import gettext


def answered(layout: Layout, answers: Mapping[str, str]) -> Layout:
    """Put answers into a layout, by the id of the question and the value of the choice.

    Raises
    ------
    BadInput
        There is no such question about this layout, or no such choice.
    """
    for name, value in answers.items():
        layout = _answer(layout, name, value)
    return layout


def _answer(layout: Layout, name: str, value: str) -> Layout:
    kind, _, rest = name.partition(":")
    place = int(rest) if rest.isascii() and rest.isdigit() and int(rest) < len(layout.header) else -1
    words = {key: dict(told) for key, told in layout.words.items()}
    if kind == "decimal" and place >= 0:
        marks = next((one for one in amounts.MARKS if one.decimal + one.thousands == value), None)
        if marks is None:
            raise BadInput(
                gettext("{value} is no way of writing amounts.", value=f"{value!r}"),
                gettext("A decimal mark: . or ,"),
                field=name,
            )
        return replace(layout, money={**layout.money, place: marks})
    if kind == "days" and place >= 0:
        order = next((one for one in days.WRITTEN if one == value), None)
        if order is None:
            raise BadInput(
                gettext("{value} is no order of days.", value=f"{value!r}"),
                gettext("One of {written}.", written=", ".join(days.WRITTEN)),
                field=name,
            )
        return replace(layout, days={**layout.days, place: order})  # type: ignore[dict-item]
    if name == "status":
        return stands(layout, value)
    if kind == "status" and rest:
        _one_of(value, (*STATUSES, "?"), name)
        words.setdefault("status", {})[rest] = value
        return replace(layout, words=words)
    if kind == "currency" and rest:
        _one_of(value, amounts.may_be(value), name)
        words.setdefault("currency", {})[rest] = value.strip().upper()
        return replace(layout, words=words)
    if kind == "total" and place >= 0:
        _one_of(value, ("with", "without"), name)
        words.setdefault("total", {})[rest] = value
        left = tuple(use for use in layout.uses if value == "without" or use.field != "shipping_charged")
        return replace(layout, uses=left, words=words)
    if kind == "zeros" and place >= 0:
        _one_of(value, ("mend", "leave"), name)
        if value == "mend":
            return replace(layout, zeros=tuple(sorted({*layout.zeros, place})))
        words.setdefault("zeros", {})[rest] = value
        return replace(layout, words=words)
    if name == "item":
        if not (value.isascii() and value.isdigit() and int(value) < len(layout.header)):
            raise BadInput(
                gettext("There is no column {value}.", value=f"{value!r}"),
                gettext("The place of a column, from 0."),
                field=name,
            )
        kept = tuple(use for use in layout.uses if use.column != int(value))
        return replace(layout, uses=(*kept, Use("title", int(value))))
    raise BadInput(
        gettext("Nothing was asked as {name}.", name=f"{name!r}"),
        next_step=gettext("Look at the file again."),
        field=name,
    )


def _one_of(value: str, options: Sequence[str], name: str) -> None:
    if value not in options:
        accepted = (
            gettext("One of {names}.", names=", ".join(options))
            if options
            else gettext("A code of ISO 4217, like EUR.")
        )
        raise BadInput(gettext("{value} is no answer to that.", value=f"{value[:60]!r}"), accepted, field=name)


def stands(layout: Layout, status: str) -> Layout:
    """Say how all rows stand that have no sold price of their own; the only price becomes what that makes it."""
    status = next((one for one in STATUSES if values.status(status)[0] == STATUSES.index(one)), "")
    if not status:
        raise BadInput(
            gettext("It is no known status."),
            gettext("One of {statuses}.", statuses=", ".join(STATUSES)),
            field="status",
        )
    uses = tuple(use for use in layout.uses if use.field != "status")
    fed = {use.field for use in uses}
    wrong, right = ("asking_price", "sold_price") if status == "sold" else ("sold_price", "asking_price")
    only = next((use for use in uses if use.field == wrong), None)
    said = meanings(layout.header[only.column]) if only else frozenset()
    if only and right not in fed and not (wrong == "sold_price" and "sold" in said):
        uses = tuple(replace(use, field=right) if use is only else use for use in uses)
    return replace(layout, uses=uses, fixed={**layout.fixed, "status": status})
