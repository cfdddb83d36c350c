"""One thread for measurements on small matrices."""

from __future__ import annotations

from collections.abc import Callable
from typing import ParamSpec, TypeVar

from threadpoolctl import threadpool_limits

Given = ParamSpec("Given")
Found = TypeVar("Found")


def one_thread(measure: Callable[Given, Found]) -> Callable[Given, Found]:
    """Keep a measurement to one thread: on matrices this small, more only wait for each other."""
    alone: Callable[Given, Found] = threadpool_limits.wrap(limits=1)(measure)
    return alone
