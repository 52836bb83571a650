"""The log file: opening it, and writing rows into it.

Only the standard `sqlite3` stands on this path, so that one more row costs no wait. Everything is written inside
`transaction()`, which takes the file's write lock at once; a file that is missing, locked, damaged, newer than this
program or not a log is refused with a sentence and never half written.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import math
import re
import sqlite3
import uuid
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from functools import lru_cache
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any

from burnlog.errors import FileError, InputError
from burnlog.store import lookup
from burnlog.store.connection import (
    UNREADABLE,
    check_head,
    check_sqlite,
    check_version,
    connect,
    constraint,
    plain,
    put,
)
from burnlog.store.schema import VERSION
from burnlog.store.table import Table
from burnlog.store.tables import NUMBERED

if TYPE_CHECKING:
    from burnlog.store.trail import Amendment, Fixed

__all__ = ["Log", "NewRow", "Row", "identity", "known", "plain"]

Row = dict[str, Any]
NewRow = tuple[str, Mapping[str, Any], Mapping[str, Sequence[str]]]


def identity(table: str, *parts: object) -> str:
    """The permanent id of a thing known by name: two laptops that type one sheet make the same.

    It is a UUID of version 8 (RFC 9562, 5.8): 48 bits say where the thing belongs (its job and dive, or the thing it
    hangs from), the others are a hash of its table and its whole name. So the rows of a dive lie side by side in
    every index, and a file of a million rows is written page after page and not all over the log.

    Examples
    --------
    >>> identity("job", "PIER7") == identity("job", "PIER7") != identity("rig", "PIER7")
    True
    >>> dive, cut = identity("dive", "PIER7", 14), identity("cut", "PIER7", 14, 3)
    >>> dive[:13] == cut[:13] == identity("happening", cut, "defect", 1)[:13], dive == cut
    (True, False)
    """
    words = [str(part) for part in parts]
    found = next((match[0] for match in map(_AN_ID.match, words) if match), None) or _place(*words[:2])
    rest = _hash(table, *words)
    return f"{found}-8{rest[:3]}-{_VARIANT[rest[3]]}{rest[4:7]}-{rest[7:19]}"


_AN_ID = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}(?=-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}\b)")
_VARIANT = dict(zip("0123456789abcdef", "89ab" * 4, strict=True))
"""Hash digit -> a digit that begins with the two bits of the standard."""


def _hash(*words: str) -> str:
    return hashlib.sha1("\x1f".join(("burnlog", *words)).encode("utf-8", "surrogatepass")).hexdigest()


@lru_cache(maxsize=4096)
def _place(first: str, second: str = "") -> str:
    return f"{_hash(first)[:8]}-{_hash(first, second)[:4]}"


class Log:
    """One log file, open.

    Attributes
    ----------
    path : Path
    by : str
        Who writes.
    now : Callable
        Gives the time, with its offset.
    write : bool
        Opened for writing.
    db_id : str
        Permanent id of this file.
    made_up : bool
        Everything in it is invented.
    connection : sqlite3.Connection
        For queries; what changes the record goes through the methods.
    """

    def __init__(
        self, path: Path, connection: sqlite3.Connection, *, by: str, now: Callable[[], dt.datetime], write: bool
    ) -> None:
        self.path = path
        self.connection = connection
        self.by = by
        self.now = now
        self.write = write
        meta = dict(connection.execute("SELECT key, value FROM meta"))
        self.db_id = str(meta.get("db_id", ""))
        self.made_up = meta.get("made_up") == "1"

    # opening and closing

    @classmethod
    def create(
        cls, path: Path | str, *, by: str = "unknown", now: Callable[[], dt.datetime], made_up: bool = False
    ) -> Log:
        """Make an empty log. An existing file is never overwritten.

        Raises
        ------
        FileError
            The file exists, or its folder cannot be written.
        """
        from burnlog.store.migrations import upgrade

        path = Path(path)
        check_sqlite()
        draft = path.with_name(f"{path.name}.{uuid.uuid4().hex[:8]}.new")
        try:
            if path.exists():
                raise FileError(f"{path} exists already; choose another name with --db, or go on with that one.")
            if not path.parent.is_dir():
                raise FileError(f"the folder {path.parent} does not exist; make it first.")
            connection = connect(draft, write=True, create=True)
            try:
                upgrade(connection)
                identity_rows = [
                    ("db_id", str(uuid.uuid4())),
                    ("made_up", "1" if made_up else "0"),
                    ("created_at", _iso(now())),
                    ("created_by", by),
                ]
                connection.execute("BEGIN")
                connection.executemany("INSERT INTO meta (key, value) VALUES (?, ?)", identity_rows)
                connection.execute("COMMIT")
            finally:
                connection.close()
            put(draft, path)
        except sqlite3.Error as error:
            raise plain(error, path) from error
        except FileExistsError as error:
            raise FileError(f"{path} exists already; it was left as it is.") from error
        except OSError as error:
            raise FileError(f"{path} cannot be made ({error.strerror}). Check the folder's permissions.") from error
        finally:
            with suppress(OSError):
                draft.unlink(missing_ok=True)
        return cls.open(path, by=by, now=now, write=True)

    @classmethod
    def open(
        cls, path: Path | str, *, by: str = "unknown", now: Callable[[], dt.datetime], write: bool = True
    ) -> Log:
        """Open an existing log; an older one is brought up to date, after a copy beside it.

        Raises
        ------
        FileError
            Missing, not a log, damaged, newer than this program, locked or not writable.
        """
        path = Path(path)
        check_sqlite()
        check_head(path)
        connection = None
        try:
            connection = connect(path, write=write)
            version = check_version(path, connection)
            if version < VERSION:
                if not write:
                    raise FileError(
                        f"{path} was written by an older burnlog (schema {version}, now {VERSION}). Any command "
                        "that writes brings it up to date, after a copy beside it."
                    )
                _bring_up(path, connection, now)
            return cls(path, connection, by=by, now=now, write=write)
        except UNREADABLE as error:
            if connection is not None:
                connection.close()
            raise plain(error, path) from error
        except BaseException:
            if connection is not None:
                connection.close()
            raise

    def close(self) -> None:
        """Close the file."""
        self.connection.close()

    def __enter__(self) -> Log:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    # writing

    @contextmanager
    def transaction(self, *, why: str | None = None, by: str | None = None) -> Iterator[None]:
        """All or nothing; takes the write lock at once. `why` and `by` sign every change made inside.

        One inside another joins it.

        Raises
        ------
        FileError
            Locked for longer than 10 s, full, damaged or not writable.
        InputError
            The file refused a row.
        """
        if not self.write:
            raise FileError(f"{self.path} was opened for reading only.")
        if self.connection.in_transaction:
            with self._signed(why, by):
                yield
            return
        try:
            self.connection.execute("BEGIN IMMEDIATE")
            with self._signed(why, by):
                yield
            self.connection.execute("COMMIT")
        except sqlite3.Error as error:
            self._roll_back()
            raise plain(error, self.path) from error
        except BaseException:
            self._roll_back()
            raise

    @contextmanager
    def snapshot(self) -> Iterator[None]:
        """What is read inside is read as of one moment, whoever writes meanwhile; in a transaction, as of that."""
        if self.connection.in_transaction:
            yield
            return
        self.connection.execute("BEGIN")
        try:
            yield
        finally:
            self.connection.execute("ROLLBACK")

    @contextmanager
    def _signed(self, why: str | None, by: str | None) -> Iterator[None]:
        if why is None:
            yield
            return
        self.connection.execute(
            "INSERT OR REPLACE INTO change_context (one, why, by, at) VALUES (1, ?, ?, ?)",
            (why, by or self.by, self.stamp()),
        )
        yield
        self.connection.execute("DELETE FROM change_context")

    def _roll_back(self) -> None:
        if self.connection.in_transaction:
            self.connection.execute("ROLLBACK")

    def stamp(self) -> str:
        """The time as it is written into the file."""
        return _iso(self.now())

    def next_no(self, table: str) -> int:
        """The next short number of a table; only inside a transaction is it still free afterwards."""
        known(table)
        return int(self.connection.execute(f"SELECT coalesce(max(no), 0) + 1 FROM {table}").fetchone()[0])

    def insert(
        self,
        table: str,
        values: Mapping[str, Any],
        *,
        typed: Mapping[str, Sequence[str]] | None = None,
        id: str | None = None,
    ) -> str:
        """Add one row, each value held against its column first; returns its id.

        Parameters
        ----------
        table : str
        values : Mapping
            Column -> value, SI.
        typed : Mapping, optional
            Column -> (text as typed, basis).
        id : str, optional
            Permanent id; without it a new one is made.

        Raises
        ------
        InputError
            A value does not fit its column, or the file refuses the row.
        """
        problems = known(table).problems(values)
        if problems:
            raise InputError(f"{known(table).spoken}: {'; '.join(problems)}. Nothing was written.")
        return self.insert_many(table, [(id or str(uuid.uuid4()), values, typed or {})])[0]

    def insert_many(self, table: str, rows: Iterable[NewRow]) -> list[str]:
        """Add rows given as (id, values, typed), all or none; returns their ids.

        The file itself holds each value against its column.

        Raises
        ------
        InputError
            A value is not a finite number, a column is unknown, or the file refuses a row: the message names it.
        """
        found = known(table)
        columns_known = frozenset(field.name for field in found.fields)
        batches: dict[tuple[str, ...], list[tuple[Any, ...]]] = {}
        ids: list[str] = []
        with self.transaction():
            number = self.next_no(table)
            stamp = self.stamp()
            for key, values, typed in rows:
                columns = tuple(values)
                if not columns_known.issuperset(columns):
                    unknown = ", ".join(sorted(set(columns) - columns_known))
                    raise InputError(f"{found.spoken} has no column {unknown}. Nothing was written.")
                for name, value in values.items():
                    if value.__class__ is float and not math.isfinite(value):
                        raise InputError(
                            f"{found.spoken}, {name}: {value} is not a number; leave it blank if nobody measured it."
                        )
                if typed and not set(found.secret).isdisjoint(typed):
                    raise InputError(f"{found.spoken}: a name is kept in its own column only.")
                batches.setdefault(columns, []).append((key, number, *values.values(), _json(typed), stamp, self.by))
                ids.append(key)
                number += 1
            for columns, batch in batches.items():
                self._insert_batch(found, columns, batch)
        return ids

    def _insert_batch(self, table: Table, columns: tuple[str, ...], batch: list[tuple[Any, ...]]) -> None:
        names = ", ".join(f'"{name}"' for name in ("id", "no", *columns, "as_typed", "created_at", "created_by"))
        marks = ", ".join("?" * (len(columns) + 5))
        before = self.connection.total_changes
        try:
            self.connection.executemany(f"INSERT INTO {table.name} ({names}) VALUES ({marks})", batch)
        except UnicodeEncodeError as error:
            raise InputError(
                f"a text of this {table.spoken}, or the name it is signed with, did not come through whole "
                f"({error.object[:40]!a}); type it again, or set the terminal to UTF-8. Nothing was written."
            ) from error
        except OverflowError as error:
            raise InputError(
                f"a number of this {table.spoken} is more than any log can hold. Nothing was written."
            ) from error
        except sqlite3.IntegrityError as error:
            done = self.connection.total_changes - before  # no trigger writes on INSERT, so each row counts once
            row = dict(zip(("id", "no", *columns), batch[done], strict=False))
            raise InputError(
                f"the log refuses {self._named(table, row)}: {constraint(str(error))}. Nothing was written."
            ) from error

    def _named(self, table: Table, row: Mapping[str, Any]) -> str:
        """A row that was refused, by what a person would know it by."""
        telling = [name for key in table.keys for name in key if not name.endswith("_id")] or [
            "scope",
            "kind",
            "word",
        ]
        told = ", ".join(f"{name} {row[name]}" for name in telling if row.get(name) is not None)
        return f"this {table.spoken}" + (f" ({told})" if told else "")

    # changing

    def fix(
        self,
        table: str,
        ref: str,
        changes: Mapping[str, str],
        *,
        why: str | None,
        by: str | None,
        job: str | None = None,
    ) -> Fixed:
        """Change values of one row, read from text; see `burnlog.store.trail.fix`."""
        from burnlog.store import trail

        known(table)
        return trail.fix(self, table, ref, changes, why=why, by=by, job=job)

    def void(
        self, table: str, ref: str, *, why: str | None, by: str | None, job: str | None = None
    ) -> dict[str, int]:
        """Take a row and what hangs from it out of every figure; see `burnlog.store.trail.void`."""
        from burnlog.store import trail

        known(table)
        return trail.void(self, table, ref, why=why, by=by, job=job)

    def trail(self, table: str, ref: str, *, job: str | None = None) -> list[Amendment]:
        """Every change of a row; see `burnlog.store.trail.trail`."""
        from burnlog.store import trail

        known(table)
        return trail.trail(self, table, ref, job=job)

    # finding

    def rows(self, sql: str, values: Sequence[Any] | Mapping[str, Any] = ()) -> list[Row]:
        """Rows of a query as plain dicts."""
        try:
            cursor = self.connection.execute(sql, values)
            names = [column[0] for column in cursor.description]
            return [dict(zip(names, row, strict=True)) for row in cursor]
        except UNREADABLE as error:
            raise plain(error, self.path) from error

    def one(self, table: str, **where: Any) -> Row | None:
        """The row of a table whose columns have these values, a live one before a voided one; or None."""
        known(table)
        condition = " AND ".join(f'"{name}" IS :{name}' for name in where)
        found = self.rows(f"SELECT * FROM {table} WHERE {condition} ORDER BY voided_at IS NOT NULL LIMIT 1", where)
        return found[0] if found else None

    def find(self, table: str, ref: str, *, job: str | None = None) -> Row:
        """The row people mean by a code, a short number, or `PIER7 14.3` for a cut; see `burnlog.store.lookup`.

        Raises
        ------
        InputError
            No such row (with the nearest three names), or several.
        """
        known(table)
        return lookup.find(self, table, ref, job=job)

    def fresh_identity(self, table: str, *parts: object) -> str:
        """The id for a row known by these names; where voided rows hold it, the next one for the same names."""
        known(table)
        key = identity(table, *parts)
        again = 1
        while self.connection.execute(
            f"SELECT 1 FROM {table} WHERE id = ? AND voided_at IS NOT NULL", (key,)
        ).fetchone():
            again += 1
            key = identity(table, *parts, f"again {again}")
        return key


def known(table: str) -> Table:
    """The table of this name; raises `InputError` with the names there are."""
    if table not in NUMBERED:
        raise InputError(f"there is no table {table}; the tables are {', '.join(NUMBERED)}.")
    return NUMBERED[table]


def _json(typed: Mapping[str, Sequence[str]]) -> str:
    return json.dumps(typed, ensure_ascii=False) if typed else "{}"


def _iso(moment: dt.datetime) -> str:
    return moment.isoformat(timespec="seconds")


def _bring_up(path: Path, connection: sqlite3.Connection, now: Callable[[], dt.datetime]) -> None:
    from burnlog.store.backup import copy_checked
    from burnlog.store.migrations import upgrade

    copy_checked(connection, path.parent, f"{path.stem}-before-upgrade", now())
    upgrade(connection)
