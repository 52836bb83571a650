"""Ways to spoil a sheet: cells nobody could mean, texts that are no CSV, and spreadsheets taken apart.

Everything is drawn from the generator that is passed in. Each way says which exit codes an import of the file may end
with: 0 taken, 2 cannot be read, 4 contradicts the log, 5 damaged.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import random
import zipfile
from collections.abc import Callable, Mapping
from typing import Any

import openpyxl

__all__ = ["WAYS", "bad_cell", "good_rows"]

Rows = list[list[str]]

GOOD = {
    "sheet": "S1", "record_class": "production", "setting": "open water", "water": "salt", "dive_date": "2026-05-12",
    "diver": "D3", "crew": "A", "rig": "RIG2", "bank": "B1", "depth": "45 fsw", "visibility": "1-3 ft",
    "current": "light", "surge": "none", "water_temp": "12 C", "bottom_time": "0:45", "work_time": "0:40",
    "start_up": "5min", "section": "HP14x117", "material": "carbon steel", "thickness": "5/8 in", "position": "flat",
    "fouling": "bare", "backing": "unknown", "closed_space": "open", "planned_length": "3 ft", "rod_type": "EX38",
    "family": "exothermic", "rod_length": "18 in", "lot": "L7", "rods": "7 + 6in", "issued": "40", "returned": "6",
    "rods_lost": "2", "broken_or_wet": "0", "would_not_light": "1", "pass": "first", "new_length": "1'6\"",
    "start": "0942", "stop": "1003", "burn_time": "0:45", "hot_time": "50s", "stoppages": "crane 5min; power 2min",
    "restarts": "1", "hangers": "0", "hangers_at": "not known", "power": "on", "set_amps": "150",
    "delivered_amps": "145", "regulator_static": "100 psi", "regulator_flowing": "92 psi", "bank_start": "2200 psi",
    "bank_end": "1900 psi", "edge": "clean", "outcome": "through", "defects": "clogged kerf; rod stuck x2",
    "technique": "contact lost", "remark": "as the diver told it",
}  # fmt: skip
"""A cell of each column that import takes."""

ONCE = ("issued", "returned", "rods_lost", "broken_or_wet", "would_not_light")


def good_rows(rng: random.Random, count: int, kind: str = "cut sheet") -> Rows:
    """A header and rows that import takes as they are: a cut sheet with some of its columns, or another file."""
    if kind == "readings":
        head = ["job", "dive", "rig", "bank", "read_at", "after_rod", "bank_pressure", "static", "flowing", "gauge"]
        rows = [
            ["P1", "", "RIG2", "B1", f"2026-05-12 09:{n % 60:02d}", str(n), "2200 psi", "100 psi", "92 psi", "G1"]
            for n in range(count)
        ]
        return [head, *rows]
    if kind == "rod types":
        head = ["rod_type", "family", "diameter", "length", "planned_stub", "stub_source", "pack_count"]
        rows = [[f"EX{n}", "exothermic", "3/8 in", "18 in", "3 in", "house rule", "50"] for n in range(count)]
        return [head, *rows]
    names = ["job", "dive", "row", "line", "dive_date", "diver"]
    names += rng.sample([name for name in GOOD if name not in names], rng.randint(5, len(GOOD) - 2))
    if "new_length" in names and "rods" not in names:
        names.append("rods")
    rows = []
    for n in range(count):
        said = {**GOOD, "job": "P1", "dive": str(1 + n // 4), "row": str(1 + n % 4), "line": f"L{n}"}
        said["sheet"] = f"S{1 + n // 4}"
        said["start"], said["stop"] = f"{8 + n % 4:02d}00", f"{8 + n % 4:02d}21"
        rows.append(["" if n % 4 and name in ONCE else said[name] for name in names])
    return [names, *rows]


_ODD = (
    "", "-", "?", "nr", "na", "0", "-1", "12", "1e9", "1e400", "nan", "inf", "-inf", "1_000", "~", "~~7", "7+", ">7",
    "<", "99999999999999999999", "0x1F", "5/", "/8", "5/0", "1/3", "5/8/2", "1'6\"", "1'6", "'", "\"", "''",
    "=1+1", "'=1",
    "@cmd", "+2 ft", "\t7", "12 mm", "12,5 mm", "1,250 mm", "1.250,5 mm", "12 furlong", "12 mm in", "mm", "0:45",
    "25:61", "2500", "0942", "24:00", "-0:10", "1h05", "1:02:30", "2026-02-30", "2026-13-01", "12/05/2026",
    "0001-01-01", "9999-12-31", "yes", "no", "all", "half", "dive", "cut", "through", "th", "t", "other:", "other: x",
    "training", "dry practice", "re-burn", "crane", "crane 5min", "crane x2; ;", ";", ";;;", "x2", "x0", "x100",
    "rod stuck x-1", "7 + 6in", "7 + 6", "7 ++ 6in", "7 + 600 ft", "6 1/2", "1000000", "45 ft", "45 fsw", "1e3 m",
    "12 x 244 cf", "9 x 50 L 200 bar", "100 %", "101 %", "-300 F", "NULL", "None", "true", "\u00bd", "5\u20448 in",
    "\u0667", "\u2160", "\uff17", "\u00b2", "7\u202e", "\u200b", "\ufeff7", "\U0001f525", "a\u0301", "\u00e9" * 30,
    "7\n8", "7\r8", "<script>", "{{7*7}}", "%s%n", "../../etc", "DROP TABLE cut; --", "' OR 1=1", "\\", "\x7f",
    "\x85",
)  # fmt: skip
_LETTERS = "0123456789 .,:;/'\"+-~<>xX=%()[]ftinmCFpsibarLh\u00b0\u00b1\u2032\u2033\u00bc\u3000\u0660"


def bad_cell(rng: random.Random, name: str) -> str:
    """Text for one cell of a column of the cut sheet that hardly anybody meant."""
    way = rng.randrange(7)
    good = GOOD.get(name, "7")
    if way == 0:
        return rng.choice(_ODD)
    if way == 1:  # what belongs in another column
        return GOOD[rng.choice(list(GOOD))]
    if way == 2:
        return "".join(rng.choice(_LETTERS) for _ in range(rng.randint(1, 12)))
    if way == 3:  # any characters at all, but halves of one
        found = (
            chr(rng.choice((rng.randrange(1, 256), rng.randrange(256, 0xD800)))) for _ in range(rng.randint(1, 6))
        )
        return "".join(found)
    if way == 4:  # one slip of the finger
        at = rng.randrange(len(good) + 1)
        return good[:at] + rng.choice(_LETTERS) * rng.randint(0, 2) + good[at + rng.randint(0, 2) :]
    if way == 5:
        return rng.choice(("9", "x", "1/2 ", "-", "; crane", "\u00e9")) * rng.choice((50, 500, 2000))
    size = rng.choice((0, -1, 1, 1e-9, 1e9, 10**18)) * rng.random()
    return f"{size:g} {rng.choice(('mm', 'ft', 'psi', 's', 'C', ''))}"


# whole files


def _csv(rows: Rows, mark: str = ",", end: str = "\r\n") -> str:
    stream = io.StringIO()
    csv.writer(stream, delimiter=mark, lineterminator=end).writerows(rows)
    return stream.getvalue()


def _bytes(rng: random.Random, rows: Rows) -> bytes:
    content = bytearray(_csv(rows).encode())
    for _ in range(rng.randint(1, 12)):
        at, way = rng.randrange(len(content)), rng.randrange(3)
        junk = rng.randbytes(rng.randint(1, 5))
        content[at : at + (0, 1, 40)[way]] = junk
    return bytes(content)


def _truncated(rng: random.Random, rows: Rows) -> bytes:
    content = _csv(rows).encode()
    return content[: rng.randrange(len(content))]


def _nul(rng: random.Random, rows: Rows) -> bytes:
    row = rng.choice(rows)
    at = rng.randrange(len(row))
    row[at] = row[at] + "\0"
    return _csv(rows).encode()


def _huge_field(rng: random.Random, rows: Rows) -> bytes:
    row = rng.choice(rows)
    row[rng.randrange(len(row))] = rng.choice("9x,\n") * rng.choice((20_001, 200_000, 2_000_000))
    return _csv(rows).encode()


def _open_quote(rng: random.Random, rows: Rows) -> bytes:
    lines = _csv(rows).split("\r\n")
    at = rng.randrange(1, len(lines) - 1)
    lines[at] = '"' + lines[at].replace('"', "")
    return "\r\n".join(lines).encode()


def _stray_quotes(rng: random.Random, rows: Rows) -> bytes:
    content = _csv(rows)
    for _ in range(rng.randint(1, 6)):
        at = rng.randrange(len(content))
        content = content[:at] + rng.choice(('"', '""', "'", '","')) + content[at:]
    return content.encode()


def _unknown_column(rng: random.Random, rows: Rows) -> bytes:
    rows[0][rng.randrange(len(rows[0]))] += rng.choice(("x", " ?", "\u00e9"))
    return _csv(rows).encode()


def _column_twice(rng: random.Random, rows: Rows) -> bytes:
    at, to = rng.sample(range(len(rows[0])), 2)
    rows[0][to] = rows[0][at]
    return _csv(rows).encode()


def _column_gone(rng: random.Random, rows: Rows) -> bytes:
    needed = ("job", "dive", "dive_date", "diver") if "line" in rows[0] else (rows[0][0],)
    at = rows[0].index(rng.choice(needed))
    return _csv([row[:at] + row[at + 1 :] for row in rows]).encode()


def _columns_shuffled(rng: random.Random, rows: Rows) -> bytes:
    order = rng.sample(range(len(rows[0])), len(rows[0]))
    return _csv([[row[at] for at in order] for row in rows]).encode()


def _odd_unit(rng: random.Random, rows: Rows) -> bytes:
    rows[0][rng.randrange(len(rows[0]))] += rng.choice((" [furlong]", " [", " []", " [mm] [in]", "[\u2126]"))
    return _csv(rows).encode()


def _ragged(rng: random.Random, rows: Rows) -> bytes:
    for row in rng.sample(rows[1:], min(3, len(rows) - 1)):
        if rng.random() < 0.5:
            row.extend(rng.choice(("", "x", " ")) for _ in range(rng.randint(1, 600)))
        else:
            del row[rng.randint(1, len(row) - 1) :]
    return _csv(rows).encode()


def _other_mark(rng: random.Random, rows: Rows) -> bytes:
    return _csv(rows, rng.choice("\t|:")).encode()


def _mixed_ends(rng: random.Random, rows: Rows) -> bytes:
    lines = _csv(rows, end="\n").split("\n")
    return "".join(line + rng.choice(("\n", "\r\n", "\n\n", "\n,,,\n")) for line in lines).encode()


def _bom(rng: random.Random, rows: Rows) -> bytes:
    text = _csv(rows, rng.choice(",;"))
    return rng.choice((text.encode("utf-8-sig"), text.encode("utf-16"), b"\xfe\xff" + text.encode("utf-16-be")))


def _odd_bom(rng: random.Random, rows: Rows) -> bytes:
    text = _csv(rows)
    half = text.encode("utf-16")[:-1]
    return rng.choice(
        (text.encode("utf-32"), b"\xff\xfe", b"\xef\xbb\xbf", b"\xef\xbb\xbf" * 2 + text.encode(), half,
         text.encode("utf-16-le"), b"\xff\xfe" + text.encode(), text.encode("cp037"), text.encode("utf-7"))
    )  # fmt: skip


def _windows(rng: random.Random, rows: Rows) -> bytes:
    if "remark" in rows[0]:
        rows[1][rows[0].index("remark")] = "caf\u00e9 \u2013 90\u00b0"
    return _csv(rows).encode("cp1252", "replace") + rng.choice((b"", b"\x81\r\n", b"\xff"))


def _hardly_a_file(rng: random.Random, rows: Rows) -> bytes:
    head = ",".join(rows[0])
    return rng.choice(
        ("", "\n" * 50, ",,,,\n", head, f"{head}\n", f"\n{head}\n", ",".join(["job"] * 600), "job\n", " \n", '"',
         "\0",         "job,dive\n" * 3, "what is this", "%PDF-1.7\n", "<html></html>", "{}", "SQLite format 3\0")
    ).encode()  # fmt: skip


def _bad_cells(rng: random.Random, rows: Rows) -> bytes:
    for _ in range(rng.randint(1, 8)):
        row = rng.choice(rows[1:])
        at = rng.randrange(len(row))
        row[at] = bad_cell(rng, rows[0][at])
    return _csv(rows).encode("utf-8", "replace")


def _rows_twice(rng: random.Random, rows: Rows) -> bytes:
    return _csv([*rows, *rng.sample(rows[1:], rng.randint(1, len(rows) - 1))]).encode()


# spreadsheets


def _book(rows: list[list[Any]]) -> bytes:
    book = openpyxl.Workbook()
    sheet = book.active
    for row in rows:
        sheet.append(row)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def _repacked(content: bytes, change: Callable[[str, bytes], bytes | None]) -> bytes:
    """The parts of a spreadsheet once more, each changed; None leaves a part out."""
    stream = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(content)) as old,
        zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for part in old.namelist():
            found = change(part, old.read(part))
            if found is not None:
                new.writestr(part, found)
    return stream.getvalue()


SHEET = "xl/worksheets/sheet1.xml"


def _plain_book(rng: random.Random, rows: Rows) -> bytes:
    return _book(rows)


def _book_cut_off(rng: random.Random, rows: Rows) -> bytes:
    content = _book(rows)
    return content[: rng.randrange(4, len(content) - 1)]


def _book_bytes(rng: random.Random, rows: Rows) -> bytes:
    content = bytearray(_book(rows))
    for _ in range(rng.randint(1, 20)):
        content[rng.randrange(4, len(content))] = rng.randrange(256)
    return bytes(content)


def _formula(rng: random.Random, rows: list[list[Any]]) -> bytes:
    row = rng.choice(rows)
    row[rng.randrange(len(row))] = rng.choice(("=1+1", "=A1", '=HYPERLINK("http://x","y")', "#REF!", "#DIV/0!"))
    return _book(rows)


def _odd_values(rng: random.Random, rows: list[list[Any]]) -> bytes:
    for _ in range(rng.randint(1, 6)):
        row = rng.choice(rows[1:])
        row[rng.randrange(len(row))] = rng.choice(
            (True, 0.1 + 0.2, 1e300, -7, 10**15, dt.datetime(2026, 5, 8), dt.time(9, 42), dt.timedelta(days=-3),
             dt.datetime(1900, 1, 1), dt.date(9999, 12, 31), "x" * 30_000, "_x0000_", "7\n8", None)
        )  # fmt: skip
    return _book(rows)


def _part_gone(rng: random.Random, rows: Rows) -> bytes:
    content = _book(rows)
    gone = rng.choice(zipfile.ZipFile(io.BytesIO(content)).namelist())
    return _repacked(content, lambda part, text: None if part == gone else text)


def _part_spoiled(rng: random.Random, rows: Rows) -> bytes:
    content = _book(rows)
    hit = rng.choice(zipfile.ZipFile(io.BytesIO(content)).namelist())

    def change(part: str, text: bytes) -> bytes:
        if part != hit:
            return text
        at = rng.randrange(len(text))
        return rng.choice(
            (b"", text[:at], text[:at] + rng.randbytes(9) + text[at:], b"<a/>", b"\xff\xfe\0", text * 2)
        )

    return _repacked(content, change)


def _xml_slip(rng: random.Random, rows: Rows) -> bytes:
    """Numbers in the sheet's own markup that no program wrote: rows and columns without end, types nobody knows."""
    text = zipfile.ZipFile(io.BytesIO(_book(rows))).read(SHEET)
    old, new = rng.choice(
        ((b'<row r="2"', b'<row r="99999999999"'), (b'<row r="2"', b'<row r="-4"'), (b'<row r="3"', b'<row r="2"'),
         (b'<row r="2"', b'<row r="x"'), (b'r="A2"', b'r="ZZZZZ2"'), (b'r="A2"', b'r="XFD2"'), (b'r="B2"', b'r="A2"'),
         (b'r="A2"', b'r="C2"'), (b'r="A2"', b'r=""'), (b't="inlineStr"', b't="zz"'), (b't="inlineStr"', b't="s"'),
         (b"<v>0</v>", b"<v>999999</v>"),
         (b"<v>0</v>", b"<v>-1</v>"), (b"<v>1</v>", b"<v>x</v>"), (b't="n"', b't="d"'),
         (b"<sheetData>", b"<sheetData/>"), (b'<row r="2"', b'<row r="200000"'))
    )  # fmt: skip
    found = text.replace(old, new, 1)
    return _repacked(_book(rows), lambda part, content: found if part == SHEET else content)


