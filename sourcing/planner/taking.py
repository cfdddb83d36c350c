"""Make the open haul what a plan says, and take that back exactly.

All that one taking did carries the same moment, to the microsecond: the lines it added were taken then, the lines it
put back were put back then. Other takings are kept to the second.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from sqlalchemy import and_, insert, or_, select, update

from sourcing import haul
from sourcing.errors import BadInput, NotFound
from sourcing.language import gettext
from sourcing.storage import Store
from sourcing.storage.schema import checked
from sourcing.storage.schema import haul as hauls
from sourcing.storage.schema import haul_item as lines

_MARK = "plan:"


@dataclass(frozen=True)
class Wanted:
    """How many of one past check the haul is to hold; 0 puts it back."""

    check_id: int
    count: int


@dataclass(frozen=True)
class Taking:
    """What one taking of a plan did that still stands."""

    moment: str
    added: int  # lines
    put_back: int


def take_plan(store: Store, wanted: Sequence[Wanted], token: str) -> str | None:
    """Let the open haul (started if none is) hold that many of each check, and return the taking's moment.

    Checks that are not named stay as they are, and so do lines that hold the wanted number already; None means that
    nothing had to change. The same ``token`` once more changes nothing: a tap sent twice.

    Raises
    ------
    BadInput
        A count is not from 0 to 999, or a check is named twice.
    NotFound
        There is no such check.
    """
    if len({one.check_id for one in wanted}) < len(wanted):
        raise BadInput(
            gettext("The plan names a check twice."), gettext("Each once."), gettext("Plan again."), field="plan"
        )
    for one in wanted:
        if not 0 <= one.count <= haul.MOST_COUNT:
            raise BadInput(
                gettext("{number} pieces cannot be taken.", number=one.count),
                gettext("From 0 to {most_count}.", most_count=haul.MOST_COUNT),
                field="plan",
            )
    with store.write() as connection:
        sent = lines.c.client_id.startswith(f"{_MARK}{token}:", autoescape=True)
        before = connection.execute(select(lines.c.taken_at).where(sent)).scalar()
        if before is not None:
            return str(before)
        named = select(checked.c.id).where(checked.c.id.in_([one.check_id for one in wanted]))
        known = set(connection.execute(named).scalars())
        for one in wanted:
            if one.check_id not in known:
                raise NotFound(
                    gettext("There is no check number {check_id}.", check_id=one.check_id),
                    next_step=gettext("Plan again."),
                )
        opened = connection.execute(
            select(hauls.c.id).where(hauls.c.closed_at.is_(None)).order_by(hauls.c.id.desc())
        ).scalar()
        moment, changed = datetime.now(UTC).isoformat(timespec="microseconds"), False
        for one in wanted:
            mine = and_(lines.c.haul_id == opened, lines.c.check_id == one.check_id, lines.c.undone_at.is_(None))
            counts = connection.execute(select(lines.c.count).where(mine)).scalars().all()
            if sum(counts) == one.count:
                continue
            changed = True
            if counts:
                connection.execute(update(lines).where(mine).values(undone_at=moment))
            if one.count:
                if opened is None:
                    made = connection.execute(insert(hauls).values(store="", started_at=moment)).inserted_primary_key
                    assert made is not None
                    opened = made[0]
                connection.execute(
                    insert(lines).values(
                        haul_id=opened,
                        check_id=one.check_id,
                        client_id=f"{_MARK}{token}:{one.check_id}",
                        count=one.count,
                        taken_at=moment,
                    )
                )
        return moment if changed else None


def is_taken(store: Store, token: str) -> bool:
    """Say whether a plan with this token was taken before."""
    return bool(store.read("SELECT 1 FROM haul_item WHERE substr(client_id, 1, ?) = ? LIMIT 1", _start(token)))


def _start(token: str) -> tuple[int, str]:
    return len(_MARK) + len(token) + 1, f"{_MARK}{token}:"


def last_taking(store: Store) -> Taking | None:
    """Return the last plan taken into the open haul, as far as it still stands; None where nothing of it does."""
    rows = store.read(
        "SELECT moment, sum(added), count(*) - sum(added) FROM ("
        "SELECT i.taken_at AS moment, 1 AS added FROM haul_item i JOIN haul h ON h.id = i.haul_id "
        "WHERE h.closed_at IS NULL AND i.undone_at IS NULL AND i.client_id LIKE 'plan:%' UNION ALL "
        "SELECT i.undone_at, 0 FROM haul_item i JOIN haul h ON h.id = i.haul_id "
        "WHERE h.closed_at IS NULL AND i.undone_at LIKE '%.%') GROUP BY moment ORDER BY moment DESC LIMIT 1"
    )
    return Taking(*rows[0]) if rows else None


def undo_taking(store: Store, moment: str) -> None:
    """Put back what a taking added, and take again what it put back; the haul then is as it was before.

    Raises
    ------
    NotFound
        Nothing of that taking stands in the open haul.
    """
    with store.write() as connection:
        opened = select(hauls.c.id).where(hauls.c.closed_at.is_(None)).scalar_subquery()
        added = and_(lines.c.taken_at == moment, lines.c.client_id.startswith(_MARK), lines.c.undone_at.is_(None))
        gone = lines.c.undone_at == moment
        found = connection.execute(
            select(lines.c.id, lines.c.undone_at).where(lines.c.haul_id == opened, or_(added, gone))
        ).all()
        if "." not in moment or not found:
            raise NotFound(
                gettext("That plan was taken back already, or its haul is closed."),
                next_step=gettext("Reload the haul."),
            )
        back = [one.id for one in found if one.undone_at is None]
        again = [one.id for one in found if one.undone_at is not None]
        now = datetime.now(UTC).isoformat(timespec="seconds")
        connection.execute(update(lines).where(lines.c.id.in_(back)).values(undone_at=now))
        connection.execute(update(lines).where(lines.c.id.in_(again)).values(undone_at=None))
