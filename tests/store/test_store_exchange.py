"""Cut sheets into the log: what a row comes to mean, and everything that is refused."""

from __future__ import annotations

import json
import re
from collections import Counter
from pathlib import Path

import openpyxl
import paper
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from paper import counts, cut, new_log, take, write

from burnlog.errors import BurnlogError, ConflictError, FileError, InputError, RowErrors
from burnlog.store.cutsheet import COLUMNS
from burnlog.store.exchange import import_file
from burnlog.store.log import Log


@pytest.fixture
def log(tmp_path: Path) -> Log:
    return new_log(tmp_path)


def _one(log: Log, sql: str) -> dict[str, object]:
    (row,) = log.rows(sql)
    return row


def _refused(log: Log, folder: Path, *rows: dict[str, str], **options: object) -> str:
    """The message of an import that must be refused, having written nothing."""
    before = counts(log)
    with pytest.raises(RowErrors) as caught:
        take(log, folder, *rows, **options)
    assert counts(log) == before
    assert caught.value.exit_code == 2
    return str(caught.value)


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
    message = _refused(log, tmp_path, *rows)
    assert "row 6, column thickness: '12'" in message
    assert "row 11, column rods: '3-4'" in message
    assert "2 problems, nothing written" in message
    rows[4]["thickness"], rows[9]["rods"] = "12 mm", "3"
    assert take(log, tmp_path, *rows, name="good.csv").added["cut"] == 12
    assert take(log, tmp_path, *rows, name="good.csv").added == {}
    assert counts(log)["cut"] == 12


def test_R06_unknown_columns_are_errors_with_the_nearest_names(log: Log, tmp_path: Path) -> None:
    """A column nobody knows is never passed over: it is named with those most like it."""
    message = _refused(log, tmp_path, cut(thicknes="12 mm", stubs="3"))
    assert "no column 'thicknes'; the nearest are thickness" in message
    assert "no column 'stubs'" in message
    assert "Job" in _refused(log, tmp_path, {**paper.NEEDED, "Job": "x"})


@pytest.mark.parametrize("missing", ["job", "dive", "dive_date", "diver"])
def test_required_columns_and_cells(log: Log, tmp_path: Path, missing: str) -> None:
    """A column or cell that a sheet cannot do without is asked for by name."""
    row = cut(line="L1", rods="7")
    assert f"column {missing} cannot be done without" in _refused(
        log, tmp_path, {name: text for name, text in row.items() if name != missing}
    )
    assert missing in _refused(log, tmp_path, {**row, missing: ""})


def test_R06_semicolons_units_in_headers_and_trailing_rows(log: Log, tmp_path: Path) -> None:
    """A semicolon file with a byte-order mark, Windows line ends, blank rows and units in headers is read."""
    path = tmp_path / "s.csv"
    head = b"job;dive;dive_date;diver;line;thickness [mm];new_length [ft];rods;stoppages\r\n"
    path.write_bytes(
        b"\xef\xbb\xbf" + head + b'P1;1;2026-05-12;D1;L1;12,5;2;7;"crane 5min; power 2min"\r\n;;;;;;;;\r\n\r\n'
    )
    assert import_file(log, path).rows == 1
    row = _one(log, "SELECT thickness_mm, new_length_mm, as_typed FROM cut")
    assert (row["thickness_mm"], row["new_length_mm"]) == (12.5, pytest.approx(609.6))
    assert json.loads(str(row["as_typed"]))["thickness_mm"] == ["12,5 mm", "measured"]
    assert [r["seconds"] for r in log.rows("SELECT seconds FROM happening ORDER BY seconds")] == [120, 300]


def test_units_in_headers_are_held_against_the_column(log: Log, tmp_path: Path) -> None:
    """A unit that the column is not measured in, or a unit on words, is refused."""
    message = _refused(log, tmp_path, {**paper.NEEDED, "thickness [psi]": "12", "diver_": "", "edge [mm]": "clean"})
    assert "'psi'" in message
    assert "edge is not measured" in message


