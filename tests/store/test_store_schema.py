"""The file defends itself: what raw SQL from any program can and cannot do."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing, suppress

import pytest
from scribe import Scribe

from burnlog.errors import InputError
from burnlog.store.log import Log, identity
from burnlog.store.tables import NUMBERED, TABLES
from burnlog.vocabulary import LISTS


@pytest.fixture
def raw(scribe: Scribe) -> Iterator[sqlite3.Connection]:
    """The log in the hands of another program: a plain connection, foreign keys off as SQLite's default has it."""
    cut = scribe.cut(14, 1, "L14", new_length_mm=500.0)
    scribe.tally(14, 7.0, cut)
    with closing(sqlite3.connect(scribe.log.path, isolation_level=None)) as connection:
        assert connection.execute("PRAGMA foreign_keys").fetchone() == (0,)
        yield connection


def _stamp(columns: str, values: str) -> str:
    return f"({columns}, created_at, created_by) VALUES ({values}, '2026-05-12', 'x')"


DIVE, LINE, CUT = identity("dive", "PIER7", 14), identity("line", "PIER7", "L14"), identity("cut", "PIER7", 14, 1)
NEW_CUT = "id, dive_id, line_id, row, pass_kind, outcome"
GOOD = f"'x', '{DIVE}', '{LINE}', 2, 'first', 'through'"
BAD = {
    "text in a number": (f"{NEW_CUT}, thickness_mm", f"{GOOD}, 'abc'"),
    "unknown dive": (NEW_CUT, f"'x', 'nowhere', '{LINE}', 2, 'first', 'through'"),
    "unknown line": (NEW_CUT, f"'x', '{DIVE}', 'nowhere', 2, 'first', 'through'"),
    "misspelt column": (f"{NEW_CUT}, thicknes_mm", f"{GOOD}, 12.7"),
    "beyond the hard range": (f"{NEW_CUT}, thickness_mm", f"{GOOD}, 301"),
    "unknown word": (NEW_CUT, f"'x', '{DIVE}', '{LINE}', 2, 'first', 'splendid'"),
    "unknown word in an open list": (f"{NEW_CUT}, position", f"{GOOD}, 'sideways'"),
    "other without a word": (f"{NEW_CUT}, position", f"{GOOD}, 'other: '"),
    "unknown word among several": (f"{NEW_CUT}, technique", f"{GOOD}, 'contact lost; haste'"),
    "re-burn with new length": (
        f"{NEW_CUT}, new_length_mm",
        f"'x', '{DIVE}', '{LINE}', 2, 're-burn', 'through', 5",
    ),
    "hanger with new length": (f"{NEW_CUT}, new_length_mm", f"'x', '{DIVE}', '{LINE}', 2, 'hanger', 'through', 5"),
    "longer than the line": (f"{NEW_CUT}, new_length_mm", f"{GOOD}, 600"),
    "row taken": (NEW_CUT, f"'x', '{DIVE}', '{LINE}', 1, 'first', 'through'"),
    "id taken": (NEW_CUT, f"'{CUT}', '{DIVE}', '{LINE}', 2, 'first', 'through'"),
    "short number taken": (f"no, {NEW_CUT}", f"1, {GOOD}"),
    "row number taken": (f"rowid, {NEW_CUT}", f"1, {GOOD}"),
    "stop before start": (
        f"{NEW_CUT}, start_at, stop_at",
        f"{GOOD}, '2026-05-12T10:03:00', '2026-05-12T09:42:00'",
    ),
    "a day that is none": (f"{NEW_CUT}, start_at", f"{GOOD}, '2026-02-30T10:03:00'"),
    "a time with a zone": (f"{NEW_CUT}, start_at", f"{GOOD}, '2026-05-12T10:03:00Z'"),
    "no outcome": ("id, dive_id, line_id, row, pass_kind", f"'x', '{DIVE}', '{LINE}', 2, 'first'"),
}


