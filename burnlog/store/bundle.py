"""The whole record as one JSON file: every row with its id, what was typed, the voided ones and the trail.

This is what travels between two laptops, and what any other program can read. Numbers are SI with the unit in the
name. Names of persons stay out unless they are asked for: the key is then missing, which is not the same as blank.
"""

from __future__ import annotations

import json
import math
import sqlite3
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from burnlog.errors import FileError, InputError
from burnlog.store.csvexport import ExportReport
from burnlog.store.log import Log, Row, plain
from burnlog.store.schema import VERSION
from burnlog.store.tables import NUMBERED, TABLES

__all__ = ["Bundle", "export_bundle", "load_bundle"]

FORMAT = "burnlog bundle"
MOST_BYTES = 2 * 2**30
_AMENDMENT = ("id", "table_name", "row_id", "field", "old", "new", "why", "by", "at")


@dataclass(frozen=True)
class Bundle:
    """A bundle that was read and whose shape holds; what its values mean is for the log to judge.

    Attributes
    ----------
    path : Path
    db_id : str
        Id of the log it came from.
    made_up : bool
        Everything in it is invented.
    names : bool
        Names of persons are in it.
    tables : mapping
        Table -> rows as the log keeps them, `as_typed` as JSON text, parents first. `no` is the number the row had.
    amendments : tuple of dict
        The trail.
    """

    path: Path
    db_id: str
    made_up: bool
    names: bool
    tables: Mapping[str, tuple[Row, ...]] = field(default_factory=dict)
    amendments: tuple[Row, ...] = ()


def export_bundle(log: Log, path: Path | str, *, names: bool = False) -> ExportReport:
    """Write the whole record as JSON. One row is held at a time, and all of it is read at one moment.

    Parameters
    ----------
    log : Log
    path : Path
        Must be new: nothing is overwritten.
    names : bool
        Write the names of persons.

    Returns
    -------
    ExportReport

    Raises
    ------
    FileError
        The file exists or cannot be written, or the log is damaged.
    """
    path = Path(path)
    rows = 0
    try:
        stream = path.open("x", encoding="utf-8", newline="\n")
    except FileExistsError:
        raise FileError(f"{path} exists already; name a new file, for nothing is overwritten.") from None
    except OSError as error:
        raise FileError(f"{path} cannot be written ({error.strerror or error}).") from error
    try:
        with stream, log.snapshot():
            for part in _parts(log, names=names):
                stream.write(part)
                rows += part.startswith(("  {", ",\n  {"))
    except (OSError, sqlite3.Error) as error:
        path.unlink(missing_ok=True)
        if isinstance(error, sqlite3.Error):
            raise plain(error, log.path) from error
        raise FileError(f"{path} cannot be written ({error.strerror or error}); it was taken away again.") from error
    return ExportReport({path: rows}, names=names)


def _parts(log: Log, *, names: bool) -> Iterator[str]:
    """The text of a bundle, piece by piece; a row a line."""
    head = {
        "format": FORMAT,
        "schema": VERSION,
        "db_id": log.db_id,
        "made_up": log.made_up,
        "names": names,
        "exported_at": log.stamp(),
    }
    yield json.dumps(head, indent=1)[:-2] + ',\n "tables": {'
    for place, table in enumerate(TABLES):
        yield f'{"," if place else ""}\n  "{table.name}": [\n'
        hidden = ("display_name",) if table.name == "person" and not names else ()
        yield from _lines(_rows(log, f"SELECT * FROM {table.name} ORDER BY id", hidden))
        yield "]"
    yield '\n },\n "amendments": [\n'
    columns = ", ".join(f'"{name}"' for name in _AMENDMENT)
    yield from _lines(_rows(log, f'SELECT {columns} FROM amendment ORDER BY "no"', ()))
    yield "]\n}\n"


def _lines(rows: Iterator[Row]) -> Iterator[str]:
    for place, row in enumerate(rows):
        before = ",\n" if place else ""
        yield f"{before}  {json.dumps(row, ensure_ascii=False, allow_nan=False)}"


def _rows(log: Log, sql: str, hidden: tuple[str, ...]) -> Iterator[Row]:
    cursor = log.connection.execute(sql)
    columns = [column[0] for column in cursor.description]
    for values in cursor:
        row = {name: value for name, value in zip(columns, values, strict=True) if name not in hidden}
        typed = row.get("as_typed")
        if typed is not None:
            row["as_typed"] = _opened(typed)
        yield row


