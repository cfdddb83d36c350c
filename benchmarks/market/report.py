"""Tables of the scores: mean over the seeds and its standard error."""

from __future__ import annotations

import numpy as np
import pandas as pd

MAIN = {
    "share": "share of surplus",
    "buys": "buys",
    "losing share": "losing buys",
    "error median": "price error, median",
    "coverage": "coverage of 80 %",
    "width": "width",
    "level": "level",
    "brier 30": "Brier 30",
    "chance bias 30": "chance bias 30",
    "profit bias": "profit bias at buys",
}
INTRO = """# Readers on simulated markets

Written by `python -m benchmarks.market --page`; do not edit. What the markets, readers and scores are stands in
benchmarks/market/README.md. Each figure is the mean over the seeds, with its standard error; the seeds are 1, 2, 3 and
so on, and a slow reader may have been given fewer of them.
"""


def table(found: pd.DataFrame) -> str:
    """Lay the main scores out as a Markdown table, one line a variant and reader."""
    lines = [
        f"| variant | reader | seeds | {' | '.join(MAIN.values())} |",
        f"| --- | --- | ---: |{' ---: |' * len(MAIN)}",
    ]
    for (variant, reader), part in found.groupby(["variant", "reader"], sort=False):
        cells = " | ".join(_cell(part, name) for name in MAIN)
        lines.append(f"| {variant} | {reader} | {part['seed'].nunique()} | {cells} |")
    return "\n".join(lines)


def full_table(found: pd.DataFrame) -> str:
    """Lay every score out, one line a score and one column a reader, variant by variant."""
    lines = []
    for variant, here in found.groupby("variant", sort=False):
        readers = list(dict.fromkeys(here["reader"]))
        lines += ["", f"## {variant}", "", f"| score | {' | '.join(readers)} |", f"| --- |{' ---: |' * len(readers)}"]
        for name in here.columns.drop(["variant", "seed", "reader"]):
            cells = " | ".join(_cell(here[here["reader"] == reader], name) for reader in readers)
            lines.append(f"| {name} | {cells} |")
    return "\n".join(lines)


def page(found: pd.DataFrame) -> str:
    """Return the whole page."""
    return f"{INTRO}\n{table(found)}\n{full_table(found)}\n"


def _cell(part: pd.DataFrame, name: str) -> str:
    if name not in part:
        return ""
    values = part[name].to_numpy(dtype=np.float64)
    values = values[np.isfinite(values)]
    if not len(values):
        return ""
    error = values.std(ddof=1) / np.sqrt(len(values)) if len(values) > 1 else float("nan")
    wide = abs(values.mean()) >= 10
    text = f"{values.mean():.1f}" if wide else f"{values.mean():.3f}"
    return text if np.isnan(error) else f"{text} ± {error:.1f}" if wide else f"{text} ± {error:.3f}"
