"""``load --watch``: look after a folder until Ctrl-C."""

from __future__ import annotations

import json
import time
from pathlib import Path
from typing import TYPE_CHECKING

import click

from sourcing.errors import SourcingError
from sourcing.language import gettext
from web.commands.frame import failed, say

if TYPE_CHECKING:
    from sourcing.comps.watch import Arrival
    from sourcing.storage import Store

EVERY = 2.0  # seconds between two looks; a file is taken once it has not changed between two of them


def keep_watch(store: Store, folder: Path, beside: Path, *, as_json: bool, looks: int | None = None) -> None:
    """Load what comes into a folder; ``looks`` ends it after so many, for tests."""
    from sourcing.comps.watch import Watch

    watch = Watch(store, folder, beside)
    say(gettext("Watching {folder}; Ctrl-C ends it.", folder=folder))
    done = 0
    try:
        while looks is None or done < looks:
            done += 1
            try:
                found = watch.look()
            except SourcingError as error:  # a drive that is away for a while
                say(failed(error))
                found = []
            for one in found:
                click.echo(json.dumps(_plain(one)) if as_json else _words(one))
            if any(one.became == "loaded" for one in found):
                from web.commands.comps import refit

                refit(store)
            if looks is None or done < looks:
                time.sleep(EVERY)
    except KeyboardInterrupt:
        say(gettext("Watching ended."))


def _plain(one: Arrival) -> dict[str, object]:
    return {"file_name": one.name, "became": one.became, "why": one.why} | (
        {"report": one.report.as_dict()} if one.report else {}
    )


def _words(one: Arrival) -> str:
    report = one.report
    if one.became == "loaded" and report is not None:
        told = [gettext("{new} new, {known} known", new=report.new, known=report.known)]
        if report.rejected:
            told.append(gettext("{count} rejected (mend them on the Comps page)", count=report.rejected))
        return f"{one.name}: {', '.join(told)}, {gettext('batch {number}', number=report.batch_id)}"
    if one.became == "waiting":
        return f"{one.name}: {gettext('waits on the Comps page.')} {one.why}"
    if one.became == "left":
        return f"{one.name}: {gettext('left in its folder for now.')} {one.why}"
    return f"{one.name}: " + (
        gettext("nothing new") if one.became == "known" else f"{gettext('not loaded.')} {one.why}"
    )
