"""The record as frames: what comes out of what was written."""

from __future__ import annotations

import math
import shutil
from dataclasses import fields
from pathlib import Path

import pandas as pd
import pytest
from scribe import Scribe, clock

from burnlog.columns import GLOSSARY, Frames
from burnlog.store.frames import load_frames
from burnlog.store.log import Log


def test_an_empty_log_gives_empty_frames_of_the_right_kinds(log: Log) -> None:
    """Every frame has every column of its glossary entry, in order, and no row."""
    frames = load_frames(log)
    for field in fields(Frames):
        frame = getattr(frames, field.name)
        assert list(frame.columns) == [column.name for column in GLOSSARY[field.name]]
        assert len(frame) == 0


def _row(frame: pd.DataFrame, **where: object) -> dict[str, object]:
    found = frame
    for name, value in where.items():
        found = found[found[name] == value]
    assert len(found) == 1
    return dict(found.iloc[0])


def test_a_cut_carries_what_it_belongs_to(scribe: Scribe) -> None:
    """Dive, line and rod type are joined in; lengths are metres; blanks are missing."""
    scribe.dive(
        15, depth_msw=13.789, visibility="by feel", crew="NIGHT", rig_id=scribe.log.insert("rig", {"code": "RIG2"})
    )
    scribe.cut(
        15,
        2,
        "L15",
        new_length_mm=457.2,
        typed={"new_length_mm": ("~18 in", "estimated")},
        start_at="2026-05-12T09:42:00",
        stop_at="2026-05-12T10:03:00",
    )
    cut = _row(load_frames(scribe.log).cuts, cut_ref="PIER7 15.2")
    expected = {
        "cut_no": 1,
        "job": "PIER7",
        "dive_ref": "PIER7 15",
        "dive_no": 15,
        "row": 2,
        "line_ref": "PIER7 L15",
        "diver": "D3",
        "crew": "NIGHT",
        "rig": "RIG2",
        "depth_msw": 13.789,
        "visibility": "by feel",
        "setting": "open water",
        "record_class": "production",
        "material": "carbon steel",
        "thickness_mm": 12.7,
        "planned_length_m": 0.6,
        "rod_type": "EXO",
        "family": "exothermic",
        "new_length_m": 0.4572,
        "new_length_basis": "estimated",
        "start_at": pd.Timestamp("2026-05-12 09:42"),
        "elapsed_s": 1260.0,
        "stoppage_s": 0.0,
        "made_up": False,
    }
    assert {name: cut[name] for name in expected} == expected
    for blank in ("burn_s", "hot_s", "restarts", "hangers", "set_a", "static_kpa", "edge", "position", "bank"):
        assert pd.isna(cut[blank]), blank


def test_R03_zero_and_blank_stay_apart_in_frames(scribe: Scribe) -> None:
    """0 hangers is 0, blank hangers is missing; the same for rods."""
    scribe.tally(14, 0.0, scribe.cut(14, 1, "L14", hangers=0))
    scribe.tally(14, None, scribe.cut(14, 2, "L14"))
    frames = load_frames(scribe.log)
    assert frames.cuts["hangers"].iloc[0] == 0
    assert math.isnan(frames.cuts["hangers"].iloc[1])
    assert list(frames.tallies["rods"].isna()) == [False, True]
    assert list(frames.tallies["rods_basis"]) == ["measured", "not recorded"]


def test_thickness_is_the_cuts_own_else_its_lines(scribe: Scribe) -> None:
    """The row's thickness stands before the line's; a line of segments has their length-weighted mean."""
    line = scribe.line("H1", 1000.0)
    for seq, (length, thickness) in enumerate([(300.0, 20.0), (100.0, 40.0)], 1):
        scribe.log.insert("segment", {"line_id": line, "seq": seq, "length_mm": length, "thickness_mm": thickness})
    scribe.cut(14, 1, "L15", thickness_mm=10.0)
    scribe.cut(14, 2, "L15")
    scribe.cut(14, 3, "H1")
    scribe.cut(14, 4, "L14")
    frames = load_frames(scribe.log)
    assert list(frames.cuts["thickness_mm"])[:3] == [10.0, 12.7, 25.0]
    assert math.isnan(frames.cuts["thickness_mm"].iloc[3])
    assert _row(frames.lines, line="H1")["thickness_mm"] == 25.0


