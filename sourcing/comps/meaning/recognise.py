"""Guess which column of a file feeds which field, by header words, values and what the table holds, all at once.

Columns compete: the assignment that is best as a whole is taken (a linear assignment problem, solved by scipy).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation

from sourcing.comps.columns import NAMES
from sourcing.comps.header import fold_name
from sourcing.comps.layout import FileForm, Layout, Use
from sourcing.comps.meaning import amounts, days, terms
from sourcing.comps.meaning.header_words import header_scores, meanings
from sourcing.comps.meaning.questions import Known, Question, Sample, fill, questions
from sourcing.comps.meaning.seen import Seen, by_values

LEAST = 0.4  # a column whose best guess is less sure is ignored until the user says otherwise
SURE = 0.8
_PRICES = ("asking_price", "sold_price")


@dataclass(frozen=True)
class Guess:
    """One field a column may feed; confidence is from 0 to 1, of our own header words it is 1."""

    field: str
    confidence: float
    reason: str


@dataclass(frozen=True)
class Recognition:
    """What a file was understood as.

    Attributes
    ----------
    layout : how it would be read; what questions are open about is left out of it.
    guesses : of every column, what it may be, the surest first.
    questions : what only the user can say; while there are any, the file is not ready.
    offers : values that could also be taken out of a text (a size in the title); only when the user wants it.
    """

    layout: Layout
    guesses: tuple[tuple[Guess, ...], ...]
    questions: tuple[Question, ...]
    offers: tuple[Use, ...]

    @property
    def ready(self) -> bool:
        """Whether nothing is left to ask."""
        return not self.questions

    @property
    def certain(self) -> bool:
        """Whether nothing is left to ask and every column used is as good as sure."""
        return self.ready and all(self.confidence(use) >= SURE for use in self.layout.uses)

    def confidence(self, use: Use) -> float:
        """Return how sure the guess behind a use is; 1 for what the user said otherwise."""
        return next((guess.confidence for guess in self.guesses[use.column] if guess.field == use.field), 1.0)


def recognise(
    header: Sequence[str], rows: Sequence[Sequence[str]], known: Known, *, form: FileForm | None = None
) -> Recognition:
    """Guess what the columns of a file mean.

    Parameters
    ----------
    header : sequence of str
        The file's own column names.
    rows : sequence of rows of text
        A sample, as long as the header each.
    known : Known
        What the table already holds.
    form : FileForm, optional
        How the file becomes cells; kept in the layout.
    """
    sample = Sample.of(header, rows)
    columns = [Seen(cells, known.words) for cells in sample.columns]
    scores = [_scores(name, seen) for name, seen in zip(header, columns, strict=True)]
    _compare(scores, sample, columns)
    uses = _assigned(scores)
    uses = _both_prices(uses, scores, header)
    layout = Layout(tuple(header), uses, form or FileForm())
    layout = fill(_currency_beside(layout, columns), sample, known)
    guesses = tuple(
        tuple(sorted((guess for guess in of.values() if guess.confidence >= 0.05), key=lambda one: -one.confidence))
        for of in scores
    )
    return Recognition(layout, guesses, questions(layout, sample, known), _offers(layout, sample, known))


def _scores(name: str, seen: Seen) -> dict[str, Guess]:
    if fold_name(name) in NAMES:
        field = fold_name(name)
        return {field: Guess(field, 1.0, "It has the documented name.")}
    said, found = header_scores(name), {}
    weighed = by_values(seen) if seen.filled else dict.fromkeys(NAMES, (0.5, 0.0, ""))
    for field, (fits, proof, why) in weighed.items():
        words = said.get(field, 0.0)
        confidence = fits * (1 - (1 - words) * (1 - proof))
        if "other" in meanings(name) and not words:
            confidence *= 0.4
        reasons = [f"the name {name!r} may mean it"] * (words > 0) + [why] * bool(why and (proof or fits))
        found[field] = Guess(field, round(min(confidence, 0.99), 3), "; ".join(reasons))
    return found


def _raise(scores: dict[str, Guess], field: str, factor: float, why: str) -> None:
    guess = scores.get(field)
    if guess is None or guess.confidence in (0.0, 1.0):
        return
    sure = guess.confidence
    sure = 1 - (1 - sure) / factor if factor > 1 else sure * factor
    scores[field] = Guess(field, round(min(sure, 0.99), 3), f"{guess.reason}; {why}")


def _compare(scores: list[dict[str, Guess]], sample: Sample, columns: list[Seen]) -> None:
    """Weigh what only two columns together tell."""
    best = [max((guess.confidence for guess in of.values()), default=0) for of in scores]
    money = [
        place
        for place, of in enumerate(scores)
        if best[place] and any(of.get(f, _NONE).confidence >= 0.45 for f in _PRICES)
    ]
    money = money[:12]
    read = {place: _numbers(sample.columns[place]) for place in money}
    for one in money:
        for other in money:
            pairs = [(a, b) for a, b in zip(read[one], read[other], strict=True) if a is not None and b is not None]
            if one == other or len(pairs) < 3 or all(a == b for a, b in pairs):
                continue
            if (
                sum(a >= b for a, b in pairs) / len(pairs) >= 0.9
                and sum(b > a / 5 for a, b in pairs) / len(pairs) > 0.9
            ):
                _raise(scores[one], "asking_price", 1.4, "it is no less than another price")
                _raise(scores[other], "sold_price", 1.4, "it is no more than another price")
            for third in range(len(scores)):
                if third in (one, other) or scores[third].get("shipping_charged", _NONE).confidence < 0.3:
                    continue
                ship = _numbers(sample.columns[third])
                sums = [a == b + c for a, b, c in zip(read[one], read[other], ship, strict=True) if a and b and c]
                if len(sums) >= 3 and sum(sums) / len(sums) > 0.9:
                    for field in _PRICES:
                        _raise(scores[one], field, 0.3, "it is the sum of another price and shipping")
    status = max(range(len(scores)), key=lambda i: scores[i].get("status", _NONE).confidence, default=None)
    if status is not None and scores[status].get("status", _NONE).confidence >= LEAST:
        about = "sold" in meanings(sample.header[status])
        sold = [terms.status_of(cell, about_sold=about) == "sold" for cell in sample.columns[status]]
        for place in money:
            filled = [bool(cell.strip()) for cell in sample.columns[place]]
            if any(sold) and not all(sold) and not all(filled) and filled == sold:
                _raise(scores[place], "sold_price", 3, "it is filled on sold rows only")
                _raise(scores[place], "asking_price", 0.5, "it is filled on sold rows only")
    _compare_days(scores, sample)


def _compare_days(scores: list[dict[str, Guess]], sample: Sample) -> None:
    places = [p for p, of in enumerate(scores) if of.get("ended_on", of.get("listed_on", _NONE)).confidence >= 0.2][:8]
    read = {place: _days(sample.columns[place]) for place in places}
    for one in places:
        for other in places:
            pairs = [(a, b) for a, b in zip(read[one], read[other], strict=True) if a and b]
            if one != other and len(pairs) >= 3 and all(a <= b for a, b in pairs) and any(a < b for a, b in pairs):
                _raise(scores[one], "listed_on", 1.8, "its days come before those of another column")
                _raise(scores[other], "ended_on", 1.8, "its days come after those of another column")
                _raise(scores[one], "ended_on", 0.7, "its days come before those of another column")


def _numbers(cells: Sequence[str]) -> list[Decimal | None]:
    marks = amounts.marks_of(cells)[0]
    found: list[Decimal | None] = []
    for cell in cells:
        try:
            found.append(Decimal(amounts.plain_amount(cell, marks)) if amounts.is_amount(cell) else None)
        except InvalidOperation:
            found.append(None)
    return found


def _days(cells: Sequence[str]) -> list[str]:
    orders = days.orders_of(cells)
    return [days.day_text(cell, orders[0]) if orders and cell.strip() else "" for cell in cells]


_NONE = Guess("", 0.0, "")


def _assigned(scores: list[dict[str, Guess]]) -> tuple[Use, ...]:
    import numpy as np
    from scipy.optimize import linear_sum_assignment

    gain = np.zeros((len(scores), len(NAMES)))
    for place, of in enumerate(scores):
        for at, field in enumerate(NAMES):
            gain[place, at] = max(0.0, of.get(field, _NONE).confidence - LEAST)
    rows, fields = linear_sum_assignment(gain, maximize=True)
    return tuple(Use(NAMES[at], int(place)) for place, at in zip(rows, fields, strict=True) if gain[place, at] > 0)


def _both_prices(uses: tuple[Use, ...], scores: list[dict[str, Guess]], header: Sequence[str]) -> tuple[Use, ...]:
    """Let the only price of a file with a status be what was paid on sold rows and what is asked on the others."""
    prices = [use for use in uses if use.field in _PRICES]
    said = meanings(header[prices[0].column]) if prices else frozenset()
    documented = prices and scores[prices[0].column].get(prices[0].field, _NONE).confidence == 1
    if len(prices) != 1 or documented or said & {"sold", "asked"} or not any(use.field == "status" for use in uses):
        return uses
    reasons = scores[prices[0].column][prices[0].field].reason
    if "on sold rows only" in reasons:
        return uses
    other = next(field for field in _PRICES if field != prices[0].field)
    return (*uses, Use(other, prices[0].column))


def _currency_beside(layout: Layout, columns: list[Seen]) -> Layout:
    """Take the currency from the signs beside the prices when no column of its own names it."""
    if any(use.field == "currency" for use in layout.uses):
        return layout
    for use in layout.uses:
        if use.field in ("sold_price", "asking_price") and columns[use.column].signed > 0:
            return Layout(layout.header, (*layout.uses, Use("currency", use.column, extract=True)), layout.form)
    return layout


def _offers(layout: Layout, sample: Sample, known: Known) -> tuple[Use, ...]:
    fed: Mapping[str, int] = {use.field: use.column for use in layout.uses}
    if "title" not in fed:
        return ()
    texts = [cell for cell in sample.columns[fed["title"]] if cell.strip()]
    found: list[Use] = []
    for field in ("style_code", "size", "condition"):
        hits = sum(bool(known.inside(field, text)) for text in texts)
        if field not in fed and texts and hits / len(texts) >= 0.2:
            found.append(Use(field, fed["title"], extract=True))
    return tuple(found)