def test_R03_blank_is_not_zero(log: Log, tmp_path: Path) -> None:
    """Blank, `-`, `?` and `nr` are not recorded, and a blank count still makes a tally that can be counted."""
    rows = [
        cut(line=f"L{n}", rods=text, hangers=text, new_length="2 ft") for n, text in enumerate(("", "-", "?", "nr"))
    ]
    report = take(log, tmp_path, *rows)
    assert [row["rods"] for row in log.rows("SELECT rods FROM tally WHERE rods_basis = 'not recorded'")] == [None] * 4
    assert all(row["hangers"] is None for row in log.rows("SELECT hangers FROM cut"))
    assert "4 not recorded" in report.notes[0]


def test_R03_no_rods_and_new_length_is_asked(log: Log, tmp_path: Path) -> None:
    """`0` rods that cut something are refused; `0` on a hanger pass, and `0` with a stub, stand."""
    assert "Leave it blank if nobody counted" in _refused(log, tmp_path, cut(line="L1", rods="0", new_length="2 ft"))
    take(
        log,
        tmp_path,
        cut(line="L1", rods="0 + 6in", new_length="2 in"),
        cut(line="L1", rods="0", pass_="hanger"),
    )
    assert [row["rods"] for row in log.rows("SELECT rods FROM tally ORDER BY no")] == [0, 0]


def test_R04_estimated_and_at_least_values(log: Log, tmp_path: Path) -> None:
    """`~7`, `7 est`, `7+` and `6.5` keep their basis; marks alone or two at once are refused."""
    texts = {"~7": "estimated", "7 est": "estimated", "7+": "at least", "6.5": "estimated", "7": "measured"}
    report = take(log, tmp_path, *[cut(line=f"L{n}", rods=text) for n, text in enumerate(texts)])
    rows = log.rows("SELECT rods_basis, as_typed FROM tally ORDER BY no")
    assert {json.loads(row["as_typed"])["rods"][0]: row["rods_basis"] for row in rows} == texts
    assert "3 estimated, 1 at least" in report.notes[0]
    for text in ("~", "+7", "7+-"):
        assert "column rods" in _refused(log, tmp_path, cut(dive="15", rods=text))


def test_R07_a_count_over_the_dive_covers_its_cuts_with_that_rod_type(log: Log, tmp_path: Path) -> None:
    """One count over the dive for each rod type, on its first row; the other rows make no count of their own."""
    take(
        log,
        tmp_path,
        cut(line="L1", rod_type="A", rods="12", rods_scope="dive", issued="20", returned="6"),
        cut(line="L2", rod_type="A"),
        cut(line="L3", rod_type="B", rods="3", issued="5"),
        cut(line="L4", rod_type="A", pass_="re-burn"),
    )
    rows = log.rows(
        "SELECT t.*, r.code FROM tally t JOIN rod_type r ON r.id = t.rod_type_id ORDER BY r.code, t.scope"
    )
    assert [(row["code"], row["scope"], row["rods"], row["issued"]) for row in rows] == [
        ("A", "dive", 12, 20),
        ("B", "box", None, 5),
        ("B", "cut", 3, None),
    ]
    covered = log.rows(
        "SELECT c.row FROM covered v JOIN cut c ON c.id = v.cut_id WHERE v.tally_id = ?", (rows[0]["id"],)
    )
    assert sorted(row["row"] for row in covered) == [1, 2, 4]
    assert log.rows("SELECT * FROM overlap") == []


@pytest.mark.parametrize(
    ("second", "words"),
    [
        ({"rods": "4"}, "counted over the dive"),
        ({"rods_scope": "cut"}, "by cut or over the dive"),
        ({"rods_scope": "day"}, "write cut or dive"),
        ({"issued": "9"}, "write it there only"),
    ],
)
def test_R07_one_scope_for_a_rod_type_of_a_dive(log: Log, tmp_path: Path, second: dict[str, str], words: str) -> None:
    """A second count, scope or box count of one rod type in one dive is refused."""
    first = cut(line="L1", rod_type="A", rods="12", rods_scope="dive", issued="20")
    assert words in _refused(log, tmp_path, first, cut(line="L2", rod_type="A", **second))


def test_R07_a_row_without_rod_type_beside_two_counts(log: Log, tmp_path: Path) -> None:
    """A row that names no rod type joins the dive's single count, and is asked where there are two."""
    first = cut(line="L1", rod_type="A", rods="12", rods_scope="dive")
    other = cut(line="L2", rod_type="B", rods="5", rods_scope="dive")
    assert "write the rod type it used" in _refused(log, tmp_path, first, other, cut(line="L3"))
    take(log, tmp_path, first, cut(line="L3"))
    assert counts(log)["tally"] == 1


