"""What tests of several subjects share."""

from __future__ import annotations

import gettext
import os
import shutil
from collections.abc import Callable, Iterator
from itertools import count
from pathlib import Path

import pytest
from flask import Flask
from flask.testing import FlaskClient

from sourcing.language import use
from sourcing.samples import load_samples
from sourcing.storage import Store, open_store
from web.app import create_app

# Whatever the language of whoever runs the tests: the commands speak that of their environment.
os.environ["LC_ALL"] = "C.UTF-8"
os.environ.pop("LANGUAGE", None)


@pytest.fixture(autouse=True)
def _english() -> Iterator[None]:
    """Begin every test in English: what a request spoke, its thread goes on speaking, and a command its process."""
    use("en")
    yield
    use("en")
    gettext.textdomain("messages")
    os.environ.pop("LANGUAGE", None)


@pytest.fixture(scope="session")
def empty(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the file of an empty store, to be copied: that takes a moment, where making one does not."""
    place = tmp_path_factory.mktemp("stores") / "empty.db"
    open_store(str(place)).close()
    return place


@pytest.fixture(scope="session")
def new_store(empty: Path) -> Callable[[], Store]:
    """Return what hands out empty stores."""
    numbers = count()

    def make() -> Store:
        target = empty.with_name(f"{next(numbers)}.db")
        shutil.copy(empty, target)
        return open_store(str(target))

    return make


@pytest.fixture(scope="session")
def samples(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the file of a store with the samples and what was learnt from them, to be copied."""
    place = tmp_path_factory.mktemp("samples") / "samples.db"
    store = open_store(str(place))
    load_samples(store)
    store.close()  # which leaves all in the one file
    return place


@pytest.fixture(scope="session")
def sampled(samples: Path) -> Callable[[Path], Store]:
    """Return what puts a store with the samples at a path."""

    def make(target: Path) -> Store:
        shutil.copy(samples, target)
        return open_store(str(target))

    return make


@pytest.fixture
def app(empty: Path, tmp_path: Path) -> Iterator[Flask]:
    """Return the application on an empty store of its own, its forms taken without their tokens."""
    shutil.copy(empty, tmp_path / "comps.db")
    app = create_app(tmp_path / "comps.db")
    app.config["WTF_CSRF_ENABLED"] = False  # what it refuses has its own tests
    yield app
    app.extensions["sourcing"].store.close()


@pytest.fixture
def client(app: Flask) -> FlaskClient:
    return app.test_client()
