"""What must hold between the cells of one row for it to stand as a comp."""

from __future__ import annotations

from typing import Any

from sourcing.comps import values
from sourcing.comps.columns import STATUSES
from sourcing.comps.values import Finding
from sourcing.language import gettext

OPEN, SOLD = STATUSES.index("open"), STATUSES.index("sold")
Columns = dict[str, list[Any]]
Findings = dict[int, list[tuple[str, str, Finding]]]  # place in the block -> column, cell, finding


def standing_out(columns: Columns, products: list[str]) -> list[int]:
    """Return the places of the rows that cannot stand as they are."""
    states = zip(
        columns["status"], columns["sold_price"], columns["listed_on"], columns["ended_on"], products, strict=True
    )
    return [
        place
        for place, (status, sold, listed, ended, product) in enumerate(states)
        if (status == SOLD) is (sold is None)
        or status is None
        or not product
        or (ended is not None and (status == OPEN or (listed is not None and ended < listed)))
    ]


def stands(place: int, columns: Columns, findings: list[tuple[str, str, Finding]]) -> bool:
    """Judge what holds between the cells of one row: say what is wrong, mend what can be, tell whether it is good."""
    if any(finding.rejected for _, _, finding in findings):
        return False
    status, sold = columns["status"][place], columns["sold_price"][place]
    listed, ended = columns["listed_on"][place], columns["ended_on"][place]
    if status is None:
        findings.append(
            ("status", "", Finding(gettext("It is empty, and so is sold_price."), gettext("Fill in one of them.")))
        )
        return False
    if status == SOLD and sold is None:
        findings.append(("sold_price", "", Finding(gettext("A sale needs its price."), gettext("Fill it in."))))
        return False
    if status != SOLD and sold is not None:
        reason = gettext("The row is {status}, yet has a sold price.", status=STATUSES[status])
        mend = Finding(reason, gettext("Correct the status or empty it."))
        findings.append(("sold_price", values.plain(sold), mend))
        return False
    if ended is not None and status == OPEN:
        reason = gettext("An open listing has not ended.") + values.kept_without()
        mend = Finding(reason, gettext("Correct the status or empty it."), False)
        findings.append(("ended_on", values.iso(ended), mend))
        columns["ended_on"][place] = None
    elif ended is not None and listed is not None and ended < listed:
        wrong = Finding(gettext("It ended before it was listed."), gettext("Correct the days."))
        findings.append(("ended_on", values.iso(ended), wrong))
        return False
    if columns["style_code"][place][1] or columns["gtin"][place] is not None or columns["title"][place]:
        return True
    _nothing_identifies(findings)
    return False


def _nothing_identifies(findings: list[tuple[str, str, Finding]]) -> None:
    for place, (name, cell, finding) in enumerate(findings):
        if name == "gtin":
            findings[place] = (name, cell, Finding(finding.reason.removesuffix(values.kept_without()), finding.fix))
            return
    reason = gettext("Nothing says what the item is: gtin, style_code and title are all empty.")
    findings.append(("title", "", Finding(reason, gettext("Fill in one of them."))))
