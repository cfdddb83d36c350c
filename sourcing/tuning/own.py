"""What became of the pieces that were bought, as the stock's ledger has it, for the bench to value checks by."""

from __future__ import annotations

from sourcing.money import from_minor
from sourcing.settings import Settings
from sourcing.storage import Store
from sourcing.stores.bring import SALES, Work
from sourcing.tuning.outcomes import Known, Outcome

_ENDED = ("sold", "given up")
_BOUGHT = f"""SELECT i.check_id, i.category, i.flags, i.state, i.part_of, coalesce(i.got, 0), i.bought_on, i.ended_on,
    coalesce(s.sales, 0), coalesce(s.net, 0), s.no_fees, s.no_postage
    FROM stock_item i LEFT JOIN {SALES} s ON s.item_id = i.id
    WHERE i.check_id IS NOT NULL AND i.bought_on <= ?"""  # noqa: S608 - no value in it


def of_stock(store: Store, settings: Settings, as_of: int) -> Known:
    """Return the outcomes of checks whose pieces have all ended, on the average of a piece.

    A check counts once its plan would have given the piece up by the day ``as_of`` (since 1970-01-01): of younger ones
    only those that sold soon have an outcome, and a bench fed with these would find every purchase quick. Pieces that
    were split or joined to a lot are left out, for what came of them is not of the item that was checked. Fees and
    postage that are not recorded yet count as the terms have them.
    """
    work = Work(settings)
    shortest = min(settings.for_category(name).terms.plan.give_up_day for name in ("", *settings.categories))
    ended: dict[int, list[tuple[int, int]]] = {}
    open_still: set[int] = set()
    for check, category, flags, state, part_of, got, bought, ended_on, sales, net, *unknown in store.read(
        _BOUGHT, (as_of - shortest,)
    ):
        young = bought + settings.for_category(category).terms.plan.give_up_day > as_of
        if state not in _ENDED or ended_on is None or part_of is not None or young:
            open_still.add(check)
            continue
        left = net - work.assumed(category, flags, *unknown) - work.terms(category, flags)[1] * sales + got
        ended.setdefault(check, []).append((left, ended_on - bought))
    return Known(
        {
            check: Outcome(
                check,
                from_minor(round(sum(left for left, _ in few) / len(few))),
                round(sum(days for _, days in few) / len(few)),
            )
            for check, few in ended.items()
            if check not in open_still
        }
    )
