"""Files in: what kind of file it is, all of its problems at once, and its rows in one transaction or not at all."""

from __future__ import annotations

import csv
import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from burnlog.errors import CellProblem, FileError, InputError, RowErrors
from burnlog.store.batch import Batch
from burnlog.store.cutsheet import COLUMNS, SheetRow
from burnlog.store.log import Log, identity
from burnlog.store.masters import MASTER_FILES, MasterImport, Weigh
from burnlog.store.readings import READING_COLUMNS, ReadingImport
from burnlog.store.sheetfile import Progress, Taken, refuse, take_sheet
from burnlog.store.sourcedvalues import CheckSection
from burnlog.store.tablefile import TableFile, harmless, open_table

__all__ = ["ImportReport", "file_kinds", "import_file"]


@dataclass(frozen=True)
class ImportReport:
    """What became of a file.

    Attributes
    ----------
    file : str
        Its name.
    kind : str
        Key of `file_kinds`.
    rows : int
        Rows that hold something.
    added : mapping
        Table -> rows written.
    skipped : int
        Rows that were in the log already.
    filled : int
        Blanks of rows in the log that the file could fill.
    held : int
        Rows that were not good and went to `rest`.
    rest : Path or None
        Where they were written.
    masters : mapping
        Table -> codes made from the rows.
    notes : tuple of str
        What a person should know: estimates, blanks, how the file was read.
    dry_run : bool
        Nothing was written.
    """

    file: str
    kind: str
    rows: int = 0
    added: Mapping[str, int] = field(default_factory=dict)
    skipped: int = 0
    filled: int = 0
    held: int = 0
    rest: Path | None = None
    masters: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    dry_run: bool = False

    def as_json(self) -> dict[str, Any]:
        """The report as plain values."""
        return {
            "file": self.file,
            "kind": self.kind,
            "rows": self.rows,
            "added": dict(self.added),
            "skipped": self.skipped,
            "filled": self.filled,
            "held": self.held,
            "rest": None if self.rest is None else str(self.rest),
            "masters": {name: list(codes) for name, codes in self.masters.items()},
            "notes": list(self.notes),
            "dry_run": self.dry_run,
        }


class _DryRun(Exception):  # noqa: N818 - a way out of a transaction, not an error
    pass


def import_file(
    log: Log,
    path: Path | str,
    *,
    dry_run: bool = False,
    keep_good: Path | str | None = None,
    check_section: CheckSection | None = None,
    weigh: Weigh | None = None,
    progress: Progress | None = None,
) -> ImportReport:
    """Take a CSV or XLSX file into the log: a cut sheet, readings or a master file, told apart by their headers.

    Parameters
    ----------
    log : Log
        Open for writing.
    path : Path
    dry_run : bool
        Read and check everything, write nothing.
    keep_good : Path, optional
        Take the good rows in, and write the others with a column `why` to this new CSV file.
    check_section : Callable, optional
        Called with a section's kind and its dimensions [mm]; raises `InputError` where they cannot be.
    weigh : Callable, optional
        Called with an oxygen bank typed by volume; returns kg a cylinder.
    progress : Callable, optional
        Called every thousand rows with how many were read, and how many there are or None.

    Returns
    -------
    ImportReport

    Raises
    ------
    RowErrors
        Every bad cell at once; nothing was written.
    ConflictError
        Rows that stand in the log with other content; nothing was written.
    InputError
        No file of a kind that is read here.
    FileError
        The file or the log cannot be read or written.
    """
    path = Path(path)
    rest = None if keep_good is None else _new_csv(Path(keep_good))
    table = open_table(path)
    kind = _kind_of(table)
    report: ImportReport | None = None
    held: list[SheetRow] = []
    try:
        with log.transaction(why=f"blank filled from {path.name}"[:300]):
            if (before := _seen(log, table)) is not None:
                return ImportReport(
                    path.name,
                    kind,
                    before["rows"],
                    skipped=before["rows"],
                    notes=(_seen_note(before),),
                    dry_run=dry_run,
                )
            batch = Batch(log)
            if kind == "cut sheet":
                taken = take_sheet(log, table, batch, held, keep_good=rest is not None, progress=progress)
            elif kind == "readings":
                readings = ReadingImport(log, table, batch, keep_good=rest is not None)
                taken = Taken(*readings.take(held, progress))
            else:
                masters = MasterImport(
                    log, table, MASTER_FILES[kind], batch, check_section=check_section, weigh=weigh
                )
                taken = Taken(*masters.take(held, progress))
            refuse(table, held, keep_good=rest is not None)
            batch.write()
            report = ImportReport(
                path.name,
                kind,
                taken.rows,
                {name: count for name, count in batch.added.items() if count},
                taken.skipped,
                batch.filled,
                len(held),
                rest if held else None,
                taken.masters,
                (*table.notes, *taken.notes),
                dry_run,
            )
            if dry_run:
                raise _DryRun
            _sign(log, table, batch, taken.rows, partly=bool(held))
            if held and rest is not None:
                _write_rest(rest, table, held)
    except _DryRun:
        pass
    except BaseException:
        if report is not None and held and rest is not None and not dry_run:
            rest.unlink(missing_ok=True)  # the log did not take the good rows, so nothing was parted
        raise
    assert report is not None
    return report


