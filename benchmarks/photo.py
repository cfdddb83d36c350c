"""Reading photos beside the bare first reader at full size: processor time, and how many codes come back.

The photos are drawn from a fixed seed: 1 to 12 megapixels, a third turned to any angle, blurred, noisy, unevenly lit,
some torn, one in ten without a code, one in seven with a store's tag beside the maker's code. The bare reader is
asked for the same symbologies, decodes the same JPEG, and a store tag's number is not held against it.
"""

from __future__ import annotations

import io
import statistics
import time
from collections.abc import Callable
from typing import Any

import numpy as np
from PIL import Image

from benchmarks._photos import Shot, jpeg, label, scene
from sourcing.codes import check_digit
from sourcing.photo import read_photo

SIZES = ((1280, 960), (1600, 1200), (2592, 1944), (4000, 3000))
GRADES = {"easy": (0.0, 0.25, 8, 0.2), "medium": (0.2, 0.4, 18, 0.4), "hard": (0.3, 0.55, 30, 0.6)}
PER_GRADE = 8


def pictures(seed: int = 20952) -> list[tuple[str, str, bytes]]:
    """Return (grade, the maker's code or "" where none can be read, JPEG) of every photo."""
    draw = np.random.default_rng(seed)
    made = []
    for grade, (least, most, noise, shade) in GRADES.items():
        for at in range(PER_GRADE):
            body = f"952{draw.integers(10**9):09}"
            code, size = body + check_digit(body), SIZES[at % len(SIZES)]
            # The label fills a tenth to a half of the photo's width: 115 modules and their quiet zone.
            module = max(2, round(size[0] * draw.uniform(0.15, 0.5) / 115))
            torn, empty, tagged = draw.random() < 0.08, draw.random() < 0.1, draw.random() < 0.14
            shot = Shot(
                module=module,
                turn=draw.uniform(0, 180) if draw.random() < 0.33 else draw.uniform(-4, 4),
                blur=module * draw.uniform(least, most),
                noise=draw.uniform(2, noise),
                shade=draw.uniform(0, shade),
                size=size,
            )
            labels = [] if empty else [label(code, "EAN13", module, 0.45 if torn else 0)]
            if tagged:
                labels.insert(0, label("2001234567893", "EAN13", module))
            truth = "" if torn or empty else code
            made.append((grade, truth, jpeg(scene(labels, shot, int(draw.integers(2**31))))))
    return made


def ours(data: bytes) -> str:
    """Return what is taken without asking, as a GTIN-13."""
    chosen = read_photo(data).chosen
    return chosen.gtin[1:] if chosen is not None else ""


def bare() -> Callable[[bytes], str] | None:
    """Return the first reader alone, once over the whole photo; None where its library is missing."""
    try:
        from pyzbar import pyzbar
    except (ImportError, OSError):
        return None
    kinds = pyzbar.ZBarSymbol
    wanted = [kinds.EAN13, kinds.EAN8, kinds.UPCA, kinds.UPCE, kinds.CODE128]

    def read(data: bytes) -> str:
        found = pyzbar.decode(Image.open(io.BytesIO(data)).convert("L"), symbols=wanted)
        codes = [one.data.decode().zfill(13) for one in found]
        return next((code for code in codes if not code.startswith(("2", "02"))), "")

    return read


def run() -> list[dict[str, Any]]:
    """Measure both readers on every photo in turn."""
    reader = bare()
    if reader is None:
        return []
    photos = pictures()
    ours(photos[0][2])  # what is imported once is not what a photo costs
    reader(photos[0][2])
    times: dict[str, list[float]] = {"ours": [], "bare": []}
    right: dict[tuple[str, str], int] = {}
    wrong = {"ours": 0, "bare": 0}
    there: dict[str, int] = {}
    for grade, truth, data in photos:
        there[grade] = there.get(grade, 0) + bool(truth)
        for name, read in (("ours", ours), ("bare", reader)):
            started = time.process_time()
            code = read(data)
            times[name].append(time.process_time() - started)
            right[name, grade] = right.get((name, grade), 0) + bool(truth and code == truth)
            wrong[name] += bool(code and code != truth)
    spent = {name: f"{1000 * statistics.median(t):.0f} ms" for name, t in times.items()}
    total = {name: sum(right[name, grade] for grade in there) for name in times}
    missed = {name: sum(there.values()) - total[name] for name in times}
    shares = "; ".join(
        f"{grade} {right['ours', grade]} against {right['bare', grade]} of {there[grade]}" for grade in there
    )
    return [
        {
            "name": "photo: processor time",
            "ratio": statistics.median(times["ours"]) / statistics.median(times["bare"]),
            "bar": 1.0,
            "detail": f"median of {len(photos)} photos, {spent['ours']} against {spent['bare']} by the first reader "
            f"alone at full size; mean {sum(times['ours']) / sum(times['bare']):.2f} times, for it goes on where that "
            "gives up",
        },
        {
            "name": "photo: codes not read",
            "ratio": missed["ours"] / max(1, missed["bare"]),
            "bar": 0.5,
            "detail": f"the maker's code came back: {shares}; wrong {wrong['ours']} against {wrong['bare']}",
        },
    ]


if __name__ == "__main__":
    for line in run():
        print(f"{line['name']:24} {line['ratio']:.2f} (bar {line['bar']})  {line['detail']}")
