"""Guess which column of a file feeds which field, by header words, values and what the table holds, all at once.

Columns compete: the assignment that is best as a whole is taken (a linear assignment problem, solved by scipy).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sourcing.comps.columns import NAMES
from sourcing.comps.header import fold_name
from sourcing.comps.layout import FileForm, Layout, Use
from sourcing.comps.meaning.compared import SOLD_ONLY, TELLING, compare
from sourcing.comps.meaning.decided import currency_beside, fill
from sourcing.comps.meaning.guess import LEAST, PRICES, Guess, sure
from sourcing.comps.meaning.header_words import against, header_scores, meanings
from sourcing.comps.meaning.questions import Question, questions
from sourcing.comps.meaning.sample import Known, Sample
from sourcing.comps.meaning.seen import Seen, by_values
from sourcing.language import gettext

SURE = 0.8
_TITLES = 100  # looked into


__all__ = ["LEAST", "SURE", "Guess", "Recognition", "recognise"]


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
    compare(scores, sample, columns)
    uses = _one_plain_price(_assigned(scores), scores, header)
    uses = _both_prices(uses, scores, header)
    layout = Layout(tuple(header), uses, form or FileForm())
    layout = fill(currency_beside(layout, sample), sample, known)
    guesses = tuple(
        tuple(sorted((guess for guess in of.values() if guess.confidence >= 0.05), key=lambda one: -one.confidence))
        for of in scores
    )
    return Recognition(layout, guesses, questions(layout, sample, known), _offers(layout, sample, known))


def _scores(name: str, seen: Seen) -> dict[str, Guess]:
    if fold_name(name) in NAMES:
        field = fold_name(name)
        return {field: Guess(field, 1.0, gettext("It has the documented name."))}
    said, found = header_scores(name), {}
    weighed = by_values(seen) if seen.filled else dict.fromkeys(NAMES, (0.5, 0.0, ""))
    for field, (fits, proof, why) in weighed.items():
        words = said.get(field, 0.0)
        proof *= 0.3 ** against(name, field)  # values alone do not outweigh a name that says something else
        confidence = fits * (1 - (1 - words) * (1 - proof))
        if "other" in meanings(name) and not words:
            confidence *= 0.4
        reasons = [gettext("the name {name} may mean it", name=repr(name))] * (words > 0) + [why] * bool(
            why and (proof or fits)
        )
        found[field] = Guess(field, round(min(confidence, 0.99), 3), "; ".join(reasons))
    return found


def _assigned(scores: Sequence[Mapping[str, Guess]]) -> tuple[Use, ...]:
    """Return the assignment that is best as a whole."""
    uncontested = _uncontested(scores)
    return _solved(scores) if uncontested is None else uncontested


def _uncontested(scores: Sequence[Mapping[str, Guess]]) -> tuple[Use, ...] | None:
    """Return the assignment where each column can have the one field that fits it best; None where any competes.

    Then none is better, nor as good, and scipy, which takes longer to import than the file to look at, is not needed.
    """
    found: dict[str, int] = {}
    for place, of in enumerate(scores):
        gains = sorted(((sure(of, field) - LEAST, field) for field in NAMES), reverse=True)
        (most, field), (next_most, _) = gains[:2]
        if most <= 0:
            continue
        if most == next_most or field in found:
            return None
        found[field] = place
    return tuple(Use(field, place) for field, place in found.items())


def _solved(scores: Sequence[Mapping[str, Guess]]) -> tuple[Use, ...]:
    import numpy as np
    from scipy.optimize import linear_sum_assignment

    gain = np.zeros((len(scores), len(NAMES)))
    for place, of in enumerate(scores):
        for at, field in enumerate(NAMES):
            gain[place, at] = max(0.0, sure(of, field) - LEAST)
    rows, fields = linear_sum_assignment(gain, maximize=True)
    return tuple(Use(NAMES[at], int(place)) for place, at in zip(rows, fields, strict=True) if gain[place, at] > 0)


def _one_plain_price(
    uses: tuple[Use, ...], scores: Sequence[Mapping[str, Guess]], header: Sequence[str]
) -> tuple[Use, ...]:
    """Take one of two prices only, where no name says that the other is another price of the same listing."""
    prices = {use: scores[use.column][use.field] for use in uses if use.field in PRICES}
    if len(prices) < 2 or any(guess.confidence == 1 or gettext(SOLD_ONLY) in guess.reason for guess in prices.values()):
        return uses
    said = {use: meanings(header[use.column]) for use in prices}
    plain = {use for use in prices if not said[use] & TELLING}
    worse: Use | None
    if len(plain) == 2:
        worse = min(prices, key=lambda use: max(sure(scores[use.column], field) for field in PRICES))
    else:
        worse = next((use for use in plain if not said[use] & {"price", "amount", "total"}), None)
    return tuple(use for use in uses if use is not worse)


def _both_prices(
    uses: tuple[Use, ...], scores: Sequence[Mapping[str, Guess]], header: Sequence[str]
) -> tuple[Use, ...]:
    """Let the only price of a file with a status be what was paid on sold rows and what is asked on the others."""
    prices = [use for use in uses if use.field in PRICES]
    if len(prices) != 1 or meanings(header[prices[0].column]) & {"sold", "asked"}:
        return uses
    guess = scores[prices[0].column][prices[0].field]
    if guess.confidence == 1 or gettext(SOLD_ONLY) in guess.reason:
        return uses
    if not any(use.field == "status" for use in uses):
        plain = not meanings(header[prices[0].column]) & TELLING
        sold = tuple(Use("sold_price", use.column) if use is prices[0] else use for use in uses)
        return sold if plain else uses  # the question how the rows stand makes it the other price where it is
    other = next(field for field in PRICES if field != prices[0].field)
    return (*uses, Use(other, prices[0].column))


def _offers(layout: Layout, sample: Sample, known: Known) -> tuple[Use, ...]:
    fed: Mapping[str, int] = {use.field: use.column for use in layout.uses}
    if "title" not in fed:
        return ()
    texts = [cell for cell in sample.columns[fed["title"]] if cell.strip()][:_TITLES]
    found: list[Use] = []
    for field in ("style_code", "size", "condition"):
        hits = sum(bool(known.inside(field, text)) for text in texts)
        if field not in fed and texts and hits / len(texts) >= 0.2:
            found.append(Use(field, fed["title"], extract=True))
    return tuple(found)
