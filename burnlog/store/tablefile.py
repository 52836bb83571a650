"""CSV and XLSX files as rows of text cells, each with the place a person can find it at.

What a file means is not decided here: a cell comes out as the text somebody typed, or would have typed. Rows
count as a spreadsheet shows them, the header being row 1; a quoted line break stays inside its row. Nothing is
held in memory beyond one row. A file that cannot be read to its end says where it broke.
"""

from __future__ import annotations

import codecs
import csv
import hashlib
import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any, NamedTuple

from burnlog.errors import CellProblem, FileError, InputError, RowErrors
from burnlog.store import workbook
from burnlog.store.workbook import LONGEST_CELL, UNPRINTABLE, cell_address

__all__ = ["Header", "Row", "TableFile", "harmless", "open_table", "restored", "typed_table"]

MOST_COLUMNS = 500
_CHUNK = 1 << 20
_UNPRINTABLE_BYTES = re.compile(rb"[\x00-\x08\x0b\x0c\x0e-\x1f]")
_UNIT = re.compile(r"(.*?)\s*\[\s*([^\]]*?)\s*\]")
_HELD = re.compile(r"'+[=+\-@\t\r]")
_RISKY = re.compile(r"'*[=+\-@\t\r]")


@dataclass(frozen=True)
class Header:
    """One column: its name, the unit of its bare numbers (from ``thickness [mm]``) and its place from 0."""

    name: str
    unit: str | None
    place: int
    typed: str


class Row(NamedTuple):
    """One row that holds something.

    `cells` has one stripped text for each cell of the header. Where `problem` is set the row could not be laid
    out under the header, and the cells are what there is.
    """

    number: int
    cells: list[str]
    problem: CellProblem | None = None


@dataclass(frozen=True)
class TableFile:
    """A file whose header has been read.

    Attributes
    ----------
    path : Path
    name : str
        How messages call it.
    spreadsheet : bool
        XLSX: problems then name the cell.
    sheet : str
        Title of the sheet that was read; empty for CSV.
    typed_headers : tuple of str
        The header row as it stands, blank cells included.
    headers : tuple of Header
        Those that are not blank.
    content_hash : str
        SHA-256 of the file's bytes.
    notes : tuple of str
        What a person should know about how it was read.
    """

    path: Path
    name: str
    spreadsheet: bool
    sheet: str
    typed_headers: tuple[str, ...]
    headers: tuple[Header, ...]
    content_hash: str
    notes: tuple[str, ...]
    _encoding: str = "utf-8"
    _delimiter: str = ","
    _unprintable: bool = False

    def rows(self) -> Iterator[Row]:
        """The rows under the header that hold something, in order.

        Raises
        ------
        RowErrors
            The file breaks off: a quote that never closes, a cell without end. What was yielded stands.
        FileError
            The file can no longer be read.
        """
        source = self._spreadsheet_rows() if self.spreadsheet else self._text_rows()
        width = len(self.typed_headers)
        for number, cells, problem in source:
            found = [cell.strip() for cell in cells]
            if not any(found) and problem is None:
                continue
            if len(found) > width:
                if problem is None and any(found[width:]):
                    problem = self._too_many(number, found, width)
                if problem is None:
                    found = found[:width]
            elif len(found) < width:
                found += [""] * (width - len(found))
            yield Row(number, found, problem)

    def problem(self, row: int, header: Header, message: str, text: str = "") -> CellProblem:
        """A problem with one cell of this file."""
        return CellProblem(
            row, header.typed, message, text, cell_address(row, header.place) if self.spreadsheet else ""
        )

    def _too_many(self, number: int, cells: Sequence[str], width: int) -> CellProblem:
        extra = next(cell for cell in cells[width:] if cell)
        return CellProblem(
            number,
            "",
            f"has {len(cells)} cells under {width} columns, the first too many is '{extra[:40]}'; "
            "put quotes round a text that holds the separator",
            extra,
            cell_address(number, width) if self.spreadsheet else "",
        )

    def _text_rows(self) -> Iterator[tuple[int, list[str], CellProblem | None]]:
        with _opened(self.path, self.name, encoding=self._encoding) as stream:
            records = _records(stream, self._delimiter, self.name)
            next(records, None)
            for number, cells in enumerate(records, start=2):
                problem = None
                if self._unprintable:
                    problem = _unprintable(number, cells, self.headers)
                yield number, cells, problem

    def _spreadsheet_rows(self) -> Iterator[tuple[int, list[str], CellProblem | None]]:
        with workbook.opened(self.path, self.name) as sheets:
            for number, texts, bad in workbook.rows(sheets[0], self.name):
                if number == 1:
                    continue
                problem = None
                if bad:
                    place, why = bad
                    problem = CellProblem(number, self._label(place), why, texts[place], cell_address(number, place))
                yield number, texts, problem

    def _label(self, place: int) -> str:
        return self.typed_headers[place] if place < len(self.typed_headers) else ""


