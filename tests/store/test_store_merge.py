"""Two laptops made one, and files nobody should believe."""

from __future__ import annotations

import json
import shutil
import sqlite3
from collections.abc import Callable, Mapping
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scribe import Scribe, clock

from burnlog.errors import ConflictError, FileError, InputError
from burnlog.store.bundle import Bundle, export_bundle
from burnlog.store.kept import list_estimates, save_estimate
from burnlog.store.log import Log
from burnlog.store.merge import MergeReport, merge, read_source
from burnlog.store.tables import TABLES

Laptop = Callable[[str], Scribe]


@pytest.fixture
def laptop(tmp_path: Path, empty_log: Path) -> Laptop:
    """Make a laptop with its own log of job PIER7, by name."""

    def make(name: str) -> Scribe:
        path = tmp_path / f"{name}.db"
        shutil.copy(empty_log, path)
        return Scribe(Log.open(path, by=name, now=clock))

    return make


def _content(log: Log) -> dict[str, list[dict[str, Any]]]:
    """What the rows of a log say, by permanent id; not their numbers, nor when and by whom they were typed."""
    local = ("no", "created_at", "created_by")
    return {
        table.name: [
            {name: value for name, value in row.items() if name not in local}
            for row in log.rows(f"SELECT * FROM {table.name} ORDER BY id")
        ]
        for table in TABLES
    }


def _into(target: Log, source: Log, folder: Path, *, names: bool = True) -> MergeReport:
    """Merge by a bundle, as two laptops do."""
    path = folder / f"{source.path.stem}-{len(list(folder.iterdir()))}.json"
    export_bundle(source, path, names=names)
    return merge(target, read_source(path))


def test_R13_a_second_merge_adds_nothing(laptop: Laptop, tmp_path: Path) -> None:
    """Night's rows join day's once; merging again adds no row and no amendment."""
    day, night = laptop("day"), laptop("night")
    for shift, number in ((day, 14), (night, 15)):
        shift.line(f"L{number}", 1000.0)
        shift.dive(number)
        shift.tally(number, 7.0, shift.cut(number, 1, f"L{number}", new_length_mm=500.0), stubs_mm=(152.4,))
    night.log.fix("cut", "PIER7 15.1", {"new_length": "40 cm"}, why="taped again", by="night")
    first = _into(day.log, night.log, tmp_path)
    assert first.added == {"line": 1, "dive": 1, "cut": 1, "tally": 1, "rod_part": 1, "tally_cut": 1}
    assert first.amendments == len(night.log.rows("SELECT * FROM amendment")) > 0
    again = _into(day.log, night.log, tmp_path)
    assert (again.added, again.filled, again.amendments) == ({}, 0, 0)
    assert day.log.find("cut", "PIER7 15.1")["new_length_mm"] == 400.0
    assert [entry.why for entry in day.log.trail("cut", "PIER7 15.1")] == ["taped again"]
    assert [row["no"] for row in day.log.rows("SELECT no FROM cut ORDER BY no")] == [1, 2]
    assert day.log.find("cut", "PIER7 15.1")["created_by"] == "night"


def test_R13_one_conflicting_edit_shows_both_and_writes_nothing(laptop: Laptop, tmp_path: Path) -> None:
    """The same cut with two lengths: both versions are in the message, as typed too, and no other row comes in."""
    day, night = laptop("day"), laptop("night")
    for shift in (day, night):
        shift.line("L14")
        shift.dive(14)
        shift.cut(14, 1, "L14", new_length_mm=500.0, typed={"new_length_mm": ("0.5 m", "measured")})
    night.log.fix("cut", "PIER7 14.1", {"new_length": "16 in"}, why="taped again", by="night")
    night.cut(14, 2, "L14")
    before = _content(day.log)
    with pytest.raises(ConflictError) as caught:
        _into(day.log, night.log, tmp_path)
    assert caught.value.exit_code == 4
    message = str(caught.value)
    for words in ("cut PIER7 14.1, new_length_mm", "here 500.0 (typed '0.5 m')", "there 406.4 (typed '16 in')"):
        assert words in message
    assert "by day" in message
    assert "by night" in message
    assert _content(day.log) == before
    assert day.log.rows("SELECT * FROM amendment") == []


