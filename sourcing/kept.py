"""Items that were forecast, kept by what was asked in a bounded memory: the least lately asked are let go of first.

A forecast does not depend on the shelf price, so that a second look, or the next size, is a comparison and a
subtraction for as long as what it rests on stays the same.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Hashable
from typing import Any

from sourcing.prospect import Prospect

MOST_BYTES = 96 * 1024 * 1024
_EACH, _COMP = 34_000, 1_100  # bytes of a kept item and of each of its comps, measured with tracemalloc

Stamp = tuple[Any, ...]


def weight_of(prospect: Prospect) -> int:
    """Return about how many bytes a kept item takes, its written answer and its limits included."""
    return _EACH + _COMP * len(prospect.base.comps)


class Kept:
    """Forecast items by what was asked, all of one stamp: what every one of them rests on.

    Items asked for push out those asked least lately; items forecast ahead push out nothing, and are the first to go,
    the likeliest last.
    """

    def __init__(self, most_bytes: int = MOST_BYTES) -> None:
        self.most_bytes = most_bytes
        self._lock = threading.Lock()
        self._stamp: Stamp | None = None
        self._items: OrderedDict[Hashable, Prospect] = OrderedDict()
        self._bytes = 0

    def __len__(self) -> int:
        return len(self._items)

    @property
    def bytes(self) -> int:
        """About how many bytes are kept."""
        return self._bytes

    @property
    def room_for(self) -> int:
        """How many items there is room for at the most."""
        return self.most_bytes // _EACH

    def get(self, stamp: Stamp, *keys: Hashable) -> Prospect | None:
        """Return the item under the first key that is kept; what rests on another stamp is let go of."""
        with self._lock:
            if self._stamp != stamp:
                self._clear()
                self._stamp = stamp
            for key in keys:
                found = self._items.get(key)
                if found is not None:
                    self._items.move_to_end(key)
                    return found
        return None

    def put(self, stamp: Stamp, key: Hashable, prospect: Prospect) -> None:
        """Keep an item that was asked for, unless the data has changed since."""
        with self._lock:
            if self._stamp != stamp:
                return
            self._drop(key)
            self._items[key] = prospect
            self._bytes += weight_of(prospect)
            while self._bytes > self.most_bytes and len(self._items) > 1:
                self._drop(next(iter(self._items)))

    def put_ahead(self, stamp: Stamp, key: Hashable, prospect: Prospect) -> bool:
        """Keep an item nobody has asked for yet; whether there was room for it, and the data is the same still."""
        with self._lock:
            weight = weight_of(prospect)
            if self._stamp != stamp or self._bytes + weight > self.most_bytes:
                return False
            if key not in self._items:
                self._items[key] = prospect
                self._items.move_to_end(key, last=False)
                self._bytes += weight
        return True

    def begin(self, stamp: Stamp) -> None:
        """Let go of what rests on another stamp."""
        self.get(stamp)

    def __contains__(self, key: Hashable) -> bool:
        return key in self._items

    def forget(self) -> None:
        """Let go of every item."""
        with self._lock:
            self._clear()

    def _clear(self) -> None:
        self._items.clear()
        self._bytes = 0

    def _drop(self, key: Hashable) -> None:
        prospect = self._items.pop(key, None)
        if prospect is not None:
            self._bytes -= weight_of(prospect)
