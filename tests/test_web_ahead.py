"""The server forecasts ahead in the background: when, behind whom, and that it ends."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from flask import Flask

from sourcing.check import forget, kept, stands_on
from sourcing.fitting import refit
from sourcing.settings import load_settings, save_settings
from sourcing.storage import Store
from web.ahead import AheadOfTime, begin
from web.app import create_app


@pytest.fixture
def app(sampled: Callable[[Path], Store], tmp_path: Path) -> Iterator[Flask]:
    sampled(tmp_path / "data.db").close()
    app = create_app(tmp_path / "data.db")
    forget()
    yield app
    forget()
    app.extensions["sourcing"].store.close()


@pytest.fixture
def ahead(app: Flask, monkeypatch: pytest.MonkeyPatch) -> Iterator[AheadOfTime]:
    monkeypatch.setattr("web.ahead.SHARE", 0.0)
    ahead = begin(app, look=0.02, quiet=0.02)
    yield ahead
    ahead.close()


def until(true: Callable[[], bool], seconds: float = 60.0) -> bool:
    end = time.monotonic() + seconds
    while not true() and time.monotonic() < end:
        time.sleep(0.02)
    return true()


def names() -> list[str]:
    return [thread.name for thread in threading.enumerate()]


def up_to_date(app: Flask, ahead: AheadOfTime) -> bool:
    store = app.extensions["sourcing"].store
    return bool(ahead.made_for == stands_on(store, load_settings(store)))


def test_an_application_alone_begins_nothing(app: Flask) -> None:
    assert app.test_client().get("/check.json?code=WE804-175").status_code == 200
    assert "ahead" not in names()


def test_it_starts_with_the_server_after_a_fit_and_after_other_settings(app: Flask, ahead: AheadOfTime) -> None:
    store = app.extensions["sourcing"].store
    assert until(lambda: up_to_date(app, ahead))
    assert len(kept) > 800
    refit(store)
    assert not up_to_date(app, ahead) or until(lambda: up_to_date(app, ahead))
    assert until(lambda: up_to_date(app, ahead) and len(kept) > 800)
    settings = load_settings(store)
    save_settings(store, replace(settings, currency="EUR"), "test")
    assert until(lambda: up_to_date(app, ahead) and len(kept) > 800)


def test_a_request_comes_first(app: Flask, ahead: AheadOfTime) -> None:
    ahead.came()  # one that takes long
    time.sleep(0.3)
    assert len(kept) == 0
    ahead.went()
    assert until(lambda: len(kept) > 0)


def test_requests_are_counted_in_and_out_whatever_becomes_of_them(app: Flask, ahead: AheadOfTime) -> None:
    for path in ("/check.json?code=WE804-175", "/nowhere", "/check.json?code=%20"):
        app.test_client().get(path)
    assert ahead._under_way == 0
    assert ahead._last > 0


def test_it_waits_for_what_is_being_learnt(app: Flask, ahead: AheadOfTime) -> None:
    go_on = threading.Event()
    app.extensions["sourcing"].task.start(lambda say: go_on.wait(30))
    forget()
    ahead.made_for = None
    time.sleep(0.3)
    was = len(kept)
    time.sleep(0.3)
    assert len(kept) == was
    go_on.set()
    assert until(lambda: up_to_date(app, ahead))


def test_closed_it_leaves_no_thread_even_in_the_middle(app: Flask, ahead: AheadOfTime) -> None:
    assert until(lambda: len(kept) > 0)
    ahead.close()
    assert "ahead" not in names()
    was = len(kept)
    time.sleep(0.1)
    assert len(kept) == was
