"""The planner of a haul: which of the candidates to take within cash, prep time and other limits."""

from sourcing.planner.candidates import Asked, Candidate, Copy, joined, judged, of_checks, of_haul
from sourcing.planner.limits import read_limits
from sourcing.planner.plan import Line, Plan, plan
from sourcing.planner.shelf import as_text, of_list, stock_of
from sourcing.planner.taking import Taking, Wanted, is_taken, last_taking, take_plan, undo_taking

__all__ = ["Asked", "Candidate", "Copy", "Line", "Plan", "Taking", "Wanted", "as_text", "is_taken", "joined", "judged",
           "last_taking", "of_checks", "of_haul", "of_list", "plan", "read_limits", "stock_of", "take_plan",
           "undo_taking"]  # fmt: skip