def test_R09_only_a_first_pass_makes_new_length(log: Log, tmp_path: Path) -> None:
    """A re-burn, hanger, pierce or trial pass with new length is refused; with none, or nought, it stands."""
    for word in ("re-burn", "hanger", "pierce", "trial"):
        message = _refused(log, tmp_path, cut(line="L1", pass_=word, new_length="2 ft"))
        assert "severed once" in message
        assert "column new_length" in message
    take(log, tmp_path, cut(line="L1", pass_="re-burn", new_length="0"), cut(line="L1", pass_="hanger"))
    assert [row["new_length_mm"] for row in log.rows("SELECT new_length_mm FROM cut ORDER BY row")] == [0, None]


def test_R09_length_beyond_the_plan(log: Log, tmp_path: Path) -> None:
    """102 % of the plan is tape error; 103 % is refused over all dives and files, unless the line has a reason."""
    first = cut(line="L1", planned_length="1 m", new_length="600 mm")
    take(log, tmp_path, first)
    assert "(103 %)" in _refused(log, tmp_path, cut(dive="15", line="L1", new_length="430 mm"))
    take(log, tmp_path, cut(dive="15", line="L1", new_length="420 mm"))
    assert "(130 %)" in _refused(
        log,
        tmp_path,
        cut(dive="16", line="L2", planned_length="1 m", new_length="700 mm"),
        cut(dive="16", line="L2", new_length="600 mm"),
    )
    why = {"job": "PIER7", "line": "L3", "planned_length": "1 m", "over_length_why": "cut twice round the weld"}
    take(log, tmp_path, why, name="lines.csv")
    take(log, tmp_path, cut(dive="17", line="L3", new_length="1.3 m"))


def test_all_and_half_are_parts_of_the_planned_length(log: Log, tmp_path: Path) -> None:
    """`all` and `half` refer to the planned length wherever in the file it stands, and keep their words."""
    take(
        log,
        tmp_path,
        cut(line="L1", new_length="half"),
        cut(dive="15", line="L1", planned_length="3 ft"),
        cut(dive="15", line="L2", planned_length="1 m", new_length="all"),
    )
    rows = log.rows("SELECT new_length_mm AS mm, as_typed FROM cut WHERE new_length_mm IS NOT NULL ORDER BY no")
    assert [row["mm"] for row in rows] == [pytest.approx(457.2), 1000]
    assert json.loads(rows[0]["as_typed"])["new_length_mm"] == ["half", "estimated"]
    assert "of what?" in _refused(log, tmp_path, cut(dive="16", line="L9", new_length="all"))


def test_R18_two_readings_are_refused_in_files(log: Log, tmp_path: Path) -> None:
    """What has two readings, or none, is refused by cell, all of it at once."""
    texts = ("12", "nan", "inf", "1_000", "1e3", "5/0", "5/", "3-4", "-5 mm", "1,250 mm")
    message = _refused(log, tmp_path, *[cut(line=f"L{n}", thickness=text) for n, text in enumerate(texts)])
    for number, text in enumerate(texts, start=2):
        assert f"row {number}, column thickness: '{text}'" in message
    assert "'0:45'" in _refused(log, tmp_path, cut(elapsed="0:45"))


def test_R18_words_are_closed_lists(log: Log, tmp_path: Path) -> None:
    """An unknown word is refused with the nearest, a prefix of two with both; a unique prefix and other: stand."""
    message = _refused(log, tmp_path, cut(position="ver", edge="smoth", events="popp"))
    assert "vertical down" in message
    assert "vertical up" in message
    assert "nearest" in message
    take(log, tmp_path, cut(position="over", fouling="other: tar"))
    assert _one(log, "SELECT position, fouling FROM cut") == {"position": "overhead", "fouling": "other: tar"}


