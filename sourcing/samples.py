"""The invented sample comps that ship with the application."""

from __future__ import annotations

from importlib.resources import as_file, files

from sourcing.storage import Store

SAMPLES = ("spring_sales.csv", "summer_and_autumn.csv")


def is_empty(store: Store) -> bool:
    """Say whether no file was ever loaded."""
    return not store.read("SELECT 1 FROM batch LIMIT 1")


def load_samples(store: Store) -> int:
    """Load the sample comps and fit on them; returns how many rows are new."""
    from sourcing.comps import load_file
    from sourcing.fitting import refit

    new = 0
    for name in SAMPLES:
        with as_file(files("sample_comps") / name) as path:
            new += load_file(store, path, name=name).new
    refit(store)
    return new
