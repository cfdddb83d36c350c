"""Corrections the user has accepted: kept with their gain, in force until undone, and what they do to a forecast."""

from __future__ import annotations

import json
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any, Literal

import numpy as np

from models.price import Floats
from sourcing.errors import NotFound, Refused
from sourcing.language import gettext
from sourcing.storage import Store

Kind = Literal["price", "speed"]
_ROWS = "SELECT id, at, kind, category, value, said, undone_at FROM correction ORDER BY id"
_EPOCH = date(1970, 1, 1)


@dataclass(frozen=True)
class Correction:
    """One that was accepted.

    ``value`` is a shift of the level in log price, or the log of a factor of the hazard of sale; on top of those in
    force then. ``category`` is folded; "" is all. ``said`` is the offer as it was accepted.
    """

    id: int
    at: datetime
    kind: Kind
    category: str
    value: float
    said: dict[str, Any]
    undone_at: datetime | None

    @property
    def change(self) -> float:
        """The correction as a share: 0.1 is a tenth more."""
        return float(np.expm1(self.value))

    @property
    def in_force(self) -> bool:
        """Whether it is at work."""
        return self.undone_at is None


def corrections(store: Store) -> tuple[Correction, ...]:
    """Return all of them, undone ones too, oldest first."""
    return tuple(_made(row) for row in store.read(_ROWS))


def accept(store: Store, kind: Kind, category: str, value: float, said: dict[str, Any], client_id: str = "") -> int:
    """Put a correction in force and return its number; the same tap sent twice accepts once."""
    with store.write_rows() as raw:
        if client_id:
            known = raw.execute("SELECT id FROM correction WHERE client_id = ?", (client_id,)).fetchone()
            if known:
                return int(known[0])
        cursor = raw.execute(
            "INSERT INTO correction (at, kind, category, value, said, client_id) VALUES (?, ?, ?, ?, ?, ?)",
            (_now(), kind, category, value, json.dumps(said), client_id or None),
        )
        number = int(cursor.lastrowid)
        correct_again(raw)
    return number


def undo(store: Store, number: int) -> Correction:
    """Take a correction out of force.

    Raises
    ------
    NotFound, Refused
        There is none of that number; it is out of force already.
    """
    with store.write_rows() as raw:
        _mark(raw, number, _now())
        correct_again(raw)
    return next(one for one in corrections(store) if one.id == number)


def redo(store: Store, number: int) -> Correction:
    """Put a correction that was undone in force again.

    Raises
    ------
    NotFound, Refused
        There is none of that number; it is in force.
    """
    with store.write_rows() as raw:
        _mark(raw, number, None)
        correct_again(raw)
    return next(one for one in corrections(store) if one.id == number)


def in_force(raw: Any) -> dict[str, list[float]]:
    """Return shift of the level and factor of the hazard by category, "" for all, as a fit keeps them."""
    found: dict[str, list[float]] = {}
    for kind, category, value in raw.execute(
        "SELECT kind, category, value FROM correction WHERE undone_at IS NULL ORDER BY id"
    ):
        one = found.setdefault(category, [0.0, 1.0])
        if kind == "price":
            one[0] += value
        else:
            one[1] *= float(np.exp(value))
    return found


def then_and_now(every: Sequence[Correction], category: str, made: Floats) -> tuple[Floats, Floats]:
    """Return what turns forecasts made on days (n,) into those of today: a shift in log price, a factor of hazard."""
    logs = {"price": np.zeros(len(made)), "speed": np.zeros(len(made))}
    for one in every:
        if one.category not in ("", category):
            continue
        since = (one.at.date() - _EPOCH).days
        until = np.inf if one.undone_at is None else (one.undone_at.date() - _EPOCH).days
        had = (made > since) & (made <= until)
        logs[one.kind] += one.value * (float(one.in_force) - had)
    return logs["price"], np.exp(logs["speed"])


def correct_again(raw: Any) -> None:
    """Keep the newest fit anew with the corrections in force: whatever is derived from a fit follows."""
    found = raw.execute("SELECT rests_on, payload FROM fit ORDER BY id DESC LIMIT 1").fetchone()
    if found is None:
        return
    plain = json.loads(zlib.decompress(found[1]))
    plain["corrections"] = in_force(raw)
    raw.execute(
        "INSERT INTO fit (made_at, rests_on, payload) VALUES (?, ?, ?)",
        (
            datetime.now(UTC).isoformat(timespec="microseconds"),
            found[0],
            zlib.compress(json.dumps(plain, allow_nan=False).encode()),
        ),
    )
    raw.execute("DELETE FROM fit WHERE id < (SELECT max(id) FROM fit)")


def _mark(raw: Any, number: int, undone_at: str | None) -> None:
    found = raw.execute("SELECT undone_at FROM correction WHERE id = ?", (number,)).fetchone()
    if found is None:
        raise NotFound(
            gettext("There is no correction number {number}.", number=number),
            next_step=gettext("Open the track record."),
        )
    if (found[0] is None) == (undone_at is None):
        raise Refused(gettext("That is done already."), next_step=gettext("Reload the page."))
    raw.execute("UPDATE correction SET undone_at = ? WHERE id = ?", (undone_at, number))


def _made(row: tuple[Any, ...]) -> Correction:
    number, at, kind, category, value, said, undone = row
    return Correction(
        number, datetime.fromisoformat(at), kind, category, value, json.loads(said),
        None if undone is None else datetime.fromisoformat(undone),
    )  # fmt: skip


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")
