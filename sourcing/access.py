"""Access keys for the home network: only a hash is kept, a key taken back opens nothing."""

from __future__ import annotations

import base64
import hashlib
import hmac
import secrets
from dataclasses import dataclass
from datetime import UTC, datetime

from sqlalchemy import insert, update

from sourcing.errors import NotFound
from sourcing.language import gettext
from sourcing.storage import Store
from sourcing.storage.schema import access


@dataclass(frozen=True)
class AccessKey:
    """One key that was handed out; the key itself is not kept."""

    id: int
    made_at: str  # ISO 8601, UTC
    revoked_at: str | None


def grant(store: Store, secret: str | None = None) -> str:
    """Make a new key and return it; `live` finds it again with the same secret, and without it nobody can.

    The key is computed from the installation's own secret and the key's number and time, so that the table holds no
    more than a hash and no second file holds the key (HMAC as a key derivation: RFC 5869, section 2.3).

    Parameters
    ----------
    secret : str, optional
        At least 32 random characters that are kept beside the data and readable by their owner alone; left out,
        the key cannot be found again.
    """
    secret = secret or secrets.token_urlsafe(32)
    made_at = _now()
    with store.write() as connection:
        made = connection.execute(insert(access).values(hash=secrets.token_hex(32), made_at=made_at))
        assert made.inserted_primary_key is not None
        key_id = int(made.inserted_primary_key[0])
        key = _computed(secret, key_id, made_at)
        connection.execute(update(access).where(access.c.id == key_id).values(hash=_hash(key)))
    return key


def live(store: Store, secret: str) -> str | None:
    """Return the newest key that still opens and was made with this secret; None when there is none."""
    rows = store.read("SELECT id, made_at, hash FROM access WHERE revoked_at IS NULL ORDER BY id DESC")
    made = ((_computed(secret, key_id, made_at), kept) for key_id, made_at, kept in rows)
    return next((key for key, kept in made if hmac.compare_digest(_hash(key), kept)), None)


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
        raise NotFound(
            gettext("There is no live access key number {key_id}.", key_id=key_id),
            next_step=gettext("List the keys first."),
        )
    return count


def keys(store: Store) -> list[AccessKey]:
    """Return every key handed out, the newest first."""
    rows = store.read("SELECT id, made_at, revoked_at FROM access ORDER BY id DESC")
    return [AccessKey(*row) for row in rows]


def _computed(secret: str, key_id: int, made_at: str) -> str:
    code = hmac.digest(secret.encode(), f"access key {key_id} {made_at}".encode(), "sha256")
    return base64.urlsafe_b64encode(code[:24]).decode()  # 192 bits, so a plain hash is enough: nothing to guess


def _hash(key: str) -> str:
    return hashlib.sha256(key.encode()).hexdigest()


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")
