"""Photos of codes, drawn by a general barcode writer; invented numbers of the demonstration prefix 952."""

from __future__ import annotations

import builtins
import io
import random
import struct
import time
import zlib

import pytest
from PIL import Image

from benchmarks._photos import Shot, jpeg, label, photo, scene
from sourcing.errors import BadInput
from sourcing.photo import read_photo, readers, reading
from sourcing.photo.picture import Picture
from sourcing.photo.readers import Found

MAKER = "9521234567899"
OTHER = "9520000012342"
TAG = "2001234567893"
COUPON = "9901234567899"


def saved(image: Image.Image, kind: str, **options: object) -> bytes:
    out = io.BytesIO()
    image.save(out, kind, **options)
    return out.getvalue()


@pytest.fixture
def without_first_reader(monkeypatch: pytest.MonkeyPatch) -> None:
    """Be on a machine without libzbar0."""
    monkeypatch.setattr(readers, "zbar", lambda: None)


SHOTS = {
    "clean": Shot(noise=0),
    "upside down": Shot(turn=180),
    "askew": Shot(turn=38),
    "on its side": Shot(turn=93),
    "small": Shot(module=2, size=(640, 480)),
    "noisy": Shot(noise=40),
    "blurred": Shot(module=6, blur=2.0),
    "dark on one side": Shot(shade=0.8),
    "large and noisy": Shot(module=9, noise=50, size=(4000, 3000)),
    "poor JPEG": Shot(quality=20),
}


class TestReading:
    @pytest.mark.parametrize("shot", SHOTS.values(), ids=SHOTS)
    def test_one_code(self, shot: Shot) -> None:
        found = read_photo(photo(MAKER, shot=shot))
        assert found.chosen is not None
        assert (found.chosen.gtin, found.chosen.typed, found.maybe) == ("0" + MAKER, MAKER, None)
        assert f"Saw the maker's code {MAKER}" in found.note

    @pytest.mark.parametrize("shot", [Shot(), Shot(turn=38), Shot(noise=25)])
    @pytest.mark.usefixtures("without_first_reader")
    def test_by_the_second_reader_alone(self, shot: Shot) -> None:
        found = read_photo(photo(MAKER, shot=shot))
        assert found.chosen is not None
        assert found.chosen.gtin == "0" + MAKER

    @pytest.mark.parametrize(("kind", "code", "gtin", "typed"), [
        ("UPCA", "036000291452", "00036000291452", "036000291452"),  # a published example's number
        ("EAN8", "96385074", "00000096385074", "96385074"),
        ("UPCE", "04252614", "00042100005264", "04252614"),
        ("UPCE", "01234565", "00012345000065", "012345000065"),  # eight digits that could be an EAN-8 too
        ("EAN8", "01234565", "", ""),  # and as an EAN-8 is a store's own
    ])  # fmt: skip
    def test_other_symbologies(self, kind: str, code: str, gtin: str, typed: str) -> None:
        found = read_photo(photo(code, kind=kind))
        assert (found.chosen.gtin, found.chosen.typed) == (gtin, typed) if gtin and found.chosen else not gtin
        if not gtin:
            assert found.chosen is None
            assert "in-store tag" in found.note

    def test_a_style_code_on_a_box_label(self) -> None:
        found = read_photo(photo("VK-4410-BLK", kind="Code128", shot=Shot(module=3)))
        assert found.chosen is not None
        assert (found.chosen.kind, found.chosen.style_key) == ("style code", "VK4410BLK")
        assert "taken as the style code" in found.note

    def test_digits_on_a_box_label_that_are_no_gtin(self) -> None:
        found = read_photo(photo("10263847", kind="Code128", shot=Shot(module=3)))
        assert found.chosen is not None
        assert (found.chosen.kind, found.chosen.style_key) == ("style code", "10263847")


class TestSeveralCodes:
    @pytest.mark.parametrize("codes", [(TAG, MAKER), (MAKER, TAG)])
    def test_the_makers_code_goes_before_a_store_tag(self, codes: tuple[str, ...]) -> None:
        found = read_photo(photo(*codes))
        assert found.chosen is not None
        assert found.chosen.gtin == "0" + MAKER
        assert found.note.startswith(f"Saw the maker's code {MAKER} and an in-store tag ({TAG}); took the maker's code")
        assert {seen.text for seen in found.seen} == {TAG, MAKER}

    def test_only_a_store_tag(self) -> None:
        found = read_photo(photo(TAG))
        assert (found.chosen, found.maybe) == (None, None)
        assert found.note.startswith(f"Saw only an in-store tag ({TAG}): it identifies nothing outside that store")
        assert "style code" in found.note

    def test_only_a_coupon(self) -> None:
        found = read_photo(photo(COUPON))
        assert found.chosen is None
        assert f"only a coupon ({COUPON}): it names no product" in found.note

    def test_two_makers_codes_the_middle_one_is_taken_and_the_other_named(self) -> None:
        canvas = scene([label(MAKER)], Shot(size=(1200, 1400)), 3)
        canvas.paste(label(OTHER, module=3), (20, 10))
        found = read_photo(jpeg(canvas))
        assert found.chosen is not None
        assert found.chosen.typed == MAKER
        assert OTHER in found.note


