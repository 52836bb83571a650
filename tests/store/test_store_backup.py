"""Copies that were tested, and whether a log is whole."""

from __future__ import annotations

import datetime as dt
import random
import shutil
import sqlite3
from contextlib import closing
from importlib.metadata import version
from pathlib import Path

import pytest
from scribe import DAY, Scribe, clock

from burnlog.errors import FileError
from burnlog.store import backup
from burnlog.store.backup import back_up, verify
from burnlog.store.log import Log
from burnlog.store.schema import VERSION


def _filled(scribe: Scribe) -> Path:
    for row in range(1, 80):
        scribe.tally(14, 7.0, scribe.cut(14, row, "L14", remark="x" * 200))
    return scribe.log.path


def test_R14_a_backup_is_dated_whole_and_never_overwrites(scribe: Scribe, tmp_path: Path) -> None:
    """Two backups of one second are two files, each with every row; a file that is there stays."""
    _filled(scribe)
    folder = tmp_path / "stick"
    folder.mkdir()
    (folder / "log-20260512-183000.db").write_text("mine")
    copies = [back_up(scribe.log, folder) for _ in range(2)]
    assert [copy.name for copy in copies] == ["log-20260512-183000-2.db", "log-20260512-183000-3.db"]
    assert (folder / "log-20260512-183000.db").read_text() == "mine"
    assert len(list(folder.iterdir())) == 3
    for copy in copies:
        found = verify(copy, now=clock)
        assert found.whole
        assert found.rows["cut"] == 79
        with Log.open(copy, now=clock, write=False) as log:
            assert log.rows("SELECT * FROM cut") == scribe.log.rows("SELECT * FROM cut")


def test_R14_a_backup_during_an_open_entry_is_whole(scribe: Scribe, tmp_path: Path) -> None:
    """While somebody's row is half written elsewhere, the copy holds what was saved and passes the check."""
    path = _filled(scribe)
    with Log.open(path, now=clock) as other:
        other.connection.execute("BEGIN IMMEDIATE")
        other.insert("job", {"code": "HALF"})
        with Log.open(path, now=clock, write=False) as reader:
            copy = back_up(reader, tmp_path)
        other.connection.execute("ROLLBACK")
    found = verify(copy, now=clock)
    assert found.whole
    assert (found.rows["cut"], found.rows["job"]) == (79, 1)


