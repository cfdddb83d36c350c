"""Photos that are kept: nothing but the picture stays, upright; refused where it is none; removed and undone."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageCms
from test_sourcing_books import buy

from sourcing.errors import BadInput, NotFound, Refused, SourcingError
from sourcing.photo import kept
from sourcing.photo.picture import LARGEST
from sourcing.stock import parts, shelf
from sourcing.storage import Store

GPS, ORIENTATION, MAKER = 0x8825, 0x0112, 0x010F


@pytest.fixture
def store(new_store: Callable[[], Store]) -> Iterator[Store]:
    store = new_store()
    yield store
    store.close()


def picture(width: int = 400, height: int = 200) -> Image.Image:
    """Left half red, right half blue."""
    image = Image.new("RGB", (width, height), (200, 20, 20))
    image.paste((20, 20, 200), (width // 2, 0, width, height))
    return image


def jpeg(image: Image.Image, *, turned: int = 1) -> bytes:
    """A photo as a phone makes it, with where it was taken, by what, which way is up, and a comment."""
    exif = Image.Exif()
    exif[ORIENTATION], exif[MAKER] = turned, "Invented Camera"
    exif.get_ifd(GPS).update({1: "N", 2: (52.0, 31.0, 12.0), 3: "E", 4: (13.0, 24.0, 18.0)})
    target = io.BytesIO()
    image.save(target, "JPEG", quality=95, exif=exif, comment=b"at the back door of the shop")
    return target.getvalue()


def opened(data: bytes) -> Image.Image:
    return Image.open(io.BytesIO(data))


class TestEncoded:
    def test_nothing_a_camera_notes_is_kept(self) -> None:
        data = jpeg(picture())
        assert opened(data).getexif().get_ifd(GPS)  # it was there
        for side in (kept.LARGE, kept.SMALL):
            bare, _ = kept.encoded(data, side)
            image = opened(bare)
            assert not dict(image.getexif())
            assert set(image.info) <= {
                "jfif",
                "jfif_version",
                "jfif_unit",
                "jfif_density",
                "progressive",
                "progression",
            }
            for text in (b"Exif", b"GPS", b"Invented", b"back door", b"http", b"ICC_PROFILE"):
                assert text not in bare

    @pytest.mark.parametrize("turned", range(1, 9))
    def test_every_way_up_is_put_right(self, turned: int) -> None:
        """Orientation as EXIF 2.3 has it: the picture of each tag, shown right, is the same picture."""
        undo = {
            2: Image.Transpose.FLIP_LEFT_RIGHT, 3: Image.Transpose.ROTATE_180, 4: Image.Transpose.FLIP_TOP_BOTTOM,
            5: Image.Transpose.TRANSPOSE, 6: Image.Transpose.ROTATE_90, 7: Image.Transpose.TRANSVERSE,
            8: Image.Transpose.ROTATE_270,
        }  # fmt: skip
        as_taken = picture().transpose(undo[turned]) if turned in undo else picture()
        data, size = kept.encoded(jpeg(as_taken, turned=turned), kept.LARGE)
        assert size == (400, 200)
        pixels = np.asarray(opened(data).convert("RGB")).astype(int)
        assert pixels[100, 50, 0] > 150 > pixels[100, 50, 2]
        assert pixels[100, 350, 2] > 150 > pixels[100, 350, 0]

    def test_a_large_one_is_made_smaller_and_a_small_one_is_left(self) -> None:
        assert kept.encoded(jpeg(picture(4000, 3000)), kept.LARGE)[1] == (1600, 1200)
        assert kept.encoded(jpeg(picture(4000, 3000)), kept.SMALL)[1] == (320, 240)
        assert kept.encoded(jpeg(picture(100, 60)), kept.LARGE)[1] == (100, 60)

    def test_a_transparent_drawing_lies_on_white_and_a_profile_is_worked_in(self) -> None:
        target = io.BytesIO()
        Image.new("RGBA", (50, 50), (0, 0, 0, 0)).save(target, "PNG")
        assert opened(kept.encoded(target.getvalue(), kept.LARGE)[0]).getpixel((5, 5)) == (255, 255, 255)
        target, profile = io.BytesIO(), ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
        picture().save(target, "JPEG", icc_profile=profile)
        image = opened(kept.encoded(target.getvalue(), kept.LARGE)[0])
        assert "icc_profile" not in image.info
        red, _, blue = image.convert("RGB").getpixel((50, 100))  # type: ignore[misc]
        assert red > 150 > blue

    @pytest.mark.parametrize(
        ("data", "wrong"),
        [
            (b"", "empty"),
            (b"no picture at all", "no photo"),
            (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "SVG"),
            (jpeg(picture())[:-500], "cut off"),
            (b"\xff\xd8\xff" + bytes(LARGEST), "25 MB"),
        ],
    )
    def test_what_is_none_is_refused_in_words(self, data: bytes, wrong: str) -> None:
        with pytest.raises(BadInput) as caught:
            kept.encoded(data, kept.LARGE)
        assert wrong in str(caught.value)

    def test_more_pixels_than_are_read(self) -> None:
        target = io.BytesIO()
        Image.new("1", (9000, 8000)).save(target, "PNG")
        with pytest.raises(BadInput, match="pixels"):
            kept.encoded(target.getvalue(), kept.LARGE)


class TestKept:
    def test_added_removed_and_brought_back(self, store: Store, tmp_path: Path) -> None:
        (piece,) = buy(store, date(2027, 1, 1), "10.00")
        number = kept.add(store, tmp_path, "item", piece, jpeg(picture()), " the  box ")
        (photo,) = kept.photos(store, "item", piece)
        assert (photo.id, photo.words, photo.width, photo.height) == (number, "the box", 400, 200)
        assert max(opened(photo.file(tmp_path, kept.SMALL).read_bytes()).size) == 320
        before = store.read("SELECT * FROM photo")
        assert kept.remove(store, number).removed
        assert not kept.photos(store, "item", piece)
        assert photo.file(tmp_path).exists()
        kept.remove(store, number, back=True)
        assert store.read("SELECT * FROM photo") == before

    def test_a_part_has_the_photos_of_its_whole(self, store: Store, tmp_path: Path) -> None:
        (piece,) = buy(store, date(2027, 1, 1), "10.00")
        kept.add(store, tmp_path, "item", piece, jpeg(picture()))
        parts.split(store, piece, ["left", "right"])
        assert [len(kept.photos(store, "item", one.id)) for one in shelf.find(store)] == [1, 1]

    def test_what_it_refuses(self, store: Store, tmp_path: Path) -> None:
        (piece,) = buy(store, date(2027, 1, 1), "10.00")
        data = jpeg(picture(20, 10))
        cases: list[tuple[str, int, str, type[SourcingError]]] = [
            ("item", 99, "", NotFound), ("run", 99, "", NotFound), ("item", piece, "x" * 121, BadInput),
        ]  # fmt: skip
        for of, number, words, error in cases:
            with pytest.raises(error):
                kept.add(store, tmp_path, of, number, data, words)  # type: ignore[arg-type]
        for _ in range(kept.MOST):
            kept.add(store, tmp_path, "item", piece, data)
        with pytest.raises(Refused, match="12 photos"):
            kept.add(store, tmp_path, "item", piece, data)

    def test_a_disk_that_takes_nothing(self, store: Store, tmp_path: Path) -> None:
        (piece,) = buy(store, date(2027, 1, 1), "10.00")
        (tmp_path / "photos").write_text("in the way")
        with pytest.raises(Refused, match="cannot be kept"):
            kept.add(store, tmp_path, "item", piece, jpeg(picture()))
        assert not store.read("SELECT * FROM photo")
