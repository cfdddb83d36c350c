"""What one application keeps between requests: its store, opened at first use, and its background work."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from flask import Flask, current_app, g

from web.jobs import Jobs
from web.reach import Reach
from web.tasks import Task

if TYPE_CHECKING:
    from sourcing.settings import Settings
    from sourcing.storage import Store
    from web.later import Later


def _later() -> Later:
    from web.later import Later

    return Later()


@dataclass
class State:
    """Kept under ``app.extensions["sourcing"]``."""

    data: str
    mode: str
    access: Callable[[str], bool] | None
    reach: Reach = field(default_factory=Reach)
    task: Task = field(default_factory=Task)
    replay: Task = field(default_factory=Task)
    jobs: Jobs = field(default_factory=Jobs)
    later: Later = field(default_factory=_later)
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _store: Store | None = None

    @property
    def store(self) -> Store:
        """The open store."""
        with self._lock:
            if self._store is None:
                from sourcing.storage import open_store

                self._store = open_store(self.data)
            return self._store

    @cached_property
    def opens(self) -> Callable[[str], bool]:
        """Whether an access key opens the door."""
        if self.access is not None:
            return self.access
        from sourcing import access

        return lambda key: access.opens(self.store, key)

    @property
    def folder(self) -> Path:
        """The folder for files of our own, beside the data."""
        return folder_of(self.data)


def folder_of(data: str | Path) -> Path:
    """Return the folder the secret and files waiting for the user's word are kept in."""
    text = str(data)
    if "://" not in text:
        return Path(text).expanduser().resolve().parent
    from platformdirs import user_data_path

    return user_data_path("sourcing")


def keep(
    app: Flask, data: str | Path, *, mode: str, access: Callable[[str], bool] | None, reach: Reach | None = None
) -> None:
    """Give the app its state."""
    app.extensions["sourcing"] = State(str(data), mode, access, reach or Reach())


def current() -> State:
    """Return the state of the app that answers this request."""
    state: Any = current_app.extensions["sourcing"]
    assert isinstance(state, State)
    return state


def store() -> Store:
    """Return the open store of the app that answers this request."""
    return current().store


def settings() -> Settings:
    """Return the settings in force, read once a request: a page shows dozens of amounts."""
    if "settings" not in g:
        from sourcing.settings import load_settings

        g.settings = load_settings(store())
    found: Settings = g.settings
    return found
