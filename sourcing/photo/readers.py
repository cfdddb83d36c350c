"""The two barcode readers, asked for the shop's symbologies only, and what they say in one spelling."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Any

from PIL import Image


@dataclass(frozen=True)
class Found:
    """One symbol in one copy of a photo.

    ``symbology`` is one of EAN13, EAN8, UPCA, UPCE, CODE128; ``quality`` the first reader's count of agreeing scans
    (0 from the second); ``off_centre`` 0 at the middle of the picture, about 1 at its edges.
    """

    text: str
    symbology: str
    quality: int
    off_centre: float


Reader = Callable[[Image.Image], list[Found]]


@cache
def zbar() -> Reader | None:
    """Return the first reader, or None where the system library libzbar0 is missing."""
    try:
        from pyzbar import pyzbar
    except (ImportError, OSError):
        return None
    kinds = pyzbar.ZBarSymbol
    # Asked for all it knows, it is slower and takes stripes for Interleaved 2 of 5.
    wanted = [kinds.EAN13, kinds.EAN8, kinds.UPCA, kinds.UPCE, kinds.CODE128]

    def read(image: Image.Image) -> list[Found]:
        return [
            Found(
                one.data.decode("utf-8", "replace"),
                one.type,
                one.quality,
                _off_centre(image, one.rect.left + one.rect.width / 2, one.rect.top + one.rect.height / 2),
            )
            for one in pyzbar.decode(image, symbols=wanted)
        ]

    return read


@cache
def zxing() -> Reader:
    """Return the second reader."""
    import zxingcpp

    kinds = zxingcpp.BarcodeFormat
    wanted: Any = [kinds.EAN13, kinds.EAN8, kinds.UPCA, kinds.UPCE, kinds.Code128]

    def read(image: Image.Image) -> list[Found]:
        found = []
        for one in zxingcpp.read_barcodes(image, formats=wanted):
            corners = one.position
            across = (corners.top_left.x + corners.bottom_right.x) / 2
            down = (corners.top_left.y + corners.bottom_right.y) / 2
            found.append(Found(one.text, one.format.name.upper(), 0, _off_centre(image, across, down)))
        return found

    return read


def _off_centre(image: Image.Image, across: float, down: float) -> float:
    wide, high = image.width / 2, image.height / 2
    return float(((across / wide - 1) ** 2 + (down / high - 1) ** 2) ** 0.5)
