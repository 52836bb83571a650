"""Files in: what kind of file it is, all of its problems at once, and its rows in one transaction or not at all."""

from __future__ import annotations

import csv
import hashlib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import NamedTuple

from burnlog.errors import CellProblem, ConflictError, FileError, InputError, RowErrors
from burnlog.store.batch import Batch
from burnlog.store.cutsheet import COLUMNS, CutSheet, SheetRow
from burnlog.store.log import Log, identity
from burnlog.store.masters import MASTER_FILES, CheckSection, MasterImport, Weigh
from burnlog.store.readings import READING_COLUMNS, ReadingImport
from burnlog.store.sheetimport import SheetImport
from burnlog.store.survey import Survey, survey
from burnlog.store.tablefile import Row as TableRow
from burnlog.store.tablefile import TableFile, harmless, open_table, typed_table

__all__ = ["ImportReport", "file_kinds", "import_file", "import_rows"]

MOST_PROBLEMS = 10_000
"""More than anybody reads; the file is wrong in one way all through."""

MOST_HELD = 20_000
"""Rows of one job that are held in memory; a file with a longer one is read once more instead."""

_STEP = 1000
Progress = Callable[[int], None]


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


class _DryRun(Exception):  # noqa: N818 - a way out of a transaction, not an error
    pass


class _Taken(NamedTuple):
    """What one kind of import hands back: rows read, rows skipped, masters made, notes."""

    rows: int
    skipped: int
    masters: Mapping[str, tuple[str, ...]]
    notes: list[str]


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
        Called with the number of rows read, every thousand.

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
                taken = _take_sheet(log, table, batch, held, keep_good=rest is not None, progress=progress)
            elif kind == "readings":
                readings = ReadingImport(log, table, batch, keep_good=rest is not None)
                taken = _Taken(*readings.take(held, progress))
            else:
                masters = MasterImport(
                    log, table, MASTER_FILES[kind], batch, check_section=check_section, weigh=weigh
                )
                taken = _Taken(*masters.take(held, progress))
            _refuse(table, held, keep_good=rest is not None)
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


def import_rows(
    log: Log, rows: Sequence[Mapping[str, str]], *, name: str = "as typed", twice_why: str | None = None
) -> ImportReport:
    """Take rows of a cut sheet that were typed one by one, by the same rules as a file; each must be new.

    Parameters
    ----------
    log : Log
        Open for writing.
    rows : sequence of mapping
        Column of the cut sheet -> text.
    name : str
        How messages call what was typed.
    twice_why : str, optional
        Reason for a true second cut with line, start and stop of another.

    Returns
    -------
    ImportReport

    Raises
    ------
    RowErrors
        Every bad cell, or a row that is in the log already; nothing was written.
    ConflictError
        The dive is in the log and says otherwise; nothing was written.
    """
    if log.made_up:  # what is typed into an invented log is invented
        rows = [{**row, "made_up": "yes"} for row in rows]
    table = typed_table(rows, name)
    held: list[SheetRow] = []
    with log.transaction(why=f"blank filled from a row {name}"):
        batch = Batch(log)
        taken = _take_sheet(log, table, batch, held, all_new=True, twice_why=twice_why)
        _refuse(table, held, keep_good=False)
        batch.write()
    added = {what: count for what, count in batch.added.items() if count}
    return ImportReport(
        name,
        "cut sheet",
        taken.rows,
        added,
        filled=batch.filled,
        masters=taken.masters,
        notes=tuple(taken.notes),
    )


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


def _refuse(table: TableFile, held: list[SheetRow], *, keep_good: bool) -> None:
    """Raise what is wrong with the rows, unless they are written elsewhere; always where the file breaks off."""
    if not held:
        return
    if keep_good:
        broken = [problem for row in held if not row.raw for problem in row.problems]
        if broken:  # what comes after it is neither good nor bad
            raise RowErrors(table.name, broken)
        return
    problems = [problem for row in held for problem in row.problems]
    conflicts = [problem for row in held for problem in row.conflicts]
    if problems:
        raise RowErrors(table.name, problems + conflicts)
    count = len(conflicts)
    head = f"{table.name}: {count} row{'s' if count != 1 else ''} in conflict with the log, nothing written."
    raise ConflictError("\n".join([head, *(f"  {problem}" for problem in conflicts)]))


