"""What only two or more columns together tell: sums, prices above others, days before others, prices of sold rows."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sourcing.comps.layout import Money
from sourcing.comps.meaning import amounts, days, terms
from sourcing.comps.meaning.guess import LEAST, PRICES, Scores, at_least, sure, weigh
from sourcing.comps.meaning.header_words import meanings
from sourcing.comps.meaning.sample import Sample
from sourcing.comps.meaning.seen import Seen
from sourcing.language import gettext, gettext_noop

TELLING = frozenset({"asked", "sold", "start", "final", "first"})  # words that say which price it is
SOLD_ONLY = gettext_noop("it is filled on sold rows only")
ENOUGH = 3  # rows that a comparison needs
MOST = 12  # columns compared with each other


def compare(scores: Sequence[Scores], sample: Sample, columns: Sequence[Seen]) -> None:
    """Weigh the guesses of a file's columns by each other."""
    numbers = _Numbers(sample)
    money = [place for place, of in enumerate(scores) if max(sure(of, field) for field in PRICES) >= LEAST]
    if not money:
        money = _the_amounts(scores, columns)
    money = sorted(money, key=lambda place: -max(sure(scores[place], field) for field in PRICES))[:MOST]
    _sums(scores, columns, numbers, money)
    _above(scores, sample, numbers, money)
    _on_sold_rows(scores, sample, money)
    _in_order(scores, sample)


class _Numbers:
    """The amounts of columns as numbers, nan for what is none; read once."""

    def __init__(self, sample: Sample) -> None:
        self._sample = sample
        self._read: dict[int, Any] = {}

    def __getitem__(self, place: int) -> Any:
        import numpy as np

        if place not in self._read:
            cells = self._sample.columns[place]
            marks = amounts.marks_of(cells)[0]
            self._read[place] = np.array([_number(cell, marks) for cell in cells])
        return self._read[place]


def _number(cell: str, marks: Money) -> float:
    try:
        return float(amounts.plain_amount(cell, marks))
    except ValueError:
        return float("nan")


def _the_amounts(scores: Sequence[Scores], columns: Sequence[Seen]) -> list[int]:
    """Where no name says price, take the first column of amounts with cents that has not another meaning."""
    for place, seen in enumerate(columns):
        taken = max((guess.confidence for field, guess in scores[place].items() if field not in PRICES), default=0)
        if taken < LEAST and seen.amounts > 0.9 and seen.with_cents > 0.5 and not seen.fine:
            why = gettext("no name says price, and these are amounts with cents")
            at_least(scores[place], "sold_price", LEAST + 0.05, why)
            return [place]
    return []


def _sums(scores: Sequence[Scores], columns: Sequence[Seen], numbers: _Numbers, money: Sequence[int]) -> None:
    """Doubt a price that is the sum of another one, times the quantity, and the shipping."""
    import numpy as np

    ships = [place for place, of in enumerate(scores) if sure(of, "shipping_charged") >= 0.3]
    counts: list[Any] = [1.0, *(numbers[place] for place, seen in enumerate(columns) if seen.small == 1)][:MOST]
    for whole in money:
        for part in money:
            for ship in ships:
                if len({whole, part, ship}) < 3:
                    continue
                for count in counts:
                    off = np.abs(numbers[whole] - count * numbers[part] - numbers[ship])
                    both = ~np.isnan(off) & (numbers[ship] != 0)
                    if both.sum() >= ENOUGH and (off[both] < 0.006).mean() > 0.9:
                        for field in PRICES:
                            why = gettext("it is the sum of another price and shipping")
                            weigh(scores[whole], field, 0.3, why)
                        break


def _above(scores: Sequence[Scores], sample: Sample, numbers: _Numbers, money: Sequence[int]) -> None:
    """Where a name says which price one column is, take the one above or below it for the other price."""
    import numpy as np

    money = [place for place in money if max(sure(scores[place], field) for field in PRICES) >= LEAST]
    told = {place: bool(meanings(sample.header[place]) & TELLING) for place in money}
    highs, lows = set(), set()
    for high in money:
        for low in money:
            if high == low or not (told[high] or told[low]):
                continue
            above, below = numbers[high], numbers[low]
            both = ~np.isnan(above) & ~np.isnan(below)
            above, below = above[both], below[both]
            if len(above) < ENOUGH or (above == below).all():
                continue
            if (above >= below).mean() >= 0.9 and (below > above / 5).mean() > 0.9:
                highs.add(high)
                lows.add(low)
    for place in highs:
        weigh(scores[place], "asking_price", 1.4, gettext("it is no less than another price"))
    for place in lows:
        weigh(scores[place], "sold_price", 1.4, gettext("it is no more than another price"))


def _on_sold_rows(scores: Sequence[Scores], sample: Sample, money: Sequence[int]) -> None:
    status = max(range(len(scores)), key=lambda place: sure(scores[place], "status"), default=None)
    if status is None or sure(scores[status], "status") < LEAST:
        return
    about = "sold" in meanings(sample.header[status])
    sold = [terms.status_of(cell, about_sold=about) == "sold" for cell in sample.columns[status]]
    for place in money:
        filled = [bool(cell.strip()) for cell in sample.columns[place]]
        if any(sold) and not all(sold) and filled == sold:
            weigh(scores[place], "sold_price", 3, gettext(SOLD_ONLY))
            weigh(scores[place], "asking_price", 0.5, gettext(SOLD_ONLY))


def _in_order(scores: Sequence[Scores], sample: Sample) -> None:
    """Take days that never come after another column's for those of listing."""
    places = [place for place, of in enumerate(scores) if max(sure(of, "ended_on"), sure(of, "listed_on")) >= 0.2][:8]
    read = {place: _days(sample.columns[place]) for place in places}
    for one in places:
        for other in places:
            pairs = [(a, b) for a, b in zip(read[one], read[other], strict=True) if a and b]
            if one != other and len(pairs) >= ENOUGH and all(a <= b for a, b in pairs) and any(a < b for a, b in pairs):
                before = gettext("its days come before those of another column")
                weigh(scores[one], "listed_on", 1.8, before)
                weigh(scores[other], "ended_on", 1.8, gettext("its days come after those of another column"))
                weigh(scores[one], "ended_on", 0.7, before)


def _days(cells: Sequence[str]) -> list[str]:
    orders = days.orders_of(cells)
    return [days.day_text(cell, orders[0]) if orders and cell.strip() else "" for cell in cells]
