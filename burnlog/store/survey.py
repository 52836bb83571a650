"""A first look through a cut sheet: what it says of jobs, lines and rod types, wherever it says it.

A planned length may stand on the third row of a line, in another dive; a row before it may say `all`. So a file is
read twice: once for what outlasts a row, and once for the rows.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from burnlog.errors import CellProblem, RowErrors
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
    jobs, lines, rod_types : dict
        By code; lines by job and code.
    clashes : dict
        Row -> what contradicts an earlier row.
    """

    rows: int = 0
    in_order: bool = True
    jobs: dict[str, JobSaid] = field(default_factory=dict)
    lines: dict[tuple[str, str], Said] = field(default_factory=dict)
    rod_types: dict[str, Said] = field(default_factory=dict)
    clashes: dict[int, list[CellProblem]] = field(default_factory=dict)


def survey(sheet: CutSheet) -> Survey:
    """Look through the file once. Cells that cannot be read are left for the second reading to report."""
    found = Survey()
    last: object = None
    closed: set[object] = set()
    wanted = ("job", "dive", "line", "rod_type", *LINE_CELLS, *ROD_CELLS, *JOB_CELLS)
    names = [name for name in wanted if name in sheet.readers]
    for row in _until_broken(sheet):
        found.rows += 1
        if row.problem is not None:
            continue
        cells = sheet.read_some(row, names)
        job, dive = _value(cells, "job"), _value(cells, "dive")
        if job is None or dive is None:
            continue
        if (job, dive) != last:
            found.in_order = found.in_order and (job, dive) not in closed
            closed.add(last)
            last = (job, dive)
        of_job = found.jobs.setdefault(str(job), JobSaid(dive))
        for name in JOB_CELLS:
            if (word := _value(cells, name)) is not None:
                of_job.note(name, str(word), dive)
        if (line := _value(cells, "line")) is not None:
            _note(sheet, found, row, found.lines.setdefault((str(job), str(line)), {}), cells, LINE_CELLS)
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


def _until_broken(sheet: CutSheet) -> Iterator[Row]:
    """The rows up to where the file breaks off, if it does: the second reading will say so."""
    rows = sheet.table.rows()
    while True:
        try:
            yield next(rows)
        except (StopIteration, RowErrors):
            return
