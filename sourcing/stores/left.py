"""What was left on the rack: passes that later comps say should have been bought.

Every later listing of the item is one way it could have gone, at the asking price that the verdict named and under your
own price cuts (`sourcing.tuning.hindsight`); what it would have brought so is set against the shelf price of then. One
later listing proves little, so that each comes with how many stand behind it and with its standard error.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

import numpy as np

from sourcing.fitting import Fit, current_fit, fold
from sourcing.flags.marked import flagged
from sourcing.money import cents
from sourcing.settings import Settings
from sourcing.storage import Store
from sourcing.tuning.hindsight import by_later_comps
from sourcing.tuning.occasions import EPOCH, Occasion, from_history

DAYS = 365  # passes looked back at
MOST = 600  # of the newest of them


@dataclass(frozen=True)
class LeftThere:
    """One pass that later comps say should have been a buy; money is for one piece, after labour.

    ``error`` is the standard error of what it would have brought on average; ``sure`` whether the profit is above two
    of them. ``later`` counts the later listings it rests on; ``run`` is the run it was checked on.
    """

    check_id: int
    run: int | None
    store: str
    label: str
    on: date
    decision: str
    shelf_price: Decimal
    asking_price: Decimal
    brought: Decimal
    profit: Decimal
    error: Decimal
    days: int
    later: int

    @property
    def sure(self) -> bool:
        """Whether its profit stands clear of chance."""
        return self.profit > 2 * self.error


@dataclass(frozen=True)
class Passes:
    """The passes of the last year as later comps judge them, the dearest mistake first.

    ``right`` would have brought nothing; ``untold`` named no asking price, or have no later comps to tell, or too few.
    """

    wrong: tuple[LeftThere, ...]
    right: int
    untold: int

    @property
    def told(self) -> int:
        """Passes that later comps can judge."""
        return len(self.wrong) + self.right

    @property
    def worth(self) -> Decimal:
        """Profit that was left there."""
        return sum((one.profit for one in self.wrong), Decimal(0))


def left(store: Store, settings: Settings, run: int | None = None) -> Passes:
    """Judge the passes of the last year, or of one run, by later comps."""
    fit = current_fit(store)
    if fit is None:
        return Passes((), 0, 0)
    since = (EPOCH + timedelta(fit.as_of - DAYS)).isoformat()
    rows = store.read(
        "SELECT c.id, c.label, c.decision, json_extract(c.answer, '$.asking_price'), "
        "(SELECT h.id FROM haul h WHERE h.started_at <= c.at AND (h.closed_at IS NULL OR h.closed_at >= c.at) "
        "ORDER BY h.id DESC LIMIT 1) FROM checked c WHERE c.at >= ? AND c.decision <> 'buy' AND c.shelf IS NOT NULL "
        "AND NOT EXISTS (SELECT 1 FROM haul_item i WHERE i.check_id = c.id AND i.undone_at IS NULL) "
        "ORDER BY c.id DESC LIMIT ?",
        (since, MOST),
    )
    passes = {row[0]: row[1:] for row in rows if run is None or row[4] == run}
    if not passes:
        return Passes((), 0, 0)
    names = dict(store.read("SELECT id, store FROM haul"))
    found = from_history(store, fit.as_of)
    asked = {number: float(row[2]) for number, row in passes.items() if row[2] is not None}
    kept = [(one, few) for one, few in zip(found.occasions, found.rows, strict=True) if one.check_id in asked]
    wrong, right, untold = [], 0, len(passes) - len(kept)
    for one, net, error, days, later, ask in _valued(fit, settings, kept, asked):
        assert one.check_id is not None
        assert one.shelf is not None
        if np.isnan(net):
            untold += 1
            continue
        terms = flagged(settings.for_category(one.item.category), settings, one.item.flags).terms
        brought = cents(Decimal(repr(round(net, 4))))
        profit = brought - terms.landed(one.shelf, one.discount) - terms.labour()
        if profit <= 0:
            right += 1
            continue
        label, decision, _, where = passes[one.check_id]
        wrong.append(LeftThere(
            one.check_id, where, names.get(where, ""), label, EPOCH + timedelta(one.day), decision, one.shelf,
            cents(Decimal(repr(round(ask, 4)))), brought, profit, cents(Decimal(repr(round(error, 4)))), round(days),
            later,
        ))  # fmt: skip
    wrong.sort(key=lambda one: (-one.profit, one.check_id))
    return Passes(tuple(wrong), right, untold)


def _valued(
    fit: Fit, settings: Settings, kept: Sequence[tuple[Occasion, list[tuple[object, ...]]]], asked: dict[int, float]
) -> list[tuple[Occasion, float, float, float, int, float]]:
    """Return occasions with net proceeds, standard error, days, later listings and asking price; nan where untold."""
    groups: dict[tuple[str, tuple[str, ...]], list[int]] = {}
    for at, (one, _) in enumerate(kept):
        groups.setdefault((fold(one.item.category), one.item.flags), []).append(at)
    found = []
    for (category, flags), places in groups.items():
        terms = flagged(settings.for_category(category), settings, flags).terms
        here = [kept[at][0] for at in places]
        rows = [kept[at][1] for at in places]
        ask = np.array([[asked[one.check_id or 0]] for one in here])
        values = by_later_comps(fit, category, here, rows, ask, terms)
        for at, one in enumerate(here):
            found.append((
                one, float(values.net[at, 0]), float(values.error[at, 0]), float(values.days[at, 0]),
                int(values.later[at]), float(ask[at, 0]),
            ))  # fmt: skip
    return found
