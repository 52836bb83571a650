"""What a whole file costs on its way in, against `sqlite-utils insert --csv`, and how that grows with the file.

`python -m benchmarks imports` writes cut sheets of invented rows, each row checked as a person's would be, and takes
every one into an empty log and, by `sqlite-utils insert --csv`, into an empty database, each in a process of its own.
It prints wall and processor time and peak resident memory of both, and the slope of processor time over rows (least
squares on logarithms), whole and with the start of the program taken off. `--rows 10000 100000 1000000` sets the
sizes, `--rounds` how often each of up to 100,000 rows is taken (the fastest counts); beyond that the peer is left
out. Limits: 4 times the peer's wall time and 500 MB at 100,000 rows, slope 1.05.
"""

from __future__ import annotations

import argparse
import csv
import json
import math
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

from benchmarks.broken import clock
from benchmarks.lines import Line, print_table
from burnlog.store.log import Log

__all__ = ["Run", "lines", "main", "run", "slope", "write_sheet"]

COLUMNS = (
    "job", "dive", "row", "sheet", "record_class", "setting", "water", "dive_date", "diver", "crew", "rig", "depth",
    "visibility", "line", "material", "thickness", "position", "planned_length", "rod_type", "family", "rod_length",
    "rods", "pass", "new_length", "start", "stop", "restarts", "hangers", "regulator_static", "regulator_flowing",
    "edge", "outcome", "defects", "remark",
)  # fmt: skip
ROWS_OF_DIVE = 8
DIVES_OF_JOB = 25
ROWS_OF_LINE = 2
LARGEST_REPEATED = 100_000
MOST_TIMES, MOST_MB, STEEPEST, JUDGED_AT = 4.0, 500.0, 1.05, 100_000


class Run(NamedTuple):
    """Wall and processor time [s] and peak resident memory [MB] of one process."""

    seconds: float
    cpu: float
    peak_mb: float


def _rows(count: int) -> Iterator[tuple[str, ...]]:
    """Rows of a busy contractor's sheets: jobs of 200 cuts, lines cut in two, dives of eight rows."""
    for number in range(count):
        dive_of_all, row = divmod(number, ROWS_OF_DIVE)
        job, dive = divmod(dive_of_all, DIVES_OF_JOB)
        line = (number % (ROWS_OF_DIVE * DIVES_OF_JOB)) // ROWS_OF_LINE
        first = row == 0
        minute = 8 * 60 + 25 * row + dive % 7
        rods = 3 + (number * 7) % 9
        yield (
            f"J{job}",
            str(dive + 1),
            str(row + 1),
            f"S{dive_of_all + 1}" if first else "",
            "production" if first else "",
            "open water" if first else "",
            "salt" if first else "",
            f"{2015 + job % 10}-{1 + dive % 12:02d}-{1 + (job + dive) % 28:02d}" if first else "",
            f"D{dive % 6 + 1}" if first else "",
            f"C{job % 4 + 1}" if first else "",
            f"RIG{job % 3 + 1}" if first else "",
            f"{20 + dive % 60} ft" if first else "",
            "1-3 ft" if first else "",
            f"L{line + 1}",
            "carbon steel",
            ("3/8 in", "1/2 in", "5/8 in", "3/4 in")[line % 4],
            ("flat", "horizontal", "vertical down", "overhead")[number % 4],
            "6 ft",
            "EX38",
            "exothermic",
            "18 in",
            f"{rods} + {4 + number % 5}in" if number % 3 == 0 else str(rods),
            "first",
            f"{1 + (number * 5) % 2} ft {(number * 3) % 12} in",
            f"{minute // 60:02d}{minute % 60:02d}",
            f"{(minute + 9 + number % 11) // 60:02d}{(minute + 9 + number % 11) % 60:02d}",
            str(number % 3),
            "1" if number % 10 == 0 else "0",
            f"{100 + number % 5} psi",
            f"{92 + number % 7} psi",
            ("clean", "rough", "ragged")[number % 3],
            "through" if number % 2 else "part way",
            "clogged kerf; rod stuck x2" if number % 20 == 0 else "",
            f"row {number} as written" if number % 4 == 0 else "",
        )


def write_sheet(path: Path, rows: int) -> Path:
    """A cut sheet of so many rows that import takes as they are."""
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream)
        writer.writerow(COLUMNS)
        writer.writerows(_rows(rows))
    return path


