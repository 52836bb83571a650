"""A first look through a cut sheet: what it says of jobs, lines and rod types, wherever it says it.

A planned length may stand on the third row of a line, in another dive; a row before it may say `all`. So a file is
read twice: once for what outlasts a row, and once for the rows. Lines are looked at job by job where the rows of each
job stand together, so that no more than one job of a long file is held in memory.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from burnlog.errors import CellProblem
from burnlog.store.cells import Cell
from burnlog.store.cutsheet import CutSheet
from burnlog.store.tablefile import Row

__all__ = ["LINE_CELLS", "ROD_CELLS", "Said", "Survey", "same", "survey"]

LINE_CELLS = ("section", "material", "thickness", "planned_length", "closed_space")
ROD_CELLS = ("family", "rod_length")
JOB_CELLS = ("record_class", "water")
TAPE_MM = 0.5
"""Two lengths of one line that differ by less are the same length in other units."""

Said = dict[str, tuple[Cell, int]]
"""Column -> the cell that says it first, and its row."""


@dataclass
class JobSaid:
    """What the dives of a job say of it: a job is made with what its first dive says, if no other says otherwise."""

    first_dive: object
    words: dict[str, set[str]] = field(default_factory=dict)
    at_first: set[str] = field(default_factory=set)

    def note(self, name: str, word: str, dive: object) -> None:
        """One more dive says `word` under `name`."""
        self.words.setdefault(name, set()).add(word)
        if dive == self.first_dive:
            self.at_first.add(name)

    def agreed(self, name: str) -> str | None:
        """The word of the first dive, where all dives that say one say the same."""
        words = self.words.get(name, set())
        return next(iter(words)) if name in self.at_first and len(words) == 1 else None


@dataclass
class Survey:
    """What a file says of the things that outlast a row.

    Attributes
    ----------
    rows : int
    in_order : bool
        The rows of a dive stand together.
    jobs_together : bool
        So do the rows of a job.
    longest_job : int
        Rows of the job that has the most, of those that stand together.
    jobs, lines, rod_types : dict
        By code; lines by job and code.
    clashes : dict
        Row -> what contradicts an earlier row.
    """

    rows: int = 0
    in_order: bool = True
    jobs_together: bool = True
    longest_job: int = 0
    jobs: dict[str, JobSaid] = field(default_factory=dict)
    lines: dict[tuple[str, str], Said] = field(default_factory=dict)
    rod_types: dict[str, Said] = field(default_factory=dict)
    clashes: dict[int, list[CellProblem]] = field(default_factory=dict)

    def look_at_lines(self, sheet: CutSheet, rows: Iterable[Row]) -> None:
        """Take note of what rows say of their lines; what was noted of other lines before is forgotten."""
        self.lines.clear()
        names = [name for name in ("job", "line", *LINE_CELLS) if name in sheet.readers]
        if "line" not in names:
            return
        for row in rows:
            if row.problem is None:
                cells = sheet.read_some(row, names)
                job, line = _value(cells, "job"), _value(cells, "line")
                if job is not None and line is not None:
                    said = self.lines.setdefault((str(job), str(line)), {})
                    _note(sheet, self, row, said, cells, LINE_CELLS)


def survey(sheet: CutSheet, rows: Iterable[Row]) -> Survey:
    """Look through a file once, its lines apart. Cells that cannot be read are left for the second reading."""
    found = Survey()
    last: tuple[object, object] | None = None
    closed: set[object] = set()
    length = 0
    names = [name for name in ("job", "dive", "rod_type", *ROD_CELLS, *JOB_CELLS) if name in sheet.readers]
    for row in rows:
        found.rows += 1
        if row.problem is not None:
            continue
        cells = sheet.read_some(row, names)
        job, dive = _value(cells, "job"), _value(cells, "dive")
        if job is None or dive is None:
            continue
        if last is None or last[0] != job:
            found.jobs_together = found.jobs_together and str(job) not in found.jobs
            length = 0
        length += 1
        found.longest_job = max(found.longest_job, length)
        if (job, dive) != last:
            found.in_order = found.in_order and (job, dive) not in closed
            closed.add(last)
            last = (job, dive)
        of_job = found.jobs.setdefault(str(job), JobSaid(dive))
        for name in JOB_CELLS:
            if (word := _value(cells, name)) is not None:
                of_job.note(name, str(word), dive)
        if (rod_type := _value(cells, "rod_type")) is not None:
            _note(sheet, found, row, found.rod_types.setdefault(str(rod_type), {}), cells, ROD_CELLS)
    return found


def same(name: str, one: object, other: object) -> bool:
    """Whether two values of a column mean the same; lengths are compared as a tape reads them."""
    if isinstance(one, float | int) and isinstance(other, float | int):
        return abs(one - other) <= (TAPE_MM if name == "planned_length" else 1e-6 * max(1.0, abs(one)))
    return one == other


def _note(
    sheet: CutSheet, found: Survey, row: Row, said: Said, cells: dict[str, Cell], names: tuple[str, ...]
) -> None:
    for name in names:
        cell = cells.get(name)
        if cell is None or cell.value is None:
            continue
        if name not in said:
            said[name] = (cell, row.number)
        elif name != "thickness" and not same(name, said[name][0].value, cell.value):
            first, where = said[name]
            of = f"rod type {cells['rod_type'].value}" if name in ROD_CELLS else f"line {cells['line'].value}"
            header = sheet.headers[name]
            message = (
                f"'{row.cells[header.place]}' here and '{first.typed or first.value}' in row {where} for {of}; "
                "leave it blank on all rows but one, or correct one of them"
            )
            problem = sheet.table.problem(row.number, header, message, row.cells[header.place])
            found.clashes.setdefault(row.number, []).append(problem)


def _value(cells: dict[str, Cell], name: str) -> object:
    cell = cells.get(name)
    return None if cell is None else cell.value
