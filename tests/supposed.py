"""The limit at the price others get as supposing that price gives it: the whole verdict, made another way."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from sourcing.answer import Query
from sourcing.settings import Settings
from sourcing.storage import Store
from sourcing.whatif import what_if


def at_others(store: Store, query: Query, answer: Mapping[str, Any], settings: Settings) -> dict[str, Any] | None:
    """Return the verdict at the price others get, where a dearer one is advised; else None."""
    ask, others = answer["asking_price"], answer["sale_price"]
    if ask is None or not others or Decimal(str(ask)) <= Decimal(str(others["high"])):
        return None
    return what_if(store, query, settings, ask=Decimal(str(others["mid"]))).verdict.as_dict()
