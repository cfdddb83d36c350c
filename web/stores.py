"""The Stores pages: what runs and stores bring an hour, what was left there, and the few fields of a run's trip."""

from __future__ import annotations

from decimal import Decimal
from typing import Any, NamedTuple

from flask import redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from sourcing.errors import BadInput
from sourcing.language import gettext, gettext_noop, ngettext
from sourcing.typed_number import plain_number
from web.charts_stores import Bars, Line, bars
from web.state import settings, store
from web.stock_forms import read_text, read_whole

DAYS = (
    gettext_noop("Monday"), gettext_noop("Tuesday"), gettext_noop("Wednesday"), gettext_noop("Thursday"),
    gettext_noop("Friday"), gettext_noop("Saturday"), gettext_noop("Sunday"),
)  # fmt: skip
PER_PAGE = 30


class OfRun(NamedTuple):
    """What the page of a run says of its trip and of what came of it."""

    trip: Any
    brought: Any
    distance: str
    saved: int | None  # number of the saving that was just made or undone
    undone: bool
    error: BadInput | None


def show() -> str:
    """Show which stores and weekdays pay, and what came of every run."""
    from sourcing.stores.bring import runs
    from sourcing.stores.standing import FEWEST_IN_ALL, FEWEST_RUNS, standing

    kept = settings()
    worth = Decimal(kept.for_category("").terms.hourly_value)
    found = runs(store(), kept)
    told = standing(found, worth)
    after = read_whole("after")
    page = [one for one in found if not after or one.run < after]
    return render_template(
        "stores/show.html",
        told=told,
        worth=worth,
        runs=page[:PER_PAGE],
        more=page[PER_PAGE - 1].run if len(page) > PER_PAGE else 0,
        fewest=FEWEST_RUNS,
        fewest_in_all=FEWEST_IN_ALL,
        pictures=_pictures(told, float(worth)),
        totals=_totals(found),
        weekdays=[gettext(day) for day in DAYS],
        unit=kept.business.distance,
    )


def left_there() -> str:
    """Show the passes that later comps say should have been bought."""
    from sourcing.stores.left import DAYS as LOOKED_BACK
    from sourcing.stores.left import left

    run = read_whole("run") or None
    found = left(store(), settings(), run)
    return render_template("stores/left.html", found=found, run=run, days=LOOKED_BACK)


def trip(haul_id: int) -> Response:
    """Keep what a run took, and where ticked that runs to its store mostly do."""
    from sourcing.stores import trip as trips

    try:
        said = trips.Trip(_minutes("drive"), _minutes("shop"), _distance())
        saved = trips.save(store(), haul_id, said, as_usual="as_usual" in request.form)
    except BadInput as error:
        from web.run import show as of_run

        request.trip_error = error  # type: ignore[attr-defined]
        return Response(of_run(haul_id), 400, content_type="text/html; charset=utf-8")
    return redirect(f"{url_for('run.show', haul_id=haul_id, trip=saved)}#trip", 303)


def undo_trip() -> Response:
    """Take a saving back, or bring it back."""
    from sourcing.stores import trip as trips

    number = read_whole("number")
    haul_id = trips.undo(store(), number)
    if haul_id is None:
        return redirect(url_for("stores.show"), 303)
    return redirect(f"{url_for('run.show', haul_id=haul_id, trip=number)}#trip", 303)


def of_run(haul_id: int) -> OfRun:
    """Return what the part of a run's page shows."""
    from sourcing.stores import trip as trips
    from sourcing.stores.bring import of_run as one_of

    saved = request.args.get("trip", "")
    number = int(saved) if saved.isascii() and saved.isdigit() and len(saved) < 12 else None
    undone = number is not None and trips.is_undone(store(), number)
    kept = settings()
    return OfRun(
        trips.trip_of(store(), haul_id), one_of(store(), kept, haul_id), kept.business.distance, number, undone,
        getattr(request, "trip_error", None),
    )  # fmt: skip


def _pictures(told: Any, worth: float) -> dict[str, Bars | None]:
    if not told.runs:
        return {"stores": None, "days": None}
    places = [
        Line(
            one.name, ngettext("{count} run", "{count} runs", len(one.runs)), one.low, one.high, one.level,
            tuple(float(run.an_hour) for run in one.runs if run.an_hour is not None), one.few,
        )
        for one in told.places
    ]  # fmt: skip
    days = [
        Line(
            gettext(DAYS[one.weekday]), ngettext("{count} run", "{count} runs", one.runs), one.low, one.high, one.level
        )
        for one in told.days
        if one.runs
    ]
    return {"stores": bars(places, worth), "days": bars(days, worth) if len(days) > 1 else None}


def _totals(found: Any) -> dict[str, Any]:
    minutes = sum(one.minutes for one in found)
    profit = sum((one.profit for one in found), Decimal(0))
    return {
        "realised": sum((one.realised_profit for one in found), Decimal(0)),
        "expected": sum((Decimal(one.expected).scaleb(-2) for one in found), Decimal(0)),
        "profit": profit,
        "hours": minutes / 60,
        "an_hour": profit * 60 / Decimal(str(round(minutes, 3))) if minutes >= 1 else None,
        "stock_cost": sum((Decimal(one.stock_cost).scaleb(-2) for one in found), Decimal(0)),
        "in_stock": sum(one.in_stock for one in found),
        "assumed": sum(one.assumed for one in found),
        "unvalued": sum(one.unvalued for one in found),
    }


def _minutes(name: str) -> int | None:
    text = read_text(name)
    if not text:
        return None
    if ":" in text:  # 1:30 as on a watch
        hours, _, rest = text.partition(":")
        if hours.isascii() and hours.isdigit() and rest.isascii() and rest.isdigit() and len(text) < 6:
            return int(hours) * 60 + int(rest)
    found = plain_number(text.removesuffix("min").strip())
    if found is None or found != int(found):
        raise BadInput(
            gettext("“{text}” are no minutes.", text=text[:40]), gettext("Whole minutes such as 45, or 1:15."),
            gettext("Correct it and save again."), field=name,
        )  # fmt: skip
    return int(found)


def _distance() -> Decimal | None:
    text = read_text("distance")
    if not text:
        return None
    found = plain_number(text.removesuffix(settings().business.distance).strip())
    if found is None:
        raise BadInput(
            gettext("“{text}” is no distance.", text=text[:40]),
            gettext("A number such as 24 or 24.5, in {unit}.", unit=settings().business.distance),
            gettext("Correct it and save again."), field="distance",
        )  # fmt: skip
    return found
