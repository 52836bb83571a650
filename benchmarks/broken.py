"""What becomes of a log when writers crowd, the disk fills, permissions go, the clock jumps or bytes flip."""

from __future__ import annotations

import datetime as dt
import random
import subprocess
import sys
import tempfile
from collections import Counter
from pathlib import Path
from typing import Any

from burnlog.errors import FileError
from burnlog.store.backup import verify
from burnlog.store.log import Log, identity
from burnlog.store.tables import TABLES

__all__ = [
    "clock",
    "clock_set_back",
    "content",
    "crowd",
    "flips",
    "full_disk",
    "made_log",
    "read_only_midway",
    "write_rows",
]


def clock() -> dt.datetime:
    """A clock that stands still, so that two runs write the same."""
    return dt.datetime(2026, 5, 12, 18, 30, tzinfo=dt.UTC)


def made_log(path: Path, cuts: int = 0, dives: int = 1) -> Path:
    """A log of one job with one line and dives from 14 on, the first with some cuts and their counts."""
    with Log.create(path, by="scribe", now=clock) as log, log.transaction():
        job = log.insert("job", {"code": "PIER7", "water": "salt"}, id=identity("job", "PIER7"))
        diver = log.insert("person", {"code": "D3"}, id=identity("person", "D3"))
        log.insert("line", {"job_id": job, "code": "L14"}, id=identity("line", "PIER7", "L14"))
        for number in range(14, 14 + dives):
            dive = {"job_id": job, "dive_no": number, "dive_date": "2026-05-12", "diver_id": diver}
            log.insert("dive", dive, id=identity("dive", "PIER7", number))
        write_rows(log, 1, cuts)
    return path


def write_rows(log: Log, first: int, count: int, *, dive_no: int = 14, told: bool = False) -> None:
    """Cuts of a dive, each with its count in one transaction; with `told` each is acknowledged on stdout."""
    job, dive, line = identity("job", "PIER7"), identity("dive", "PIER7", dive_no), identity("line", "PIER7", "L14")
    for row in range(first, first + count):
        cut, tally = identity("cut", "PIER7", dive_no, row), identity("tally", "PIER7", dive_no, row)
        with log.transaction():
            values = {"dive_id": dive, "line_id": line, "row": row, "pass_kind": "first", "outcome": "through"}
            measured = {"thickness_mm": 15.875, "new_length_mm": 457.2, "remark": f"row {row} as the diver told it"}
            typed = {"thickness_mm": ("5/8 in", "measured"), "new_length_mm": ("1'6\"", "measured")}
            log.insert("cut", {**values, **measured}, typed=typed, id=cut)
            rods = {"job_id": job, "dive_id": dive, "scope": "cut", "rods": 7.0, "rods_basis": "measured"}
            log.insert("tally", rods, typed={"rods": ("7", "measured")}, id=tally)
            log.insert("tally_cut", {"tally_id": tally, "cut_id": cut}, id=identity("tally_cut", tally, cut))
        if told:
            print(row, flush=True)


def content(log: Log) -> dict[str, list[dict[str, Any]]]:
    """Every row of every table."""
    return {table.name: log.rows(f"SELECT * FROM {table.name} ORDER BY no") for table in TABLES}


def crowd(folder: Path, writers: int, rows: int) -> dict[str, int]:
    """Several processes write at once; returns rows asked for, acknowledged, there, and numbers given twice."""
    path = made_log(folder / f"crowd-{writers}.db", dives=writers)
    code = (
        "import sys; from benchmarks.broken import clock, write_rows; from burnlog.store.log import Log\n"
        "with Log.open(sys.argv[1], by=sys.argv[2], now=clock) as log:\n"
        "    write_rows(log, 1, int(sys.argv[3]), dive_no=int(sys.argv[2]), told=True)"
    )
    running = [
        subprocess.Popen(
            [sys.executable, "-c", code, str(path), str(14 + number), str(rows)],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            cwd=Path(__file__).parent.parent,
        )
        for number in range(writers)
    ]
    told = [process.communicate() for process in running]
    with Log.open(path, now=clock) as log:
        numbers = [row["no"] for row in log.rows("SELECT no FROM cut")]
    return {
        "asked": rows * writers,
        "acknowledged": sum(len(out.split()) for out, _ in told),
        "there": len(numbers),
        "numbers_twice": len(numbers) - len(set(numbers)),
        "errors": sum(bool(err.strip()) for _, err in told),
        "damage": len(verify(path, now=clock).problems),
    }


