"""How long the page of a bid takes, beside one altair chart written as a page of its own.

`python -m benchmarks page [--rounds N]` makes the demonstration, issues its bid, and runs `burnlog report estimate`
in a process of its own, in turn with one that draws a bar chart and saves it as HTML with the scripts inside.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path

import burnlog
from benchmarks.imports import run
from benchmarks.lines import Line, print_table

__all__ = ["lines", "main"]

LIMIT, MOST_MB = 3.0, 3.0
ONE_CHART = """
import sys
import altair, pandas
frame = pandas.DataFrame({"job": list("abcdefgh"), "rods": range(8)})
altair.Chart(frame).mark_bar().encode(x="rods", y="job").save(sys.argv[1], inline=True)
"""


def lines(*, rounds: int = 3) -> Iterator[Line]:
    """Time of the page, and its size."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        burnlog.make_demo(folder).close()
        command = [str(Path(sys.executable).parent / "burnlog"), "--db", str(folder / "demo.db")]
        run([*command, "estimate", "issue", "E1", str(folder / "takeoff.csv"), "--bottom-time", "40min"])
        page, chart = folder / "E1.html", folder / "chart.html"
        ours, theirs = [], []
        for _ in range(rounds):
            ours.append(run([*command, "report", "estimate", "E1", "--out", str(page)]).seconds)
            theirs.append(run([sys.executable, "-c", ONE_CHART, str(chart)]).seconds)
            size = page.stat().st_size / 1e6
            page.unlink()
    mine, peer = statistics.median(ours), statistics.median(theirs)
    yield Line("page of a bid", "one altair chart as a page", mine, peer, mine / peer, f"<= {LIMIT:g}")
    yield Line("page of a bid, size", "", None, None, size, f"<= {MOST_MB:g}", " MB")


def main(words: Sequence[str] = ()) -> None:
    """Measure and print."""
    asked = argparse.ArgumentParser(prog="python -m benchmarks page", description=(__doc__ or "").split("\n")[0])
    asked.add_argument("--rounds", type=int, default=3)
    print_table(lines(rounds=asked.parse_args(list(words)).rounds))
