"""The tuning bench: what each setting of a rule would have brought, on the user's own history."""

from sourcing.tuning.aims import OBJECTIVES
from sourcing.tuning.bench import suggestion_of, tune
from sourcing.tuning.buys import RULES
from sourcing.tuning.outcomes import Outcome, Outcomes
from sourcing.tuning.prepare import is_prepared, prepare
from sourcing.tuning.result import Band, Bench, Frontier, Gain, Point, Suggestion
from sourcing.tuning.suggestion import accept

__all__ = ["OBJECTIVES", "RULES", "Band", "Bench", "Frontier", "Gain", "Outcome", "Outcomes", "Point", "Suggestion",
           "accept", "is_prepared", "prepare", "suggestion_of", "tune"]  # fmt: skip