@pytest.mark.parametrize("made_up", [True, False])
def test_R13_made_up_and_real_are_never_joined(tmp_path: Path, made_up: bool) -> None:
    """A made-up log does not go into a real one, by database or by bundle, nor a real one into a made-up one."""
    with (
        Log.create(tmp_path / "a.db", now=clock, made_up=made_up) as source,
        Log.create(tmp_path / "b.db", now=clock, made_up=not made_up) as target,
    ):
        Scribe(source)
        export_bundle(source, tmp_path / "a.json")
        for name in ("a.db", "a.json"):
            with pytest.raises(InputError, match="never joined"):
                merge(target, read_source(tmp_path / name))
        assert target.rows("SELECT * FROM job") == []


def test_R13_the_made_up_mark_stays_in_the_file(tmp_path: Path) -> None:
    """The mark of a made-up log cannot be edited out of a bundle without the log's own jobs telling."""
    with Log.create(tmp_path / "a.db", now=clock, made_up=True) as source:
        export_bundle(source, tmp_path / "a.json")
    assert read_source(tmp_path / "a.json").made_up
    assert read_source(tmp_path / "a.db").made_up


def test_a_database_and_its_bundle_merge_alike(laptop: Laptop, tmp_path: Path) -> None:
    """Reading the other log itself, or its bundle, gives the same content."""
    day, night, third = laptop("day"), laptop("night"), laptop("third")
    night.dive(15)
    night.line("L15", 600.0)
    night.cut(15, 1, "L15")
    _into(day.log, night.log, tmp_path)
    merge(third.log, read_source(night.log.path))
    assert _content(day.log) == _content(third.log)


def test_what_one_laptop_knows_of_a_master_fills_the_other(laptop: Laptop, tmp_path: Path) -> None:
    """Blanks of rod types and lines are filled through the trail; two different values are a conflict."""
    day, night = laptop("day"), laptop("night")
    for shift in (day, night):
        shift.line("L14")
    night.log.fix(
        "rod_type", "EXO", {"stub_source": "house rule", "planned_stub": "3 in"}, why="from the box", by="night"
    )
    night.log.fix("line", "L14", {"material": "carbon steel"}, why="drawing", by="night")
    report = _into(day.log, night.log, tmp_path)
    assert report.filled == 3
    assert day.log.find("rod_type", "EXO")["planned_stub_mm"] == pytest.approx(76.2)
    assert day.log.find("line", "L14")["material"] == "carbon steel"
    merged = [entry for entry in day.log.trail("line", "L14") if entry.why.startswith("merged from log")]
    assert [(entry.field, entry.old, entry.new, entry.by) for entry in merged] == [
        ("material", None, "carbon steel", "day")
    ]
    assert _into(night.log, day.log, tmp_path).filled == 0
    assert _content(day.log) == _content(night.log)
    day.log.fix("line", "L14", {"material": "cast iron"}, why="spark test", by="day")
    with pytest.raises(ConflictError, match="line PIER7 L14, material: here cast iron"):
        _into(day.log, night.log, tmp_path)


def test_lengths_that_do_not_fit_one_line_are_a_conflict(laptop: Laptop, tmp_path: Path) -> None:
    """Each shift cut the whole line: together that is more than the line, and nothing is written."""
    day, night = laptop("day"), laptop("night")
    for shift, number in ((day, 14), (night, 15)):
        shift.line("L14", 1000.0)
        shift.dive(number)
        shift.cut(number, 1, "L14", new_length_mm=900.0)
    with pytest.raises(ConflictError, match="do not fit together: more new length"):
        _into(day.log, night.log, tmp_path)
    assert len(day.log.rows("SELECT * FROM dive")) == 1


