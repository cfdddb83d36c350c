"""The invented sample comps that ship with the application."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from importlib.resources import as_file, files
from pathlib import Path

from sourcing.storage import Store

SAMPLES = ("spring_sales.csv", "summer_and_autumn.csv", "housewares.xlsx")


def is_empty(store: Store) -> bool:
    """Say whether no file was ever loaded, or the samples alone were and their fit was cut short."""
    if store.read("SELECT 1 FROM fit LIMIT 1"):
        return False
    names = store.read("SELECT DISTINCT file_name FROM batch WHERE undone_at IS NULL")
    undone = store.read("SELECT 1 FROM batch WHERE undone_at IS NOT NULL LIMIT 1")
    return not undone and all(name in SAMPLES for (name,) in names)


@contextmanager
def sample_file(name: str) -> Iterator[Path]:
    """Lend one sample file by its path, also where the application runs from an archive."""
    with as_file(files("sample_comps") / name) as path:
        yield path


def shelf_list() -> AbstractContextManager[Path]:
    """Lend the list of items to judge."""
    return sample_file("shelf_list.csv")


def load_samples(store: Store) -> int:
    """Load the sample comps and fit on them; returns how many rows are new."""
    from sourcing.comps import load_file
    from sourcing.fitting import refit

    new = 0
    for name in SAMPLES:
        with sample_file(name) as path:
            new += load_file(store, path, name=name).new
    refit(store)
    return new
