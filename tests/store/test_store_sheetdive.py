"""What the rows of one dive come to mean, and everything in them that is refused."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest
from paper import counts, cut, new_log, one, refused, take

from burnlog.store.frames import load_frames
from burnlog.store.log import Log
from burnlog.store.sheetexport import SheetExport


@pytest.fixture
def log(tmp_path: Path) -> Log:
    return new_log(tmp_path)


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
    assert "Leave it blank if nobody counted" in refused(log, tmp_path, cut(line="L1", rods="0", new_length="2 ft"))
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
        assert "column rods" in refused(log, tmp_path, cut(dive="15", rods=text))


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
    assert words in refused(log, tmp_path, first, cut(line="L2", rod_type="A", **second))


def test_R07_a_row_without_rod_type_beside_two_counts(log: Log, tmp_path: Path) -> None:
    """A row that names no rod type joins the dive's single count, and is asked where there are two."""
    first = cut(line="L1", rod_type="A", rods="12", rods_scope="dive")
    other = cut(line="L2", rod_type="B", rods="5", rods_scope="dive")
    assert "write the rod type it used" in refused(log, tmp_path, first, other, cut(line="L3"))
    take(log, tmp_path, first, cut(line="L3"))
    assert counts(log)["tally"] == 1


def test_R09_only_a_first_pass_makes_new_length(log: Log, tmp_path: Path) -> None:
    """A re-burn, hanger, pierce or trial pass with new length is refused; with none, or nought, it stands."""
    for word in ("re-burn", "hanger", "pierce", "trial"):
        message = refused(log, tmp_path, cut(line="L1", pass_=word, new_length="2 ft"))
        assert "severed once" in message
        assert "column new_length" in message
    take(log, tmp_path, cut(line="L1", pass_="re-burn", new_length="0"), cut(line="L1", pass_="hanger"))
    assert [row["new_length_mm"] for row in log.rows("SELECT new_length_mm FROM cut ORDER BY row")] == [0, None]