_STARTER = """
import json, os, sys, time
begun = time.perf_counter()
child = os.fork()
if not child:
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    os.execv(sys.argv[1], sys.argv[1:])
_, status, usage = os.wait4(child, 0)
seconds = time.perf_counter() - begun
print(json.dumps([status, seconds, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024]))
"""
"""Starts a program from a small process: the kernel counts what the parent held before `exec` as the child's peak."""


def run(words: list[str]) -> Run:
    """Run a program to its end, with its times and the peak of its own memory as the kernel counted them."""
    done = subprocess.run([sys.executable, "-IS", "-c", _STARTER, *words], capture_output=True, text=True, check=True)
    status, *found = json.loads(done.stdout)
    if status:
        raise RuntimeError(f"{' '.join(words)} ended with {os.waitstatus_to_exitcode(status)}: {done.stderr[-2000:]}")
    return Run(*found)


def _beside(name: str) -> str:
    return str(Path(sys.executable).parent / name)


def take_in(folder: Path, sheet: Path) -> Run:
    """`burnlog import` into an empty log."""
    path = folder / "log.db"
    Log.create(path, by="bench", now=clock).close()
    try:
        return run([_beside("burnlog"), "--db", str(path), "import", str(sheet)])
    finally:
        _forget(path)


def put_in(folder: Path, sheet: Path) -> Run:
    """`sqlite-utils insert --csv` into an empty database: every cell as text, nothing checked."""
    path = folder / "plain.db"
    try:
        return run([_beside("sqlite-utils"), "insert", str(path), "cut", str(sheet), "--csv", "--silent"])
    finally:
        _forget(path)


def _forget(path: Path) -> None:
    for name in (path.name, f"{path.name}-wal", f"{path.name}-shm"):
        path.with_name(name).unlink(missing_ok=True)


def slope(sizes: Sequence[int], seconds: Sequence[float]) -> float:
    """Exponent of growth: least squares of log time on log rows.

    >>> round(slope([10, 100, 1000], [1.0, 10.0, 100.0]), 9)
    1.0
    """
    x, y = [math.log(size) for size in sizes], [math.log(taken) for taken in seconds]
    mx, my = sum(x) / len(x), sum(y) / len(y)
    return sum((a - mx) * (b - my) for a, b in zip(x, y, strict=True)) / sum((a - mx) ** 2 for a in x)


def lines(*, rows: Sequence[int] = (10_000, 100_000, 1_000_000), rounds: int = 3) -> Iterator[Line]:
    """Time and memory of each size beside the peer, then the slopes."""
    os.environ["OPENBLAS_NUM_THREADS"] = "1"
    cpu: list[float] = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        start = min(take_in(folder, write_sheet(folder / "sheet.csv", 1)).cpu for _ in range(rounds))
        for count in rows:
            sheet = write_sheet(folder / "sheet.csv", count)
            judged = count == JUDGED_AT
            ours, peers = [], []
            for _ in range(rounds if count <= LARGEST_REPEATED else 1):
                ours.append(take_in(folder, sheet))
                if count <= LARGEST_REPEATED:
                    peers.append(put_in(folder, sheet))
            seconds, peak = min(one.seconds for one in ours), max(one.peak_mb for one in ours)
            cpu.append(min(one.cpu for one in ours))
            what = f"import of {count:,} rows"
            if peers:
                theirs = min(one.seconds for one in peers)
                limit = f"<= {MOST_TIMES:g}" if judged else ""
                yield Line(what, "sqlite-utils insert --csv", seconds, theirs, seconds / theirs, limit)
            else:
                yield Line(what, "", seconds, None, seconds / count * 1e6, "", " us a row")
            yield Line(f"{what}, memory", "", None, None, peak, f"<= {MOST_MB:g}" if judged else "", " MB")
    if len(cpu) > 1:
        over = f"{rows[0]:,} to {rows[-1]:,} rows"
        yield Line(f"import, slope in rows, {over}", "", None, None, slope(rows, cpu), f"<= {STEEPEST:g}", "")
        if min(cpu) > start:
            apart = slope(rows, [taken - start for taken in cpu])
            yield Line(f"the same without {start:.2f} s for one row", "", None, None, apart, "", "")


def main(words: list[str]) -> None:
    """Measure and print; ends with 1 where a limit is missed."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks imports")
    parser.add_argument("--rows", type=int, nargs="+", default=[10_000, 100_000, 1_000_000])
    parser.add_argument("--rounds", type=int, default=3)
    chosen = parser.parse_args(words)
    print("each file into an empty database, each program a process of its own; the fastest round counts\n")
    measured = print_table(lines(rows=chosen.rows, rounds=chosen.rounds))
    if any(line.met is False for line in measured):
        sys.exit(1)
