"""Cut sheets for tests: rows as dicts, written as CSV, with the cells a sheet cannot do without filled in."""

from __future__ import annotations

import csv
import datetime as dt
import tempfile
from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from pathlib import Path

import pytest

from burnlog.errors import RowErrors
from burnlog.store.exchange import ImportReport, import_file
from burnlog.store.log import Log

NEEDED = {"job": "PIER7", "dive": "14", "dive_date": "2026-05-12", "diver": "D3"}


def moment() -> dt.datetime:
    """The time at which these tests happen."""
    return dt.datetime(2026, 5, 12, 18, 30, tzinfo=dt.UTC)


@cache
def _empty(made_up: bool) -> bytes:
    """The bytes of an empty log: making one takes a quarter of a second, copying one does not."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "empty.db"
        Log.create(path, by="tester", now=moment, made_up=made_up).close()
        return path.read_bytes()


def new_log(folder: Path, name: str = "log.db", *, made_up: bool = False) -> Log:
    """An empty log."""
    path = folder / name
    path.write_bytes(_empty(made_up))
    return Log.open(path, by="tester", now=moment)


def write(
    path: Path, rows: Iterable[Mapping[str, str]], columns: Sequence[str] | None = None, *, mark: str = ","
) -> Path:
    """Rows as a file; columns in the order in which they first appear."""
    rows = list(rows)
    names = list(columns or dict.fromkeys(name for row in rows for name in row))
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream, delimiter=mark)
        writer.writerow(names)
        writer.writerows([row.get(name, "") for name in names] for row in rows)
    return path


def cut(**cells: str) -> dict[str, str]:
    """One row of a cut sheet; `pass_` stands for the column `pass`."""
    return {**NEEDED, **{name.rstrip("_"): text for name, text in cells.items()}}


def take(
    log: Log, folder: Path, *rows: Mapping[str, str], name: str = "sheet.csv", **options: object
) -> ImportReport:
    """Write rows and import them."""
    return import_file(log, write(folder / name, rows), **options)  # type: ignore[arg-type]


def counts(log: Log) -> dict[str, int]:
    """Rows by table, leaving out the books."""
    tables = ("job", "person", "rod_type", "rig", "bank", "line", "dive", "cut", "tally", "tally_cut", "rod_part")
    more = ("reading", "happening", "sourced_value", "import_batch", "amendment")
    return {name: log.rows(f"SELECT count(*) AS n FROM {name}")[0]["n"] for name in (*tables, *more)}


def one(log: Log, sql: str) -> dict[str, object]:
    """The only row of a query."""
    (row,) = log.rows(sql)
    return row


def refused(log: Log, folder: Path, *rows: Mapping[str, str], **options: object) -> str:
    """The message of an import that must be refused, having written nothing."""
    before = counts(log)
    with pytest.raises(RowErrors) as caught:
        take(log, folder, *rows, **options)
    assert counts(log) == before
    assert caught.value.exit_code == 2
    return str(caught.value)
