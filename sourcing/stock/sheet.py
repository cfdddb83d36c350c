"""Labels as a PDF to be printed: bars of Code 128, a QR code, the label in letters, the name of the piece."""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO
from typing import TYPE_CHECKING, Any, NamedTuple

from sourcing.errors import BadInput
from sourcing.language import gettext
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
    if not 1 <= start <= paper.on_page:
        raise BadInput(
            gettext("The page has no place {place}.", place=start),
            gettext("From 1 to {last}.", last=paper.on_page),
            gettext("Count row by row from the upper left."),
            field="start",
        )
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


def _draw(canvas: Canvas, one: Printed, paper: LabelSettings) -> None:
    """Draw one label, the origin at its lower left: bars across the top, the square below, the words beside it."""
    wide, high = float(paper.label_width) * MM - 2 * PAD, float(paper.label_height) * MM - 2 * PAD
    canvas.translate(PAD, PAD)
    name = one.name if paper.names == "yes" else ""
    left, upper = 0.0, high
    if paper.codes != SQUARE:
        tall = min(0.65 * high, high - 1.2 * SMALLEST) if paper.codes == BARS else 0.4 * high
        upper = high - _bars(canvas, one.label, wide, high, tall)
    if paper.codes != BARS:
        gap = 1.0 * MM if paper.codes != SQUARE else 0.0
        side = min(upper - gap, wide * 0.6)
        _square(canvas, one.label, side, upper - gap)
        left, upper = side + 1.0 * MM, upper - gap
    _words(canvas, one.label, name, (left, wide - left), upper)


def _bars(canvas: Canvas, label: str, wide: float, top: float, tall: float) -> float:
    """Draw the bars across the whole width and return how far down they reach."""
    from reportlab.graphics.barcode.code128 import Code128

    modules = Code128(label, barWidth=1, quiet=0).width
    bar = min(WIDEST_BAR, wide / (modules + 2 * QUIET_BARS))
    if bar < LEAST_BAR:
        raise _no_room(
            label, "bars", f"{(LEAST_BAR * (modules + 2 * QUIET_BARS) + 2 * PAD) / MM:.1f}", gettext("wide"), "QR"
        )
    if tall < LEAST_HEIGHT:
        raise _no_room(label, "bars", f"{(top + LEAST_HEIGHT - tall + 2 * PAD) / MM:.1f}", gettext("high"), "QR")
    drawn = Code128(label, barWidth=bar, barHeight=tall, quiet=0)
    drawn.drawOn(canvas, (wide - bar * modules) / 2, top - tall)
    return tall


def _square(canvas: Canvas, label: str, side: float, top: float) -> None:
    """Draw the QR code at the left, its upper edge at ``top``; ``side`` holds its quiet zone."""
    from reportlab.graphics import renderPDF
    from reportlab.graphics.barcode.qr import QrCodeWidget
    from reportlab.graphics.shapes import Drawing

    code = QrCodeWidget(label, barLevel="M", barBorder=QUIET_SQUARE, barWidth=side, barHeight=side)
    code.qr.make()
    modules = code.qr.getModuleCount() + 2 * QUIET_SQUARE
    if side / modules < LEAST_MODULE:
        more = (LEAST_MODULE * modules - side + 2 * PAD + top) / MM
        raise _no_room(label, "square", f"{more:.1f}", gettext("high"), "Code 128")
    drawing = Drawing(side, side)
    drawing.add(code)
    renderPDF.draw(drawing, canvas, 0, top - side)


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


def _no_room(label: str, what: str, needed: str, way: str, other: str) -> BadInput:
    named = gettext("bars") if what == "bars" else gettext("QR code")
    return BadInput(
        gettext("The {named} of {label} have no room.", named=named, label=label),
        gettext("A label at least {needed} mm {way}.", needed=needed, way=way),
        gettext("Or print {other} alone, or shorten the pattern.", other=other),
        field="codes",
    )
