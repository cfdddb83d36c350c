"""Labels as a PDF to be printed: bars of Code 128, a QR code, the label in letters, the name of the piece."""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO
from itertools import groupby
from math import ceil
from typing import TYPE_CHECKING, Any, NamedTuple

from sourcing.errors import BadInput
from sourcing.language import gettext, separated
from sourcing.stock.paper import BARS, SQUARE, LabelSettings

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

MM = 72 / 25.4  # points
PAD = 1.5 * MM  # kept free around what is printed, for sheets slip by about a millimetre
LEAST_BAR = 0.19 * MM  # the narrowest bar: 7.5 mil, below which office printers smear and phones do not read
WIDEST_BAR = 0.5 * MM
QUIET_BARS, QUIET_SQUARE = 10, 4  # modules left free: ISO/IEC 15417, 4.2; ISO/IEC 18004, 5.3.8
LEAST_MODULE = 0.33 * MM  # of a QR code
LEAST_HEIGHT = 5 * MM  # of bars: ISO/IEC 15417 asks for 5 mm or 15 % of their length where people scan by hand
LARGEST, SMALLEST = 14.0, 6.0  # letters, points
NAME_SIZE = 7.0
BARS_ALONE, BARS_ABOVE = 0.65, 0.4  # of the label's height: without a QR code, and above one
SQUARE_WIDE = 0.6  # most of the label's width
GAP = 1.0 * MM
_FACE, _NAMES = "Helvetica-Bold", "Vera"


class Printed(NamedTuple):
    """One label: what it says, and the name beneath, which may be empty."""

    label: str
    name: str


def label_pdf(labels: Sequence[Printed], paper: LabelSettings, start: int = 1) -> bytes:
    """Return a PDF of labels, each as large as the paper has it.

    Parameters
    ----------
    labels : in the order in which they are printed, row by row.
    start : place of the first label on the first page, 1 being the upper left one; for a sheet that is used in part.

    Raises
    ------
    BadInput
        No label; the first page has no such place; the label has no room for its codes.
    """
    if not labels:
        raise BadInput(gettext("There is no label to print."), gettext("One piece or more."), field="items")
    check_start(paper, start)
    from reportlab.pdfgen.canvas import Canvas

    wide, high = (float(side) * MM for side in paper.page_size)
    target = BytesIO()
    canvas = Canvas(target, pagesize=(wide, high), pageCompression=1, invariant=1)
    canvas.setTitle(gettext("Labels"))
    for at, one in enumerate(labels, start - 1):
        place = at % paper.on_page
        if place == 0 and at > start - 1:
            canvas.showPage()
        left, top = (float(side) * MM for side in paper.corner(place))
        canvas.saveState()
        canvas.translate(left, high - top - float(paper.label_height) * MM)
        _draw(canvas, one, paper)
        canvas.restoreState()
    canvas.showPage()
    canvas.save()
    return target.getvalue()


def check_start(paper: LabelSettings, start: int) -> None:
    """Hold the place of the first label to the page.

    Raises
    ------
    BadInput
        The page has no such place.
    """
    if not 1 <= start <= paper.on_page:
        raise BadInput(
            gettext("The page has no place {place}.", place=start),
            gettext("From 1 to {last}.", last=paper.on_page),
            gettext("Count row by row from the upper left."),
            field="start",
        )


def _draw(canvas: Canvas, one: Printed, paper: LabelSettings) -> None:
    """Draw one label, the origin at its lower left: bars across the top, the square below, the words beside it."""
    wide, high = float(paper.label_width) * MM - 2 * PAD, float(paper.label_height) * MM - 2 * PAD
    canvas.translate(PAD, PAD)
    name = one.name if paper.names == "yes" else ""
    left, upper = 0.0, high
    if paper.codes != SQUARE:
        tall = min(BARS_ALONE * high, high - 1.2 * SMALLEST) if paper.codes == BARS else BARS_ABOVE * high
        upper = high - _bars(canvas, one.label, (wide, high), tall, paper.codes == BARS)
    if paper.codes != BARS:
        upper -= 0.0 if paper.codes == SQUARE else GAP
        left = _square(canvas, one.label, wide, upper, paper.codes == SQUARE) + GAP
    _words(canvas, one.label, name, (left, wide - left), upper)


