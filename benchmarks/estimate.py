"""How long a bid of 50 items on 5,000 counts takes: the first time, with the fit read back, and its parts.

`python -m benchmarks estimate [--rounds N]` writes an invented log of about 5,000 used counts and a take-off of 50
items, and runs `burnlog estimate draft` with 10,000 draws in processes of their own, in turn with
`python -c "import pandas, scipy.stats"`. Asked: the first run at most 10 s; with the fit read back at most 2.5 times
those imports; the simulation at most half the integrated fit it rests on.
"""

from __future__ import annotations

import argparse
import csv
import datetime as dt
import random
import resource
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import closing
from pathlib import Path

import numpy as np

from benchmarks.big_log import write_log
from benchmarks.lines import Line, print_table
from burnlog.analyses.basis import Basis, basis_of
from burnlog.analyses.kept_fit import fitted_as_text, read_back
from burnlog.analyses.rate_fit import RateFit, Settings
from burnlog.analyses.takeoff import COLUMNS
from burnlog.library.bids import read_takeoff_file
from burnlog.store.frames import load_frames
from burnlog.store.log import Log

__all__ = ["lines", "main"]

JOBS, LINES, ITEMS, DRAWS = 60, (60, 110), 50, 10_000
FIRST_S, OF_IMPORTS, OF_FIT = 10.0, 2.5, 0.5
IMPORTS = "import pandas, scipy.stats"
STEEL = ("8 mm", "9.5 mm", "1/2 in", "5/8 in", "3/4 in", "1 in")


def lines(*, rounds: int = 3) -> Iterator[Line]:
    """The first run, the run with the fit read back, and the simulation beside its fit; medians by the clock."""
    with tempfile.TemporaryDirectory() as folder:
        log, takeoff = Path(folder) / "log.db", Path(folder) / "takeoff.csv"
        write_log(log, jobs=JOBS, lines=LINES, seed=4)
        pieces = _write_takeoff(takeoff)
        bid = [
            *(str(Path(sys.executable).parent / "burnlog"), "--db", str(log), "estimate", "draft", str(takeoff)),
            *("--bottom-time", "40min", "--start-up", "15min", "--draws", str(DRAWS)),
        ]
        imports = [sys.executable, "-c", IMPORTS]
        first, warm, base = [], [], []
        for _ in range(rounds):
            _forget_fits(log)
            first.append(_run(bid))
            base.append(_run(imports))
            warm.append(_run(bid))
        counts, fit, simulation = _parts(log, takeoff, rounds)
    took = _wall(first)
    what = f"bid of {ITEMS} items ({pieces} pieces) on {counts:,} counts"
    yield Line(f"{what}, first run", "", took, None, took, f"<= {FIRST_S:g}", " s")
    read, alone = _wall(warm), _wall(base)
    yield Line(f"{what}, fit read back", f"`{IMPORTS}`", read, alone, read / alone, f"<= {OF_IMPORTS:g}")
    drawn, fitted = _wall(simulation), _wall(fit)
    yield Line(f"its simulation, {DRAWS:,} draws", "its fit", drawn, fitted, drawn / fitted, f"<= {OF_FIT:g}")


def main(words: Sequence[str] = ()) -> None:
    """Print the three figures, medians of the rounds."""
    asked = argparse.ArgumentParser(prog="python -m benchmarks estimate", description=__doc__.split("\n")[0])
    asked.add_argument("--rounds", type=int, default=3)
    print_table(lines(rounds=asked.parse_args(list(words)).rounds))


Times = list[tuple[float, float]]


def _wall(times: Times) -> float:
    """Median wall time [s]."""
    return statistics.median(wall for wall, _ in times)


def _run(command: list[str]) -> tuple[float, float]:
    """Wall and processor time of a command [s]."""
    before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    took, after = time.perf_counter() - start, resource.getrusage(resource.RUSAGE_CHILDREN)
    if done.returncode:
        raise RuntimeError(f"{command[0]} ended with {done.returncode}: {done.stderr}")
    return took, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def _forget_fits(log: Path) -> None:
    """Take the kept fits out of the file, which it allows nobody: the trigger goes first."""
    with closing(sqlite3.connect(log, isolation_level=None)) as connection:
        trigger = "SELECT sql FROM sqlite_master WHERE name = 'fit_run_kept'"
        kept = connection.execute(trigger).fetchone()[0]
        connection.executescript(f"DROP TRIGGER fit_run_kept; DELETE FROM fit_run; {kept};")


def _write_takeoff(path: Path) -> int:
    """Fifty items of 1 to 8 plates, some conditions left blank; returns the pieces."""
    luck = random.Random(5)
    with path.open("w", encoding="utf-8", newline="") as file:
        sheet = csv.DictWriter(file, COLUMNS, restval="")
        sheet.writeheader()
        quantities = [luck.randint(1, 8) for _ in range(ITEMS)]
        for number, quantity in enumerate(quantities, 1):
            sheet.writerow(
                {
                    "item": f"item {number}",
                    "quantity": quantity,
                    "section": "plate",
                    "thickness": luck.choice(STEEL),
                    "length_each": f"{luck.uniform(0.4, 2.5):.2f} m",
                    "position": luck.choice(["flat", "horizontal", "round a pipe", ""]),
                    "visibility": luck.choice(["by feel", "1-3 ft", ""]),
                    "rod_type": "EXO",
                }
            )
    return sum(quantities)


def _parts(log: Path, takeoff: Path, rounds: int) -> tuple[int, Times, Times]:
    """Counts used, and the times of the fit and of the simulation on it, in this process."""
    with Log.open(log, now=lambda: dt.datetime.now(dt.UTC), write=False) as record:
        basis = basis_of(load_frames(record))
    families = {code: row.get("family") for code, row in basis.rod_types.items()}
    lines = read_takeoff_file(takeoff, (), families).lines()
    fits, draws = [], []
    for _ in range(rounds):
        fit, taken = _fit(basis)
        fits.append(taken)
        start, cpu = time.perf_counter(), time.process_time()
        fit.simulate(lines, rng=np.random.default_rng(1), draws=DRAWS)
        draws.append((time.perf_counter() - start, time.process_time() - cpu))
    return len(basis.tallyset.tallies), fits, draws


def _fit(basis: Basis) -> tuple[RateFit, tuple[float, float]]:
    start, cpu = time.perf_counter(), time.process_time()
    text = fitted_as_text(basis.tallyset, Settings())
    took = time.perf_counter() - start, time.process_time() - cpu
    return read_back(text, basis.tallyset, Settings()), took
