"""Photos of a piece or a run: shown small where they belong, opened large, added, removed and brought back."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from flask import Response, abort, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from sourcing.errors import BadInput, NotFound, Refused
from sourcing.language import gettext
from web.state import current, store

if TYPE_CHECKING:
    from sourcing.photo.kept import Of, Photo

_A_YEAR = 365 * 24 * 3600


class Shown(NamedTuple):
    """What the part of a page shows: the photos, one just removed, whether more fit."""

    of: str
    number: int
    photos: list[Photo]
    removed: Photo | None
    room: bool


def photos_of(of: Of, number: int) -> Shown:
    """Return the photos of a piece or run for ``photos/_photos.html``."""
    from sourcing.photo import kept

    found = kept.photos(store(), of, number)
    gone = request.args.get("photo_gone", "")
    removed = None
    if gone.isascii() and gone.isdigit() and len(gone) < 12:
        try:
            removed = kept.get(store(), int(gone))
        except NotFound:
            removed = None
    if removed is not None and not (removed.removed and removed.of == of):
        removed = None
    return Shown(of, number, found, removed, len(found) < kept.MOST)


def picture(number: int) -> Response:
    """Send one photo, large."""
    return _file(number, small=False)


def small(number: int) -> Response:
    """Send one photo, small."""
    return _file(number, small=True)


def show(number: int) -> str:
    """Show one photo large, with the way to remove it."""
    from sourcing.photo import kept

    photo = kept.get(store(), number)
    return render_template("photos/show.html", photo=photo, home=_home(photo.of, photo.number))


def add(of: str, number: int) -> AnyResponse:
    """Keep a photo that was taken or chosen; what is none is said on the page of the photo's own."""
    from sourcing.photo import kept

    upload, words = request.files.get("photo"), request.form.get("words", "")
    try:
        if upload is None or not upload.filename:
            raise BadInput(
                gettext("No photo was chosen."), gettext("A JPEG, PNG, WebP or HEIC photo."),
                gettext("Take one or choose one first."), field="photo",
            )  # fmt: skip
        kept.add(store(), current().folder, _of(of), number, upload.read(), words)
    except (BadInput, Refused) as error:
        page = render_template("photos/wrong.html", error=error, of=of, number=number, home=_home(of, number))
        return make_response(page, 400)
    return redirect(f"{_home(of, number)}#photos", 303)


def remove(number: int) -> AnyResponse:
    """Take a photo away, or bring it back."""
    from sourcing.photo import kept

    back = request.form.get("do") == "back"
    photo = kept.remove(store(), number, back=back)
    more: dict[str, Any] = {} if back else {"photo_gone": number}
    return redirect(f"{_home(photo.of, photo.number, **more)}#photos", 303)


def _file(number: int, *, small: bool) -> Response:
    from sourcing.photo import kept

    photo = kept.get(store(), number)
    try:
        data = photo.file(current().folder, kept.SMALL if small else kept.LARGE).read_bytes()
    except OSError:
        abort(404)
    answer = Response(data, content_type="image/jpeg")
    answer.headers["Cache-Control"] = f"private, max-age={_A_YEAR}, immutable"  # its bytes never change
    answer.headers["Content-Disposition"] = f'inline; filename="photo-{number}.jpg"'
    return answer


def _of(of: str) -> Of:
    if of == "item":
        return "item"
    if of == "run":
        return "run"
    abort(404)


def _home(of: str, number: int, **more: Any) -> str:
    if _of(of) == "run":
        return url_for("run.show", haul_id=number, **more)
    return url_for("stock.piece", item_id=number, **more)
