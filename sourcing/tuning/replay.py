"""The replayed history as arrays: every occasion's forecast of its day and what came of it, at each asking price.

Rules are not in it: they are applied afterwards (`sourcing.tuning.buys`), so that a change of a rule needs no new walk.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass, fields
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from models.price import Floats, Ints

SOURCES = ("check", "haul", "candidate", "drawn")
Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Replay:
    """N occasions of one category that have a value, in order of their days; money as floats unless said.

    Attributes
    ----------
    day : (N,) since 1970-01-01. style : (N,) the item's number; what became of one is shared by its occasions.
    source : (N,) index of `SOURCES`. own : (N,) whether the user's own sale told the value. landed, least : (N,) landed
    cost of the shelf price and of a shelf price of one cent, in cents. labour, rate, hours : (N,) value of the prep,
    yearly cost of cash, hours of prep. evidence, timed : (N,) what `walk.Walked` says. ask, mean_net, mean_days,
    by_target, loss : (N, K) forecast. net, days, error : (N, K) what came of it, see `hindsight.Values`.
    """

    day: Ints
    style: Ints
    source: Ints
    own: Flags
    landed: Ints
    least: Ints
    labour: Floats
    rate: Floats
    hours: Floats
    evidence: Floats
    timed: Flags
    ask: Floats
    mean_net: Floats
    mean_days: Floats
    by_target: Floats
    loss: Floats
    net: Floats
    days: Floats
    error: Floats

    def __len__(self) -> int:
        return len(self.day)

    @property
    def styles(self) -> int:
        """How many different items."""
        return len(np.unique(self.style))

    def of(self, keep: Flags | Ints) -> Replay:
        """Return some of the occasions."""
        return Replay(**{one.name: getattr(self, one.name)[keep] for one in fields(self)})

    @classmethod
    def joined(cls, parts: Sequence[Replay]) -> Replay:
        """Put occasions together, in order of their days."""
        whole = cls(**{one.name: np.concatenate([getattr(part, one.name) for part in parts]) for one in fields(cls)})
        return whole.of(np.argsort(whole.day, kind="stable"))


@dataclass(frozen=True)
class Replays:
    """The replay of every category, by its folded name; what was left out of each, and when it was worked out."""

    made_at: datetime
    as_of: int
    by_category: dict[str, Replay]
    left_out: dict[str, dict[str, int]]

    def pack(self) -> bytes:
        """Write it without its day, compressed."""
        arrays: dict[str, NDArray[np.generic]] = {"names": np.array(list(self.by_category), dtype=np.str_)}
        for number, one in enumerate(self.by_category.values()):
            arrays |= {f"{number} {part.name}": getattr(one, part.name) for part in fields(one)}
        told = [(name, why, str(count)) for name, few in self.left_out.items() for why, count in few.items()]
        arrays["left_out"] = np.array(told, dtype=np.str_).reshape(-1, 3)
        arrays["as_of"] = np.array(self.as_of)
        target = io.BytesIO()
        np.savez_compressed(target, allow_pickle=False, **arrays)
        return target.getvalue()

    @classmethod
    def unpack(cls, made_at: datetime, payload: bytes) -> Replays:
        """Read what `pack` wrote."""
        with np.load(io.BytesIO(payload), allow_pickle=False) as arrays:
            found = {
                str(name): Replay(**{part.name: arrays[f"{number} {part.name}"] for part in fields(Replay)})
                for number, name in enumerate(arrays["names"])
            }
            left_out: dict[str, dict[str, int]] = {}
            for name, why, count in arrays["left_out"].tolist():
                left_out.setdefault(name, {})[why] = int(count)
            return cls(made_at, int(arrays["as_of"]), found, left_out)
