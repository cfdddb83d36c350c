"""Access keys: what opens, what is found again, what is kept."""

from __future__ import annotations

from pathlib import Path

from sourcing import access
from sourcing.storage import open_store

SECRET = "an invented secret of more than 32 characters"


def test_a_key_is_found_again_with_its_secret_alone(tmp_path: Path) -> None:
    store = open_store(str(tmp_path / "data.sqlite3"))
    assert access.live(store, SECRET) is None
    first, second = access.grant(store, SECRET), access.grant(store, SECRET)
    assert len({first, second}) == 2
    assert access.live(store, SECRET) == second
    assert access.live(store, SECRET + "!") is None
    access.revoke(store, 2)
    assert access.live(store, SECRET) == first
    assert access.opens(store, first)
    assert not access.opens(store, second)
    assert not access.opens(store, "")
    access.revoke(store)
    assert access.live(store, SECRET) is None
    third = access.grant(store, SECRET)
    assert third not in (first, second)
    store.close()
    data = (tmp_path / "data.sqlite3").read_bytes()
    assert not any(key.encode() in data for key in (first, second, third))
