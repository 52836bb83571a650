"""A blank take-off file: its columns as CSV, or as a workbook with drop-down lists and a note on each column."""

from __future__ import annotations

import csv
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from burnlog import vocabulary
from burnlog.errors import FileError, InputError

__all__ = ["write_blank"]

ROWS = 200
"""Rows of a workbook made ready."""
WIDE = frozenset({"item", "section", "dims", "note"})
_NOTES: Mapping[str, str] = {
    "item": "Needed, and unique: pages point at it.",
    "thickness": "5/8 in, 16 mm; a bare number needs a unit in the header, as in: thickness [mm]",
    "length_each": "2 ft 6 in, 762 mm: the cut line, never the surface perimeter.",
    "dims": "Take them from the drawing; `burnlog length` shows what a section needs.",
    "depth": "45 fsw or 14 msw; 45 ft needs --water salt or fresh.",
}


def write_blank(
    path: Path, columns: Mapping[str, str], lists: Mapping[str, str], *, rod_types: Sequence[str] = ()
) -> None:
    """Write a blank take-off file, a workbook where its name ends in .xlsx.

    Parameters
    ----------
    path : Path
        Must be new.
    columns : mapping
        Column -> what goes in it, in order.
    lists : mapping
        Column -> the word list its cells are read by.
    rod_types : sequence of str
        Codes in the log, for the list of that column.

    Raises
    ------
    InputError
        The name ends in something else than .csv or .xlsx.
    FileError
        The file exists or cannot be written.
    """
    ending = path.suffix.lower()
    if ending not in (".csv", ".xlsx"):
        raise InputError(f"{path}: a take-off file ends in .csv or .xlsx.")
    try:
        if ending == ".csv":
            with path.open("x", encoding="utf-8", newline="") as file:
                csv.writer(file).writerow(columns)
        else:
            if path.exists():
                raise FileExistsError(path)
            words = {column: vocabulary.words(name) for column, name in lists.items()}
            _workbook(columns, {**words, "rod_type": tuple(rod_types)}).save(path)
    except FileExistsError:
        raise FileError(f"{path} exists already; name another file.") from None
    except OSError as error:
        raise FileError(f"{path} cannot be written ({error.strerror or error}).") from error


def _workbook(columns: Mapping[str, str], lists: Mapping[str, Sequence[str]]) -> Any:
    """Cells are text, for a spreadsheet left to itself turns `5/8` into a day in May."""
    from openpyxl import Workbook
    from openpyxl.comments import Comment
    from openpyxl.styles import Font
    from openpyxl.utils import get_column_letter
    from openpyxl.worksheet.datavalidation import DataValidation

    book: Any = Workbook()
    sheet = book.active
    sheet.title = "take-off"
    words = book.create_sheet("words")
    words.sheet_state = "hidden"
    for place, (name, meaning) in enumerate(columns.items(), start=1):
        head = sheet.cell(1, place, name)
        head.font = Font(bold=True, underline="single" if name == "item" else None)
        head.comment = Comment("\n".join(filter(None, (meaning, _NOTES.get(name)))), "burnlog", width=260, height=110)
        letter = get_column_letter(place)
        sheet.column_dimensions[letter].width = 28 if name in WIDE else 14
        for row in range(2, ROWS + 2):
            sheet.cell(row, place).number_format = "@"
        listed = lists.get(name) or ()
        if not listed:
            continue
        for row, word in enumerate((name, *listed), start=1):
            words.cell(row, place, word)
        check = DataValidation(
            type="list",
            formula1=f"words!${letter}$2:${letter}${len(listed) + 1}",
            allow_blank=True,
            showErrorMessage=True,
            errorStyle="warning",  # the lists advise: `other: your word` and own sections stand as well
            errorTitle=name,
            error="Not on the list. Keep it only if you mean it.",
        )
        check.add(f"{letter}2:{letter}{ROWS + 1}")
        sheet.add_data_validation(check)
    sheet.freeze_panes = "B2"
    sheet.print_title_rows = "1:1"
    sheet.page_setup.orientation = "landscape"
    return book
