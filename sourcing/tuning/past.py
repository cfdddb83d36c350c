"""The fit as it would have been on days of the past: learnt of what was known by then, and kept."""

from __future__ import annotations

import bisect
import json
import zlib
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from sourcing import fitting
from sourcing.comps.version import data_version
from sourcing.fitting import Fit
from sourcing.language import gettext
from sourcing.storage import Store
from sourcing.tuning import kept
from sourcing.tuning.known import TABLE, known_on
from sourcing.tuning.occasions import day_text

_APART = 45  # days between two fits, about as often as one changes an answer
_MOST = 5
_STEP = 7  # days of one week share a day "today" of the fit, so that they are forecast in one pass
_FEWEST_SALES = 30  # sales known by a day, or no fit of it is worth the name
Tell = Callable[[float, str], None]


@dataclass(frozen=True)
class PastFits:
    """Fits of some days (ascending); None where too little was known to learn anything."""

    days: tuple[int, ...]
    fits: tuple[Fit | None, ...]

    def before(self, day: int) -> tuple[int, Fit] | None:
        """Return the week (its number) and the last fit made by a day, its today moved to that week's first day."""
        at = bisect.bisect_right(self.days, day) - 1
        if at < 0:
            return None
        fit = self.fits[at]
        if fit is None:
            return None
        weeks = (day - self.days[at]) // _STEP
        return at * 10_000 + weeks, replace(fit, as_of=self.days[at] + weeks * _STEP)


def origins(days: Sequence[int]) -> tuple[int, ...]:
    """Choose the days of the fits for occasions on ``days``: the first, and then as many occasions apart.

    Rolling origins with refits now and then (Tashman 2000, International Journal of Forecasting 16:437).
    """
    if not len(days):
        return ()
    count = int(np.clip(round((max(days) - min(days)) / _APART), 1, _MOST))
    return tuple(sorted({int(day) for day in np.quantile(days, np.arange(count) / count, method="lower")}))


def past_fits(store: Store, days: Sequence[int], tell: Tell) -> PastFits:
    """Fit on what was known by each day, or take the fit that is kept."""
    words = fitting.flag_words(store)
    stands = {day: _stand(store, day) for day in days}
    missing = [day for day in days if not kept.holds(store, "fit", stands[day])]
    rows = store.read(fitting.TABLE) if missing else []
    for at, day in enumerate(missing):
        words_of_it = gettext(
            "Learning what was known by {day}, {number} of {every}",
            day=day_text(day),
            number=at + 1,
            every=len(missing),
        )
        tell(at / len(missing), words_of_it)
        kept.keep(store, "fit", stands[day], _fitted(rows, day, words))
    fits = []
    for day in days:
        found = kept.find(store, "fit", stands[day])
        assert found is not None
        fits.append(_unpacked(found[0], found[1]))
    return PastFits(tuple(days), tuple(fits))


def drop_past_fits(store: Store, days: Collection[int]) -> None:
    """Let go of the fits that are kept, except those of the days named."""
    kept.drop_others(store, "fit", [_stand(store, day) for day in days])


def _stand(store: Store, day: int) -> kept.Stand:
    # What flags do to a price is learnt by the words that mean them; without any, earlier fits stand as they are.
    words = fitting.flag_words(store)
    return {"comps": data_version(store), "version": fitting.VERSION, "day": day, **({"words": words} if words else {})}


def _fitted(rows: list[tuple[object, ...]], day: int, words: Mapping[str, Sequence[str]]) -> bytes:
    from sourcing.learning import learn

    # Rows stand in the order of keys that hold what became of a listing; not even their order may tell the fit of it.
    known = sorted(known_on(rows, day, TABLE), key=lambda row: [str(cell) for cell in row[1:]])
    enough = sum(row[TABLE.status] == 1 for row in known) >= _FEWEST_SALES
    learnt = learn(known, lambda share, what: None, words) if enough else None
    return zlib.compress(json.dumps(learnt, allow_nan=False).encode())


def _unpacked(made_at: datetime, payload: bytes) -> Fit | None:
    plain = json.loads(zlib.decompress(payload))
    return None if plain is None else fitting.unpack(0, made_at.isoformat(), plain)
