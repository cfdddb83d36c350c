"""What the values of a file decide beyond doubt: marks of amounts, orders of days, words; put into its layout."""

from __future__ import annotations

from dataclasses import replace

from sourcing.comps.layout import Layout, Mark, Money, Use
from sourcing.comps.meaning import amounts, days, terms
from sourcing.comps.meaning.header_words import meanings
from sourcing.comps.meaning.sample import DAYS, MONEY, Known, Sample, marks_in, places_of, signs_in


def fill(layout: Layout, sample: Sample, known: Known) -> Layout:
    """Put into a layout what the values decide beyond doubt; what it holds already stays."""
    money, order, words = dict(layout.money), dict(layout.days), {k: dict(v) for k, v in layout.words.items()}
    for place in places_of(layout, MONEY):
        if place not in money and len(found := marks_in(sample, place)) == 1:
            money[place] = found[0]
    for place in places_of(layout, DAYS):
        if place not in order and len(found_orders := days.orders_of(sample.cells(place))) == 1:
            order[place] = found_orders[0]
    for place in places_of(layout, MONEY):  # a file writes all its columns one way
        alike = [one for one in dict.fromkeys(money.values()) if one in marks_in(sample, place)]
        if place not in money and len(alike) == 1:
            money[place] = alike[0]
    for place in places_of(layout, MONEY):
        if place not in money and len(grouped := _grouped(layout, sample, place)) == 1:
            money[place] = grouped[0]
    for place in places_of(layout, DAYS):
        orders = [one for one in dict.fromkeys(order.values()) if one in days.orders_of(sample.cells(place))]
        if place not in order and len(orders) == 1:
            order[place] = orders[0]
    for place in places_of(layout, ("status",)):
        about = "sold" in meanings(layout.header[place])
        for cell in sample.cells(place):
            if meaning := terms.status_of(cell, about_sold=about):
                words.setdefault("status", {}).setdefault(terms.term(cell), meaning)
    for place in places_of(layout, ("condition",)):
        for cell in sample.cells(place):
            ours = terms.condition_of(cell, known.conditions)
            if ours and ours != cell.strip():
                words.setdefault("condition", {}).setdefault(terms.term(cell), ours)
    for sign in signs_in(layout, sample):
        if len(options := amounts.may_be(sign)) == 1:
            words.setdefault("currency", {}).setdefault(sign, options[0])
    return replace(layout, money=money, days=order, words=words)


def currency_beside(layout: Layout, sample: Sample) -> Layout:
    """Take the currency from the signs beside the prices where neither a column nor the user names it."""
    if any(use.field == "currency" for use in layout.uses) or "currency" in layout.fixed:
        return layout
    for use in layout.uses:
        if use.field in ("sold_price", "asking_price") and any(
            amounts.apart(cell)[1] for cell in sample.columns[use.column]
        ):
            return replace(layout, uses=(*layout.uses, Use("currency", use.column, extract=True)))
    return layout


def _grouped(layout: Layout, sample: Sample, place: int) -> list[Money]:
    """Return the ways that take a column's marks for thousands, where the rest of the file has another for decimals.

    Never the other way round: "9.5" elsewhere does not make decimals of "1.299", for a size keeps its point anywhere.
    """
    found = marks_in(sample, place)
    decimals = set[Mark]()
    for other in range(len(layout.header)):
        cells = sample.cells(other)[:_LOOKED_AT]
        if other == place or not cells or not any(mark in cell for cell in cells for mark in ".,"):
            continue
        marks = amounts.marks_of(cells)
        sure = len(marks) == 1 and all(map(amounts.is_amount, cells))
        if sure and any(marks[0].decimal in amounts.apart(cell)[0] for cell in cells):
            decimals.add(marks[0].decimal)
    if len(decimals) != 1:
        return []
    (decimal,) = decimals
    return [marks for marks in found if marks.decimal == decimal and marks.thousands]


_LOOKED_AT = 200  # cells of a column that is no price