@pytest.mark.parametrize("verb", ["INSERT", "INSERT OR REPLACE", "INSERT OR IGNORE", "REPLACE"])
@pytest.mark.parametrize("case", BAD)
def test_R85_raw_sql_cannot_put_a_bad_cut_in(raw: sqlite3.Connection, case: str, verb: str) -> None:
    """A bad row is refused, or with OR IGNORE left out, whatever the statement says; no row goes missing for it."""
    before = raw.execute("SELECT * FROM cut").fetchall()
    statement = f"{verb} INTO cut {_stamp(*BAD[case])}"
    if verb == "INSERT OR IGNORE":
        with suppress(sqlite3.Error):
            raw.execute(statement)
    else:
        with pytest.raises(sqlite3.Error):
            raw.execute(statement)
    assert raw.execute("SELECT * FROM cut").fetchall() == before


def test_R85_the_good_row_beside_them_goes_in(raw: sqlite3.Connection) -> None:
    """The same statement with nothing wrong in it is taken: the refusals above are for their own reasons."""
    raw.execute(f"INSERT INTO cut {_stamp(NEW_CUT + ', technique', GOOD + ', ' + repr('contact lost; other: tide'))}")
    assert raw.execute("SELECT count(*), max(no) FROM cut").fetchone() == (2, 2)


@pytest.mark.parametrize("rods", ["-1", "2001", "'seven'"])
def test_R85_rods_below_zero_or_in_words_are_refused(raw: sqlite3.Connection, rods: str) -> None:
    """A rod count is 0 to 2000."""
    job = identity("job", "PIER7")
    columns, values = "id, job_id, dive_id, scope, rods_basis, rods", f"'x', '{job}', '{DIVE}', 'cut', 'measured'"
    with pytest.raises(sqlite3.IntegrityError, match="rods"):
        raw.execute(f"INSERT INTO tally {_stamp(columns, f'{values}, {rods}')}")


def test_R85_update_or_replace_cannot_swallow_a_row(raw: sqlite3.Connection) -> None:
    """Moving a row onto another's name, id or number is refused; OR REPLACE does not delete the other."""
    raw.execute(f"INSERT INTO cut {_stamp(NEW_CUT, GOOD)}")
    for change in ("row = 1", f"id = '{CUT}'", "no = 1", "rowid = 1", "created_by = 'somebody'"):
        with pytest.raises(sqlite3.IntegrityError):
            raw.execute(f"UPDATE OR REPLACE cut SET {change} WHERE id = 'x'")
    assert raw.execute("SELECT count(*) FROM cut").fetchone() == (2,)


@pytest.mark.parametrize("column", ["dive_id", "line_id", "rod_type_id"])
def test_R85_a_change_cannot_make_an_orphan(raw: sqlite3.Connection, column: str) -> None:
    """Pointing a row at nothing is refused with foreign keys off."""
    with pytest.raises(sqlite3.IntegrityError, match="no such"):
        raw.execute(f"UPDATE cut SET {column} = 'nowhere'")


@pytest.mark.parametrize("table", [*NUMBERED, "amendment", "meta", "_sqlite_migrations"])
def test_R08_nothing_is_deleted(raw: sqlite3.Connection, table: str) -> None:
    """DELETE is refused in every table that holds anything, and every table holds something to try it on."""
    raw.execute("UPDATE cut SET remark = 'seen'")
    _one_row_in_every_table(raw)
    assert raw.execute(f"SELECT count(*) FROM {table}").fetchone()[0] > 0
    with pytest.raises(sqlite3.IntegrityError, match=r"delete"):
        raw.execute(f"DELETE FROM {table}")


def _one_row_in_every_table(raw: sqlite3.Connection) -> None:
    job = identity("job", "PIER7")
    tally = raw.execute("SELECT id FROM tally").fetchone()[0]
    rows = {
        "rig": ("id, code", "'r', 'RIG2'"),
        "bank": ("id, code", "'b', 'BANK2'"),
        "segment": ("id, line_id, seq, length_mm, thickness_mm", f"'s', '{LINE}', 1, 500, 20"),
        "rod_part": ("id, tally_id, seq, stub_mm", f"'p', '{tally}', 1, 152.4"),
        "reading": ("id, job_id, static_kpa", f"'g', '{job}', 827"),
        "happening": ("id, job_id, kind, word", f"'h', '{job}', 'defect', 'rod stuck'"),
        "import_batch": ("id, file_name, content_hash, rows", "'i', 'a.csv', 'abc', 3"),
        "flag_decision": ("id, rule, target, decision, why", "'f', 'rods', 'T61', 'keep', 'a bad day'"),
        "fit_run": ("id, kind, data_hash, payload", "'t', 'rods', 'abc', '{}'"),
        "estimate": ("id, code, state, content_hash, payload", "'e', 'E1', 'draft', 'abc', '{}'"),
        "sourced_value": ("id, kind, name, source", "'v', 'rule', 'old hands', 'yard manual 1998'"),
    }
    for table, (columns, values) in rows.items():
        raw.execute(f"INSERT INTO {table} {_stamp(columns, values)}")