def _bars(canvas: Canvas, label: str, room: tuple[float, float], tall: float, alone: bool) -> float:
    """Draw the bars at the top, across the whole width, and return how far down they reach."""
    from reportlab.graphics.barcode.code128 import Code128

    wide, high = room
    modules = Code128(label, barWidth=1, quiet=0).width
    bar = min(WIDEST_BAR, wide / (modules + 2 * QUIET_BARS))
    if bar < LEAST_BAR:
        raise _no_room(label, gettext("bars"), LEAST_BAR * (modules + 2 * QUIET_BARS), gettext("wide"), SQUARE)
    if tall < LEAST_HEIGHT:
        least = max(LEAST_HEIGHT / BARS_ALONE, LEAST_HEIGHT + 1.2 * SMALLEST) if alone else LEAST_HEIGHT / BARS_ABOVE
        raise _no_room(label, gettext("bars"), least, gettext("high"), SQUARE)
    drawn = Code128(label, barWidth=bar, barHeight=tall, quiet=0)
    drawn.drawOn(canvas, (wide - bar * modules) / 2, high - tall)
    return tall


def _square(canvas: Canvas, label: str, wide: float, top: float, alone: bool) -> float:
    """Draw the QR code at the left, its upper edge at ``top``, and return its side, which holds its quiet zone."""
    import segno

    side = min(top, SQUARE_WIDE * wide)
    matrix = segno.make(label, error="m", micro=False, boost_error=False).matrix
    modules = len(matrix) + 2 * QUIET_SQUARE
    least = LEAST_MODULE * modules
    if SQUARE_WIDE * wide < least:
        raise _no_room(label, gettext("QR code"), least / SQUARE_WIDE, gettext("wide"), BARS)
    if top < least:
        high = least if alone else (least + GAP) / (1 - BARS_ABOVE)
        raise _no_room(label, gettext("QR code"), high, gettext("high"), BARS)
    one, path = side / modules, canvas.beginPath()
    for row, dark in enumerate(matrix, QUIET_SQUARE):
        at = QUIET_SQUARE
        for filled, run in groupby(dark):
            width = len(list(run))
            if filled:
                path.rect(at * one, top - (row + 1) * one, width * one, one)
            at += width
    canvas.drawPath(path, stroke=0, fill=1)
    return side


def _words(canvas: Canvas, label: str, name: str, across: tuple[float, float], upper: float) -> None:
    """Write the label as large as it fits, and the name beneath it in up to three lines."""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    left, room = across
    size = min(LARGEST, room / stringWidth(label, _FACE, 1.0), upper)
    if size < SMALLEST:
        lines = [label[: len(label) // 2 + 1], label[len(label) // 2 + 1 :]]
        size = max(SMALLEST - 1, min(LARGEST, *(room / stringWidth(line, _FACE, 1.0) for line in lines)))
    else:
        lines = [label]
    at = upper
    canvas.setFont(_FACE, size)
    for line in lines:
        at -= size
        canvas.drawString(left, at + size * 0.2, line)
    if name:
        _name(canvas, name, across, at)


def _name(canvas: Canvas, name: str, across: tuple[float, float], upper: float) -> None:
    from reportlab.lib.utils import simpleSplit
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    if _NAMES not in pdfmetrics.getRegisteredFontNames():
        pdfmetrics.registerFont(TTFont(_NAMES, "Vera.ttf"))  # comes with ReportLab; has the letters of Latin scripts
    known: Any = pdfmetrics.getFont(_NAMES).face.charToGlyph
    shown = " ".join("".join(letter if ord(letter) in known else " " for letter in name).split())
    fits = int(upper // (NAME_SIZE * 1.15))
    canvas.setFont(_NAMES, NAME_SIZE)
    lines = simpleSplit(shown, _NAMES, NAME_SIZE, across[1])
    for line in lines[: min(fits, 3)]:
        upper -= NAME_SIZE * 1.15
        canvas.drawString(across[0], upper + NAME_SIZE * 0.2, line)


def _no_room(label: str, what: str, points: float, way: str, other: str) -> BadInput:
    needed = ceil((points + 2 * PAD) / MM * 10) / 10
    return BadInput(
        gettext("There is no room for the {what} of {label}.", what=what, label=label),
        gettext("A label at least {needed} mm {way}.", needed=separated(f"{needed:.1f}"), way=way),
        gettext("Or print {other} alone, or shorten the pattern.", other=other),
        field="codes",
    )
