"""What a run took beside its purchases: minutes of driving and shopping and the distance, typed in a few fields.

What is said of a store holds for all its runs that say nothing themselves; without either, the time in the store is
what the run's own checks and takings show. Every saving is a row of its own, so that it can be undone.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

from sourcing.errors import BadInput, NotFound
from sourcing.language import gettext
from sourcing.settings_file import folded
from sourcing.storage import Store

MOST_MINUTES = 24 * 60
MOST_DISTANCE = Decimal(5000)
_CLOCKED = 6 * 60.0  # minutes: a longer stretch between first and last sign of life was no one visit


@dataclass(frozen=True)
class Trip:
    """Minutes and distance, there and back; None where nothing is known."""

    drive: int | None = None
    shop: int | None = None
    distance: Decimal | None = None

    def over(self, other: Trip) -> Trip:
        """Fill what is not said from another."""
        return Trip(
            self.drive if self.drive is not None else other.drive,
            self.shop if self.shop is not None else other.shop,
            self.distance if self.distance is not None else other.distance,
        )

    @property
    def minutes(self) -> int:
        """Minutes known of driving and shopping."""
        return (self.drive or 0) + (self.shop or 0)


@dataclass(frozen=True)
class Told:
    """The trip of one run: as it counts, what was typed of the run itself, what holds for its store."""

    counts: Trip
    own: Trip
    usual: Trip
    clocked: int | None  # minutes from the start to the last sign of life, where that can be one visit

    @property
    def missing(self) -> bool:
        """Whether the hours of the run are not known in full."""
        return self.counts.drive is None or self.counts.shop is None


def save(store: Store, haul_id: int, trip: Trip, *, as_usual: bool = False) -> int:
    """Say what a run took, and with ``as_usual`` that runs to its store mostly do; return the number of the saving.

    Raises
    ------
    BadInput, NotFound
        A figure cannot be; there is no such run; a store without a name has no usual trip.
    """
    found = store.read("SELECT store FROM haul WHERE id = ?", (haul_id,))
    if not found:
        raise NotFound(
            gettext("There is no run number {haul_id}.", haul_id=haul_id),
            next_step=gettext("Choose one from the list of runs."),
        )
    place = folded(found[0][0])
    if as_usual and not place:
        raise BadInput(
            gettext("The store of this run has no name."), gettext("A run whose store is named."),
            gettext("Save it for this run alone."), field="as_usual",
        )  # fmt: skip
    _check(trip)
    with store.write_rows() as raw:
        now = datetime.now(UTC).isoformat(timespec="microseconds")
        number = _add(raw, haul_id, "", trip, now)
        if as_usual:
            _add(raw, None, place, trip, now)  # of the same moment: undone together with the run's own
    return number


def undo(store: Store, number: int) -> int | None:
    """Take a saving back, of a run or of a store, or bring it back; return the run it was said of.

    Raises
    ------
    NotFound
        There is no such saving.
    """
    with store.write_rows() as raw:
        found = raw.execute("SELECT haul_id, saved_at, undone_at FROM trip WHERE id = ?", (number,)).fetchone()
        if found is None:
            raise NotFound(
                gettext("There is no saving number {number}.", number=number), next_step=gettext("Reload the page.")
            )
        haul_id, saved_at, undone_at = found
        now = None if undone_at else datetime.now(UTC).isoformat(timespec="seconds")
        raw.execute(
            "UPDATE trip SET undone_at = ? WHERE id = ? OR (id = ? AND haul_id IS NULL AND saved_at = ?)",
            (now, number, number + 1, saved_at),
        )
    return None if haul_id is None else int(haul_id)


def is_undone(store: Store, number: int) -> bool:
    """Whether a saving was taken back; one that never was counts as such."""
    found = store.read("SELECT undone_at FROM trip WHERE id = ?", (number,))
    return not found or found[0][0] is not None


def trips(store: Store, haul_id: int | None = None) -> Mapping[int, Told]:
    """Return the trip of every run, or of one, by its number."""
    rows = store.read("SELECT haul_id, store, drive, shop, distance FROM trip WHERE undone_at IS NULL ORDER BY id")
    own = {row[0]: _trip(row[2:]) for row in rows if row[0] is not None}
    usual = {row[1]: _trip(row[2:]) for row in rows if row[0] is None}
    found = {}
    for number, name, started, taken in store.read(
        "SELECT h.id, h.store, h.started_at, (SELECT max(i.taken_at) FROM haul_item i WHERE i.haul_id = h.id) "
        "FROM haul h WHERE ?1 IS NULL OR h.id = ?1",
        (haul_id,),
    ):
        mine, theirs = own.get(number, Trip()), usual.get(folded(name), Trip())
        clocked = _clocked(started, taken)
        found[number] = Told(mine.over(theirs).over(Trip(shop=clocked)), mine, theirs, clocked)
    return found


def trip_of(store: Store, haul_id: int) -> Told:
    """Return the trip of one run; nothing known where there is none."""
    return trips(store, haul_id).get(haul_id) or Told(Trip(), Trip(), Trip(), None)


def _clocked(started: str, last: str | None) -> int | None:
    if last is None:
        return None
    minutes = (datetime.fromisoformat(last) - datetime.fromisoformat(started)).total_seconds() / 60
    return round(minutes) if 1 <= minutes <= _CLOCKED else None


def _trip(row: tuple[int | None, ...]) -> Trip:
    drive, shop, distance = row
    return Trip(drive, shop, None if distance is None else Decimal(distance).scaleb(-1))


def _add(raw: Any, haul_id: int | None, place: str, trip: Trip, now: str) -> int:
    tenths = None if trip.distance is None else int(trip.distance.scaleb(1))
    cursor = raw.execute(
        "INSERT INTO trip (haul_id, store, drive, shop, distance, saved_at) VALUES (?, ?, ?, ?, ?, ?)",
        (haul_id, place, trip.drive, trip.shop, tenths, now),
    )
    return int(cursor.lastrowid)


def _check(trip: Trip) -> None:
    for name, minutes in (("drive", trip.drive), ("shop", trip.shop)):
        if minutes is not None and not 0 <= minutes <= MOST_MINUTES:
            raise BadInput(
                gettext("{minutes} minutes cannot be.", minutes=minutes),
                gettext("From 0 to {most}.", most=MOST_MINUTES), gettext("Correct it."), field=name,
            )  # fmt: skip
    if trip.distance is not None and (
        not 0 <= trip.distance <= MOST_DISTANCE or trip.distance != round(trip.distance, 1)
    ):
        raise BadInput(
            gettext("A distance of {distance} cannot be.", distance=trip.distance),
            gettext("From 0 to {most}, with at most one decimal.", most=MOST_DISTANCE),
            gettext("Correct it."), field="distance",
        )  # fmt: skip
