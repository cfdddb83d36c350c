"""A photo as sent: refused when it is none, else handed out as grey copies, smaller, larger, turned or sharpened.

A copy of about 1,000 pixels reads more real photos than the full size does, since averaging removes noise; it costs
less too, for a JPEG is decoded at a fraction of its size in the first place.
"""

from __future__ import annotations

import io
import warnings
from functools import cache
from typing import NoReturn

from PIL import Image, ImageFilter, ImageOps, UnidentifiedImageError

from sourcing.errors import BadInput
from sourcing.language import gettext, gettext_noop, separated

LARGEST = 25 * 1024 * 1024
PIXELS = 64_000_000
FORMATS = ("JPEG", "MPO", "PNG", "WEBP", "AVIF", "HEIF", "GIF", "BMP")  # nothing that calls another program
DOUBLED = 1280  # longest side of a photo that is worth enlarging
_ACCEPTED = gettext_noop("A JPEG, PNG, WebP or HEIC photo, up to 25 MB and 64 megapixels.")
_AGAIN = gettext_noop("Take the photo again, or type the code.")
_CUT_OFF = gettext_noop("The photo was cut off on its way, or damaged.")
_BEGINNINGS = (b"\xff\xd8\xff", b"\x89PNG", b"RIFF", b"GIF8", b"BM")

# Once for the process: setting filters around each call would not be safe in threads.
warnings.filterwarnings("error", category=Image.DecompressionBombWarning)


class Picture:
    """A decodable photo, upright, and grey copies of it.

    Parameters
    ----------
    data : bytes
        The file.

    Raises
    ------
    BadInput
        Empty, more than 25 MB or 64 megapixels, cut off, a drawing, or not a picture.
    """

    def __init__(self, data: bytes) -> None:
        if not data:
            _refuse(gettext("The photo is empty (0 bytes)."))
        if len(data) > LARGEST:
            _refuse(gettext("The photo has {size} MB.", size=separated(f"{len(data) / 2**20:.0f}")))
        self._data = data
        with self._opened() as image:
            self._size: tuple[int, int] = image.size
            self._jpeg = image.format in ("JPEG", "MPO")
        self._grey: dict[int, Image.Image] = {}

    def copy(self, how: float | str = 0, side: int = 0) -> Image.Image:
        """Return a grey copy.

        Parameters
        ----------
        how : float or str
            Degrees to turn it by, or "sharp", or "x2" for twice the size.
        side : int
            Longest side in pixels at most, before turning; 0 for the photo's own.
        """
        image = self._at(side)
        if how == "x2":
            return image.resize((2 * image.width, 2 * image.height), Image.Resampling.BILINEAR)
        if how == "sharp":
            return image.filter(ImageFilter.UnsharpMask(2, 150, 0))
        if how:
            return image.rotate(float(how), Image.Resampling.BILINEAR, expand=True, fillcolor=128)
        return image

    def coloured(self, side: int = 0) -> Image.Image:
        """Return an upright copy in sRGB on white, its longest side ``side`` pixels or somewhat more; 0: its own.

        Raises
        ------
        BadInput
            The photo was cut off, or is damaged.
        """
        with self._opened() as image:
            try:
                if side and self._jpeg:
                    image.draft("RGB", (side, side))
                image.load()
                return _in_srgb(_upright(image))
            except Exception as error:
                _refuse(gettext(_CUT_OFF), error)

    @property
    def small(self) -> bool:
        """Whether the photo is so small that an enlarged copy is worth trying."""
        return max(self._size) <= DOUBLED

    def _at(self, side: int) -> Image.Image:
        key = side if 0 < side < max(self._size) else 0
        if key not in self._grey:
            # Only a JPEG is decoded anew for each size: it can be had at a fraction of its size.
            base = self._decoded(key) if self._jpeg or key == 0 else self._at(0)
            self._grey[key] = _shrunk(base, key)
        return self._grey[key]

    def _decoded(self, side: int) -> Image.Image:
        with self._opened() as image:
            try:
                if side:
                    image.draft("L", (side, side))
                image.load()
                return _upright(_grey(image))
            except Exception as error:  # a broken file can raise almost anything inside the decoders
                _refuse(gettext(_CUT_OFF), error)

    def _opened(self) -> Image.Image:
        _learn_heif(self._data)
        try:
            image = Image.open(io.BytesIO(self._data), formats=_known_formats())
        except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
            _refuse(gettext("The photo has more than 64 megapixels."), error)
        except UnidentifiedImageError as error:
            if self._data.lstrip()[:5].lower() in (b"<?xml", b"<svg ", b"<svg>"):
                _refuse(gettext("That file is a drawing (SVG), not a photo."), error)
            cut = self._data.startswith(_BEGINNINGS)
            _refuse(gettext(_CUT_OFF) if cut else gettext("That file is no photo."), error)
        except Exception as error:
            _refuse(gettext(_CUT_OFF), error)
        if image.width * image.height > PIXELS:
            _refuse(gettext("The photo has {width} × {height} pixels.", width=image.width, height=image.height))
        return image


