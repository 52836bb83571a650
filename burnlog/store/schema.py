"""The tables of the log, and the triggers that let the file defend itself.

Someone will open the file with another program. So the rules stand in the file: STRICT tables, ranges and words as
CHECKs, parents and identities checked by trigger (a connection with foreign keys off, or INSERT OR REPLACE, does
not get past), no deletion, and every change of a value written to `amendment` by trigger whoever makes it.
Dropping a table is out of reach of any trigger and out of scope.

Numbers are SI with the unit in the column name; NULL is *not recorded*. Ranges are the hard ones: what lies outside
is a slip of the pen, not a measurement. They are judgement, no limits for working.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from burnlog.vocabulary import LISTS

__all__ = ["MASTERS", "NUMBERED", "TABLES", "VERSION", "Field", "Table", "statements"]

VERSION = 1
"""What `PRAGMA user_version` says of a file this program wrote."""


@dataclass(frozen=True)
class Field:
    """One column: its name, SQLite type and the rest of its definition; `parent` names the table it points at."""

    name: str
    kind: str
    rule: str = ""
    parent: str = ""

    def ddl(self) -> str:
        reference = f" REFERENCES {self.parent}(id)" if self.parent else ""
        return f'"{self.name}" {self.kind}{reference}{" " + self.rule if self.rule else ""}'


@dataclass(frozen=True)
class Table:
    """One table: what a row is, its columns, its natural keys and the checks that span columns."""

    name: str
    about: str
    fields: tuple[Field, ...]
    keys: tuple[tuple[str, ...], ...] = ()
    checks: tuple[str, ...] = ()
    secret: tuple[str, ...] = ()
    """Columns whose change is recorded without the values."""

    def columns(self) -> tuple[str, ...]:
        return tuple(field.name for field in (*_HEAD, *self.fields, *_TAIL))


_HEAD = (Field("id", "TEXT", "PRIMARY KEY NOT NULL CHECK (length(id) > 0)"), Field("no", "INTEGER", "NOT NULL"))
_TAIL = (
    Field("as_typed", "TEXT", "NOT NULL DEFAULT '{}' CHECK (json_valid(as_typed))"),
    Field("created_at", "TEXT", "NOT NULL"),
    Field("created_by", "TEXT", "NOT NULL"),
    Field("voided_at", "TEXT"),
)


def _text(name: str, longest: int, *, needed: bool = False) -> Field:
    rule = f'CHECK (length("{name}") {"BETWEEN 1 AND" if needed else "<="} {longest})'
    return Field(name, "TEXT", ("NOT NULL " if needed else "") + rule)


def _real(name: str, low: float, high: float) -> Field:
    return Field(name, "REAL", f'CHECK ("{name}" BETWEEN {low} AND {high})')


def _int(name: str, low: int, high: int, *, needed: bool = False) -> Field:
    return Field(name, "INTEGER", ("NOT NULL " if needed else "") + f'CHECK ("{name}" BETWEEN {low} AND {high})')


def _flag(name: str) -> Field:
    return Field(name, "INTEGER", f'NOT NULL DEFAULT 0 CHECK ("{name}" IN (0, 1))')


def _word(name: str, words: str | None = None, *, needed: bool = False) -> Field:
    found = LISTS[words or name]
    listed = ", ".join(f"'{entry.word}'" for entry in found.words)
    rule = f'"{name}" IN ({listed})'
    if found.open:
        rule += f" OR \"{name}\" LIKE 'other: _%'"
    return Field(name, "TEXT", ("NOT NULL " if needed else "") + f"CHECK ({rule})")


def _date(name: str, *, needed: bool = False) -> Field:
    return Field(name, "TEXT", ("NOT NULL " if needed else "") + f'CHECK ("{name}" IS date("{name}"))')


def _time(name: str) -> Field:
    return Field(name, "TEXT", f'CHECK ("{name}" IS NULL OR datetime("{name}") IS NOT NULL)')


def _ref(name: str, parent: str, *, needed: bool = False) -> Field:
    return Field(name, "TEXT", "NOT NULL" if needed else "", parent)


TABLES: tuple[Table, ...] = (
    Table(
        "job",
        "one contract or one class",
        (
            _text("code", 20, needed=True),
            _text("title", 120),
            _word("purpose"),
            _word("record_class"),
            _word("water"),
            _text("place", 120),
            _text("time_zone", 64),
            _text("depth_datum", 120),
            _word("units_profile"),
            _date("start_date"),
            _date("end_date"),
            _text("client_ref", 200),
            _text("note", 2000),
            _flag("made_up"),
        ),
        keys=(("code",),),
        checks=("start_date IS NULL OR end_date IS NULL OR end_date >= start_date",),
    ),
    Table(
        "person",
        "one code; a name only where somebody wants one",
        (
            _text("code", 12, needed=True),
            _text("display_name", 120),
            _text("roles", 120),
            _date("notice_date"),
            _flag("active"),
        ),
        keys=(("code",),),
        secret=("display_name",),
    ),
    Table(
        "rod_type",
        "one kind of rod",
        (
            _text("code", 20, needed=True),
            _word("family"),
            _real("outer_dia_mm", 4, 20),
            _real("length_mm", 200, 1000),
            _real("planned_stub_mm", 20, 150),
            _text("stub_source", 200),
            _int("pack_count", 1, 500),
        ),
        keys=(("code",),),
        checks=(
            "planned_stub_mm IS NULL OR length(trim(coalesce(stub_source, ''))) > 0",
            "planned_stub_mm IS NULL OR length_mm IS NULL OR planned_stub_mm < length_mm / 2",
        ),
    ),
    Table(
        "rig",
        "torch, hose and power source",
        (
            _text("code", 12, needed=True),
            _word("power_kind"),
            _real("rated_a", 50, 1500),
            _real("hose_bore_mm", 3, 20),
            _real("hose_length_m", 0, 300),
            _text("source", 200),
        ),
        keys=(("code",),),
    ),
    Table(
        "bank",
        "an oxygen bank",
        (
            _text("code", 12, needed=True),
            _int("cylinders", 1, 64),
            _real("contents_kg_each", 0.5, 40),
            _real("label_pressure_kpa", 5000, 35000),
            _real("label_temp_c", 0, 40),
            _word("contents_route"),
            _real("purity_pct", 90, 100),
        ),
        keys=(("code",),),
    ),
    Table(
        "line",
        "one planned cut line on a piece",
        (
            _ref("job_id", "job", needed=True),
            _text("code", 20, needed=True),
            _text("section", 60),
            _word("section_kind"),
            Field("dims", "TEXT", "CHECK (dims IS NULL OR json_valid(dims))"),
            _word("material"),
            _real("thickness_mm", 1, 300),
            _word("thickness_basis", "basis"),
            _real("planned_length_mm", 10, 200000),
            _word("length_basis", "basis"),
            _word("closed_space"),
            _int("interlocks", 0, 500),
            _int("roots", 0, 500),
            _word("state_noted", "line_state"),
            _text("over_length_why", 300),
        ),
        keys=(("job_id", "code"),),
    ),
    Table(
        "segment",
        "a part of a line with its own thickness",
        (
            _ref("line_id", "line", needed=True),
            _int("seq", 1, 200, needed=True),
            Field("length_mm", "REAL", "NOT NULL CHECK (length_mm BETWEEN 1 AND 200000)"),
            Field("thickness_mm", "REAL", "NOT NULL CHECK (thickness_mm BETWEEN 1 AND 300)"),
            _word("position"),
            _word("backing"),
        ),
        keys=(("line_id", "seq"),),
    ),
    Table(
        "dive",
        "one diver, one descent, or one dry practice turn; points at the legal log and replaces nothing of it",
        (
            _ref("job_id", "job", needed=True),
            _int("dive_no", 1, 9999, needed=True),
            _date("dive_date", needed=True),
            _text("sheet", 40),
            _text("log_ref", 120),
            _word("record_class"),
            _word("setting"),
            _word("water"),
            _ref("diver_id", "person", needed=True),
            _text("crew", 12),
            _ref("tender_id", "person"),
            _ref("supervisor_id", "person"),
            _ref("rig_id", "rig"),
            _ref("bank_id", "bank"),
            _real("depth_msw", 0, 300),
            _word("visibility"),
            _word("current"),
            _word("surge"),
            _real("water_temp_c", -2, 40),
            _real("bottom_time_s", 0, 36000),
            _real("work_time_s", 0, 36000),
            _real("start_up_s", 0, 36000),
            _int("calls_made", 0, 10000),
            _int("calls_right", 0, 10000),
            _int("faults", 0, 1000),
        ),
        keys=(("job_id", "dive_no"),),
        checks=("NOT (setting = 'dry practice' AND depth_msw IS NOT NULL)",),
    ),
    Table(
        "cut",
        "one continuous piece of work by one diver on one line in one dive",
        (
            _ref("dive_id", "dive", needed=True),
            _ref("line_id", "line", needed=True),
            _int("row", 1, 999, needed=True),
            _real("thickness_mm", 1, 300),
            _ref("rod_type_id", "rod_type"),
            _word("family"),
            _word("pass_kind", needed=True),
            _time("start_at"),
            _time("stop_at"),
            _real("elapsed_s", 1, 36000),
            _real("burn_s", 0, 36000),
            _real("hot_s", 0, 36000),
            _real("new_length_mm", 0, 204000),
            _int("restarts", 0, 200),
            _int("hangers", 0, 200),
            _word("hangers_at"),
            _word("power"),
            _real("set_a", 5, 1500),
            _real("delivered_a", 5, 1500),
            _real("static_kpa", 0, 3500),
            _real("flowing_kpa", 0, 3500),
            _real("bank_start_kpa", 0, 35000),
            _real("bank_end_kpa", 0, 35000),
            _word("position"),
            _word("fouling"),
            _word("backing"),
            _word("edge"),
            _word("outcome", needed=True),
            _text("technique", 300),
            _text("remark", 500),
            _text("twice_why", 300),
        ),
        keys=(("dive_id", "row"),),
        checks=(
            "stop_at IS NULL OR start_at IS NULL OR stop_at > start_at",
            "pass_kind = 'first' OR coalesce(new_length_mm, 0) = 0",
        ),
    ),
    Table(
        "tally",
        "a count of rods over a stated scope; a box tally counts the box alone",
        (
            _ref("job_id", "job", needed=True),
            _ref("dive_id", "dive"),
            _date("day"),
            _word("scope", "tally_scope", needed=True),
            _ref("rod_type_id", "rod_type"),
            _real("rods", 0, 2000),
            _word("rods_basis", "basis", needed=True),
            _int("issued", 0, 2000),
            _int("returned", 0, 2000),
            _int("lost", 0, 500),
            _int("broken_or_wet", 0, 500),
            _int("would_not_light", 0, 500),
            _text("lot", 40),
            _text("count_basis", 60),
        ),
        checks=(
            "returned IS NULL OR issued IS NULL OR returned <= issued",
            "dive_id IS NOT NULL OR day IS NOT NULL",
            "(rods IS NULL) = (rods_basis IN ('not recorded', 'does not apply'))",
            "scope <> 'box' OR rods IS NULL",
        ),
    ),
    Table(
        "tally_cut",
        "a cut that a tally covers",
        (_ref("tally_id", "tally", needed=True), _ref("cut_id", "cut", needed=True)),
        keys=(("tally_id", "cut_id"),),
    ),
    Table(
        "rod_part",
        "what was left of one part-burned rod",
        (
            _ref("tally_id", "tally", needed=True),
            _int("seq", 1, 200, needed=True),
            Field("stub_mm", "REAL", "NOT NULL CHECK (stub_mm BETWEEN 0 AND 1000)"),
        ),
        keys=(("tally_id", "seq"),),
    ),
    Table(
        "reading",
        "one look at the gauges",
        (
            _ref("job_id", "job", needed=True),
            _ref("dive_id", "dive"),
            _ref("rig_id", "rig"),
            _ref("bank_id", "bank"),
            _time("read_at"),
            _int("after_rod", 0, 2000),
            _real("bank_kpa", 0, 35000),
            _real("static_kpa", 0, 3500),
            _real("flowing_kpa", 0, 3500),
            _real("temp_c", -30, 60),
            _text("gauge", 40),
            _word("reason", "reading_reason"),
        ),
        checks=("bank_kpa IS NOT NULL OR static_kpa IS NOT NULL OR flowing_kpa IS NOT NULL",),
    ),
    Table(
        "happening",
        "a stoppage, a defect or an event",
        (
            Field("kind", "TEXT", "NOT NULL CHECK (kind IN ('stoppage', 'defect', 'event'))"),
            _text("word", 120, needed=True),
            _ref("job_id", "job", needed=True),
            _ref("dive_id", "dive"),
            _ref("cut_id", "cut"),
            _int("count", 1, 99),
            _real("seconds", 1, 36000),
            _word("place", "hangers_at"),
            _word("outcome", "event_outcome"),
            _time("at"),
            _text("report_ref", 60),
            _text("text", 1000),
        ),
        checks=(
            *(
                f"kind <> '{kind}' OR word LIKE 'other: _%' OR word IN "
                f"({', '.join(repr(entry.word) for entry in LISTS[kind].words)})"
                for kind in ("stoppage", "defect", "event")
            ),
        ),
    ),
    Table(
        "import_batch",
        "one file taken in",
        (
            _text("file_name", 400, needed=True),
            _text("content_hash", 64, needed=True),
            _int("rows", 0, 10_000_000, needed=True),
        ),
        keys=(("content_hash",),),
    ),
    Table(
        "flag_decision",
        "what somebody decided about a flag",
        (
            _text("rule", 60, needed=True),
            _text("target", 60, needed=True),
            _word("decision", needed=True),
            Field("why", "TEXT", "NOT NULL CHECK (length(trim(why)) BETWEEN 3 AND 300)"),
        ),
    ),
    Table(
        "fit_run",
        "a fit with the frame it used, so that a frozen figure repeats",
        (
            _text("kind", 40, needed=True),
            _text("data_hash", 64, needed=True),
            Field("payload", "TEXT", "NOT NULL CHECK (json_valid(payload))"),
        ),
    ),
    Table(
        "estimate",
        "a bid: draft, issued or closed",
        (
            _text("code", 20, needed=True),
            Field("state", "TEXT", "NOT NULL CHECK (state IN ('draft', 'issued', 'closed'))"),
            _text("title", 120),
            _text("content_hash", 64, needed=True),
            Field("payload", "TEXT", "NOT NULL CHECK (json_valid(payload))"),
            Field("actual", "TEXT", "CHECK (actual IS NULL OR json_valid(actual))"),
        ),
        keys=(("code",),),
        secret=("payload",),
    ),
    Table(
        "sourced_value",
        "a value the user brought: a section, a rule of thumb, a price; never without a source",
        (
            Field("kind", "TEXT", "NOT NULL CHECK (kind IN ('section', 'rule', 'price'))"),
            _text("name", 120, needed=True),
            Field("value", "REAL"),
            _text("unit", 20),
            Field("detail", "TEXT", "NOT NULL DEFAULT '{}' CHECK (json_valid(detail))"),
            Field("source", "TEXT", "NOT NULL CHECK (length(trim(source)) BETWEEN 1 AND 200)"),
        ),
        keys=(("kind", "name"),),
    ),
)
"""Every table of the record. Each also has id, no, as_typed, created_at, created_by and voided_at."""

NUMBERED: Mapping[str, Table] = {table.name: table for table in TABLES}
MASTERS = ("job", "person", "rod_type", "rig", "bank")

_BOOKS = """
CREATE TABLE amendment (
  no INTEGER PRIMARY KEY AUTOINCREMENT,
  id TEXT NOT NULL UNIQUE,
  table_name TEXT NOT NULL, row_id TEXT NOT NULL, field TEXT NOT NULL,
  old TEXT, new TEXT, why TEXT NOT NULL, by TEXT NOT NULL, at TEXT NOT NULL
) STRICT;
CREATE INDEX amendment_row ON amendment (table_name, row_id);
CREATE TABLE change_context (
  one INTEGER PRIMARY KEY CHECK (one = 1), why TEXT NOT NULL, by TEXT NOT NULL, at TEXT NOT NULL
) STRICT;
CREATE TABLE meta (key TEXT PRIMARY KEY NOT NULL, value TEXT NOT NULL) STRICT;
CREATE TRIGGER amendment_kept BEFORE DELETE ON amendment BEGIN SELECT RAISE(ABORT, 'the trail is never deleted'); END;
CREATE TRIGGER amendment_fixed BEFORE UPDATE ON amendment BEGIN SELECT RAISE(ABORT, 'the trail is never changed'); END;
CREATE TRIGGER amendment_new BEFORE INSERT ON amendment
  WHEN EXISTS (SELECT 1 FROM amendment WHERE id = NEW.id OR no = NEW.no)
  BEGIN SELECT RAISE(ABORT, 'this amendment already exists'); END;
