"""The planner of a haul: which of the candidates to take within cash, prep time and other limits."""

from sourcing.planner.candidates import Asked, Candidate, Copy, joined, judged, of_checks, of_haul
from sourcing.planner.plan import Line, Plan, plan

__all__ = ["Asked", "Candidate", "Copy", "Line", "Plan", "joined", "judged", "of_checks", "of_haul", "plan"]