def _bomb(rng: random.Random, rows: Rows) -> bytes:
    way = rng.randrange(4)
    if way == 0:  # a part that unpacks a thousandfold
        blank = b" " * (rng.choice((2, 80)) * 2**20)
        return _repacked(_book(rows), lambda part, text: text + blank if part == SHEET else text)
    stream = io.BytesIO(_book(rows))
    if way == 1:  # texts to be held all at once
        with zipfile.ZipFile(stream, "a", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr("xl/sharedStrings.xml", b"<si><t>x</t></si>" * (rng.choice((1, 4)) * 2**20))
        return stream.getvalue()
    if way == 2:  # entities that multiply
        doubled = b"".join(b'<!ENTITY e%d "&e%d;&e%d;">' % (n, n - 1, n - 1) for n in range(1, 40))
        head = b'<?xml version="1.0"?><!DOCTYPE w [<!ENTITY e0 "x">' + doubled + b"]>"
        return _repacked(
            _book(rows),
            lambda part, text: head + text.replace(b"<sheetData>", b"<sheetData>&e39;") if part == SHEET else text,
        )
    with zipfile.ZipFile(stream, "a") as archive:
        for number in range(10_001):
            archive.writestr(f"xl/media/{number}", b"")
    return stream.getvalue()


def _lying_sizes(rng: random.Random, rows: Rows) -> bytes:
    """The list of parts says that they are smaller, or that some are encrypted."""
    content = bytearray(_book(rows))
    places = [at for at in range(len(content) - 4) if content[at : at + 4] == b"PK\x01\x02"]
    at = rng.choice(places)
    if rng.random() < 0.5:
        content[at + 24 : at + 28] = rng.choice((0, 10, 2**31 - 1)).to_bytes(4, "little")
    else:
        content[at + 8] |= 1
    return bytes(content)


def _other_archive(rng: random.Random, rows: Rows) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        for name in rng.choice(
            (["word/document.xml"], ["a.csv"], ["xl/workbook.xml"], ["../../x", "xl/workbook.xml"])
        ):
            archive.writestr(name, _csv(rows))
    return rng.choice(
        (stream.getvalue(), b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600), b"PK\x03\x04" + bytes(40))
    )


