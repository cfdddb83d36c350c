"""Put what the user says of a file's columns into its layout."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from sourcing.comps import values
from sourcing.comps.columns import NAMES, label
from sourcing.comps.layout import Layout, Use
from sourcing.comps.meaning.questions import answered
from sourcing.comps.translate import shared_price
from sourcing.errors import BadInput
from sourcing.language import gettext

if TYPE_CHECKING:
    from sourcing.comps.incoming import Look

_PRICES = frozenset(("asking_price", "sold_price"))
PRICE = "price"
"""Said of a column that holds the sold price of sold rows and the asking price of the others."""


def say(
    look: Look,
    *,
    columns: Mapping[int, str] | None = None,
    fixed: Mapping[str, str] | None = None,
    extracts: Sequence[Use] | None = None,
    answers: Mapping[str, str] | None = None,
) -> Layout:
    """Put what the user says into the layout of a look.

    Parameters
    ----------
    look : Look
        With a layout.
    columns : mapping of int to str, optional
        What columns feed, by place: a documented name, `PRICE`, or "" to leave it out. Columns not named stay.
    fixed : mapping of str to str, optional
        The value every row has in fields no column feeds; an empty one takes it back.
    extracts : sequence of Use, optional
        Which offers are taken; all others are not.
    answers : mapping of str to str, optional
        By the id of a question, the value of a choice.

    Raises
    ------
    BadInput
        Two columns are to feed one field, a field or a column does not exist, a question was not asked.
    """
    layout = look.layout
    if layout is None:
        raise BadInput(gettext("How the file is written is not settled yet."), next_step=gettext("Pick that first."))
    if columns is not None:
        layout = _matched(layout, columns)
    if fixed is not None:
        layout = _fixed(layout, fixed)
    if extracts is not None:
        plain = {use.field for use in layout.uses if not use.extract}
        kept = [use for use in layout.uses if not use.extract or use.field == "currency"]
        layout = replace(layout, uses=(*kept, *(use for use in extracts if use.field not in plain)))
    return answered(layout, answers or {})


def _matched(layout: Layout, columns: Mapping[int, str]) -> Layout:
    now = {use.column: use.field for use in layout.uses if not use.extract}
    if shared_price(layout):
        now = {place: PRICE if field in ("asking_price", "sold_price") else field for place, field in now.items()}
    for place, field in columns.items():
        if not 0 <= place < len(layout.header):
            raise BadInput(
                gettext("There is no column number {place}.", place=place + 1),
                gettext("1 to {number}.", number=len(layout.header)),
                field="column",
            )
        if field not in ("", PRICE, *NAMES):
            raise BadInput(
                gettext("{field} is nothing a column can be.", field=f"{field[:40]!r}"),
                gettext("One of {names}.", names=", ".join((PRICE, *NAMES))),
                field="column",
            )
        now[place] = field
    uses: list[Use] = []
    for place, field in sorted(now.items()):
        for one in ("asking_price", "sold_price") if field == PRICE else (field,) if field else ():
            other = next((use for use in uses if use.field == one), None)
            if other is not None:
                both = gettext(" and ").join((repr(layout.header[other.column]), repr(layout.header[place])))
                raise BadInput(
                    gettext("Two columns are both the {name}: {both}.", name=label(one), both=both),
                    gettext("One column for each field."),
                    gettext("Leave one of them out, or say what else it is."),
                    field="column",
                )
            uses.append(Use(one, place))
    fed = {use.field for use in uses}
    extracts = [
        use
        for use in layout.uses
        if use.extract
        and use.field not in fed
        and (use.column in now or use.field == "size")
        # A currency beside a price is that price's, and goes with it.
        and (use.field != "currency" or not _PRICES.isdisjoint(one.field for one in uses if one.column == use.column))
    ]
    words = layout.words
    if "currency" not in fed and not any(use.field == "currency" for use in extracts):
        words = {field: told for field, told in words.items() if field != "currency"}
    changed = {place for place, field in columns.items() if field != feeds(layout, place)}
    return replace(
        layout,
        uses=(*uses, *extracts),
        fixed={name: text for name, text in layout.fixed.items() if name not in fed},
        money={place: marks for place, marks in layout.money.items() if place not in changed},
        days={place: order for place, order in layout.days.items() if place not in changed},
        words=words,
    )


def _fixed(layout: Layout, fixed: Mapping[str, str]) -> Layout:
    now = dict(layout.fixed)
    fed = {use.field for use in layout.uses if not use.extract}
    for name, text in fixed.items():
        if name not in NAMES:
            raise BadInput(
                gettext("{name} is no field.", name=f"{name[:40]!r}"),
                gettext("One of {names}.", names=", ".join(NAMES)),
                field="fixed",
            )
        if not text.strip():
            now.pop(name, None)
            continue
        if name in fed:
            column = next(use.column for use in layout.uses if use.field == name and not use.extract)
            raise BadInput(
                gettext(
                    "The {name} of all rows is given, yet {header} holds it too.",
                    name=label(name),
                    header=f"{layout.header[column]!r}",
                ),
                gettext("One or the other."),
                gettext("Leave that column out, or empty the value for all rows."),
                field="fixed",
            )
        if name == "status":
            _, finding = values.status(text)
            if finding is not None:
                raise BadInput(
                    gettext("{text}: {reason}", text=f"{text[:40]!r}", reason=finding.reason),
                    "",
                    finding.fix,
                    field="fixed",
                )
        if name == "currency":
            _, finding = values.currency(text)
            if finding is not None:
                raise BadInput(
                    gettext("{text}: {reason}", text=f"{text[:40]!r}", reason=finding.reason),
                    "",
                    finding.fix,
                    field="fixed",
                )
        now[name] = text.strip()[: values.SHORT_TEXT]
    return replace(layout, fixed=now)


def feeds(layout: Layout, place: int) -> str:
    """Return what a column feeds: a documented name, `PRICE`, or "" for nothing."""
    fields = [use.field for use in layout.uses if use.column == place and not use.extract]
    return PRICE if len(fields) == 2 else fields[0] if fields else ""
