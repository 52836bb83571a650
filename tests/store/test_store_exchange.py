"""Files into the log: every problem at once, whole or not at all, and what goes to a file of its own."""

from __future__ import annotations

import json
from pathlib import Path

import openpyxl
import paper
import pytest
from paper import counts, cut, new_log, one, refused, take, write

from burnlog.errors import FileError, InputError, RowErrors
from burnlog.store.cutsheet import COLUMNS
from burnlog.store.exchange import import_file
from burnlog.store.log import Log


@pytest.fixture
def log(tmp_path: Path) -> Log:
    return new_log(tmp_path)


def _twelve() -> list[dict[str, str]]:
    return [
        cut(dive=str(1 + number // 6), line=f"L{number}", thickness="5/8 in", rods="7", new_length="2 ft")
        for number in range(12)
    ]


def test_R06_bad_cells_are_all_named_and_nothing_is_written(log: Log, tmp_path: Path) -> None:
    """Two bad cells in twelve rows: both named with row, column and text, no row added; corrected, twelve once."""
    rows = _twelve()
    rows[4]["thickness"] = "12"
    rows[9]["rods"] = "3-4"
    message = refused(log, tmp_path, *rows)
    assert "row 6, column thickness: '12'" in message
    assert "row 11, column rods: '3-4'" in message
    assert "2 problems, nothing written" in message
    rows[4]["thickness"], rows[9]["rods"] = "12 mm", "3"
    assert take(log, tmp_path, *rows, name="good.csv").added["cut"] == 12
    assert take(log, tmp_path, *rows, name="good.csv").added == {}
    assert counts(log)["cut"] == 12


def test_R06_unknown_columns_are_errors_with_the_nearest_names(log: Log, tmp_path: Path) -> None:
    """A column nobody knows is never passed over: it is named with those most like it."""
    message = refused(log, tmp_path, cut(thicknes="12 mm", stubs="3"))
    assert "no column 'thicknes'; the nearest are thickness" in message
    assert "no column 'stubs'" in message
    assert "Job" in refused(log, tmp_path, {**paper.NEEDED, "Job": "x"})


@pytest.mark.parametrize("missing", ["job", "dive", "dive_date", "diver"])
def test_required_columns_and_cells(log: Log, tmp_path: Path, missing: str) -> None:
    """A column or cell that a sheet cannot do without is asked for by name."""
    row = cut(line="L1", rods="7")
    assert f"column {missing} cannot be done without" in refused(
        log, tmp_path, {name: text for name, text in row.items() if name != missing}
    )
    assert missing in refused(log, tmp_path, {**row, missing: ""})


def test_R06_semicolons_units_in_headers_and_trailing_rows(log: Log, tmp_path: Path) -> None:
    """A semicolon file with a byte-order mark, Windows line ends, blank rows and units in headers is read."""
    path = tmp_path / "s.csv"
    head = b"job;dive;dive_date;diver;line;thickness [mm];new_length [ft];rods;stoppages\r\n"
    path.write_bytes(
        b"\xef\xbb\xbf" + head + b'P1;1;2026-05-12;D1;L1;12,5;2;7;"crane 5min; power 2min"\r\n;;;;;;;;\r\n\r\n'
    )
    assert import_file(log, path).rows == 1
    row = one(log, "SELECT thickness_mm, new_length_mm, as_typed FROM cut")
    assert (row["thickness_mm"], row["new_length_mm"]) == (12.5, pytest.approx(609.6))
    assert json.loads(str(row["as_typed"]))["thickness_mm"] == ["12,5 mm", "measured"]
    assert [r["seconds"] for r in log.rows("SELECT seconds FROM happening ORDER BY seconds")] == [120, 300]


def test_units_in_headers_are_held_against_the_column(log: Log, tmp_path: Path) -> None:
    """A unit that the column is not measured in, or a unit on words, is refused."""
    message = refused(log, tmp_path, {**paper.NEEDED, "thickness [psi]": "12", "diver_": "", "edge [mm]": "clean"})
    assert "'psi'" in message
    assert "edge is not measured" in message


def test_dry_run_reads_everything_and_writes_nothing(log: Log, tmp_path: Path) -> None:
    """A dry run reports what would be added, leaves the log as it is, and refuses what an import would."""
    before = counts(log)
    report = take(log, tmp_path, *_twelve(), dry_run=True)
    assert report.dry_run
    assert report.added["cut"] == 12
    assert counts(log) == before
    assert "'12'" in refused(log, tmp_path, cut(thickness="12"), dry_run=True)


def test_keep_good_parts_good_rows_from_bad(log: Log, tmp_path: Path) -> None:
    """Good rows go in, the others to a new file with `why`; that file, corrected, completes the log."""
    rows = _twelve()
    rows[0].update(crew="NIGHT", depth="45 fsw")
    rows[4]["thickness"] = "12"
    rest = tmp_path / "rest.csv"
    report = take(log, tmp_path, *rows, keep_good=rest)
    assert (report.added["cut"], report.held, report.rest) == (11, 1, rest)
    lines = rest.read_text().splitlines()
    assert len(lines) == 2
    assert lines[0].endswith(",row,why")
    assert "'12' has no unit" in lines[1]
    rest.write_text(rest.read_text().replace(",12,", ",12 mm,"))
    assert import_file(log, rest).added["cut"] == 1
    assert import_file(log, rest).added == {}
    assert [row["row"] for row in log.rows("SELECT row FROM cut ORDER BY dive_id, row")] == [*range(1, 7)] * 2


def test_keep_good_holds_back_what_hangs_together(log: Log, tmp_path: Path) -> None:
    """A count over a dive, and the dive's own cells, go in whole or not at all."""
    counted = [cut(line="L1", rods="9", rods_scope="dive"), cut(line="L2", thickness="12")]
    headless = [cut(dive="15", visibility="murky"), cut(dive="15")]
    report = take(log, tmp_path, *counted, *headless, cut(dive="16"), keep_good=tmp_path / "rest.csv")
    assert (report.held, report.added["cut"]) == (4, 1)
    text = (tmp_path / "rest.csv").read_text()
    assert "held back with row 3" in text
    assert "held back with row 4" in text


def test_keep_good_never_overwrites(log: Log, tmp_path: Path) -> None:
    """The file for the rest must be new, in a folder that is there, and CSV."""
    (tmp_path / "old.csv").write_text("mine")
    for target, error in (("old.csv", FileError), ("no/such.csv", FileError), ("rest.xlsx", InputError)):
        with pytest.raises(error):
            take(log, tmp_path, cut(thickness="12"), keep_good=tmp_path / target)
    assert (tmp_path / "old.csv").read_text() == "mine"
    report = take(log, tmp_path, cut(), keep_good=tmp_path / "unused.csv")
    assert report.rest is None
    assert not (tmp_path / "unused.csv").exists()


def test_keep_good_cannot_part_a_file_that_breaks_off(log: Log, tmp_path: Path) -> None:
    """What comes after a quote that never closes is neither good nor bad, so that nothing is taken of the file."""
    path = write(tmp_path / "s.csv", [cut(line="L1", rods="7"), cut(line="L2", rods="7")])
    path.write_text(path.read_text().replace("L2", '"L2'))
    with pytest.raises(RowErrors, match="row 3: opens a quote that never closes; the rows after it were not read"):
        import_file(log, path, keep_good=tmp_path / "rest.csv")
    assert not any(counts(log).values())
    assert not (tmp_path / "rest.csv").exists()


def test_spreadsheet_problems_name_the_cell(log: Log, tmp_path: Path) -> None:
    """A bad cell of a spreadsheet is named by sheet and address; dates made of fractions are explained."""
    import datetime as dt

    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = "cuts"
    sheet.append(["job", "dive", "dive_date", "diver", "line", "thickness", "start"])
    sheet.append(["PIER7", 14, dt.date(2026, 5, 12), "D3", "L1", "5/8 in", dt.time(9, 42)])
    sheet.append(["PIER7", 14, None, None, "L2", dt.date(2026, 5, 8), dt.time(9, 50)])
    sheet.append(["PIER7", 14, None, None, "L3", 12, None])
    path = tmp_path / "cuts.xlsx"
    book.save(path)
    with pytest.raises(RowErrors) as caught:
        import_file(log, path)
    message = str(caught.value)
    assert "cuts.xlsx, sheet 'cuts'" in message
    assert "row 3, column thickness (cell F3)" in message
    assert "turns 5/8 into a date" in message
    assert "(cell F4): '12' has no unit" in message
    sheet.delete_rows(3, 2)
    book.save(path)
    assert import_file(log, path).added["cut"] == 1


def test_broken_files_report_what_came_before(log: Log, tmp_path: Path) -> None:
    """A file that breaks off names that row, and the bad cells before it."""
    path = tmp_path / "s.csv"
    path.write_text('job,dive,dive_date,diver,thickness\nP1,1,2026-05-12,D1,12\nP1,1,,,"5/8 in\nP1,1,,,1 in\n')
    with pytest.raises(RowErrors) as caught:
        import_file(log, path)
    assert [problem.row for problem in caught.value.problems] == [2, 3]
    assert counts(log)["cut"] == 0


def test_files_of_no_known_kind_are_refused(log: Log, tmp_path: Path) -> None:
    """A file none of whose columns is known says what a cut sheet looks like."""
    assert "none of the columns is known" in refused(log, tmp_path, {"foo": "1", "bar": "2"})


def test_an_empty_sheet_adds_nothing(log: Log, tmp_path: Path) -> None:
    """A header without rows is no error."""
    report = import_file(log, write(tmp_path / "empty.csv", [], [column.name for column in COLUMNS]))
    assert (report.rows, dict(report.added)) == (0, {})


def test_progress_is_told(log: Log, tmp_path: Path) -> None:
    """Rows read are told every thousand, with how many there are."""
    seen: list[tuple[int, int | None]] = []
    rows = [cut(dive=str(1 + n // 9)) for n in range(2500)]
    take(log, tmp_path, *rows, progress=lambda done, to_do: seen.append((done, to_do)))
    assert seen == [(1000, 2500), (2000, 2500)]