def test_R08_an_update_by_another_program_is_in_the_trail(raw: sqlite3.Connection, log: Log) -> None:
    """Raw SQL leaves old and new value, by *unknown*, why *changed outside burnlog*."""
    raw.execute("UPDATE cut SET new_length_mm = 400.0, remark = 'seen' WHERE no = 1")
    found = {row.field: row for row in log.trail("cut", "1")}
    assert set(found) == {"new_length_mm", "remark"}
    assert (found["new_length_mm"].old, found["new_length_mm"].new) == (500.0, 400.0)
    assert (found["remark"].old, found["remark"].new) == (None, "seen")
    assert {(row.by, row.why, row.kind) for row in found.values()} == {
        ("unknown", "changed outside burnlog", "outside")
    }


@pytest.mark.parametrize("table", [table.name for table in TABLES if table.name != "fit_run"])
def test_R08_every_column_of_every_table_is_watched(raw: sqlite3.Connection, table: str) -> None:
    """Setting any column by raw SQL to another value it can hold leaves exactly one amendment for it."""
    _one_row_in_every_table(raw)
    for field in (*NUMBERED[table].fields, NUMBERED[table].field("as_typed")):
        value = _another_value(raw, table, field.name)
        if value is None:
            continue
        raw.execute("BEGIN")
        try:
            raw.execute(f'UPDATE {table} SET "{field.name}" = ? WHERE no = 1', (value,))
        except sqlite3.IntegrityError:
            assert field.name in _TIED.get(table, ()), f"{table}.{field.name}"
        else:
            fields = raw.execute("SELECT field FROM amendment WHERE table_name = ?", (table,)).fetchall()
            assert fields == [(field.name,)]
        raw.execute("ROLLBACK")


_TIED = {
    "cut": ("dive_id", "line_id", "pass_kind", "stop_at", "new_length_mm"),
    "tally": ("scope", "rods", "rods_basis", "dive_id"),
    "rod_type": ("planned_stub_mm",),
    "rig": ("hose_loss_kpa",),
    "estimate": ("state",),
    "happening": ("kind",),
}
"""Columns that a rule ties to another column, so that this value cannot stand alone."""


def _another_value(raw: sqlite3.Connection, table: str, column: str) -> object:
    field = NUMBERED[table].field(column)
    (now,) = raw.execute(f'SELECT "{column}" FROM {table} WHERE no = 1').fetchone()
    if field.parent:
        there = raw.execute(f"SELECT id FROM {field.parent} WHERE id IS NOT ?", (now,)).fetchone()
        return there[0] if there else None
    if field.low is not None:
        assert field.high is not None
        middle = field.low + (field.high - field.low) / 2
        return type(field.low)(middle) if field.kind == "INTEGER" else middle
    options: list[object] = [entry.word for entry in LISTS[field.words].words] if field.words else list(field.among)
    shapes = {"date": "2026-05-13", "time": "2026-05-12T11:00:00", "json": '{"a": ["b", "c"]}', "flag": 1}
    options += [shapes[field.shape]] if field.shape else []
    options = options or (
        ["rod would not light"] if column == "word" else [7.5] if field.kind == "REAL" else ["abc", "xyz"]
    )
    return next(option for option in options if option != now)


def test_R08_a_trail_is_never_changed(raw: sqlite3.Connection) -> None:
    """Amendments cannot be altered, replaced or forged under a number that is taken."""
    raw.execute("UPDATE cut SET remark = 'seen'")
    with pytest.raises(sqlite3.IntegrityError, match="never changed"):
        raw.execute("UPDATE amendment SET why = 'because'")
    with pytest.raises(sqlite3.IntegrityError, match="already exists"):
        raw.execute(
            "REPLACE INTO amendment (no, id, table_name, row_id, field, why, by, at) "
            "VALUES (1, 'z', 'cut', 'c', 'remark', 'w', 'b', 'a')"
        )


