"""Copies that were tested, and the question whether a log is still whole.

A backup goes through the database's own backup call, so that an open entry does not harm it; the copy is then opened
and checked before anybody is told of it, and nothing that exists is ever overwritten.
"""

from __future__ import annotations

import datetime as dt
import os
import platform
import shutil
import sqlite3
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from importlib.metadata import version
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any

from burnlog.errors import FileError
from burnlog.store.connection import UNREADABLE, connect
from burnlog.store.rowcheck import row_problems, trail_problems
from burnlog.store.schema import VERSION
from burnlog.store.tables import NUMBERED, TABLES

if TYPE_CHECKING:
    from burnlog.store.log import Log

__all__ = ["Verification", "back_up", "copy_checked", "verify"]

_MOST = 20
_PROGRAM = version("burnlog")
_NETWORK = frozenset(
    ("nfs", "nfs4", "cifs", "smb", "smb2", "smb3", "smbfs", "smbmount", "afs", "afpfs", "webdav", "9p", "fuse.sshfs")
)


@dataclass(frozen=True)
class Verification:
    """What `verify` found.

    Attributes
    ----------
    path : Path
    problems : tuple of str
        Each is damage; empty when the file is whole.
    warnings : tuple of str
        Each is a risk: the file itself is whole.
    rows : dict of str to int
        Live and voided rows by table.
    facts : dict of str to str
        File, schema, versions of program, SQLite and Python, bytes of the file and bytes free beside it.
    """

    path: Path
    problems: tuple[str, ...]
    warnings: tuple[str, ...]
    rows: dict[str, int]
    facts: dict[str, str]

    @property
    def whole(self) -> bool:
        """Nothing is damaged."""
        return not self.problems

    def as_json(self) -> dict[str, Any]:
        """The result as plain values."""
        return {
            "path": str(self.path),
            "whole": self.whole,
            "problems": list(self.problems),
            "warnings": list(self.warnings),
            "rows": self.rows,
            "facts": self.facts,
        }


def back_up(log: Log, folder: Path | str) -> Path:
    """Make a dated copy of a log in a folder, open it and check it.

    Parameters
    ----------
    log : Log
        Open; others may be writing to it.
    folder : Path
        Must exist.

    Returns
    -------
    Path
        The copy. A name that is taken is never used: the next free number is put behind it.

    Raises
    ------
    FileError
        The folder is missing, full or not writable, or the copy does not pass the check.
    """
    return copy_checked(log.connection, Path(folder), log.path.stem, log.now())


def copy_checked(source: sqlite3.Connection, folder: Path, stem: str, moment: dt.datetime) -> Path:
    """Copy an open database to ``stem-YYYYMMDD-HHMMSS.db`` in a folder and check the copy; see `back_up`."""
    if not folder.is_dir():
        raise FileError(f"there is no folder {folder}; make it first, or name another.")
    draft = folder / f".{stem}-{moment:%Y%m%d-%H%M%S}-{os.getpid()}.part"
    try:
        target = sqlite3.connect(draft, isolation_level=None)
        try:
            source.backup(target)
            target.execute("PRAGMA journal_mode = DELETE")  # the copy is one file, whole without companions
        finally:
            target.close()
        problems = _damage(draft)
        if problems:
            raise FileError(f"the copy in {folder} is damaged ({problems[0]}); it was thrown away. Check the disk.")
        return _named(draft, folder, f"{stem}-{moment:%Y%m%d-%H%M%S}")
    except sqlite3.Error as error:
        raise FileError(f"no backup was made in {folder}: {error}. Check its space and permissions.") from error
    except OSError as error:
        raise FileError(f"no backup was made in {folder}: {error.strerror}. Check its permissions.") from error
    finally:
        draft.unlink(missing_ok=True)


def _named(draft: Path, folder: Path, name: str) -> Path:
    for again in range(1, 1000):
        path = folder / (f"{name}.db" if again == 1 else f"{name}-{again}.db")
        try:
            os.link(draft, path)
        except FileExistsError:
            continue
        except OSError:  # a stick without hard links
            if path.exists():
                continue
            draft.rename(path)
        return path
    raise FileError(f"{folder} holds a thousand backups of this second; name another folder.")


def verify(path: Path | str, *, now: Callable[[], dt.datetime]) -> Verification:
    """Check a log: pages, links, schema, trail; and what threatens it.

    Parameters
    ----------
    path : Path
    now : Callable
        Gives the time, with its offset: rows dated later are warned about.

    Raises
    ------
    FileError
        The file is missing, is not a log, or was written by a newer burnlog. Damage is no error here: it is in the
        result, and the command ends with exit code 5 for it.
    """
    from burnlog.store.log import Log

    path = Path(path)
    facts = {
        "file": str(path.absolute()),
        "burnlog": _PROGRAM,
        "sqlite": sqlite3.sqlite_version,
        "python": platform.python_version(),
        "schema_known": str(VERSION),
    }
    rows: dict[str, int] = {}
    warnings: list[str] = []
    problems: list[str] = []
    try:
        with Log.open(path, now=now, write=False) as log:
            facts.update(db_id=log.db_id, made_up=str(log.made_up).lower())
            facts["schema"] = str(log.connection.execute("PRAGMA user_version").fetchone()[0])
            rows.update(_counts(log.connection))
            warnings.extend(_later_than_now(log.connection, now()))
            problems.extend(islice(_bad_rows(log.connection), _MOST))
    except FileError as error:
        if not isinstance(error.__cause__, UNREADABLE) or "damaged" not in str(error):
            raise
        return Verification(path, (str(error),), (), rows, facts)
    except UNREADABLE as error:
        problems.append(f"cannot be read to the end: {error}")
    facts["bytes"] = str(path.stat().st_size)
    facts["free_bytes"] = str(shutil.disk_usage(path.absolute().parent).free)
    warnings.extend(_place(path))
    found = tuple(dict.fromkeys([*_damage(path), *problems]))
    return Verification(path, found, tuple(warnings), rows, facts)


