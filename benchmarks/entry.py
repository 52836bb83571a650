"""What one more row costs at the keyboard, against `sqlite-utils insert` of one row and `typer --help`.

`python -m benchmarks entry` runs each command in a process of its own, in turn, and prints medians and ratios;
`--rounds N` sets how often (default 15). Limits: `add cut` and `enter` at most 2 times `sqlite-utils insert`,
`--help` at most 1.5 times `typer --help`.
"""

from __future__ import annotations

import argparse
import datetime as dt
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from benchmarks.lines import Line, print_table
from burnlog.store.entry import add_row
from burnlog.store.entrysheet import ROW, STANDING
from burnlog.store.log import Log

__all__ = ["lines", "main", "measure"]

SESSION_ROWS = 40
LIMITS = {"add cut": 2.0, "enter, one row": 2.0, "enter, each further row": 2.0, "--help": 1.5}
_STANDS = dict.fromkeys(name for name in STANDING if name not in ("family", "rod_length"))


def _log(path: Path) -> None:
    with Log.create(path, by="bench", now=lambda: dt.datetime(2026, 5, 20, tzinfo=dt.UTC), made_up=True) as log:
        add_row(log, "job", {"job": "PIER7", "water": "salt", "units_profile": "us", "record_class": "production"})
        add_row(log, "person", {"person": "D3"})
        add_row(log, "rod_type", {"rod_type": "EX38", "family": "exothermic", "length": "18 in"})
        add_row(log, "line", {"job": "PIER7", "line": "L14", "thickness": "5/8 in"})
        add_row(log, "dive", {"job": "PIER7", "dive": "14", "dive_date": "2026-05-12", "diver": "D3"})
        add_row(log, "dive", {"job": "PIER7", "dive": "15", "dive_date": "2026-05-12", "diver": "D3"})
    # the first cut of dive 15, so that its head is not asked for box counts again
    _run([*_burnlog(path), "add", "cut", "L14", "--dive", "PIER7 15", "--rod-type", "EX38"])


def _burnlog(path: Path) -> list[str]:
    return [str(_beside("burnlog")), "--db", str(path)]


def _beside(name: str) -> Path:
    """A console script of this environment."""
    return Path(sys.executable).parent / name


def _run(words: list[str], typed: str = "") -> float:
    start = time.perf_counter()
    done = subprocess.run(words, input=typed, capture_output=True, text=True, check=False)
    taken = time.perf_counter() - start
    if done.returncode:
        raise RuntimeError(f"{' '.join(words)} ended with {done.returncode}: {done.stderr}")
    return taken


def _typed(rows: int) -> str:
    said = {"line": "L14", "thickness": "5/8", "new_length": "1 ft", "rods": "2", "outcome": "through"}
    row = [said.get(name, "") for name in ROW] + [""]
    return "\n".join([*[""] * len(_STANDS), *row * rows, "q", ""])


def measure(folder: Path, rounds: int) -> dict[str, list[float]]:
    """Wall times [s] of each command, taken in turn so that a busy machine hits all alike."""
    log, plain, record = folder / "log.db", folder / "plain.db", folder / "row.json"
    _log(log)
    record.write_text('{"line": "L14", "thickness_mm": 15.875, "rods": 7, "start": "0942"}', encoding="utf-8")
    burnlog = _burnlog(log)
    add = ["add", "cut", "L14", "--dive", "PIER7 14", "--new", "1 ft", "--rods", "2", "--rod-type", "EX38"]
    enter = [*burnlog, "enter", "--dive", "PIER7 15"]
    commands: dict[str, Callable[[], float]] = {
        "sqlite-utils insert": lambda: _run([str(_beside("sqlite-utils")), "insert", str(plain), "cut", str(record)]),
        "add cut": lambda: _run([*burnlog, *add]),
        "enter, one row": lambda: _run(enter, _typed(1)),
        "enter, many rows": lambda: _run(enter, _typed(1 + SESSION_ROWS)),
        "typer --help": lambda: _run([str(_beside("typer")), "--help"]),
        "--help": lambda: _run([*burnlog, "--help"]),
    }
    times: dict[str, list[float]] = {name: [] for name in commands}
    for number in range(rounds + 1):
        for name, command in commands.items():
            taken = command()
            if number:  # the first round only warms the file cache
                times[name].append(taken)
    return times


def lines(*, rounds: int = 15) -> Iterator[Line]:
    """Each command beside its peer, medians of processes of their own."""
    os.environ["OPENBLAS_NUM_THREADS"] = "1"
    with tempfile.TemporaryDirectory() as folder:
        times = measure(Path(folder), rounds)
    medians = {name: statistics.median(taken) for name, taken in times.items()}
    medians["enter, each further row"] = (medians["enter, many rows"] - medians["enter, one row"]) / SESSION_ROWS
    for name, limit in LIMITS.items():
        peer = "typer --help" if name == "--help" else "sqlite-utils insert"
        yield Line(name, peer, medians[name], medians[peer], medians[name] / medians[peer], f"<= {limit:g}")


def main(words: list[str]) -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks entry", description=__doc__)
    parser.add_argument("--rounds", type=int, default=15)
    rounds = parser.parse_args(words).rounds
    print(f"medians of {rounds} rounds, each command a process of its own\n")
    print_table(lines(rounds=rounds))
