"""Opening, making and writing the log file; what it says when it cannot."""

from __future__ import annotations

import math
import os
import shutil
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from scribe import Scribe, clock

from burnlog.errors import FileError, InputError
from burnlog.store.connection import connect
from burnlog.store.log import Log, identity
from burnlog.store.schema import VERSION
from burnlog.store.tables import NUMBERED

NOBODY = 65534


def test_R01_a_new_log_is_one_file(tmp_path: Path) -> None:
    """A closed log is a single file, with nothing left beside it."""
    with Log.create(tmp_path / "log.db", by="JM", now=clock) as log:
        assert not log.made_up
    assert [path.name for path in tmp_path.iterdir()] == ["log.db"]


def test_made_up_and_identity_survive(tmp_path: Path) -> None:
    """The made-up mark and the id of a log are what they were when it is opened again; two logs differ in id."""
    with Log.create(tmp_path / "a.db", now=clock, made_up=True) as first:
        pass
    with Log.create(tmp_path / "b.db", now=clock) as second, Log.open(tmp_path / "a.db", now=clock) as again:
        assert again.made_up
        assert again.db_id == first.db_id != second.db_id


def test_create_never_overwrites(tmp_path: Path) -> None:
    """A file of that name, whatever it is, is left alone."""
    (tmp_path / "log.db").write_text("my notes")
    with pytest.raises(FileError, match="exists already"):
        Log.create(tmp_path / "log.db", now=clock)
    assert (tmp_path / "log.db").read_text() == "my notes"
    with pytest.raises(FileError, match=r"folder .* does not exist"):
        Log.create(tmp_path / "nowhere" / "log.db", now=clock)
    assert [path.name for path in tmp_path.iterdir()] == ["log.db"]


def test_every_connection_has_its_safeguards_on(log: Log) -> None:
    """Foreign keys on, schema not trusted, WAL, full sync, and a wait of 10 s for another writer."""
    wanted = {
        "foreign_keys": 1,
        "trusted_schema": 0,
        "journal_mode": "wal",
        "synchronous": 2,
        "busy_timeout": 10_000,
        "user_version": VERSION,
    }
    assert {name: log.connection.execute(f"PRAGMA {name}").fetchone()[0] for name in wanted} == wanted


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "not a burnlog file"),
        (b"job,dive\n", "not a burnlog file"),
        (b"SQLite format 3\x00" + b"x" * 4080, "damaged or not a log"),
    ],
)
def test_R85_what_is_no_log_is_refused_and_left_alone(tmp_path: Path, content: bytes, words: str) -> None:
    """A text file, an empty file and a broken database end in one sentence that names the file."""
    path = tmp_path / "log.db"
    path.write_bytes(content)
    with pytest.raises(FileError, match=words) as caught:
        Log.open(path, now=clock)
    assert str(path) in str(caught.value)
    assert path.read_bytes() == content


def test_another_programs_database_is_refused(tmp_path: Path) -> None:
    """A database without the log's tables is not taken for a log, nor changed."""
    path = tmp_path / "other.db"
    with sqlite3.connect(path) as connection:
        connection.execute("CREATE TABLE meta (key, value)")
    connection.close()
    before = path.read_bytes()
    with pytest.raises(FileError, match="not a burnlog file"):
        Log.open(path, now=clock, write=False)
    with pytest.raises(FileError, match="folder"):
        Log.open(tmp_path, now=clock)
    with pytest.raises(FileError, match="burnlog init"):
        Log.open(tmp_path / "none.db", now=clock)
    assert path.read_bytes() == before
    assert not (tmp_path / "none.db").exists()


def test_a_newer_schema_is_refused(log: Log) -> None:
    """A file of a newer burnlog is neither read nor changed."""
    log.connection.execute(f"PRAGMA user_version = {VERSION + 1}")
    log.close()
    for write in (False, True):
        with pytest.raises(FileError, match="newer burnlog"):
            Log.open(log.path, now=clock, write=write)


