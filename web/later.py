"""Small writes that wait until a load under way is done, so that nobody waits for them."""

from __future__ import annotations

import logging
import threading
import time
from collections import deque
from collections.abc import Callable
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from sourcing import history
from sourcing.errors import Busy
from sourcing.language import gettext, speaking, spoken
from web.state import current, store

if TYPE_CHECKING:
    from sourcing.answer import Verdict

log = logging.getLogger(__name__)
MOST = 1_000  # writes that wait; they are kept in memory alone
PAUSE = 0.5  # seconds between two tries


class Later:
    """Writes in the order they were asked for, each tried until the data can be written to."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._waiting: deque[Callable[[], object]] = deque()
        self._busy = False

    def do(self, write: Callable[[], object]) -> None:
        """Do it as soon as it can be done.

        Raises
        ------
        Busy
            Too many wait already.
        """
        with self._lock:
            if len(self._waiting) >= MOST:
                raise Busy(
                    gettext("Too much waits to be written."), next_step=gettext("Try again when the file is loaded.")
                )
            self._waiting.append(speaking(spoken())(write))
            if not self._busy:
                self._busy = True
                threading.Thread(target=self._work, name="later", daemon=True).start()

    def _work(self) -> None:
        while True:
            with self._lock:
                if not self._waiting:
                    self._busy = False
                    return
                write = self._waiting[0]
            try:
                write()
            except Busy:
                time.sleep(PAUSE)
                continue
            except Exception:
                log.exception("What was to be written later could not be")
            with self._lock:
                self._waiting.popleft()


def recorded(verdict: Verdict) -> int | None:
    """Keep a verdict in the history and return its number; None where it is kept only when a load is done.

    Raises
    ------
    Busy
        Too many wait to be kept already.
    """
    kept, at = store(), datetime.now(UTC)
    if not kept.is_long_written:
        try:
            return history.record(kept, verdict, at)
        except Busy:
            pass
    current().later.do(lambda: history.record(kept, verdict, at))
    return None
