"""How much more own sales tell than others': learnt with every fit, from the residuals of its price model."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import numpy as np

from models.price import PriceModel
from models.telling import Telling, own_weight
from sourcing.outcomes.mark import is_own

if TYPE_CHECKING:
    from sourcing.training import Training

_NOTE = 14  # in rows of `training.lay_out`
_SOUND = 0.3  # weight of a sale in the price model below which it is wild
_NOBODY = Telling(1.0, float("nan"), float("inf"), 0, 0)


def learn_own(table: Training, model: PriceModel) -> dict[str, Any]:
    """Return `Telling` as a JSON-able mapping; what is not known is None."""
    own = np.array([is_own(row[_NOTE]) for row in table.rows], dtype=bool)
    found = _NOBODY
    if own.any():
        sound = model.weight_ > _SOUND
        product = table.product[table.sold][sound]
        found = own_weight(product, own[table.sold][sound], model.residual_[sound])
    return {name: value if np.isfinite(value) else None for name, value in asdict(found).items()}
