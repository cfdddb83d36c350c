"""Fit the engine on the whole comps table and keep the result: one row in ``fit``, swapped in atomically."""

from __future__ import annotations

import json
import zlib
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import lru_cache
from math import prod
from typing import Any

from sourcing.flags.effects import FlagFit, unpack_flags
from sourcing.language import gettext
from sourcing.storage import Store

VERSION = 15  # of what a fit is made of; one kept by an older version is made anew
TABLE = """SELECT p.root, r.brand, r.category, r.title, c.status, c.ask, c.sold, c.ship, c.listed, c.ended, c.seen,
 c.size, c.condition, c.title, c.note
 FROM product p JOIN product r ON r.id = p.root CROSS JOIN comp c ON c.product_id = p.id AND c.out = 0"""
ASKS_TRIED = (-0.36, 0.44)  # asking prices tried where none were seen, as logs over the level
BUCKETS = (0, 3, 12)  # own sold comps: none, 1-3, 4-12, 13 and more


@dataclass(frozen=True)
class CategoryFit:
    """What was learnt about one category, in log price and days."""

    mu: float
    mu_var: float
    sigma2: float
    tau_variant2: float
    tau_style2: float
    tau_unseen2: float  # the same of a style without comps
    tau_brand2: float
    trend: tuple[float, ...]  # log price level over today's by knots of `models.trend`
    base_condition: str
    conditions: dict[str, float]
    haggle: tuple[float, float]  # log of paid over asked: centre and spread
    ask: tuple[float, float]  # log of an unsold asking price over the level: centre and variance
    rate: tuple[float, ...] | None  # daily hazard by piece; None: no listing dates at all
    horizon: float  # longest time on the market the data can speak of, days
    sold: int
    unsold: int
    speed_basis: str
    season: tuple[float, ...]  # harmonics of its pace by time of year
    response: tuple[float, ...]  # log hazard by log asking price over level, on `models.response.TABLE`
    asks_seen: tuple[float, float] = ASKS_TRIED  # where asking prices over the level lie, as logs
    slope: float = -2.0  # of the response on the whole: log hazard by log asking price
    # Standard errors by name: “drift” (the change of half a year), “slope”, “season 1”, “condition new”, ...
    errors: dict[str, float] = field(default_factory=dict)
    speed_from: tuple[Any, ...] = ()  # what ``speed_basis`` says, as data; fits of long ago do not have it

    def speed_words(self) -> str:
        """Say what the time to sell rests on, in the language of the moment."""
        match self.speed_from:
            case ("dated", sales):
                return gettext("{number} dated sales and the unsold listings of its category", number=sales)
            case ("flow", on_hand, sold, days):
                return gettext(
                    "stock and flow: {on_hand} on hand, {sold} sold in {days} days",
                    on_hand=on_hand,
                    sold=sold,
                    days=days,
                )
        return self.speed_basis


@dataclass(frozen=True)
class Fit:
    """The fitted engine as stored: plain numbers by name, so that a check needs no fitting library."""

    id: int
    made_at: datetime
    as_of: int
    categories: dict[str, CategoryFit]
    cells: dict[str, tuple[float, float]]  # "category<tab>brand": mean, variance
    grand: tuple[float, float]
    words: dict[str, float]  # effects of title words on a style's log price
    walk2: float
    slope: float
    slope_se: float
    mixture: tuple[float, ...]  # prior weights of the styles' speeds, on `models.frailty.POINTS`
    beyond: float  # how far over the dearest asking prices seen others are tried, in log price
    factors: tuple[float, ...]  # by own-comps bucket: held-out 80 % half-width over the nominal one
    wide_factors: tuple[float, ...]  # the same of the 90 % interval
    flags: dict[str, FlagFit] = field(default_factory=dict)
    rests_on: dict[str, Any] = field(default_factory=dict)
    own: dict[str, Any] = field(default_factory=dict)  # how much more own sales tell, as `models.telling.Telling`
    corrections: dict[str, list[float]] = field(default_factory=dict)  # accepted: category, shift, factor of hazard

    @property
    def own_weight(self) -> float:
        """What one own sale counts beside one of others."""
        return float(self.own.get("weight", 1.0))

    def correction(self, category: str) -> tuple[float, float]:
        """Shift of the level in log price and factor of the hazard that the user accepted for a (folded) category."""
        found = [self.corrections[name] for name in {"", category} if name in self.corrections]
        return sum(one[0] for one in found), prod(one[1] for one in found)


@dataclass(frozen=True)
class FitReport:
    """What a refit rests on; ``fit_id`` is None when the table holds no sale to learn from."""

    fit_id: int | None
    comps: int
    sold: int
    seconds: float


@lru_cache(maxsize=16_384)  # brands, sizes and conditions recur in every row of a list
def fold(text: str) -> str:
    """Fold a brand, category, size or condition to its key: case and spacing do not matter."""
    return " ".join(text.casefold().split())