def test_R19_the_typed_text_survives(log: Log, tmp_path: Path) -> None:
    """Canonical value and typed text are both kept."""
    take(log, tmp_path, cut(line="L1", thickness="5/8", planned_length="1'6\"", new_length="1ft6", start="0942"))
    row = _one(log, "SELECT thickness_mm, new_length_mm, start_at, as_typed FROM cut")
    assert (row["thickness_mm"], row["new_length_mm"]) == (15.875, pytest.approx(457.2))
    assert row["start_at"] == "2026-05-12T09:42:00"
    typed = json.loads(str(row["as_typed"]))
    assert typed["thickness_mm"][0] == "5/8"
    assert typed["new_length_mm"][0] == "1ft6"
    assert json.loads(str(_one(log, "SELECT as_typed FROM line")["as_typed"]))["planned_length_mm"][0] == "1'6\""


def test_R20_depth_needs_its_water(log: Log, tmp_path: Path) -> None:
    """`45 ft` needs the job's water, from this file or the log; a dry practice has no depth."""
    assert "which water" in _refused(log, tmp_path, cut(depth="45 ft"))
    take(log, tmp_path, cut(depth="45 ft", water="fresh"))
    take(log, tmp_path, cut(dive="15", depth="45 ft"), name="b.csv")
    depths = [row["depth_msw"] for row in log.rows("SELECT depth_msw FROM dive")]
    assert depths == [pytest.approx(13.45, abs=0.005)] * 2  # 45 ft of fresh water, 1000 kg/m3: 13.450 msw
    dry = cut(job="DECK", setting="dry practice", depth="4 m", water="fresh")
    assert "dry practice has no depth" in _refused(log, tmp_path, dry)


def test_R21_flowing_above_static_is_asked(log: Log, tmp_path: Path) -> None:
    """A flowing reading more than 5 % above the static one is refused with both texts."""
    message = _refused(log, tmp_path, cut(regulator_static="90 psi", regulator_flowing="95 psi"))
    assert "static reading (90 psi)" in message
    take(log, tmp_path, cut(regulator_static="90 psi", regulator_flowing="94 psi"))


def test_R27_more_back_than_out(log: Log, tmp_path: Path) -> None:
    """More rods back than went out is refused."""
    assert "more rods came back (41) than went out (40)" in _refused(log, tmp_path, cut(issued="40", returned="41"))


def test_R28_stubs_are_kept(log: Log, tmp_path: Path) -> None:
    """Stubs are kept as typed; without a planned stub that is said, and a stub longer than the rod is refused."""
    report = take(log, tmp_path, cut(line="L1", rod_type="EX", rod_length="18 in", rods="7 + 6in,9in"))
    assert [row["stub_mm"] for row in log.rows("SELECT stub_mm FROM rod_part ORDER BY seq")] == pytest.approx(
        [152.4, 228.6]
    )
    assert _one(log, "SELECT rods FROM tally")["rods"] == 7
    assert any("no rod equivalents" in note for note in report.notes)
    assert "longer than the rod" in _refused(log, tmp_path, cut(dive="15", rod_type="EX", rods="7 + 19in"))
    assert "has no unit" in _refused(log, tmp_path, cut(dive="15", rod_type="EX", rods="7 + 6"))


def test_R30_burn_and_hot_time_are_two_fields(log: Log, tmp_path: Path) -> None:
    """Neither is filled from the other; set and delivered amps likewise."""
    take(log, tmp_path, cut(burn_time="0:45", set_amps="200"), cut(hot_time="30s", delivered_amps="165 A"))
    rows = log.rows("SELECT burn_s, hot_s, set_a, delivered_a FROM cut ORDER BY row")
    assert [tuple(row.values()) for row in rows] == [(45, None, 200, None), (None, 30, None, 165)]


def test_stops_past_midnight(log: Log, tmp_path: Path) -> None:
    """A stop before its start is past midnight under 4 hours; the next cut goes on from there; else it is refused."""
    take(
        log,
        tmp_path,
        cut(line="L1", start="2350", stop="0010"),
        cut(line="L2", start="0020", stop="0031"),
        cut(dive="15", line="L3", start="0942", stop="1003"),
        cut(dive="15", line="L4", start="0930", stop="0940"),
    )
    rows = log.rows("SELECT start_at, stop_at FROM cut ORDER BY no")
    assert [(row["start_at"][8:16], row["stop_at"][8:16]) for row in rows] == [
        ("12T23:50", "13T00:10"),
        ("13T00:20", "13T00:31"),
        ("12T09:42", "12T10:03"),
        ("12T09:30", "12T09:40"),
    ]
    assert "4 hours or more" in _refused(log, tmp_path, cut(dive="16", start="1003", stop="0942"))
    assert "same as the start" in _refused(log, tmp_path, cut(dive="16", start="1003", stop="1003"))