def test_R14_a_backup_that_fails_leaves_nothing(
    scribe: Scribe, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A missing folder, and a copy that does not pass its check, leave no file and say so."""
    with pytest.raises(FileError, match="no folder"):
        back_up(scribe.log, tmp_path / "none")
    folder = tmp_path / "stick"
    folder.mkdir()
    monkeypatch.setattr(backup, "_damage", lambda path: ["integrity: page 3"])
    with pytest.raises(FileError, match=r"the copy .* is damaged"):
        back_up(scribe.log, folder)
    assert list(folder.iterdir()) == []


def test_R14_verify_tells_what_stands_in_a_whole_log(scribe: Scribe) -> None:
    """A whole log: rows by table, schema, versions, id, and no problem."""
    path = _filled(scribe)
    found = verify(path, now=clock)
    assert (found.problems, found.warnings) == ((), ())
    assert (found.rows["tally"], found.rows["amendment"]) == (79, 0)
    assert found.facts["schema"] == str(VERSION)
    assert found.facts["sqlite"] == sqlite3.sqlite_version
    assert found.facts["db_id"] == scribe.log.db_id
    assert found.facts["burnlog"] == version("burnlog")
    assert Path(found.facts["file"]) == scribe.log.path.absolute()
    assert int(found.facts["bytes"]) == scribe.log.path.stat().st_size
    assert int(found.facts["free_bytes"]) > 0
    assert found.as_json()["whole"] is True


def test_R14_flipped_bytes_never_pass_unseen(scribe: Scribe, tmp_path: Path) -> None:
    """Whole pages overwritten in a copy: `verify` says damaged, or refuses the file, and the copy stays as it is."""
    path = _filled(scribe)
    scribe.log.close()
    size = path.stat().st_size
    pages = size // 4096
    for number in random.Random(20260512).sample(range(1, pages), 25):
        copy = tmp_path / "copy.db"
        shutil.copy(path, copy)
        with copy.open("r+b") as file:
            file.seek(number * 4096)
            file.write(b"\xa5" * 4096)
        before = copy.read_bytes()
        if _is_free_page(path, number + 1):
            continue
        found = verify(copy, now=clock)
        assert not found.whole, number
        assert copy.read_bytes() == before


def _is_free_page(path: Path, number: int) -> bool:
    """A page that holds nothing cannot be damaged."""
    with closing(sqlite3.connect(path)) as connection:
        return (number,) not in connection.execute("SELECT pageno FROM dbstat").fetchall()


def test_R14_a_broken_link_is_named(scribe: Scribe) -> None:
    """A row whose parent another program removed by brute force is reported with both tables."""
    _filled(scribe)
    with closing(sqlite3.connect(scribe.log.path, isolation_level=None)) as raw:
        (sql,) = raw.execute("SELECT sql FROM sqlite_master WHERE name = 'dive_kept'").fetchone()
        raw.execute("DROP TRIGGER dive_kept")
        raw.execute("DELETE FROM dive")
        raw.execute(sql)
    found = verify(scribe.log.path, now=clock)
    assert not found.whole
    assert "links: 79 of cut point at a dive that is not there" in found.problems


def test_R14_a_changed_schema_is_named(scribe: Scribe) -> None:
    """A trigger that was taken out, and a table that was put in, are damage."""
    with closing(sqlite3.connect(scribe.log.path)) as raw:
        raw.execute("DROP TRIGGER cut_trail")
        raw.execute("CREATE TABLE mine (x)")
    problems = verify(scribe.log.path, now=clock).problems
    assert "schema: the trigger cut_trail is missing" in problems
    assert "schema: there is a table mine that is none of the log's" in problems


def test_R14_verify_refuses_what_is_no_log(tmp_path: Path) -> None:
    """A file that is missing or no database is an error, not a damaged log."""
    with pytest.raises(FileError, match="burnlog init"):
        verify(tmp_path / "none.db", now=clock)
    (tmp_path / "notes.db").write_text("my notes")
    with pytest.raises(FileError, match="not a burnlog file"):
        verify(tmp_path / "notes.db", now=clock)


def test_a_clock_that_was_set_back_is_noticed(scribe: Scribe) -> None:
    """Rows dated after the machine's clock are a warning, not damage; writing goes on."""
    scribe.cut(14, 1, "L14")
    scribe.log.close()

    def earlier() -> dt.datetime:
        return DAY - dt.timedelta(days=3)

    found = verify(scribe.log.path, now=earlier)
    assert found.whole
    assert "was the clock set back" in found.warnings[0]
    with Log.open(scribe.log.path, now=earlier) as log:
        log.insert("job", {"code": "PIER9"})
        assert log.find("job", "PIER9")["no"] == 2


@pytest.mark.parametrize(("system", "warned"), [("nfs4", True), ("cifs", True), ("ext4", False), ("", False)])
def test_R14_a_network_share_is_warned_about(
    scribe: Scribe, monkeypatch: pytest.MonkeyPatch, system: str, warned: bool
) -> None:
    """A log on a share is whole and warned about."""
    monkeypatch.setattr(backup, "_file_system", lambda path: system)
    found = verify(scribe.log.path, now=clock)
    assert found.whole
    assert any("network share" in warning for warning in found.warnings) is warned


def test_little_space_is_warned_about(scribe: Scribe, monkeypatch: pytest.MonkeyPatch) -> None:
    """Less free space than the next backup takes is a warning."""
    usage = shutil.disk_usage(scribe.log.path.parent)._replace(free=1_000_000)
    monkeypatch.setattr(shutil, "disk_usage", lambda path: usage)
    assert any("1 MB are free" in warning for warning in verify(scribe.log.path, now=clock).warnings)
