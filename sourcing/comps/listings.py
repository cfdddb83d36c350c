"""Tell which rows speak of the same listing, and which of them counts; a function of the rows alone.

Every row that was ever loaded is kept, but a listing counts once: not as open and again as sold, not twice because two
files tell of it with different columns. Rows are compared within one item.

- A row tells less of the same when a row of another file agrees with it on all that both fill in, and fills in at
  least as much. Each row is matched once, so two real sales alike stay two. Rows that stand together in a file are
  never matched this way: the file tells them apart itself.
- A sold or ended row replaces an open row seen no later than its end. The two are known to be one listing by its
  number; where one has none, by day listed, asking price and, as far as both tell them, barcode, size and condition.
- Of open rows with one number, the one seen latest counts, whatever the price.

Ties are broken by the keys of the rows, which are hashes of their content, so the order of loading does not matter.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from sourcing.comps.columns import STATUSES

OPEN, SOLD = STATUSES.index("open"), STATUSES.index("sold")
SAID = (
    "gtin", "ask", "sold", "ship", "listed", "ended", "size", "condition", "channel", "title", "listing",
)  # fmt: skip
"""What two rows of one listing agree on where both tell it."""

_GTIN, _ASK, _LISTED, _ENDED, _SIZE, _CONDITION, _CHANNEL, _LISTING = (
    SAID.index(name) for name in ("gtin", "ask", "listed", "ended", "size", "condition", "channel", "listing")
)
_ALIKE = (_GTIN, _SIZE, _CONDITION, _CHANNEL)
_NEVER, _ALWAYS = -(10**9), 10**9


class Told(NamedTuple):
    """One row.

    `said` holds the values of `SAID`, None where untold, texts folded. `seen` is the day an open listing was last seen
    unsold; `by` the latest day a file with the row was made. Days count from 1970-01-01.
    """

    product_id: int
    key: int
    batches: frozenset[int]  # all live loads that brought it
    status: int
    said: tuple[Any, ...]
    seen: int | None
    by: int | None
    note: str


@dataclass(eq=False)
class Listing:
    """What some rows tell of one listing; the first of them says most."""

    rows: list[Told]
    batches: set[int]
    note: str
    gone: bool = False  # another one says how it ended, or what became of its price
    retold: list[Listing] = field(default_factory=list)  # others with the same number

    @property
    def status(self) -> int:
        """The number of its status."""
        return self.rows[0].status

    @property
    def said(self) -> tuple[Any, ...]:
        """What is told of it."""
        return self.rows[0].said

    @property
    def seen(self) -> int:
        """The latest day it was seen open."""
        return max((row.seen for row in self.rows if row.seen is not None), default=_NEVER)

    @property
    def end(self) -> int:
        """The day it ended, or by which it had."""
        if self.said[_ENDED] is not None:
            return int(self.said[_ENDED])
        return max((row.by for row in self.rows if row.by is not None), default=_ALWAYS)


@dataclass(frozen=True)
class Listings:
    """The listings told by the rows of one item, and which of the ended ones is which of the open ones."""

    all: tuple[Listing, ...]
    ended: tuple[tuple[Listing, Listing], ...]  # the open one, how it ended

    def out(self) -> set[tuple[int, int]]:
        """Return product and key of the rows that do not count."""
        return {row[:2] for one in self.all for row in one.rows[not one.gone :]}

    def told_before(self, batch_id: int) -> tuple[int, int]:
        """Return how many rows only the newest load brought of listings known as well before, and how many it ended."""
        mine = frozenset((batch_id,))
        known = 0
        for one in self.all:
            new = sum(row.batches == mine for row in one.rows)
            if len(one.rows) > 1 or one.gone or any(not _only(other, mine) for other in one.retold):
                known += new
        ended = sum(_only(end, mine) and not _only(open_, mine) for open_, end in self.ended)
        return known, ended


def _only(listing: Listing, batches: frozenset[int]) -> bool:
    return all(row.batches == batches for row in listing.rows)


def find_listings(rows: Iterable[Told]) -> Listings:
    """Tell which of the rows of one item speak of the same listing."""
    listings = _merged(sorted(rows, key=_most_first))
    ended = _by_number(listings)
    ended += _by_content(listings, {id(end) for _, end in ended})
    return Listings(tuple(listings), tuple(ended))


def _most_first(row: Told) -> tuple[int, bool, int, int]:
    return -sum(value is not None for value in row.said), not row.note, row.key, row.product_id


def _merged(rows: Sequence[Told]) -> list[Listing]:
    """Let each row, those that say most first, join a listing that says as much and does not contradict it."""
    listings: list[Listing] = []
    shapes: dict[tuple[int, ...], list[Listing]] = {}  # by the fields that are told
    found: dict[tuple[tuple[int, ...], tuple[int, ...]], defaultdict[Any, list[Listing]]] = {}
    for row in rows:
        shape = tuple(place for place, value in enumerate(row.said) if value is not None)
        said = _part(row, shape)
        wider = sorted((other for other in shapes if set(shape) <= set(other)), key=lambda other: (len(other), other))
        for other in wider:
            if (other, shape) not in found:
                index = found[other, shape] = defaultdict(list)
                for one in shapes[other]:
                    index[_part(one.rows[0], shape)].append(one)
            joined = next((one for one in found[other, shape].get(said, ()) if _may_join(row, one)), None)
            if joined is not None:
                joined.rows.append(row)
                joined.batches |= row.batches
                joined.note = joined.note or row.note
                break
        else:
            new = Listing([row], set(row.batches), row.note)
            listings.append(new)
            shapes.setdefault(shape, []).append(new)
            for (whole, part), index in found.items():
                if whole == shape:
                    index[_part(row, part)].append(new)
    return listings


def _part(row: Told, shape: tuple[int, ...]) -> tuple[Any, ...]:
    return (row.status, *(row.said[place] for place in shape))


def _may_join(row: Told, listing: Listing) -> bool:
    notes_agree = not row.note or not listing.note or row.note == listing.note
    return notes_agree and listing.batches.isdisjoint(row.batches)


def _by_number(listings: Sequence[Listing]) -> list[tuple[Listing, Listing]]:
    """Tell what became of listings by their numbers; return the open ones that ended, each with its end."""
    ended = []
    for same in _same_number(listings):
        ends = sorted((one for one in same if one.status != OPEN), key=lambda one: (one.end, one.rows[0].key))
        sold = [one for one in ends if one.status == SOLD]
        opens = sorted((one for one in same if one.status == OPEN), key=lambda one: (one.seen, one.rows[0].key))
        for one in opens:
            one.retold = [other for other in opens if other is not one]
            end = next((end for end in ends if end.end >= one.seen), None)
            if end is not None:
                one.gone = True
                ended.append((one, end))
        unsold = [one for one in ends if one.status != SOLD]
        for one in unsold:
            one.gone = any(sale.end >= one.end for sale in sold)
        for few in ([one for one in opens if not one.gone], [one for one in unsold if not one.gone]):
            for one in few[:-1]:
                one.gone = True
    return ended


def _same_number(listings: Sequence[Listing]) -> list[list[Listing]]:
    """Group listings by the source's number and, where several have used it, by channel."""
    numbered: dict[str, list[Listing]] = defaultdict(list)
    for one in listings:
        if one.said[_LISTING] is not None:
            numbered[one.said[_LISTING]].append(one)
    groups = []
    for same in numbered.values():
        if len({one.said[_CHANNEL] for one in same} - {None}) < 2:
            groups.append(same)
            continue
        by_channel: dict[Any, list[Listing]] = defaultdict(list)
        for one in same:
            by_channel[one.said[_CHANNEL]].append(one)
        groups += by_channel.values()
    return [same for same in groups if len(same) > 1]


