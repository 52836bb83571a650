"""A database from elsewhere, read as rows: opened for reading only, nothing in it run, nothing in it believed.

Whoever made the file may have put anything into it. Its schema must be, to the letter, what this program makes, so
that no trigger, view or function of its own can be there; its values are then read as plain data, with the length of
each bounded, and checked by whoever takes them.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from itertools import islice
from pathlib import Path
from typing import Any
from urllib.parse import quote

from burnlog.errors import FileError, InputError
from burnlog.store.backup import compare_schema
from burnlog.store.bundle import Bundle
from burnlog.store.connection import UNREADABLE, check_version, plain
from burnlog.store.rowcheck import row_problems, trail_problems
from burnlog.store.schema import VERSION
from burnlog.store.tables import NUMBERED, TABLES

__all__ = ["check_values", "load_database"]

Row = dict[str, Any]

MOST_BYTES = 4 * 2**30
LONGEST_VALUE = 64 * 2**20
_MOST_SHOWN = 20
_TRAIL = ("id", "table_name", "row_id", "field", "old", "new", "why", "by", "at")


def load_database(path: Path) -> Bundle:
    """Every row of another log.

    Raises
    ------
    FileError
        Damaged, or written by a newer or an older burnlog.
    InputError
        Not a log, too big, with a schema that is not the log's, or with a value that is no data.
    """
    size = path.stat().st_size
    if size > MOST_BYTES:
        raise InputError(f"{path} is {size / 2**30:.1f} GB, more than a log can be; it was not read.")
    try:
        connection = sqlite3.connect(f"file:{quote(str(path.absolute()))}?mode=ro", uri=True, isolation_level=None)
        try:
            connection.execute("PRAGMA trusted_schema = OFF")
            connection.execute("PRAGMA cell_size_check = ON")
            connection.execute("PRAGMA query_only = ON")
            connection.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, LONGEST_VALUE)
            connection.setlimit(sqlite3.SQLITE_LIMIT_ATTACHED, 0)
            return _read(path, connection)
        finally:
            connection.close()
    except sqlite3.DataError as error:
        raise InputError(f"{path} holds a value that no log can hold ({error}); nothing was written.") from error
    except UNREADABLE as error:
        raise plain(error, path) from error


def _read(path: Path, connection: sqlite3.Connection) -> Bundle:
    version = check_version(path, connection)
    if version < VERSION:
        raise FileError(
            f"{path} was written by an older burnlog (schema {version}, now {VERSION}); any command that writes, "
            f"such as burnlog --db {path} fix, brings it up to date first."
        )
    strange = compare_schema(connection)
    if strange:
        raise InputError(f"{path} is not built as a log is: {'; '.join(strange[:3])}. Nothing was read.")
    connection.execute("BEGIN")
    meta = dict(connection.execute("SELECT key, value FROM meta"))
    tables = {
        table.name: tuple(_rows(path, connection, table.name, table.columns(), 'ORDER BY "no"')) for table in TABLES
    }
    trail = tuple(_rows(path, connection, "amendment", _TRAIL, 'ORDER BY "no"'))
    return Bundle(path, str(meta.get("db_id", "")), meta.get("made_up") == "1", True, tables, trail)


def _rows(path: Path, connection: sqlite3.Connection, table: str, columns: tuple[str, ...], order: str) -> list[Row]:
    names = ", ".join(f'"{column}"' for column in columns)
    out = []
    for values in connection.execute(f"SELECT {names} FROM {table} {order}"):
        if any(isinstance(value, bytes) for value in values):
            raise InputError(f"{path}: a row of {table} holds bytes where a log holds text or numbers.")
        out.append(dict(zip(columns, values, strict=True)))
    return out


def check_values(incoming: Bundle) -> None:
    """Hold every row that comes in against its table.

    Raises
    ------
    InputError
        With the first bad values and where they stand.
    """
    problems = list(islice(_problems(incoming), _MOST_SHOWN + 1))
    if problems:
        more = ["and more"] if len(problems) > _MOST_SHOWN else []
        head = f"{incoming.path} holds what no log can hold; nothing was written."
        raise InputError("\n  ".join([head, *problems[:_MOST_SHOWN], *more]))


def _problems(incoming: Bundle) -> Iterator[str]:
    for name, rows in incoming.tables.items():
        for row in rows:
            for problem in row_problems(NUMBERED[name], row):
                yield f"{name} {str(row.get('id'))[:40]}: {problem}"
    yield from trail_problems(incoming.amendments)