def test_R08_a_voided_row_is_frozen(raw: sqlite3.Connection) -> None:
    """Once voided, a row is neither changed nor brought back, even by raw SQL."""
    raw.execute("UPDATE cut SET voided_at = '2026-05-12'")
    for change in ("remark = 'x'", "voided_at = NULL"):
        with pytest.raises(sqlite3.IntegrityError, match="voided"):
            raw.execute(f"UPDATE cut SET {change}")


def test_R85_the_identity_of_a_log_is_fixed(raw: sqlite3.Connection) -> None:
    """A made-up log cannot be turned into a real one, nor get another id."""
    for statement in (
        "UPDATE meta SET value = '0' WHERE key = 'made_up'",
        "REPLACE INTO meta (key, value) VALUES ('made_up', '0')",
    ):
        with pytest.raises(sqlite3.IntegrityError, match="identity"):
            raw.execute(statement)


@pytest.mark.parametrize(
    ("table", "field"),
    [(table.name, field.name) for table in TABLES for field in table.fields if field.words],
)
def test_R38_every_word_column_refuses_an_unknown_word(raw: sqlite3.Connection, table: str, field: str) -> None:
    """A word that is on no list is refused by raw SQL in every column that takes words, by that column's check."""
    _one_row_in_every_table(raw)
    with pytest.raises(sqlite3.IntegrityError, match=rf"CHECK.*{field} holds words of the list"):
        raw.execute(f"UPDATE {table} SET {field} = 'zzz'")
    with pytest.raises(sqlite3.IntegrityError, match="CHECK"):
        raw.execute(f"UPDATE {table} SET {field} = ''")


@pytest.mark.parametrize("kind", ["stoppage", "defect", "event"])
def test_R38_a_happening_takes_words_of_its_kind_only(raw: sqlite3.Connection, kind: str) -> None:
    """Every word of the kind's list, and other words after `other: `, stand; words of the other kinds do not."""
    own = {entry.word for entry in LISTS[kind].words}
    every = {entry.word for name in ("stoppage", "defect", "event") for entry in LISTS[name].words}
    taken = set()
    for number, word in enumerate([*sorted(every), "other: tar"]):
        values = f"'h{number}', '{identity('job', 'PIER7')}', '{kind}', '{word}'"
        try:
            raw.execute(f"INSERT INTO happening {_stamp('id, job_id, kind, word', values)}")
            taken.add(word)
        except sqlite3.IntegrityError:
            pass
    assert taken == own | {"other: tar"}


def test_R03_null_and_zero_stay_apart(scribe: Scribe) -> None:
    """A count that nobody made is NULL with its basis, a nought is 0; neither turns into the other in the file."""
    blank = scribe.tally(14, None, scribe.cut(14, 1, "L14"))
    none_left = scribe.cut(14, 2, "L15", hangers=0)
    rows = scribe.log.rows("SELECT rods, rods_basis FROM tally WHERE id = ?", (blank,))
    assert rows == [{"rods": None, "rods_basis": "not recorded"}]
    assert scribe.log.rows("SELECT hangers, restarts FROM cut WHERE id = ?", (none_left,)) == [
        {"hangers": 0, "restarts": None}
    ]


def test_R03_zero_rods_and_new_length_are_refused(scribe: Scribe) -> None:
    """0 rods on a cut with new length is refused however it comes about; with a part-burned rod it stands."""
    cut = scribe.cut(14, 1, "L14", new_length_mm=500.0)
    with pytest.raises(InputError, match="leave the count blank"):
        scribe.tally(14, 0.0, cut)
    assert scribe.log.rows("SELECT count(*) AS n FROM tally") == [{"n": 0}]
    tally = scribe.tally(14, 3.0, cut)
    with pytest.raises(InputError, match="leave the count blank"), scribe.log.transaction():
        scribe.log.connection.execute("UPDATE tally SET rods = 0 WHERE id = ?", (tally,))
    second = scribe.cut(14, 2, "L15")
    scribe.tally(14, 0.0, second)
    with pytest.raises(InputError, match="leave the count blank"), scribe.log.transaction():
        scribe.log.connection.execute("UPDATE cut SET new_length_mm = 10 WHERE id = ?", (second,))
    scribe.tally(14, 0.0, scribe.cut(14, 3, "L15", new_length_mm=50.0), stubs_mm=(152.4,))