def test_lists_become_happenings(log: Log, tmp_path: Path) -> None:
    """Stoppages, defects and events are parted by semicolons, with minutes, counts and clock times behind them."""
    row = cut(
        stoppages="crane 5min; other: seal in the way; power ~2 min",
        defects="clogged kerf; rod stuck x2",
        events="pop or bang 0955; oxygen sag",
        technique="hurried start; contact lost",
        start="0942",
    )
    take(log, tmp_path, row)
    found = {row["word"]: row for row in log.rows("SELECT * FROM happening")}
    assert found["crane or rigging"]["seconds"] == 300
    assert found["other: seal in the way"]["seconds"] is None
    assert json.loads(found["power"]["as_typed"])["seconds"] == ["~2 min", "estimated"]
    assert (found["rod stuck"]["count"], found["clogged kerf"]["count"]) == (2, None)
    assert found["pop or bang"]["at"] == "2026-05-12T09:55:00"
    assert _one(log, "SELECT technique FROM cut")["technique"] == "hurried start; contact lost"
    assert "a count is 1 to 99" in _refused(log, tmp_path, cut(dive="15", defects="rod stuck x100"))


def test_dive_cells_stand_once(log: Log, tmp_path: Path) -> None:
    """A dive's cells need stand only once, on any row; two values that differ are refused with both."""
    take(log, tmp_path, cut(visibility="by feel"), cut(crew="NIGHT", depth="45 fsw", visibility="none"))
    row = _one(log, "SELECT visibility, crew, depth_msw FROM dive")
    assert row == {"visibility": "by feel", "crew": "NIGHT", "depth_msw": pytest.approx(13.789, abs=1e-3)}
    message = _refused(log, tmp_path, cut(dive="15", depth="45 fsw"), cut(dive="15", depth="46 fsw", diver="D4"))
    assert "dive 15 has '45 fsw' in row 2 and '46 fsw' here" in message
    assert "'D3' in row 2 and 'D4' here" in message


def test_masters_are_made_with_what_the_rows_say(log: Log, tmp_path: Path) -> None:
    """Missing masters are made with exactly what the rows say; a cut without a line gets one of its own."""
    report = take(
        log,
        tmp_path,
        cut(line="L1", section="HP14x117", thickness="20 mm", rod_type="EX", rig="R1", bank="B1", tender="T1"),
        cut(line="L1", material="carbon steel", family="exothermic", rod_type="EX", planned_length="~1 m"),
        cut(),
    )
    assert report.masters == {
        "job": ("PIER7",),
        "person": ("D3", "T1"),
        "rig": ("R1",),
        "bank": ("B1",),
        "rod_type": ("EX",),
    }
    line = _one(log, "SELECT * FROM line WHERE code = 'L1'")
    assert (line["section"], line["material"], line["thickness_mm"]) == ("HP14x117", "carbon steel", 20)
    assert (line["planned_length_mm"], line["length_basis"], line["thickness_basis"]) == (1000, "estimated", None)
    assert _one(log, "SELECT family, length_mm FROM rod_type") == {"family": "exothermic", "length_mm": None}
    assert log.one("line", code="unnamed-14.3") is not None
    assert any("1 cuts name no line" in note for note in report.notes)


def test_a_job_is_made_with_what_its_first_dive_says(log: Log, tmp_path: Path) -> None:
    """One later dive of another class, or the only one to name a water, says nothing of the job."""
    take(
        log,
        tmp_path,
        cut(record_class="production"),
        cut(dive="15", record_class="training", setting="test tank", water="fresh"),
        cut(job="B", record_class="trial", water="salt"),
        cut(job="B", dive="15"),
    )
    rows = {row["code"]: (row["record_class"], row["water"]) for row in log.rows("SELECT * FROM job")}
    assert rows == {"PIER7": (None, None), "B": ("trial", "salt")}


