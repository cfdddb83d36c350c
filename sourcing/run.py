"""A run through one store: the haul that is open, the checks made meanwhile, how quick they were, what is to prep."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import select, update

from sourcing.again import CORRECTION
from sourcing.errors import NotFound, Refused
from sourcing.flags.marked import flagged, with_learnt
from sourcing.haul import about
from sourcing.labour import STEPS
from sourcing.language import gettext
from sourcing.settings import load_settings
from sourcing.storage import Store
from sourcing.storage.schema import haul as hauls
from sourcing.storage.schema import haul_item as lines

BEST = 5  # passes that a summary shows


@dataclass(frozen=True)
class RunCheck:
    """One check of a run."""

    id: int
    at: datetime
    label: str
    decision: str
    shelf_price: Decimal | None
    most_worth_paying: Decimal | None
    item: str  # the same of checks of the very item

    @property
    def too_dear_by(self) -> Decimal | None:
        """How much less it would have had to cost; None where no price would have done, or none is known."""
        if self.decision != "pass" or self.shelf_price is None or not self.most_worth_paying:
            return None
        return self.shelf_price - self.most_worth_paying


@dataclass(frozen=True)
class Run:
    """One run and how its checks went; those that were mended at once count as one, with their last answer."""

    id: int
    store: str
    started_at: datetime
    ended_at: datetime | None  # None: it is still open
    checks: tuple[RunCheck, ...]  # in the order they were made

    @property
    def buys(self) -> int:
        """Checks that said buy, taken or not."""
        return sum(one.decision == "buy" for one in self.checks)

    @property
    def passes(self) -> int:
        """Checks that said pass."""
        return sum(one.decision == "pass" for one in self.checks)

    @property
    def unsure(self) -> int:
        """Checks that there was too little to go on for."""
        return len(self.checks) - self.buys - self.passes

    @property
    def per_minute(self) -> float | None:
        """Checks a minute from the first to the last; None before a second one, or when they share a moment."""
        if len(self.checks) < 2:
            return None
        seconds = (self.checks[-1].at - self.checks[0].at).total_seconds()
        return (len(self.checks) - 1) * 60 / seconds if seconds > 0 else None

    @property
    def best_passes(self) -> list[RunCheck]:
        """The passes that were nearest to a buy, by what they asked too much; an item checked again counts once."""
        near = [(one.too_dear_by, one.id, one) for one in self.checks if one.too_dear_by is not None]
        items: dict[str, RunCheck] = {}
        for _, _, one in sorted(near, key=lambda found: found[:2]):
            items.setdefault(one.item, one)
        return list(items.values())[:BEST]


@dataclass(frozen=True)
class Prep:
    """What one line of the haul asks for before it can be listed; minutes are for all its pieces."""

    check_id: int
    label: str
    count: int
    about: tuple[str, ...]  # what tells it from others of its name, its flags too
    minutes: Decimal


@dataclass(frozen=True)
class ToPrep:
    """The prep of a haul: by line, by step of work, and what each flag adds to it; minutes."""

    lines: tuple[Prep, ...]
    steps: dict[str, Decimal]
    flags: dict[str, Decimal]


def open_run(store: Store) -> Run | None:
    """Return the run that is open."""
    rows = store.read("SELECT id FROM haul WHERE closed_at IS NULL ORDER BY id DESC LIMIT 1")
    return get(store, rows[0][0]) if rows else None


def get(store: Store, haul_id: int) -> Run:
    """Return one run, open or ended.

    Raises
    ------
    NotFound
        There is no such run.
    """
    head = store.read("SELECT id, store, started_at, closed_at FROM haul WHERE id = ?", (haul_id,))
    if not head:
        raise _missing(haul_id)
    number, name, started, ended = head[0]
    rows = store.read(
        "SELECT id, at, label, decision, shelf, most, gtin, style_size, "
        "EXISTS (SELECT 1 FROM haul_item WHERE check_id = checked.id AND undone_at IS NULL) FROM checked "
        "WHERE (at >= ? AND at <= ?) OR id IN (SELECT check_id FROM haul_item WHERE haul_id = ?) ORDER BY at, id",
        (started[:19] + "+00:00", ended or "9999", number),
    )
    start, end = datetime.fromisoformat(started), datetime.fromisoformat(ended) if ended else None
    return Run(number, name, start, end, tuple(_unmended(rows)))


def _unmended(rows: Sequence[Sequence[Any]]) -> list[RunCheck]:
    """Leave out checks that a later one of the same item mended; one whose piece was taken stays."""
    found: dict[int, RunCheck] = {}
    last: dict[str, RunCheck] = {}  # by item, the last check of it, unless its piece was taken
    for number, at, label, decision, shelf, most, gtin, style_size, taken in rows:
        item = gtin or style_size or label
        check = RunCheck(number, datetime.fromisoformat(at), label, decision, _money(shelf), _money(most), item)
        before = last.get(item)
        if before is not None and check.at - before.at <= CORRECTION:
            found.pop(before.id)
        found[number] = check
        if taken:
            last.pop(item, None)
        else:
            last[item] = check
    return list(found.values())


def ended(store: Store, limit: int = 20) -> list[tuple[int, str, datetime]]:
    """Return number, store and start of the last ended runs on which something was checked or taken."""
    rows = store.read(
        "SELECT id, store, started_at FROM haul h WHERE closed_at IS NOT NULL AND ("
        "EXISTS (SELECT 1 FROM haul_item WHERE haul_id = h.id) OR "
        "EXISTS (SELECT 1 FROM checked WHERE at >= h.started_at AND at <= h.closed_at)) ORDER BY id DESC LIMIT ?",
        (limit,),
    )
    return [(number, name, datetime.fromisoformat(started)) for number, name, started in rows]


def stores(store: Store, limit: int = 4) -> list[str]:
    """Return the names that stores were given, the last used first, each once whatever its capitals."""
    known: dict[str, str] = {}
    for (name,) in store.read("SELECT store FROM haul WHERE store != '' ORDER BY id DESC LIMIT 200"):
        known.setdefault(name.casefold(), name)
    return list(known.values())[:limit]


def end(store: Store, haul_id: int) -> None:
    """End a run; one that was ended before stays as it is.

    Raises
    ------
    NotFound
        There is no such run.
    """
    with store.write() as connection:
        if connection.execute(select(hauls.c.id).where(hauls.c.id == haul_id)).first() is None:
            raise _missing(haul_id)
        mine = (hauls.c.id == haul_id) & hauls.c.closed_at.is_(None)
        connection.execute(update(hauls).where(mine).values(closed_at=_now()))


def reopen(store: Store, haul_id: int) -> None:
    """Open an ended run again, as if it had not been ended.

    One that was started since is ended in its place when nothing was taken on it.

    Raises
    ------
    NotFound, Refused
        There is no such run; another is open and holds something.
    """
    with store.write() as connection:
        if connection.execute(select(hauls.c.id).where(hauls.c.id == haul_id)).first() is None:
            raise _missing(haul_id)
        others = hauls.c.closed_at.is_(None) & (hauls.c.id != haul_id)
        taken = select(hauls.c.store).join(lines, lines.c.haul_id == hauls.c.id)
        other = connection.execute(taken.where(others)).first()
        if other is not None:
            raise Refused(
                gettext("The run at {store} is open and holds something.", store=other.store)
                if other.store
                else gettext("Another run is open and holds something."),
                next_step=gettext("End that one first, then open this one."),
            )
        connection.execute(update(hauls).where(others).values(closed_at=_now()))
        connection.execute(update(hauls).where(hauls.c.id == haul_id).values(closed_at=None))


def to_prep(store: Store, haul_id: int) -> ToPrep:
    """Return what is to prep of a haul with the terms in force, the longest first."""
    settings = load_settings(store)
    rows = store.read(
        "SELECT c.id, c.label, i.count, json_extract(c.answer, '$.item') FROM haul_item i "
        "JOIN checked c ON c.id = i.check_id WHERE i.haul_id = ? AND i.undone_at IS NULL ORDER BY i.id",
        (haul_id,),
    )
    found, steps, flags = [], dict.fromkeys(STEPS, Decimal(0)), dict[str, Decimal]()
    for check_id, label, count, text in rows:
        item = json.loads(text)
        names = tuple(item.get("flags", ()))
        terms = flagged(settings.for_category(item["category"]), settings, names).terms
        for step in STEPS:
            steps[step] += count * getattr(terms, f"{step}_minutes")
        marked = [with_learnt(settings, settings.flags[name]) for name in names if name in settings.flags]
        for flag in marked:
            flags[flag.shown] = flags.get(flag.shown, Decimal(0)) + count * flag.minutes
        found.append(Prep(check_id, label, count, about(item, settings), count * Decimal(terms.prep_minutes)))
    return ToPrep(tuple(sorted(found, key=lambda one: -one.minutes)), steps, flags)


def _missing(haul_id: int) -> NotFound:
    return NotFound(
        gettext("There is no run number {haul_id}.", haul_id=haul_id),
        next_step=gettext("Choose one from the list of runs."),
    )


def _money(minor: int | None) -> Decimal | None:
    return None if minor is None else Decimal(minor).scaleb(-2)


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")
