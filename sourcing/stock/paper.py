"""What labels of pieces look like and what they are printed on: settings, held to what a page has room for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from decimal import Decimal
from typing import Any

from sourcing.errors import BadInput
from sourcing.language import gettext, separated

PATTERN = "[year][week]-[count 4][check]"
BOTH, BARS, SQUARE = CODES = ("both", "Code 128", "QR")
A4, LETTER, ROLL = PAGES = ("A4", "US Letter", "roll")
SIZES: Mapping[str, tuple[Decimal, Decimal]] = {  # mm: ISO 216; ANSI/ASME Y14.1 size A
    A4: (Decimal(210), Decimal(297)),
    LETTER: (Decimal("215.9"), Decimal("279.4")),
}
_SLACK = Decimal("0.5")  # mm; sheets are cut no more exactly than that


@dataclass(frozen=True)
class LabelSettings:
    """The pattern of labels, what is printed of each, and where on the page; lengths are in mm."""

    pattern: str = PATTERN
    codes: str = BOTH
    names: str = "yes"  # whether the piece's name stands on it
    page: str = A4
    label_width: Decimal = Decimal(70)
    label_height: Decimal = Decimal(37)
    columns: int = 3
    rows: int = 8
    margin_left: Decimal = Decimal(0)
    margin_top: Decimal = Decimal("0.5")
    step_across: Decimal = Decimal(70)  # from the left edge of a label to that of the next
    step_down: Decimal = Decimal(37)

    @property
    def on_page(self) -> int:
        """How many labels one page holds."""
        return 1 if self.page == ROLL else self.columns * self.rows

    @property
    def page_size(self) -> tuple[Decimal, Decimal]:
        """Width and height of a page; on a roll every label is a page of its own."""
        return SIZES.get(self.page, (self.label_width, self.label_height))

    def corner(self, place: int) -> tuple[Decimal, Decimal]:
        """Return how far the left and upper edges of the label at a place (0 first) lie from those of the page."""
        if self.page == ROLL:
            return Decimal(0), Decimal(0)
        row, column = divmod(place, self.columns)
        return self.margin_left + column * self.step_across, self.margin_top + row * self.step_down


def _sheet(
    page: str, wide: str, high: str, grid: tuple[int, int], corner: tuple[str, str], step: str
) -> dict[str, Any]:
    return {
        "page": page, "label_width": Decimal(wide), "label_height": Decimal(high), "columns": grid[0], "rows": grid[1],
        "margin_left": Decimal(corner[0]), "margin_top": Decimal(corner[1]), "step_across": Decimal(step),
        "step_down": Decimal(high),
    }  # fmt: skip


SHEETS: Mapping[str, Mapping[str, Any]] = {  # sizes that sheets and rolls are commonly cut to
    "A4, 24 of 70 × 37 mm": _sheet(A4, "70", "37", (3, 8), ("0", "0.5"), "70"),
    "A4, 21 of 63.5 × 38.1 mm": _sheet(A4, "63.5", "38.1", (3, 7), ("7.2", "15.1"), "66"),
    "A4, 40 of 48.5 × 25.4 mm": _sheet(A4, "48.5", "25.4", (4, 10), ("8", "21.5"), "48.5"),
    "US Letter, 30 of 66.7 × 25.4 mm": _sheet(LETTER, "66.7", "25.4", (3, 10), ("4.8", "12.7"), "69.9"),
    "roll, 57 × 32 mm": _sheet(ROLL, "57", "32", (1, 1), ("0", "0"), "57"),
    "roll, 50 × 25 mm": _sheet(ROLL, "50", "25", (1, 1), ("0", "0"), "50"),
}


def sheet_of(settings: LabelSettings) -> str:
    """Return which of `SHEETS` the settings are, or "" for sizes of the user's own."""
    own = asdict(settings)
    return next((name for name, sheet in SHEETS.items() if sheet.items() <= own.items()), "")


def shown(name: str) -> str:
    """Return one of `SHEETS` as a person reads it; the name itself is what the settings keep."""
    sheet = SHEETS[name]
    sizes = {side: separated(f"{sheet[f'label_{side}'].normalize():f}") for side in ("width", "height")}
    if sheet["page"] == ROLL:
        return gettext("roll, {width} × {height} mm", **sizes)
    count = sheet["columns"] * sheet["rows"]
    return gettext("{page}, {count} of {width} × {height} mm", page=sheet["page"], count=count, **sizes)


def on_sheet(settings: LabelSettings, name: str) -> LabelSettings:
    """Return the settings with the sizes of one of `SHEETS`.

    Raises
    ------
    BadInput
        There is none of that name.
    """
    if name not in SHEETS:
        raise BadInput(
            gettext("There is no sheet “{name}”.", name=name[:60]), ", ".join(SHEETS) + ".", field="sheet"
        )  # fmt: skip
    return replace(settings, **SHEETS[name])


def check_labels(settings: LabelSettings) -> None:
    """Hold the settings to each other.

    Raises
    ------
    BadInput
        The pattern cannot be used; labels lie over each other, or reach over the edge of the page.
    """
    from sourcing.stock.label_pattern import pattern_of

    pattern_of(settings.pattern)
    if settings.page == ROLL:
        return
    across, down = settings.page_size
    for count, size, step, margin, room, name in (
        (settings.columns, settings.label_width, settings.step_across, settings.margin_left, across, "columns"),
        (settings.rows, settings.label_height, settings.step_down, settings.margin_top, down, "rows"),
    ):
        if count > 1 and step < size:
            raise BadInput(
                gettext("Labels of {size} mm lie over each other at steps of {step} mm.", size=size, step=step),
                gettext("A step at least as long as the label."),
                gettext("A step goes from the edge of one label to the same edge of the next."),
                field="step_across" if name == "columns" else "step_down",
            )
        end = margin + (count - 1) * step + size
        if end > room + _SLACK:
            raise BadInput(
                gettext(
                    "{end} mm of labels do not fit on {room} mm of {page}.", end=end, room=room, page=settings.page
                ),
                gettext("Labels that end on the page."),
                gettext("Take fewer, a smaller step or a smaller margin."),
                field=name,
            )
