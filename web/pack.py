"""The take-along pack over HTTP: sent as it is kept, built in the background when what it stands on has changed."""

from __future__ import annotations

import gzip
import time
from typing import TYPE_CHECKING, Any

from flask import current_app, jsonify, request
from werkzeug.wrappers import Response

from sourcing.language import gettext, gettext_noop
from sourcing.pack import kept
from web.state import State, current, settings, store
from web.tasks import Task

if TYPE_CHECKING:
    from collections.abc import Callable

    from sourcing.storage import Store

SOON = 1.5  # seconds a request waits for a pack that is being built
AGAIN = 5  # seconds after which to ask again for one
_MISSING = {
    "nothing learnt yet": (
        gettext_noop("Nothing has been learnt yet, so there is nothing to take along."),
        gettext_noop("Load a file of past sales on the Comps page, then ask again."),
    ),
    "failed": (
        gettext_noop("The take-along pack could not be built."),
        gettext_noop("See the server's log; checks on this server still work."),
    ),
    "building": (gettext_noop("The take-along pack is being built."), gettext_noop("Ask again in a few seconds.")),
}


def send() -> Response:
    """Send the pack, or say that the one at hand is still in force, or that there is none yet."""
    wanted = kept.stamp(store(), settings())
    found = kept.about(current().folder)
    if wanted is not None and (found is None or found["stamp"] != wanted):
        task = freshen()
        until = time.monotonic() + SOON
        while task.running and time.monotonic() < until:
            time.sleep(0.05)
        found = kept.about(current().folder)
    if wanted is None or found is None:
        return _none(wanted)
    data = kept.place_of(current().folder).read_bytes()
    response = Response(data, mimetype="application/octet-stream")
    if request.accept_encodings.quality("gzip") > 0:
        response.headers["Content-Encoding"] = "gzip"
    else:
        response.set_data(gzip.decompress(data))
    response.vary.add("Accept-Encoding")
    response.set_etag(found["stamp"])
    return response.make_conditional(request)


def state() -> Response:
    """Say which pack there is, whether it is of what is in force, and whether one is being built."""
    wanted, found, task = kept.stamp(store(), settings()), kept.about(current().folder), _task()
    is_current = found is not None and found["stamp"] == wanted
    if wanted is not None and found is not None and not is_current:
        freshen()
    return jsonify(
        stamp=None if found is None else found["stamp"],
        built=None if found is None else found["built"],
        bytes=None if found is None else found["bytes"],
        current=is_current,
        building=task.running,
        words=task.said if task.running else task.failed,
    )


def freshen() -> Task:
    """Build the pack in the background where what it stands on has changed, once learning is done."""
    task = _task()
    if not task.running:
        task.start(_builds(current(), store()))
    return task


def follow() -> None:
    """After what may have changed anything: build once more, where a change came while one was being built too."""
    _task().start(_builds(current(), store()))


def _builds(at: State, data: Store) -> Callable[[Callable[..., None]], Any]:
    def build(say: Callable[..., None]) -> None:
        while at.task.running:  # what is being learnt will change it
            time.sleep(0.2)
        kept.bring_up_to_date(data, at.folder, lambda share, what: say(f"{share:.0%}", what))

    return build


def _task() -> Task:
    task: Any = current_app.extensions.setdefault("sourcing_pack", Task())
    assert isinstance(task, Task)
    return task


def _none(wanted: str | None) -> Response:
    which = "nothing learnt yet" if wanted is None else "failed" if _task().failed else "building"
    words, way_on = map(gettext, _MISSING[which])
    response = jsonify(state=which, words=words, way_on=way_on)
    # A browser writes every other status among the errors, and nothing is wrong while it is being built.
    response.status_code = 503 if which == "failed" else 202
    response.headers["Retry-After"] = str(AGAIN)
    return response