def test_stoppages_are_summed_from_those_inside_the_cut(scribe: Scribe) -> None:
    """Two stoppages of a cut add up; those of the dive, defects, and voided ones do not count."""
    cut = scribe.cut(14, 1, "L14", elapsed_s=600.0)
    dive = scribe.log.find("dive", "PIER7 14")["id"]
    base = {"job_id": scribe.job_id, "dive_id": dive}
    for seconds, cut_id in ((120.0, cut), (60.0, cut), (999.0, None)):
        scribe.log.insert(
            "happening",
            {**base, "cut_id": cut_id, "kind": "stoppage", "word": "crane or rigging", "seconds": seconds},
        )
    scribe.log.insert("happening", {**base, "cut_id": cut, "kind": "defect", "word": "rod stuck", "count": 2})
    scribe.log.insert(
        "happening",
        {**base, "cut_id": cut, "kind": "stoppage", "word": "power", "seconds": 5.0},
        id="wrong",
    )
    scribe.log.connection.execute("UPDATE happening SET voided_at = '2026-05-12' WHERE id = 'wrong'")
    frames = load_frames(scribe.log)
    assert list(frames.cuts["stoppage_s"]) == [180.0]
    assert list(frames.cuts["elapsed_s"]) == [600.0]
    assert sorted(frames.happenings["word"]) == ["crane or rigging"] * 3 + ["rod stuck"]
    assert set(frames.happenings["happened_on"]) == {pd.Timestamp("2026-05-12")}


def test_elapsed_as_typed_stands_before_the_clocks(scribe: Scribe) -> None:
    """Typed elapsed time wins; without it the clocks give it, over midnight too."""
    clocks = {"start_at": "2026-05-12T23:50:00", "stop_at": "2026-05-13T00:20:00"}
    scribe.cut(14, 1, "L14", elapsed_s=1500.0, **clocks)
    scribe.cut(14, 2, "L14", **clocks)
    assert list(load_frames(scribe.log).cuts["elapsed_s"]) == [1500.0, 1800.0]


def test_R07_a_dives_count_covers_its_cuts_of_that_rod_type(scribe: Scribe) -> None:
    """Cuts typed later, too; not those of another rod type, of another dive, or voided ones."""
    other = scribe.log.insert("rod_type", {"code": "TUB", "family": "tubular"})
    scribe.dive(15)
    mine = [scribe.cut(14, 1, "L14")]
    tally = scribe.tally(14, 12.0, mine[0], scope="dive")
    mine.append(scribe.cut(14, 2, "L14"))
    mine.append(scribe.cut(14, 5, "L14", rod_type_id=None))
    scribe.cut(14, 3, "L14", rod_type_id=other)
    scribe.cut(14, 4, "L14")
    scribe.cut(15, 1, "L14")
    scribe.log.void("cut", "PIER7 14.4", why="typed twice", by="JM")
    frames = load_frames(scribe.log)
    assert set(frames.tally_cuts["cut_id"]) == set(mine)
    assert set(frames.tally_cuts["tally_id"]) == {tally}
    second = scribe.tally(14, 5.0, scope="dive", rod_type_id=other, lot="b")
    links = load_frames(scribe.log).tally_cuts
    assert set(links[links["tally_id"] == second]["cut_id"]) == {scribe.log.find("cut", "PIER7 14.3")["id"]}
    assert mine[2] not in set(links["cut_id"]), "with two counts in the dive nobody knows whose this cut is"