def _bad_rows(connection: sqlite3.Connection) -> Iterator[str]:
    """Rows whose values cannot have come in by any door: a flipped byte that left the page whole."""
    for table in TABLES:
        columns = table.columns()
        names = ", ".join(f'"{column}"' for column in columns)
        for values in connection.execute(f"SELECT {names} FROM {table.name}"):
            row = dict(zip(columns, values, strict=True))
            yield from (f"{table.name} {row['no']}: {problem}" for problem in row_problems(table, row))
    columns = ("id", "table_name", "row_id", "field", "old", "new", "why", "by", "at")
    cursor = connection.execute("SELECT id, table_name, row_id, field, old, new, why, by, at FROM amendment")
    yield from trail_problems(dict(zip(columns, values, strict=True)) for values in cursor)


def _damage(path: Path) -> list[str]:
    """What is broken in a file, in plain words; empty when nothing is."""
    found: list[str] = []
    try:
        connection = connect(path, write=False)
    except UNREADABLE as error:
        return [f"cannot be opened: {error}"]
    try:
        for (text,) in connection.execute(f"PRAGMA integrity_check({_MOST})"):
            if text != "ok":
                found.append(f"integrity: {str(text).splitlines()[-1]}")
        links = Counter((row[0], row[2]) for row in connection.execute("PRAGMA foreign_key_check"))
        for (table, parent), count in links.items():
            found.append(f"links: {count} of {table} point at a {parent} that is not there")
        found.extend(_schema_differs(connection))
    except UNREADABLE as error:
        found.append(f"cannot be read to the end: {error}")
    finally:
        connection.close()
    return found


def _schema_differs(connection: sqlite3.Connection) -> list[str]:
    """Tables, triggers, indexes or views that are not as this program makes them."""
    if int(connection.execute("PRAGMA user_version").fetchone()[0]) != VERSION:
        return []
    return [f"schema: {text}" for text in compare_schema(connection)]


def compare_schema(connection: sqlite3.Connection) -> list[str]:
    """How the schema of a connection differs from the one this program makes; empty when it does not."""
    expected = _fresh_schema()
    there = {
        (kind, name): sql
        for kind, name, sql in connection.execute("SELECT type, name, sql FROM sqlite_master WHERE sql IS NOT NULL")
        if not name.startswith(("sqlite_", "_sqlite_migrations", "idx__sqlite_migrations"))
    }
    out = [f"the {kind} {name} is missing" for kind, name in expected if (kind, name) not in there]
    out.extend(
        f"there is a {kind} {name} that is none of the log's" for kind, name in there if (kind, name) not in expected
    )
    out.extend(
        f"the {kind} {name} was changed"
        for (kind, name), sql in expected.items()
        if (kind, name) in there and there[kind, name] != sql
    )
    return out


@cache
def _fresh_schema() -> dict[tuple[str, str], str]:
    from burnlog.store.migrations import build

    connection = sqlite3.connect(":memory:", isolation_level=None)
    try:
        build(connection)
        found = connection.execute("SELECT type, name, sql FROM sqlite_master WHERE sql IS NOT NULL")
        return {(kind, name): sql for kind, name, sql in found}
    finally:
        connection.close()


def _counts(connection: sqlite3.Connection) -> dict[str, int]:
    return {
        name: int(connection.execute(f"SELECT count(*) FROM {name}").fetchone()[0])
        for name in (*NUMBERED, "amendment")
    }


def _later_than_now(connection: sqlite3.Connection, now: dt.datetime) -> list[str]:
    (latest,) = connection.execute("SELECT max(created_at) FROM cut").fetchone()
    try:
        later = latest is not None and dt.datetime.fromisoformat(latest) > now
    except (ValueError, TypeError):  # a stamp that is none is damage, and told as such
        return []
    if not later:
        return []
    return [f"rows are dated {latest}, later than this machine's clock: was the clock set back?"]


def _place(path: Path) -> list[str]:
    """What threatens a whole file where it lies."""
    out = []
    system = _file_system(path)
    if system in _NETWORK or str(path.absolute()).startswith("\\\\"):
        out.append(
            f"the file lies on a network share ({system or 'UNC path'}): locking there is unreliable. Keep the "
            "log on this machine's own disk and exchange by export and merge."
        )
    free = shutil.disk_usage(path.absolute().parent).free
    if free < max(50_000_000, 2 * path.stat().st_size):
        out.append(f"only {free / 1e6:.0f} MB are free beside the file.")
    return out


def _file_system(path: Path) -> str:
    """The kind of file system a path lies on, where the system says so; empty where it does not."""
    mounts = Path("/proc/mounts")
    if not mounts.is_file():
        return ""
    place = path.absolute().resolve()
    kind, longest = "", -1
    for line in mounts.read_text(encoding="utf-8", errors="replace").splitlines():
        parts = line.split()
        if len(parts) < 3:
            continue
        mount = Path(parts[1].replace("\\040", " "))
        if (place == mount or mount in place.parents) and len(str(mount)) > longest:
            kind, longest = parts[2], len(str(mount))
    return kind
