"""Two logs made one: what day and night shift typed on different laptops.

Rows are the same when their permanent ids are. The same id with the same content is skipped, a new id is added; the
same id with other content is a conflict: both versions are shown and nothing is written. So merging is idempotent,
and for inputs without conflict neither order nor grouping matters.

Content is what a row says. Its short number, when and by whom it was typed, and how an estimate is called are not.
A master or a line is known by its code on any laptop, and each may know only a part: a blank there is filled from
the other, through the trail. What arrives is held row by row against the tables of this program first, and against
every rule of the file on its way in.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from burnlog.errors import ConflictError, FileError, InputError
from burnlog.store.bundle import Bundle, load_bundle
from burnlog.store.connection import check_head
from burnlog.store.foreign import check_values, load_database
from burnlog.store.table import Table
from burnlog.store.tables import MASTERS, NUMBERED, TABLES

if TYPE_CHECKING:
    from burnlog.store.log import Log

__all__ = ["MergeReport", "merge", "read_source"]

Row = dict[str, Any]
_LOCAL = frozenset(("no", "created_at", "created_by"))
_FILLED = frozenset((*MASTERS, "line"))
_MOST_SHOWN = 20


@dataclass(frozen=True)
class MergeReport:
    """What a merge did.

    Attributes
    ----------
    source : Path
    db_id : str
        Id of the log that came in.
    added : dict of str to int
        New rows by table.
    filled : int
        Blanks of masters and lines that the other log knew.
    same : int
        Rows that were here already.
    amendments : int
        Entries of the other log's trail that are new here.
    renamed : tuple of str
        Estimates whose code was taken here, and what they are called now.
    """

    source: Path
    db_id: str
    added: dict[str, int] = field(default_factory=dict)
    filled: int = 0
    same: int = 0
    amendments: int = 0
    renamed: tuple[str, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """The result as plain values."""
        return {
            "source": str(self.source),
            "db_id": self.db_id,
            "added": self.added,
            "filled": self.filled,
            "same": self.same,
            "amendments": self.amendments,
            "renamed": list(self.renamed),
        }


def read_source(path: Path | str) -> Bundle:
    """A bundle, or another log, as rows; a log is opened for reading only and nothing in it is run.

    Raises
    ------
    FileError
        Missing, damaged, or written by a newer program.
    InputError
        Neither a bundle nor a log of this program, or something in it no log can hold.
    """
    path = Path(path)
    try:
        with path.open("rb") as stream:
            head = stream.read(16)
    except FileNotFoundError as error:
        raise FileError(f"there is no file {path}; `burnlog export bundle.json` makes a bundle.") from error
    except OSError as error:
        raise FileError(f"{path} cannot be read ({error.strerror}).") from error
    if head == b"SQLite format 3\x00":
        check_head(path)
        return load_database(path)
    return load_bundle(path)


def merge(log: Log, incoming: Bundle, *, progress: Callable[[int, int], None] | None = None) -> MergeReport:
    """Add to a log what another one holds, all or nothing.

    Parameters
    ----------
    log : Log
        Open for writing.
    incoming : Bundle
        From `read_source`.
    progress : Callable, optional
        Called with how much was done, and of how much: each row is compared, then added.

    Returns
    -------
    MergeReport

    Raises
    ------
    InputError
        One of the two is made up and the other is not, or a row that comes in cannot stand in its table.
    ConflictError
        Two versions of one row, or rows that do not fit together; nothing is written.
    """
    if incoming.made_up != log.made_up:
        kinds = ("made up", "real") if incoming.made_up else ("real", "made up")
        raise InputError(
            f"{incoming.path} is {kinds[0]} and {log.path} is {kinds[1]}: the two are never joined. "
            "Nothing was written."
        )
    check_values(incoming)
    with log.transaction(why=f"merged from log {incoming.db_id[:8]}", by=log.by):
        return _Merge(log, incoming, progress).run()


class _Merge:
    """One merge, inside a transaction."""

    def __init__(self, log: Log, incoming: Bundle, progress: Callable[[int, int], None] | None = None) -> None:
        self.log = log
        self.incoming = incoming
        self.there = {name: {row["id"]: row for row in rows} for name, rows in incoming.tables.items()}
        self.conflicts: list[str] = []
        self.fresh: dict[str, list[Row]] = {}
        self.fills: list[tuple[str, str, Row]] = []
        self.filled = 0
        self.same = 0
        self.renamed: list[str] = []
        self._progress = progress
        self._done = 0
        self._to_do = 2 * sum(len(rows) for rows in incoming.tables.values())

    def _tell(self, rows: int) -> None:
        self._done += rows
        if self._progress is not None:
            self._progress(self._done, self._to_do)

    def run(self) -> MergeReport:
        for table in TABLES:
            self._compare(table)
        self._refuse_conflicts()
        try:
            self._fill()
            added = {name: self._add(NUMBERED[name], rows) for name, rows in self.fresh.items() if rows}
            self._tell(self._to_do - self._done)  # what was here already needs no adding
        except sqlite3.IntegrityError as error:
            raise ConflictError(
                f"{self.incoming.path} and {self.log.path} do not fit together: {error}. Nothing was written."
            ) from error
        return MergeReport(
            self.incoming.path,
            self.incoming.db_id,
            added,
            self.filled,
            self.same,
            self._add_trail(),
            tuple(self.renamed),
        )

    def _compare(self, table: Table) -> None:
        rows = self.incoming.tables.get(table.name, ())
        here = self._here(table, [row["id"] for row in rows])
        self._tell(len(rows))
        fresh = self.fresh.setdefault(table.name, [])
        for row in rows:
            ours = here.get(row["id"])
            if ours is None:
                fresh.append(row)
                continue
            if table.name == "import_batch":  # the same file, under whatever name each shift had it
                self.same += 1
                continue
            change = self._difference(table, ours, row)
            if change:
                self.fills.append((table.name, row["id"], change))
            else:
                self.same += 1
        self._compare_names(table, fresh)

    def _here(self, table: Table, ids: Sequence[str]) -> dict[str, Row]:
        out: dict[str, Row] = {}
        for start in range(0, len(ids), 500):
            some = ids[start : start + 500]
            marks = ", ".join("?" * len(some))
            found = self.log.rows(f"SELECT * FROM {table.name} WHERE id IN ({marks})", some)
            out.update({row["id"]: row for row in found})
        return out

    def _difference(self, table: Table, ours: Row, theirs: Row) -> Row:
        """Blanks of ours that theirs can fill; differences go to the conflicts."""
        change: Row = {}
        for column in table.columns():
            if column in _LOCAL or column == "id" or column not in theirs:
                continue
            if table.name == "estimate" and column == "code":
                continue
            mine, other = ours[column], theirs[column]
            if column == "voided_at":
                mine, other = bool(mine), bool(other)
            elif column == "as_typed":
                mine, other = json.loads(mine), json.loads(other)
            if mine == other:
                continue
            if table.name in _FILLED and not ours["voided_at"]:
                if column == "as_typed":
                    change[column] = json.dumps(_joined(mine, other), ensure_ascii=False)
                    continue
                if other is None or (column in table.secret and self._forgotten(table, ours)):
                    continue
                if mine is None or (column == "active" and other):
                    change[column] = other
                    continue
                if column == "active":
                    continue
            self._conflict(table, ours, theirs, column)
        if change.get("as_typed") == ours["as_typed"]:
            del change["as_typed"]
        return change

    def _forgotten(self, table: Table, ours: Row) -> bool:
        """A name that was taken out here does not come back from another laptop."""
        found = self.log.rows(
            "SELECT 1 FROM amendment WHERE table_name = ? AND row_id = ? AND field = 'display_name' LIMIT 1",
            (table.name, ours["id"]),
        )
        return bool(found) and ours["display_name"] is None

    def _compare_names(self, table: Table, fresh: Sequence[Row]) -> None:
        """Two rows of one name under two ids are a conflict too; an estimate gets another code."""
        for key in table.keys:
            for row in fresh:
                if row.get("voided_at"):
                    continue
                condition = " AND ".join(f'"{name}" = ?' for name in key)
                found = self.log.rows(
                    f"SELECT * FROM {table.name} WHERE {condition} AND voided_at IS NULL",
                    [row.get(name) for name in key],
                )
                if not found:
                    continue
                if table.name == "estimate":
                    self._rename(row)
                    continue
                self._conflict(table, found[0], row, "id")

    def _rename(self, row: Row) -> None:
        code = f"{row['code'][:14]}-{row['id'].replace('-', '')[:5]}"
        self.renamed.append(f"estimate {row['code']} of log {self.incoming.db_id[:8]} is called {code} here")
        row["code"] = code

    def _conflict(self, table: Table, ours: Row, theirs: Row, column: str) -> None:
        label = self._label(table, theirs)
        mine, other = (_shown(row, column) for row in (ours, theirs))
        self.conflicts.append(
            f"{label}, {column}: here {mine} (by {ours['created_by']}, {ours['created_at'][:16]}), "
            f"there {other} (by {theirs['created_by']}, {theirs['created_at'][:16]})"
        )

    def _label(self, table: Table, row: Row) -> str:
        """What people call a row that came in."""
        if table.name == "cut" and (dive := self._row("dive", row["dive_id"])):
            return f"cut {self._dive(dive)}.{row['row']}"
        if table.name == "dive":
            return f"dive {self._dive(row)}"
        if table.name == "line" and (job := self._row("job", row["job_id"])):
            return f"line {job['code']} {row['code']}"
        if row.get("code"):
            return f"{table.spoken} {row['code']}"
        if row.get("dive_id") and (dive := self._row("dive", row["dive_id"])):
            return f"{table.spoken} of dive {self._dive(dive)}"
        return f"{table.spoken} {row['id'][:13]}"

    def _dive(self, row: Row) -> str:
        job = self._row("job", row["job_id"])
        return f"{job['code'] if job else '?'} {row['dive_no']}"

    def _row(self, table: str, id: str) -> Row | None:
        return self.there.get(table, {}).get(id) or self.log.one(table, id=id)

    def _refuse_conflicts(self) -> None:
        if not self.conflicts:
            return
        count = len(self.conflicts)
        more = [f"and {count - _MOST_SHOWN} more"] if count > _MOST_SHOWN else []
        head = (
            f"{self.incoming.path}: {count} conflict{'s' if count != 1 else ''} with {self.log.path}, "
            "nothing written. Settle each by the paper: fix or void it in the log that is wrong, then merge again."
        )
        raise ConflictError("\n  ".join([head, *self.conflicts[:_MOST_SHOWN], *more]))

    def _fill(self) -> None:
        for name, id, change in self.fills:
            sets = ", ".join(f'"{column}" = ?' for column in change)
            self.log.connection.execute(f"UPDATE {name} SET {sets} WHERE id = ?", (*change.values(), id))
            self.filled += sum(column != "as_typed" for column in change)

    def _add(self, table: Table, rows: list[Row]) -> int:
        columns = [column for column in table.columns() if column != "no"]
        names, marks = ", ".join(f'"{column}"' for column in columns), ", ".join("?" * len(columns))
        defaults = {field.name: "{}" if field.shape == "json" else 0 for field in table.fields if field.default}
        defaults["as_typed"] = "{}"
        rows.sort(key=lambda row: (row["created_at"], row.get("no") or 0, row["id"]))
        values = [
            tuple(defaults.get(column) if row.get(column) is None else row[column] for column in columns)
            for row in rows
        ]
        self.log.connection.executemany(f"INSERT INTO {table.name} ({names}) VALUES ({marks})", values)
        self._tell(len(rows))
        return len(rows)

    def _add_trail(self) -> int:
        known = {row["id"] for row in self.log.rows("SELECT id FROM amendment")}
        fresh = [row for row in self.incoming.amendments if row["id"] not in known]
        columns = ("id", "table_name", "row_id", "field", "old", "new", "why", "by", "at")
        names = ", ".join(f'"{column}"' for column in columns)
        self.log.connection.executemany(
            f"INSERT INTO amendment ({names}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            [tuple(row.get(column) for column in columns) for row in fresh],
        )
        return len(fresh)


def _joined(mine: Mapping[str, Any], other: Mapping[str, Any]) -> Row:
    """Typed texts of both; where one value was written two ways, the same one whoever asks."""
    out: Row = {}
    for name in sorted({*mine, *other}):
        texts = [found[name] for found in (mine, other) if name in found]
        out[name] = min(texts, key=lambda text: json.dumps(text, ensure_ascii=False))
    return out


def _shown(row: Row, column: str) -> str:
    """A value of a version, with how it was typed."""
    if column == "voided_at":
        return "voided" if row[column] else "not voided"
    if column == "id":
        return f"one row ({row['id'][:13]})"
    value = row.get(column)
    text = "blank" if value is None else str(value)[:60]
    try:
        typed = json.loads(row.get("as_typed") or "{}").get(column)
    except (ValueError, AttributeError):
        typed = None
    return f"{text} (typed '{str(typed[0])[:40]}')" if isinstance(typed, list) and typed else text
