"""Turn what went wrong into a page in plain words: the one place where errors become HTTP."""

from __future__ import annotations

import logging
import secrets
from typing import Any

from flask import Flask, Response, make_response, render_template, request, url_for
from flask_wtf.csrf import CSRFError
from werkzeug.exceptions import HTTPException, SecurityError

from sourcing.errors import BadInput, Busy, NoAccess, NotFound, Refused, SourcingError
from sourcing.language import gettext, gettext_noop

log = logging.getLogger(__name__)
STATUS = {BadInput: 400, NoAccess: 403, NotFound: 404, Refused: 409, Busy: 503}
WORDS = {  # status: heading, what was wrong, what to do next
    400: (
        gettext_noop("That could not be read"),
        gettext_noop("The request was not one this page makes."),
        gettext_noop("Go back and send it again."),
    ),
    403: (
        gettext_noop("This door is closed"),
        gettext_noop("This device has no access key, or the key was taken back."),
        gettext_noop("Scan the QR code shown on the computer that runs the application."),
    ),
    404: (
        gettext_noop("Nothing here"),
        gettext_noop("There is no such page."),
        gettext_noop("Start again from the Check page."),
    ),
    405: (
        gettext_noop("Not this way"),
        gettext_noop("This address does not take that kind of request."),
        gettext_noop("Start from the Check page."),
    ),
    409: (
        gettext_noop("This cannot be changed now"),
        gettext_noop("It is closed, or was changed since the page was opened."),
        gettext_noop("Reload the page and look how it stands."),
    ),
    413: (
        gettext_noop("That is too large"),
        gettext_noop("More was sent than this page takes: a photo up to 25 MB, a file up to 110 MB."),
        gettext_noop("Send a smaller photo, or split the file."),
    ),
    429: (
        gettext_noop("Too many at once"),
        gettext_noop("Too many requests came in a short time."),
        gettext_noop("Wait a minute, then try again."),
    ),
    500: (
        gettext_noop("Something broke"),
        gettext_noop("A mistake of the application itself; nothing you typed is at fault."),
        gettext_noop("Try again. If it comes back, pass on the number below with what you did."),
    ),
    503: (
        gettext_noop("Busy just now"),
        gettext_noop("Something else is being written."),
        gettext_noop("Try again in a moment."),
    ),
}

_FILES = (
    ("/comps/", "comps.show", gettext_noop("Back to Comps")),
    ("/outcomes/", "outcomes.show", gettext_noop("Back to Sales")),
)


def add_error_pages(app: Flask) -> None:
    """Answer every error with a page, or with JSON where JSON was asked for."""
    app.register_error_handler(SecurityError, foreign_host)
    app.register_error_handler(CSRFError, stale_form)
    app.register_error_handler(SourcingError, plain_words)
    app.register_error_handler(HTTPException, http_error)
    app.register_error_handler(Exception, broken)


def page(status: int, **more: Any) -> Response:
    """Return the error page of one status."""
    heading, wrong, next_step = map(gettext, WORDS.get(status, WORDS[400 if status < 500 else 500]))
    words = {"heading": heading, "wrong": wrong, "accepted": "", "next_step": next_step, "id": ""} | more
    if request.path.endswith(".json"):
        return make_response(words, status)
    return make_response(render_template("error.html", status=status, back=_back(), **words), status)


def _back() -> tuple[str, str]:
    """Return the page to start again from, and what leads there: files have pages of their own."""
    for start, endpoint, words in _FILES:
        if request.path.startswith(start):
            return url_for(endpoint), gettext(words)
    return url_for("check.ask"), gettext("Back to Check")


def foreign_host(_error: SecurityError) -> Response:
    """Say no to a foreign host name; a page would need links, which need a host name.

    It is said in English: nothing is asked of the settings for a stranger.
    """
    text = "400: this server does not answer to that host name. Use the address it printed when it started.\n"
    return Response(text, 400, content_type="text/plain; charset=utf-8")


def stale_form(_error: CSRFError) -> Response:
    """Say that the form's token does not belong to this browser."""
    return page(
        400,
        wrong=gettext("The form was opened in another browser, or cookies are off."),
        next_step=gettext("Allow cookies for this address, go back, reload the page and send it again."),
    )


def plain_words(error: SourcingError) -> Response:
    """Pass on the domain's own words."""
    return page(STATUS.get(type(error), 400), wrong=error.wrong, accepted=error.accepted, next_step=error.next_step)


def http_error(error: HTTPException) -> Response:
    """Answer an HTTP error; redirects that routing raises go through."""
    if error.code is None or error.code < 400:
        return error.get_response()  # type: ignore[return-value]
    answer = page(error.code)
    if allowed := getattr(error, "valid_methods", None):
        answer.headers["Allow"] = ", ".join(allowed)
    return answer


def broken(error: Exception) -> Response:
    """Log a mistake of ours under a number and show that number; never the trace.

    The rule is logged, not the address, whose parts may hold what a user typed or an access key.
    """
    number = secrets.token_hex(4)
    log.error("Error %s in %s %s", number, request.method, request.url_rule, exc_info=error)
    return page(500, id=number)
