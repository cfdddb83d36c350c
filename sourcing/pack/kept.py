"""The pack kept beside the data: built anew when what it stands on has changed, old or new and never half."""

from __future__ import annotations

import gzip
import hashlib
import json
import os
import struct
import threading
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from sourcing.comps.version import data_version
from sourcing.errors import BadInput
from sourcing.fitting import current_fit
from sourcing.language import gettext
from sourcing.pack.file import MAGIC, START, VERSION, as_bytes, packed, sums
from sourcing.pack.header import fees_until, flags_in_plain, haul_in_plain, money_in_plain
from sourcing.pack.reckoned import reckon
from sourcing.settings import Settings, load_settings
from sourcing.storage import Store

FILE = "pack.gz"
Tell = Callable[[float, str], None]
_building = threading.Lock()


@dataclass(frozen=True)
class Pack:
    """One pack as it is sent: compressed bytes, and what its header says."""

    data: bytes
    said: dict[str, Any]

    @property
    def stamp(self) -> str:
        """What it stands on, hashed; equal stamps are equal packs."""
        return str(self.said["about"]["stamp"])


def stamp(store: Store, settings: Settings, today: date | None = None) -> str | None:
    """Hash what a pack would stand on now: fit, comps, settings, the day's fees; None before the first fit."""
    made = store.read("SELECT made_at FROM fit ORDER BY id DESC LIMIT 1")
    if not made:
        return None
    day = today or date.today()
    days = [value.isoformat() for value in settings.every_day()[1:] if value <= day]
    kept_as = "SELECT toml FROM settings_version WHERE undone_at IS NULL ORDER BY id DESC LIMIT 1"
    words = [row[0] for row in store.read(kept_as)]
    stands_on = [VERSION, made[0][0], data_version(store), words, days]
    return hashlib.blake2b(json.dumps(stands_on).encode(), digest_size=12).hexdigest()


def build(store: Store, tell: Tell = lambda share, what: None) -> Pack:
    """Build the pack of what is in force.

    Raises
    ------
    BadInput
        Nothing has been learnt yet: there is no sale among the comps.
    """
    settings = load_settings(store)
    is_of = stamp(store, settings)
    fit = current_fit(store)
    if fit is None or is_of is None:
        raise BadInput(
            gettext("There is nothing to take along: no sale is known yet."),
            gettext("Comps with sold prices."),
            gettext("Load a file of past sales on the Comps page."),
        )
    groups = reckon(store, settings, fit, tell)
    comps, sold, newest = store.read(
        "SELECT count(*), coalesce(sum(status = 1), 0), max(coalesce(ended, seen, listed)) FROM comp WHERE out = 0"
    )[0]
    codes = store.read("SELECT gtin, root FROM code")
    also = store.read("SELECT key, root FROM product WHERE root <> id AND substr(key, 1, 2) IN ('s:', 't:')")
    today = date.today()
    about = {
        "stamp": is_of,
        "built": datetime.now(UTC).isoformat(timespec="seconds"),
        "learnt": fit.made_at.isoformat(timespec="seconds"),
        "day": today.isoformat(),
        "fees_until": fees_until(settings, today),
        "currency": settings.currency,
        "locale": settings.locale,
        "comps": comps,
        "sold": sold,
        "newest_comp": None if newest is None else date.fromordinal(newest + date(1970, 1, 1).toordinal()).isoformat(),
        "codes": len(codes),
    }
    said = {
        "about": about,
        "money": money_in_plain(settings),
        "flags": flags_in_plain(settings, fit),
        "haul": haul_in_plain(settings),
    }
    return Pack(packed(as_bytes(groups, codes, also, said)), said)


def place_of(folder: Path) -> Path:
    """Return where the pack is kept."""
    return folder / FILE


def keep(pack: Pack, folder: Path) -> None:
    """Keep it beside the data, the old one until the new one is whole."""
    write(pack.data, place_of(folder))


def write(data: bytes, path: Path) -> None:
    """Write a file at once or not at all, readable by its owner alone."""
    part = path.with_name(f"{path.name}.{os.getpid()}.part")
    try:
        with os.fdopen(os.open(part, os.O_CREAT | os.O_WRONLY | os.O_TRUNC, 0o600), "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.replace(part, path)
    finally:
        part.unlink(missing_ok=True)


def kept(folder: Path) -> Pack | None:
    """Return the pack that is kept; None where there is none, or where it cannot be read and is to be built anew."""
    try:
        data = place_of(folder).read_bytes()
        return Pack(data, header_of(gzip.decompress(data)))
    except (OSError, EOFError, ValueError, zlib.error, struct.error):
        return None


def about(folder: Path) -> dict[str, Any] | None:
    """Return what the pack that is kept says of itself, and its size in `bytes`; read once while it stays the same."""
    try:
        status = place_of(folder).stat()
    except OSError:
        return None
    key = (str(place_of(folder)), status.st_mtime_ns, status.st_size)
    if key not in _about:
        found = kept(folder)
        _about.clear()
        _about[key] = None if found is None else {**found.said["about"], "bytes": len(found.data)}
    return _about[key]


_about: dict[tuple[str, int, int], dict[str, Any] | None] = {}


def header_of(raw: bytes) -> dict[str, Any]:
    """Return what a pack's header says.

    Raises
    ------
    ValueError
        It is damaged, or none of this version.
    """
    magic, version, _, size, length, *sums_of = START.unpack_from(raw)
    if (magic, version, length) != (MAGIC, VERSION, len(raw)) or tuple(sums_of) != sums(raw[START.size :]):
        raise ValueError("damaged, or no pack of this version")
    found: dict[str, Any] = json.loads(raw[START.size : START.size + size])
    return found


def bring_up_to_date(store: Store, folder: Path, tell: Tell = lambda share, what: None) -> Pack:
    """Return the pack of what is in force, building and keeping it where the one kept stands on something else.

    Raises
    ------
    BadInput
        Nothing has been learnt yet.
    """
    with _building:
        found = kept(folder)
        if found is not None and found.stamp == stamp(store, load_settings(store)):
            return found
        found = build(store, tell)
        keep(found, folder)
        return found
