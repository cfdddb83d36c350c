"""One background task at a time, with its progress to look at."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from typing import Any

from sourcing.errors import Stopped
from sourcing.language import gettext, speaking, spoken

log = logging.getLogger(__name__)


class Task:
    """Run one call in a thread; asked again while it runs, it runs once more, so that no change is missed."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._again: Callable[[Callable[..., None]], Any] | None = None
        self._stop = False
        self.running = False
        self.said = ""
        self.failed = ""

    def start(self, call: Callable[[Callable[..., None]], Any]) -> None:
        """Start ``call(on_progress)``, or queue it behind the one that runs; it speaks the language of who asked."""
        call = speaking(spoken())(call)
        with self._lock:
            if self.running:
                self._again = call
                return
            self.running, self.said, self.failed, self._stop = True, "", "", False
        threading.Thread(target=self._run, args=(call,), name="refit").start()

    def stop(self) -> None:
        """Let the work end where it next says how far it is."""
        self._stop = True

    def _run(self, call: Callable[[Callable[..., None]], Any]) -> None:
        while True:
            try:
                call(self._say)
                self.failed = ""
            except Stopped as error:
                self.failed = str(error)
            except Exception as error:
                log.exception("The background task failed")
                self.failed = str(error) or type(error).__name__
            with self._lock:
                if self._again is None:
                    self.running = False
                    return
                call, self._again = self._again, None

    def _say(self, *parts: Any) -> None:
        if self._stop:
            raise Stopped(
                gettext("It was cancelled."), gettext("Nothing was kept of it."), gettext("Start it again at any time.")
            )
        self.said = " ".join(str(part) for part in parts)