def test_estimates_of_one_code_keep_apart(laptop: Laptop, tmp_path: Path) -> None:
    """Both laptops have an E1: the one that comes in gets another code, once."""
    day, night = laptop("day"), laptop("night")
    for shift in (day, night):
        assert save_estimate(shift.log, '{"rods": 1}', content_hash=shift.log.by) == "E1"
    report = _into(day.log, night.log, tmp_path)
    assert len(report.renamed) == 1
    assert [kept.content_hash for kept in list_estimates(day.log)] == ["day", "night"]
    assert _into(day.log, night.log, tmp_path).renamed == ()


def test_a_voided_row_comes_in_voided(laptop: Laptop, tmp_path: Path) -> None:
    """What night voided and typed anew arrives as both rows, with the trail."""
    day, night = laptop("day"), laptop("night")
    night.dive(15)
    night.line("L15", 600.0)
    night.cut(15, 1, "L15", new_length_mm=600.0)
    night.log.void("cut", "PIER7 15.1", why="wrong row", by="night")
    night.cut(15, 1, "L15", new_length_mm=590.0)
    _into(day.log, night.log, tmp_path)
    assert day.log.find("cut", "PIER7 15.1")["new_length_mm"] == 590.0
    assert len(day.log.rows("SELECT * FROM cut WHERE voided_at IS NOT NULL")) == 1


UNIVERSE = [(dive, row) for dive in range(1, 4) for row in range(1, 4)]


def _type(scribe: Scribe, dive: int, row: int) -> None:
    """What the paper says of a row: the same on whatever laptop it is typed."""
    line = f"L{(dive * row) % 4}"
    if scribe.log.one("dive", dive_no=dive) is None:
        scribe.dive(dive, visibility=("by feel", "1-3 ft", None)[dive % 3])
    if scribe.log.one("line", code=line) is None:
        scribe.line(line, 5000.0)
    cut = scribe.cut(dive, row, line, new_length_mm=100.0 * row, remark=f"row {row}")
    scribe.tally(dive, None if row == 2 else 3.0 * row, cut)


def _shifts(folder: Path, empty_log: Path, chosen: list[set[int]]) -> list[Path]:
    """The logs of laptops that typed some rows of the universe each, and know some of the masters' values."""
    out = []
    for number, rows in enumerate(chosen):
        shutil.copy(empty_log, folder / f"{number}.db")
        with Log.open(folder / f"{number}.db", by=f"laptop {number}", now=clock) as log:
            log.connection.execute("PRAGMA synchronous = OFF")
            scribe = Scribe(log)
            for place in sorted(rows):
                _type(scribe, *UNIVERSE[place])
            field, text = [("pack_count", "25"), ("diameter", "3/8 in"), ("pack_count", "25")][number]
            log.fix("rod_type", "EXO", {field: text}, why="from the box", by="x")
            out.append(log.path)
    return out


