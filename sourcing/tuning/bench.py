"""The bench: replay the history, move one rule, and say what each setting would have brought."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence

from sourcing.answer import Query
from sourcing.errors import BadInput
from sourcing.fitting import fold
from sourcing.language import gettext, gettext_noop
from sourcing.settings import load_settings
from sourcing.storage import Store
from sourcing.tuning import words
from sourcing.tuning.aims import OBJECTIVES
from sourcing.tuning.buys import RULES
from sourcing.tuning.frontier import frontier
from sourcing.tuning.outcomes import Outcomes
from sourcing.tuning.prepare import Tell, prepare
from sourcing.tuning.replay import Replays
from sourcing.tuning.result import Bench, Suggestion


def tune(
    store: Store,
    category: str = "",
    rule: str = "",
    objective: str = "profit",
    *,
    on_progress: Tell | None = None,
    candidates: Sequence[tuple[int, Query]] = (),
    outcomes: Outcomes | None = None,
) -> Bench:
    """Say what each threshold of a rule would have brought, category by category.

    Parameters
    ----------
    category : one of them, or "" for every one with occasions. rule : one of `buys.RULES`, "" is the least profit.
    objective : one of `aims.OBJECTIVES`. on_progress : told the share done and what goes on, while the history is
    replayed; once it is, the answer comes at once until comps, checks or terms change. candidates : more occasions, see
    `sourcing.tuning.priced`.

    Raises
    ------
    BadInput
        No such category, rule or objective; the table holds no sale yet.
    """
    rule = rule or RULES[0]
    _known(rule, RULES, gettext_noop("“{value}” is no rule."), "rule")
    _known(objective, OBJECTIVES, gettext_noop("“{value}” is no objective."), "objective")
    replays = prepare(store, on_progress, candidates=candidates, outcomes=outcomes)
    if category and fold(category) not in replays.by_category:
        _known(
            category, _names(replays), gettext_noop("“{value}” is no category with occasions to replay."), "category"
        )
    settings = load_settings(store)
    wanted = [fold(category)] if category else list(replays.by_category)
    found = tuple(
        frontier(
            replays.by_category[name], settings.for_category(name), name, rule, objective,
            replays.left_out.get(name, {}), settings.currency,
        )
        for name in wanted
    )  # fmt: skip
    left_out: dict[str, int] = {}
    for name, few in replays.left_out.items():
        if not category or name in (fold(category), ""):
            for why, count in few.items():
                left_out[why] = left_out.get(why, 0) + count
    return Bench(
        found, rule, objective, settings.currency, words.said_left_out(left_out), replays.made_at,
        _notes(store, bool(found), any(one.source == "drawn" for one in found)),
    )  # fmt: skip


def suggestion_of(store: Store, category: str, rule: str, objective: str = "profit") -> Suggestion | None:
    """Return the suggestion for one category and rule as it stands now, or None.

    Raises
    ------
    BadInput
        As `tune`.
    """
    wanted = fold(category)
    found = tune(store, wanted, rule, objective).frontiers
    return next((one.suggestion for one in found if one.category == wanted), None)


def _names(replays: Replays) -> list[str]:
    return [name for name in replays.by_category if name]


def _known(value: str, known: Iterable[str], wrong: str, field: str) -> None:
    names = list(known)
    if value in names:
        return
    near = difflib.get_close_matches(fold(value), names, 1)
    told = gettext(wrong, value=value[:60])
    if near:
        told = f"{told} {gettext('Did you mean {name}?', name=near[0])}"
    raise BadInput(
        told,
        f"{', '.join(names)}."
        if names
        else gettext("None has any yet: comps with listing days of some months are needed."),
        gettext("Choose one of these."),
        field=field,
    )


def _notes(store: Store, replayed: bool, drawn: bool) -> tuple[str, ...]:
    unsold = store.read("SELECT 1 FROM comp WHERE out = 0 AND status <> 1 LIMIT 1")
    if not replayed:
        return (gettext(words.NOTHING_NOTE),)
    notes = words.NOTES if unsold else (*words.NOTES, words.SOLD_ONLY_NOTE)
    return tuple(gettext(note) for note in ((words.DRAWN_NOTE, *notes) if drawn else notes))
