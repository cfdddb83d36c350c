"""What tests of several subjects share."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from itertools import count

import pytest

from sourcing.storage import Store, open_store


@pytest.fixture(scope="session")
def new_store(tmp_path_factory: pytest.TempPathFactory) -> Callable[[], Store]:
    """Return what hands out empty stores: copies of one, which are made in a moment."""
    place = tmp_path_factory.mktemp("stores")
    open_store(str(place / "empty.db")).close()
    numbers = count()

    def make() -> Store:
        target = place / f"{next(numbers)}.db"
        shutil.copy(place / "empty.db", target)
        return open_store(str(target))

    return make
