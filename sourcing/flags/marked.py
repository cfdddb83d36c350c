"""The flags the user marked: which there are, what they add to the terms, and what each does, in words."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace

from models.robust import Z90
from sourcing.answer import FlagNote, Item
from sourcing.errors import BadInput
from sourcing.fitting import Fit
from sourcing.flags.footing import said_by_condition
from sourcing.labour import LEARNING, Flag
from sourcing.settings import CategorySettings, Settings
from sourcing.settings_file import closest

_NOT_MOVED = "price left as it is"


def read_flags(settings: Settings, names: Iterable[str]) -> tuple[str, ...]:
    """Return the flags' names as the settings have them, each once and in their order.

    Parameters
    ----------
    names : as typed: case does not matter, blanks and hyphens stand for underscores, and a label will do.

    Raises
    ------
    BadInput
        There is no such flag; the closest is suggested.
    """
    known = {plain_flag(name): name for name in settings.flags}
    known |= {
        plain_flag(flag.shown): name for name, flag in settings.flags.items() if plain_flag(flag.shown) not in known
    }
    wanted = set()
    for typed in names:
        if not (key := plain_flag(typed)):
            continue
        if key not in known:
            raise BadInput(
                f"There is no flag “{' '.join(typed.split())[:80]}”.",
                closest(key, settings.flags) if settings.flags else "No flag is set.",
                "Leave it out, or add it to the settings.",
                field="flags",
            )
        wanted.add(known[key])
    return tuple(name for name in settings.flags if name in wanted)


def flagged(deal: CategorySettings, settings: Settings, names: tuple[str, ...]) -> CategorySettings:
    """Return a category's terms and rules for a piece with these flags; one that is set no longer adds nothing."""
    found = _set(settings, names)
    if not found:
        return deal
    return replace(deal, terms=deal.terms.flagged(found), channels=tuple(one.flagged(found) for one in deal.channels))


def notes(settings: Settings, fit: Fit | None, category: str, item: Item) -> tuple[FlagNote, ...]:
    """Say of each flag of an item what it does."""
    found = []
    for name in item.flags:
        flag = settings.flags.get(name)
        if flag is None:
            found.append(FlagNote(name, name.replace("_", " "), words="It is not among your flags any more."))
        else:
            found.append(_note(with_learnt(settings, flag), fit, category, item))
    return tuple(found)


def _note(flag: Flag, fit: Fit | None, category: str, item: Item) -> FlagNote:
    learnt = fit.flags.get(flag.name) if fit is not None else None
    note = FlagNote(flag.name, flag.shown, flag.minutes, flag.supplies)
    if not flag.words:
        return replace(note, words=f"It has no words to look for in comps; {_NOT_MOVED}.")
    if fit is None or learnt is None or learnt.words != flag.words:
        return replace(note, words=f"What it does to the price has not been learnt yet; {_NOT_MOVED}.")
    effect = learnt.of(category)
    rests = f"{effect.every} comp{'s' if effect.every != 1 else ''}"
    if not effect.enough:
        few = f" (only {rests} to go by)" if effect.every else ""
        return replace(
            note, comps=effect.every, words=f"Your comps do not show what “{flag.shown}” costs{few}; {_NOT_MOVED}."
        )
    low, high = effect.change(-Z90), effect.change(Z90)
    note = replace(note, low=round(low, 4), high=round(high, 4), comps=effect.every)
    if not effect.claimed:
        return replace(
            note,
            words=f"Your comps show no clear effect of “{flag.shown}” ({_between(low, high)}, {rests}); {_NOT_MOVED}.",
        )
    kin = fit.categories.get(category)
    if kin is not None and said_by_condition(kin, item.condition, {flag.name: learnt.words}):
        said = item.condition or kin.base_condition
        return replace(note, words=f"The condition “{said}” says so already; the price is not moved twice.")
    rests = f"{effect.here} of them in this category" if 0 < effect.here < effect.every else (
        "all in this category" if effect.here else "none of them in this category"
    )  # fmt: skip
    change = effect.change()
    return replace(
        note,
        price_change=round(change, 4),
        words=f"Price {_signed(change)} ({_between(low, high)}), by {effect.every} comps with it beside like ones "
        f"without, {rests}.",
    )


def _set(settings: Settings, names: tuple[str, ...]) -> tuple[Flag, ...]:
    return tuple(with_learnt(settings, settings.flags[name]) for name in names if name in settings.flags)


def with_learnt(settings: Settings, flag: Flag) -> Flag:
    """Return a flag with the minutes that the user's own timed batches tell, where those are to be used."""
    return settings.learnt.flag(flag) if settings.default["learn_minutes"] == LEARNING[0] else flag


def _between(low: float, high: float) -> str:
    return f"{_signed(low)} to {_signed(high)}"


def _signed(share: float) -> str:
    percent = math.floor(abs(share) * 100 + 0.5)
    return "0 %" if not percent else f"{'+' if share > 0 else '-'}{percent} %"


def plain_flag(text: str) -> str:
    """Return a typed flag as names are written: small letters, underscores between words."""
    return "_".join(text.casefold().replace("-", " ").replace("_", " ").split())
