"""CSV and XLSX files as rows of text: what a person typed, and where it stands."""

from __future__ import annotations

import datetime as dt
import os
import zipfile
from pathlib import Path

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from burnlog.errors import BurnlogError, FileError, InputError, RowErrors
from burnlog.store.tablefile import TableFile, harmless, open_table, restored


def _write(folder: Path, content: bytes | str, name: str = "sheet.csv") -> Path:
    path = folder / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


def _cells(table: TableFile) -> list[tuple[int, list[str]]]:
    rows = list(table.rows())
    assert all(row.problem is None for row in rows)
    return [(row.number, row.cells) for row in rows]


def _workbook(folder: Path, *rows: list[object], name: str = "sheet.xlsx") -> Path:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for row in rows:
        sheet.append(row)
    path = folder / name
    book.save(path)
    return path


@pytest.mark.parametrize("mark", [",", ";"])
@pytest.mark.parametrize("bom", [b"", b"\xef\xbb\xbf"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_R06_separators_marks_and_line_ends(tmp_path: Path, mark: str, bom: bytes, end: str) -> None:
    """Comma or semicolon, byte-order mark or none, either line end and trailing blank rows read alike."""
    lines = ["job", "PIER7", "PIER8", "", ""]
    text = end.join(mark.join([cell, f"{cell}-x" if cell else ""]) for cell in lines) + end * 2
    table = open_table(_write(tmp_path, bom + text.encode()))
    assert [header.name for header in table.headers] == ["job", "job-x"]
    assert _cells(table) == [(2, ["PIER7", "PIER7-x"]), (3, ["PIER8", "PIER8-x"])]


def test_separator_is_taken_from_the_header_alone(tmp_path: Path) -> None:
    """Semicolons in the rows, and commas inside a header's quotes or brackets, do not decide."""
    path = _write(tmp_path, 'a,"b;c;d",e [x;y;z]\n1;2;3,crane 5min; power 2min,3\n')
    table = open_table(path)
    assert [header.name for header in table.headers] == ["a", "b;c;d", "e"]
    assert _cells(table) == [(2, ["1;2;3", "crane 5min; power 2min", "3"])]


def test_rows_count_as_the_spreadsheet_shows_them(tmp_path: Path) -> None:
    """A quoted line break stays in its row, a blank line takes a number."""
    table = open_table(_write(tmp_path, 'a,b\n"two\nlines",1\n\n,\nx,2\n'))
    assert _cells(table) == [(2, ["two\nlines", "1"]), (5, ["x", "2"])]


def test_unit_in_square_brackets(tmp_path: Path) -> None:
    """A header may carry the unit of its bare numbers."""
    first, second = open_table(_write(tmp_path, "thickness [mm], depth[ fsw ]\n12,45\n")).headers
    assert (first.name, first.unit) == ("thickness", "mm")
    assert (second.name, second.unit) == ("depth", "fsw")


def test_windows_text_is_read_and_said(tmp_path: Path) -> None:
    """Text that is not UTF-8 is read as Windows-1252, with a note."""
    table = open_table(_write(tmp_path, "a,b\n1\xbc,caf\xe9\n".encode("cp1252")))
    assert _cells(table) == [(2, ["1\xbc", "caf\xe9"])]
    assert "Windows-1252" in table.notes[0]


def test_utf16_text_is_read_and_said(tmp_path: Path) -> None:
    """What a spreadsheet calls Unicode text is read too."""
    table = open_table(_write(tmp_path, "a,b\n1,caf\xe9\n".encode("utf-16")))
    assert _cells(table) == [(2, ["1", "caf\xe9"])]


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("", "no column names"),
        ("\n\n1,2\n", "no column names"),
        (",,\n1,2,3\n", "no column names"),
        ("job,dive,job\n", "a second time"),
        ("job [mm],job\n", "a second time"),
        ("job\tdive\trow\n1\t2\t3\n", "tabs"),
        (",".join(f"c{n}" for n in range(600)), "600 columns"),
        ("a" * 30_000 + ",b\n", "more than 20000 characters"),
        ("jo\0b,dive\n", "NUL"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600, "old kind"),
        (b"PK\x03\x04 and then nothing", "damaged spreadsheet"),
    ],
)
def test_bad_headers_and_foreign_files_are_refused(tmp_path: Path, content: bytes | str, words: str) -> None:
    """A header row that cannot be used, or another kind of file, is named in plain words."""
    with pytest.raises(BurnlogError, match=words):
        open_table(_write(tmp_path, content))


def test_missing_files_and_folders_are_named(tmp_path: Path) -> None:
    """A path that is no file ends with exit code 5 and the path."""
    os.mkfifo(tmp_path / "pipe")
    for name in ("none.csv", ".", "pipe"):
        with pytest.raises(FileError) as caught:
            open_table(tmp_path / name)
        assert caught.value.exit_code == 5
        assert str(tmp_path) in str(caught.value)


