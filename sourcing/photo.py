"""Read the code in a photo: two readers, smaller copies and turned copies, the maker's code before a store tag.

A pass on a grey copy of about 1,000 pixels reads more real photos than one at full size, since averaging removes
noise; turned copies catch labels held askew. A UPC-E that only the second reader sees is offered to confirm, never
taken: half of a torn EAN-13 can look like a whole UPC-E.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Any

from PIL import Image, ImageOps, UnidentifiedImageError

from sourcing.codes import Code, parse_code
from sourcing.errors import BadInput

LARGEST = 25 * 1024 * 1024
PIXELS = 64_000_000
_STAGES = (
    ("first", 1000, 0.0),
    ("second", 1600, 0.0),
    ("first", 1000, 45.0),
    ("second", 1000, 45.0),
    ("first", 1000, 30.0),
    ("second", 1000, 30.0),
    ("first", 1000, 60.0),
    ("second", 1000, 60.0),
    ("first", 1600, 0.0),
    ("first", 640, 0.0),
)


@dataclass(frozen=True)
class Seen:
    """One code that a reader saw: its text and symbology."""

    text: str
    symbology: str


@dataclass(frozen=True)
class PhotoReading:
    """What a photo showed: the code to use, one to confirm, everything seen, and a sentence about it."""

    chosen: Code | None
    maybe: Code | None
    seen: tuple[Seen, ...]
    note: str


def read_photo(data: bytes) -> PhotoReading:
    """Read the product code in a photo.

    Raises
    ------
    BadInput
        Empty, too large, cut off, or not a picture.
    """
    image = _open(data)
    seen: dict[tuple[str, str], Code] = {}
    maybe: Code | None = None
    readers = {"first": _first_reader(), "second": _second}
    for name, side, turn in _STAGES:
        reader = readers[name]
        if reader is None:
            continue
        for text, symbology in reader(_copy(image, side, turn)):
            code = _understood(text, symbology)
            if code is None:
                continue
            if name == "second" and symbology == "UPCE":
                maybe = maybe or code
                continue
            seen[text, symbology] = code
        if any(code.kind in ("product", "demo") for code in seen.values()):
            break
    return _reading(seen, maybe)


def _reading(seen: dict[tuple[str, str], Code], maybe: Code | None) -> PhotoReading:
    everything = tuple(Seen(text, symbology) for text, symbology in seen)
    makers = [code for code in seen.values() if code.kind in ("product", "demo", "unknown")]
    tags = [code for code in seen.values() if code.kind == "store tag"]
    if makers:
        note = f"Read {makers[0].typed} in the photo." + (
            " An in-store tag was there too; the maker's code was taken." if tags else ""
        )
        return PhotoReading(makers[0], maybe, everything, note)
    if tags:
        return PhotoReading(
            None,
            maybe,
            everything,
            f"Only an in-store tag ({tags[0].typed}) could be read: it "
            "identifies nothing outside that store. Type the style code.",
        )
    styles = [code for code in seen.values() if code.kind == "style code"]
    if styles:
        return PhotoReading(styles[0], maybe, everything, f"Read {styles[0].typed} in the photo.")
    if maybe is not None:
        return PhotoReading(
            None, None, everything, f"Perhaps {maybe.typed}: type it if that is the number under the bars."
        )
    return PhotoReading(
        None, None, everything, "No code could be read. Go closer and hold still, or type it."
    )


def _open(data: bytes) -> Image.Image:
    if not data:
        raise BadInput(
            "The photo is empty.", "A JPEG, PNG, WebP or HEIC picture.", "Take it again.", field="photo"
        )
    if len(data) > LARGEST:
        raise BadInput(
            f"The photo has {len(data) / 1e6:.0f} MB.", "Up to 25 MB.", "Take a smaller one.", field="photo"
        )
    _heif()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            image: Image.Image = Image.open(io.BytesIO(data))
            if image.width * image.height > PIXELS:
                raise BadInput(
                    f"The photo has {image.width * image.height / 1e6:.0f} megapixels.",
                    "Up to 64 megapixels.",
                    "Take a smaller one.",
                    field="photo",
                )
            image.draft("L", (1600, 1600))
            return ImageOps.exif_transpose(image).convert("L")
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise BadInput(
            "The picture is too large.", "Up to 64 megapixels.", "Take a smaller one.", field="photo"
        ) from error
    except (UnidentifiedImageError, OSError, SyntaxError, ValueError, EOFError) as error:
        raise BadInput(
            "That file is no picture, or it was cut off.",
            "A JPEG, PNG, WebP or HEIC picture.",
            "Take it again, or type the code.",
            field="photo",
        ) from error


@cache
def _heif() -> None:
    from pillow_heif import register_heif_opener

    register_heif_opener()


def _copy(image: Image.Image, side: int, turn: float) -> Image.Image:
    scale = side / max(image.size)
    if scale < 1:
        how = Image.Resampling.BOX if scale < 0.6 else Image.Resampling.BILINEAR
        image = image.resize((max(1, round(image.width * scale)), max(1, round(image.height * scale))), how)
    return image.rotate(turn, Image.Resampling.BILINEAR, expand=True, fillcolor=128) if turn else image


@cache
def _first_reader() -> Callable[[Image.Image], list[tuple[str, str]]] | None:
    """Return the first reader, or None where the system library libzbar0 is missing."""
    try:
        from pyzbar import pyzbar
    except (ImportError, OSError):
        return None
    kinds = pyzbar.ZBarSymbol
    wanted = [kinds.EAN13, kinds.EAN8, kinds.UPCA, kinds.UPCE, kinds.CODE128]

    def read(image: Image.Image) -> list[tuple[str, str]]:
        return [
            (found.data.decode("ascii", "replace"), found.type)
            for found in pyzbar.decode(image, symbols=wanted)
        ]

    return read


def _second(image: Image.Image) -> list[tuple[str, str]]:
    import zxingcpp

    kinds = zxingcpp.BarcodeFormat
    wanted: Any = [kinds.EAN13, kinds.EAN8, kinds.UPCA, kinds.UPCE, kinds.Code128]
    found = zxingcpp.read_barcodes(image, formats=wanted)
    return [(one.text, str(one.format).rpartition(".")[2].replace("-", "").replace(" ", "")) for one in found]


def _understood(text: str, symbology: str) -> Code | None:
    try:
        if symbology == "CODE128":
            return parse_code(text, as_style=not text.isdigit())
        return parse_code(text, symbology=symbology if symbology in ("EAN8", "UPCE") else None)
    except BadInput:
        return None
