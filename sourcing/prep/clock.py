"""What time it is, by two clocks: the wall's, which can be set, and one that only ever runs on."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

_BOOT = Path("/proc/sys/kernel/random/boot_id")
_UNTRUE = -5.0  # seconds back that two looks at a wall clock may differ without anything being wrong


@dataclass(frozen=True)
class Reading:
    """One look at the clocks.

    Attributes
    ----------
    wall : UTC. steady : seconds since the machine was started, sleep included; None where it has no such clock.
    boot : which running of the machine that is; "" not known.
    """

    wall: datetime
    steady: float | None = None
    boot: str = ""


Clock = Callable[[], Reading]


def now() -> Reading:
    """Look at the clocks."""
    boot = _boot()
    return Reading(datetime.now(UTC), _steady() if boot else None, boot)


def between(first: Reading, second: Reading) -> float | None:
    """Return the seconds from one reading to a later one; None where the wall clock was set back in between.

    Within one running of the machine the steady clock tells, whatever was done to the wall's; over a restart only the
    wall's is left. Both count in UTC, so that neither midnight nor daylight saving makes a difference.
    """
    if first.boot and first.boot == second.boot and first.steady is not None and second.steady is not None:
        return max(second.steady - first.steady, 0.0)
    passed = (second.wall - first.wall).total_seconds()
    return None if passed < _UNTRUE else max(passed, 0.0)


@cache
def _boot() -> str:
    try:
        return _BOOT.read_text(encoding="ascii").strip()
    except (OSError, ValueError):
        return ""


def _steady() -> float:
    # Counts on while the machine sleeps, where the system has such a clock.
    return time.clock_gettime(time.CLOCK_BOOTTIME) if hasattr(time, "CLOCK_BOOTTIME") else time.monotonic()
