"""Files whose rows stand each for itself: readings, masters, sourced values."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from burnlog.errors import CellProblem, RowErrors
from burnlog.store.cells import Cell, CellReader
from burnlog.store.cutsheet import SheetRow, unknown_columns
from burnlog.store.fields import FieldRule
from burnlog.store.tablefile import Header, TableFile

__all__ = ["PlainFile"]


class PlainFile:
    """A file with known columns.

    Parameters
    ----------
    table : TableFile
    columns : mapping
        Column -> rule.
    required : sequence of str
        Columns that must be there and filled.
    readers : mapping
        Column -> its reader; the header's unit is given to it here.

    Raises
    ------
    RowErrors
        A column is unknown or missing, or a unit in a header is none.
    """

    def __init__(
        self,
        table: TableFile,
        columns: Mapping[str, FieldRule],
        required: Sequence[str],
        readers: Mapping[str, CellReader],
    ) -> None:
        self.table = table
        self.required = required
        problems = unknown_columns(table, columns, required)
        self.headers: dict[str, Header] = {header.name: header for header in table.headers}
        self.readers = {name: readers[name] for name in self.headers if name in readers and name != "why"}
        for name, reader in self.readers.items():
            reader.unit = self.headers[name].unit
            if why := reader.unit_problem():
                problems.append(table.problem(1, self.headers[name], why, self.headers[name].typed))
        if problems:
            raise RowErrors(table.name, problems)

    def rows(self, *, made_up: bool) -> Iterator[SheetRow]:
        """Every row with its cells read; a file that breaks off ends with a row that says so."""
        source = self.table.rows()
        while True:
            try:
                raw = next(source)
            except StopIteration:
                return
            except RowErrors as broken:
                for problem in broken.problems:
                    yield SheetRow(problem.row, [], {}, [problem])
                return
            row = SheetRow(raw.number, raw.cells)
            if raw.problem is not None:
                row.problems.append(raw.problem)
            else:
                self._read(row, made_up=made_up)
            yield row

    def _read(self, row: SheetRow, *, made_up: bool) -> None:
        for name, reader in self.readers.items():
            text = row.raw[self.headers[name].place]
            cell = reader.read(text) if text else None
            if isinstance(cell, Cell):
                row.cells[name] = cell
            elif cell is not None:
                self.object(row, name, cell)
        for name in self.required:
            if row.get(name).value is None and not row.problems:
                self.object(row, name, f"is blank, and every row needs its {name}")
        said = row.raw[self.headers["made_up"].place] if "made_up" in self.headers else ""
        if said and row.get("made_up").value is not None and bool(row.get("made_up").value) != made_up:
            message = (
                "says no, and this log holds invented work only"
                if made_up
                else "is made up, and this log holds real work; import it into a log of its own (`init --made-up`)"
            )
            self.object(row, "made_up", message)

    def problem(self, row: SheetRow, name: str, message: str) -> CellProblem:
        """A problem with the cell of a row in one column."""
        header = self.headers.get(name)
        if header is None:
            return CellProblem(row.number, "", message)
        text = row.raw[header.place] if header.place < len(row.raw) else ""
        return self.table.problem(row.number, header, message, text)

    def object(self, row: SheetRow, name: str, message: str) -> None:
        """Add a problem to a row."""
        row.problems.append(self.problem(row, name, message))

    @staticmethod
    def typed(row: SheetRow, columns: Mapping[str, FieldRule]) -> dict[str, tuple[str, str]]:
        """What was typed, by the log's columns."""
        return {columns[name].column: (cell.typed, cell.basis) for name, cell in row.cells.items() if cell.typed}