def test_R09_length_beyond_the_plan(log: Log, tmp_path: Path) -> None:
    """102 % of the plan is tape error; 103 % is refused over all dives and files, unless the line has a reason."""
    first = cut(line="L1", planned_length="1 m", new_length="600 mm")
    take(log, tmp_path, first)
    assert "(103 %)" in refused(log, tmp_path, cut(dive="15", line="L1", new_length="430 mm"))
    take(log, tmp_path, cut(dive="15", line="L1", new_length="420 mm"))
    assert "(130 %)" in refused(
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
    assert "of what?" in refused(log, tmp_path, cut(dive="16", line="L9", new_length="all"))


def test_R18_two_readings_are_refused_in_files(log: Log, tmp_path: Path) -> None:
    """What has two readings, or none, is refused by cell, all of it at once."""
    texts = ("12", "nan", "inf", "1_000", "1e3", "5/0", "5/", "3-4", "-5 mm", "1,250 mm")
    message = refused(log, tmp_path, *[cut(line=f"L{n}", thickness=text) for n, text in enumerate(texts)])
    for number, text in enumerate(texts, start=2):
        assert f"row {number}, column thickness: '{text}'" in message
    assert "'0:45'" in refused(log, tmp_path, cut(elapsed="0:45"))


def test_R18_words_are_closed_lists(log: Log, tmp_path: Path) -> None:
    """An unknown word is refused with the nearest, a prefix of two with both; a unique prefix and other: stand."""
    message = refused(log, tmp_path, cut(position="ver", edge="smoth", events="popp"))
    assert "vertical down" in message
    assert "vertical up" in message
    assert "nearest" in message
    take(log, tmp_path, cut(position="over", fouling="other: tar"))
    assert one(log, "SELECT position, fouling FROM cut") == {"position": "overhead", "fouling": "other: tar"}


def test_R19_the_typed_text_survives(log: Log, tmp_path: Path) -> None:
    """Canonical value and typed text are both kept."""
    take(log, tmp_path, cut(line="L1", thickness="5/8", planned_length="1'6\"", new_length="1ft6", start="0942"))
    row = one(log, "SELECT thickness_mm, new_length_mm, start_at, as_typed FROM cut")
    assert (row["thickness_mm"], row["new_length_mm"]) == (15.875, pytest.approx(457.2))
    assert row["start_at"] == "2026-05-12T09:42:00"
    typed = json.loads(str(row["as_typed"]))
    assert typed["thickness_mm"][0] == "5/8"
    assert typed["new_length_mm"][0] == "1ft6"
    assert json.loads(str(one(log, "SELECT as_typed FROM line")["as_typed"]))["planned_length_mm"][0] == "1'6\""


def test_R20_depth_needs_its_water(log: Log, tmp_path: Path) -> None:
    """`45 ft` needs the job's water, from this file or the log; a dry practice has no depth."""
    assert "which water" in refused(log, tmp_path, cut(depth="45 ft"))
    take(log, tmp_path, cut(depth="45 ft", water="fresh"))
    take(log, tmp_path, cut(dive="15", depth="45 ft"), name="b.csv")
    depths = [row["depth_msw"] for row in log.rows("SELECT depth_msw FROM dive")]
    assert depths == [pytest.approx(13.45, abs=0.005)] * 2  # 45 ft of fresh water, 1000 kg/m3: 13.450 msw
    dry = cut(job="DECK", setting="dry practice", depth="4 m", water="fresh")
    assert "dry practice has no depth" in refused(log, tmp_path, dry)


def test_R21_flowing_above_static_is_asked(log: Log, tmp_path: Path) -> None:
    """A flowing reading more than 5 % above the static one is refused with both texts."""
    message = refused(log, tmp_path, cut(regulator_static="90 psi", regulator_flowing="95 psi"))
    assert "static reading (90 psi)" in message
    take(log, tmp_path, cut(regulator_static="90 psi", regulator_flowing="94 psi"))


def test_R27_more_back_than_out(log: Log, tmp_path: Path) -> None:
    """More rods back than went out is refused."""
    assert "more rods came back (41) than went out (40)" in refused(log, tmp_path, cut(issued="40", returned="41"))


def test_R28_stubs_are_kept(log: Log, tmp_path: Path) -> None:
    """Stubs are kept as typed; without a planned stub that is said, and a stub longer than the rod is refused."""
    report = take(log, tmp_path, cut(line="L1", rod_type="EX", rod_length="18 in", rods="7 + 6in,9in"))
    assert [row["stub_mm"] for row in log.rows("SELECT stub_mm FROM rod_part ORDER BY seq")] == pytest.approx(
        [152.4, 228.6]
    )
    assert one(log, "SELECT rods FROM tally")["rods"] == 7
    assert any("no rod equivalents" in note for note in report.notes)
    assert "longer than the rod" in refused(log, tmp_path, cut(dive="15", rod_type="EX", rods="7 + 19in"))
    assert "has no unit" in refused(log, tmp_path, cut(dive="15", rod_type="EX", rods="7 + 6"))


def test_R30_burn_and_hot_time_are_two_fields(log: Log, tmp_path: Path) -> None:
    """Neither is filled from the other, in the log, the frames or an export; set and delivered amps likewise."""
    take(log, tmp_path, cut(burn_time="0:45", set_amps="200"), cut(hot_time="30s", delivered_amps="165 A"))
    rows = log.rows("SELECT burn_s, hot_s, set_a, delivered_a FROM cut ORDER BY row")
    assert [tuple(row.values()) for row in rows] == [(45, None, 200, None), (None, 30, None, 165)]
    cuts = load_frames(log).cuts[["burn_s", "hot_s", "set_a", "delivered_a"]]
    assert [[None if math.isnan(value) else value for value in row] for row in cuts.to_numpy()] == [
        [45, None, 200, None],
        [None, 30, None, 165],
    ]
    exported = [
        (row["burn_time"], row["hot_time"], row["set_amps"], row["delivered_amps"])
        for row in SheetExport(log).rows("PIER7")
    ]
    assert exported == [("0:45", "", "200", ""), ("", "30s", "", "165 A")]


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
    assert "4 hours or more" in refused(log, tmp_path, cut(dive="16", start="1003", stop="0942"))
    assert "same as the start" in refused(log, tmp_path, cut(dive="16", start="1003", stop="1003"))


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
    assert one(log, "SELECT technique FROM cut")["technique"] == "hurried start; contact lost"
    assert "a count is 1 to 99" in refused(log, tmp_path, cut(dive="15", defects="rod stuck x100"))


def test_dive_cells_stand_once(log: Log, tmp_path: Path) -> None:
    """A dive's cells need stand only once, on any row; two values that differ are refused with both."""
    take(log, tmp_path, cut(visibility="by feel"), cut(crew="NIGHT", depth="45 fsw", visibility="none"))
    row = one(log, "SELECT visibility, crew, depth_msw FROM dive")
    assert row == {"visibility": "by feel", "crew": "NIGHT", "depth_msw": pytest.approx(13.789, abs=1e-3)}
    message = refused(log, tmp_path, cut(dive="15", depth="45 fsw"), cut(dive="15", depth="46 fsw", diver="D4"))
    assert "dive 15 has '45 fsw' in row 2 and '46 fsw' here" in message
    assert "'D3' in row 2 and 'D4' here" in message


def test_rows_default_to_the_files_order(log: Log, tmp_path: Path) -> None:
    """Blank rows count on from the row above; dives mixed in one file are sorted out; a row twice is refused."""
    take(log, tmp_path, cut(), cut(dive="15"), cut(row="7"), cut(dive="15", row="3"), cut())
    rows = log.rows("SELECT d.dive_no, c.row FROM cut c JOIN dive d ON d.id = c.dive_id ORDER BY 1, 2")
    assert [(row["dive_no"], row["row"]) for row in rows] == [(14, 1), (14, 7), (14, 8), (15, 1), (15, 3)]
    assert "stands in row 2 of the file already" in refused(
        log, tmp_path, cut(dive="16", row="2"), cut(dive="16", row="2")
    )


def test_R70_training_needs_a_setting(log: Log, tmp_path: Path) -> None:
    """Training without a setting is refused, whether the row or the job says training."""
    assert "training and has no setting" in refused(log, tmp_path, cut(record_class="training"))
    take(log, tmp_path, cut(record_class="training", setting="test tank"))
    assert "training and has no setting" in refused(log, tmp_path, cut(dive="15"))


def test_values_outside_their_range_are_refused(log: Log, tmp_path: Path) -> None:
    """A value no measurement can have is refused by its cell, with the range in words."""
    message = refused(
        log, tmp_path, cut(thickness="500 mm", depth="1500 fsw", set_amps="9000", row="2000", restarts="300")
    )
    assert "'500 mm' is outside 1 mm to 300 mm" in message
    for column in ("depth", "set_amps", "row", "restarts"):
        assert f"column {column}" in message


@pytest.mark.parametrize("text", ["-", "?", "nr", "NR"])
def test_a_blank_mark_is_no_code_whatever_its_case(log: Log, text: str, tmp_path: Path) -> None:
    """`NR` for a tender is nobody, and makes no person of that name."""
    take(log, tmp_path, cut(line="L1", tender=text, new_length="2 ft"))
    assert log.rows("SELECT code FROM person") == [{"code": "D3"}]
