"""XLSX files as rows of the text a person would have typed.

A spreadsheet is somebody else's program: it turns `5/8` into a day in May and keeps times as shares of a day. So
numbers, dates and times come out as text again, formulas are refused (a record holds what was seen), and a file is
measured before it is unpacked.
"""

from __future__ import annotations

import datetime as dt
import re
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any

from burnlog.errors import FileError, InputError

__all__ = ["LONGEST_CELL", "UNPRINTABLE", "Sheet", "cell_address", "measure", "opened", "rows"]

LONGEST_CELL = 20_000
"""Characters of one cell; a whole season's remarks do not fill it."""

MOST_UNPACKED = 512 * 2**20
MOST_SHARED = 64 * 2**20
MOST_RATIO = 400
"""A spreadsheet packs its sheets 5- to 30-fold; whatever packs better was made to fill a memory."""

MOST_ROWS = 2**20
"""No spreadsheet program knows more; a damaged number would be counted up to in empty rows."""

UNPRINTABLE = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f]")
Sheet = Any


def cell_address(row: int, place: int) -> str:
    """A cell as the spreadsheet names it; `place` counts columns from 0.

    >>> cell_address(7, 5), cell_address(1, 27)
    ('F7', 'AB1')
    """
    letters = ""
    place += 1
    while place:
        place, rest = divmod(place - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return f"{letters}{row}"


def rows(sheet: Sheet, name: str) -> Iterator[tuple[int, list[str], tuple[int, str] | None]]:
    """Rows of a sheet from its first: number, texts without the empty tail, and the first bad cell (place, why).

    Raises
    ------
    FileError
        The file turns out damaged on the way.
    """
    for number, cells in enumerate(_foreign(sheet.iter_rows(), name), start=1):
        texts: list[str] = []
        bad = None
        for place, cell in enumerate(cells):
            text, why = _cell_text(cell)
            texts.append(text)
            if why and bad is None:
                bad = (place, why)
        while texts and not texts[-1].strip():
            texts.pop()
        yield number, texts, bad


def measure(path: Path, name: str) -> None:
    """Refuse by size, before anything is unpacked; the reader never takes more than a part declares."""
    try:
        with zipfile.ZipFile(path) as archive:
            parts = archive.infolist()
    except (zipfile.BadZipFile, ValueError, OverflowError, UnicodeError, NotImplementedError) as bad:
        raise FileError(f"{name} is a damaged spreadsheet ({bad}); save it again or as CSV.") from None
    if not any(part.filename == "xl/workbook.xml" for part in parts):
        raise InputError(f"{name} is not an XLSX spreadsheet; save it as XLSX or CSV.")
    total = sum(part.file_size for part in parts)
    if total > MOST_UNPACKED or len(parts) > 10_000:
        raise InputError(
            f"{name} unpacks to {total / 2**20:.0f} MB in {len(parts)} parts, more than {MOST_UNPACKED // 2**20} MB; "
            "it was not opened. Save the sheet as CSV."
        )
    for part in parts:
        shared = part.filename.lower().endswith("sharedstrings.xml") and part.file_size > MOST_SHARED
        ratio = part.file_size / max(part.compress_size, 1)
        if shared or (part.file_size > 2**20 and ratio > MOST_RATIO):
            raise InputError(
                f"{name}: its part {part.filename} unpacks from {part.compress_size} to {part.file_size} bytes; "
                "it was not opened. Save the sheet as CSV."
            )


@contextmanager
def opened(path: Path, name: str) -> Iterator[list[Sheet]]:
    """The worksheets of a spreadsheet, read row by row."""
    with path.open("rb") as stream:  # by its bytes: openpyxl would go by the ending of a path
        book = _loaded(stream, name)
        try:
            sheets = list(book.worksheets)
            if not sheets:
                raise InputError(f"{name} holds no worksheet.")
            yield sheets
        finally:
            book.close()


def _loaded(stream: IO[bytes], name: str) -> Any:
    import warnings

    import openpyxl

    # openpyxl meets a damaged part with whatever exception its parser ran into, so none can be named here;
    # its warnings are about styling, which nobody reads a cut sheet for
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            book = openpyxl.load_workbook(stream, read_only=True, data_only=False, keep_links=False)
            for sheet in book.worksheets:
                sheet.reset_dimensions()
            if book.worksheets:
                _check_order(stream, book.worksheets[0])
    except Exception as bad:
        raise FileError(f"{name} is a damaged spreadsheet ({_plain(bad)}); save it again or as CSV.") from bad
    return book


def _check_order(stream: IO[bytes], sheet: Sheet) -> None:
    """Raise where rows, or cells of a row, do not follow each other: openpyxl passes over what comes too late."""
    row, last = 0, ""
    with zipfile.ZipFile(stream) as archive, archive.open(sheet._worksheet_path) as part:
        rest = b""
        while chunk := part.read(2**20):
            text = rest + chunk
            end = max(text.rfind(b"<"), 0)  # a tag that the chunk cuts through belongs to the next
            text, rest = text[:end], text[end:]
            for letters, number in _PLACED.findall(text):
                place = letters.decode().rjust(3)
                if letters and place <= last:
                    raise ValueError(f"cell {letters.decode()}{int(number)} comes after {last.strip()}{row}")
                if not letters and not row < int(number) <= MOST_ROWS:
                    raise ValueError(f"row {int(number)} comes after row {row} of at most {MOST_ROWS}")
                last = place if letters else ""
                row = row if letters else int(number)


_PLACED = re.compile(rb'<(?:[\w.-]+:)?(?:row|c)\s(?:[^>]*?\s)?r="([A-Z]{0,3})(\d{1,12})"')
"""Where a row or a cell says it stands."""


def _foreign(rows: Iterator[Any], name: str) -> Iterator[Any]:
    """Rows as openpyxl parses them; damage met on the way is the file's, in plain words."""
    import warnings

    while True:
        try:
            with warnings.catch_warnings():  # of dates beyond the calendar, which come out as errors by cell
                warnings.simplefilter("ignore")
                row = next(rows)
        except StopIteration:
            return
        except Exception as bad:
            raise FileError(f"{name} is a damaged spreadsheet ({_plain(bad)}); save it again or as CSV.") from bad
        yield row


def _plain(bad: Exception) -> str:
    return " ".join(f"{type(bad).__name__}: {bad}".split())[:120]


def _cell_text(cell: Any) -> tuple[str, str]:
    """The text a person would have typed into a cell, and what is wrong with it."""
    value = cell.value
    if value is None:
        return "", ""
    if cell.data_type == "f":
        return (
            str(value)[:80],
            "holds a formula, and a record holds what was seen; paste its value (Paste special, values)",
        )
    if cell.data_type == "e":
        return str(value)[:80], f"holds the error {value}; type the value"
    if isinstance(value, str):
        if bad := UNPRINTABLE.search(value):
            return value, f"holds an unprintable character (0x{ord(bad[0]):02x}); type the cell again"
        if len(value) > LONGEST_CELL:
            return value[:80], f"holds {len(value)} characters; no cell may hold more than {LONGEST_CELL}"
        return value, ""
    return _typed(value), ""


def _typed(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.15g}"
    if isinstance(value, dt.datetime):
        date = value.date().isoformat()
        return date if value.time() == dt.time() else f"{date} {_clock(value.time())}"
    if isinstance(value, dt.time):
        return _clock(value)
    if isinstance(value, dt.timedelta):
        seconds = round(value.total_seconds())
        if seconds < 0:
            return f"-{-seconds}s"
        hours, rest = divmod(seconds, 3600)
        return _colons(hours, rest // 60, rest % 60)
    return str(value)


def _clock(value: dt.time) -> str:
    """To the second: a spreadsheet keeps a time as a share of a day, rounded."""
    moment = dt.datetime.combine(dt.date(2000, 1, 1), value) + dt.timedelta(microseconds=500_000)
    return _colons(moment.hour, moment.minute, moment.second)


def _colons(hours: int, minutes: int, seconds: int) -> str:
    return f"{hours}:{minutes:02d}" + (f":{seconds:02d}" if seconds else "")
