"""One timed batch as its taps tell it: how it stands, how long it took, what was done in it."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any, NamedTuple

from sourcing.prep.clock import Reading, between

RUNNING, PAUSED, FINISHED, LEFT_OUT = STATES = ("running", "paused", "finished", "left out")
START, PAUSE, RESUME, STILL, FINISH, CORRECT, LEAVE_OUT = (
    "start", "pause", "resume", "still", "finish", "correct", "leave out",
)  # fmt: skip
FORGOTTEN = 2 * 60.0  # minutes that a watch runs without a tap before it is asked about


class Kind(NamedTuple):
    """Pieces of one kind done in a batch."""

    category: str
    flags: tuple[str, ...]
    pieces: int


@dataclass(frozen=True)
class Tap:
    """One tap on a watch that stands."""

    id: int
    kind: str
    at: Reading
    said: dict[str, Any]


@dataclass(frozen=True)
class Batch:
    """One batch.

    Attributes
    ----------
    minutes : worked so far, pauses left out, or as typed in. stretch : minutes since the last tap, 0 unless it runs.
    unsure : the clock was set back while it ran, so that its time is not known. done : what was done in it, once it is
    finished. items : numbers of the pieces of stock in it.
    """

    id: int
    step: str
    state: str
    category: str
    flags: tuple[str, ...]
    items: tuple[int, ...]
    note: str
    started: datetime
    ended: datetime | None
    minutes: float
    stretch: float
    unsure: bool
    typed: bool  # whether the minutes were typed in
    done: tuple[Kind, ...] = ()
    taps: tuple[Tap, ...] = field(default=(), repr=False)

    @property
    def pieces(self) -> int:
        """Pieces done."""
        return sum(one.pieces for one in self.done)

    @property
    def per_hour(self) -> float | None:
        """Pieces an hour; None before it is finished."""
        return 60.0 * self.pieces / self.minutes if self.state == FINISHED and self.minutes > 0 else None

    @property
    def forgotten(self) -> bool:
        """Whether its watch runs so long without a tap that it may have been forgotten."""
        return self.state == RUNNING and (self.unsure or self.stretch >= FORGOTTEN)

    @property
    def open(self) -> bool:
        """Whether its watch is still about."""
        return self.state in (RUNNING, PAUSED)


def told(number: int, step: str, said: str, taps: Sequence[Tap], now: Reading) -> Batch:
    """Tell how a batch stands by its taps, in order, the first of them its start."""
    first = json.loads(said)
    seconds, since, unsure, minutes, state = 0.0, None, False, None, RUNNING
    done: tuple[Kind, ...] = ()
    items = tuple(first.get("items", ()))
    ended = None
    for tap in taps:
        if since is not None and tap.kind in (PAUSE, STILL, FINISH, LEAVE_OUT):
            passed = between(since, tap.at)
            seconds, unsure = seconds + (passed or 0.0), unsure or passed is None
            since = None
        if tap.kind in (START, RESUME, STILL):
            since, state = tap.at, RUNNING
        elif tap.kind == PAUSE:
            state = PAUSED
        elif tap.kind == LEAVE_OUT:
            state, ended = LEFT_OUT, ended or tap.at.wall
        elif tap.kind in (FINISH, CORRECT):
            state, ended = FINISHED, ended or tap.at.wall
            done = tuple(Kind(category, tuple(flags), pieces) for category, flags, pieces in tap.said["done"])
            items = tuple(tap.said.get("items", items))
        if tap.said.get("minutes") is not None:
            minutes, unsure = float(tap.said["minutes"]), False
    passed = between(since, now) if since is not None else 0.0
    unsure = unsure or passed is None
    return Batch(
        number, step, state, first.get("category", ""), tuple(first.get("flags", ())), items, first.get("note", ""),
        taps[0].at.wall, ended, (seconds + (passed or 0.0)) / 60.0 if minutes is None else minutes,
        (passed or 0.0) / 60.0, unsure, minutes is not None, done, tuple(taps),
    )  # fmt: skip


def taps_of(rows: Sequence[tuple[Any, ...]]) -> Iterator[tuple[int, str, str, list[Tap]]]:
    """Group rows of (batch, step, said, tap, kind, at, steady, boot, said then), a batch's together."""
    at = 0
    while at < len(rows):
        number, step, said = rows[at][:3]
        mine = []
        while at < len(rows) and rows[at][0] == number:
            _, _, _, tap, kind, wall, steady, boot, then = rows[at]
            mine.append(Tap(tap, kind, Reading(datetime.fromisoformat(wall), steady, boot), json.loads(then)))
            at += 1
        yield number, step, said, mine


def in_words(minutes: float) -> str:
    """Write minutes as hours and minutes, or as seconds below two minutes."""
    if minutes < 2:
        return f"{round(minutes * 60)} s"
    whole = timedelta(minutes=round(minutes))
    hours, rest = divmod(int(whole.total_seconds()) // 60, 60)
    return f"{hours} h {rest:02d} min" if hours else f"{rest} min"
