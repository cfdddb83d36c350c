"""What was passed by, judged by what later comps of the same item show it would have brought."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from models.shares import needed, share_interval
from sourcing.comps.version import data_version
from sourcing.fitting import Fit, current_fit, fold
from sourcing.flags.marked import flagged
from sourcing.history import get
from sourcing.settings import load_settings
from sourcing.storage import Store
from sourcing.tuning.hindsight import by_later_comps
from sourcing.tuning.occasions import Occasion, from_history

MOST = 1_000  # the newest
_FEWEST = 8


@dataclass(frozen=True)
class PassPart:
    """What came of passes whose price was known.

    Attributes
    ----------
    count : passes judged. unknown : those no later listing tells of yet. worth : how many would have left a profit
    after labour at their shelf price. share : of them, with its 90 % interval. expected, brought : net proceeds a piece
    by the forecast at the time and by later comps. left_behind : profit of those worth it, in all. more : passes
    lacking.
    """

    count: int
    unknown: int
    worth: int
    share: tuple[float, float, float] | None
    expected: float
    brought: float
    gap: float
    low: float
    high: float
    left_behind: float
    more: int


_kept: dict[tuple[Any, ...], PassPart | None] = {}


def passes(store: Store) -> PassPart | None:
    """Judge the passes; None before the first one, or without a fit. Kept until checks, comps or settings change."""
    fit = current_fit(store)
    if fit is None:
        return None
    stamp = store.read(
        "SELECT max(id), (SELECT max(id) FROM settings_version), (SELECT count(*) FROM haul_item) FROM checked"
    )
    key = (store.url, fit.made_at, data_version(store), *stamp[0])
    if key not in _kept:
        found = _judge(store, fit)
        _kept.clear()
        _kept[key] = found
    return _kept[key]


def _judge(store: Store, fit: Fit) -> PassPart | None:
    passed = dict(
        store.read("SELECT id, answer FROM checked WHERE decision = 'pass' ORDER BY id DESC LIMIT ?", (MOST,))
    )
    if not passed:
        return None
    history = from_history(store, fit.as_of)
    kept = [
        (one, rows)
        for one, rows in zip(history.occasions, history.rows, strict=True)
        if one.source == "check" and one.check_id in passed
    ][-MOST:]
    settings = load_settings(store)
    groups: dict[tuple[str, tuple[str, ...]], list[tuple[Occasion, Any, dict[str, Any]]]] = {}
    for one, rows in kept:
        assert one.check_id is not None
        answer = get(store, one.check_id)[1]
        if answer.get("asking_price") and answer.get("landed_cost") and answer.get("expected_proceeds"):
            groups.setdefault((fold(one.item.category), one.item.flags), []).append((one, rows, answer))
    brought, expected, profit = [], [], []
    for (category, flags), few in groups.items():
        terms = flagged(settings.for_category(category), settings, flags).terms
        ask = np.array([[float(answer["asking_price"])] for _, _, answer in few])
        found = by_later_comps(fit, category, [one for one, _, _ in few], [rows for _, rows, _ in few], ask, terms)
        for (_, _, answer), net in zip(few, found.net[:, 0], strict=True):
            brought.append(float(net))
            expected.append(float(answer["expected_proceeds"]))
            profit.append(float(net) - float(answer["landed_cost"]) - float(terms.labour()))
    net, told = np.array(brought), ~np.isnan(np.array(brought, dtype=np.float64))
    count = int(told.sum())
    blank = PassPart(count, len(net) - count, 0, None, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, _FEWEST)
    if not count:
        return blank
    said, gain = np.array(expected)[told], np.array(profit)[told]
    gap = net[told] - said
    error = float(gap.std(ddof=1) / np.sqrt(count)) if count > 1 else float("inf")
    worth = int((gain > 0).sum())
    lacking = max(needed(float(gap.std()) / max(float(said.mean()), 1.0), 0.15), _FEWEST) - count
    return replace(
        blank, worth=worth, share=(worth / count, *share_interval(worth, count)), expected=float(said.mean()),
        brought=float(net[told].mean()), gap=float(gap.mean()), low=float(gap.mean() - 1.645 * error),
        high=float(gap.mean() + 1.645 * error), left_behind=float(gain[gain > 0].sum()), more=lacking,
    )  # fmt: skip
