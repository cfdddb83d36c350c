"""What a column may be, and how surely."""

from __future__ import annotations

from collections.abc import Mapping, MutableMapping
from dataclasses import dataclass

LEAST = 0.4  # a column whose best guess is less sure is ignored until the user says otherwise
PRICES = ("asking_price", "sold_price")


@dataclass(frozen=True)
class Guess:
    """One field a column may feed; confidence is from 0 to 1, of our own header words it is 1."""

    field: str
    confidence: float
    reason: str


Scores = MutableMapping[str, Guess]  # of one column, by field


def sure(scores: Mapping[str, Guess], field: str) -> float:
    """Return how sure a column's guess of a field is, 0 for none."""
    return scores[field].confidence if field in scores else 0.0


def weigh(scores: Scores, field: str, factor: float, why: str) -> None:
    """Make a guess surer (`factor` above 1 divides the doubt) or less sure (below 1); documented names stay as sure."""
    guess = scores.get(field)
    if guess is None or guess.confidence in (0.0, 1.0):
        return
    found = 1 - (1 - guess.confidence) / factor if factor > 1 else guess.confidence * factor
    scores[field] = Guess(field, round(min(found, 0.99), 3), f"{guess.reason}; {why}")


def at_least(scores: Scores, field: str, confidence: float, why: str) -> None:
    """Raise a guess to a confidence it has not got yet."""
    if sure(scores, field) < confidence:
        scores[field] = Guess(field, confidence, why)
