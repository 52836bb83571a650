"""Twenty thousand bad cells and two thousand spoiled files: what import makes of them.

`python -m benchmarks mangled` puts each bad cell into a row of its own, reads it by itself, and imports the rows with
--keep-good; then it spoils cut sheets, readings and master files in thirty ways and imports each through the command.
`--cells` and `--files` set how many, `--seed` which. It fails where a promise is broken: no traceback, nothing
imported in part, an exit code the way of spoiling allows, nothing slow, no memory filled, a log that is whole after.
"""

from __future__ import annotations

import argparse
import csv
import io
import math
import random
import resource
import shutil
import sys
import tempfile
import time
from collections import Counter
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path
from unittest.mock import patch

from benchmarks.broken import clock
from benchmarks.mangling import GOOD, WAYS, bad_cell, good_rows
from burnlog.cli.app import main as burnlog
from burnlog.errors import BurnlogError
from burnlog.store.backup import verify
from burnlog.store.cells import Cell
from burnlog.store.cutsheet import COLUMNS, cell_reader
from burnlog.store.exchange import import_file
from burnlog.store.log import Log
from burnlog.store.tables import NUMBERED, TABLES

__all__ = ["bad_cells", "command", "main", "spoiled_files"]

_TABLES = {column.name: {"box": "tally"}.get(column.part, column.part) for column in COLUMNS}
KINDS = ("cut sheet", "cut sheet", "readings", "rod types")
ROWS_OF_FILE = 50
SLOW_S = 30.0
"""More than any of these files may take."""
MOST_MB = 600.0

CELLS_ZERO = ("read wrong", "traceback", "imported in part", "lost", "damaged")
FILES_ZERO = ("traceback", "imported in part", "wrong exit code", "slow", "no words", "damaged")


def _rows(path: Path) -> dict[str, int]:
    with Log.open(path, now=clock, write=False) as log:
        return {table.name: log.rows(f"SELECT count(*) AS n FROM {table.name}")[0]["n"] for table in TABLES}


def _told(out: Counter[str], what: str, example: object) -> None:
    """Count a broken promise, and show the first few."""
    out[what] += 1
    if out[what] <= 5:
        print(f"  {what}: {example!r:.300}", file=sys.stderr)


def _check_reading(name: str, text: str, out: Counter[str]) -> None:
    """One cell by itself: a value its column can hold, or words."""
    reader = cell_reader(name)
    try:
        cell = reader.read(text, "salt")
    except Exception as error:
        _told(out, "traceback", (name, text, error))
        return
    if not isinstance(cell, Cell):
        out["refused"] += 1
        if not cell.strip():
            _told(out, "read wrong", (name, text, cell))
        return
    out["read"] += 1
    value = cell.value
    if isinstance(value, float) and not math.isfinite(value):
        _told(out, "read wrong", (name, text, value))
    for field in NUMBERED[_TABLES[name]].fields:
        if field.name == reader.rule.column and not field.shape and value is not None and field.problem(value):
            _told(out, "read wrong", (name, text, value, field.problem(value)))


def bad_cells(folder: Path, count: int, seed: int) -> Counter[str]:
    """Bad cells, each in a row of its own dive, read and imported."""
    rng = random.Random(seed)
    out: Counter[str] = Counter(cells=count)
    names = sorted(GOOD)
    empty = folder / "empty.db"
    Log.create(empty, by="bench", now=clock).close()
    head = ["job", "dive", *names]
    for begin in range(0, count, ROWS_OF_FILE):
        rows = []
        for number in range(begin, min(begin + ROWS_OF_FILE, count)):
            name = rng.choice(names)
            text = bad_cell(rng, name)
            _check_reading(name, text, out)
            row = {**GOOD, "sheet": f"S{number}", name: text}
            rows.append([f"P{number}", "1", *(row[column] for column in names)])
        sheet, path, rest = folder / "sheet.csv", folder / "log.db", folder / "rest.csv"
        with sheet.open("w", encoding="utf-8", newline="") as stream:
            csv.writer(stream).writerows([head, *rows])
        shutil.copy(empty, path)
        _import_cells(path, sheet, rest, len(rows), out)
    return out