CREATE TRIGGER meta_kept BEFORE DELETE ON meta BEGIN SELECT RAISE(ABORT, 'meta is never deleted'); END;
CREATE TRIGGER meta_fixed BEFORE UPDATE ON meta WHEN OLD.key IN ('db_id', 'made_up')
  BEGIN SELECT RAISE(ABORT, 'the identity of a log is never changed'); END;
CREATE TRIGGER meta_new BEFORE INSERT ON meta WHEN EXISTS (SELECT 1 FROM meta WHERE key = NEW.key)
  BEGIN SELECT RAISE(ABORT, 'this entry of meta already exists'); END
"""

_INDEXES = """
CREATE INDEX cut_line ON cut (line_id);
CREATE INDEX tally_dive ON tally (dive_id);
CREATE INDEX tally_cut_cut ON tally_cut (cut_id);
CREATE INDEX happening_cut ON happening (cut_id);
CREATE INDEX happening_dive ON happening (dive_id);
CREATE INDEX reading_dive ON reading (dive_id)
"""

_VIEWS = """
CREATE VIEW overlap AS
  SELECT a.cut_id, a.tally_id AS first_tally, b.tally_id AS second_tally
  FROM tally_cut a JOIN tally_cut b ON a.cut_id = b.cut_id AND a.tally_id < b.tally_id
  JOIN tally ta ON ta.id = a.tally_id AND ta.voided_at IS NULL AND ta.scope <> 'box'
  JOIN tally tb ON tb.id = b.tally_id AND tb.voided_at IS NULL AND tb.scope <> 'box'
  WHERE a.voided_at IS NULL AND b.voided_at IS NULL AND ta.rod_type_id IS tb.rod_type_id