def full_disk(folder: Path, times: int, seed: int = 1) -> Counter[str]:
    """The file may not grow any more, at some moment of a batch; what was there before must stay as it was."""
    rng = random.Random(seed)
    out: Counter[str] = Counter()
    for number in range(times):
        path = made_log(folder / f"full-{number}.db", cuts=5)
        with Log.open(path, now=clock) as log:
            before = content(log)
            (pages,) = log.connection.execute("PRAGMA page_count").fetchone()
            log.connection.execute(f"PRAGMA max_page_count = {pages + rng.randrange(1, 40)}")
            try:
                with log.transaction():
                    write_rows(log, 100, 300)
                out["never full"] += 1
            except FileError as error:
                out["disk full, in words" if "disk is full" in str(error) else "other words"] += 1
            out["kept"] += content(log) == before
        out["whole"] += verify(path, now=clock).whole
        path.unlink()
    return out


def clock_set_back(folder: Path) -> dict[str, int]:
    """Rows written after the clock was set back three days keep their numbers and order."""
    path = made_log(folder / "clock.db", cuts=5)

    def earlier() -> dt.datetime:
        return clock() - dt.timedelta(days=3)

    with Log.open(path, now=earlier) as log:
        write_rows(log, 6, 5)
        rows = log.rows("SELECT row, no FROM cut ORDER BY no")
    found = verify(path, now=earlier)
    return {
        "in order": int([row["row"] for row in rows] == list(range(1, 11))),
        "whole": int(found.whole),
        "warned": int(any("clock" in warning for warning in found.warnings)),
    }


def flips(path: Path, folder: Path, times: int, seed: int = 1) -> Counter[str]:
    """Flip one random byte in a copy, and see what `verify` and reading make of it.

    ``seen``: damage is reported. ``harmless``: nothing is reported and every row reads as before. ``unseen``: a value
    is another one and nothing is reported: the byte stood inside a text or number, and the page around it is whole.
    """
    rng = random.Random(seed)
    original = path.read_bytes()
    with Log.open(path, now=clock, write=False) as log:
        before = content(log)
    out: Counter[str] = Counter()
    for _ in range(times):
        place, mask = rng.randrange(len(original)), rng.randrange(1, 256)
        copy = folder / "flipped.db"
        damaged = bytearray(original)
        damaged[place] ^= mask
        copy.write_bytes(damaged)
        out[_seen(copy, before)] += 1
        out["changed by looking"] += copy.read_bytes() != bytes(damaged)
        for left in folder.glob("flipped.db*"):
            left.unlink()
    out["original touched"] += path.read_bytes() != original
    return out


def _seen(copy: Path, before: dict[str, list[dict[str, Any]]]) -> str:
    try:
        if not verify(copy, now=clock).whole:
            return "seen"
        with Log.open(copy, now=clock, write=False) as log:
            return "harmless" if content(log) == before else "unseen"
    except FileError:
        return "seen"


READ_ONLY = """
import hashlib, os, sys  # hashlib: nothing can be imported once somebody else
from pathlib import Path
from benchmarks.broken import clock, write_rows
from burnlog.errors import FileError
from burnlog.store.log import Log
path = Path(sys.argv[1])
if os.getuid() == 0:
    os.chown(path, 65534, 65534)
    os.chown(path.parent, 65534, 65534)
    os.setuid(65534)  # the superuser may write anywhere
with Log.open(path, now=clock) as log:
    write_rows(log, 50, 1)
path.chmod(0o444)
path.parent.chmod(0o555)
try:
    with Log.open(path, now=clock) as log:
        write_rows(log, 51, 1)
except FileError as error:
    print("words" if "ermission" in str(error) else error)
with Log.open(path, now=clock, write=False) as log:
    print(len(log.rows("SELECT * FROM cut")))
"""


def read_only_midway() -> Counter[str]:
    """The file and its folder lose their write permission between two rows: the writer is told, readers read on."""
    with tempfile.TemporaryDirectory() as folder:
        Path(folder).chmod(0o755)
        place = Path(folder) / "midway"
        place.mkdir()
        path = made_log(place / "log.db", cuts=5)
        done = subprocess.run(
            [sys.executable, "-c", READ_ONLY, str(path)],
            capture_output=True,
            text=True,
            check=False,
            cwd=Path(__file__).parent.parent,
        )
        place.chmod(0o755)
    if done.returncode:
        raise RuntimeError(done.stderr)
    told = done.stdout.split()
    return Counter({"not in words": told[:1] != ["words"], "changed": told[1:] != ["6"], "told": len(told)})