def _opened(text: str) -> Any:
    """JSON as part of the bundle, where it comes back to the letter; else the text."""
    try:
        found = json.loads(text)
    except ValueError:
        return text
    return found if isinstance(found, dict) and _closed(found) == text else text


def _closed(found: Any) -> str:
    return json.dumps(found, ensure_ascii=False) if found != {} else "{}"


def load_bundle(path: Path | str) -> Bundle:
    """Read a bundle and hold its shape against the tables of this program.

    Raises
    ------
    FileError
        Missing, unreadable, or written by a newer program.
    InputError
        Not a bundle, or a table, column or kind of value in it is none of ours.
    """
    path = Path(path)
    if not path.is_file():
        raise FileError(f"there is no bundle at {path}; `burnlog export bundle.json` makes one.")
    try:
        size = path.stat().st_size
        if size > MOST_BYTES:
            raise InputError(f"{path} is {size / 2**20:.0f} MB, more than a log can be; it was not read.")
        found = json.loads(path.read_bytes(), parse_constant=_no_constant)
    except OSError as error:
        raise FileError(f"{path} cannot be read ({error.strerror or error}).") from error
    except (ValueError, RecursionError) as error:
        raise InputError(
            f"{path} is not a bundle ({str(error)[:120]}); `burnlog export bundle.json` makes one, and sheets go in "
            "with `burnlog import`."
        ) from None
    if not isinstance(found, dict) or found.get("format") != FORMAT:
        raise InputError(f"{path} is not a bundle of burnlog; `burnlog export bundle.json` makes one.")
    schema = found.get("schema")
    if isinstance(schema, int) and not isinstance(schema, bool) and schema > VERSION:
        raise FileError(
            f"{path} was written by a newer burnlog (schema {schema}, this knows {VERSION}). Update burnlog."
        )
    head = {"db_id": str, "made_up": bool, "names": bool, "tables": dict, "amendments": list}
    for name, kind in head.items():
        if not isinstance(found.get(name), kind):
            raise InputError(f"{path}: '{name}' is missing or is no {kind.__name__}; the bundle was changed by hand.")
    tables = {}
    for name, rows in found["tables"].items():
        if name not in NUMBERED or not isinstance(rows, list):
            raise InputError(f"{path}: there is no table '{name[:40]}'.")
        known = frozenset(NUMBERED[name].columns())
        tables[name] = tuple(_checked(path, name, row, known, place) for place, row in enumerate(rows, start=1))
    trail = tuple(
        _checked(path, "amendment", row, frozenset(_AMENDMENT), place)
        for place, row in enumerate(found["amendments"], start=1)
    )
    ordered = {table.name: tables.get(table.name, ()) for table in TABLES}
    return Bundle(path, found["db_id"], found["made_up"], found["names"], ordered, trail)


def _checked(path: Path, table: str, row: Any, known: frozenset[str], place: int) -> Row:
    """One row whose columns are known and whose values a table can hold."""
    where = f"{path}: {table} {place}"
    if not isinstance(row, dict) or not isinstance(row.get("id"), str) or not row["id"]:
        raise InputError(f"{where} is no row with an id.")
    strange = sorted(set(row) - known)
    if strange:
        raise InputError(f"{where} has no column '{strange[0][:40]}'.")
    out = dict(row)
    if isinstance(out.get("as_typed"), dict):
        out["as_typed"] = _closed(out["as_typed"])
    for name, value in out.items():
        if not _storable(value):
            raise InputError(f"{where}, {name}: '{str(value)[:40]}' is no value a log can hold.")
    return out


def _storable(value: Any) -> bool:
    """A value SQLite keeps as it is: no NaN, no huge integer, no text with NUL or half a character."""
    if isinstance(value, str):
        return "\0" not in value and not any("\ud800" <= letter <= "\udfff" for letter in value)
    if isinstance(value, bool):
        return False
    if isinstance(value, int):
        return -(2**63) <= value < 2**63
    return value is None or (isinstance(value, float) and math.isfinite(value))


def _no_constant(text: str) -> None:
    raise ValueError(f"{text} is not JSON")
