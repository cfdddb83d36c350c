"""Where codes lead, worked out from nothing but the comps, in another way than the tables are kept in line."""

from __future__ import annotations

from collections import Counter, defaultdict

from sourcing.storage import Store


def assert_codes_in_line(store: Store) -> None:
    """Hold the tables code and code_use to the comps there are."""
    keys = dict(store.read("SELECT id, key FROM product"))
    uses: dict[int, Counter[int]] = defaultdict(Counter)
    for gtin, product_id in store.read("SELECT gtin, product_id FROM comp WHERE gtin IS NOT NULL"):
        uses[gtin][product_id] += 1
    leads = {
        gtin: min(used, key=lambda one: (not keys[one].startswith("s:"), -used[one], keys[one]))
        for gtin, used in uses.items()
    }
    assert dict(store.read("SELECT gtin, root FROM code")) == leads
    shared = {(gtin, one, rows) for gtin, used in uses.items() if len(used) > 1 for one, rows in used.items()}
    assert set(store.read('SELECT gtin, product_id, "rows" FROM code_use')) == shared