def test_masters_are_not_contradicted(log: Log, tmp_path: Path) -> None:
    """What contradicts a line or rod type, in the file or in the log, is refused; thickness stays on the cut."""
    first = cut(line="L1", planned_length="1 m", rod_type="EX", family="exothermic", thickness="20 mm")
    message = _refused(log, tmp_path, first, cut(line="L1", planned_length="2 m", rod_type="EX", family="tubular"))
    assert "'2 m' here and '1 m' in row 2 for line L1" in message
    assert "for rod type EX" in message
    take(log, tmp_path, first, cut(line="L1", planned_length="1000.3 mm", thickness="12 mm"))
    assert [row["thickness_mm"] for row in log.rows("SELECT thickness_mm FROM cut ORDER BY row")] == [20, 12]
    message = _refused(
        log, tmp_path, cut(dive="15", line="L1", planned_length="2 m", rod_type="EX", family="tubular")
    )
    assert "line L1 has 1 m in the log" in message
    assert "rod type EX has 'exothermic' in the log" in message


def test_blanks_of_the_log_are_filled_through_the_trail(log: Log, tmp_path: Path) -> None:
    """What a later file says of a line the log knows nothing of is kept, and the trail names the file."""
    take(log, tmp_path, cut(line="L1"))
    report = take(log, tmp_path, cut(dive="15", line="L1", planned_length="3 ft", new_length="all"), name="day2.csv")
    assert report.filled == 1
    assert _one(log, "SELECT planned_length_mm AS mm FROM line")["mm"] == pytest.approx(914.4)
    trail = log.rows("SELECT field, why, by FROM amendment ORDER BY no")
    assert {row["field"] for row in trail} == {"planned_length_mm", "as_typed"}
    assert all("day2.csv" in row["why"] and row["by"] == "tester" for row in trail)


def test_rows_default_to_the_files_order(log: Log, tmp_path: Path) -> None:
    """Blank rows count on from the row above; dives mixed in one file are sorted out; a row twice is refused."""
    take(log, tmp_path, cut(), cut(dive="15"), cut(row="7"), cut(dive="15", row="3"), cut())
    rows = log.rows("SELECT d.dive_no, c.row FROM cut c JOIN dive d ON d.id = c.dive_id ORDER BY 1, 2")
    assert [(row["dive_no"], row["row"]) for row in rows] == [(14, 1), (14, 7), (14, 8), (15, 1), (15, 3)]
    assert "stands in row 2 of the file already" in _refused(
        log, tmp_path, cut(dive="16", row="2"), cut(dive="16", row="2")
    )


def test_R37_one_cut_typed_twice(log: Log, tmp_path: Path) -> None:
    """The same line and clock twice, or one row of one paper sheet under two dives, is refused in file and log."""
    times = {"line": "L1", "start": "0942", "stop": "1003"}
    assert "typed twice?" in _refused(log, tmp_path, cut(**times), cut(**times))
    take(log, tmp_path, cut(row="1", sheet="S-1", **times))
    assert "typed twice?" in _refused(log, tmp_path, cut(row="2", **times))
    assert "row 1 of sheet S-1 is dive 14's" in _refused(log, tmp_path, cut(dive="15", row="1", sheet="S-1"))
    assert "is dive 20's" in _refused(
        log, tmp_path, cut(dive="20", row="4", sheet="S-2"), cut(dive="21", row="4", sheet="S-2")
    )
    assert counts(log)["cut"] == 1


def test_R37_the_same_cut_from_another_file(log: Log, tmp_path: Path) -> None:
    """A cut that is there is skipped when it says the same in other words, and shown with both when it does not."""
    first = cut(line="L1", thickness="1/2 in", rods="7", rod_type="EX", defects="rod stuck x2", start="0942", lot="A")
    take(log, tmp_path, first)
    again = {**first, "thickness": "12.7 mm", "start": "09:42"}
    report = take(log, tmp_path, again, cut(line="L2", row="2"), name="grown.csv")
    assert (report.skipped, report.added["cut"]) == (1, 1)
    before = counts(log)
    for change, words in (
        ({"rods": "8"}, "rods: the log has 7, the file 8"),
        ({"rods": "~7"}, "rods: the log has 7, the file about 7"),
        ({"thickness": "1 in"}, "thickness: the log has 12.7 mm, the file 25.4 mm"),
        ({"line": "L9"}, "line: the log has L1, the file L9"),
        ({"defects": "rod stuck"}, "what happened"),
        ({"remark": "new"}, "remark: the log has nothing, the file 'new'"),
        ({"lot": "B"}, "lot: the log has A, the file B"),
        ({"crew": "DAY"}, "is in the log with nothing, and this says 'DAY'"),
        ({"diver": "D9"}, "is in the log with 'D3'"),
    ):
        with pytest.raises(ConflictError, match=r"nothing written") as caught:
            take(log, tmp_path, {**first, **change}, cut(dive="99"), name="other.csv")
        assert words in str(caught.value)
        assert caught.value.exit_code == 4
        assert counts(log) == before


