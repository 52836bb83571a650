"""Rows of a cut sheet typed one by one, by the same rules as a file: all of a row goes in, or nothing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from burnlog.store.batch import Batch
from burnlog.store.cutsheet import SheetRow
from burnlog.store.exchange import ImportReport
from burnlog.store.log import Log
from burnlog.store.sheetfile import Taken, open_sheet, refuse, take_sheet
from burnlog.store.sheetimport import SheetImport
from burnlog.store.survey import survey
from burnlog.store.tablefile import typed_table

__all__ = ["import_head", "import_rows"]


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
        taken = take_sheet(log, table, batch, held, all_new=True, twice_why=twice_why)
        refuse(table, held, keep_good=False)
        batch.write()
    return _report(name, taken, batch)


def import_head(log: Log, head: Mapping[str, str], *, name: str = "as typed") -> ImportReport:
    """Take in a dive whose rows are still to come: its head, and the counts that are made once over all of it.

    Parameters
    ----------
    log : Log
        Open for writing.
    head : mapping
        Column of the cut sheet -> text; what belongs to a single cut is not kept.
    name : str
        How messages call what was typed.

    Raises
    ------
    RowErrors
        Every bad cell; nothing was written.
    ConflictError
        The dive is in the log and says otherwise; nothing was written.
    """
    table = typed_table([{**head, "made_up": "yes"} if log.made_up else head], name)
    with log.transaction(why=f"blank filled from a row {name}"):
        batch = Batch(log)
        sheet = open_sheet(log, table)
        importer = SheetImport(log, sheet, survey(sheet, table.rows()), batch)
        (row,) = map(sheet.read, table.rows())
        job, dive = row.get("job").value, row.get("dive").value
        if job is not None and dive is not None:
            importer.take_head(str(job), int(dive), row)
        refuse(table, [row] if row.bad else [], keep_good=False)
        batch.write()
    masters = {made: tuple(codes) for made, codes in importer.writer.masters.items()}
    return _report(name, Taken(1, 0, masters, []), batch)


def _report(name: str, taken: Taken, batch: Batch) -> ImportReport:
    return ImportReport(
        name,
        "cut sheet",
        taken.rows,
        {table: count for table, count in batch.added.items() if count},
        filled=batch.filled,
        masters=taken.masters,
        notes=tuple(taken.notes),
    )