def test_R09_length_counts_once(scribe: Scribe) -> None:
    """Two per cent over the plan is tape error; beyond it the line needs a reason, whichever way it comes about."""
    scribe.cut(14, 1, "L15", new_length_mm=400.0)
    scribe.cut(14, 2, "L15", new_length_mm=212.0)
    with pytest.raises(InputError, match="over_length_why"):
        scribe.cut(14, 3, "L15", new_length_mm=1.0)
    with pytest.raises(InputError, match="over_length_why"), scribe.log.transaction():
        scribe.log.connection.execute("UPDATE cut SET new_length_mm = 220 WHERE row = 2")
    with pytest.raises(InputError, match="over_length_why"), scribe.log.transaction():
        scribe.log.connection.execute("UPDATE line SET planned_length_mm = 500 WHERE code = 'L15'")
    with scribe.log.transaction():
        scribe.log.connection.execute("UPDATE line SET over_length_why = 'wall was longer' WHERE code = 'L15'")
    scribe.cut(14, 3, "L15", new_length_mm=100.0)
    with pytest.raises(InputError, match="over_length_why"), scribe.log.transaction():
        scribe.log.connection.execute("UPDATE line SET over_length_why = NULL WHERE code = 'L15'")


def test_R09_voided_length_no_longer_counts(scribe: Scribe) -> None:
    """A cut that was voided leaves its length to be cut again."""
    scribe.cut(14, 1, "L15", new_length_mm=600.0)
    scribe.log.void("cut", "PIER7 14.1", why="wrong line", by="JM")
    scribe.cut(14, 1, "L15", new_length_mm=610.0)
    assert scribe.log.find("cut", "PIER7 14.1")["new_length_mm"] == 610.0


def test_a_cut_joins_a_line_and_a_dive_of_one_job(scribe: Scribe, log: Log) -> None:
    """A line of another job is refused."""
    other = Scribe(log, "PIER8")
    line = other.line("L1")
    with pytest.raises(InputError, match="belong to one job"):
        scribe.log.insert(
            "cut",
            {
                "dive_id": identity("dive", "PIER7", 14),
                "line_id": line,
                "row": 1,
                "pass_kind": "first",
                "outcome": "through",
            },
        )


def test_R80_no_column_of_a_dive_record(log: Log) -> None:
    """Nothing in the schema is a decompression, repetitive group, treatment or medical field."""
    banned = re.compile(
        r"deco|repet|group|treat|medic|stop_depth|surface_interval|table_|bends|symptom|health|oxygen_toxic|nitrogen",
        re.IGNORECASE,
    )
    columns = [
        f"{table}.{row[1]}"
        for (table,) in log.connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall()
        for row in log.connection.execute(f"PRAGMA table_info({table})")
    ]
    assert len(columns) > 200
    assert [column for column in columns if banned.search(column.split(".")[1])] == ["amendment.table_name"]


def test_every_table_is_strict_and_signed(log: Log) -> None:
    """Each table is STRICT, and each row of the record says when and by whom it was written."""
    listed = log.connection.execute("PRAGMA table_list").fetchall()
    tables = {
        row[1]: row[5] for row in listed if row[0] == "main" and row[2] == "table" and row[1] != "sqlite_schema"
    }
    assert set(tables.values()) == {1}
    assert set(NUMBERED) < set(tables)
    for name in NUMBERED:
        needed = {row[1] for row in log.connection.execute(f"PRAGMA table_info({name})") if row[3] or row[5]}
        assert {"no", "id", "created_at", "created_by"} <= needed


def test_R39_a_value_without_a_source_is_refused(log: Log) -> None:
    """A rule of thumb, a planned stub or a hose loss without a source text is refused."""
    for source in (None, "", "   "):
        values = {"kind": "rule", "name": "old hands", "value": 8.5, "unit": "in per rod", "source": source}
        with pytest.raises(InputError, match="source"):
            log.insert("sourced_value", values)
    with pytest.raises(InputError, match="stub has a source"):
        log.insert("rod_type", {"code": "EXO", "planned_stub_mm": 76.2})
    with pytest.raises(InputError, match="hose loss has a source"):
        log.insert("rig", {"code": "RIG2", "hose_loss_kpa": 40.0})
