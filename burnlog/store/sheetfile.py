"""A cut sheet from its first row to its last: job by job, dive by dive, with every problem it has told at once."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import NamedTuple

from burnlog.errors import CellProblem, ConflictError, RowErrors
from burnlog.store.batch import Batch
from burnlog.store.cutsheet import CutSheet, SheetRow
from burnlog.store.log import Log
from burnlog.store.sheetimport import SheetImport
from burnlog.store.survey import Survey, survey
from burnlog.store.tablefile import Row as TableRow
from burnlog.store.tablefile import TableFile

__all__ = ["Progress", "Taken", "open_sheet", "refuse", "take_sheet"]

MOST_PROBLEMS = 10_000
"""More than anybody reads; the file is wrong in one way all through."""

MOST_HELD = 20_000
"""Rows of one job that are held in memory; a file with a longer one is read once more instead."""

_STEP = 1000
Progress = Callable[[int, int | None], None]
"""Called every thousand rows with how many were read, and how many there are where that is known."""


class Taken(NamedTuple):
    """What one kind of import hands back: rows read, rows skipped, masters made, notes."""

    rows: int
    skipped: int
    masters: Mapping[str, tuple[str, ...]]
    notes: list[str]


def open_sheet(log: Log, table: TableFile) -> CutSheet:
    """The columns of a cut sheet; raises `RowErrors` where they are others, or nothing marks invented work."""
    sheet = CutSheet(table)
    if log.made_up and "made_up" not in sheet.headers:
        message = "this log holds invented work only, and the file has no column made_up that says yes"
        raise RowErrors(table.name, [CellProblem(1, "", message)])
    return sheet


def take_sheet(
    log: Log,
    table: TableFile,
    batch: Batch,
    held: list[SheetRow],
    *,
    keep_good: bool = False,
    progress: Progress | None = None,
    all_new: bool = False,
    twice_why: str | None = None,
) -> Taken:
    """Take a sheet's rows in: good ones go to the batch, the others are added to `held` with what is wrong."""
    sheet = open_sheet(log, table)
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
                progress(rows, first.rows)
    else:  # where the file breaks off: what came before is still worth reporting
        held.extend(SheetRow(problem.row, [], {}, [problem]) for problem in reading.broken)
    masters = {name: tuple(codes) for name, codes in importer.writer.masters.items()}
    return Taken(rows, importer.skipped, masters, _sheet_notes(importer))


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
    made = importer.writer
    notes = []
    marks = [
        f"{made.counts[basis]} {basis}"
        for basis in ("estimated", "at least", "at most", "not recorded")
        if made.counts[basis]
    ]
    if marks:
        notes.append(f"Of {made.counts.total()} rod counts: {', '.join(marks)}.")
    if made.unweighed:
        notes.append(
            f"Rod counts with stubs and no rod equivalents, the planned stub of their rod type not being in the log: "
            f"{made.unweighed} (import a file of rod types)."
        )
    if made.unnamed:
        notes.append(f"Cuts that name no line, each given one of its own (unnamed-DIVE.ROW): {made.unnamed}.")
    if importer.void:
        notes.append(f"Rows that stand voided in the log, not brought back: {importer.void}.")
    return notes


def refuse(table: TableFile, held: list[SheetRow], *, keep_good: bool) -> None:
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
