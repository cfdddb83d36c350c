"""Work on a file that waits, as background jobs: look at it, try it, load it."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from sourcing.language import gettext
from web.jobs import Job

if TYPE_CHECKING:
    from sourcing.comps.incoming import Look
    from sourcing.comps.layout import Layout
    from sourcing.comps.report import LoadReport
    from sourcing.comps.waiting import Waiting
    from web.state import State


@dataclass(frozen=True)
class Tried:
    """How a file reads; no report while something about it is still to be said."""

    look: Look
    report: LoadReport | None = None


@dataclass(frozen=True)
class Loaded:
    """What a load did; `more` tells that the archive the file came in holds others, for which it still waits."""

    report: LoadReport
    more: bool = False


def looked(state: State, one: Waiting, layout: Layout | None = None) -> Job:
    """Look at a file; its outcome is a `Look`."""
    said = layout or one.layout

    def call(job: Job) -> Look:
        from sourcing.comps.lines import count_lines

        job.total = count_lines(one.path)
        return _look(state, one, said, job.tell)

    return state.jobs.ask(("look", *_said(one), said), "look", one.token, one.name, call)


def arrived(state: State, one: Waiting) -> Job:
    """Load a file that just came if it is in our own format, all or nothing; the outcome is None where it is not."""

    def call(job: Job) -> Loaded | None:
        from sourcing.comps import waiting
        from sourcing.errors import SourcingError, Stopped

        try:
            seen = _look(state, one, None, job.check)
        except Stopped:  # it goes on waiting
            raise
        except SourcingError:
            waiting.drop(state.folder, one.token)  # it is no file that is read
            raise
        return _load(state, one, seen, job, keep_good=False) if seen.origin == "ours" else None

    return state.jobs.ask(("arrive", one.token), "arrive", one.token, one.name, call)


def tried(state: State, one: Waiting) -> Job:
    """Read a file as it would be loaded, and store nothing; the outcome is a `Tried`."""
    from sourcing.comps.version import data_version

    def call(job: Job) -> Tried:
        from sourcing.comps.incoming import load_seen
        from sourcing.comps.lines import count_lines

        seen = _look(state, one, one.layout, job.check)
        if not seen.ready:
            return Tried(seen)
        job.total = count_lines(one.path)
        return Tried(seen, load_seen(state.store, one.path, one.name, seen, dry=True, on_progress=job.tell))

    key = ("rows", *_said(one), one.layout, data_version(state.store))
    return state.jobs.ask(key, "rows", one.token, one.name, call)


def loaded(state: State, token: str, *, keep_good: bool, once: str) -> Job:
    """Load a file as it was said to be read, and remember how; the outcome is a `Loaded`.

    A button pressed twice sends the same `once`, and loads once.

    Raises
    ------
    NotFound
        No file waits under the token.
    """
    from sourcing.comps import waiting

    key = ("load", token, once)
    known = state.jobs.find(key)
    if known is not None:
        return known
    one = waiting.take(state.folder, token)

    def call(job: Job) -> Loaded:
        from sourcing.errors import BadInput

        seen = _look(state, one, one.layout, job.check)
        if not seen.ready:
            raise BadInput(
                gettext("Something about this file is still to be said."),
                next_step=gettext("Go on with it on the Comps page."),
            )
        return _load(state, one, seen, job, keep_good=keep_good)

    return state.jobs.ask(key, "load", token, one.name, call)


def _load(state: State, one: Waiting, seen: Look, job: Job, *, keep_good: bool) -> Loaded:
    from sourcing.comps import waiting
    from sourcing.comps.incoming import load_seen
    from sourcing.comps.lines import count_lines
    from sourcing.errors import NotFound

    job.total = count_lines(one.path)
    report = load_seen(state.store, one.path, one.name, seen, keep_good=keep_good, on_progress=job.tell)
    if report.batch_id is None and report.rejected:
        return Loaded(report)
    more = len(seen.sniffed.members) > 1
    with suppress(NotFound):  # the user dropped it meanwhile, which takes nothing back of the load
        if more:
            waiting.note(replace(one, member="", encoding="", sheet="", layout=None))
        else:
            waiting.drop(state.folder, one.token)
    if report.new:
        learn(state)
    return Loaded(report, more)


def learn(state: State) -> None:
    """Learn anew in the background; the old fit answers until the new one is stored."""
    from sourcing.fitting import keep_up

    kept = state.store
    state.task.start(lambda say: keep_up(kept, say))


def _look(state: State, one: Waiting, layout: Layout | None, tell: Callable[[int], None]) -> Look:
    from sourcing.comps.incoming import look

    return look(
        state.store, one.path, one.name, member=one.member, encoding=one.encoding, sheet=one.sheet, layout=layout,
        on_progress=tell,
    )  # fmt: skip


def _said(one: Waiting) -> tuple[str, ...]:
    return (one.token, one.member, one.encoding, one.sheet)
