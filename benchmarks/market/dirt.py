"""What exports make of a market: rows in the columns of docs/comps_format.md, some of them spoilt, in two files."""

from __future__ import annotations

import csv
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from benchmarks.market.config import AS_OF, DAYS
from benchmarks.market.draw import CONDITIONS, Market
from sourcing.codes.gtin import check_digit

COLUMNS = (
    "gtin",
    "style_code",
    "brand",
    "category",
    "title",
    "size",
    "condition",
    "channel",
    "asking_price",
    "sold_price",
    "shipping_charged",
    "listed_on",
    "ended_on",
    "status",
    "note",
)
EARLIER, OVERLAP = 260, 200  # the earlier export is made on day 260; the later one goes back to day 200
FILES = ("export_earlier.csv", "export_later.csv")
_STATUS = ("open", "sold", "ended unsold")
_FILLER = ("fast dispatch", "as pictured", "boxed up well", "see photos", "from a tidy home")
Flags = NDArray[np.bool_]
Row = tuple[str, ...]


@dataclass(frozen=True)
class Spoilt:
    """Rows of the two exports, and per listing whether the files hold it, and clean (own code, whole, dated)."""

    earlier: list[Row]
    later: list[Row]
    kept: Flags
    clean: Flags


def spoil(market: Market, seed: int) -> Spoilt:
    """Write every listing as a row, spoil some, and share them out to two overlapping exports."""
    rng = np.random.default_rng([953, seed])
    config, listings, styles = market.constants.config, market.listings, market.styles
    n = len(listings.style)

    def some(share: float) -> Flags:
        return np.asarray(rng.random(n) < share)

    lot, damaged, wrong, garbled = (
        some(share) for share in (config.lots, config.damaged, config.wrong_code, config.garbled_code)
    )
    damaged &= ~lot
    no_code, no_gtin, bad_gtin = some(config.no_code), some(config.no_gtin), some(config.bad_gtin)
    no_dates, no_ask, spelt, wordy = (some(share) for share in (config.no_dates, config.no_ask, config.spelling, 0.3))
    if config.undated:
        no_dates[:] = True
    shift = np.where(lot, rng.normal(0.95, 0.06, n), 0.0) + np.where(damaged, rng.normal(-0.85, 0.12, n), 0.0)
    ship = rng.choice([0.0, 4.95, 6.95], n, p=[0.6, 0.2, 0.2])
    ask = np.maximum(np.round(np.exp(listings.ask_last + shift), 2), 1.0)
    sold = np.maximum(np.round(np.exp(listings.sold + shift), 2), 1.0)
    ship = np.where(np.minimum(ask, sold) > 3 * ship, ship, 0.0)
    other, filler, channel, spelling = rng.random(n), rng.integers(len(_FILLER), size=n), rng.random(n), rng.random(n)
    kin: dict[str, list[int]] = {}
    for number, brand in enumerate(styles.words.brand):
        kin.setdefault(brand, []).append(number)
    # A day of age is 24 hours: from an hour of the day to the same hour, so half of the sales fall on the date before.
    ended_on = listings.ended - (rng.random(n) < 0.5)
    rows: list[Row] = []
    for i in range(n):
        s, status = int(listings.style[i]), int(listings.status[i])
        code, brand = styles.words.code[s], styles.words.brand[s]
        gtin = gtin_of(s, int(listings.size[i]))
        if wrong[i]:
            code = styles.words.code[kin[brand][int(other[i] * len(kin[brand]))]]
        elif garbled[i]:
            at = 2 + int(other[i] * 3)
            code = code[:at] + chr(ord("Q") + int(other[i] * 9)) + code[at + 1 :]
        if spelt[i]:
            code = _spelt(code, float(spelling[i]))
        if bad_gtin[i]:
            gtin = gtin[:-1] + str((int(gtin[-1]) + 3) % 10)
        title = styles.words.title[s]
        if wordy[i]:
            title = f"{title} {_FILLER[filler[i]]}"
        if lot[i] and not config.unsaid:
            title = f"Lot of 3 {title}"
        note = "damaged, sold as seen" if damaged[i] and not config.unsaid else ""
        listed, ended = (AS_OF + timedelta(int(day) - DAYS) for day in (listings.listed[i], ended_on[i]))
        category = int(styles.category[s])
        rows.append(
            (
                "" if no_gtin[i] else gtin,
                "" if no_code[i] else code,
                brand,
                market.constants.names[category],
                title,
                market.constants.sizes(category)[listings.size[i]],
                CONDITIONS[listings.condition[i]],
                "market hall" if channel[i] < 0.6 else "own page",
                "" if no_ask[i] else f"{ask[i] - ship[i]:.2f}",
                f"{sold[i] - ship[i]:.2f}" if status == 1 else "",
                f"{ship[i]:.2f}",
                "" if no_dates[i] else listed.isoformat(),
                "" if status == 0 or no_dates[i] else ended.isoformat(),
                _STATUS[status],
                note,
            )
        )
    kept = np.ones(n, dtype=bool)
    if config.sold_only:
        kept = listings.status == 1
    elif config.open_only:
        kept = listings.status == 0
    clean = kept & ~(lot | damaged | wrong | garbled | no_code | no_dates | no_ask)
    if config.undated:
        clean = kept & ~(lot | damaged | wrong | garbled | no_code | no_ask)
    ends = np.where(listings.status == 0, DAYS + 1, listings.ended)
    in_earlier, in_later = kept & (ends <= EARLIER), kept & (ends > OVERLAP)
    earlier = [rows[i] for i in np.flatnonzero(in_earlier)]
    if config.stale_open:
        stale = kept & (listings.listed < EARLIER) & (ends > EARLIER)
        earlier += [_still_open(rows[i]) for i in np.flatnonzero(stale)]
    order = rng.permutation(np.flatnonzero(in_later))
    return Spoilt(earlier, [rows[i] for i in order], kept, clean)


def gtin_of(style: int, size: int) -> str:
    """Return the barcode number of a style's size, from the numbers set aside for examples."""
    body = f"952{style * 10 + size:09d}"
    return body + str(check_digit(body))


def _spelt(code: str, draw: float) -> str:
    return (code.lower(), code.replace("-", ""), code.replace("-", " "), code.replace("-", ".").lower())[int(draw * 4)]


def _still_open(row: Row) -> Row:
    """Return the row as it was before it ended."""
    return (*row[:9], "", row[10], row[11], "", "open", row[14])


def write_files(folder: Path, spoilt: Spoilt) -> list[Path]:
    """Write both exports, as CSV; return the files that hold rows."""
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for name, rows in zip(FILES, (spoilt.earlier, spoilt.later), strict=True):
        if rows:
            write_rows(folder / name, COLUMNS, rows)
            written.append(folder / name)
    return written


def write_rows(path: Path, header: Iterable[str], rows: Iterable[Iterable[str]]) -> None:
    """Write one CSV file."""
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(header)
        writer.writerows(rows)