@pytest.mark.parametrize(
    ("content", "row", "words"),
    [
        ('a,b\n1,2\n"open,3\n4,5\n', 3, "never closes"),
        ('a,b\n1,"5/8" in"\n', 2, "inch mark"),
        ("a,b\n1,2\n" + "x" * 30_000 + ",3\n", 3, "more than 20000"),
    ],
)
def test_a_file_that_breaks_off_says_where(tmp_path: Path, content: str, row: int, words: str) -> None:
    """A quote that never closes, or a cell without end, names its row and that the rest was not read."""
    table = open_table(_write(tmp_path, content))
    with pytest.raises(RowErrors) as caught:
        list(table.rows())
    assert caught.value.problems[0].row == row
    assert words in str(caught.value)
    assert "not read" in str(caught.value)


def test_bytes_without_meaning_are_refused(tmp_path: Path) -> None:
    """Neither UTF-8 nor Windows-1252: the byte is named and how to save the file."""
    with pytest.raises(InputError, match=r"0x81.*CSV UTF-8"):
        list(open_table(_write(tmp_path, b"a,b\n\x81\xff,1\n")).rows())


def test_rows_that_do_not_fit_the_header(tmp_path: Path) -> None:
    """Too many cells, and a NUL byte, are problems of their row; a short row is filled with blanks."""
    rows = list(open_table(_write(tmp_path, "a,b\n1\n1,2,,\n1,2,3\n1,\0\n")).rows())
    assert rows[0].cells == ["1", ""]
    assert rows[1].problem is None
    assert rows[2].problem is not None
    assert "3 cells under 2 columns" in str(rows[2].problem)
    assert rows[3].problem is not None
    assert "column b" in str(rows[3].problem)
    assert "NUL" in str(rows[3].problem)


def test_spreadsheet_cells_come_out_as_typed(tmp_path: Path) -> None:
    """Numbers, dates, times and durations of a spreadsheet are the text a person would have typed."""
    path = _workbook(
        tmp_path,
        ["job", "n", "x", "day", "clock", "exact", "span", "both", "yes", "blank"],
        [
            " PIER7 ",
            7,
            0.1 + 0.2,
            dt.date(2026, 5, 12),
            dt.time(9, 42),
            dt.time(0, 0, 45),
            dt.timedelta(hours=1, minutes=5),
            dt.datetime(2026, 5, 12, 23, 50),
            True,
            None,
        ],
        [None],
        ["PIER8", 12.0],
    )
    table = open_table(path)
    assert table.spreadsheet
    rows = _cells(table)
    assert rows[0] == (
        2,
        ["PIER7", "7", "0.3", "2026-05-12", "9:42", "0:00:45", "1:05", "2026-05-12 23:50", "yes", ""],
    )
    assert rows[1][0] == 4
    assert rows[1][1][:2] == ["PIER8", "12"]


def test_a_spreadsheet_is_known_by_its_bytes(tmp_path: Path) -> None:
    """An XLSX file under another ending is read as what it is."""
    path = _workbook(tmp_path, ["job"], ["PIER7"])
    other = path.rename(tmp_path / "sheet.csv")
    assert _cells(open_table(other)) == [(2, ["PIER7"])]


def test_formulas_and_errors_are_refused_by_cell(tmp_path: Path) -> None:
    """A formula is not what was seen: the cell is named as the spreadsheet names it."""
    path = _workbook(tmp_path, ["job", "rods"], ["PIER7", "=3+4"], ["PIER7", "#REF!"])
    first, second = open_table(path).rows()
    assert "column rods (cell B2)" in str(first.problem)
    assert "formula" in str(first.problem)
    assert "error #REF!" in str(second.problem)


def test_other_sheets_are_named(tmp_path: Path) -> None:
    """Only the first sheet is read, and the visible ones left out are named."""
    book = openpyxl.Workbook()
    book.active.append(["job"])  # type: ignore[union-attr]
    book.create_sheet("more cuts")
    hidden = book.create_sheet("words")
    hidden.sheet_state = "hidden"
    book.save(tmp_path / "two.xlsx")
    (note,) = open_table(tmp_path / "two.xlsx").notes
    assert "more cuts" in note
    assert "words" not in note


def _zip(path: Path, parts: dict[str, bytes]) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return path


def test_zip_bombs_are_refused_by_size(tmp_path: Path) -> None:
    """A part that unpacks a thousandfold, or too much in all, is not opened; an unknown zip is no spreadsheet."""
    bomb = _zip(tmp_path / "b.xlsx", {"xl/workbook.xml": b"<x/>", "xl/worksheets/sheet1.xml": b"0" * 40_000_000})
    with pytest.raises(InputError, match="not opened"):
        open_table(bomb)
    other = _zip(tmp_path / "o.xlsx", {"content.xml": b"<x/>"})
    with pytest.raises(InputError, match="not an XLSX"):
        open_table(other)
    many = _zip(tmp_path / "m.xlsx", {"xl/workbook.xml": b"", **{f"p{n}": b"" for n in range(10_001)}})
    with pytest.raises(InputError, match="10002 parts"):
        open_table(many)


