"""Long work in the background, one piece after the other, with how far it is and a way to stop it."""

from __future__ import annotations

import logging
import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Literal

from sourcing.errors import NotFound, SourcingError, Stopped
from sourcing.language import gettext, speaking, spoken

log = logging.getLogger(__name__)
KEPT = 30  # finished pieces whose outcome is remembered
SOON = 1.5  # seconds a page waits for work before it shows how far it is
State = Literal["waits", "runs", "done", "stopped", "failed"]
Kind = Literal["look", "arrive", "rows", "load"]


@dataclass(eq=False)
class Job:
    """One piece of work.

    Attributes
    ----------
    number : by which pages name it.
    key : what is asked for; asked again while it is under way or remembered, it is not done again.
    kind, token, name : what it is, of which file that waits, and what the user calls that file.
    rows, total : read so far, and about how many there are; None where that is not known beforehand.
    result, error : what came of it, once `state` is "done" or "failed".
    """

    number: int
    key: object
    kind: Kind
    token: str
    name: str
    state: State = "waits"
    rows: int = 0
    total: int | None = None
    result: Any = None
    error: Exception | None = None
    started: float = 0.0
    seen: bool = False  # whether a failure was shown
    _over: threading.Event = field(default_factory=threading.Event)
    _stop: bool = False

    def tell(self, rows: int) -> None:
        """Note how many rows are read; to be given as `on_progress`.

        Raises
        ------
        Stopped
            The user has asked for it.
        """
        self.rows = rows
        self.check(rows)

    def check(self, _rows: int = 0) -> None:
        """Do as `tell` without noting rows: it goes through them before the work proper."""
        if self._stop:
            raise Stopped(
                gettext("You stopped it; nothing was stored."),
                next_step=gettext("The file still waits on the Comps page."),
            )

    def stop(self) -> None:
        """End it at the next rows; what waits never starts."""
        self._stop = True

    @property
    def stopping(self) -> bool:
        """Whether it was asked to end."""
        return self._stop

    @property
    def over(self) -> bool:
        """Whether it has ended in any way."""
        return self._over.is_set()

    def wait(self, seconds: float = SOON) -> bool:
        """Wait for the end, and tell whether it was reached."""
        return self._over.wait(seconds)

    @property
    def pace(self) -> float:
        """Rows read a second so far; 0 before the first."""
        spent = time.monotonic() - self.started
        return self.rows / spent if self.state == "runs" and self.rows and spent > 0 else 0.0

    @property
    def left(self) -> float | None:
        """Seconds until all rows are read at that pace; None where it cannot be told."""
        if not self.pace or self.total is None or self.rows >= self.total:
            return None
        return (self.total - self.rows) / self.pace

    def outcome(self) -> Any:
        """Return what came of it.

        Raises
        ------
        Exception
            The error that ended it.
        """
        if self.error is not None:
            self.seen = True
            raise self.error
        return self.result

    def _run(self, call: Callable[[Job], Any]) -> None:
        try:
            self.tell(0)
            self.started, self.state = time.monotonic(), "runs"
            self.result = call(self)
            self.state = "done"
        except Stopped as stopped:
            self.error, self.state = stopped, "stopped"
        except Exception as error:
            if not isinstance(error, SourcingError):
                log.exception("Work %s (%s) failed", self.number, self.kind)
            self.error, self.state = error, "failed"
        self._over.set()


class Jobs:
    """Do work in the order asked, in one thread; looks at files have a thread of their own, so that none waits."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._count = 0
        self._jobs: dict[int, Job] = {}
        self._waiting: dict[bool, deque[tuple[Job, Callable[[Job], Any]]]] = {True: deque(), False: deque()}
        self._busy = {True: False, False: False}

    def ask(self, key: object, kind: Kind, token: str, name: str, call: Callable[[Job], Any]) -> Job:
        """Return the job of a key: the one under way or remembered, else a new one that does ``call(job)``."""
        lane = kind == "look"
        with self._lock:
            if (known := self._find(key)) is not None:
                return known
            self._count += 1
            job = Job(self._count, key, kind, token, name)
            self._jobs[job.number] = job
            self._forget_old()
            self._waiting[lane].append((job, speaking(spoken())(call)))
            if not self._busy[lane]:
                self._busy[lane] = True
                # A daemon: a server that is stopped does not wait for a long load, whose transaction is rolled back.
                threading.Thread(target=self._work, args=(lane,), name="files", daemon=True).start()
        return job

    def find(self, key: object) -> Job | None:
        """Return the job of a key, under way or remembered; None for none, or one that failed or is being stopped."""
        with self._lock:
            return self._find(key)

    def _find(self, key: object) -> Job | None:
        jobs = (job for job in self._jobs.values() if job.key == key and not job.stopping and job.error is None)
        return next(jobs, None)

    def get(self, number: int) -> Job:
        """Return a job by its number.

        Raises
        ------
        NotFound
            It is forgotten: it ended long ago, or the application was started anew.
        """
        with self._lock:
            job = self._jobs.get(number)
        if job is None:
            raise NotFound(
                gettext("That work is no longer known here."),
                next_step=gettext(
                    "See the Comps page: what was loaded is in the list of loads, what was not still waits."
                ),
            )
        return job

    def drop(self, job: Job) -> None:
        """Remember a job no longer."""
        with self._lock:
            self._jobs.pop(job.number, None)

    def under_way(self) -> list[Job]:
        """Return what runs or waits to run, looks left out, and what failed unseen."""
        with self._lock:
            jobs = list(self._jobs.values())
        return [
            job for job in jobs if job.kind != "look" and (not job.over or (job.state == "failed" and not job.seen))
        ]

    def before(self, job: Job) -> int:
        """Return how many pieces are to end before one starts."""
        with self._lock:
            return sum(
                one.number < job.number and not one.over and (one.kind == "look") == (job.kind == "look")
                for one in self._jobs.values()
            )

    def _forget_old(self) -> None:
        over = [job.number for job in self._jobs.values() if job.over]
        for number in over[: max(0, len(over) - KEPT)]:
            del self._jobs[number]

    def _work(self, lane: bool) -> None:
        while True:
            with self._lock:
                if not self._waiting[lane]:
                    self._busy[lane] = False
                    return
                job, call = self._waiting[lane].popleft()
            job._run(call)
