"""The Rules page: the settings by category, what a change would do, saving, undoing, the settings file."""

from __future__ import annotations

from flask import Response, flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from sourcing.check import recheck
from sourcing.errors import BadInput
from sourcing.settings import Settings, from_toml, load_settings, save_settings, to_toml, undo_settings
from web.settings_form import groups, merged
from web.state import current, store

LAST = 50  # past checks a preview asks again


def show() -> str:
    """Show the settings as a form."""
    kept = load_settings(store())
    toml = to_toml(kept, every=True)
    return render_template("rules/show.html", groups=groups(toml), flips=None, notes=kept.notes)


def preview() -> str:
    """Show which of the last checks would come out differently; nothing is saved."""
    settings = _sent()
    flips = [row for row in recheck(store(), settings, LAST) if row[1] != row[2]]
    return render_template("rules/show.html", groups=groups(to_toml(settings, every=True)), flips=flips, last=LAST)


def save() -> AnyResponse:
    """Save the settings; the old ones are kept for an undo."""
    return _back(save_settings(store(), _sent(), "changed on the Rules page"))


def undo() -> AnyResponse:
    """Go back to the settings before the last change."""
    return _back(undo_settings(store()))


def export() -> Response:
    """Hand out the settings file."""
    name = {"Content-Disposition": "attachment; filename=settings.toml"}
    return Response(to_toml(load_settings(store())), content_type="application/toml; charset=utf-8", headers=name)


def bring_in() -> AnyResponse:
    """Take the settings of an uploaded file."""
    upload = request.files.get("file")
    if upload is None or not upload.filename:
        raise BadInput("No file was chosen.", "A settings file that this page handed out.", "Choose one.")
    try:
        text = upload.read().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise BadInput("The file is not text.", "A settings file in UTF-8.", "Choose another.") from error
    brought = from_toml(text)
    for note in brought.notes:
        flash(note)
    return _back(save_settings(store(), brought, "brought in from a file"))


def _sent() -> Settings:
    return from_toml(merged(to_toml(load_settings(store()), every=True), request.form))


def _back(others_count: bool) -> AnyResponse:
    if others_count:
        from sourcing.fitting import refit

        kept = store()
        current().task.start(lambda say: refit(kept, say))
        flash("Comps in the new currency count now; learning from them has begun.")
    return redirect(url_for("rules.show"), 303)
