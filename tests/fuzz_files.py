"""Damage files of every kind at random and read them: `python tests/fuzz_files.py 10000` says what came of it.

Whatever the bytes, a file is read, or refused in words within the limits of time; anything else ends the run with the
seed that made it.
"""

from __future__ import annotations

import io
import random
import resource
import sys
import time
import zipfile
from collections import Counter

from table_files import WRITERS

from sourcing.comps.read import opened
from sourcing.comps.sniff import sniff
from sourcing.errors import BadInput

SLOWEST = 90.0  # seconds a file may take on a busy machine; a child's own limit
TABLE = [
    ["title", "status", "sold_price", "gtin"],
    *[[f"Runner {at}, grey", "sold", f"{at}.50", f"952123456{at:04d}"] for at in range(40)],
    ["Mug \"small\"\nand blue", "open", "", "9521234567899"],
    ["Café 漢字", "ended unsold", "", ""],
]  # fmt: skip
WRITTEN = {kind: writer(TABLE) for kind, (writer, _) in WRITERS.items()}
KINDS = list(WRITTEN)


def damaged(content: bytes, draw: random.Random) -> bytes:
    """Return the bytes with one to four places flipped, cut out, doubled, filled or cut off."""
    made = bytearray(content)
    for _ in range(draw.randint(1, 4)):
        at = draw.randrange(len(made) + 1)
        span = min(len(made) - at, draw.choice((1, 2, 8, 64, 1024)))
        match draw.randrange(7):
            case 0:
                made[at : at + 1] = bytes([draw.randrange(256)])
            case 1:
                del made[at : at + span]
            case 2:
                made[at:at] = made[at : at + span]
            case 3:
                made[at : at + span] = draw.randbytes(span)
            case 4:
                made[at:at] = draw.choice(
                    (b'"', b"\0", b"\r", b"\n", b"\xff\xfe", b"<", b"&#0;", b"{", b",", b";" * 50)
                )
            case 5:
                made[at : at + span] = bytes(span)
            case 6 if draw.random() < 0.3:
                del made[at:]
    return bytes(made)


def inside(content: bytes, draw: random.Random) -> bytes:
    """Damage one part of a zip archive and pack it again, so that no checksum gives the damage away."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as archive, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as made:
        parts = {name: archive.read(name) for name in archive.namelist()}
        hit = draw.choice(list(parts))
        for name, part in parts.items():
            inner = inside if part.startswith(b"PK\x03\x04") and draw.random() < 0.7 else damaged
            made.writestr(name, inner(part, draw) if name == hit else part)
    return out.getvalue()


def one(seed: int) -> tuple[str, str, float]:
    """Read one damaged file; return its kind, what came of it and the seconds it took."""
    draw = random.Random(seed)
    kind = KINDS[seed % len(KINDS)]
    content = WRITTEN[kind]
    packed = content.startswith(b"PK\x03\x04") and draw.random() < 0.6
    content = inside(content, draw) if packed else damaged(content, draw)
    began = time.monotonic()
    came = "read"
    try:
        seen = sniff(io.BytesIO(content), "file")
        if seen.asks == "encoding":
            came = "asked"
            seen = sniff(io.BytesIO(content), "file", encoding=seen.candidates[0].encoding)
        elif seen.asks == "member":
            came = "asked"
            seen = sniff(io.BytesIO(content), "file", member=seen.members[0])
        with opened(io.BytesIO(content), None if seen.asks else seen.form) as records:
            for block in records.blocks():
                assert len(block.columns) == len(records.header)
                for row in block.rows:
                    "".join(row).encode()  # every text can be stored
                if block.faults or block.ragged:
                    came = "read but for some rows"
    except BadInput as error:
        came = "refused"
        if not error.wrong:
            raise
    return kind, came, time.monotonic() - began


def main(count: int, first: int = 0) -> Counter[str]:
    """Read `count` damaged files; raise on the first that does anything but be read or refused."""
    came: Counter[str] = Counter()
    slowest = (0.0, -1)
    for seed in range(first, first + count):
        try:
            _, what, took = one(seed)
        except BaseException:
            print(f"seed {seed}, {KINDS[seed % len(KINDS)]}", file=sys.stderr)
            raise
        came[what] += 1
        slowest = max(slowest, (took, seed))
        assert took < SLOWEST, f"seed {seed} took {took:.0f} s"
    peak = max(resource.getrusage(who).ru_maxrss for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)) / 1024
    print(f"{count} files: {dict(came)}; slowest {slowest[0]:.1f} s (seed {slowest[1]}); peak memory {peak:.0f} MB")
    assert peak < 1100
    return came


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 300, int(sys.argv[2]) if len(sys.argv) > 2 else 0)
