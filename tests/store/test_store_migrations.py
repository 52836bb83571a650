"""The way from an older schema to the present one: after a copy, whole or not at all, and never back."""

from __future__ import annotations

import sqlite3
import threading
from contextlib import closing
from pathlib import Path
from unittest.mock import patch

import pytest
from scribe import Scribe, clock

from benchmarks.mangled import command
from benchmarks.tomorrow import NAMES, tomorrow
from burnlog.errors import FileError, InputError
from burnlog.store import migrations
from burnlog.store.backup import verify
from burnlog.store.log import Log
from burnlog.store.schema import VERSION

CUTS = 20


def _file_of(steps: int, path: Path) -> list[dict[str, object]]:
    """The log of a program that knew so many steps, with some cuts; returns them."""
    with tomorrow(steps), Log.create(path, by="JM", now=clock) as log:
        scribe = Scribe(log)
        scribe.dive(14)
        scribe.line("L14")
        for row in range(1, CUTS + 1):
            scribe.tally(14, 7.0, scribe.cut(14, row, "L14", thickness_mm=12.7))
        return log.rows("SELECT * FROM cut")


def _schema(path: Path) -> int:
    with closing(sqlite3.connect(path)) as connection:
        return int(connection.execute("PRAGMA user_version").fetchone()[0])


def test_the_schema_is_the_number_of_its_steps() -> None:
    """What `user_version` says is how many steps a file has taken."""
    assert len(migrations.STEPS) == VERSION


@pytest.mark.parametrize("steps", range(1, len(NAMES)))
def test_a_file_of_each_earlier_schema_is_brought_up_to_date(tmp_path: Path, steps: int) -> None:
    """Read only it is left alone; opened for writing it is copied, takes every step it lacks, and is whole."""
    path = tmp_path / "log.db"
    before = _file_of(steps, path)
    with tomorrow():
        with pytest.raises(FileError, match=f"older burnlog .schema {steps}, now {len(NAMES)}"):
            Log.open(path, now=clock, write=False)
        assert _schema(path) == steps
        with Log.open(path, now=clock) as log:
            assert log.rows("SELECT * FROM cut") == before
            assert log.rows("SELECT valve_ref FROM bank") == []
            assert log.rows("SELECT count(*) AS n FROM kerf WHERE width_mm = 12.7") == [{"n": CUTS}]
            taken = [row["name"] for row in log.rows("SELECT name FROM _sqlite_migrations ORDER BY id")]
        assert tuple(taken) == NAMES
        assert verify(path, now=clock).problems == ()
        (copy,) = tmp_path.glob("log-before-upgrade-*.db")
    assert _schema(copy) == steps
    with tomorrow(steps):
        assert verify(copy, now=clock).problems == ()
        with Log.open(copy, now=clock, write=False) as log:
            assert log.rows("SELECT * FROM cut") == before


def test_a_new_file_and_one_that_came_up_are_built_alike(tmp_path: Path) -> None:
    """Whichever way a file came to the present schema, the schema is the same to the letter."""
    _file_of(1, tmp_path / "old.db")
    _file_of(len(NAMES), tmp_path / "new.db")
    with tomorrow():
        Log.open(tmp_path / "old.db", now=clock).close()
    found = []
    for name in ("old.db", "new.db"):
        with closing(sqlite3.connect(tmp_path / name)) as connection:
            found.append(connection.execute("SELECT type, name, sql FROM sqlite_master ORDER BY 1, 2").fetchall())
    assert found[0] == found[1]


def test_a_file_of_a_newer_program_is_refused_in_one_sentence(tmp_path: Path) -> None:
    """An older program neither reads nor changes what a newer one wrote: one plain sentence, exit code 5."""
    path = tmp_path / "log.db"
    _file_of(len(NAMES), path)
    content = path.read_bytes()
    for words in (["list", "cuts"], ["add", "job", "job=X"], ["verify"], ["backup", str(tmp_path)]):
        code, said = command(["burnlog", "--db", str(path), "--by", "JM", *words])
        assert code == 5
        assert said.startswith("burnlog: ")
        assert "newer burnlog (schema 3, this program knows 1)" in said
        assert said.count("\n") == 1
    assert path.read_bytes() == content


def test_a_step_that_fails_leaves_the_older_log_as_it_was(tmp_path: Path) -> None:
    """A half upgrade never stands: the file keeps its schema and its rows, and the copy is there."""
    path = tmp_path / "log.db"
    before = _file_of(1, path)
    bad = (NAMES[2], lambda database: database.execute("INSERT INTO bank (id) VALUES ('x')"))
    with tomorrow(), patch.object(migrations, "STEPS", (*migrations.STEPS[:2], bad)), pytest.raises(InputError):
        Log.open(path, now=clock)
    assert _schema(path) == 1
    with Log.open(path, now=clock) as log:
        assert log.rows("SELECT * FROM cut") == before
        assert log.rows("SELECT name FROM _sqlite_migrations") == [{"name": NAMES[0]}]
    assert verify(path, now=clock).problems == ()
    assert len(list(tmp_path.glob("log-before-upgrade-*.db"))) == 1


def test_no_upgrade_without_its_copy(tmp_path: Path) -> None:
    """Where the copy cannot be made the log stays at its schema, and the reason is said."""
    path = tmp_path / "log.db"
    _file_of(1, path)
    refused = FileError("no backup was made")
    with (
        tomorrow(),
        patch("burnlog.store.backup.copy_checked", side_effect=refused),
        pytest.raises(FileError, match="no backup"),
    ):
        Log.open(path, now=clock)
    assert _schema(path) == 1


def test_two_programs_that_come_at_once_take_each_step_once(tmp_path: Path) -> None:
    """Both open the older file for writing at one moment: one brings it up, the other waits and goes on."""
    path = tmp_path / "log.db"
    _file_of(1, path)
    gate = threading.Barrier(2)
    failed: list[BaseException] = []

    def come() -> None:
        try:
            gate.wait()
            with closing(sqlite3.connect(path, timeout=10, isolation_level=None)) as connection:
                migrations.upgrade(connection)
        except BaseException as error:
            failed.append(error)

    with tomorrow():
        both = [threading.Thread(target=come) for _ in range(2)]
        for thread in both:
            thread.start()
        for thread in both:
            thread.join()
        assert failed == []
        assert verify(path, now=clock).problems == ()
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute("SELECT name FROM _sqlite_migrations ORDER BY id").fetchall() == [
            (name,) for name in NAMES
        ]


def test_steps_are_all_or_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """When a step fails nothing of it is left, and it can be taken again."""
    whole = list(migrations.statements())
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as connection:
        monkeypatch.setattr(migrations, "statements", lambda: [*whole[:40], "CREATE TABLE broken ("])
        with pytest.raises(sqlite3.OperationalError):
            migrations.upgrade(connection)
        assert connection.execute("SELECT count(*) FROM sqlite_master").fetchone() == (0,)
        monkeypatch.setattr(migrations, "statements", lambda: whole)
        assert migrations.upgrade(connection) == [NAMES[0]]
        assert migrations.upgrade(connection) == []
        assert connection.execute("PRAGMA user_version").fetchone() == (VERSION,)
