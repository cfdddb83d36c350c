"""How a text file is encoded: decided where a byte order mark or strict UTF-8 says so, otherwise asked of the user.

Detectors guess: a short text in one code page is as good a text in the next. So all that could be meant are laid
beside each other with rows in which they differ, and the user picks.
"""

from __future__ import annotations

import codecs
import hashlib
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO

from sourcing.comps.files import limits
from sourcing.errors import BadInput
from sourcing.language import gettext, gettext_noop, separated

CHUNK = 1 << 20
_SAMPLE = 1 << 18
ACCEPTED = {
    "utf-8": "UTF-8",
    "utf-16": "UTF-16",
    "utf-32": "UTF-32",
    "utf-16-le": gettext_noop("UTF-16, low byte first"),
    "utf-16-be": gettext_noop("UTF-16, high byte first"),
    "cp932": gettext_noop("Japanese (Shift JIS)"),
    "euc_jp": gettext_noop("Japanese (EUC)"),
    "gb18030": gettext_noop("Chinese, simplified"),
    "big5hkscs": gettext_noop("Chinese, traditional"),
    "cp949": gettext_noop("Korean"),
    "cp1252": gettext_noop("Western European (Windows)"),
    "iso8859-15": gettext_noop("Western European (Latin-9)"),
    "mac_roman": gettext_noop("Western European (Macintosh)"),
    "cp850": gettext_noop("Western European (DOS)"),
    "cp1250": gettext_noop("Central European (Windows)"),
    "iso8859-2": gettext_noop("Central European (Latin-2)"),
    "cp1251": gettext_noop("Cyrillic (Windows)"),
    "koi8_r": gettext_noop("Cyrillic (KOI8-R)"),
    "cp1253": gettext_noop("Greek (Windows)"),
    "cp1254": gettext_noop("Turkish (Windows)"),
    "cp1255": gettext_noop("Hebrew (Windows)"),
    "cp1256": gettext_noop("Arabic (Windows)"),
    "cp1257": gettext_noop("Baltic (Windows)"),
    "cp874": gettext_noop("Thai (Windows)"),
}
"""Python's name of every encoding that may be picked, and what it is called; the order is the one of asking."""

