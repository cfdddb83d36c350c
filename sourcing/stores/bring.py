"""What every run brought: profit that is realised, profit that stock still promises, and the hours behind both.

A piece belongs to the run on which it was bought. Realised is what is left of its sales, of its returns and of giving
it up, less its landed cost; fees and postage that are not recorded yet count as the terms have them. What is still in
stock counts, apart from that, with the net proceeds that its forecast named. Mileage is the run's own cost. Hours are
driving and shopping as typed or clocked, prep as timed where a batch held the piece, else by the terms in force; for
what is still to be done the terms' own minutes.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from decimal import Decimal

from sourcing.books.days import driving
from sourcing.books.origins import origins
from sourcing.flags.marked import flagged
from sourcing.labour import STEPS
from sourcing.money import cents, from_minor, to_minor
from sourcing.prep.batch import FINISHED
from sourcing.prep.watch import finished
from sourcing.settings import Settings
from sourcing.storage import Store
from sourcing.stores.trip import Told, trips

BEFORE_LISTING, PACK = STEPS[:-1], STEPS[-1]
SALES = """(SELECT item_id, COUNT(*) AS sales, SUM(paid - coalesce(fees, 0) - coalesce(postage, 0)
        - coalesce(refunded, 0) - coalesce(return_cost, 0)) AS net,
        group_concat(CASE WHEN fees IS NULL AND returned_on IS NULL THEN paid END) AS no_fees,
        SUM(postage IS NULL AND returned_on IS NULL) AS no_postage FROM stock_sale GROUP BY item_id)"""
_PIECES = f"""SELECT i.id, i.haul_item_id, i.category, i.flags, i.landed, i.state, i.got,
    json_extract(i.forecast, '$.expected_proceeds'), coalesce(s.sales, 0), coalesce(s.net, 0), s.no_fees, s.no_postage
    FROM stock_item i LEFT JOIN {SALES} s ON s.item_id = i.id"""  # noqa: S608 - no value in it
_OF_RUN = """SELECT i.id FROM stock_item i JOIN haul_item l ON l.id = i.haul_item_id WHERE l.haul_id = ?"""


@dataclass
class Brought:
    """What came of one run; money in cents before labour, hours in minutes.

    Attributes
    ----------
    realised : of what is sold, came back or was given up, supplies taken off. expected : of what is still in stock, by
    the forecast it was bought with. unvalued : pieces in stock that no forecast speaks of; they count at cost.
    assumed : sold pieces whose fees or postage are the terms', not recorded. spent : minutes of driving, shopping and
    work already done. to_come : minutes of work on what is still in stock.
    """

    run: int
    store: str
    day: date
    trip: Told
    pieces: int = 0
    cost: int = 0
    sold: int = 0
    in_stock: int = 0
    stock_cost: int = 0
    realised: int = 0
    expected: int = 0
    unvalued: int = 0
    assumed: int = 0
    mileage: int = 0
    spent: float = 0.0
    to_come: float = 0.0

    @property
    def profit(self) -> Decimal:
        """All of it, realised or promised, less the mileage."""
        return from_minor(self.realised + self.expected - self.mileage)

    @property
    def minutes(self) -> float:
        """All minutes."""
        return self.spent + self.to_come

    @property
    def an_hour(self) -> Decimal | None:
        """Profit an hour, realised and promised over all hours; None without any."""
        return cents(self.profit * 60 / Decimal(str(round(self.minutes, 3)))) if self.minutes >= 1 else None

    @property
    def realised_profit(self) -> Decimal:
        """What is realised, less the mileage."""
        return from_minor(self.realised - self.mileage)

    @property
    def realised_an_hour(self) -> Decimal | None:
        """Realised profit over the minutes spent so far."""
        return cents(self.realised_profit * 60 / Decimal(str(round(self.spent, 3)))) if self.spent >= 1 else None

    @property
    def counts(self) -> bool:
        """Whether the run says anything of its store: hours and at least a trip or a piece."""
        return self.minutes >= 1 and (self.cost > 0 or self.pieces > 0 or self.trip.counts.minutes > 0)


@dataclass(frozen=True)
class Work:
    """Minutes of prep: as timed by piece and step, else as the terms have them."""

    settings: Settings
    timed: Mapping[tuple[int, str], float] = field(default_factory=dict)
    _known: dict[tuple[str, str], tuple[dict[str, float], int]] = field(default_factory=dict)
    _fees: dict[tuple[str, str, int], int] = field(default_factory=dict)

    def terms(self, category: str, flags: str) -> tuple[dict[str, float], int]:
        """Return minutes by step and supplies in cents of a category and flags (JSON)."""
        key = (category, flags)
        if key not in self._known:
            terms = flagged(self.settings.for_category(category), self.settings, tuple(json.loads(flags))).terms
            minutes = {step: float(getattr(terms, f"{step}_minutes")) for step in STEPS}
            self._known[key] = minutes, to_minor(terms.supplies)
        return self._known[key]

    def assumed(self, category: str, flags: str, no_fees: str | None, no_postage: int | None) -> int:
        """Return in cents what the terms make of fees and postage that are not recorded.

        ``no_fees`` is what the buyers paid in the sales without fees, in cents with commas between; ``no_postage`` the
        number of sales without postage.
        """
        if not no_fees and not no_postage:
            return 0
        terms, total = self.settings.for_category(category).terms, (no_postage or 0)
        total *= to_minor(terms.postage)
        for paid in map(int, (no_fees or "").split(",") if no_fees else ()):
            key = (category, flags, paid)
            if key not in self._fees:
                self._fees[key] = to_minor(terms.fee(from_minor(paid)))
            total += self._fees[key]
        return total

    def of(self, piece: int, step: str, category: str, flags: str) -> float:
        """Return the minutes of one step of one piece."""
        return self.timed.get((piece, step), self.terms(category, flags)[0][step])


def timed_minutes(store: Store) -> dict[tuple[int, str], float]:
    """Return minutes by piece and step of finished batches that held pieces of stock, shared out evenly."""
    found: dict[tuple[int, str], float] = {}
    for batch in finished(store):
        if batch.state == FINISHED and batch.items:
            for piece in batch.items:
                key = (piece, batch.step)
                found[key] = found.get(key, 0.0) + batch.minutes / len(batch.items)
    return found


def runs(store: Store, settings: Settings, run: int | None = None) -> list[Brought]:
    """Return what came of every run, or of one, newest first; runs on which nothing was done are left out."""
    told = trips(store)
    found: dict[int, Brought] = {}
    for number, name, started in store.read("SELECT id, store, started_at FROM haul"):
        day = datetime.fromisoformat(started).astimezone().date()
        trip = told[number]
        one = found[number] = Brought(number, name, day, trip, spent=float(trip.counts.minutes))
        if trip.counts.distance:
            one.mileage = to_minor(driving(settings, day, trip.counts.distance))
    run_of: dict[int | None, int] = dict(store.read("SELECT id, haul_id FROM haul_item"))
    named = dict(
        store.read("SELECT haul_item_id, max(store) FROM stock_item WHERE haul_item_id IS NOT NULL GROUP BY 1")
    )
    for line, place in named.items():
        one = found[run_of[line]]
        one.store = one.store or place  # named when it was brought into stock
    made_of = {
        piece: [(share.cents, share.haul_item_id) for share in shares] for piece, shares in origins(store.read).items()
    }
    work = Work(settings, timed_minutes(store))
    where = ""
    values: tuple[int, ...] = ()
    if run is not None:
        mine = {row[0] for row in store.read(_OF_RUN, (run,))} | {
            piece for piece, parts in made_of.items() if any(run_of.get(line) == run for _, line in parts)
        }
        # A handful of pieces, so that they are looked up by their numbers.
        where, values = f" WHERE i.id IN ({', '.join('?' * len(mine))})", tuple(sorted(mine))
    for piece, line, category, flags, landed, state, got, forecast, sales, net, *unknown in store.read(
        _PIECES + where, values
    ):
        parts = made_of.get(piece, [(landed, line)])
        net -= work.assumed(category, flags, *unknown)
        whole = _piece(work, piece, category, flags, landed, state, got, forecast, sales, net)
        whole = replace(whole, assumed=int(any(unknown)))
        _share_out(found, run_of, whole, parts, landed)
    return sorted(
        (one for one in found.values() if one.cost or one.pieces or one.trip.counts.minutes), key=lambda one: -one.run
    )


def of_run(store: Store, settings: Settings, run: int) -> Brought | None:
    """Return what came of one run; None where nothing was done on it."""
    return next((one for one in runs(store, settings, run) if one.run == run), None)


@dataclass(frozen=True)
class _Piece:
    sold: int
    held: int
    realised: int
    expected: int
    unvalued: int
    spent: float
    to_come: float
    assumed: int = 0


def _piece(
    work: Work, piece: int, category: str, flags: str, landed: int, state: str, got: int | None, forecast: str | None,
    sales: int, net: int,
) -> _Piece:  # fmt: skip
    before = sum(work.of(piece, step, category, flags) for step in BEFORE_LISTING)
    pack, supplies = work.of(piece, PACK, category, flags), work.terms(category, flags)[1]
    packed = pack * sales
    realised = net - supplies * sales
    if state == "sold":
        return _Piece(1, 0, realised - landed, 0, 0, before + packed, 0.0)
    if state == "given up":
        return _Piece(0, 0, realised - landed + (got or 0), 0, 0, before + packed, 0.0)
    done = state in ("ready", "listed", "returned") or sales > 0
    expected, unvalued = (0, 1) if forecast is None else (to_minor(Decimal(str(forecast))) - landed, 0)
    return _Piece(
        0, 1, realised, expected, unvalued, packed + (before if done else 0.0), pack + (0.0 if done else before)
    )


def _share_out(
    found: dict[int, Brought],
    run_of: Mapping[int | None, int],
    whole: _Piece,
    parts: list[tuple[int, int | None]],
    landed: int,
) -> None:
    """Give every run its part of a piece, by what it paid of it; the last one takes what rounding leaves."""
    left_realised, left_expected = whole.realised, whole.expected
    for at, (paid, line) in enumerate(parts):
        last = at == len(parts) - 1
        share = paid / landed if landed else 1.0 / len(parts)
        realised = left_realised if last else round(whole.realised * share)
        expected = left_expected if last else round(whole.expected * share)
        left_realised, left_expected = left_realised - realised, left_expected - expected
        if run_of.get(line) not in found:
            continue
        one = found[run_of[line]]
        one.cost += paid
        one.realised += realised
        one.expected += expected
        one.spent += whole.spent * share
        one.to_come += whole.to_come * share
        one.stock_cost += paid * whole.held
        if last:  # a lot is one piece, and counts with its last purchase
            one.pieces += 1
            one.sold += whole.sold
            one.in_stock += whole.held
            one.unvalued += whole.unvalued
            one.assumed += whole.assumed