@dataclass(frozen=True)
class _TypedTable(TableFile):
    """Rows that were typed at a prompt, laid out as a file would be."""

    given: tuple[tuple[str, ...], ...] = ()

    def rows(self) -> Iterator[Row]:
        for number, cells in enumerate(self.given, start=1):
            yield Row(number, [cell.strip() for cell in cells])


def typed_table(rows: Sequence[Mapping[str, str]], name: str) -> TableFile:
    """Rows typed one by one, as a table with the columns in which something was typed; rows count from 1.

    Raises
    ------
    RowErrors
        Nothing was typed.
    """
    columns = list(dict.fromkeys(column for row in rows for column, text in row.items() if text.strip()))
    headers = _headers(columns, name, spreadsheet=False)
    given = tuple(tuple(row.get(column, "") for column in columns) for row in rows)
    digest = hashlib.sha256(repr((columns, given)).encode()).hexdigest()
    return _TypedTable(Path(name), name, False, "", tuple(columns), headers, digest, (), given=given)


def open_table(path: Path) -> TableFile:
    """Open a CSV or XLSX file and read its header; which of the two it is, its first bytes say.

    Raises
    ------
    FileError
        Missing, unreadable, or a damaged spreadsheet.
    InputError
        A kind of file that is not read here, or one that unpacks to more than a log can be.
    RowErrors
        The header row cannot be used: empty, with a name twice, or with more columns than make sense.
    """
    name = path.name
    if path.is_dir():
        raise FileError(f"{path} is a folder, and a CSV or XLSX file is wanted.")
    if not path.exists():
        raise FileError(f"{path} does not exist; check the name and the folder.")
    if not path.is_file():
        raise FileError(f"{path} is not an ordinary file; save the sheet as CSV or XLSX first.")
    scan = _scan(path, name)
    if scan.start.startswith(b"PK\x03\x04"):
        return _open_spreadsheet(path, name, scan)
    if scan.start.startswith(b"\xd0\xcf\x11\xe0"):
        raise InputError(f"{name} is a spreadsheet of the old kind (.xls); save it as XLSX or CSV.")
    return _open_text(path, name, scan)


def harmless(text: str) -> str:
    """Text that no spreadsheet takes for a formula: an apostrophe before ``= + - @`` or a tab.

    >>> harmless("=1+1"), harmless("+2 ft"), harmless("7+")
    ("'=1+1", "'+2 ft", '7+')
    """
    return f"'{text}" if _RISKY.match(text) else text


def restored(text: str) -> str:
    """The text that `harmless` was given.

    >>> restored("'=1+1"), restored("''=1"), restored("'tis")
    ('=1+1', "'=1", "'tis")
    """
    return text[1:] if _HELD.match(text) else text


class _Scan(NamedTuple):
    """One pass over the bytes: enough to know the encoding before the first row is read."""

    start: bytes
    content_hash: str
    utf8: bool
    unprintable: bool


@contextmanager
def _opened(path: Path, name: str, encoding: str | None = None) -> Iterator[IO[Any]]:
    try:
        with path.open("rb") if encoding is None else path.open(encoding=encoding, newline="") as stream:
            yield stream
    except UnicodeDecodeError as bad:
        byte = bad.object[bad.start]
        raise InputError(
            f"{name} is neither UTF-8 nor Windows-1252 text: byte 0x{byte:02x} has no meaning there; "
            "save it as 'CSV UTF-8'."
        ) from None
    except OSError as bad:
        raise FileError(f"{path} cannot be read: {bad.strerror or bad}.") from bad


def _scan(path: Path, name: str) -> _Scan:
    digest = hashlib.sha256()
    decoder = codecs.getincrementaldecoder("utf-8")()
    start, utf8, unprintable = b"", True, False
    with _opened(path, name) as stream:
        while chunk := stream.read(_CHUNK):
            start = start or chunk[:8]
            digest.update(chunk)
            unprintable = unprintable or _UNPRINTABLE_BYTES.search(chunk) is not None
            if utf8:
                try:
                    decoder.decode(chunk)
                except UnicodeDecodeError:
                    utf8 = False
    if utf8:
        try:
            decoder.decode(b"", final=True)
        except UnicodeDecodeError:
            utf8 = False
    return _Scan(start, digest.hexdigest(), utf8, unprintable)