@settings(
    max_examples=10, derandomize=True, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(chosen=st.lists(st.sets(st.integers(0, len(UNIVERSE) - 1), max_size=5), min_size=3, max_size=3))
def test_R13_merging_is_idempotent_order_free_and_associative(
    empty_log: Path, chosen: list[set[int]], tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Three laptops that copied one pile of sheets end with the same rows, whoever merges whom first."""
    typed = _shifts(tmp_path_factory.mktemp("typed"), empty_log, chosen)

    def joined(plan: Callable[[list[Log], Callable[[Log, Log], None]], Log]) -> Mapping[str, Any]:
        folder = tmp_path_factory.mktemp("plan")
        logs = [Log.open(shutil.copy(path, folder), by="x", now=clock) for path in typed]

        def into(target: Log, source: Log) -> None:
            merge(target, read_source(source.path))

        try:
            for log in logs:
                log.connection.execute("PRAGMA synchronous = OFF")
            return _content(plan(logs, into))
        finally:
            for log in logs:
                log.close()

    def left_first(logs: list[Log], into: Callable[[Log, Log], None]) -> Log:
        a, b, c = logs
        into(a, b)
        into(a, c)
        return a

    def right_first(logs: list[Log], into: Callable[[Log, Log], None]) -> Log:
        a, b, c = logs
        into(b, c)
        into(a, b)
        return a

    def other_way(logs: list[Log], into: Callable[[Log, Log], None]) -> Log:
        a, b, c = logs
        into(c, a)
        into(c, b)
        return c

    def twice(logs: list[Log], into: Callable[[Log, Log], None]) -> Log:
        a, b, c = logs
        for source in (b, c, c, b):
            into(a, source)
        return a

    expected = joined(left_first)
    assert joined(right_first) == expected
    assert joined(other_way) == expected
    assert joined(twice) == expected
    assert len(expected["cut"]) == len(set().union(*chosen))


# files nobody should believe


def _tampered(scribe: Scribe, folder: Path, *statements: str) -> Path:
    """A copy of a log into which somebody put something by brute force."""
    scribe.log.connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    path = folder / "hostile.db"
    shutil.copy(scribe.log.path, path)
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("PRAGMA writable_schema = ON")
        for statement in statements:
            connection.execute(statement)
    return path


@pytest.mark.parametrize(
    ("statement", "words"),
    [
        (
            "CREATE TRIGGER mine AFTER INSERT ON cut BEGIN DELETE FROM change_context; END",
            "trigger mine that is none of the log's",
        ),
        ("CREATE VIEW mine AS SELECT load_extension('/tmp/x.so')", "view mine that is none"),
        ("CREATE TABLE mine (x DEFAULT (readfile('/etc/passwd')))", "table mine that is none"),
        ("DROP TRIGGER cut_kept", "trigger cut_kept is missing"),
        ("UPDATE sqlite_master SET sql = replace(sql, 'STRICT', '') WHERE name = 'cut'", "table cut was changed"),
        ("ALTER TABLE cut ADD COLUMN mine TEXT", "table cut was changed"),
        ("CREATE INDEX mine ON cut (abs(row))", "index mine that is none"),
    ],
)
def test_R13_a_database_built_otherwise_is_refused(
    scribe: Scribe, laptop: Laptop, tmp_path: Path, statement: str, words: str
) -> None:
    """Triggers, views, tables and columns of somebody's own are named and nothing is read."""
    path = _tampered(scribe, tmp_path, statement)
    before = path.read_bytes()
    with pytest.raises(InputError, match=words):
        read_source(path)
    assert path.read_bytes() == before


LOOSE = (
    "UPDATE sqlite_master SET sql = replace(sql, 'STRICT', '') WHERE type = 'table'",
    "DROP TRIGGER cut_same",
    "DROP TRIGGER cut_trail",
)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ("remark = x'00ff'", "bytes"),
        ("thickness_mm = 'thick'", "thickness_mm lies between 1 and 300, not 'thick'"),
        ("thickness_mm = 1e999", "thickness_mm"),
        ("outcome = 'splendid'", "words of the list outcome"),
        ("row = 4.5", "row lies between"),
        ("remark = printf('%.*c', 600, 'x')", "at most 500 characters"),
        ("as_typed = '{\"a\": 1}'", "as_typed does not hold"),
        ("as_typed = printf('%.*c', 70000, '[')", "as_typed"),
        ("created_by = ''", "created_by"),
        ("id = ''", "id holds"),
    ],
)
def test_R13_values_no_log_can_hold_are_refused_row_by_row(
    scribe: Scribe, laptop: Laptop, tmp_path: Path, change: str, words: str
) -> None:
    """A file with the log's schema but values put in behind its back is refused, naming the row."""
    scribe.cut(14, 1, "L14")
    path = _tampered(scribe, tmp_path, *LOOSE)
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("PRAGMA ignore_check_constraints = ON")
        connection.execute(f"UPDATE cut SET {change}")
    with (
        closing(sqlite3.connect(path, isolation_level=None)) as connection,
        closing(sqlite3.connect(scribe.log.path)) as good,
    ):  # put the good schema back over the bad rows
        connection.execute("PRAGMA writable_schema = ON")
        connection.execute("DELETE FROM sqlite_master WHERE type IN ('trigger', 'view')")
        for kind, name, of, sql in good.execute("SELECT type, name, tbl_name, sql FROM sqlite_master"):
            if kind in ("trigger", "view"):
                connection.execute("INSERT INTO sqlite_master SELECT ?, ?, ?, 0, ?", (kind, name, of, sql))
            else:
                connection.execute("UPDATE sqlite_master SET sql = ? WHERE name = ?", (sql, name))
    with pytest.raises(InputError, match=words):
        merge(laptop("day").log, read_source(path))


