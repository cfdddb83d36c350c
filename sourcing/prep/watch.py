"""The stopwatch of a batch: started, paused, finished with what was done; every tap kept, and taken back at will.

The times are the server's own, so a phone that is closed, a page that is loaded anew or a server that is started again
make no difference. A watch that ran too long to be believed is asked about, never counted as it is.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Sequence
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

from sourcing.errors import BadInput, NotFound, Refused
from sourcing.labour import STEPS
from sourcing.language import gettext as _
from sourcing.language import separated
from sourcing.prep.batch import (
    CORRECT,
    FINISH,
    FINISHED,
    LEAVE_OUT,
    PAUSE,
    PAUSED,
    RESUME,
    RUNNING,
    START,
    STILL,
    Batch,
    in_words,
    taps_of,
    told,
)
from sourcing.prep.clock import Clock, Reading, now
from sourcing.storage import Store

MOST_PIECES, MOST_MINUTES = 10_000, 24 * 60
STRANGE, STRANGE_MINUTES = 6.0, 20.0  # times what was to be expected, and minutes more, from which minutes are asked
_LONGEST_NOTE = 200
_TAPS = """SELECT b.id, b.step, b.said, t.id, t.kind, t.at, t.steady, t.boot, t.said
    FROM prep_batch b JOIN prep_tap t ON t.batch_id = b.id AND t.undone_at IS NULL"""
_OPEN = """WHERE b.id IN (SELECT batch_id FROM prep_tap WHERE id IN
    (SELECT MAX(id) FROM prep_tap WHERE undone_at IS NULL GROUP BY batch_id)
    AND kind NOT IN ('finish', 'correct', 'leave out')) ORDER BY b.id, t.id"""


def start(
    store: Store, step: str, *, category: str = "", flags: Sequence[str] = (), items: Sequence[int] = (),
    note: str = "", client_id: str = "", clock: Clock = now,
) -> int:  # fmt: skip
    """Start the watch of a new batch and return its number.

    Parameters
    ----------
    step : one of `sourcing.labour.STEPS`. category, flags : of the pieces, where they are all alike. items : numbers of
    pieces of stock, which know both themselves.

    Raises
    ------
    BadInput, NotFound
        There is no such step, flag or piece.
    """
    from sourcing.flags.marked import read_flags
    from sourcing.settings import load_settings

    if step not in STEPS:
        raise BadInput(
            _("“{step}” is no step of prep.", step=step[:40]), ", ".join(STEPS), _("Choose one."), field="step"
        )
    ticked = list(dict.fromkeys(items))
    said = {
        "category": " ".join(category.split())[:80],
        "flags": list(read_flags(load_settings(store), flags)),
        "items": ticked,
        "note": " ".join(note.split())[:_LONGEST_NOTE],
    }
    _kinds_of(store, ticked)
    with store.write_rows() as raw:
        if (known := _known(raw, client_id)) is not None:
            return known
        text = json.dumps(said, ensure_ascii=False)
        number = int(raw.execute("INSERT INTO prep_batch (step, said) VALUES (?, ?)", (step, text)).lastrowid)
        _add(raw, number, START, {}, client_id, clock())
    return number


def pause(store: Store, number: int, client_id: str = "", clock: Clock = now) -> None:
    """Stop a watch for a while; what it ran so far is asked about where it is too long to be believed."""
    _tap(store, number, PAUSE, (RUNNING,), {}, client_id, clock)


def resume(store: Store, number: int, client_id: str = "", clock: Clock = now) -> None:
    """Let a paused watch run on."""
    _tap(store, number, RESUME, (PAUSED,), {}, client_id, clock)


def still(store: Store, number: int, client_id: str = "", clock: Clock = now) -> None:
    """Say of a watch that was asked about that the work went on all the while."""
    _tap(store, number, STILL, (RUNNING,), {}, client_id, clock)


def finish(
    store: Store, number: int, pieces: int | None = None, *, items: Sequence[int] = (),
    minutes: Decimal | None = None, as_is: bool = False, client_id: str = "", clock: Clock = now,
) -> Batch:  # fmt: skip
    """Finish a batch with the number of pieces done, or with the pieces of stock that were.

    Parameters
    ----------
    minutes : how long it really took, where the watch does not tell. as_is : count what the watch says, though it was
    asked about.

    Raises
    ------
    BadInput
        No piece was done or too many; minutes that cannot be; ``field`` “minutes”: the watch ran too long to be
        believed, and what it really was is to be said.
    NotFound, Refused
        There is no such batch; it is finished already.
    """
    reading = clock()
    batch = get(store, number, clock=lambda: reading)
    if client_id and _was_sent(store, client_id):
        return batch
    _only(batch, (RUNNING, PAUSED), _("be finished"))
    done = _done(store, batch, pieces, items)
    if minutes is None and not as_is:
        _believed(store, batch, done)
    _in_reason(minutes)
    said = {"done": done, "items": list(items or batch.items), "minutes": None if minutes is None else float(minutes)}
    _tap(store, number, FINISH, (RUNNING, PAUSED), said, client_id, lambda: reading)
    return get(store, number, clock=lambda: reading)


def correct(
    store: Store, number: int, *, pieces: int | None = None, minutes: Decimal | None = None, client_id: str = ""
) -> None:
    """Put right how many pieces a finished batch had, or how long it took."""
    batch = get(store, number)
    _only(batch, (FINISHED,), _("be put right"))
    _in_reason(minutes)
    done = [list(one) for one in batch.done] if pieces is None else _done(store, batch, pieces, ())
    kept = minutes if minutes is not None else (Decimal(str(batch.minutes)) if batch.typed else None)
    said = {"done": done, "minutes": None if kept is None else float(kept)}
    _tap(store, number, CORRECT, (FINISHED,), said, client_id, now)


def leave_out(store: Store, number: int, client_id: str = "", clock: Clock = now) -> None:
    """Leave a batch out of everything: its watch was forgotten, or it says nothing."""
    _tap(store, number, LEAVE_OUT, (RUNNING, PAUSED, FINISHED), {}, client_id, clock)


def undo(store: Store, number: int) -> str:
    """Take the last tap on a batch back, the start too; return what it was.

    Raises
    ------
    NotFound
        There is no such batch, or nothing of it is left to undo.
    """
    return _mark(
        store, number, "MAX(id)", "undone_at IS NULL",
        datetime.now(UTC).isoformat(timespec="microseconds"), _("Nothing of this batch is left to undo."),
    )  # fmt: skip


def redo(store: Store, number: int) -> str:
    """Do again what was undone last on a batch, unless something was done since; return what it was."""
    standing = "COALESCE((SELECT MAX(id) FROM prep_tap WHERE batch_id = ? AND undone_at IS NULL), 0)"
    return _mark(
        store, number, "MIN(id)", f"undone_at IS NOT NULL AND id > {standing}", None,
        _("Nothing of this batch is left to do again."),
    )  # fmt: skip


def get(store: Store, number: int, clock: Clock = now) -> Batch:
    """Return one batch.

    Raises
    ------
    NotFound
        There is none of that number, or its start was undone.
    """
    found = _batches(store, "WHERE b.id = ? ORDER BY t.id", (number,), clock())
    if not found:
        raise NotFound(
            _("There is no batch number {number}.", number=number), next_step=_("Open it from the Prep page.")
        )
    return found[0]


def running(store: Store, clock: Clock = now) -> list[Batch]:
    """Return the batches whose watches run or are paused, oldest first."""
    return _batches(store, _OPEN, (), clock())


def finished(store: Store, limit: int = 100_000) -> list[Batch]:
    """Return the last batches that are finished or left out, oldest first."""
    where = "WHERE b.id IN (SELECT batch_id FROM prep_tap WHERE kind IN ('finish', 'leave out') AND undone_at IS NULL"
    found = _batches(store, f"{where} ORDER BY id DESC LIMIT ?) ORDER BY b.id, t.id", (limit,), now())
    return [batch for batch in found if not batch.open]


def _batches(store: Store, where: str, values: tuple[Any, ...], reading: Reading) -> list[Batch]:
    rows = store.read(f"{_TAPS} {where}", values)
    return [told(number, step, said, taps, reading) for number, step, said, taps in taps_of(rows)]


def _tap(
    store: Store, number: int, kind: str, states: Sequence[str], said: dict[str, Any], client_id: str, clock: Clock
) -> None:
    reading = clock()
    with store.write_rows() as raw:
        if _known(raw, client_id) is not None:
            return
        _only(get(store, number, clock=lambda: reading), states, _WORDS[kind])
        _add(raw, number, kind, said, client_id, reading)


_WORDS = {
    PAUSE: "be paused", RESUME: "run on", STILL: "run on", FINISH: "be finished", CORRECT: "be put right",
    LEAVE_OUT: "be left out",
}  # fmt: skip


def _add(raw: sqlite3.Connection, number: int, kind: str, said: dict[str, Any], client_id: str, at: Reading) -> None:
    raw.execute(
        "INSERT INTO prep_tap (batch_id, kind, at, steady, boot, client_id, said) VALUES (?, ?, ?, ?, ?, ?, ?)",
        (
            number, kind, at.wall.isoformat(timespec="microseconds"), at.steady, at.boot, client_id or None,
            json.dumps(said, ensure_ascii=False),
        ),
    )  # fmt: skip


def _known(raw: sqlite3.Connection, client_id: str) -> int | None:
    if not client_id:
        return None
    found = raw.execute("SELECT batch_id FROM prep_tap WHERE client_id = ?", (client_id,)).fetchone()
    return None if found is None else int(found[0])


def _was_sent(store: Store, client_id: str) -> bool:
    return bool(store.read("SELECT 1 FROM prep_tap WHERE client_id = ?", (client_id,)))


def _mark(store: Store, number: int, which: str, where: str, undone_at: str | None, nothing: str) -> str:
    values = (number, number) if "batch_id = ?" in where else (number,)
    with store.write_rows() as raw:
        found = raw.execute(f"SELECT {which} FROM prep_tap WHERE batch_id = ? AND {where}", values).fetchone()[0]  # noqa: S608
        if found is None:
            raise NotFound(nothing, next_step=_("Reload the page."))
        raw.execute("UPDATE prep_tap SET undone_at = ? WHERE id = ?", (undone_at, found))
        return str(raw.execute("SELECT kind FROM prep_tap WHERE id = ?", (found,)).fetchone()[0])


def _only(batch: Batch, states: Sequence[str], to: str) -> None:
    if batch.state not in states:
        raise Refused(
            _("Batch {number} is {state} and cannot {to}.", number=batch.id, state=batch.state, to=to),
            _("One that is {states}.", states=_(" or ").join(states)),
            _("Undo its last tap, if that was a mistake."),
        )


def _done(store: Store, batch: Batch, pieces: int | None, items: Sequence[int]) -> list[list[Any]]:
    """Say what was done: so many pieces of each category and flags."""
    ticked = list(dict.fromkeys(items)) or (list(batch.items) if pieces is None else [])
    if ticked:
        return _kinds_of(store, ticked)
    if pieces is None or not 1 <= pieces <= MOST_PIECES:
        raise BadInput(
            _("No piece was done.") if not pieces else _("{pieces} pieces in one batch.", pieces=pieces),
            _("From 1 to {most}, or the pieces of stock ticked.", most=separated(f"{MOST_PIECES:,}")),
            _("Say how many were done; or leave the batch out."),
            field="pieces",
        )
    return [[batch.category, list(batch.flags), pieces]]


def _kinds_of(store: Store, items: Sequence[int]) -> list[list[Any]]:
    """Count pieces of stock by category and flags."""
    marks = ", ".join("?" * len(items))
    rows = store.read(f"SELECT id, category, flags FROM stock_item WHERE id IN ({marks})", tuple(items))  # noqa: S608
    if len(rows) < len(set(items)):
        gone = sorted(set(items) - {row[0] for row in rows})[0]
        raise NotFound(
            _("There is no piece number {number}.", number=gone), next_step=_("Reload the page and tick again.")
        )
    kinds: dict[tuple[str, str], int] = {}
    for _number, category, flags in rows:
        kinds[category, flags] = kinds.get((category, flags), 0) + 1
    return [[category, json.loads(flags), pieces] for (category, flags), pieces in kinds.items()]


def _in_reason(minutes: Decimal | None) -> None:
    if minutes is not None and not 0 < minutes <= MOST_MINUTES:
        raise BadInput(
            _("{minutes} minutes for one batch.", minutes=minutes), _("Above 0, up to {most}.", most=MOST_MINUTES),
            _("Leave the batch out if it is not known."), field="minutes",
        )  # fmt: skip


def _believed(store: Store, batch: Batch, done: list[list[Any]]) -> None:
    """Ask how long a batch really took where its watch cannot be believed.

    Raises
    ------
    BadInput
        So it is.
    """
    from sourcing.prep.learnt import expected_minutes

    what = None
    if batch.unsure:
        what = _("The server's clock was set back while the watch ran, so its time is not known.")
    elif batch.forgotten or any(_stretches(batch)):
        what = _("The watch says {time} without a pause.", time=in_words(batch.minutes))
    else:
        usual = expected_minutes(store, batch.step, done)
        if batch.minutes > STRANGE * usual and batch.minutes > usual + STRANGE_MINUTES:
            what = _(
                "The watch says {time}, where about {usual} would be usual for it.",
                time=in_words(batch.minutes), usual=in_words(usual),
            )  # fmt: skip
    if what is not None:
        raise BadInput(
            what, _("How many minutes it really took, or that all of it was work."),
            _("Say so, or leave the batch out."), field="minutes",
        )  # fmt: skip


def _stretches(batch: Batch) -> list[bool]:
    """Whether each stretch up to a pause was one that would have been asked about."""
    from sourcing.prep.batch import FORGOTTEN
    from sourcing.prep.clock import between

    found = []
    for first, second in zip(batch.taps, batch.taps[1:], strict=False):
        if first.kind in (START, RESUME, STILL) and second.kind == PAUSE:
            passed = between(first.at, second.at)
            found.append(passed is None or passed >= 60 * FORGOTTEN)
    return found