def refit(store: Store, on_progress: Callable[[float, str], None] | None = None) -> FitReport:
    """Fit price and speed on every comp and store the result; earlier fits are dropped in the same transaction."""
    import time

    from sourcing.learning import learn
    from sourcing.record.corrected import in_force

    words = flag_words(store)
    start = time.monotonic()
    tell = on_progress or (lambda share, what: None)
    tell(0.05, gettext("Reading the comps"))
    rows = store.read(TABLE)
    learnt = learn(rows, tell, words)
    with store.write() as connection:
        connection.exec_driver_sql("DELETE FROM fit")
        if learnt is None:
            return FitReport(None, len(rows), 0, time.monotonic() - start)
        learnt["corrections"] = in_force(connection.connection.driver_connection)
        basis = learnt["rests_on"] | {
            "version": VERSION,
            "fitted_on": len(rows),
            "as_of": learnt["as_of"],
            "categories": list(learnt["categories"]),
            "flag_words": words,
        }
        payload = zlib.compress(json.dumps({"version": VERSION, **learnt}, allow_nan=False).encode())
        result = connection.exec_driver_sql(
            "INSERT INTO fit (made_at, rests_on, payload) VALUES (?, ?, ?) RETURNING id",
            (datetime.now(UTC).isoformat(timespec="microseconds"), json.dumps(basis), payload),
        )
        fit_id = int(result.scalar_one())
    tell(1.0, gettext("Done"))
    return FitReport(fit_id, len(rows), int(learnt["rests_on"]["sold"]), time.monotonic() - start)


def flag_words(store: Store) -> dict[str, list[str]]:
    """Return the words in comps by flag, of the settings in force; flags without words have nothing to learn from."""
    from sourcing.settings import load_settings

    return {name: list(flag.words) for name, flag in load_settings(store).flags.items() if flag.words}


def keep_up(store: Store, on_progress: Callable[[float, str], None] | None = None) -> FitReport:
    """Bring the fit up to date after a load or an undo, by a refit only where one could change an answer.

    An item's own comps are read afresh at every check, so a small load of known categories is at work at once; what
    the fit holds is what kin share, which one row in fifty hardly moves. Then the fit is kept, and what it rests on
    restated.
    """
    import time

    from sourcing.today.fed import feed

    start = time.monotonic()
    feed(store)  # one's own listings count as they stand by now
    kept = store.read("SELECT id, rests_on FROM fit ORDER BY id DESC LIMIT 1")
    before = json.loads(kept[0][1]) if kept else {}
    rows, sold = store.read("SELECT count(*), coalesce(sum(status = 1), 0) FROM comp WHERE out = 0")[0]
    newest = store.read("SELECT max(coalesce(ended, listed, 0)), max(coalesce(seen, 0)) FROM comp WHERE out = 0")[0]
    names = {fold(row[0]) for row in store.read("SELECT DISTINCT category FROM product WHERE id = root")}
    few = (
        before.get("version") == VERSION
        and before["flag_words"] == flag_words(store)
        and abs(rows - before["fitted_on"]) + _edited_since(store) <= _FEW_NEW * before["fitted_on"]
        and max(value or 0 for value in newest) - before["as_of"] <= _FEW_DAYS
        and names <= set(before["categories"])
        and sold > 0
    )
    if not few:
        return refit(store, on_progress)
    with store.write() as connection:
        connection.exec_driver_sql(
            "UPDATE fit SET rests_on = ? WHERE id = ?",
            (json.dumps({**before, "comps": rows, "sold": int(sold)}), kept[0][0]),
        )
    if on_progress is not None:
        on_progress(1.0, gettext("Done: too few new comps to change what kin share"))
    return FitReport(int(kept[0][0]), rows, int(sold), time.monotonic() - start)


def _edited_since(store: Store) -> int:
    """Return how many rows were edited, or their edits undone, since the fit was made."""
    found = store.read(
        "SELECT coalesce(sum(json_extract(before, '$.count')), 0) FROM edit, (SELECT max(made_at) AS made FROM fit) "
        "WHERE at > made OR undone_at > made"
    )
    return int(found[0][0])


_FEW_NEW = 0.02  # share of new, undone or edited comps up to which the fit is kept
_FEW_DAYS = 10  # days the newest comp may be past the fit's
_kept: dict[tuple[str, str], Fit] = {}


def current_fit(store: Store) -> Fit | None:
    """Return the fit in force, or None before the first; unpacked once per fit and process."""
    found = store.read("SELECT id, made_at FROM fit ORDER BY id DESC LIMIT 1")
    if not found:
        return None
    fit_id, made_at = found[0]
    key = (store.url, made_at)
    if key not in _kept:
        payload = store.read("SELECT payload FROM fit WHERE id = ?", (fit_id,))
        if not payload:  # a refit swapped it out between the two reads
            return current_fit(store)
        plain = json.loads(zlib.decompress(payload[0][0]))
        if plain.pop("version", 1) != VERSION:
            refit(store)
            return current_fit(store)
        _kept.clear()
        _kept[key] = unpack(fit_id, made_at, plain)
    return _kept[key]


def unpack(fit_id: int, made_at: str, plain: dict[str, Any]) -> Fit:
    """Turn what `learning.learn` found, or its JSON, into a fit; ``plain`` is used up."""
    categories = {}
    for name, values in plain.pop("categories").items():
        values = {key: tuple(item) if isinstance(item, list) else item for key, item in values.items()}
        categories[name] = CategoryFit(**values)
    cells = {name: (float(mean), float(var)) for name, (mean, var) in plain.pop("cells").items()}
    grand, flags = tuple(plain.pop("grand")), unpack_flags(plain.pop("flags"))
    lists = ("factors", "wide_factors", "mixture")
    factors, wide, mixture = (tuple(plain.pop(name)) for name in lists)
    return Fit(
        id=fit_id,
        made_at=datetime.fromisoformat(made_at),
        categories=categories,
        cells=cells,
        grand=(grand[0], grand[1]),
        factors=factors,
        wide_factors=wide,
        flags=flags,
        mixture=mixture,
        **plain,
    )