"""

_RULES = """
CREATE TRIGGER cut_length BEFORE INSERT ON cut WHEN NEW.new_length_mm > 0 AND EXISTS (
  SELECT 1 FROM line WHERE id = NEW.line_id AND planned_length_mm IS NOT NULL AND over_length_why IS NULL
    AND NEW.new_length_mm + (SELECT coalesce(sum(new_length_mm), 0) FROM cut
      WHERE line_id = NEW.line_id AND voided_at IS NULL) > planned_length_mm * 1.02 + 0.5)
  BEGIN SELECT RAISE(ABORT, 'more new length than the line is long'); END;
CREATE TRIGGER tally_cut_zero BEFORE INSERT ON tally_cut WHEN EXISTS (
  SELECT 1 FROM tally t JOIN cut c ON c.id = NEW.cut_id WHERE t.id = NEW.tally_id AND t.scope = 'cut'
    AND t.rods = 0 AND c.new_length_mm > 0
    AND NOT EXISTS (SELECT 1 FROM rod_part p WHERE p.tally_id = t.id))
  BEGIN SELECT RAISE(ABORT, 'no rods and new length: leave the count blank if nobody counted'); END;
CREATE TRIGGER estimate_issued BEFORE UPDATE OF payload, content_hash, code ON estimate WHEN OLD.state <> 'draft'
  BEGIN SELECT RAISE(ABORT, 'an issued estimate is never changed; make a copy'); END;