def _by_content(listings: Sequence[Listing], used: set[int]) -> list[tuple[Listing, Listing]]:
    """Pair open listings with ends that were told of the same day listed and price asked, the first with the first."""
    opens: dict[Any, list[Listing]] = defaultdict(list)
    ends: dict[Any, list[Listing]] = defaultdict(list)
    for one in listings:
        if not one.gone and id(one) not in used:
            side = opens if one.status == OPEN else ends
            side[one.said[_LISTED], one.said[_ASK]].append(one)
    ended = []
    for told in opens.keys() & ends.keys():
        left = sorted(opens[told], key=lambda one: (one.seen, one.rows[0].key))
        for end in sorted(ends[told], key=lambda one: (one.end, one.rows[0].key)):
            match = next((one for one in left if _may_have_ended(one, end)), None)
            if match is not None:
                match.gone = True
                left.remove(match)
                ended.append((match, end))
    return ended


def _may_have_ended(one: Listing, end: Listing) -> bool:
    mine, theirs = one.said, end.said
    if mine[_LISTING] is not None and theirs[_LISTING] is not None:
        return False  # their numbers tell, and tell them apart
    alike = all(mine[at] is None or theirs[at] is None or mine[at] == theirs[at] for at in _ALIKE)
    return alike and one.seen <= end.end and one.batches.isdisjoint(end.batches)