class TestNothingSure:
    def test_no_code(self) -> None:
        found = read_photo(photo())
        assert (found.chosen, found.maybe, found.seen) == (None, None, ())
        assert "type it" in found.note

    @pytest.mark.parametrize("tear", [0.2, 0.45, 0.6])
    def test_a_torn_label_gives_no_wrong_code(self, tear: float) -> None:
        found = read_photo(photo(MAKER, shot=Shot(tear=tear)))
        assert found.chosen is None

    @pytest.mark.usefixtures("without_first_reader")
    def test_a_upc_e_of_the_second_reader_is_only_offered(self) -> None:
        found = read_photo(photo("04252614", kind="UPCE"))
        assert found.chosen is None
        assert found.maybe is not None
        assert found.maybe.gtin == "00042100005264"
        assert "is this the number under the bars?" in found.note

    def test_a_upc_e_of_number_system_1_is_only_offered(self) -> None:
        """The first reader cannot read it, and GS1 does not define it."""
        found = read_photo(photo("12345670", kind="UPCE"))
        assert found.chosen is None
        assert found.maybe is not None
        assert found.maybe.gtin == "00123456000070"


class TestVotes:
    """With readers that say what they are told, pass by pass."""

    def told(self, monkeypatch: pytest.MonkeyPatch, answers: dict[int, list[Found]]) -> list[int]:
        passes: list[int] = []

        def read(_image: Image.Image) -> list[Found]:
            passes.append(len(passes))
            return answers.get(passes[-1], [])

        monkeypatch.setattr(readers, "zbar", lambda: read)
        monkeypatch.setattr(readers, "zxing", lambda: read)
        return passes

    def test_the_fast_stage_takes_one(self, monkeypatch: pytest.MonkeyPatch) -> None:
        passes = self.told(monkeypatch, {3: [Found(MAKER, "EAN13", 1, 0.1)]})
        assert read_photo(photo()).chosen is not None
        assert len(passes) == 4

    def test_the_slow_stage_takes_two(self, monkeypatch: pytest.MonkeyPatch) -> None:
        one = [Found(MAKER, "EAN13", 1, 0.1)]
        self.told(monkeypatch, {9: one, 11: [Found(OTHER, "EAN13", 1, 0.0)], 13: one})
        chosen = read_photo(photo()).chosen
        assert chosen is not None
        assert chosen.typed == MAKER

    def test_the_same_code_twice_in_one_pass_is_one_vote(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.told(monkeypatch, {9: [Found(MAKER, "EAN13", 1, 0.1), Found(MAKER, "EAN13", 1, 0.2)]})
        found = read_photo(photo())
        assert found.chosen is None
        assert found.maybe is not None
        assert found.maybe.typed == MAKER

    def test_or_one_of_good_quality(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.told(monkeypatch, {9: [Found(MAKER, "EAN13", reading.SURE, 0.1)]})
        assert read_photo(photo()).chosen is not None

    def test_what_no_check_digit_bears_out_is_not_seen(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.told(monkeypatch, {0: [Found("9521234567890", "EAN13", 99, 0.1), Found("", "CODE128", 9, 0)]})
        assert read_photo(photo()).seen == ()

    def test_it_stops_when_the_time_is_used_up(self, monkeypatch: pytest.MonkeyPatch) -> None:
        passes = self.told(monkeypatch, {})
        monkeypatch.setattr(reading, "MOST_CPU", 0.0)
        assert read_photo(photo()).chosen is None
        assert len(passes) == 1

    def test_the_worst_photo_costs_about_the_time_allowed(self) -> None:
        noise = photo(shot=Shot(noise=90, size=(3000, 2000)))
        started = time.thread_time()
        read_photo(noise)
        assert time.thread_time() - started < 2 * reading.MOST_CPU  # the last pass is let run to its end


class TestFormats:
    def read(self, data: bytes) -> str:
        chosen = read_photo(data).chosen
        return chosen.typed if chosen else ""

    @pytest.mark.parametrize("kind", ["PNG", "WEBP", "GIF", "BMP", "JPEG"])
    def test_common_ones(self, kind: str) -> None:
        assert self.read(saved(scene([label(MAKER)], Shot(), 1), kind)) == MAKER

    def test_heic(self) -> None:
        heif = pytest.importorskip("pillow_heif")
        out = io.BytesIO()
        heif.from_pillow(scene([label(MAKER)], Shot(), 1).convert("RGB")).save(out)
        assert self.read(out.getvalue()) == MAKER

    @pytest.mark.parametrize("mode", ["1", "P", "LA", "RGBA", "I;16"])
    def test_every_kind_of_pixel(self, mode: str) -> None:
        grey = scene([label(MAKER)], Shot(), 1)
        if mode == "I;16":
            wide = grey.convert("I").point(lambda v: v * 257).convert("I;16")
        else:
            wide = grey.convert(mode, dither=Image.Dither.NONE)
        assert self.read(saved(wide, "PNG")) == MAKER

    def test_print_colours(self) -> None:
        assert self.read(saved(scene([label(MAKER)], Shot(), 1).convert("CMYK"), "JPEG")) == MAKER

    def test_bars_on_a_see_through_ground(self) -> None:
        bars = label(MAKER)
        clear = Image.new("LA", bars.size)
        clear.putalpha(bars.point(lambda v: 255 - v))
        assert self.read(saved(clear, "PNG")) == MAKER

    @pytest.mark.parametrize(("orientation", "turn"), [(3, 180), (6, 90), (8, -90)])
    def test_the_cameras_orientation_is_applied(self, orientation: int, turn: int) -> None:
        upright = scene([label(MAKER)], Shot(size=(1000, 600)), 1)
        exif = Image.Exif()
        exif[0x0112] = orientation
        data = saved(upright.rotate(turn, expand=True), "JPEG", exif=exif)
        copy = Picture(data).copy()
        assert copy.size == (1000, 600)
        ground = zip(copy.resize((10, 6)).tobytes(), upright.resize((10, 6)).tobytes(), strict=True)
        assert max(abs(a - b) for a, b in ground) < 12

    @pytest.mark.filterwarnings("ignore::UserWarning:PIL")  # it grumbles and goes on
    def test_broken_notes_of_the_camera_do_no_harm(self) -> None:
        good = saved(scene([label(MAKER)], Shot(), 1), "JPEG")
        note = b"Exif\0\0MM\0*\0\0\0\x08\xff\xff" + b"\x01\x12\0\x05\xff\xff\xff\xff\xff\xff\xff\xff" * 3
        data = good[:2] + b"\xff\xe1" + struct.pack(">H", len(note) + 2) + note + good[2:]
        assert self.read(data) == MAKER


def png_claiming(wide: int, high: int) -> bytes:
    """Write a tiny PNG whose header claims this size."""

    def chunk(name: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))

    header = struct.pack(">IIBBBBB", wide, high, 8, 0, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(b"\0")) + chunk(b"IEND", b"")


GOOD = photo(MAKER)
GOOD_PNG = saved(scene([label(MAKER)], Shot(), 1), "PNG")


@pytest.mark.filterwarnings("error::PIL.Image.DecompressionBombWarning")  # as the module sets it, outside pytest
class TestRefused:
    @pytest.mark.parametrize(("data", "says"), [
        (b"", "0 bytes"), (b"code,price\n1,2\n", "no photo"), (b"\0" * 5000, "no photo"),
        (b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 9 9\n", "no photo"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "SVG"), (b"<?xml version='1.0'?><svg/>", "SVG"),
        (GOOD[:3], "cut off"), (GOOD[:400], "cut off"), (GOOD[:3000], "cut off"), (GOOD[:-2000], "cut off"),
        (GOOD_PNG[:60], "cut off"), (GOOD_PNG[: len(GOOD_PNG) // 2], "cut off"),
        (png_claiming(8001, 8000), "8001 × 8000"), (png_claiming(10_000, 10_000), "more than 64"),
        (png_claiming(20_000, 20_000), "more than 64 megapixels"), (b"\xff\xd8" + b"x" * 25 * 2**20, "25 MB"),
        (png_claiming(900, 900), "cut off"), (png_claiming(0, 7), "cut off"),
    ], ids=lambda value: str(value)[:20])  # fmt: skip
    def test_with_words(self, data: bytes, says: str) -> None:
        with pytest.raises(BadInput, match=says) as caught:
            read_photo(data)
        assert caught.value.field == "photo"
        assert "64 megapixels" in caught.value.accepted
        assert "type the code" in caught.value.next_step

    @pytest.mark.parametrize("seed", range(40))
    def test_or_read_whatever_bytes_are_damaged(self, seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(reading, "MOST_CPU", 0.1)
        roll = random.Random(seed)
        data = bytearray(GOOD if seed % 2 else GOOD_PNG)
        for _ in range(roll.choice([1, 5, 50])):
            data[roll.randrange(20 if seed % 3 else len(data))] = roll.randrange(256)
        try:
            found = read_photo(bytes(data))
        except BadInput:
            return
        assert found.chosen is None or found.chosen.typed == MAKER


def test_the_first_reader_is_looked_for_once_and_may_be_missing(monkeypatch: pytest.MonkeyPatch) -> None:
    real, tries = builtins.__import__, []

    def refuse(name: str, *args: object, **kwargs: object) -> object:
        if name.startswith("pyzbar"):
            tries.append(name)
            raise ImportError("Unable to find zbar shared library")
        return real(name, *args, **kwargs)  # type: ignore[arg-type]

    monkeypatch.setattr(builtins, "__import__", refuse)
    readers.zbar.cache_clear()
    try:
        for _ in range(2):
            found = read_photo(GOOD)
            assert found.chosen is not None
            assert found.chosen.typed == MAKER
        assert len(tries) == 1
    finally:
        readers.zbar.cache_clear()