def test_R37_counts_over_a_dive_are_compared(log: Log, tmp_path: Path) -> None:
    """A count over a dive or of the box that is there already must say the same."""
    rows = [cut(line="L1", rod_type="EX", rods="12", rods_scope="dive", issued="20"), cut(line="L2", rod_type="EX")]
    take(log, tmp_path, *rows)
    assert take(log, tmp_path, *rows, cut(line="L3", rod_type="EX"), name="b.csv").skipped == 2
    assert counts(log)["tally"] == 1
    with pytest.raises(ConflictError, match="rods: the log has 12, the file 13"):
        take(log, tmp_path, {**rows[0], "rods": "13"}, name="c.csv")


def test_voided_rows_are_not_brought_back(log: Log, tmp_path: Path) -> None:
    """A row that stands voided is skipped, and said; with other content it comes in as a row of its own."""
    take(log, tmp_path, cut(line="L1", thickness="12 mm"), cut(line="L2"))
    with log.transaction(why="typed under the wrong dive"):
        log.connection.execute("UPDATE cut SET voided_at = '2026-05-13' WHERE row = 1")
    report = take(log, tmp_path, cut(line="L1", thickness="12 mm"), cut(line="L2"), cut(line="L5"), name="b.csv")
    assert (report.skipped, report.added["cut"]) == (2, 1)
    assert any("voided" in note for note in report.notes)
    take(log, tmp_path, cut(line="L1", thickness="13 mm"), name="c.csv")
    assert len(log.rows("SELECT id FROM cut WHERE row = 1")) == 2


def test_R70_training_needs_a_setting(log: Log, tmp_path: Path) -> None:
    """Training without a setting is refused, whether the row or the job says training."""
    assert "training and has no setting" in _refused(log, tmp_path, cut(record_class="training"))
    take(log, tmp_path, cut(record_class="training", setting="test tank"))
    assert "training and has no setting" in _refused(log, tmp_path, cut(dive="15"))


def test_R72_made_up_rows_stay_in_made_up_logs(log: Log, tmp_path: Path) -> None:
    """Invented rows are refused by a real log, real ones by an invented log, and the job carries the mark."""
    assert "is made up" in _refused(log, tmp_path, cut(made_up="yes"))
    invented = new_log(tmp_path, "invented.db", made_up=True)
    assert "not marked as made up" in _refused(invented, tmp_path, cut(made_up="yes"), cut(dive="15", made_up=""))
    assert "no column made_up" in _refused(invented, tmp_path, cut())
    take(invented, tmp_path, cut(made_up="yes"))
    assert _one(invented, "SELECT made_up FROM job")["made_up"] == 1
    take(log, tmp_path, cut(made_up="no"))
    assert _one(log, "SELECT made_up FROM job")["made_up"] == 0
    reading = {"job": "PIER7", "dive": "14", "static": "90 psi", "made_up": "yes"}
    assert "is made up" in _refused(log, tmp_path, reading)


def test_dry_run_reads_everything_and_writes_nothing(log: Log, tmp_path: Path) -> None:
    """A dry run reports what would be added, leaves the log as it is, and refuses what an import would."""
    before = counts(log)
    report = take(log, tmp_path, *_twelve(), dry_run=True)
    assert report.dry_run
    assert report.added["cut"] == 12
    assert counts(log) == before
    assert "'12'" in _refused(log, tmp_path, cut(thickness="12"), dry_run=True)


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


