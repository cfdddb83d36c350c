"""The form in which columns are matched: words for what there is to choose, and what the user chose."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from sourcing.errors import BadInput
from sourcing.language import gettext, gettext_noop

if TYPE_CHECKING:
    from sourcing.comps.incoming import Column, Look
    from sourcing.comps.layout import Layout, Use

FIELDS = {
    "title": gettext_noop("Title, or what the item is"),
    "style_code": gettext_noop("Style or model number"),
    "gtin": gettext_noop("Barcode number"),
    "brand": gettext_noop("Brand"),
    "category": gettext_noop("Category"),
    "size": gettext_noop("Size or other variant"),
    "condition": gettext_noop("Condition"),
    "status": gettext_noop("Sold, open or ended unsold"),
    "sold_price": gettext_noop("Price it sold for"),
    "asking_price": gettext_noop("Price asked"),
    "price": gettext_noop("Price: paid or asked, as the row says"),
    "shipping_charged": gettext_noop("Shipping the buyer paid"),
    "currency": gettext_noop("Currency"),
    "listed_on": gettext_noop("Day listed"),
    "ended_on": gettext_noop("Day sold or ended"),
    "channel": gettext_noop("Where it was listed"),
    "listing": gettext_noop("The listing's own number"),
    "note": gettext_noop("Note to keep"),
}
"""What a column may be, in the order it is offered; a test holds it to the documented columns."""

STORED = {
    "status": gettext_noop("Stands"),
    "sold": gettext_noop("Sold for"),
    "ask": gettext_noop("Asked"),
    "ship": gettext_noop("Shipping"),
    "currency": gettext_noop("Currency"),
    "listed": gettext_noop("Listed"),
    "ended": gettext_noop("Ended"),
    "size": gettext_noop("Size"),
    "condition": gettext_noop("Condition"),
    "brand": gettext_noop("Brand"),
    "category": gettext_noop("Category"),
    "style_code": gettext_noop("Style code"),
    "gtin": gettext_noop("Barcode"),
    "channel": gettext_noop("Channel"),
    "listing": gettext_noop("Listing"),
    "note": gettext_noop("Note"),
}
"""Words for the names in storage, in the order a row is shown; its title stands above them."""

EVERY_ROW = ("status", "category", "brand", "condition", "channel", "currency")
"""What can be said for all rows at once where no column says it."""

_WORDS = (
    (0.9, gettext_noop("quite sure")),
    (0.75, gettext_noop("fairly sure")),
    (0.6, gettext_noop("likely")),
    (0.4, gettext_noop("a guess")),
    (0.0, gettext_noop("a faint guess")),
)
LONGEST = 200


@dataclass(frozen=True)
class Sure:
    """How sure a guess is: in words, and from 0 to 100."""

    words: str
    percent: int
    reason: str


def sure_of(column: Column) -> Sure | None:
    """Return how sure what a column feeds is; None where the values say nothing and the user has."""
    guess = column.guess
    if guess is None:
        return None
    words = next(said for least, said in _WORDS if guess.confidence >= least)
    return Sure(gettext(words), round(100 * guess.confidence), guess.reason)


def open_fields(layout: Layout) -> tuple[str, ...]:
    """Return what can be said for every row: what no column feeds."""
    fed = {use.field for use in layout.uses}
    return tuple(name for name in EVERY_ROW if name not in fed)


def settled(look: Look) -> list[tuple[str, str]]:
    """Return how cells are read, as far as that is settled: the column and the way in words."""
    from sourcing.comps.meaning.days import WRITTEN

    layout = look.layout
    if layout is None:
        return []
    used = {use.column for use in layout.uses}
    found = [
        (layout.header[place], gettext("amounts like {example}", example=f"1{marks.thousands}299{marks.decimal}50"))
        for place, marks in sorted(layout.money.items())
        if place in used
    ]
    found += [
        (layout.header[place], gettext(WRITTEN[order])) for place, order in sorted(layout.days.items()) if place in used
    ]
    found += [(f"“{sign}”", code) for sign, code in sorted(layout.words.get("currency", {}).items())]
    found += [(layout.header[place], gettext("lost zeros are put back")) for place in layout.zeros if place in used]
    totals = {"with": gettext("the shipping is in it"), "without": gettext("the shipping came on top")}
    said = {int(place): totals[how] for place, how in layout.words.get("total", {}).items()}
    return found + [(layout.header[place], how) for place, how in said.items() if place in used]


def read_said(look: Look, form: Mapping[str, str]) -> Layout:
    """Put a sent form into the layout of a look.

    Raises
    ------
    BadInput
        What it says cannot be.
    """
    from sourcing.comps.incoming import say

    columns = {
        _place(name): text for name, text in form.items() if name.startswith("column-") and text != _kept(look, name)
    }
    fixed = {name: form[f"all-{name}"] for name in EVERY_ROW if f"all-{name}" in form}
    for name, text in fixed.items():
        if len(text) > LONGEST:
            wrong = gettext("The {name} of all rows has {count} characters.", name=gettext(name), count=len(text))
            raise BadInput(
                wrong, gettext("Up to {longest}.", longest=LONGEST), gettext("Shorten it."), field=f"all-{name}"
            )
    answers = {name.removeprefix("answer:"): text for name, text in form.items() if name.startswith("answer:") and text}
    before = look.layout.fixed.get("status", "") if look.layout else ""
    if fixed.get("status") and fixed["status"] != before and "status" not in columns.values():
        # Said as an answer, for it decides too whether the only price was asked or paid.
        answers.setdefault("status", fixed.pop("status"))
    offers = {use.field: use for use in (*look.offers, *taken(look))}
    extracts = [use for field, use in offers.items() if f"inside-{field}" in form]
    return say(look, columns=columns, fixed=fixed, extracts=extracts, answers=answers)


def taken(look: Look) -> tuple[Use, ...]:
    """Return what is taken out of longer texts; a currency beside its amount goes without saying."""
    uses = look.layout.uses if look.layout else ()
    return tuple(use for use in uses if use.extract and use.field != "currency")


def anew(layout: Layout) -> Layout:
    """Take back what was said of how cells are to be read, so that it is asked again; the columns stay as they are."""
    fixed = {name: text for name, text in layout.fixed.items() if name != "status"}
    return replace(layout, fixed=fixed, money={}, days={}, words={}, zeros=())


def _place(name: str) -> int:
    text = name.removeprefix("column-")
    if not (text.isascii() and text.isdigit() and len(text) < 6):
        raise BadInput(
            gettext("{text} is the number of no column.", text=repr(text[:40])),
            next_step=gettext("Go back and send the form again."),
        )
    return int(text)


def _kept(look: Look, name: str) -> str | None:
    """Return what a column feeds already, so that what nobody changed is not said anew."""
    place = _place(name)
    return look.columns[place].field if place < len(look.columns) else None