def _open_text(path: Path, name: str, scan: _Scan) -> TableFile:
    notes = []
    if scan.start.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        encoding = "utf-16"
        notes.append(f"{name} was read as UTF-16 text.")
    elif scan.utf8:
        encoding = "utf-8-sig"
    else:
        encoding = "cp1252"
        notes.append(f"{name} is not UTF-8; it was read as Windows-1252, so look at accented letters.")
    with _opened(path, name, encoding=encoding) as stream:
        delimiter = _delimiter(stream, name)
        stream.seek(0)
        cells = next(_records(stream, delimiter, name), [])
    unprintable = scan.unprintable or encoding == "utf-16"
    if unprintable and (bad := _unprintable(1, cells, ())):
        raise RowErrors(name, [bad])
    headers = _headers(cells, name, spreadsheet=False)
    return TableFile(
        path,
        name,
        False,
        "",
        _trimmed(cells),
        headers,
        scan.content_hash,
        tuple(notes),
        encoding,
        delimiter,
        unprintable,
    )


def _delimiter(stream: IO[str], name: str) -> str:
    """What parts the cells of the header line: the rows may hold either mark in their texts."""
    line = stream.readline(LONGEST_CELL)
    bare = re.sub(r'"[^"]*"|\[[^\]]*\]', "", line)
    commas, semicolons, tabs = (bare.count(mark) for mark in ",;\t")
    if tabs > max(commas, semicolons):
        raise InputError(f"{name} parts its cells by tabs; save it with commas or semicolons.")
    return ";" if semicolons > commas else ","


def _records(stream: IO[str], delimiter: str, name: str) -> Iterator[list[str]]:
    """The records of a CSV text; a broken one ends the reading, for nothing after it can be trusted."""
    reader = csv.reader(stream, delimiter=delimiter, strict=True)
    number = 0
    while True:
        number += 1
        previous = csv.field_size_limit(LONGEST_CELL)  # global to the module: held only while one record is read
        try:
            record = next(reader)
        except StopIteration:
            return
        except csv.Error as bad:
            raise RowErrors(name, [CellProblem(number, "", _broken(str(bad)))]) from None
        finally:
            csv.field_size_limit(previous)
        yield record


def _broken(reason: str) -> str:
    if "field larger" in reason:
        found = f"has a cell of more than {LONGEST_CELL} characters, or a quote that never closes"
    elif "unexpected end" in reason:
        found = "opens a quote that never closes"
    elif "expected after" in reason:
        found = 'has a quote inside a quoted cell; an inch mark there is written twice, "5/8"""'
    else:
        found = f"is not CSV ({reason})"
    return f"{found}; the rows after it were not read"


def _unprintable(number: int, cells: Sequence[str], headers: Sequence[Header]) -> CellProblem | None:
    for place, cell in enumerate(cells):
        if bad := UNPRINTABLE.search(cell):
            label = next((header.typed for header in headers if header.place == place), "")
            what = "a NUL byte" if bad[0] == "\0" else f"an unprintable character (0x{ord(bad[0]):02x})"
            return CellProblem(number, label, f"holds {what}; type the cell again", cell.replace("\0", "?"))
    return None


def _trimmed(cells: Sequence[str]) -> tuple[str, ...]:
    found = [cell.strip() for cell in cells]
    while found and not found[-1]:
        found.pop()
    return tuple(found)


def _headers(cells: Sequence[str], name: str, *, spreadsheet: bool) -> tuple[Header, ...]:
    typed = _trimmed(cells)
    if not typed:
        raise RowErrors(name, [CellProblem(1, "", "has no column names; the first row must name the columns")])
    if len(typed) > MOST_COLUMNS:
        raise RowErrors(name, [CellProblem(1, "", f"has {len(typed)} columns; no file read here has so many")])
    headers, problems, seen = [], [], {}
    for place, text in enumerate(typed):
        if not text:
            continue
        address = cell_address(1, place) if spreadsheet else ""
        match = _UNIT.fullmatch(text)
        header = Header(match[1] if match else text, (match[2] or None) if match else None, place, text)
        if header.name in seen:
            problems.append(
                CellProblem(1, text, f"column '{header.name}' stands here a second time; keep one", text, address)
            )
        seen[header.name] = place
        headers.append(header)
    if problems:
        raise RowErrors(name, problems)
    return tuple(headers)


def _open_spreadsheet(path: Path, name: str, scan: _Scan) -> TableFile:
    workbook.measure(path, name)
    with workbook.opened(path, name) as sheets:
        _, texts, bad = next(workbook.rows(sheets[0], name), (1, [], None))
        title = str(sheets[0].title)
        others = [str(sheet.title) for sheet in sheets[1:] if sheet.sheet_state == "visible"]
    if bad:
        raise RowErrors(name, [CellProblem(1, texts[bad[0]], bad[1], texts[bad[0]], cell_address(1, bad[0]))])
    notes = []
    if others:
        notes.append(f"Only the first sheet of {name}, '{title}', was read; not read: {', '.join(others)}.")
    headers = _headers(texts, name, spreadsheet=True)
    label = f"{name}, sheet '{title}'"
    return TableFile(path, label, True, title, _trimmed(texts), headers, scan.content_hash, tuple(notes))
