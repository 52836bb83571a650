"""Kill whoever writes into a log at a random moment, and look at what is left.

Four writers: the log's own insert, `burnlog enter` typed at through a pipe, `burnlog import` of a sheet, and whoever
opens a log of an older schema and brings it up to date. What was acknowledged must be there, a row is whole or
absent, an import and an upgrade are whole or absent, and `verify` finds nothing.
"""

from __future__ import annotations

import csv
import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from collections import Counter
from contextlib import closing
from pathlib import Path

from benchmarks.broken import clock, content, made_log
from benchmarks.tomorrow import NAMES, tomorrow
from burnlog.store.backup import verify
from burnlog.store.log import Log
from burnlog.store.schema import VERSION

__all__ = ["kill_enter", "kill_import", "kill_insert", "kill_upgrade"]

ROOT = Path(__file__).parent.parent
INSERT = (
    "import sys; from benchmarks.broken import clock, write_rows; from burnlog.store.log import Log\n"
    "with Log.open(sys.argv[1], by='writer', now=clock) as log:\n"
    "    write_rows(log, int(sys.argv[2]), 400, told=True)"
)
UPGRADE = (
    "import sys; from benchmarks.broken import clock; from benchmarks.tomorrow import tomorrow\n"
    "from burnlog.store.log import Log\n"
    "import sqlite_utils, burnlog.store.backup\n"
    "with tomorrow():\n"
    "    print('begun', flush=True)\n"
    "    Log.open(sys.argv[1], by='writer', now=clock).close()\n"
    "    print('done', flush=True)"
)
ANSWERS = {
    "date (2026-05-12)": "2026-05-12",
    "diver": "D3",
    "setting": "open water",
    "line or piece": "L14",
    "thickness": "5/8 in",
    "rods": "7",
    "through? (yes, part, no)": "yes",
}
"""Prompt -> what is typed; Enter everywhere else."""
ROWS_OF_SHEET = 120
LONGEST_START_S = 60.0


def _surroundings(path: Path) -> dict[str, str]:
    return {**os.environ, "BURNLOG_DB": str(path), "BURNLOG_BY": "killed", "PYTHONPATH": str(ROOT)}


def _killed_after(process: subprocess.Popen[bytes], seconds: float) -> None:
    try:
        process.wait(seconds)
    except subprocess.TimeoutExpired:
        process.send_signal(signal.SIGKILL)
        process.wait()


def _look(path: Path, out: Counter[str]) -> list[int]:
    """Rows of the log; counts half rows and damage."""
    with Log.open(path, now=clock) as log:
        rows = log.rows(
            "SELECT c.row, count(t.id) AS tallies FROM cut c LEFT JOIN tally_cut tc ON tc.cut_id = c.id "
            "LEFT JOIN tally t ON t.id = tc.tally_id GROUP BY c.id ORDER BY c.row"
        )
    out["half rows"] += sum(row["tallies"] != 1 for row in rows)
    out["damaged"] += not verify(path, now=clock).whole
    return [row["row"] for row in rows]


def kill_insert(folder: Path, times: int, seed: int = 1) -> Counter[str]:
    """Kill a process that inserts row after row into one log, again and again; it goes on where it was killed."""
    rng = random.Random(seed)
    path = made_log(folder / "insert.db")
    out: Counter[str] = Counter()
    there: list[int] = []
    for _ in range(times):
        process = subprocess.Popen(
            [sys.executable, "-c", INSERT, str(path), str(len(there) + 1)],
            stdout=subprocess.PIPE,
            cwd=ROOT,
        )
        assert process.stdout is not None
        first = process.stdout.readline()  # it has begun
        time.sleep(rng.uniform(0.0, 0.25))
        process.send_signal(signal.SIGKILL)
        told = [int(line) for line in (first + process.stdout.read()).split()]
        process.wait()
        process.stdout.close()
        there = _look(path, out)
        out["kills"] += 1
        out["acknowledged"] += len(told)
        out["lost"] += len(set(told) - set(there))
        if len(there) > 500:
            path = made_log(path.with_name(f"insert-{out['kills']}.db"))
            there = []
    return out


