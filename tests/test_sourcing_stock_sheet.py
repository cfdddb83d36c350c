"""Labels as PDF: read back by two readers that share nothing with what draws them; what has no room."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal as D

import pypdfium2
import pytest
import zxingcpp
from PIL.Image import Image
from pyzbar import pyzbar

from sourcing.errors import BadInput
from sourcing.settings import default_settings, from_toml, to_toml
from sourcing.stock.label_pattern import LONGEST, pattern_of
from sourcing.stock.paper import BARS, BOTH, LETTER, SHEETS, SQUARE, LabelSettings, check_labels, on_sheet, sheet_of
from sourcing.stock.sheet import Printed, label_pdf

DOTS = 300  # an inch: an office printer's
NAME = "Größe 9, trail shoe with a name that goes on for longer than any label is wide, 靴"
ZBAR = {BARS: pyzbar.ZBarSymbol.CODE128, SQUARE: pyzbar.ZBarSymbol.QRCODE}
ZXING = {BARS: zxingcpp.BarcodeFormat.Code128, SQUARE: zxingcpp.BarcodeFormat.QRCode}
PATTERN = pattern_of("[year][week]-[count 4][check]")


def labels(count: int) -> list[Printed]:
    return [Printed(PATTERN.label("2648-", number, ""), NAME) for number in range(1, count + 1)]


def opened(pdf: bytes) -> pypdfium2.PdfDocument:
    return pypdfium2.PdfDocument(pdf)


def cut_out(page: pypdfium2.PdfPage, paper: LabelSettings, place: int) -> Image:
    """Return the picture of one label, white left and right of it."""
    left, top = (float(edge) for edge in paper.corner(place))
    wide, high = (float(side) for side in paper.page_size)
    right, low = wide - left - float(paper.label_width), high - top - float(paper.label_height)
    crop = tuple(max(0.0, edge) * 72 / 25.4 for edge in (left, low, right, top))
    picture: Image = page.render(scale=DOTS / 72, crop=crop).to_pil().convert("L")
    return picture


def read(picture: Image, kind: str) -> tuple[set[str], set[str]]:
    """What either reader finds of one kind of code."""
    zxing = {one.text for one in zxingcpp.read_barcodes(picture, formats=ZXING[kind])}
    return zxing, {one.data.decode() for one in pyzbar.decode(picture, symbols=[ZBAR[kind]])}


@pytest.mark.parametrize("codes", [BOTH, BARS, SQUARE])
@pytest.mark.parametrize("sheet", SHEETS)
def test_both_readers_read_every_label_back_at_its_place(sheet: str, codes: str) -> None:
    paper = on_sheet(LabelSettings(codes=codes), sheet)
    check_labels(paper)
    start = min(3, paper.on_page)
    printed = labels(paper.on_page + 1 - (start - 1)) if paper.on_page > 1 else labels(2)
    made = opened(label_pdf(printed, paper, start))
    assert len(made) == 2
    wide, high = paper.page_size
    assert made[0].get_size() == tuple(pytest.approx(float(side) / 25.4 * 72, abs=0.01) for side in (wide, high))
    for number in (0, len(printed) - 2, len(printed) - 1):
        page, place = divmod(number + start - 1, paper.on_page)
        picture = cut_out(made[page], paper, place)
        for kind in (BARS, SQUARE) if codes == BOTH else (codes,):
            assert read(picture, kind) == ({printed[number].label},) * 2, (sheet, kind, number)


def test_places_before_the_start_stay_white() -> None:
    paper = LabelSettings()
    (page,) = opened(label_pdf(labels(2), paper, 5))
    for place in (0, 1, 2, 3, 6, 23):
        assert cut_out(page, paper, place).getextrema() == (255, 255)
    assert cut_out(page, paper, 4).getextrema() == (0, 255)


def test_a_name_without_letters_of_the_font_and_none_at_all_are_printed() -> None:
    for name in ("靴", ""):
        opened(label_pdf([Printed("A1", name)], LabelSettings()))
    assert label_pdf([Printed("A1", "shoe")], LabelSettings(names="no")) == label_pdf(
        [Printed("A1", "")], LabelSettings()
    )


def test_the_longest_label_is_read_on_the_first_sheet() -> None:
    paper = LabelSettings()
    longest = "WQ" * (LONGEST // 2)
    (page,) = opened(label_pdf([Printed(longest, "")], paper))
    assert read(cut_out(page, paper, 0), BARS) == ({longest},) * 2


class TestRefusals:
    @pytest.mark.parametrize(("start", "last"), [(0, "24"), (25, "24"), (-3, "24")])
    def test_a_place_that_the_page_has_not(self, start: int, last: str) -> None:
        with pytest.raises(BadInput, match=f"From 1 to {last}"):
            label_pdf(labels(1), LabelSettings(), start)

    def test_no_label(self) -> None:
        with pytest.raises(BadInput, match="no label to print"):
            label_pdf([], LabelSettings())

    @pytest.mark.parametrize("codes", [BARS, SQUARE, BOTH])
    def test_too_small_a_label_says_how_large_it_must_be_and_that_is_enough(self, codes: str) -> None:
        small = LabelSettings(codes=codes, page="roll", label_width=D(18), label_height=D(9), names="no")
        for _ in range(4):
            try:
                label_pdf(labels(1), small)
                break
            except BadInput as error:
                needed, way = error.accepted.split()[-3], error.accepted.split()[-1].rstrip(".")
                small = replace(small, **{"label_width" if way == "wide" else "label_height": D(needed)})
        (page,) = opened(label_pdf(labels(1), small))
        assert page.get_width() == pytest.approx(float(small.label_width) / 25.4 * 72)
        assert (small.label_width, small.label_height) != (D(18), D(9))

    @pytest.mark.parametrize(
        ("changes", "field"),
        [
            ({"columns": 4}, "columns"),
            ({"rows": 9}, "rows"),
            ({"step_across": D(60)}, "step_across"),
            ({"step_down": D(36)}, "step_down"),
            ({"margin_left": D(5)}, "columns"),
            ({"page": LETTER, "margin_top": D(0)}, "rows"),
            ({"pattern": "[colour][count]"}, "pattern"),
        ],
    )
    def test_papers_that_cannot_be(self, changes: dict[str, object], field: str) -> None:
        with pytest.raises(BadInput) as caught:
            check_labels(replace(LabelSettings(), **changes))  # type: ignore[arg-type]
        assert caught.value.field == field

    def test_no_such_sheet(self) -> None:
        with pytest.raises(BadInput, match="no sheet"):
            on_sheet(LabelSettings(), "A5")


def test_the_paper_is_kept_in_the_settings_file() -> None:
    kept = replace(
        default_settings(), labels=on_sheet(LabelSettings(pattern="B[count 3]", codes=BARS), "roll, 57 × 32 mm")
    )
    back = from_toml(to_toml(kept))
    assert back == kept
    assert sheet_of(back.labels) == "roll, 57 × 32 mm"
    assert sheet_of(replace(back.labels, label_width=D(58))) == ""
    with pytest.raises(BadInput, match="There is no field"):
        from_toml('[labels]\npattern = "[colour][count]"')
