"""Photos of codes, drawn by a general barcode writer; invented numbers of the demonstration prefix 952."""

import io

import numpy as np
import pytest
import zxingcpp
from PIL import Image

from sourcing.errors import BadInput
from sourcing.photo import read_photo

MAKER = "9521234567899"
TAG = "2001234567893"


def picture(*codes: str) -> bytes:
    noise = np.random.default_rng(7).normal(235, 8, (900, 900)).clip(0, 255).astype("uint8")
    page = Image.fromarray(noise)
    for place, code in enumerate(codes):
        made = zxingcpp.create_barcode(code, zxingcpp.BarcodeFormat.EAN13)
        bars = Image.fromarray(np.array(made.to_image(scale=4)))
        page.paste(bars.convert("L"), (100, 80 + 400 * place))
    out = io.BytesIO()
    page.save(out, "JPEG", quality=85)
    return out.getvalue()


def test_one_code() -> None:
    found = read_photo(picture(MAKER))
    assert found.chosen is not None
    assert found.chosen.gtin == "0" + MAKER


def test_the_makers_code_before_a_store_tag() -> None:
    found = read_photo(picture(TAG, MAKER))
    assert found.chosen is not None
    assert found.chosen.gtin == "0" + MAKER


def test_only_a_store_tag_is_not_chosen() -> None:
    found = read_photo(picture(TAG))
    assert found.chosen is None
    assert "in-store tag" in found.note


def test_no_code() -> None:
    found = read_photo(picture())
    assert found.chosen is None
    assert found.seen == ()
    assert found.note


@pytest.mark.parametrize("data", [b"", b"code,price\n1,2\n", picture(MAKER)[:3000]])
def test_what_is_no_whole_picture_is_refused(data: bytes) -> None:
    with pytest.raises(BadInput):
        read_photo(data)
