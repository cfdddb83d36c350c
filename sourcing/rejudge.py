"""What other settings do at once to the last checks and to the haul in hand: what flips, and by which rule."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, NamedTuple

from sourcing import haul, history
from sourcing.cases import TOO_LITTLE, Case, Cases, Standing
from sourcing.comps.version import COUNTS
from sourcing.haul_use import Line, Use, style_of, used
from sourcing.money import money_writer
from sourcing.settings import Settings, load_settings
from sourcing.storage import Store

LAST = 200  # past checks that are asked again
RULES = ("least_profit", "least_return", "wanted_chance", "most_loss_chance", "least_comps")


@dataclass(frozen=True)
class Flip:
    """One case that comes out differently, and by which rule."""

    case: Case
    before: Standing
    after: Standing
    was: str  # the rule that bound, with its figures
    now: str


class Moved(NamedTuple):
    """The use of one limit of the haul in hand under the settings in force and under others; None: it is off."""

    before: Use | None
    after: Use | None


@dataclass(frozen=True)
class Change:
    """What other settings do to the last checks and to the haul in hand."""

    checks: int
    flips: tuple[Flip, ...]
    taken: int  # lines of the haul in hand
    haul_flips: tuple[Flip, ...]
    haul_profit: tuple[Decimal, Decimal]  # as the haul has it, and moved by what these settings move a single piece
    haul_limits: tuple[Moved, ...] = ()  # limits of the whole haul that are on before or after


@dataclass(frozen=True)
class Effect:
    """What one rule does to some checks."""

    checks: int = 0
    binds: int = 0  # it is the rule that decides
    buys_without: int = 0  # no buys now, that would be without it

    def __add__(self, other: Effect) -> Effect:
        """Count over more checks."""
        return Effect(self.checks + other.checks, self.binds + other.binds, self.buys_without + other.buys_without)


def kept_cases(store: Store) -> tuple[Cases, Cases]:
    """Return the last checks and the haul in hand, forecast under the settings in force.

    They are kept until the next check, taking, fit, load or change of settings.
    """
    settings = load_settings(store)
    stamp = (store.url, store.read(_STAMP)[0], settings)
    if _kept_for != [stamp]:
        past = [Case(one.id, one.label, one.query) for one in history.recent(store, LAST)]
        held = [item for item in haul.current(store).items if not item.undone]
        taken = [Case(item.check_id, item.label, history.get(store, item.check_id)[0], item.count) for item in held]
        _kept[:] = Cases(store, past, settings), Cases(store, taken, settings)
        _kept_for[:] = [stamp]
    checks, lines = _kept
    return checks, lines


_STAMP = f"""SELECT (SELECT made_at FROM fit ORDER BY id DESC LIMIT 1), (SELECT max(id) FROM checked),
 (SELECT max(id) FROM haul), (SELECT max(closed_at) FROM haul), (SELECT max(id) FROM haul_item),
 (SELECT group_concat(id) FROM haul_item WHERE undone_at IS NOT NULL), {COUNTS}"""  # noqa: S608 - no value in it
_kept: list[Cases] = []
_kept_for: list[tuple[Any, ...]] = []


def change(store: Store, settings: Settings) -> Change:
    """Say what other settings do to the last checks and to the haul in hand; nothing is saved.

    Raises
    ------
    BadInput
        The settings contradict each other.
    """
    checks, lines = kept_cases(store)
    write = money_writer(settings.currency, settings.locale)
    before, after = lines.standings(lines.settings), lines.standings(settings)
    # The haul counts each further piece with what it brings; other settings are taken to move it like the first.
    held = haul.current(store).profit_after_labour
    return Change(
        len(checks.cases),
        flips(checks.cases, checks.standings(checks.settings), checks.standings(settings), write),
        len(lines.cases),
        flips(lines.cases, before, after, write),
        (held, held + _profit(lines.cases, after) - _profit(lines.cases, before)),
        _limits(store, lines, before, after, settings),
    )


def _limits(
    store: Store, lines: Cases, before: list[Standing], after: list[Standing], settings: Settings
) -> tuple[Moved, ...]:
    if not lines.cases:
        return ()
    styles = {item.check_id: style_of(item) for item in haul.current(store).items}

    def held(standings: list[Standing]) -> list[Line]:
        return [
            Line(styles[case.check_id], one.category, case.count, _landed(case, one), one.deal.terms.prep_minutes)
            for case, one in zip(lines.cases, standings, strict=True)
        ]

    each = [(held(before), lines.settings.haul), (held(after), settings.haul)]
    told = dict.fromkeys((use.limit, use.what) for side in each for use in used(*side))
    was, now = ({(use.limit, use.what): use for use in used(*side, every=True)} for side in each)
    return tuple(Moved(was.get(key), now.get(key)) for key in told)


def _landed(case: Case, standing: Standing) -> Decimal | None:
    """Return what a piece costs; as in the haul's outlay, one without a forecast is left out."""
    if standing.outlook is None or standing.decision == TOO_LITTLE or case.query.shelf_price is None:
        return None
    return standing.deal.terms.landed(case.query.shelf_price, case.query.discount)


def flips(
    cases: Sequence[Case], before: Sequence[Standing], after: Sequence[Standing], write: Callable[[Decimal], str] = str
) -> tuple[Flip, ...]:
    """Return the cases that come out differently; ``write`` shows an amount of money."""
    return tuple(
        Flip(case, was, now, was.words(case.query, write), now.words(case.query, write))
        for case, was, now in zip(cases, before, after, strict=True)
        if was.decision != now.decision
    )


def effects(standings: Sequence[Standing]) -> dict[str, dict[str, Effect]]:
    """Count, by category and rule, in how many checks a rule decides and how many would be buys without it."""
    found: dict[str, dict[str, Effect]] = {}
    for standing in standings:
        by_rule = found.setdefault(standing.category, {})
        for rule in RULES:
            binds = standing.rule == rule and standing.outlook is not None
            by_rule[rule] = by_rule.get(rule, Effect()) + Effect(1, int(binds), int(binds and _buy_without(standing)))
    return found


def _buy_without(standing: Standing) -> bool:
    """Whether a case is no buy, and would be one without the rule that binds; the others' limits stay as they are."""
    if standing.decision == "buy":
        return False
    return all(limit.holds and limit.most != 0 for limit in standing.limits if limit.rule != standing.rule)


def _profit(cases: Sequence[Case], standings: Sequence[Standing]) -> Decimal:
    each = ((case.count, standing.profit(case.query)) for case, standing in zip(cases, standings, strict=True))
    return sum((count * profit for count, profit in each if profit is not None), Decimal(0))