WAYS: Mapping[str, tuple[str, Callable[[random.Random, Any], bytes], frozenset[int]]] = {
    name: (ending, way, frozenset(codes))
    for name, ending, way, codes in (
        ("bytes put in or taken out", "csv", _bytes, (0, 2, 4)),
        ("cut off", "csv", _truncated, (0, 2, 4)),
        ("a NUL", "csv", _nul, (2,)),
        ("a huge field", "csv", _huge_field, (2,)),
        ("a quote never closed", "csv", _open_quote, (2,)),
        ("quotes anywhere", "csv", _stray_quotes, (0, 2, 4)),
        ("an unknown column", "csv", _unknown_column, (2,)),
        ("a column twice", "csv", _column_twice, (2,)),
        ("a needed column gone", "csv", _column_gone, (2,)),
        ("columns in another order", "csv", _columns_shuffled, (0,)),
        ("an odd unit in a header", "csv", _odd_unit, (0, 2)),
        ("rows too long or too short", "csv", _ragged, (0, 2)),
        ("parted by another mark", "csv", _other_mark, (2,)),
        ("mixed line ends, empty lines", "csv", _mixed_ends, (0,)),
        ("byte order marks", "csv", _bom, (0,)),
        ("other encodings", "csv", _odd_bom, (0, 2, 5)),
        ("Windows text", "csv", _windows, (0, 2)),
        ("hardly a file", "csv", _hardly_a_file, (0, 2, 5)),
        ("bad cells", "csv", _bad_cells, (0, 2, 4)),
        ("rows twice", "csv", _rows_twice, (0, 2, 4)),
        ("a spreadsheet as it should be", "xlsx", _plain_book, (0,)),
        ("a spreadsheet cut off", "xlsx", _book_cut_off, (2, 5)),
        ("bytes changed in a spreadsheet", "xlsx", _book_bytes, (0, 2, 4, 5)),
        ("formulas and errors", "xlsx", _formula, (2,)),
        ("numbers, dates and times", "xlsx", _odd_values, (0, 2, 4)),
        ("a part gone", "xlsx", _part_gone, (0, 2, 5)),
        ("a part spoiled", "xlsx", _part_spoiled, (0, 2, 5)),
        ("markup no program wrote", "xlsx", _xml_slip, (0, 2, 4, 5)),
        ("made to fill the memory", "xlsx", _bomb, (2, 5)),
        ("sizes that lie, encryption", "xlsx", _lying_sizes, (0, 2, 5)),
        ("another kind of archive", "xlsx", _other_archive, (2, 5)),
    )
}
"""Way -> ending of the file, how it is made, and the exit codes an import of it may end with."""