def _refuse(wrong: str, error: BaseException | None = None) -> NoReturn:
    raise BadInput(wrong, gettext(_ACCEPTED), gettext(_AGAIN), field="photo") from error


@cache
def _known_formats() -> tuple[str, ...]:
    Image.init()
    return tuple(name for name in FORMATS if name in Image.OPEN)


def _learn_heif(data: bytes) -> None:
    if data[4:8] == b"ftyp" and "HEIF" not in Image.OPEN:
        try:
            from pillow_heif import register_heif_opener
        except ImportError:
            return
        register_heif_opener()
        _known_formats.cache_clear()


def _grey(image: Image.Image) -> Image.Image:
    """Return it in grey; what is transparent is paper, not ink, and 16-bit greys are scaled, not clipped."""
    if image.mode.startswith("I;16"):
        return image.convert("I").point(lambda grey: grey / 256).convert("L")
    if image.mode in ("RGBA", "LA", "PA", "La", "RGBa") or "transparency" in image.info:
        shown = image.convert("RGBA")
        return Image.alpha_composite(Image.new("RGBA", shown.size, "white"), shown).convert("L")
    return image.convert("L")


def _in_srgb(image: Image.Image) -> Image.Image:
    """Return it in sRGB; what is transparent is shown on white, a profile that cannot be read is passed over."""
    from PIL import ImageCms

    shown = image
    if image.mode.startswith("I;16"):
        shown = _grey(image)
    elif image.mode in ("RGBA", "LA", "PA", "La", "RGBa") or "transparency" in image.info:
        clear = image.convert("RGBA")
        shown = Image.alpha_composite(Image.new("RGBA", clear.size, "white"), clear)
    profile = image.info.get("icc_profile")
    if profile and image.mode in ("RGB", "CMYK"):
        try:
            own = ImageCms.ImageCmsProfile(io.BytesIO(profile))
            found = ImageCms.profileToProfile(shown, own, ImageCms.createProfile("sRGB"), outputMode="RGB")
        except (ImageCms.PyCMSError, OSError):
            found = None
        if found is not None:
            return found
    return shown.convert("RGB")


def _upright(image: Image.Image) -> Image.Image:
    try:
        return ImageOps.exif_transpose(image)
    except Exception:  # a camera's notes may be broken; the readers take any quarter turn
        return image


def _shrunk(image: Image.Image, side: int) -> Image.Image:
    scale = side / max(image.size) if side else 1.0
    if scale >= 1:
        return image
    how = Image.Resampling.BOX if scale < 0.6 else Image.Resampling.BILINEAR
    return image.resize((max(1, round(image.width * scale)), max(1, round(image.height * scale))), how)