def test_R13_a_damaged_or_foreign_file_is_refused(scribe: Scribe, tmp_path: Path) -> None:
    """Missing, damaged, newer and foreign files each get their sentence, and the right kind of error."""
    with pytest.raises(FileError, match="no file"):
        read_source(tmp_path / "none.db")
    with pytest.raises(FileError, match="newer burnlog"):
        read_source(_tampered(scribe, tmp_path, "PRAGMA user_version = 99"))
    with pytest.raises(FileError, match="not a burnlog file"):
        read_source(_tampered(scribe, tmp_path, "PRAGMA application_id = 1"))
    (tmp_path / "x.json").write_text('{"format": "something"}')
    with pytest.raises(InputError, match="not a bundle"):
        read_source(tmp_path / "x.json")
    path = _tampered(scribe, tmp_path)
    data = bytearray(path.read_bytes())
    data[4096:] = bytes(len(data) - 4096)
    path.write_bytes(data)
    with pytest.raises((FileError, InputError)):
        read_source(path)


def _bundle(scribe: Scribe, folder: Path, change: Callable[[dict[str, Any]], None]) -> Path:
    path = folder / f"{len(list(folder.iterdir()))}.json"
    export_bundle(scribe.log, path)
    found = json.loads(path.read_text())
    change(found)
    path.write_text(json.dumps(found))
    return path


def test_R13_a_bundle_changed_by_hand_is_held_against_the_tables(
    scribe: Scribe, laptop: Laptop, tmp_path: Path
) -> None:
    """Values out of range, orphans and forged amendments in a bundle are refused; nothing is written."""
    scribe.cut(14, 1, "L14")
    day = laptop("day")
    before = _content(day.log)
    cases: dict[str, Callable[[dict[str, Any]], None]] = {
        "between 1 and 300": lambda found: found["tables"]["cut"][0].update(thickness_mm=0.1),
        "dive_id is needed": lambda found: found["tables"]["cut"][0].update(dive_id=None),
        "not an amendment": lambda found: found["amendments"].append({"id": "a", "table_name": "meta"}),
        "without its values": lambda found: found["amendments"].append(
            {
                "id": "a",
                "table_name": "person",
                "row_id": "p",
                "field": "display_name",
                "old": "Jo",
                "new": None,
                "why": "w",
                "by": "b",
                "at": "t",
            }
        ),
    }
    for words, change in cases.items():
        with pytest.raises(InputError, match=words):
            merge(day.log, read_source(_bundle(scribe, tmp_path, change)))
    with pytest.raises(ConflictError, match="no such dive"):
        merge(day.log, read_source(_bundle(scribe, tmp_path, lambda found: found["tables"].update(dive=[]))))
    assert _content(day.log) == before
    assert day.log.rows("SELECT * FROM amendment") == []


def test_names_stay_out_of_a_bundle_and_blank_no_name(laptop: Laptop, tmp_path: Path) -> None:
    """A bundle without names leaves the name that is here."""
    day, night = laptop("day"), laptop("night")
    for shift in (day, night):
        shift.log.fix("person", "D3", {"name": "Jo Marsh"}, why="asked to be named", by="x")
    report = _into(day.log, night.log, tmp_path, names=False)
    assert (report.added, report.filled) == ({}, 0)
    assert day.log.find("person", "D3")["display_name"] == "Jo Marsh"


def test_bundles_of_nothing_merge(tmp_path: Path, laptop: Laptop) -> None:
    """A bundle without rows changes nothing."""
    report = merge(laptop("day").log, Bundle(tmp_path / "x.json", "abc", False, False))
    assert (report.added, report.filled, report.same) == ({}, 0, 0)
