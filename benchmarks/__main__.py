"""Run benchmarks, all or those named, print their tables and put them into their parts of docs/benchmarks.md.

A benchmark is a module of this folder with ``run() -> list[dict]``: ``name``, ``ratio``, ``bar`` (the ratio that is
to be met; None where there is none), ``detail``. Both sides of a ratio are measured in turn in one run, so that it
means something on another machine too. Each part of the page says when, on what and beside how much else it was run.
"""

from __future__ import annotations

import importlib
import os
import platform
import sqlite3
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
PAGE = HERE.parent / "docs" / "benchmarks.md"
INTRO = """# Benchmarks

Written by `make bench`, or part by part by `python -m benchmarks NAME ...`; do not edit. Every figure is a ratio of two
things measured in turn in one run: ours, and the reference named beside it. At most the bar is the goal. Times vary
with the machine and with what else it does, the ratios much less. A part is named as its module of `benchmarks/`.
"""


def modules() -> list[str]:
    """Name every benchmark of this folder."""
    return sorted(path.stem for path in HERE.glob("*.py") if not path.stem.startswith("_"))


def machine() -> str:
    """Say on what the figures were taken."""
    model = platform.processor() or platform.machine()
    cpuinfo = Path("/proc/cpuinfo")
    if cpuinfo.exists():
        found = [line.split(":", 1)[1].strip() for line in cpuinfo.read_text().splitlines() if "model name" in line]
        model = found[0] if found else model
    return (
        f"{model}, {os.cpu_count()} cores, {platform.system()}; Python {platform.python_version()}, "
        f"SQLite {sqlite3.sqlite_version}"
    )


def table(lines: list[dict[str, Any]]) -> str:
    """Lay the records out as a Markdown table."""
    rows = ["| measurement | ratio | bar | met | what was measured |", "| --- | ---: | ---: | --- | --- |"]
    for line in lines:
        bar = line["bar"]
        met = "" if bar is None else "yes" if line["ratio"] <= bar else "**no**"
        rows.append(
            f"| {line['name']} | {line['ratio']:.3g} | {'' if bar is None else f'{bar:g}'} | {met} "
            f"| {str(line['detail']).replace('|', '/')} |"
        )
    return "\n".join(rows)


def parts(page: str) -> dict[str, str]:
    """Return the parts of a page by their headings."""
    return {part.partition("\n")[0]: f"## {part.rstrip()}\n" for part in page.split("\n## ")[1:]}


def main(wanted: list[str]) -> int:
    """Run the benchmarks named, all by default, and put what they found into the page."""
    known = modules()
    unknown = [name for name in wanted if name not in known]
    if unknown:
        print(f"No benchmark is named {', '.join(unknown)}. There are: {', '.join(known)}.", file=sys.stderr)
        return 2
    for name in wanted or known:
        print(f"{name} ...", file=sys.stderr, flush=True)
        before = os.getloadavg()[0]
        lines = importlib.import_module(f"benchmarks.{name}").run()
        if not lines:
            continue
        print(table(lines), flush=True)
        busy = max(before, os.getloadavg()[0])
        when = f"Measured {datetime.now(UTC).date().isoformat()} on {machine()}; load average up to {busy:.1f}."
        kept = parts(PAGE.read_text(encoding="utf-8")) | {name: f"## {name}\n\n{when}\n\n{table(lines)}\n"}
        told = "\n".join(kept[one] for one in known if one in kept)
        PAGE.write_text(f"{INTRO}\n{told}", encoding="utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
