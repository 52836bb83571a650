"""A blank cut sheet as a spreadsheet: the columns of the paper, drop-down lists, unit notes; import takes it back.

Cells are formatted as text, for a spreadsheet left to itself turns `5/8` into a day in May.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from burnlog import units, vocabulary
from burnlog.errors import FileError, InputError
from burnlog.store.cutsheet import COLUMNS, SheetColumn
from burnlog.store.workbook import cell_address

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

__all__ = ["sheet_workbook"]

MOST_ROWS = 5000
_SCOPES = ("cut", "dive")
_NOTES: Mapping[str, str] = {
    "dive": "Whole number, unique in the job. What belongs to the dive needs to stand only once, on any of its rows.",
    "row": "Row within the dive; blank counts on from the row above.",
    "dive_date": "As 2026-05-12.",
    "depth": "45 fsw or 14 msw; 45 ft needs the water (salt or fresh). Leave it blank for dry practice.",
    "thickness": "12 mm, 1/2 in, 5/8.",
    "planned_length": "Length of the cut line, not the surface perimeter; once per line.",
    "new_length": "Length severed for the first time: 2 ft 6 in, 762 mm, all, half. 0 or blank on a re-burn.",
    "rods": "7, ~7, 7+, 7 + 6in (seven and a stub of 6 in). 0 only if you looked and it was nought.",
    "rods_scope": "cut, or dive: one count on the dive's first row for all its cuts with that rod type.",
    "issued": "Rods out of the box; once per dive and rod type.",
    "returned": "Rods back unused; once per dive and rod type.",
    "start": "0942. A stop before its start is past midnight.",
    "burn_time": "A rod actually burning: 0:45 is 45 seconds. Switch-closed time goes under hot_time.",
    "hot_time": "Switch closed. Not the burn time: an exothermic rod burns on with the switch open.",
    "elapsed": "45s or 21 min, where there are no clock times; 0:45 has two readings.",
    "bottom_time": "0:45 is 45 minutes, copied from the legal log.",
    "regulator_static": "No gas flowing: 110 psi, 7.6 bar.",
    "regulator_flowing": "While gas flows: the only reading that shows sag.",
    "made_up": "yes where the row is invented.",
}
_GENERAL = "Blank = not recorded. 0 = somebody looked and it was nought. ~7 = about, 7+ = at least."
_LIST_HINT = "Several are parted by ; "
_WIDE = frozenset(("remark", "stoppages", "defects", "events", "technique", "section"))


def sheet_workbook(
    path: Path | str,
    *,
    rows: int = 200,
    job: str | None = None,
    first: Sequence[Mapping[str, str]] = (),
    made_up: bool = False,
    headers: Mapping[str, str] | None = None,
) -> Path:
    """Write a blank cut sheet workbook.

    Parameters
    ----------
    path : Path
        Must be new and end in .xlsx.
    rows : int
        Rows made ready, 1 to 5000.
    job : str, optional
        Job code written into every row that `first` fills.
    first : sequence of mapping
        Cells to write into the first rows, such as job, dive and sheet number.
    made_up : bool
        Marks every row that `first` fills as invented.
    headers : mapping, optional
        Column -> unit of its bare numbers, written as ``thickness [mm]``.

    Returns
    -------
    Path

    Raises
    ------
    InputError
        Rows outside 1 to 5000, an unknown column, a unit a column is not measured in, or another ending.
    FileError
        The file exists or cannot be written.
    """
    path = Path(path)
    names = [column.name for column in COLUMNS if column.name != "why"]
    if path.suffix.lower() != ".xlsx":
        raise InputError(f"{path.name}: a workbook ends in .xlsx.")
    if not 1 <= rows <= MOST_ROWS:
        raise InputError(f"{rows} rows: a workbook has 1 to {MOST_ROWS}.")
    strange = [name for row in first for name in row if name not in names]
    if strange:
        raise InputError(f"there is no column '{strange[0]}' on a cut sheet.")
    if path.exists():
        raise FileError(f"{path} exists already; name a new file, for nothing is overwritten.")
    book = _book(rows, _filled(first, job, made_up), _titles(names, headers or {}))
    try:
        book.save(path)
    except OSError as error:
        raise FileError(f"{path} cannot be written ({error.strerror or error}).") from error
    return path


def _titles(names: Sequence[str], headers: Mapping[str, str]) -> dict[str, str]:
    kinds = {column.name: column.rule.kind for column in COLUMNS}
    titles = {name: name for name in names}
    for name, unit in headers.items():
        if kinds.get(name) not in units.KINDS:
            raise InputError(f"{name} takes no unit in its header.")
        units.check_unit(unit, kinds[name])
        titles[name] = f"{name} [{unit}]"
    return titles


def _filled(first: Sequence[Mapping[str, str]], job: str | None, made_up: bool) -> list[dict[str, str]]:
    extra = {**({"job": job} if job else {}), **({"made_up": "yes"} if made_up else {})}
    return [{**extra, **row} for row in first]


def _book(rows: int, filled: Sequence[Mapping[str, str]], titles: Mapping[str, str]) -> Any:
    from openpyxl import Workbook
    from openpyxl.comments import Comment
    from openpyxl.styles import Alignment, Font

    book = Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = "cut sheet"
    columns = [column for column in COLUMNS if column.name in titles]
    for place, column in enumerate(columns):
        cell = sheet.cell(1, place + 1, titles[column.name])
        cell.font = Font(bold=True, underline="single" if column.required else None)
        cell.alignment = Alignment(text_rotation=60, vertical="bottom")
        cell.comment = Comment(_note(column), "burnlog", width=260, height=130)
        letters = cell_address(1, place).rstrip("1")
        sheet.column_dimensions[letters].width = 24 if column.name in _WIDE else 12
        for number in range(2, rows + 2):
            sheet.cell(number, place + 1).number_format = "@"
    for number, row in enumerate(filled, start=2):
        for place, column in enumerate(columns):
            if text := row.get(column.name):
                sheet.cell(number, place + 1, text)
    sheet.freeze_panes = "D2"
    sheet.print_title_rows = "1:1"
    sheet.page_setup.orientation = "landscape"
    _add_lists(book, sheet, columns, rows)
    return book


def _note(column: SheetColumn) -> str:
    """What the comment of a header says."""
    lines = [_NOTES.get(column.name, "")]
    kind = column.rule.kind
    if kind in units.KINDS and kind not in ("whole", "count", "rods"):
        lines.append(f"Such as {' or '.join(units.KINDS[kind].examples)}; a bare number needs a unit in the header.")
    if kind.startswith("list:"):
        lines.append(_LIST_HINT + "with minutes, x2 or a clock time behind.")
    if column.required:
        lines.append("Needed.")
    return "\n".join(line for line in (*lines, _GENERAL) if line)


def _words(column: SheetColumn) -> tuple[str, ...]:
    if column.name == "rods_scope":
        return _SCOPES
    kind = column.rule.kind
    if kind == "flag":
        return ("yes", "no")
    name = kind.partition(":")[2]
    return vocabulary.words(name) if name else ()


def _add_lists(book: Any, sheet: Worksheet, columns: Sequence[SheetColumn], rows: int) -> None:
    """Drop-down lists from a hidden sheet; they advise, for `other: your word` stands as well."""
    from openpyxl.worksheet.datavalidation import DataValidation

    words = book.create_sheet("words")
    words.sheet_state = "hidden"
    used = 0
    for place, column in enumerate(columns):
        listed = _words(column)
        if not listed:
            continue
        words.cell(1, used + 1, column.name)
        for number, word in enumerate(listed, start=2):
            words.cell(number, used + 1, word)
        source = cell_address(1, used).rstrip("1")
        closed = (
            vocabulary.LISTS[column.rule.kind[5:]].open is False if column.rule.kind.startswith("word:") else False
        )
        check = DataValidation(
            type="list",
            formula1=f"words!${source}$2:${source}${len(listed) + 1}",
            allow_blank=True,
            showErrorMessage=True,
            errorStyle="stop" if closed and column.name != "rods_scope" else "warning",
            errorTitle=column.name,
            error="Pick a word of the list, or write other: and your own where the list allows it.",
        )
        letters = cell_address(1, place).rstrip("1")
        check.add(f"{letters}2:{letters}{rows + 1}")
        sheet.add_data_validation(check)
        used += 1