def test_R07_a_days_count_covers_the_days_cuts(scribe: Scribe) -> None:
    """Every cut of the job on that day with the rod type, in whatever dive."""
    scribe.dive(15)
    scribe.dive(16, dive_date="2026-05-13")
    cuts = [scribe.cut(14, 1, "L14"), scribe.cut(15, 1, "L14")]
    scribe.cut(16, 1, "L14")
    scribe.tally(14, 30.0, scope="day", dive_id=None, day="2026-05-12")
    frames = load_frames(scribe.log)
    assert set(frames.tally_cuts["cut_id"]) == set(cuts)
    tally = _row(frames.tallies, scope="day")
    assert pd.isna(tally["dive_ref"])
    assert tally["day"] == pd.Timestamp("2026-05-12")


def test_R07_overlapping_counts_are_kept_and_reported(scribe: Scribe) -> None:
    """A cut in two counts of one rod type is in the view of overlaps; a blank count overlaps nothing."""
    first, second = scribe.cut(14, 1, "L14"), scribe.cut(14, 2, "L14")
    narrow = scribe.tally(14, 7.0, first)
    scribe.tally(14, None, second)
    wide = scribe.tally(14, 12.0, scope="dive")
    found = scribe.log.rows("SELECT * FROM overlap")
    assert [(row["cut_id"], {row["first_tally"], row["second_tally"]}) for row in found] == [(first, {narrow, wide})]
    assert len(load_frames(scribe.log).tallies) == 3


def test_a_tally_without_a_rod_type_has_the_family_its_cuts_agree_on(scribe: Scribe) -> None:
    """One family among the cuts is the tally's; two are none."""
    for row, family in ((1, "tubular"), (2, "tubular"), (3, "exothermic")):
        scribe.cut(14, row, "L14", rod_type_id=None, family=family)
    ids = [scribe.log.find("cut", f"PIER7 14.{row}")["id"] for row in (1, 2, 3)]
    scribe.tally(14, 5.0, *ids[:2], scope="cuts", rod_type_id=None)
    scribe.tally(14, 5.0, *ids[1:], scope="cuts", rod_type_id=None)
    families = load_frames(scribe.log).tallies["family"]
    assert families.iloc[0] == "tubular"
    assert pd.isna(families.iloc[1])


def test_a_tally_whose_cuts_name_no_family_has_none(scribe: Scribe) -> None:
    """A count without a rod type over cuts without a family stays unknown beside one whose family is known."""
    known = scribe.cut(14, 1, "L14")
    blank = scribe.cut(14, 2, "L14", rod_type_id=None)
    scribe.tally(14, 3.0, known)
    scribe.tally(14, 5.0, blank, rod_type_id=None)
    assert list(load_frames(scribe.log).tallies["family"].isna()) == [False, True]


def test_R08_voided_rows_and_what_hangs_from_them_are_left_out(scribe: Scribe) -> None:
    """After voiding a dive nothing of it is in any frame."""
    scribe.tally(14, 7.0, scribe.cut(14, 1, "L14"), stubs_mm=(152.4,))
    scribe.log.insert(
        "reading",
        {"job_id": scribe.job_id, "dive_id": scribe.log.find("dive", "14")["id"], "static_kpa": 827.0},
    )
    before = load_frames(scribe.log)
    names = ("dives", "cuts", "tallies", "tally_cuts", "rod_parts", "readings")
    assert [len(getattr(before, name)) for name in names] == [1] * 6
    scribe.log.void("dive", "PIER7 14", why="another day's sheet", by="JM")
    after = load_frames(scribe.log)
    assert [len(getattr(after, name)) for name in names] == [0] * 6
    assert len(after.lines) == 2