def test_R85_an_old_database_library_is_named(
    tmp_path: Path, empty_log: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """SQLite before 3.37 has no strict tables: refused with its version."""
    monkeypatch.setattr(sqlite3, "sqlite_version_info", (3, 36, 0))
    monkeypatch.setattr(sqlite3, "sqlite_version", "3.36.0")
    for attempt in (lambda: Log.open(empty_log, now=clock), lambda: Log.create(tmp_path / "new.db", now=clock)):
        with pytest.raises(FileError, match=r"3\.36\.0 is too old"):
            attempt()


def test_damaged_pages_end_in_plain_words(scribe: Scribe) -> None:
    """A file whose table pages are overwritten is called damaged, with what to do."""
    for row in range(1, 200):
        scribe.cut(14, row, "L14", remark="x" * 400)
    path = scribe.log.path
    scribe.log.close()
    data = bytearray(path.read_bytes())
    data[len(data) // 2 :] = b"\xa5" * (len(data) - len(data) // 2)
    path.write_bytes(data)
    with pytest.raises(FileError, match=r"damaged.*last backup"):
        _read_all(path)


def _read_all(path: Path) -> None:
    with Log.open(path, now=clock) as log:
        for table in NUMBERED:
            log.rows(f"SELECT * FROM {table}")


def test_a_locked_log_is_named_after_the_wait(scribe: Scribe, monkeypatch: pytest.MonkeyPatch) -> None:
    """While another program writes, a writer waits, then says so; a reader reads what was there before."""
    monkeypatch.setattr("burnlog.store.connection.BUSY_MS", 200)
    other = connect(scribe.log.path, write=True)
    other.execute("BEGIN IMMEDIATE")
    other.execute("UPDATE job SET title = 'half done'")
    with Log.open(scribe.log.path, now=clock) as log:
        with pytest.raises(FileError, match="locked: another program"), log.transaction():
            pass
        assert log.find("job", "PIER7")["title"] is None
    other.close()


def test_a_full_disk_leaves_no_half_row(scribe: Scribe) -> None:
    """When the file cannot grow, the transaction is gone as a whole and the log goes on."""
    (pages,) = scribe.log.connection.execute("PRAGMA page_count").fetchone()
    scribe.log.connection.execute(f"PRAGMA max_page_count = {pages + 8}")
    with pytest.raises(FileError, match="disk is full"):
        _cuts(scribe, 500)
    assert scribe.log.rows("SELECT count(*) AS n FROM cut") == [{"n": 0}]
    scribe.log.connection.execute(f"PRAGMA max_page_count = {pages + 100}")
    _cuts(scribe, 1)


def _cuts(scribe: Scribe, count: int) -> None:
    with scribe.log.transaction():
        for row in range(1, count + 1):
            scribe.cut(14, row, "L14", remark="x" * 400)


READ_ONLY = f"""
import datetime as dt, os, sys
import email.parser, sqlite_utils
import burnlog.store.backup, burnlog.store.migrations
from burnlog.errors import FileError
from burnlog.store.log import Log
if os.getuid() == 0:
    os.setuid({NOBODY})  # the superuser may write anywhere: be somebody else
now = lambda: dt.datetime(2026, 5, 12, tzinfo=dt.UTC)
for what in (lambda: Log.create(sys.argv[1] + "/new.db", now=now), lambda: _write(Log.open(sys.argv[2], now=now))):
    def _write(log):
        with log.transaction():
            pass
    try:
        what()
    except FileError as error:
        print("FileError:", error)
log = Log.open(sys.argv[2], now=now, write=False)
print(log.find("job", "PIER7")["code"])
print(burnlog.store.backup.verify(sys.argv[2], now=now).problems)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="permissions are of another kind there")
@pytest.mark.parametrize("folder_mode", [0o555, 0o755])
def test_R01_read_only_folder_or_file(scribe: Scribe, tmp_path: Path, folder_mode: int) -> None:
    """Somebody without write permission can read the log and is told what cannot be written."""
    scribe.log.close()
    folder = tmp_path / "locked"
    folder.mkdir()
    log = folder / "log.db"
    shutil.copy(scribe.log.path, log)
    log.chmod(0o444)
    folder.chmod(folder_mode)
    for parent in (tmp_path, *tmp_path.parents):
        if parent.stat().st_uid == os.getuid() and parent.is_relative_to(tmp_path.parents[2]):
            parent.chmod(0o755)
    done = subprocess.run(
        [sys.executable, "-c", READ_ONLY, str(folder), str(log)],
        capture_output=True,
        text=True,
        check=False,
        cwd=tmp_path,
    )
    folder.chmod(0o755)
    lines = done.stdout.splitlines()
    assert done.returncode == 0, done.stderr
    assert [line.split(":")[0] for line in lines] == ["FileError", "FileError", "PIER7", "()"]
    assert all("ermission" in line for line in lines[:2])
    assert [path.name for path in folder.iterdir()] == ["log.db"]


WRITER = """
import datetime as dt, sys
from burnlog.store.log import Log, identity
path, hand, rows = sys.argv[1], sys.argv[2], int(sys.argv[3])
with Log.open(path, by=hand, now=lambda: dt.datetime(2026, 5, 12, tzinfo=dt.UTC)) as log:
    dive, line = (log.find(*what)["id"] for what in (("dive", "PIER7 14"), ("line", "L14")))
    first = 1 if hand == "a" else 500
    for row in range(first, first + rows):
        log.insert("cut", {"dive_id": dive, "line_id": line, "row": row, "pass_kind": "first", "outcome": "unknown"})
        print(row, flush=True)
"""


def test_two_processes_write_at_once(scribe: Scribe) -> None:
    """Two writers of 100 rows each: every row is there once, no short number twice, nobody is told of a lock."""
    path = scribe.log.path
    scribe.log.close()
    writers = [
        subprocess.Popen(
            [sys.executable, "-c", WRITER, str(path), hand, "100"],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for hand in "ab"
    ]
    told = [writer.communicate(timeout=60) for writer in writers]
    assert [err for _, err in told] == ["", ""]
    acknowledged = sorted(int(line) for out, _ in told for line in out.split())
    with Log.open(path, now=clock) as log:
        rows = log.rows("SELECT row, no FROM cut")
    assert sorted(row["row"] for row in rows) == acknowledged == [*range(1, 101), *range(500, 600)]
    assert sorted(row["no"] for row in rows) == list(range(1, 201))


def test_R85_numbers_that_are_none_never_reach_the_file(scribe: Scribe) -> None:
    """NaN and infinity, which SQLite would turn into NULL or keep, are refused on both ways in."""
    values = {"job_id": scribe.job_id, "code": "L16"}
    for value in (math.nan, math.inf, -math.inf):
        with pytest.raises(InputError, match="thickness_mm"):
            scribe.log.insert("line", {**values, "thickness_mm": value})
        with pytest.raises(InputError, match="not a number"):
            scribe.log.insert_many("line", [("x", {**values, "thickness_mm": value}, {})])
    assert scribe.log.one("line", code="L16") is None


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"thicknes_mm": 12.7}, "no column thicknes_mm"),
        ({"thickness_mm": "12"}, "lies between 1 and 300, not '12'"),
        ({"thickness_mm": 0.4}, "lies between 1 and 300, not '0.4'"),
        ({"material": "steal"}, "words of the list material, not 'steal'"),
        ({"section": "x" * 61}, "at most 60 characters"),
        ({"section": "half \ud800 character"}, "section"),
        ({"dims": "{broken"}, "dims holds JSON"),
    ],
)
def test_insert_says_what_is_wrong_with_a_value(scribe: Scribe, values: dict[str, object], words: str) -> None:
    """A value that does not fit its column is refused in words that name column, range and value."""
    with pytest.raises(InputError, match=words):
        scribe.log.insert("line", {"job_id": scribe.job_id, "code": "L16", **values})
    assert scribe.log.one("line", code="L16") is None


def test_a_name_that_the_terminal_broke_is_refused(scribe: Scribe) -> None:
    """A hand whose letters came as half characters is told so, and signs nothing."""
    scribe.log.by = "J\udcd6RG"
    with pytest.raises(InputError, match=r"signed with, did not come through whole \('J\\udcd6RG'\)"):
        scribe.log.insert("line", {"job_id": scribe.job_id, "code": "L16"})
    assert scribe.log.one("line", code="L16") is None


def test_insert_many_names_the_row_that_was_refused(scribe: Scribe) -> None:
    """One bad row among many: the message names it and none is written."""
    rows = [(f"l{n}", {"job_id": scribe.job_id, "code": f"M{n}"}, {}) for n in range(50)]
    rows[33] = ("l33", {"job_id": scribe.job_id, "code": "L15"}, {})
    with pytest.raises(InputError, match="code L15"):
        scribe.log.insert_many("line", rows)
    assert scribe.log.rows("SELECT code FROM line WHERE code LIKE 'M%'") == []


def test_rows_keep_the_order_they_came_in(scribe: Scribe) -> None:
    """Short numbers count up in the order given, whatever columns each row fills."""
    rows = [
        (f"l{n}", {"job_id": scribe.job_id, "code": f"M{n}", **({"roots": 2} if n % 2 else {})}, {}) for n in range(9)
    ]
    scribe.log.insert_many("line", rows)
    found = scribe.log.rows("SELECT code FROM line WHERE code LIKE 'M%' ORDER BY no")
    assert [row["code"] for row in found] == [f"M{n}" for n in range(9)]


def test_a_transaction_is_all_or_nothing(scribe: Scribe) -> None:
    """An error in the middle takes back everything, one transaction inside another included."""
    with pytest.raises(InputError, match="no such line"):
        _good_then_bad(scribe)
    assert scribe.log.rows("SELECT count(*) AS n FROM cut") == [{"n": 0}]
    assert scribe.log.rows("SELECT count(*) AS n FROM change_context") == [{"n": 0}]


def _good_then_bad(scribe: Scribe) -> None:
    with scribe.log.transaction():
        scribe.cut(14, 1, "L14")
        with scribe.log.transaction(why="inner", by="JM"):
            scribe.cut(14, 2, "nowhere")


def test_a_log_open_for_reading_takes_nothing(scribe: Scribe) -> None:
    """Writing through a log opened for reading is refused before the file is touched."""
    with Log.open(scribe.log.path, now=clock, write=False) as log, pytest.raises(FileError, match="reading only"):
        log.insert("job", {"code": "PIER9"})


def test_ids_are_the_same_on_two_laptops(tmp_path: Path) -> None:
    """One sheet typed into two logs makes the same ids for job, line, dive and cut."""
    ids = []
    for name in "ab":
        with Log.create(tmp_path / f"{name}.db", now=clock) as log:
            made = Scribe(log)
            ids.append((made.job_id, made.line("L1"), made.dive(1), made.cut(1, 1, "L1")))
    assert ids[0] == ids[1]
    assert len(set(ids[0])) == 4


@pytest.mark.parametrize(
    ("table", "ref", "column", "value"),
    [
        ("job", "PIER7", "code", "PIER7"),
        ("dive", "PIER7 14", "dive_no", 14),
        ("dive", "14", "dive_no", 14),
        ("line", "L15", "code", "L15"),
        ("line", "PIER7 L15", "code", "L15"),
        ("cut", "PIER7 14.3", "row", 3),
        ("cut", "14.3", "row", 3),
        ("cut", "1", "row", 3),
        ("tally", "1", "rods", 7.0),
        ("tally", "T1", "rods", 7.0),
    ],
)
def test_rows_are_found_by_what_people_call_them(
    scribe: Scribe, table: str, ref: str, column: str, value: object
) -> None:
    """Codes, job and dive and row, and short numbers all lead to the row."""
    scribe.tally(14, 7.0, scribe.cut(14, 3, "L14"))
    assert scribe.log.find(table, ref)[column] == value


def test_a_cut_is_found_by_sheet_and_row(scribe: Scribe) -> None:
    """As `check` names it; a sheet numbered like another dive is not guessed at."""
    scribe.dive(15, sheet="S-7")
    scribe.dive(16, sheet="14")
    cut = scribe.cut(15, 2, "L14")
    scribe.cut(14, 1, "L14")
    scribe.cut(16, 1, "L15")
    assert scribe.log.find("cut", "S-7 row 2")["id"] == cut
    assert scribe.log.find("cut", "PIER7 14 row 1")["row"] == 1
    with pytest.raises(InputError, match="several dives answer to '14'"):
        scribe.log.find("cut", "14 row 1")
    with pytest.raises(InputError, match="not a dive"):
        scribe.log.find("cut", "S-8 row 1")


@pytest.mark.parametrize(
    ("table", "ref", "words"),
    [
        ("job", "PEIR7", "nearest are PIER7"),
        ("line", "L41", "nearest are L15, L14"),
        ("dive", "PIER7 99", "no dive PIER7 99"),
        ("dive", "PIRE7 14", "no job 'PIRE7'"),
        ("dive", "PIER7 x", "not a dive"),
        ("cut", "PIER7 14.9", "no cut"),
        ("cut", "L14", "not a cut"),
        ("cut", "PIER7 14.x", "not a cut"),
        ("tally", "61", "no tally '61'"),
        ("tally", "9" * 40, "no tally"),
        ("kut", "1", "the tables are"),
    ],
)
def test_R05_an_unknown_row_brings_the_nearest_names(scribe: Scribe, table: str, ref: str, words: str) -> None:
    """What is not there is said with the nearest names or the way it is written."""
    with pytest.raises(InputError, match=words):
        scribe.log.find(table, ref)


def test_a_name_in_two_jobs_needs_its_job(scribe: Scribe) -> None:
    """Dive 14 and line L14 of two jobs are not guessed at."""
    other = Scribe(scribe.log, "PIER8")
    other.dive(14)
    other.line("L14")
    for table, ref in (("dive", "14"), ("line", "L14"), ("cut", "14.1")):
        with pytest.raises(InputError, match="several jobs"):
            scribe.log.find(table, ref)
    assert scribe.log.find("line", "L14", job="PIER8")["job_id"] == identity("job", "PIER8")


def test_R19_the_typed_text_survives(scribe: Scribe) -> None:
    """Value and typed text come back as they went in, and as_typed is not for names."""
    typed = {"thickness_mm": ("5/8", "measured"), "new_length_mm": ('1\u20326"', "estimated")}
    key = scribe.cut(14, 1, "L14", thickness_mm=15.875, new_length_mm=457.2, typed=typed)
    row = scribe.log.one("cut", id=key)
    assert row is not None
    assert row["thickness_mm"] == 15.875
    assert row["as_typed"] == '{"thickness_mm": ["5/8", "measured"], "new_length_mm": ["1\u20326\\"", "estimated"]}'
    with pytest.raises(InputError, match="name is kept"):
        scribe.log.insert("person", {"code": "D4"}, typed={"display_name": ("Jo", "measured")})
