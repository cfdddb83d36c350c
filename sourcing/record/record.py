"""The track record as one answer, shared by the page and the command line."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any

import numpy as np

from sourcing.errors import BadInput, Refused
from sourcing.language import gettext, gettext_noop
from sourcing.record import corrected
from sourcing.record.corrected import Correction
from sourcing.record.offers import Offer, Tried, offers
from sourcing.record.outcomes import HORIZONS, Outcomes, outcomes
from sourcing.record.parts import (
    GroupLine,
    PricePart,
    ProfitPart,
    SpeedPart,
    groups,
    price_part,
    profit_part,
    speed_part,
)
from sourcing.record.passes import PassPart, passes
from sourcing.storage import Store

BY = (gettext_noop("category"), gettext_noop("store"), gettext_noop("evidence"), gettext_noop("period"))
_DOTS = 400


@dataclass(frozen=True)
class Record:
    """The whole of it; parts are None where nothing is known of them.

    ``pieces`` were bought on a forecast, ``going`` of them are still to sell; ``blind`` were bought without one.
    ``pairs`` are forecast and price paid of up to 400 sold pieces, for a picture.
    """

    pieces: int
    going: int
    blind: int
    price: PricePart | None
    speed: SpeedPart | None
    profit: ProfitPart | None
    by: str
    groups: tuple[GroupLine, ...]
    passes: PassPart | None
    tried: Tried
    corrections: tuple[Correction, ...]
    pairs: tuple[tuple[float, float], ...]

    def as_dict(self) -> dict[str, Any]:
        """Return a JSON-able mapping; what is not a number is None."""
        plain = {key: value for key, value in asdict(self).items() if key not in ("pairs", "corrections")}
        plain["corrections"] = [
            {"number": one.id, "kind": one.kind, "category": one.category, "value": one.value, "in_force": one.in_force}
            for one in self.corrections
        ]
        found: dict[str, Any] = json.loads(json.dumps(plain), parse_constant=lambda _: None)
        return found


def record(
    store: Store, *, by: str = "category", within: int = 30, today: date | None = None, category: str = ""
) -> Record:
    """Return the track record.

    Parameters
    ----------
    by : one of `BY`. within : one of `HORIZONS`, days. category : only this one.

    Raises
    ------
    BadInput
        ``by`` or ``within`` is none of these.
    """
    if by not in BY:
        raise BadInput(gettext("“{by}” is nothing to take it apart by.", by=by[:40]), ", ".join(BY), field="by")
    if within not in HORIZONS:
        raise BadInput(
            gettext("Nothing was forecast for {days} days.", days=within), ", ".join(map(str, HORIZONS)), field="within"
        )
    every = corrected.corrections(store)
    found = outcomes(store, every, today)
    tried = offers(found)
    if category:
        found = found.of(np.array([found.names[at] == category for at in found.category], dtype=bool))
    return _told(found, by, within, tried, every, passes(store))


def _told(
    found: Outcomes, by: str, within: int, tried: Tried, every: tuple[Correction, ...], passed: PassPart | None
) -> Record:
    sold = np.flatnonzero(found.priced)
    shown = sold[np.linspace(0, len(sold) - 1, min(len(sold), _DOTS)).astype(np.int64)]
    dots = tuple(zip(found.mid[shown].tolist(), found.paid[shown].tolist(), strict=True))
    told = found.foretold
    return Record(
        int(told.sum()), int((told & ~found.ended).sum()), int((~told).sum()),
        price_part(found), speed_part(found, within), profit_part(found), by,
        groups(found, by, within), passed, tried, every, dots,
    )  # fmt: skip


def accept(store: Store, name: str, client_id: str = "") -> int:
    """Put an offered correction in force by its name; return its number.

    Raises
    ------
    Refused
        It is not offered, or no longer so.
    """
    if client_id and (known := store.read("SELECT id FROM correction WHERE client_id = ?", (client_id,))):
        return int(known[0][0])
    offer = _offered(store, name)
    if offer is None:
        raise Refused(
            gettext("That correction is not offered, or no longer so."), next_step=gettext("Open the track record.")
        )
    return corrected.accept(store, offer.kind, offer.category, offer.value, offer.as_dict(), client_id)


def _offered(store: Store, name: str) -> Offer | None:
    tried = offers(outcomes(store, corrected.corrections(store)))
    return next((one for one in tried.offers if one.name == name), None)