def test_values_outside_their_range_are_refused(log: Log, tmp_path: Path) -> None:
    """A value no measurement can have is refused by its cell, with the range in words."""
    message = _refused(
        log, tmp_path, cut(thickness="500 mm", depth="1500 fsw", set_amps="9000", row="2000", restarts="300")
    )
    assert "'500 mm' is outside 1 mm to 300 mm" in message
    for column in ("depth", "set_amps", "row", "restarts"):
        assert f"column {column}" in message


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
    assert "none of the columns is known" in _refused(log, tmp_path, {"foo": "1", "bar": "2"})


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


def test_known_rows_are_found_by_index(log: Log, tmp_path: Path) -> None:
    """No query that runs once a dive reads through a whole table."""
    rows = [cut(dive=str(n), line=f"L{n}", rods="7", defects="rod stuck", start="0942") for n in range(1, 30)]
    take(log, tmp_path, *rows)
    seen: Counter[str] = Counter()
    log.connection.set_trace_callback(lambda text: seen.update([re.sub(r"'[^']*'", "'x'", text)]))
    assert take(log, tmp_path, *rows, cut(dive="99"), name="b.csv").skipped == 29
    log.connection.set_trace_callback(None)
    often = [text for text, times in seen.items() if times > 5 and text.startswith("SELECT")]
    assert len(often) >= 4
    for text in often:
        plan = [row["detail"] for row in log.rows(f"EXPLAIN QUERY PLAN {text}")]
        assert not [step for step in plan if step.startswith("SCAN") and "rod_type" not in step], (text, plan)


_NAMES = [column.name for column in COLUMNS]
_GOOD = {
    **paper.NEEDED,
    "line": "L1",
    "thickness": "5/8 in",
    "planned_length": "2 ft",
    "new_length": "half",
    "rods": "7 + 6in",
    "rod_type": "EX",
    "start": "0942",
    "stop": "1003",
    "stoppages": "crane 5min",
    "rods_scope": "dive",
    "depth": "45 fsw",
    "position": "flat",
    "issued": "20",
}
_ODD = st.one_of(
    st.sampled_from(
        ["", "-", "?", "na", "0", "-1", "12", "1e9", "~", "9999999999999999999", "yes", "all", "dive", "'=1"]
    ),
    st.sampled_from(
        ["12 mm", "0:45", "2 ft", "45 ft", "; ;", "x2", "2026-13-01", "training", "re-burn", "dry practice"]
    ),
    st.text(max_size=12),
)


@settings(derandomize=True, max_examples=120, deadline=None)
@given(data=st.data())
def test_mangled_sheets_are_taken_whole_or_refused(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    """Whatever stands in the cells: an import of every row, or an error of ours and not one row written."""
    folder = tmp_path_factory.mktemp("mangled")
    rows = []
    for number in range(data.draw(st.integers(1, 4))):
        row = {**_GOOD, "line": f"L{number}", "rods": "" if number else "7 + 6in", "issued": "" if number else "20"}
        for name in data.draw(st.lists(st.sampled_from(_NAMES), max_size=3)):
            row[name] = data.draw(_ODD)
        rows.append(row)
    log = new_log(folder)
    before = counts(log)
    taken = 0
    try:
        taken = take(log, folder, *rows).added.get("cut", 0)
    except BurnlogError:
        assert counts(log) == before
    assert counts(log)["cut"] == taken
    assert taken in (0, len(rows))


@settings(derandomize=True, max_examples=60, deadline=None)
@given(place=st.floats(0, 1), junk=st.binary(min_size=1, max_size=6), cut_off=st.booleans())
def test_mangled_bytes_are_taken_whole_or_refused(
    tmp_path_factory: pytest.TempPathFactory, place: float, junk: bytes, cut_off: bool
) -> None:
    """Bytes put into, or cut out of, a sheet anywhere: rows in the log, or an error of ours and none."""
    folder = tmp_path_factory.mktemp("bytes")
    path = write(
        folder / "s.csv", [cut(line=f"L{n}", dive=str(n), rods="7", remark='6" stub, "hot"') for n in range(1, 9)]
    )
    content = path.read_bytes()
    at = int(place * len(content))
    path.write_bytes(content[:at] + junk + content[at + (40 if cut_off else 0) :])
    log = new_log(folder)
    before = counts(log)
    try:
        import_file(log, path)
    except BurnlogError:
        assert counts(log) == before
