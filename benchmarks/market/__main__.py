"""Command line: run readers on simulated markets and print how they did."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Mapping
from pathlib import Path

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")  # before numpy: spinning threads would steal the other worker's core


def main(arguments: list[str]) -> int:
    """Run what is asked for."""
    from benchmarks.market.config import VARIANTS
    from benchmarks.market.report import full_table, page, table
    from benchmarks.market.run import READERS, World, measure_all

    parser = argparse.ArgumentParser(prog="python -m benchmarks.market", description=__doc__)
    parser.add_argument("--seeds", default="10", help="how many, or which: 3, or 7,8,9 or 7, for one")
    parser.add_argument("--variants", default="standard", help=f"any of: {', '.join(VARIANTS)}; or all")
    parser.add_argument("--readers", default="all", help=f"any of: {', '.join(READERS)}; or all")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--full", action="store_true", help="every score, not only the main ones")
    parser.add_argument("--csv", type=Path, help="also write every score of every seed here")
    parser.add_argument("--page", type=Path, help="also write the tables here, as Markdown")
    parser.add_argument("--write", type=Path, help="only write one market's files into this folder")
    parser.add_argument("--read", type=Path, nargs="+", help="run nothing: take the scores from files of --csv")
    asked = parser.parse_args(arguments)
    variants = _chosen(parser, asked.variants, VARIANTS)
    readers = _chosen(parser, asked.readers, READERS)
    seeds = (
        [int(part) for part in asked.seeds.split(",") if part.strip()]
        if "," in asked.seeds
        else list(range(1, int(asked.seeds) + 1))
    )
    if asked.write:
        from benchmarks.market.dirt import write_files
        from benchmarks.market.shelf import write_shelf

        world = World(VARIANTS[variants[0]], seeds[0])
        write_files(asked.write, world.spoilt)
        write_shelf(asked.write / "shelf_list.csv", world.market, world.shelf)
        return 0
    if asked.read:
        import pandas as pd

        found = pd.concat([pd.read_csv(path) for path in asked.read], ignore_index=True)
        place = {name: at for names in (VARIANTS, READERS) for at, name in enumerate(names)}
        found = found.sort_values(["variant", "reader", "seed"], key=lambda column: column.replace(place))
    else:
        found = measure_all(variants, seeds, readers, asked.jobs)
    if asked.csv:
        found.to_csv(asked.csv, index=False)
    print(full_table(found) if asked.full else table(found))
    if asked.page:
        asked.page.write_text(page(found), encoding="utf-8")
    return 0


def _chosen(parser: argparse.ArgumentParser, text: str, known: Mapping[str, object]) -> tuple[str, ...]:
    names = tuple(known) if text == "all" else tuple(name.strip() for name in text.split(","))
    for name in names:
        if name not in known:
            parser.error(f"There is no “{name}”; there are {', '.join(known)}.")
    return names


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