_WIDE = ("utf-16-le", "utf-16-be")
_DOUBLE = ("cp932", "euc_jp", "gb18030", "big5hkscs", "cp949")
_MARKS = (  # the longer marks first: that of UTF-32 begins like that of UTF-16
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_CONTROLS = "[\x00-\x08\x0b\x0e-\x1f\x7f-\x9f\ufffe\uffff\ue000-\uf8ff]"  # compiled where asked for: that takes a while
_COMMON = "€£¥°§©®™–—‘’“”„«»…½¼¾×·¡¿  "
_BEYOND_LATIN = 0x250
_ASIAN = "[\u3040-\u30ff\u4e00-\u9fff\uac00-\ud7af]"


@dataclass(frozen=True)
class Candidate:
    """An encoding the file may be in, and what three rows of it would say."""

    encoding: str
    name: str
    rows: tuple[str, ...]


@dataclass(frozen=True)
class Scan:
    """What one pass over the bytes tells."""

    sha256: str
    size: int
    mark: str  # the encoding that a byte order mark names, or ""
    bad: int | None  # where the bytes stop being UTF-8 (the marked encoding), None when they never do
    nul: bool  # NUL bytes are as many as in UTF-16


def scan(file: BinaryIO) -> Scan:
    """Read the file once: fingerprint it, find its mark, check it as UTF-8 or as what the mark says.

    Raises
    ------
    BadInput
        A line is so long that the file is no table.
    """
    file.seek(0)
    fingerprint = hashlib.sha256()
    mark, bad, size, unbroken, nul = "", None, 0, 0, False
    decoder: codecs.IncrementalDecoder = codecs.getincrementaldecoder("utf-8")()
    while chunk := file.read(CHUNK):
        if not size:
            mark = next((name for start, name in _MARKS if chunk.startswith(start)), "")
            decoder = codecs.getincrementaldecoder(mark or "utf-8")()
            nul = chunk.count(b"\0") > len(chunk) // 5
        fingerprint.update(chunk)
        as_utf8 = not mark and chunk.isascii() and not decoder.getstate()[0]  # told in a tenth of the time
        if bad is None and not as_utf8:
            bad = _undecodable(decoder, chunk, size)
        size += len(chunk)
        broken = b"\n" in chunk or b"\r" in chunk
        unbroken = 0 if broken else unbroken + len(chunk)
        if unbroken > limits.LONGEST_LINE:
            raise BadInput(
                gettext(
                    "The file goes on for more than {longest_line} bytes without a line break.",
                    longest_line=separated(f"{limits.LONGEST_LINE:,}"),
                ),
                gettext("A table with a row a line."),
                gettext("Save the table as CSV (UTF-8) and load that."),
                field="file",
            )
    if bad is None:
        bad = _undecodable(decoder, b"", size, final=True)
    return Scan(fingerprint.hexdigest(), size, mark, bad, nul)


def digest(file: BinaryIO) -> str:
    """Return the SHA-256 of a file, and leave it at its start."""
    file.seek(0)
    found = hashlib.sha256()
    while chunk := file.read(CHUNK):
        found.update(chunk)
    file.seek(0)
    return found.hexdigest()


def _undecodable(decoder: codecs.IncrementalDecoder, chunk: bytes, at: int, *, final: bool = False) -> int | None:
    pending = decoder.getstate()[0]
    try:
        decoder.decode(chunk, final)
    except UnicodeDecodeError as error:
        return max(0, at - len(pending) + error.start)
    except UnicodeError:  # UTF-16 without its mark
        return at
    return None


def stands(file: BinaryIO, encoding: str) -> bool:
    """Tell whether the whole file decodes strictly."""
    decoder = codecs.getincrementaldecoder(encoding)()
    file.seek(0)
    try:
        while chunk := file.read(CHUNK):
            decoder.decode(chunk)
        decoder.decode(b"", True)
    except UnicodeError:
        return False
    return True


def candidates(file: BinaryIO, found: Scan) -> tuple[Candidate, ...]:
    """Return the encodings that the whole file decodes in, the likelier first, with rows in which they differ.

    Two that read the whole sample the same are one candidate. Where UTF-8 fails at few places only it is one too,
    and the rows there will be set aside.
    """
    sample = _sample(file, found.bad)
    told: dict[str, str] = {}
    for encoding in ACCEPTED:
        if encoding in ("utf-8", "utf-16", "utf-32") or (encoding in _WIDE) != found.nul:
            continue
        try:
            text = codecs.getincrementaldecoder(encoding)().decode(sample)
        except UnicodeError:
            continue
        if text in told.values() or _implausible(text, encoding) or not stands(file, encoding):
            continue
        told[encoding] = text
    told = dict(sorted(told.items(), key=lambda item: -round(_likely(item[1]), 1)))
    if not found.nul and _mostly_utf8(sample):
        told = {"utf-8": sample.decode("utf-8", "replace"), **told}
    return tuple(
        Candidate(encoding, gettext(ACCEPTED[encoding]), tuple(_differing(text, found.nul)))
        for encoding, text in told.items()
    )


def _sample(file: BinaryIO, bad: int | None) -> bytes:
    """Return whole lines from the start of the file and, where it only later stops being UTF-8, from there."""
    file.seek(0)
    start = file.read(_SAMPLE)
    if bad is None or bad < len(start):
        return start
    file.seek(max(0, bad - 5_000))
    there = file.read(_SAMPLE)
    return start[: start.rfind(b"\n") + 1] + there[there.find(b"\n") + 1 :]


def _implausible(text: str, encoding: str) -> bool:
    """Tell text that no table holds: control characters, or little that the encoding was made for."""
    if re.search(_CONTROLS, text):
        return True
    if encoding in _DOUBLE:  # other texts pass for these by chance, in characters hardly ever used
        other = sum(1 for letter in text if ord(letter) > 127)
        return len(re.findall(_ASIAN, text)) < other / 2
    return False


def _likely(text: str) -> float:
    """Return the share of other than ASCII characters that stand where writing has them, as a hint for the order.

    Letters with marks stand among plain ones in Latin writing; in other writings no letter touches a Latin one.
    """
    good = other = 0
    for before, letter, after in zip(" " + text, text, text[1:] + " ", strict=False):
        if letter.isascii():
            continue
        other += 1
        beside = [one for one in (before, after) if one.isalpha()]
        if not letter.isalpha():
            good += letter in _COMMON
        elif ord(letter) < _BEYOND_LATIN:
            good += all(one.isascii() for one in beside) and not (letter.isupper() and before.islower())
        else:
            good += not any(one.isascii() for one in beside)
    return good / other if other else 1.0


def _mostly_utf8(sample: bytes) -> bool:
    """Tell a UTF-8 file with few bad places: most of its other than ASCII characters are whole."""
    text = sample.decode("utf-8", "replace")
    bad = text.count("\ufffd")
    return sum(1 for letter in text if ord(letter) > 127) - bad > 2 * bad


def _differing(text: str, wide: bool) -> Iterator[str]:
    """Yield three lines that tell the encodings apart."""
    shown = 0
    for line in text.splitlines():
        if line.strip() and (wide or not line.isascii()):
            yield line[:500]
            shown += 1
            if shown == 3:
                return