def _take_sheet(
    log: Log,
    table: TableFile,
    batch: Batch,
    held: list[SheetRow],
    *,
    keep_good: bool = False,
    progress: Progress | None = None,
    all_new: bool = False,
    twice_why: str | None = None,
) -> _Taken:
    sheet = CutSheet(table)
    if log.made_up and "made_up" not in sheet.headers:
        message = "this log holds invented work only, and the file has no column made_up that says yes"
        raise RowErrors(table.name, [CellProblem(1, "", message)])
    reading = _Reading(sheet)
    first = survey(sheet, reading)
    importer = SheetImport(log, sheet, first, batch, keep_good=keep_good, all_new=all_new, twice_why=twice_why)
    rows = 0
    for job, dive, group in _dives(sheet, first, reading, importer):
        if job is not None and dive is not None:
            importer.take(job, dive, group)
        held.extend(row for row in group if row.bad)
        if held and not keep_good:
            batch.stop()
        if sum(len(row.problems) for row in group) and len(held) >= MOST_PROBLEMS and not keep_good:
            message = f"{MOST_PROBLEMS} rows are wrong; the rows after this one were not read"
            held[-1].problems.append(CellProblem(held[-1].number, "", message))
            break
        for _ in group:
            rows += 1
            if progress is not None and rows % _STEP == 0:
                progress(rows)
    else:  # where the file breaks off: what came before is still worth reporting
        held.extend(SheetRow(problem.row, [], {}, [problem]) for problem in reading.broken)
    masters = {name: tuple(codes) for name, codes in importer.masters.items()}
    return _Taken(rows, importer.skipped, masters, _sheet_notes(importer))


class _Reading:
    """The rows of a file as often as they are asked for, up to where it breaks off, if it does."""

    def __init__(self, sheet: CutSheet) -> None:
        self.sheet = sheet
        self.broken: list[CellProblem] = []

    def __iter__(self) -> Iterator[TableRow]:
        try:
            yield from self.sheet.table.rows()
        except RowErrors as error:
            self.broken = list(error.problems)

    def by_job(self) -> Iterator[list[TableRow]]:
        """The rows of one job after the other, where they stand together."""
        gathered: list[TableRow] = []
        last: object = None
        for row in self:
            cells = self.sheet.read_some(row, ("job", "dive")) if row.problem is None else {}
            job = cells["job"].value if "job" in cells and "dive" in cells else None
            if job not in (None, last) and cells["dive"].value is not None:  # as the survey parted them
                if last is not None:
                    yield gathered
                    gathered = []
                last = job
            gathered.append(row)
        yield gathered


def _dives(
    sheet: CutSheet, first: Survey, reading: _Reading, importer: SheetImport
) -> Iterator[tuple[str | None, int | None, list[SheetRow]]]:
    """The rows dive by dive, each job's lines looked at before them; rows of no dive come alone."""
    if first.jobs_together and first.longest_job <= MOST_HELD:
        for rows in reading.by_job():
            first.look_at_lines(sheet, rows)
            yield from _parted(sheet, first, rows)
            importer.forget()
    else:
        first.look_at_lines(sheet, reading)
        yield from _parted(sheet, first, reading)


def _parted(
    sheet: CutSheet, first: Survey, rows: Iterable[TableRow]
) -> Iterator[tuple[str | None, int | None, list[SheetRow]]]:
    """Rows dive by dive. A file that mixes its dives is sorted out in memory."""
    gathered: dict[tuple[str, int], list[SheetRow]] = {}
    last: tuple[str, int] | None = None
    group: list[SheetRow] = []
    for row in map(sheet.read, rows):
        key = _key(sheet, row)
        if key is None:
            yield None, None, [row]
        elif not first.in_order:
            gathered.setdefault(key, []).append(row)
        elif key == last:
            group.append(row)
        else:
            if last is not None:
                yield *last, group
            last, group = key, [row]
    if last is not None:
        yield *last, group
    for (job, dive), found in gathered.items():
        yield job, dive, found


def _key(sheet: CutSheet, row: SheetRow) -> tuple[str, int] | None:
    """Job and dive of a row; a row without them is in trouble, and says so."""
    job, dive = row.get("job").value, row.get("dive").value
    if job is not None and dive is not None:
        return str(job), int(dive)
    if not row.problems:
        name = "job" if job is None else "dive"
        row.problems.append(sheet.problem(row, name, f"every row names its {name}, and this one is blank"))
    return None


def _sheet_notes(importer: SheetImport) -> list[str]:
    notes = []
    marks = [
        f"{importer.counts[basis]} {basis}"
        for basis in ("estimated", "at least", "at most", "not recorded")
        if importer.counts[basis]
    ]
    if marks:
        notes.append(f"Of {importer.counts.total()} rod counts: {', '.join(marks)}.")
    if importer.unweighed:
        notes.append(
            f"{importer.unweighed} rod counts with stubs have no rod equivalents: the planned stub of their rod "
            "type is not in the log (import a file of rod types)."
        )
    if importer.unnamed:
        notes.append(f"{importer.unnamed} cuts name no line; each got one of its own (unnamed-DIVE.ROW).")
    if importer.void:
        notes.append(f"{importer.void} rows stand voided in the log and were not brought back.")
    return notes


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
