"""Access keys for the home network: only a hash is kept, a key taken back opens nothing."""

from __future__ import annotations

import hashlib
import secrets
from dataclasses import dataclass
from datetime import UTC, datetime

from sqlalchemy import insert, update

from sourcing.errors import NotFound
from sourcing.storage import Store
from sourcing.storage.schema import access


@dataclass(frozen=True)
class AccessKey:
    """One key that was handed out; the key itself is not kept."""

    id: int
    made_at: str  # ISO 8601, UTC
    revoked_at: str | None


def grant(store: Store) -> str:
    """Make a new key and return it; it cannot be read back later."""
    key = secrets.token_urlsafe(24)  # 192 random bits, so a plain hash is enough: nothing to guess
    with store.write() as connection:
        connection.execute(insert(access).values(hash=_hash(key), made_at=_now()))
    return key


def opens(store: Store, key: str) -> bool:
    """Return whether a key was handed out and not taken back."""
    if not key:
        return False
    return bool(store.read("SELECT 1 FROM access WHERE hash = ? AND revoked_at IS NULL", (_hash(key),)))


def revoke(store: Store, key_id: int | None = None) -> int:
    """Take back one key, or every live one; return how many.

    Raises
    ------
    NotFound
        There is no live key of that number.
    """
    change = update(access).where(access.c.revoked_at.is_(None)).values(revoked_at=_now())
    if key_id is not None:
        change = change.where(access.c.id == key_id)
    with store.write() as connection:
        count = connection.execute(change).rowcount
    if key_id is not None and not count:
        raise NotFound(f"There is no live access key number {key_id}.", next_step="List the keys first.")
    return count


def keys(store: Store) -> list[AccessKey]:
    """Return every key handed out, the newest first."""
    rows = store.read("SELECT id, made_at, revoked_at FROM access ORDER BY id DESC")
    return [AccessKey(*row) for row in rows]


def _hash(key: str) -> str:
    return hashlib.sha256(key.encode()).hexdigest()


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")