@pytest.mark.parametrize(("typed", "psi"), [("100 psi", True), ("6.9 bar", False), (None, False)])
def test_a_reading_knows_whether_it_was_typed_in_psi(scribe: Scribe, typed: str | None, psi: bool) -> None:
    """The step of a gauge is judged in the unit it was read in."""
    scribe.log.insert(
        "reading",
        {"job_id": scribe.job_id, "flowing_kpa": 689.5},
        typed={"flowing_kpa": (typed, "measured")} if typed else None,
    )
    assert list(load_frames(scribe.log).readings["flowing_typed_psi"]) == [psi]


def test_rows_come_by_job_dive_and_row_whatever_order_they_were_typed_in(scribe: Scribe) -> None:
    """Frames do not depend on who typed first."""
    scribe.dive(9)
    for dive, row in ((14, 3), (9, 2), (14, 1), (9, 1)):
        scribe.tally(dive, 1.0, scribe.cut(dive, row, "L14"))
    frames = load_frames(scribe.log)
    assert list(frames.cuts["cut_ref"]) == ["PIER7 9.1", "PIER7 9.2", "PIER7 14.1", "PIER7 14.3"]
    refs = frames.tally_cuts.merge(frames.cuts, on="cut_id").set_index("tally_id")["cut_ref"]
    assert [refs[tally] for tally in frames.tallies["tally_id"]] == list(frames.cuts["cut_ref"])


def test_the_made_up_mark_is_on_every_row(tmp_path: Path) -> None:
    """A made-up log marks each row; in a real one only a job that says so is marked."""
    with Log.create(tmp_path / "m.db", now=clock, made_up=True) as log:
        made = Scribe(log)
        made.dive(1)
        made.line("L1")
        made.cut(1, 1, "L1")
        frames = load_frames(log)
        assert all(getattr(frames, name)["made_up"].all() for name in ("jobs", "dives", "lines", "cuts"))
    with Log.create(tmp_path / "r.db", now=clock) as log:
        log.insert("job", {"code": "CLASS", "made_up": 1})
        Scribe(log)
        assert dict(load_frames(log).jobs.set_index("job")["made_up"]) == {"CLASS": True, "PIER7": False}


def test_decisions_and_values_keep_who_and_where_from(scribe: Scribe) -> None:
    """A decision comes with reason, name and local time; a value with its source."""
    scribe.log.insert("flag_decision", {"rule": "rods", "target": "T61", "decision": "keep", "why": "a bad day"})
    scribe.log.insert(
        "sourced_value",
        {"kind": "rule", "name": "old hands", "value": 228.6, "unit": "mm per rod", "source": "yard manual 1998"},
    )
    frames = load_frames(scribe.log)
    decision = dict(frames.decisions.iloc[0])
    assert (decision["decided_by"], decision["decided_at"]) == ("JM", pd.Timestamp("2026-05-12 18:30"))
    assert dict(frames.sourced_values.iloc[0])["source"] == "yard manual 1998"


def test_frames_are_read_at_one_moment_and_without_writing(scribe: Scribe, tmp_path: Path) -> None:
    """Reading leaves the file's bytes as they are."""
    scribe.cut(14, 1, "L14")
    scribe.log.close()
    copy = tmp_path / "copy.db"
    shutil.copy(scribe.log.path, copy)
    before = copy.read_bytes()
    with Log.open(copy, now=clock, write=False) as log:
        assert len(load_frames(log).cuts) == 1
    assert copy.read_bytes() == before


def test_R37_reasons_and_purity_come_through(scribe: Scribe) -> None:
    """The reason for a true second cut, and the purity of a bank's oxygen, stand in the frames."""
    scribe.cut(14, 1, "L14")
    scribe.cut(14, 2, "L15", twice_why="two torches, one clock")
    scribe.log.insert("bank", {"code": "B1", "purity_pct": 99.2})
    frames = load_frames(scribe.log)
    assert frames.cuts["twice_why"].fillna("").tolist() == ["", "two torches, one clock"]
    assert frames.banks["purity_pct"].tolist() == [99.2]