def test_entities_that_multiply_are_refused(tmp_path: Path) -> None:
    """A sheet whose XML defines entities of entities ends in plain words, soon."""
    path = _workbook(tmp_path, ["job"], ["PIER7"])
    with zipfile.ZipFile(path) as archive:
        parts = {part: archive.read(part) for part in archive.namelist()}
    entities = "".join(f'<!ENTITY e{n} "{f"&e{n - 1};" * 20}">' for n in range(1, 9))
    bomb = f'<?xml version="1.0"?><!DOCTYPE w [<!ENTITY e0 "aaaaaaaaaa">{entities}]>'
    name = "xl/worksheets/sheet1.xml"
    parts[name] = bomb.encode() + parts[name].replace(b"<sheetData>", b"<sheetData><a>&e8;</a>")
    with pytest.raises(FileError, match="damaged"):
        list(open_table(_zip(tmp_path / "e.xlsx", parts)).rows())


def _with_sheet(path: Path, old: bytes, new: bytes) -> Path:
    """The spreadsheet with one change in the markup of its sheet."""
    with zipfile.ZipFile(path) as archive:
        parts = {part: archive.read(part) for part in archive.namelist()}
    name = "xl/worksheets/sheet1.xml"
    assert old in parts[name]
    parts[name] = parts[name].replace(old, new, 1)
    return _zip(path.with_name("changed.xlsx"), parts)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (b'<row r="3"', b'<row r="2"', "row 2 comes after row 2"),
        (b'<row r="2"', b'<row r="5"', "row 3 comes after row 5"),
        (b'r="B2"', b'r="A2"', "cell A2 comes after A2"),
        (b'r="A3"', b'r="C3"', "cell B3 comes after C3"),
        (b'<row r="3"', b'<row r="99999999999"', "row 99999999999 comes after row 2 of at most 1048576"),
    ],
)
def test_cells_that_would_be_passed_over_are_damage(tmp_path: Path, old: bytes, new: bytes, words: str) -> None:
    """Rows or cells out of their order, which the library leaves out without a word, refuse the file."""
    path = _with_sheet(_workbook(tmp_path, ["job", "dive"], ["PIER7", "1"], ["PIER7", "2"]), old, new)
    with pytest.raises(FileError, match=words):
        list(open_table(path).rows())


def test_a_day_beyond_the_calendar_is_a_bad_cell(tmp_path: Path) -> None:
    """A number shown as a date that no calendar has is an error of its cell, and no warning goes to the terminal."""
    path = _workbook(tmp_path, ["job", "dive_date"], ["PIER7", dt.date(2026, 5, 12)])
    (row,) = open_table(_with_sheet(path, b"<v>46154</v>", b"<v>99999999</v>")).rows()
    assert "(cell B2)" in str(row.problem)
    assert "type the value" in str(row.problem)


@given(st.text(alphabet="'=+-@\t\ra1 ", max_size=8))
def test_harmless_text_reads_back(text: str) -> None:
    """What is made harmless never begins as a formula does, and comes back unchanged."""
    made = harmless(text)
    assert not made or made[0] not in "=+-@\t\r"
    assert restored(made) == text


_BYTES = st.lists(
    st.sampled_from(
        [b'"', b",", b";", b"\n", b"\r", b"\0", b"\xff", b"\xe9", b"\xef\xbb\xbf", b"job", b"7", b"[mm]"]
    ),
    max_size=40,
).map(b"".join)


@settings(derandomize=True, max_examples=150, deadline=None)
@given(content=_BYTES)
def test_any_bytes_are_rows_or_a_plain_refusal(tmp_path_factory: pytest.TempPathFactory, content: bytes) -> None:
    """Whatever the bytes: rows as wide as the header, or an error of ours."""
    path = _write(tmp_path_factory.mktemp("any"), content)
    said = path.name
    try:
        table = open_table(path)
        for row in table.rows():
            assert row.problem is not None or len(row.cells) == len(table.typed_headers)
    except BurnlogError as error:
        said = str(error)
    assert path.name in said


@settings(derandomize=True, max_examples=60, deadline=None)
@given(place=st.floats(0, 1), flips=st.integers(1, 200), cut=st.booleans())
def test_damaged_spreadsheets_are_refused_in_words(
    tmp_path_factory: pytest.TempPathFactory, place: float, flips: int, cut: bool
) -> None:
    """Bytes flipped or lost anywhere in an XLSX file: rows still, or an error of ours, nothing else."""
    folder = tmp_path_factory.mktemp("flip")
    path = _workbook(folder, ["job", "dive"], *[["PIER7", n] for n in range(30)])
    content = bytearray(path.read_bytes())
    start = int(place * (len(content) - 1))
    if cut:
        del content[start : start + flips]
    else:
        for at in range(start, min(start + flips, len(content))):
            content[at] ^= 0x5A
    path.write_bytes(bytes(content))
    said = path.name
    try:
        list(open_table(path).rows())
    except BurnlogError as error:
        said = str(error)
    assert path.name in said