def kill_enter(folder: Path, times: int, seed: int = 1) -> Counter[str]:
    """Type rows at the prompt and kill it at a random moment; then go on in the same dive."""
    rng = random.Random(seed)
    path = made_log(folder / "enter.db")
    out: Counter[str] = Counter()
    dive, before = 1, 0
    for _ in range(times):
        process = subprocess.Popen(
            [sys.executable, "-m", "burnlog", "enter", "--dive", f"PIER7 {dive}"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            cwd=folder,
            env=_surroundings(path),
        )
        said = _type(process, rng.uniform(0.0, 1.6))
        told = said.count("saved: cut ")
        out["kills"] += 1
        out["acknowledged"] += told
        with Log.open(path, now=clock) as log:
            headless = not log.rows("SELECT 1 FROM dive WHERE dive_no = ?", (dive,))
            number = len(
                log.rows("SELECT c.id FROM cut c JOIN dive d ON d.id = c.dive_id WHERE d.dive_no = ?", (dive,))
            )
        out["lost"] += max(0, before + told - number) + (headless and "the head of dive" in said)
        before = number
        _look(path, out)
        if number > 8:
            dive, before = dive + 1, 0
    return out


def _type(process: subprocess.Popen[bytes], seconds: float) -> str:
    """Answer every prompt until so long after the first, then kill; returns what was said by then."""
    assert process.stdin is not None
    assert process.stdout is not None
    assert process.stderr is not None
    os.set_blocking(process.stdout.fileno(), False)
    end = time.monotonic() + LONGEST_START_S
    text, answered = "", 0
    try:
        while time.monotonic() < end and process.poll() is None:
            text += (process.stdout.read() or b"").decode()
            if len(text) > answered and text.endswith(": "):
                label = text[:-2].rsplit("\n", 1)[-1].rsplit(": ", 1)[-1]  # a pipe echoes no line ends
                end = end if answered else time.monotonic() + seconds
                answered = len(text)
                process.stdin.write(f"{ANSWERS.get(label, '')}\n".encode())
                process.stdin.flush()
            time.sleep(0.0005)
    except BrokenPipeError:
        pass
    process.send_signal(signal.SIGKILL)
    process.wait()
    text += (process.stdout.read() or b"").decode()
    errors = process.stderr.read().decode()
    for pipe in (process.stdin, process.stdout, process.stderr):
        pipe.close()
    if errors:
        raise RuntimeError(f"enter ended by itself: {errors}")
    return text


def kill_import(folder: Path, times: int, seed: int = 1) -> Counter[str]:
    """Kill the import of a sheet at a random moment; afterwards the same command takes the sheet in, once."""
    rng = random.Random(seed)
    sheet = folder / "sheet.csv"
    with sheet.open("w", newline="") as stream:
        writer = csv.writer(stream)
        writer.writerow(
            ["job", "dive", "row", "dive_date", "diver", "line", "thickness", "rods", "new_length", "outcome"]
        )
        for row in range(1, ROWS_OF_SHEET + 1):
            writer.writerow(["PIER7", 1, row, "2026-05-12", "D3", f"L{row}", "5/8 in", 7, "1'6\"", "through"])
    words = [sys.executable, "-m", "burnlog", "import", str(sheet)]
    path = made_log(folder / "whole.db")
    begun = time.monotonic()
    subprocess.run(words, cwd=folder, env=_surroundings(path), check=True, capture_output=True)
    usual = time.monotonic() - begun
    out: Counter[str] = Counter()
    for number in range(times):
        path = made_log(folder / f"import-{number}.db")
        process = subprocess.Popen(words, cwd=folder, env=_surroundings(path), stdout=subprocess.PIPE)
        assert process.stdout is not None
        _killed_after(process, rng.uniform(0.4, 1.1) * usual)
        acknowledged = process.returncode == 0
        process.stdout.close()
        there = len(_look(path, out))
        out["kills"] += process.returncode == -signal.SIGKILL
        out["runs"] += 1
        out["whole" if there == ROWS_OF_SHEET else "absent" if there == 0 else "partial"] += 1
        out["lost"] += acknowledged and there == 0
        subprocess.run(words, cwd=folder, env=_surroundings(path), check=True, capture_output=True)
        out["not once afterwards"] += len(_look(path, out)) != ROWS_OF_SHEET
        for left in folder.glob(f"import-{number}.db*"):
            left.unlink()
    return out


def kill_upgrade(folder: Path, times: int, seed: int = 1) -> Counter[str]:
    """Kill the first opening of an older log by a newer program; the log is the old one whole, or the new one."""
    rng = random.Random(seed)
    out: Counter[str] = Counter()
    older = made_log(folder / "older.db", cuts=400)
    with Log.open(older, now=clock, write=False) as log:
        before = content(log)
    path = folder / "upgrade.db"
    usual = 0.0
    for number in range(times + 1):
        for left in folder.glob("upgrade*"):
            left.unlink()
        shutil.copy(older, path)
        process = subprocess.Popen([sys.executable, "-c", UPGRADE, str(path)], stdout=subprocess.PIPE, cwd=ROOT)
        assert process.stdout is not None
        process.stdout.readline()  # it has begun
        begun = time.monotonic()
        if number:  # the first one shows how long it takes
            time.sleep(rng.uniform(0.0, 1.1) * usual)
            process.send_signal(signal.SIGKILL)
        done = b"done" in process.stdout.read()
        process.wait()
        process.stdout.close()
        usual = usual or time.monotonic() - begun
        out["kills"] += process.returncode == -signal.SIGKILL
        with closing(sqlite3.connect(path)) as connection:
            schema = connection.execute("PRAGMA user_version").fetchone()[0]
        out["old" if schema == VERSION else "new"] += 1
        out["lost"] += done and schema == VERSION
        with tomorrow(1 if schema == VERSION else len(NAMES)), Log.open(path, now=clock, write=False) as log:
            out["damaged"] += not verify(path, now=clock).whole
            found = content(log)
            out["changed"] += any(
                {**there, "valve_ref": None} != {**row, "valve_ref": None}
                for table, rows in before.items()
                for there, row in zip(rows, found[table], strict=True)
            )
            if schema != VERSION:
                out["half rows"] += log.rows("SELECT count(*) AS n FROM kerf")[0]["n"] != len(before["cut"])
    return out
