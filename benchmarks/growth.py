"""How time grows with the record: the fit and the import from 1,000 to 1,000,000 rows, as a chart.

`python -m benchmarks growth [--largest N] [--out FILE]` fits and imports files of 1,000, 10,000, 100,000 and
1,000,000 rows and draws both on logarithmic axes, with a line of slope 1 to hold them against.
"""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from benchmarks.crossed import draw
from benchmarks.fit import seconds
from benchmarks.imports import slope, take_in, write_sheet
from burnlog.charts.theme import DASHES, SHAPES, svg, themed
from burnlog.stats.mixed import fit_mixed

__all__ = ["chart", "main", "measured"]

SIZES = (1_000, 10_000, 100_000, 1_000_000)
HERE = Path(__file__).parent
Row = dict[str, float | str]


def measured(sizes: Sequence[int]) -> list[Row]:
    """Processor seconds of a fit and of an import of each size."""
    rows: list[Row] = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for n in sizes:
            data = draw("growth", n, max(n // 333, 20), max(int(n**0.5 / 2), 8), 8)
            few = 3 if n >= 100_000 else 9
            taken = float(np.median(seconds(lambda data=data: fit_mixed(data.y, data.X, data.groups), runs=few)))
            rows.append({"rows": n, "seconds": taken, "what": "mixed-model fit"})
            taken = take_in(folder, write_sheet(folder / "sheet.csv", n)).cpu
            rows.append({"rows": n, "seconds": taken, "what": "import of a cut sheet"})
    return rows


def chart(rows: Sequence[Row]) -> object:
    """Both growths on logarithmic axes."""
    import altair as alt
    import pandas as pd

    frame = pd.DataFrame(rows)
    parts, words = [], []
    for what, part in frame.groupby("what"):
        exponent = slope(list(part["rows"]), list(part["seconds"]))
        words.append(f"{what}: rows to the power {exponent:.2f}")
        parts.append(part.assign(what=words[-1]))
    log = alt.Scale(type="log")
    base = alt.Chart(pd.concat(parts)).encode(
        x=alt.X("rows:Q", scale=log, title="rows", axis=alt.Axis(format="~s", values=list(SIZES))),
        y=alt.Y("seconds:Q", scale=log, title="processor seconds"),
        strokeDash=alt.StrokeDash("what:N", scale=alt.Scale(range=[list(dash) for dash in DASHES[:2]]), title=None),
        shape=alt.Shape("what:N", scale=alt.Scale(range=list(SHAPES[:2])), legend=None),
    )
    marks = base.mark_line(color="#111111") + base.mark_point(color="#111111", filled=True, size=80)
    return themed(marks, height=320, description="; ".join(words))


def main(words: Sequence[str] = ()) -> None:
    """Measure, print and draw."""
    asked = argparse.ArgumentParser(prog="python -m benchmarks growth", description=(__doc__ or "").split("\n")[0])
    asked.add_argument("--largest", type=int, default=SIZES[-1])
    asked.add_argument("--out", type=Path, default=HERE / "results" / "growth.svg")
    options = asked.parse_args(list(words))
    rows = measured([n for n in SIZES if n <= options.largest])
    print("| rows | what | processor, s |\n|---|---|---|")
    for row in rows:
        print(f"| {row['rows']:,} | {row['what']} | {row['seconds']:.3f} |")
    options.out.write_text(svg(chart(rows)), encoding="utf-8")
    print(f"\n{options.out.name}: written.")
