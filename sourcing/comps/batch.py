"""Find a load by its number."""

from __future__ import annotations

from typing import Any

from sourcing.errors import NotFound
from sourcing.language import gettext
from sourcing.storage import Store


def of_batch(store: Store, batch_id: int, *columns: str) -> tuple[Any, ...]:
    """Return columns of one load as they are stored.

    Raises
    ------
    NotFound
        There is no such load.
    """
    found = store.read(f"SELECT {', '.join(columns)} FROM batch WHERE id = ?", (batch_id,))  # noqa: S608
    if not found:
        raise NotFound(
            gettext("There is no load number {batch_id}.", batch_id=batch_id),
            next_step=gettext("See the list of loads for its number."),
        )
    return found[0]