CREATE TRIGGER estimate_state BEFORE UPDATE OF state ON estimate
  WHEN NOT (OLD.state = NEW.state OR (OLD.state = 'draft' AND NEW.state = 'issued')
    OR (OLD.state = 'issued' AND NEW.state = 'closed'))
  BEGIN SELECT RAISE(ABORT, 'an estimate goes from draft to issued to closed'); END;
CREATE TRIGGER fit_run_fixed BEFORE UPDATE ON fit_run
  BEGIN SELECT RAISE(ABORT, 'a fit that was kept is never changed'); END
"""


def statements() -> Iterator[str]:
    """Every statement that makes an empty log, in order."""
    for table in TABLES:
        yield _create(table)
    yield from _split(_BOOKS)
    yield from _split(_INDEXES)
    for table in TABLES:
        yield from _guards(table)
        if table.name != "fit_run":
            yield from _trail(table)
    yield from _split(_RULES)
    yield from _split(_VIEWS)


def _split(script: str) -> Iterator[str]:
    """Statements of a script whose triggers hold semicolons of their own."""
    statement = ""
    for piece in script.strip().split(";"):
        statement += piece
        if "BEGIN" in statement and not piece.strip().endswith("END"):
            statement += ";"
            continue
        if statement.strip():
            yield statement.strip()
        statement = ""


def _create(table: Table) -> str:
    parts = [field.ddl() for field in (*_HEAD, *table.fields, *_TAIL)]
    parts.append("UNIQUE (no)")
    parts.extend(f"UNIQUE ({', '.join(key)})" for key in table.keys)
    parts.extend(f"CHECK ({check})" for check in table.checks)
    return f"CREATE TABLE {table.name} (\n  " + ",\n  ".join(parts) + "\n) STRICT"


def _refuse(name: str, when: str, condition: str, message: str) -> str:
    text = message.replace("'", "''")
    return f"CREATE TRIGGER {name} BEFORE {when} WHEN {condition} BEGIN SELECT RAISE(ABORT, '{text}'); END"


def _guards(table: Table) -> Iterator[str]:
    """No deletion, no second row of one identity, no child without its parent, no change of identity."""
    t = table.name
    yield f"CREATE TRIGGER {t}_kept BEFORE DELETE ON {t} BEGIN SELECT RAISE(ABORT, 'nothing is deleted: void it'); END"
    for place, key in enumerate((("id",), ("no",), *table.keys)):
        same = " AND ".join(f"{column} = NEW.{column}" for column in key)
        exists = f"EXISTS (SELECT 1 FROM {t} WHERE {same}"
        yield _refuse(
            f"{t}_new_{place}", f"INSERT ON {t}", exists + ")", f"this {t} already exists ({', '.join(key)})"
        )
        if place:
            columns = ", ".join(key)
            other = exists + " AND id <> NEW.id)"
            yield _refuse(f"{t}_same_{place}", f"UPDATE OF {columns} ON {t}", other, f"this {t} already exists")
    for field in table.fields:
        if field.parent:
            missing = f"NEW.{field.name} IS NOT NULL AND NOT EXISTS (SELECT 1 FROM {field.parent} WHERE id = NEW.{field.name})"
            for verb, when in (("in", f"INSERT ON {t}"), ("up", f"UPDATE OF {field.name} ON {t}")):
                yield _refuse(f"{t}_{field.name}_{verb}", when, missing, f"no such {field.parent}")
    changed = " OR ".join(f"OLD.{name} IS NOT NEW.{name}" for name in ("id", "no", "created_at", "created_by"))
    yield _refuse(f"{t}_same_id", f"UPDATE ON {t}", changed, "the identity of a row is never changed")


def _trail(table: Table) -> Iterator[str]:
    """One trigger a column, so that an UPDATE by any program leaves its mark."""
    watched = (*table.fields, *(field for field in _TAIL if field.name in ("as_typed", "voided_at")))
    for field in watched:
        name = field.name
        hidden = name in table.secret or (bool(table.secret) and name == "as_typed")
        old, new = (
            ("'changed'", "'changed'") if hidden else (f'CAST(OLD."{name}" AS TEXT)', f'CAST(NEW."{name}" AS TEXT)')
        )
        yield (
            f'CREATE TRIGGER {table.name}_{name}_trail AFTER UPDATE OF "{name}" ON {table.name}\n'
            f'  WHEN OLD."{name}" IS NOT NEW."{name}"\n'
            "  BEGIN INSERT INTO amendment (id, table_name, row_id, field, old, new, why, by, at) VALUES (\n"
            f"    lower(hex(randomblob(16))), '{table.name}', NEW.id, '{name}', {old}, {new},\n"
            "    coalesce((SELECT why FROM change_context), 'changed outside burnlog'),\n"
            "    coalesce((SELECT by FROM change_context), 'unknown'),\n"
            "    coalesce((SELECT at FROM change_context), strftime('%Y-%m-%dT%H:%M:%SZ', 'now'))); END"
        )
