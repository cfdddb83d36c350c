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
from sourcing.language import gettext, ngettext, separated
from sourcing.settings import CategorySettings, Settings
from sourcing.settings_file import closest


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
    names = [name for name in names if plain_flag(name)]
    if not names:
        return ()
    known = {plain_flag(name): name for name in settings.flags}
    known |= {
        plain_flag(flag.shown): name for name, flag in settings.flags.items() if plain_flag(flag.shown) not in known
    }
    wanted = set()
    for typed in names:
        if (key := plain_flag(typed)) not in known:
            raise BadInput(
                gettext("There is no flag “{split}”.", split=" ".join(typed.split())[:80]),
                closest(key, settings.flags) if settings.flags else gettext("No flag is set."),
                gettext("Leave it out, or add it to the settings."),
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
            found.append(FlagNote(name, name.replace("_", " "), words=gettext("It is not among your flags any more.")))
        else:
            found.append(_note(with_learnt(settings, flag), fit, category, item))
    return tuple(found)


def _note(flag: Flag, fit: Fit | None, category: str, item: Item) -> FlagNote:
    learnt = fit.flags.get(flag.name) if fit is not None else None
    note = FlagNote(flag.name, flag.shown, flag.minutes, flag.supplies)
    if not flag.words:
        return replace(note, words=gettext("It has no words to look for in comps; price left as it is."))
    if fit is None or learnt is None or learnt.words != flag.words:
        words = gettext("What it does to the price has not been learnt yet; price left as it is.")
        return replace(note, words=words)
    effect = learnt.of(category)
    if not effect.enough:
        return replace(note, comps=effect.every, words=_too_few(flag.shown, effect.every))
    low, high = effect.change(-Z90), effect.change(Z90)
    note = replace(note, low=round(low, 4), high=round(high, 4), comps=effect.every)
    if not effect.claimed:
        return replace(
            note,
            words=ngettext(
                "Your comps show no clear effect of “{flag}” ({change}, {count} comp); price left as it is.",
                "Your comps show no clear effect of “{flag}” ({change}, {count} comps); price left as it is.",
                effect.every,
                flag=flag.shown,
                change=_between(low, high),
            ),
        )
    kin = fit.categories.get(category)
    if kin is not None and said_by_condition(kin, item.condition, {flag.name: learnt.words}):
        said = item.condition or kin.base_condition
        words = gettext("The condition “{condition}” says so already; the price is not moved twice.", condition=said)
        return replace(note, words=words)
    change = effect.change()
    shown = {"change": _signed(change), "range": _between(low, high), "comps": effect.every, "here": effect.here}
    if 0 < effect.here < effect.every:
        words = gettext(
            "Price {change} ({range}), by {comps} comps with it beside like ones without, {here} of them in this "
            "category.",
            **shown,
        )
    elif effect.here:
        words = gettext(
            "Price {change} ({range}), by {comps} comps with it beside like ones without, all in this category.",
            **shown,
        )
    else:
        words = gettext(
            "Price {change} ({range}), by {comps} comps with it beside like ones without, none of them in this "
            "category.",
            **shown,
        )
    return replace(
        note,
        price_change=round(change, 4),
        words=words,
    )


def _too_few(flag: str, comps: int) -> str:
    if not comps:
        return gettext("Your comps do not show what “{flag}” costs; price left as it is.", flag=flag)
    return ngettext(
        "Your comps do not show what “{flag}” costs (only {count} comp to go by); price left as it is.",
        "Your comps do not show what “{flag}” costs (only {count} comps to go by); price left as it is.",
        comps,
        flag=flag,
    )


def _set(settings: Settings, names: tuple[str, ...]) -> tuple[Flag, ...]:
    return tuple(with_learnt(settings, settings.flags[name]) for name in names if name in settings.flags)


def with_learnt(settings: Settings, flag: Flag) -> Flag:
    """Return a flag with the minutes that the user's own timed batches tell, where those are to be used."""
    return settings.learnt.flag(flag) if settings.default["learn_minutes"] == LEARNING[0] else flag


def _between(low: float, high: float) -> str:
    return gettext("{low} to {high}", low=_signed(low), high=_signed(high))


def _signed(share: float) -> str:
    percent = math.floor(abs(share) * 100 + 0.5)
    return separated("0%" if not percent else f"{'+' if share > 0 else '-'}{percent}%")


def plain_flag(text: str) -> str:
    """Return a typed flag as names are written: small letters, underscores between words."""
    return "_".join(text.casefold().replace("-", " ").replace("_", " ").split())
