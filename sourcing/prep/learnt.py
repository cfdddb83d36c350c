"""Minutes a piece by step, learnt from the timed batches: what takes the place of the settings' own, and what not yet.

Enough is: three batches of the category (or with the flag) at least, and a 90 % interval that reaches at most a quarter
over the learnt minutes, for a flag at most one minute either way. In simulated users what is then put in place is off
by a tenth on average where the minutes assumed before were off by a third (see the tests).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from sourcing.labour import NOTHING_LEARNT, STEPS, Learnt, StepMinutes
from sourcing.prep.batch import FINISHED, Batch
from sourcing.settings_file import folded
from sourcing.storage import Store

if TYPE_CHECKING:
    from sourcing.settings import Settings

FEWEST_BATCHES = 3
WIDEST, WIDEST_FLAG = 1.25, 1.0  # high over learnt; minutes either way
_TENTH = Decimal("0.1")


def learn(store: Store, settings: Settings) -> Learnt:
    """Learn from the finished batches of a store, leaning on the minutes of the settings."""
    from sourcing.prep.watch import finished

    return learn_from([batch for batch in finished(store) if batch.state == FINISHED], settings)


def learn_from(batches: Sequence[Batch], settings: Settings) -> Learnt:
    """Learn the minutes of every step, category and flag; "" is a category that the settings do not name."""
    if not batches:
        return NOTHING_LEARNT
    import numpy as np

    from models.prep import Batches, minutes_learnt

    categories, flags = ["", *settings.categories], list(settings.flags)
    place, mark = {name: at for at, name in enumerate(categories)}, {name: at for at, name in enumerate(flags)}
    by_category: dict[tuple[str, str], StepMinutes] = {}
    by_flag: dict[tuple[str, str], StepMinutes] = {}
    say: dict[int, float] = {}
    short: set[int] = set()
    for step in STEPS:
        mine = [batch for batch in batches if batch.step == step and batch.pieces and batch.minutes > 0]
        if not mine:
            continue
        pieces, flagged = np.zeros((len(mine), len(categories))), np.zeros((len(mine), len(flags)))
        for at, batch in enumerate(mine):
            for kind in batch.done:
                pieces[at, place.get(folded(kind.category), 0)] += kind.pieces
                for name in kind.flags:
                    if name in mark:
                        flagged[at, mark[name]] += kind.pieces
        assumed, extra = _assumed(settings, step, categories, flags)
        found = minutes_learnt(
            Batches(np.array([batch.minutes for batch in mine]), pieces, flagged),
            np.array(assumed, dtype=float), np.array(extra, dtype=float),
        )  # fmt: skip
        say.update(zip((batch.id for batch in mine), found.say.tolist(), strict=True))
        short.update(batch.id for batch, less in zip(mine, found.short.tolist(), strict=True) if less)
        for at, name in enumerate(categories):
            own, high = int(found.batches[at]), float(found.high[at])
            if own:
                enough = own >= FEWEST_BATCHES and high <= WIDEST * found.mean[at]
                by_category[name, step] = StepMinutes(
                    _minutes(found.mean[at]), _minutes(found.low[at]), _minutes(high), own, int(found.pieces[at]),
                    assumed[at], bool(enough),
                )  # fmt: skip
        for at, name in enumerate(flags):
            if own := int(found.extra_batches[at]):
                middle, high = float(found.extra[at]), float(found.extra_high[at])
                by_flag[name, step] = StepMinutes(
                    _minutes(middle), _minutes(found.extra_low[at]), _minutes(high), own, int(flagged[:, at].sum()),
                    extra[at], own >= FEWEST_BATCHES and high - middle <= WIDEST_FLAG,
                )  # fmt: skip
    return Learnt(by_category, by_flag, say, frozenset(short))


def expected_minutes(store: Store, step: str, done: Sequence[Sequence[Any]]) -> float:
    """Minutes that so many pieces of each [category, flags, pieces] would usually take, by what is in force."""
    from sourcing.flags.marked import flagged
    from sourcing.settings import load_settings

    settings = load_settings(store)
    total = Decimal(0)
    for category, flags, pieces in done:
        terms = flagged(settings.for_category(category), settings, tuple(flags)).terms
        total += pieces * getattr(terms, f"{step}_minutes")
    return float(total)


def _assumed(
    settings: Settings, step: str, categories: Sequence[str], flags: Sequence[str]
) -> tuple[list[Decimal], list[Decimal]]:
    """Minutes as the settings say themselves, nothing learnt in them."""
    name = f"{step}_minutes"
    return (
        [Decimal(settings.categories.get(one, {}).get(name, settings.default[name])) for one in categories],
        [Decimal(getattr(settings.flags[one], name)) for one in flags],
    )


def _minutes(value: float) -> Decimal:
    return Decimal(repr(round(float(value), 4))).quantize(_TENTH)


def words(found: Mapping[tuple[str, str], StepMinutes], name: str) -> list[tuple[str, StepMinutes]]:
    """Return what was learnt of one category or flag, step by step."""
    return [(step, found[name, step]) for step in STEPS if (name, step) in found]
