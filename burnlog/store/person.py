"""What is held about a person, and taking a name out so that not a byte of it is left in the file.

Names stand in one column of one table, and the trail records their changes without the values. So a name can be
forgotten, while the code stays and with it every figure. Free text is another matter: where somebody wrote a name
into a remark, it is listed for a person to decide, and nothing is changed unasked.
"""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from burnlog.errors import FileError, InputError
from burnlog.store.connection import plain
from burnlog.store.lookup import name_of
from burnlog.store.tables import NUMBERED, TABLES

if TYPE_CHECKING:
    from burnlog.store.log import Log

__all__ = ["Extract", "Forgotten", "Mention", "extract", "forget"]

Row = dict[str, Any]
_SHORTEST_PART = 3
_TRAIL_TEXT = ("old", "new", "why", "by")


@dataclass(frozen=True)
class Mention:
    """A name, or a part of one, in a text: which row, which field, and the text around it."""

    table: str
    ref: str
    field: str
    text: str


@dataclass(frozen=True)
class Extract:
    """Everything a log holds about one person.

    Attributes
    ----------
    code : str
    person : dict
        The row itself.
    rows : dict of str to list of dict
        Table -> rows: dives as diver, tender or supervisor, and the cuts, counts and happenings of the dives where
        the person held the torch; the changes of the person's own row.
    mentions : tuple of Mention
        Free text that holds the name or a part of it.
    """

    code: str
    person: Row
    rows: dict[str, list[Row]]
    mentions: tuple[Mention, ...]

    def as_json(self) -> dict[str, Any]:
        """The result as plain values."""
        return {
            "code": self.code,
            "person": self.person,
            "rows": self.rows,
            "mentions": [vars(mention) for mention in self.mentions],
        }


@dataclass(frozen=True)
class Forgotten:
    """What `forget` did.

    Attributes
    ----------
    code : str
    had_name : bool
    mentions : tuple of Mention
        Free text that still holds the name or a part of it, for a person to decide.
    """

    code: str
    had_name: bool
    mentions: tuple[Mention, ...]


def extract(log: Log, code: str) -> Extract:
    """Every row about a person.

    Raises
    ------
    InputError
        There is no such code (with the nearest three).
    """
    person = log.find("person", code)
    mine = {"me": person["id"]}
    dives = "SELECT id FROM dive WHERE diver_id = :me"
    rows = {
        "dive": log.rows(
            "SELECT * FROM dive WHERE :me IN (diver_id, tender_id, supervisor_id) ORDER BY dive_date, dive_no", mine
        ),
        "cut": log.rows(f"SELECT * FROM cut WHERE dive_id IN ({dives}) ORDER BY no", mine),
        "tally": log.rows(f"SELECT * FROM tally WHERE dive_id IN ({dives}) ORDER BY no", mine),
        "happening": log.rows(f"SELECT * FROM happening WHERE dive_id IN ({dives}) ORDER BY no", mine),
        "amendment": log.rows(
            "SELECT * FROM amendment WHERE table_name = 'person' AND row_id = :me ORDER BY no", mine
        ),
    }
    return Extract(code, person, rows, tuple(_mentions(log, person["display_name"])))


def forget(log: Log, code: str, *, by: str | None) -> Forgotten:
    """Blank a person's name and compact the file; the code and all figures stay.

    Backups and bundles made before still hold the name.

    Raises
    ------
    InputError
        There is no such code, or nobody signs for it.
    FileError
        Another program has the log open, so that old bytes cannot be cleared; the name is blank already, and the
        same command clears the rest once the other program is closed.
    """
    if not (by or "").strip():
        raise InputError("person forget needs a name: put --by NAME before the command. Nothing was changed.")
    person = log.find("person", code)
    name = person["display_name"]
    mentions = tuple(_mentions(log, name))
    try:
        log.connection.execute("PRAGMA secure_delete = ON")
        if name is not None:
            with log.transaction(why="name forgotten", by=by):
                log.connection.execute("UPDATE person SET display_name = NULL WHERE id = ?", (person["id"],))
        _compact(log)
    except sqlite3.Error as error:
        raise plain(error, log.path) from error
    if name is not None and not mentions and _holds(log.path, name):
        raise FileError(
            f"{log.path} still holds old bytes. Close every program that has it open and repeat the command."
        )
    return Forgotten(code, name is not None, mentions)


def _compact(log: Log) -> None:
    """Write the file anew without its free pages, and empty the journal beside it."""
    _checkpoint(log)
    log.connection.execute("VACUUM")
    _checkpoint(log)


def _checkpoint(log: Log) -> None:
    busy, _, _ = log.connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
    if busy:
        raise FileError(
            f"another program has {log.path} open, so old bytes stay beside it. The name is blank already: close the "
            "other program and repeat the command to clear the rest."
        )


def _holds(path: Path, name: str) -> bool:
    """Whether the bytes of a name stand anywhere in the file or what lies beside it."""
    wanted = name.encode()
    for found in (path, *(path.with_name(path.name + end) for end in ("-wal", "-journal"))):
        if found.is_file() and wanted in found.read_bytes():
            return True
    return False


def _mentions(log: Log, name: str | None) -> Iterator[Mention]:
    """Texts that hold a name or a part of it as a word, wherever people can write."""
    parts = [part for part in re.split(r"\W+", name or "") if len(part) >= _SHORTEST_PART]
    if not name or not parts:
        return
    pattern = re.compile(r"\b(" + "|".join(map(re.escape, parts)) + r")\b", re.IGNORECASE)
    for table in TABLES:
        columns = [field.name for field in table.fields if field.kind == "TEXT" and _is_free(table.name, field.name)]
        for row, column, text in _texts(log, table.name, [*columns, "as_typed", "created_by"], pattern):
            yield Mention(table.name, name_of(log, table.name, row), column, text)
    for row, column, text in _texts(log, "amendment", list(_TRAIL_TEXT), pattern):
        yield Mention("amendment", str(row["no"]), column, text)


def _is_free(table: str, column: str) -> bool:
    field = NUMBERED[table].field(column)
    return not (field.parent or field.words or field.shape in ("date", "time") or column in NUMBERED[table].secret)


def _texts(log: Log, table: str, columns: Sequence[str], pattern: re.Pattern[str]) -> Iterator[tuple[Row, str, str]]:
    for row in log.rows(f"SELECT * FROM {table} ORDER BY no"):
        for column in columns:
            value = row[column]
            found = pattern.search(value) if isinstance(value, str) else None
            if found:
                start = max(0, found.start() - 30)
                yield row, column, value[start : found.end() + 30]
