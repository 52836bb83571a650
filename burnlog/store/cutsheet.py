"""The cut sheet: its columns, and one row of it as cells understood.

What belongs together across rows (a dive, a line, a count over a dive) is put together in `sheetdive`.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from burnlog.errors import CellProblem, RowErrors
from burnlog.store.cells import BLANK, Cell, CellReader
from burnlog.store.fields import FIELDS, FieldRule
from burnlog.store.tablefile import Header, Row, TableFile

__all__ = ["COLUMNS", "CutSheet", "SheetColumn", "SheetRow", "cell_reader", "unknown_columns"]


@dataclass(frozen=True)
class SheetColumn:
    """One column of the cut sheet.

    `part` says what the cell belongs to: ``place`` (which job, dive and row), ``dive``, ``line``, ``rod_type``,
    ``tally`` (a count of rods), ``box`` (a count of the box), ``cut``, or ``file``.
    """

    name: str
    part: str
    rule: FieldRule
    required: bool = False


def _columns() -> tuple[SheetColumn, ...]:
    listed = {name: FieldRule(name, f"list:{word}") for name, word in _LISTS.items()}
    special = {
        "job": FieldRule("code", "code", 20),
        "dive": FieldRule("dive_no", "whole"),
        "row": FieldRule("row", "whole"),
        "rod_length": FIELDS["rod_type"]["length"],
        "rods_scope": FieldRule("scope", "word:tally_scope"),
        "made_up": FieldRule("made_up", "flag"),
        "why": FieldRule("why", "text", 2000),
        **listed,
    }
    out = []
    for part, names in _PARTS:
        for name in names.split():
            table = {"box": "tally", "rod_type": "cut"}.get(part, part)
            rule = special.get(name) or FIELDS[table][name]
            out.append(SheetColumn(name, part, rule, name in _REQUIRED))
    return tuple(out)


_LISTS = {"stoppages": "stoppage", "defects": "defect", "events": "event"}
_REQUIRED = ("job", "dive", "dive_date", "diver")
_PARTS = (
    ("place", "job dive row"),
    (
        "dive",
        "sheet record_class setting water dive_date diver crew tender supervisor rig bank depth visibility current "
        "surge water_temp bottom_time work_time start_up log_ref calls_made calls_right faults",
    ),
    ("line", "line section material"),
    ("cut", "thickness position fouling backing"),
    ("line", "closed_space planned_length"),
    ("rod_type", "rod_type family rod_length"),
    ("tally", "lot rods rods_scope"),
    ("box", "issued returned rods_lost broken_or_wet would_not_light"),
    (
        "cut",
        "pass new_length start stop elapsed burn_time hot_time stoppages restarts hangers hangers_at power set_amps "
        "delivered_amps regulator_static regulator_flowing bank_start bank_end edge outcome defects events technique "
        "remark",
    ),
    ("file", "made_up why"),
)

COLUMNS: tuple[SheetColumn, ...] = _columns()
"""The columns in sheet order. `why` is what a file of rows held back says of each; it is not kept."""

_BY_NAME: Mapping[str, SheetColumn] = {column.name: column for column in COLUMNS}
_NOT_READ = frozenset(("why",))


@dataclass(slots=True)
class SheetRow:
    """One row: its cells by column name (blank ones left out), and what is wrong with it."""

    number: int
    raw: list[str]
    cells: dict[str, Cell] = field(default_factory=dict)
    problems: list[CellProblem] = field(default_factory=list)
    conflicts: list[CellProblem] = field(default_factory=list)
    sheet_row: int | None = None
    """Number of the row within its dive, typed or counted."""

    def get(self, name: str) -> Cell:
        """The cell of a column; blank when nothing is there."""
        return self.cells.get(name, BLANK)

    @property
    def bad(self) -> bool:
        """The row cannot go into the log as it stands."""
        return bool(self.problems or self.conflicts)


class CutSheet:
    """A cut sheet file whose columns are known.

    Raises
    ------
    RowErrors
        A column is unknown (with the nearest names), a required one is missing, or a unit in a header is none.
    """

    def __init__(self, table: TableFile) -> None:
        self.table = table
        problems = unknown_columns(table, _BY_NAME, [column.name for column in COLUMNS if column.required])
        self.readers: dict[str, CellReader] = {}
        self.headers: dict[str, Header] = {}
        for header in table.headers:
            column = _BY_NAME.get(header.name)
            if column is None:
                continue
            reader = cell_reader(header.name, header)
            if why := reader.unit_problem():
                problems.append(table.problem(1, header, why, header.typed))
            self.headers[header.name] = header
            if header.name not in _NOT_READ:
                self.readers[header.name] = reader
        if problems:
            raise RowErrors(table.name, problems)
        self._in_order = [
            (name, self.headers[name].place, reader) for name, reader in self.readers.items() if name != "depth"
        ]

    def read(self, row: Row) -> SheetRow:
        """Every cell of a row but the depth, which needs to know its water: see `read_depth`."""
        found = SheetRow(row.number, row.cells)
        if row.problem is not None:
            found.problems.append(row.problem)
            return found
        cells = found.cells
        for name, place, reader in self._in_order:
            text = row.cells[place]
            if not text:
                continue
            cell = reader.known.get((text, None)) or reader.read(text)
            if isinstance(cell, Cell):
                cells[name] = cell
            else:
                found.problems.append(self.problem(found, name, cell))
        return found

    def read_some(self, row: Row, names: Sequence[str]) -> dict[str, Cell]:
        """The cells of some columns; what cannot be read is left out, for `read` will say so."""
        out = {}
        for name in names:
            header = self.headers.get(name)
            if header is not None and row.cells[header.place]:
                cell = self.readers[name].read(row.cells[header.place])
                if isinstance(cell, Cell):
                    out[name] = cell
        return out

    def read_depth(self, row: SheetRow, water: str | None) -> None:
        """Read the depth of a row, now that it is known what water it was in."""
        header = self.headers.get("depth")
        if header is None or not row.raw[header.place]:
            return
        cell = self.readers["depth"].read(row.raw[header.place], water)
        if isinstance(cell, Cell):
            row.cells["depth"] = cell
        else:
            row.problems.append(self.problem(row, "depth", cell))

    def problem(self, row: SheetRow, name: str, message: str) -> CellProblem:
        """A problem with the cell of a row in one column, or with the row where it has no such column."""
        header = self.headers.get(name)
        if header is None:
            return CellProblem(row.number, "", message)
        text = row.raw[header.place] if header.place < len(row.raw) else ""
        return self.table.problem(row.number, header, message, text)


_RANGED = {
    **{part: part for part in ("dive", "line", "cut", "tally", "rod_type")},
    "box": "tally",
    "row": "cut",
}
"""Column or part of the sheet -> table whose ranges hold for it."""


def cell_reader(name: str, header: Header | None = None) -> CellReader:
    """What reads the cells of one column of the cut sheet, each value held against its range."""
    column = _BY_NAME[name]
    table = _RANGED.get(name) or _RANGED.get(column.part, "")
    return CellReader(name, column.rule, table=table, header=header)


def unknown_columns(table: TableFile, known: Mapping[str, object], required: Sequence[str]) -> list[CellProblem]:
    """Columns nobody knows, each with the nearest names, and required ones that are missing."""
    problems = []
    for header in table.headers:
        if header.name not in known:
            near = difflib.get_close_matches(header.name.lower(), list(known), n=3, cutoff=0.0)
            problems.append(
                table.problem(
                    1, header, f"there is no column '{header.name}'; the nearest are {', '.join(near)}", header.typed
                )
            )
    there = {header.name for header in table.headers}
    missing = [name for name in required if name not in there]
    if missing:
        plural = "s" if len(missing) > 1 else ""
        problems.append(CellProblem(1, "", f"the column{plural} {', '.join(missing)} cannot be done without"))
    return problems