def file_kinds() -> dict[str, tuple[str, ...]]:
    """The kinds of file that can be imported, with their columns."""
    return {
        "cut sheet": tuple(column.name for column in COLUMNS),
        "readings": tuple(READING_COLUMNS),
        **{name: tuple(spec.columns) for name, spec in MASTER_FILES.items()},
    }


def _kind_of(table: TableFile) -> str:
    """The kind whose columns fit the headers with the least left over; a tie goes to the kind named first."""
    names = {header.name for header in table.headers}
    required = {"cut sheet": {"job", "dive", "dive_date", "diver"}, "readings": {"job"}}
    required.update({name: set(spec.required) for name, spec in MASTER_FILES.items()})
    kinds = file_kinds()
    best = min(kinds, key=lambda kind: len(names - set(kinds[kind])) + len(required[kind] - names))
    if not names & set(kinds[best]):
        raise RowErrors(
            table.name,
            [
                CellProblem(
                    1,
                    "",
                    f"none of the columns is known ({', '.join(sorted(names))[:80]}); a cut sheet begins with "
                    "job, dive, row, and `burnlog sheet` makes a blank one",
                )
            ],
        )
    return best


def _seen(log: Log, table: TableFile) -> dict[str, int] | None:
    return log.one("import_batch", content_hash=table.content_hash)


def _seen_note(before: Mapping[str, object]) -> str:
    return (
        f"This file is in the log already, as {before['file_name']}, taken in by {before['created_by']} on "
        f"{str(before['created_at'])[:10]}; nothing was added."
    )


def _sign(log: Log, table: TableFile, batch: Batch, rows: int, *, partly: bool) -> None:
    """Keep the file's hash, so that the same bytes are known again; of a file taken in part, a hash of its own."""
    digest = table.content_hash
    if partly:
        digest = hashlib.sha256(f"{digest} in part".encode()).hexdigest()
        if log.one("import_batch", content_hash=digest) is not None:
            return
    values = {"file_name": table.path.name[:400], "content_hash": digest, "rows": rows}
    batch.add("import_batch", identity("import_batch", digest), values)
    batch.write()


def _new_csv(path: Path) -> Path:
    if path.suffix.lower() in (".xlsx", ".xls", ".xlsm"):
        raise InputError(f"{path.name}: the rows held back are written as CSV; name the file .csv.")
    if path.exists():
        raise FileError(f"{path} exists already; name a new file for the rows held back.")
    if not path.parent.is_dir():
        raise FileError(f"the folder {path.parent} does not exist; make it first.")
    return path


def _write_rest(path: Path, table: TableFile, held: list[SheetRow]) -> None:
    """The rows held back as they were typed, their row numbers within the dive made plain, and why."""
    headers = [header for header in table.typed_headers if header != "why"]
    places = [place for place, header in enumerate(table.typed_headers) if header != "why"]
    numbered = any(row.sheet_row is not None for row in held)
    if numbered and "row" not in headers:
        headers.append("row")
        places.append(len(table.typed_headers))
    try:
        with path.open("x", encoding="utf-8", newline="") as stream:
            writer = csv.writer(stream)
            writer.writerow([*headers, "why"])
            for row in sorted(held, key=lambda row: row.number):
                cells = [row.raw[place] if place < len(row.raw) else "" for place in places]
                if row.sheet_row is not None:
                    cells[headers.index("row")] = str(row.sheet_row)
                why = "; ".join(str(problem) for problem in (*row.problems, *row.conflicts))
                writer.writerow([*cells, harmless(why)])
    except OSError as error:
        raise FileError(f"{path} cannot be written ({error.strerror or error}); nothing was imported.") from error
