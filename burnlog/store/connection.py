"""Getting at the file: connections with every safeguard on, and database errors as plain sentences."""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path
from urllib.parse import quote

from burnlog.errors import FileError, InputError
from burnlog.store.schema import APPLICATION_ID, VERSION

__all__ = ["UNREADABLE", "check_head", "check_sqlite", "check_version", "connect", "constraint", "plain", "put"]

OLDEST_SQLITE = (3, 37, 0)
BUSY_MS = 10_000


UNREADABLE = (sqlite3.Error, UnicodeDecodeError)
"""What reading a log can raise: a flipped byte in a name makes even the database's message no text."""


def plain(error: sqlite3.Error | UnicodeDecodeError, path: Path) -> FileError | InputError:
    """A database error as a sentence about this file, or about the row that was refused.

    An error in the SQL or in how it was called is a bug of this program and is raised again as it is, unless the
    file's own schema is no longer what this program made.
    """
    text = str(error)
    code = getattr(error, "sqlite_errorname", "") or ""
    if isinstance(error, UnicodeDecodeError) or "Could not decode" in text:
        return _damaged(path, "a text in it is none")
    if isinstance(error, sqlite3.ProgrammingError | sqlite3.InterfaceError):
        raise error
    if code == "SQLITE_ERROR":
        if _schema_is_whole(path):
            raise error
        return _damaged(path, text)
    if isinstance(error, sqlite3.IntegrityError):
        return InputError(f"the log refuses this: {constraint(text)}. Nothing was written.")
    if code.startswith(("SQLITE_BUSY", "SQLITE_LOCKED", "SQLITE_PROTOCOL")):
        return FileError(
            f"{path} is locked: another program holds it. Close that program or try again in a moment; "
            "nothing was written."
        )
    if code.startswith("SQLITE_FULL"):
        return FileError(f"{path}: the disk is full. Free some space and repeat; nothing was half written.")
    if code.startswith(("SQLITE_READONLY", "SQLITE_PERM", "SQLITE_CANTOPEN")):
        return FileError(
            f"{path} cannot be opened for this ({text}). Check the permissions of the file and its folder; "
            "nothing was written."
        )
    if code.startswith(("SQLITE_CORRUPT", "SQLITE_NOTADB", "SQLITE_IOERR")):
        return _damaged(path, text)
    return FileError(f"{path}: {text}. Nothing was written.")


def _damaged(path: Path, text: str) -> FileError:
    return FileError(f"{path} is damaged or not a log ({text}). Leave it as it is and go on with the last backup.")


def _schema_is_whole(path: Path) -> bool:
    from burnlog.store.backup import compare_schema

    try:
        connection = connect(path, write=False)
    except UNREADABLE:
        return False
    try:
        return not compare_schema(connection)
    except UNREADABLE:
        return False
    finally:
        connection.close()


def constraint(text: str) -> str:
    """The sentence in a refusal: checks are named by the sentence they hold."""
    for head in ("CHECK constraint failed: ", "UNIQUE constraint failed: "):
        text = text.removeprefix(head)
    return text.replace("\n", " ").removeprefix("NOT NULL constraint failed: ")


def put(draft: Path, path: Path) -> None:
    """Give a finished file its name, unless something has that name by now."""
    try:
        os.link(draft, path)
    except FileExistsError:
        raise
    except OSError:  # a stick without hard links: the look just before is all the guard there is
        if path.exists():
            raise FileExistsError(path) from None
        draft.rename(path)


def check_sqlite() -> None:
    """Refuse a database library without strict tables."""
    if sqlite3.sqlite_version_info < OLDEST_SQLITE:
        raise FileError(f"SQLite {sqlite3.sqlite_version} is too old for the log's strict tables; 3.37 is needed.")


def check_head(path: Path) -> None:
    """Refuse what is not there, cannot be read, or is no database at all."""
    try:
        if path.is_dir():
            raise FileError(f"{path} is a folder, not a log; name the file with --db.")
        with path.open("rb") as file:
            head = file.read(16)
    except FileNotFoundError as error:
        raise FileError(f"there is no log at {path}; `burnlog init` makes one, --db names another.") from error
    except OSError as error:
        raise FileError(f"{path} cannot be read ({error.strerror}). Check its permissions.") from error
    if head != b"SQLite format 3\x00":
        raise FileError(f"{path} is not a burnlog file. Name the log with --db; this file was left as it is.")


def connect(path: Path, *, write: bool, create: bool = False) -> sqlite3.Connection:
    """A connection with every safeguard on; it never makes a file unless `create` says so."""
    mode = "rwc" if create else "rw" if write else "ro"
    uri = f"file:{quote(str(path.absolute()))}?mode={mode}"
    if not write and _no_companions(path):
        uri += "&immutable=1"
    connection = sqlite3.connect(uri, uri=True, timeout=BUSY_MS / 1000, isolation_level=None)
    try:
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA trusted_schema = OFF")
        connection.execute("PRAGMA cache_size = -65536")  # 64 MB: ids are random, so a big log reads all over
        if write:
            connection.execute("PRAGMA synchronous = FULL")
            if create:
                connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            else:
                connection.execute("PRAGMA journal_mode = WAL")
    except UNREADABLE:
        connection.close()
        raise
    return connection


def _no_companions(path: Path) -> bool:
    """A folder nobody can write, holding a log that nobody has open: it can only be read as it stands."""
    return not os.access(path.parent, os.W_OK) and not path.with_name(path.name + "-wal").exists()


def check_version(path: Path, connection: sqlite3.Connection) -> int:
    """The schema of a file; refuses one that is no log or newer than this program."""
    version = int(connection.execute("PRAGMA user_version").fetchone()[0])
    owner = int(connection.execute("PRAGMA application_id").fetchone()[0])
    tables = {row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    if owner != APPLICATION_ID or not {"meta", "cut", "tally"} <= tables:
        raise FileError(f"{path} is a database, but not a burnlog file. Name the log with --db.")
    if version > VERSION:
        raise FileError(
            f"{path} was written by a newer burnlog (schema {version}, this program knows {VERSION}). "
            "Update burnlog; the file was left as it is."
        )
    return version
