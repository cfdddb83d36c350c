"""The handful of exception classes that cross a room's border; only ``web`` turns them into HTTP or exit codes."""

from __future__ import annotations


class SourcingError(Exception):
    """Carry one plain-words message: what was wrong, what is accepted, what to do next.

    Parameters
    ----------
    wrong : str
        What was wrong, with the offending value in it.
    accepted : str
        What would be accepted instead; may be empty.
    next_step : str
        What the user should do next; may be empty.
    field : str
        Name of the form field or column at fault; may be empty.
    """

    code = "error"

    def __init__(self, wrong: str, accepted: str = "", next_step: str = "", *, field: str = "") -> None:
        self.wrong = wrong
        self.accepted = accepted
        self.next_step = next_step
        self.field = field
        super().__init__(" ".join(part for part in (wrong, accepted, next_step) if part))

    def as_dict(self) -> dict[str, str]:
        """Return the parts as a JSON-able mapping."""
        return {
            "code": self.code,
            "wrong": self.wrong,
            "accepted": self.accepted,
            "next_step": self.next_step,
            "field": self.field,
        }


class BadInput(SourcingError):
    """A value the user gave cannot be used."""

    code = "bad_input"


class NotFound(SourcingError):
    """Something the user named does not exist."""

    code = "not_found"


class Refused(SourcingError):
    """An action is refused as things stand: a closed haul, a change undone already, a full disk."""

    code = "refused"


class NoAccess(SourcingError):
    """Whoever asks is not let in that way: no key, or a line on which nothing is given out."""

    code = "no_access"


class Busy(SourcingError):
    """The store is held by another writer; trying again is safe."""

    code = "busy"


class Stopped(SourcingError):
    """Long work was stopped by the user; nothing was changed."""

    code = "stopped"
