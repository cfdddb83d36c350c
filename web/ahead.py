"""Forecast ahead in the background of a server, in small passes with pauses, so that no request waits for it."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from sourcing.errors import SourcingError, Stopped
from web.state import State

if TYPE_CHECKING:
    from flask import Flask

    from sourcing.storage import Store

log = logging.getLogger(__name__)
LOOK = 2.0  # seconds between two looks at what the forecasts rest on
QUIET = 0.25  # seconds after the last request before work goes on: a page is several requests
SHARE = 3.0  # pauses are this many times as long as the work before them


class AheadOfTime:
    """A thread that forecasts ahead whenever what the forecasts rest on has changed, until it is closed."""

    def __init__(self, state: State, *, look: float = LOOK, quiet: float = QUIET) -> None:
        self.state, self.look, self.quiet = state, look, quiet
        self.made_for: Any = None  # what everything made so far rests on
        self.spent = 0.0  # seconds of CPU, for the benchmarks
        self._closed = threading.Event()
        self._lock = threading.Lock()
        self._under_way, self._last = 0, 0.0
        # A daemon: it holds nothing that has to be brought to an end.
        self._thread = threading.Thread(target=self._work, name="ahead", daemon=True)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def close(self) -> None:
        """Stop it at the next pass and wait for that."""
        self._closed.set()
        self._thread.join(5.0)

    def came(self) -> None:
        """Note a request: work waits until it is answered."""
        with self._lock:
            self._under_way += 1

    def went(self) -> None:
        """Note that it is answered."""
        with self._lock:
            self._under_way -= 1
            self._last = time.monotonic()

    def _is_quiet(self) -> bool:
        return not self._under_way and time.monotonic() - self._last >= self.quiet

    def _work(self) -> None:
        while not self._closed.wait(self.look):
            if self.state.task.running or self.state.jobs.under_way():
                continue  # what is being learnt or loaded will change it
            try:
                self._once(self.state.store)
            except Stopped:
                return
            except SourcingError:  # the data is held by a writer, or the settings cannot be read: its pages say so
                continue
            except Exception:
                log.exception("Forecasting ahead failed; what is asked is forecast when it is asked")
                return

    def _once(self, store: Store) -> None:
        from sourcing.check import stands_on
        from sourcing.forecast_ahead import work_ahead
        from sourcing.settings import load_settings

        if store.is_long_written or stands_on(store, load_settings(store)) == self.made_for:
            return
        before, begun = time.thread_time(), time.monotonic()

        def rest() -> None:
            nonlocal begun
            pause = (time.monotonic() - begun) * SHARE
            while self._closed.wait(pause) or not self._is_quiet():
                if self._closed.is_set():
                    raise Stopped("closed")
                pause = self.quiet
            begun = time.monotonic()

        try:
            self.made_for = work_ahead(store, rest)
        finally:
            self.spent += time.thread_time() - before


def begin(app: Flask, **how: float) -> AheadOfTime:
    """Let a server forecast ahead; its requests come first. To be closed when the server ends."""
    state: Any = app.extensions["sourcing"]
    ahead, answer = AheadOfTime(state, **how), app.wsgi_app

    def counted(environ: Any, start: Any, /) -> Iterable[bytes]:
        ahead.came()
        try:
            return answer(environ, start)
        finally:
            ahead.went()

    app.wsgi_app = counted  # type: ignore[method-assign, assignment]
    ahead.start()
    return ahead
