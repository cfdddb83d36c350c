"""Layouts the user has confirmed, kept by what the columns are called, so that the next such file asks nothing."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime

from sourcing.comps.layout import FileForm, Layout, fingerprint, fitted, plain_name, used
from sourcing.errors import BadInput, NotFound
from sourcing.language import gettext
from sourcing.storage import Store


@dataclass(frozen=True)
class Remembered:
    """One layout that is kept."""

    fingerprint: str
    name: str  # of the file it was first said about
    layout: Layout
    saved_at: str
    used_at: str


def remember(store: Store, name: str, layout: Layout) -> None:
    """Keep a layout for files with these columns, in place of an earlier one."""
    now = datetime.now(UTC).isoformat(timespec="seconds")
    with store.write_rows() as raw:
        raw.execute(
            "INSERT INTO layout (fingerprint, name, layout, saved_at, used_at) VALUES (?, ?, ?, ?, ?) "
            "ON CONFLICT (fingerprint) DO UPDATE SET layout = excluded.layout, used_at = excluded.used_at",
            (fingerprint(layout.header), name[:200], layout.to_json(), now, now),
        )


def recall(store: Store, header: Sequence[str], form: FileForm, *, exactly: bool = False) -> Layout | None:
    """Return the layout kept for files with these columns, in any order, or with further ones; None for none.

    Of several that fit, the one that knows most of the columns is taken. The form is that of the file at hand.
    `exactly` takes none that does not know all of the columns.
    """
    names = set(map(plain_name, header))
    fitting = [
        one
        for one in remembered(store)
        if {plain_name(one.layout.header[place]) for place in used(one.layout)} <= names
    ]
    if exactly:
        fitting = [one for one in fitting if one.fingerprint == fingerprint(header)]
    if not fitting:
        return None
    best = max(fitting, key=lambda one: (len(names.intersection(map(plain_name, one.layout.header))), one.used_at))
    return replace(fitted(best.layout, header), form=form)


def remembered(store: Store) -> list[Remembered]:
    """Return every layout kept, the last used first; one that cannot be read is left out."""
    rows = store.read("SELECT fingerprint, name, layout, saved_at, used_at FROM layout ORDER BY used_at DESC, name")
    found = []
    for mark, name, text, saved, last in rows:
        try:
            found.append(Remembered(mark, name, Layout.from_json(text), saved, last))
        except (KeyError, TypeError, ValueError):
            continue
    return found


def forget(store: Store, mark: str) -> Remembered:
    """Keep a layout no longer, and return it, so that it can be brought back by `bring_back`.

    Raises
    ------
    NotFound
        None is kept under that mark.
    """
    found = next((one for one in remembered(store) if one.fingerprint == mark), None)
    if found is None:
        raise NotFound(
            gettext("No such layout is kept."), next_step=gettext("See the list of layouts on the Comps page.")
        )
    with store.write_rows() as raw:
        raw.execute("DELETE FROM layout WHERE fingerprint = ?", (mark,))
    return found


def bring_back(store: Store, name: str, text: str) -> None:
    """Keep a layout again that was forgotten.

    Raises
    ------
    BadInput
        The text is no layout.
    """
    try:
        layout = Layout.from_json(text)
    except (KeyError, TypeError, ValueError, json.JSONDecodeError) as error:
        raise BadInput(
            gettext("That is no layout that was forgotten."), next_step=gettext("Match the columns of a file anew.")
        ) from error
    remember(store, name, layout)