def _import_cells(path: Path, sheet: Path, rest: Path, rows: int, out: Counter[str]) -> None:
    with Log.open(path, by="bench", now=clock) as log:
        log.connection.execute("PRAGMA synchronous = OFF")
        before = log.connection.total_changes
        try:
            import_file(log, sheet)
            out["files whole"] += 1
        except BurnlogError:
            if log.connection.total_changes != before and log.rows("SELECT count(*) AS n FROM job")[0]["n"]:
                _told(out, "imported in part", sheet.read_text(encoding="utf-8"))
        except Exception as error:
            _told(out, "traceback", (error, sheet.read_text(encoding="utf-8")))
        else:
            return
        try:
            report = import_file(log, sheet, keep_good=rest)
        except BurnlogError:
            out["files not to be parted"] += 1  # broken as CSV: no row of it can be told from the next
        except Exception as error:
            _told(out, "traceback", (error, sheet.read_text(encoding="utf-8")))
        else:
            taken = log.rows("SELECT count(*) AS n FROM cut")[0]["n"]
            out["rows taken"] += taken
            out["rows held back"] += report.held
            if taken + report.held != rows or taken != report.added.get("cut", 0):
                _told(out, "lost", (taken, report.held, rows, sheet.read_text(encoding="utf-8")))
        rest.unlink(missing_ok=True)
    if not verify(path, now=clock).whole:
        _told(out, "damaged", sheet.read_text(encoding="utf-8"))


def spoiled_files(folder: Path, count: int, seed: int) -> Counter[str]:
    """Files spoiled in every way in turn, each imported through the command."""
    out: Counter[str] = Counter(files=count)
    empty, path = folder / "empty.db", folder / "log.db"
    with Log.create(empty, by="bench", now=clock) as log, log.transaction():
        log.insert("job", {"code": "P1", "water": "salt"})
    nothing = _rows(empty)
    ways = list(WAYS.items())
    for number in range(count):
        rng = random.Random(f"{seed} {number}")
        name, (ending, way, codes) = ways[number % len(ways)]
        kind = rng.choice(KINDS)
        if name == "rows twice":
            kind = "cut sheet"
        rows = good_rows(rng, rng.randint(2, 12), kind)
        file = folder / f"spoiled.{ending}"
        file.write_bytes(way(rng, rows))
        shutil.copy(empty, path)
        example = (number, name, kind)
        begun = time.monotonic()
        code, said = command(["burnlog", "--db", str(path), "--by", "bench", "import", str(file)])
        taken = time.monotonic() - begun
        out[f"exit {code}"] += 1
        if code == 1 or "Traceback" in said or "Warning" in said:
            _told(out, "traceback", (*example, said))
        elif code not in codes:
            _told(out, "wrong exit code", (*example, code, said))
        if code and not said.startswith("burnlog: "):
            _told(out, "no words", (*example, said))
        if code and _rows(path) != nothing:
            _told(out, "imported in part", (*example, said))
        if taken > SLOW_S:
            _told(out, "slow", (*example, taken))
        if number % 20 == 0 and not verify(path, now=clock).whole:
            _told(out, "damaged", example)
        for companion in ("-wal", "-shm"):
            path.with_name(path.name + companion).unlink(missing_ok=True)
    return out


def command(words: list[str]) -> tuple[int, str]:
    """Exit code of a command and what it said on stderr."""
    stderr = io.StringIO()
    with patch.object(sys, "argv", words), redirect_stdout(io.StringIO()), redirect_stderr(stderr):
        try:
            burnlog()
            code = 0
        except SystemExit as end:
            code = int(end.code or 0)
    return code, stderr.getvalue()


def main(words: list[str]) -> None:
    """Run both and print what they counted."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks mangled")
    parser.add_argument("--cells", type=int, default=20_000)
    parser.add_argument("--files", type=int, default=2_000)
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args(words)
    failed = []
    for run, count, zero in (
        (bad_cells, chosen.cells, CELLS_ZERO),
        (spoiled_files, chosen.files, FILES_ZERO),
    ):
        begun = time.monotonic()
        with tempfile.TemporaryDirectory() as folder:
            found = run(Path(folder), count, chosen.seed)
        told = ", ".join(f"{what} {found[what]}" for what in dict.fromkeys([*sorted(found), *zero]))
        print(f"{run.__name__.replace('_', ' ')}: {told}   ({time.monotonic() - begun:.0f} s)", flush=True)
        failed.extend(f"{what} {found[what]}" for what in zero if found[what])
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"peak memory {peak:.0f} MB")
    if peak > MOST_MB:
        failed.append(f"{peak:.0f} MB")
    if failed:
        sys.exit("broken promises: " + "; ".join(failed))
