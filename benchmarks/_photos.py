"""Draw photos of labels: seeded, with invented codes, from crisp to hardly readable."""

from __future__ import annotations

import io
from dataclasses import dataclass

import numpy as np
import zxingcpp
from PIL import Image, ImageFilter

FORMATS = zxingcpp.BarcodeFormat


@dataclass(frozen=True)
class Shot:
    """How a photo is taken: pixels of a bar module, turn in degrees, blur in pixels, noise in grey levels.

    ``shade`` is the share of light lost from one side to the other; ``tear`` the share of the label's width torn off.
    """

    module: int = 4
    turn: float = 0.0
    blur: float = 0.0
    noise: float = 6.0
    shade: float = 0.0
    tear: float = 0.0
    size: tuple[int, int] = (1200, 900)
    quality: int = 85


def label(code: str, kind: str = "EAN13", module: int = 4, tear: float = 0.0) -> Image.Image:
    """Draw one code on white, with its quiet zone."""
    drawn = zxingcpp.create_barcode(code, getattr(FORMATS, kind))
    bars = Image.fromarray(np.array(drawn.to_image(scale=module))).convert("L")
    if tear:
        bars = bars.crop((0, 0, round(bars.width * (1 - tear)), bars.height))
    sheet = Image.new("L", (bars.width + 20 * module, bars.height + 16 * module), 245)
    sheet.paste(bars.point(lambda grey: 20 if grey < 128 else 245), (10 * module, 8 * module))
    return sheet


def scene(labels: list[Image.Image], shot: Shot, seed: int) -> Image.Image:
    """Lay the labels beneath one another on a cluttered ground and take the photo."""
    draw = np.random.default_rng(seed)
    wide, high = shot.size
    coarse = draw.integers(60, 200, (max(2, high // 60), max(2, wide // 60)), dtype=np.uint8)
    photo = Image.fromarray(coarse).resize(shot.size, Image.Resampling.BICUBIC)
    slot = high / max(1, len(labels))
    for at, one in enumerate(labels):
        mask = Image.new("L", one.size, 255)
        if shot.turn:
            one = one.rotate(shot.turn, Image.Resampling.BICUBIC, expand=True)
            mask = mask.rotate(shot.turn, Image.Resampling.BICUBIC, expand=True)
        photo.paste(one, (round((wide - one.width) / 2), round(slot * (at + 0.5) - one.height / 2)), mask)
    if shot.blur:
        photo = photo.filter(ImageFilter.GaussianBlur(shot.blur))
    grey = np.asarray(photo, float) * np.linspace(1, 1 - shot.shade, wide)
    grey += draw.normal(0, shot.noise, grey.shape)
    return Image.fromarray(grey.clip(0, 255).astype(np.uint8))


def jpeg(image: Image.Image, quality: int = 85) -> bytes:
    """Return the picture as the bytes of a colour JPEG, as phones make them."""
    out = io.BytesIO()
    image.convert("RGB").save(out, "JPEG", quality=quality)
    return out.getvalue()


def photo(*codes: str, shot: Shot | None = None, seed: int = 952, kind: str = "EAN13") -> bytes:
    """Take a photo of labels with these codes."""
    shot = shot or Shot()
    drawn = [label(code, kind, shot.module, shot.tear) for code in codes]
    return jpeg(scene(drawn, shot, seed), shot.quality)
