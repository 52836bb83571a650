"""The SQL of the log: strict tables, and the triggers that let the file defend itself.

Someone will open the file with another program. So the rules stand in the file: STRICT tables, ranges and words as
named CHECKs, parents and identities checked by trigger (a connection with foreign keys off, INSERT OR REPLACE or
UPDATE OR REPLACE do not get past), no deletion, a voided row is never changed, and every change of a value is
written to `amendment` by trigger, whoever makes it. A program that signs its changes puts one row into
`change_context` inside the same transaction and takes it out again; what is not signed is by *unknown*.

Dropping a table or a trigger is out of reach of any trigger and out of scope; `verify` compares the schema.

Only functions that SQLite itself calls innocuous stand here: every connection of burnlog has `trusted_schema` off.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from burnlog.store.table import TAIL, Field, Table
from burnlog.store.tables import MASTERS, NUMBERED, TABLES
from burnlog.vocabulary import LISTS, words

__all__ = ["APPLICATION_ID", "MASTERS", "NUMBERED", "TABLES", "VERSION", "Field", "Table", "statements"]

VERSION = 1
"""What `PRAGMA user_version` says of a file this program wrote."""
APPLICATION_ID = 0x6275726E
"""What `PRAGMA application_id` says of a log: `burn`."""

_BOOKS = (
    """CREATE TABLE amendment (
  "no" INTEGER PRIMARY KEY,
  id TEXT NOT NULL UNIQUE,
  table_name TEXT NOT NULL, row_id TEXT NOT NULL, field TEXT NOT NULL,
  old ANY, new ANY, why TEXT NOT NULL, "by" TEXT NOT NULL, "at" TEXT NOT NULL
) STRICT""",
    "CREATE INDEX amendment_row ON amendment (table_name, row_id)",
    """CREATE TABLE change_context (
  one INTEGER PRIMARY KEY CHECK (one = 1), why TEXT NOT NULL, "by" TEXT NOT NULL, "at" TEXT NOT NULL
) STRICT""",
    'CREATE TABLE meta ("key" TEXT PRIMARY KEY NOT NULL, value TEXT NOT NULL) STRICT, WITHOUT ROWID',
    """CREATE TRIGGER amendment_kept BEFORE DELETE ON amendment
  BEGIN SELECT RAISE(ABORT, 'the trail is never deleted'); END""",
    """CREATE TRIGGER amendment_fixed BEFORE UPDATE ON amendment
  BEGIN SELECT RAISE(ABORT, 'the trail is never changed'); END""",
    """CREATE TRIGGER amendment_new BEFORE INSERT ON amendment
  WHEN EXISTS (SELECT 1 FROM amendment WHERE id = NEW.id OR "no" = NEW."no")
  BEGIN SELECT RAISE(ABORT, 'this amendment already exists'); END""",
    """CREATE TRIGGER meta_kept BEFORE DELETE ON meta
  BEGIN SELECT RAISE(ABORT, 'the identity of a log is never deleted'); END""",
    """CREATE TRIGGER meta_fixed BEFORE UPDATE ON meta
  BEGIN SELECT RAISE(ABORT, 'the identity of a log is never changed'); END""",
    """CREATE TRIGGER meta_new BEFORE INSERT ON meta WHEN EXISTS (SELECT 1 FROM meta WHERE "key" = NEW."key")
  BEGIN SELECT RAISE(ABORT, 'the identity of a log is never changed'); END""",
)

_INDEXES = (
    "CREATE INDEX cut_line ON cut (line_id, voided_at, new_length_mm)",
    "CREATE INDEX tally_dive ON tally (dive_id)",
    "CREATE INDEX tally_cut_cut ON tally_cut (cut_id)",
    "CREATE INDEX happening_cut ON happening (cut_id)",
    "CREATE INDEX happening_dive ON happening (dive_id)",
    "CREATE INDEX reading_dive ON reading (dive_id)",
)

_VIEWS = (
    # A cut without a rod type of its own belongs to the dive's count only where the dive has a single one.
    """CREATE VIEW covered AS
  SELECT tc.tally_id, tc.cut_id FROM tally_cut tc
    JOIN tally t ON t.id = tc.tally_id JOIN cut c ON c.id = tc.cut_id
    WHERE tc.voided_at IS NULL AND t.voided_at IS NULL AND c.voided_at IS NULL
  UNION
  SELECT t.id, c.id FROM tally t JOIN cut c ON c.dive_id = t.dive_id
    WHERE t.scope = 'dive' AND t.voided_at IS NULL AND c.voided_at IS NULL
    AND (c.rod_type_id IS t.rod_type_id OR ((c.rod_type_id IS NULL OR t.rod_type_id IS NULL) AND 1 = (
      SELECT count(*) FROM tally o WHERE o.dive_id = t.dive_id AND o.scope = 'dive' AND o.voided_at IS NULL)))
  UNION
  SELECT t.id, c.id FROM tally t JOIN dive d ON d.job_id = t.job_id AND d.dive_date = t.day
    JOIN cut c ON c.dive_id = d.id
    WHERE t.scope = 'day' AND t.voided_at IS NULL AND d.voided_at IS NULL AND c.voided_at IS NULL
    AND (c.rod_type_id IS t.rod_type_id OR c.rod_type_id IS NULL OR t.rod_type_id IS NULL)""",
    """CREATE VIEW overlap AS
  SELECT a.cut_id, ta.id AS first_tally, tb.id AS second_tally
  FROM covered a JOIN covered b ON a.cut_id = b.cut_id AND a.tally_id < b.tally_id
  JOIN tally ta ON ta.id = a.tally_id JOIN tally tb ON tb.id = b.tally_id
  WHERE ta.rods IS NOT NULL AND tb.rods IS NOT NULL
    AND (ta.rod_type_id IS tb.rod_type_id OR ta.rod_type_id IS NULL OR tb.rod_type_id IS NULL)""",
)

_OVER = "more new length than the line is long: check it, or give the line a reason (over_length_why)"
_TOO_LONG = "planned_length_mm * 1.02 + 0.5"  # 2 % is what a tape slips; half a millimetre is rounding
_ZERO = "0 rods and new length: leave the count blank if nobody counted"
_NO_PARTS = "NOT EXISTS (SELECT 1 FROM rod_part p WHERE p.tally_id = t.id AND p.voided_at IS NULL)"
_ONE_JOB = (
    "(SELECT job_id FROM line WHERE id = NEW.line_id) <> (SELECT job_id FROM dive WHERE id = NEW.dive_id)",
    "the line and the dive of a cut belong to one job",
)


def _over_length(others: str) -> str:
    """A cut makes its line longer than planned; `others` picks the cuts that count besides it."""
    return f"""NEW.new_length_mm > 0 AND NEW.voided_at IS NULL AND EXISTS (
      SELECT 1 FROM line WHERE id = NEW.line_id AND planned_length_mm IS NOT NULL AND over_length_why IS NULL
      AND NEW.new_length_mm + (SELECT coalesce(sum(new_length_mm), 0) FROM cut
        WHERE line_id = NEW.line_id AND voided_at IS NULL{others}) > {_TOO_LONG})"""


_WHEN_NEW: Mapping[str, tuple[tuple[str, str], ...]] = {
    "cut": (_ONE_JOB, (_over_length(""), _OVER)),
    "tally_cut": (
        (
            f"""NEW.voided_at IS NULL AND EXISTS (SELECT 1 FROM tally t JOIN cut c ON c.id = NEW.cut_id
      WHERE t.id = NEW.tally_id
      AND t.scope = 'cut' AND t.rods = 0 AND c.new_length_mm > 0 AND {_NO_PARTS})""",
            _ZERO,
        ),
        (
            """NEW.voided_at IS NULL AND EXISTS (SELECT 1 FROM tally t JOIN tally_cut o ON o.tally_id = t.id
      WHERE t.id = NEW.tally_id AND t.scope = 'cut' AND o.voided_at IS NULL)""",
            "a tally of one cut covers one cut; its scope is cuts when it covers several",
        ),
    ),
}
"""What else refuses a new row, by table."""

_WHEN_CHANGED: Mapping[str, tuple[tuple[str, str], ...]] = {
    "cut": (
        _ONE_JOB,
        (
            "(NEW.new_length_mm IS NOT OLD.new_length_mm OR NEW.line_id IS NOT OLD.line_id) AND "
            + _over_length(" AND id <> NEW.id"),
            _OVER,
        ),
        (
            f"""NEW.new_length_mm > 0 AND NEW.new_length_mm IS NOT OLD.new_length_mm AND EXISTS (
      SELECT 1 FROM tally_cut tc JOIN tally t ON t.id = tc.tally_id
      WHERE tc.cut_id = NEW.id AND tc.voided_at IS NULL AND t.voided_at IS NULL AND t.scope = 'cut'
      AND t.rods = 0 AND {_NO_PARTS})""",
            _ZERO,
        ),
    ),
    "line": (
        (
            f"""NEW.planned_length_mm IS NOT NULL AND NEW.over_length_why IS NULL
      AND (NEW.planned_length_mm IS NOT OLD.planned_length_mm OR OLD.over_length_why IS NOT NULL)
      AND (SELECT coalesce(sum(new_length_mm), 0) FROM cut WHERE line_id = NEW.id AND voided_at IS NULL)
        > NEW.{_TOO_LONG}""",
            _OVER,
        ),
    ),
    "tally": (
        (
            f"""NEW.scope = 'cut' AND NEW.rods = 0 AND EXISTS (
      SELECT 1 FROM tally t JOIN tally_cut tc ON tc.tally_id = t.id JOIN cut c ON c.id = tc.cut_id
      WHERE t.id = NEW.id AND tc.voided_at IS NULL AND c.new_length_mm > 0 AND {_NO_PARTS})""",
            _ZERO,
        ),
    ),
    "estimate": (
        (
            """OLD.state <> 'draft' AND (NEW.payload IS NOT OLD.payload OR NEW.content_hash IS NOT OLD.content_hash
      OR NEW.code IS NOT OLD.code OR NEW.title IS NOT OLD.title)""",
            "an issued estimate is never changed; make a copy",
        ),
        (
            """(OLD.state = 'closed' AND NEW.actual IS NOT OLD.actual) OR NOT (OLD.state = NEW.state
      OR (OLD.state = 'draft' AND NEW.state = 'issued') OR (OLD.state = 'issued' AND NEW.state = 'closed'))""",
            "an estimate goes from draft to issued to closed, and stays there",
        ),
    ),
    "fit_run": (("1", "a fit that was kept is never changed"),),
}
"""What else refuses a change, by table."""


def statements() -> Iterator[str]:
    """Every statement that makes an empty log, in order."""
    for table in TABLES:
        yield _create(table)
        for place, key in enumerate(table.keys):
            yield f"CREATE UNIQUE INDEX {table.name}_key_{place} ON {table.name} ({_names(key)}) {_LIVE}"
    yield from _BOOKS
    yield from _INDEXES
    for table in TABLES:
        yield _kept(table)
        yield _new(table)
        yield _same(table)
        yield _trail(table)
    yield from _VIEWS


_LIVE = "WHERE voided_at IS NULL"  # a voided row frees its name for the row that replaces it


def _names(columns: tuple[str, ...]) -> str:
    return ", ".join(f'"{column}"' for column in columns)


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"


def _create(table: Table) -> str:
    parts = [
        '"no" INTEGER PRIMARY KEY CONSTRAINT "no is 1 or more" CHECK ("no" >= 1)',
        'id TEXT NOT NULL UNIQUE CONSTRAINT "id holds 1 to 64 characters" CHECK (length(id) BETWEEN 1 AND 64)',
        *(_column(field) for field in (*table.fields, *TAIL)),
        *(f'CONSTRAINT "{sentence}" CHECK ({condition})' for sentence, condition in table.rules),
    ]
    return f"CREATE TABLE {table.name} (\n  " + ",\n  ".join(parts) + "\n) STRICT"


def _column(field: Field) -> str:
    parts = [f'"{field.name}" {field.kind}']
    if field.parent:
        parts.append(f"REFERENCES {field.parent} (id)")
    if field.needed:
        parts.append("NOT NULL")
    if field.default:
        parts.append(f"DEFAULT {field.default}")
    condition = _condition(field)
    if condition:
        parts.append(f'CONSTRAINT "{field.sentence()}" CHECK ({condition})')
    return " ".join(parts)


def _condition(field: Field) -> str:
    """The field's range, words or shape as SQL; NULL passes every CHECK by SQL's own rule."""
    name = f'"{field.name}"'
    if field.low is not None:
        return f"{name} BETWEEN {field.low!r} AND {field.high!r}"
    if field.words:
        listed = words(field.words)
        other = f" OR {name} GLOB '{'*' if field.many else ''}other: ?*'" if LISTS[field.words].open else ""
        if not field.many:
            return f"{name} IN ({', '.join(map(_quoted, listed))}){other}"
        left = f"'; ' || {name} || '; '"
        for word in listed:  # take each word out once; nothing but the separator may be left
            left = f"replace({left}, {_quoted(f'; {word}; ')}, '; ')"
        return f"{left} = '; '{other}"
    if field.among:
        return f"{name} IN ({', '.join(map(_quoted, field.among))})"
    shapes = {
        "date": f"{name} IS date({name}, '+0 days')",
        "time": f"{name} IS strftime('%Y-%m-%dT%H:%M:%S', {name}, '+0 days')",
        "json": f"substr({name}, 1, 1) IN ('{{', '[')",
        "flag": f"{name} IN (0, 1)",
    }
    if field.shape:
        return shapes[field.shape]
    if not field.longest:
        return ""
    return f"length({'trim(' + name + ')' if field.needed else name}) " + (
        f"BETWEEN 1 AND {field.longest}" if field.needed else f"<= {field.longest}"
    )


def _refusals(trigger: str, cases: list[tuple[str, str]]) -> str:
    """A trigger that refuses with the first sentence whose condition holds."""
    choice = "\n    ".join(f"WHEN {condition} THEN RAISE(ABORT, {_quoted(text)})" for condition, text in cases)
    return f"CREATE TRIGGER {trigger}\n  BEGIN SELECT CASE\n    {choice}\n  END; END"


def _kept(table: Table) -> str:
    return _refusals(
        f"{table.name}_kept BEFORE DELETE ON {table.name}", [("1", "nothing is deleted from a log: void it")]
    )


def _orphans(table: Table, *, changed: bool) -> Iterator[tuple[str, str]]:
    for field in table.fields:
        if not field.parent:
            continue
        new = f'NEW."{field.name}"'
        moved = f'{new} IS NOT OLD."{field.name}" AND ' if changed else ""
        lost = f"{moved}{new} IS NOT NULL AND NOT EXISTS (SELECT 1 FROM {field.parent} WHERE id = {new})"
        yield lost, f"no such {field.parent.replace('_', ' ')} ({field.name})"


def _new(table: Table) -> str:
    """No second row of one identity and no child without its parent, whatever the statement says of conflicts."""
    name = table.name
    cases = [
        (f'EXISTS (SELECT 1 FROM {name} WHERE "{column}" = NEW."{column}")', f"this {table.spoken} is there already")
        for column in ("id", "no")
    ]
    for key in table.keys:
        same = " AND ".join(f'"{column}" = NEW."{column}"' for column in key)
        text = f"a {table.spoken} with this {', '.join(key)} is there already"
        cases.append((f"NEW.voided_at IS NULL AND EXISTS (SELECT 1 FROM {name} {_LIVE} AND {same})", text))
    cases.extend(_orphans(table, changed=False))
    cases.extend(_WHEN_NEW.get(name, ()))
    return _refusals(f"{name}_new BEFORE INSERT ON {name}", cases)


def _same(table: Table) -> str:
    """Identity stays, a voided row stays as it is, and no change makes two rows one or a child an orphan."""
    name = table.name
    moved = " OR ".join(f'OLD."{field}" IS NOT NEW."{field}"' for field in ("no", "id", "created_at", "created_by"))
    cases = [(moved, "the identity of a row is never changed")]
    if table.name == "person":  # a name can be forgotten at any time
        others = " OR ".join(
            f'OLD."{f.name}" IS NOT NEW."{f.name}"' for f in table.fields if f.name not in table.secret
        )
        cases.append((f"OLD.voided_at IS NOT NULL AND ({others})", "a voided row is never changed"))
    else:
        cases.append(("OLD.voided_at IS NOT NULL", "a voided row is never changed"))
    for key in table.keys:
        same = " AND ".join(f'"{column}" = NEW."{column}"' for column in key)
        changed = " OR ".join(f'OLD."{column}" IS NOT NEW."{column}"' for column in key)
        text = f"a {table.spoken} with this {', '.join(key)} is there already"
        cases.append((f"({changed}) AND EXISTS (SELECT 1 FROM {name} {_LIVE} AND {same} AND id <> NEW.id)", text))
    cases.extend(_orphans(table, changed=True))
    cases.extend(_WHEN_CHANGED.get(name, ()))
    return _refusals(f"{name}_same BEFORE UPDATE ON {name}", cases)


def _trail(table: Table) -> str:
    """An UPDATE by any program leaves one amendment for each value it changed."""
    watched = (*(field.name for field in table.fields), "as_typed", "voided_at")
    lines = []
    for column in watched:
        old, new = (
            ("'changed'", "'changed'")
            if column in table.secret or (table.secret and column == "as_typed")
            else (f'OLD."{column}"', f'NEW."{column}"')
        )
        lines.append(
            f'SELECT {_quoted(column)} AS f, OLD."{column}" IS NOT NEW."{column}" AS c, {old} AS o, {new} AS n'
        )
    values = "\n      UNION ALL ".join(lines)
    return f"""CREATE TRIGGER {table.name}_trail AFTER UPDATE ON {table.name}
  BEGIN INSERT INTO amendment (id, table_name, row_id, field, old, new, why, "by", "at")
    SELECT lower(hex(randomblob(16))), '{table.name}', NEW.id, f, o, n,
      coalesce((SELECT why FROM change_context), 'changed outside burnlog'),
      coalesce((SELECT "by" FROM change_context), 'unknown'),
      coalesce((SELECT "at" FROM change_context), strftime('%Y-%m-%dT%H:%M:%SZ', 'now'))
    FROM ({values}) WHERE c; END"""
