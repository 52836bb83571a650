"""Fixing, voiding, and what the trail says of it."""

from __future__ import annotations

import sqlite3
from contextlib import closing

import pytest
from scribe import Scribe

from burnlog.errors import InputError
from burnlog.store.lookup import refuse_twice


def test_R08_a_fix_keeps_old_and_new_who_and_why(scribe: Scribe) -> None:
    """After a fix the log holds the new value and the trail both, as typed too, with name, reason and time."""
    cut = scribe.cut(14, 1, "L14", thickness_mm=12.7, typed={"thickness_mm": ("1/2 in", "measured")})
    done = scribe.log.fix("cut", "1", {"thickness": "5/8", "remark": "gauged again"}, why="wrong line", by="JM")
    assert done.ref == "PIER7 14.1"
    row = scribe.log.one("cut", id=cut)
    assert row is not None
    assert (row["thickness_mm"], row["remark"]) == (15.875, "gauged again")
    assert row["as_typed"] == '{"thickness_mm": ["5/8", "measured"]}'
    found = {entry.field: entry for entry in scribe.log.trail("cut", "PIER7 14.1")}
    thickness = found["thickness_mm"]
    assert (thickness.old, thickness.new, thickness.old_typed, thickness.new_typed) == (12.7, 15.875, "1/2 in", "5/8")
    assert (thickness.by, thickness.why, thickness.kind, thickness.at) == (
        "JM",
        "wrong line",
        "fix",
        "2026-05-12T18:30:00-05:00",
    )
    assert (found["remark"].old, found["remark"].new) == (None, "gauged again")
    assert len(found) == 2


def test_R08_rods_typed_at_a_cut_go_to_its_own_count(scribe: Scribe) -> None:
    """`fix cut 118 rods=7` changes the tally of that cut, and the cut's trail shows both counts."""
    cut = scribe.cut(14, 1, "L14", new_length_mm=500.0)
    tally = scribe.tally(14, 8.0, cut)
    done = scribe.log.fix("cut", "PIER7 14.1", {"rods": "7"}, why="box counted twice", by="JM")
    assert (done.table, done.ref) == ("tally", "1")
    assert scribe.log.rows("SELECT rods, rods_basis FROM tally WHERE id = ?", (tally,)) == [
        {"rods": 7.0, "rods_basis": "measured"}
    ]
    assert [(entry.old, entry.new) for entry in scribe.log.trail("cut", "1") if entry.field == "rods"] == [(8.0, 7.0)]


@pytest.mark.parametrize(
    ("text", "rods", "basis", "stubs"),
    [
        ("7+", 7.0, "at least", []),
        ("~7", 7.0, "estimated", []),
        ("7 + 6in", 7.0, "measured", [152.4]),
        ("0 + 6in,9in", 0.0, "measured", [152.4, 228.6]),
        ("-", None, "not recorded", []),
        ("6.5", 6.5, "estimated", []),
    ],
)
def test_R04_counts_keep_their_basis_and_stubs(
    scribe: Scribe, text: str, rods: float | None, basis: str, stubs: list[float]
) -> None:
    """Estimated, at-least and blank counts, and stubs, are kept as such by a fix; old stubs stay as voided rows."""
    tally = scribe.tally(14, 3.0, scribe.cut(14, 1, "L14", new_length_mm=500.0), stubs_mm=(100.0,))
    scribe.log.fix("tally", "1", {"rods": text}, why="read again", by="JM")
    row = scribe.log.one("tally", id=tally)
    assert row is not None
    assert (row["rods"], row["rods_basis"]) == (rods, basis)
    parts = scribe.log.rows("SELECT stub_mm, voided_at FROM rod_part ORDER BY no")
    assert [part["stub_mm"] for part in parts if part["voided_at"] is None] == pytest.approx(stubs)
    assert [part["stub_mm"] for part in parts if part["voided_at"]] == [100.0]


@pytest.mark.parametrize("scope", ["dive", "cuts"])
def test_rods_of_a_wider_count_are_not_changed_at_a_cut(scribe: Scribe, scope: str) -> None:
    """Rods counted over several cuts are not a cut's to change: the message names the tally."""
    cuts = [scribe.cut(14, row, "L14") for row in (1, 2)]
    scribe.tally(14, 12.0, *(cuts if scope == "cuts" else []), scope=scope)
    with pytest.raises(InputError, match=rf"fix tally N.*1 \(over a {scope}\)"):
        scribe.log.fix("cut", "1", {"rods": "7"}, why="box counted twice", by="JM")


@pytest.mark.parametrize(
    ("why", "by", "words"),
    [
        (None, "JM", "needs a reason"),
        ("", "JM", "needs a reason"),
        ("  ", "JM", "needs a reason"),
        ("no", "JM", "3 to 300"),
        ("x" * 301, "JM", "3 to 300"),
        ("wrong line", None, "needs a name"),
        ("wrong line", " ", "needs a name"),
    ],
)
def test_R08_a_change_needs_a_reason_and_a_name(scribe: Scribe, why: str | None, by: str | None, words: str) -> None:
    """Neither fix nor void goes without both."""
    scribe.cut(14, 1, "L14")
    with pytest.raises(InputError, match=words):
        scribe.log.fix("cut", "1", {"remark": "x"}, why=why, by=by)
    with pytest.raises(InputError, match=words):
        scribe.log.void("cut", "1", why=why, by=by)
    assert scribe.log.rows("SELECT * FROM amendment") == []


@pytest.mark.parametrize(
    ("table", "field", "text", "words"),
    [
        ("cut", "thickness", "12", "^thickness: '12' has no unit"),
        ("cut", "thickness", "400 mm", "between 1 and 300"),
        ("cut", "edge", "splendid", "^edge: 'splendid' is no word"),
        ("cut", "depth", "45 fsw", "belongs to the dive"),
        ("cut", "planned_length", "2 ft", "belongs to the line"),
        ("cut", "thicknes", "5/8", "nearest are thickness"),
        ("cut", "row", "4", "known by"),
        ("cut", "line", "L99", "no line 'L99'"),
        ("cut", "remark", "x", "holds already"),
        ("cut", "stop", "0942", "does not come after"),
        ("cut", "stop", "1600", "4 hours or more"),
        ("cut", "new_length", "3 m", "over_length_why"),
        ("cut", "pass", "re-burn", "only a first pass"),
        ("dive", "diver", "D9", "no person 'D9'"),
        ("line", "planned_length", "40 cm", "over_length_why"),
        ("dive", "visibility", "1", "^visibility: '1' could be"),
    ],
)
def test_a_fix_that_does_not_fit_changes_nothing(
    scribe: Scribe, table: str, field: str, text: str, words: str
) -> None:
    """What cannot be read, stands elsewhere, or breaks a rule is refused in words, and the row stays as it is."""
    scribe.cut(
        14,
        1,
        "L14",
        remark="x",
        new_length_mm=500.0,
        start_at="2026-05-12T22:42:00" if text == "1600" else "2026-05-12T09:42:00",
    )
    ref = {"cut": "1", "dive": "PIER7 14", "line": "L14"}[table]
    before = scribe.log.rows("SELECT * FROM cut"), scribe.log.rows("SELECT * FROM dive")
    with pytest.raises(InputError, match=words):
        scribe.log.fix(table, ref, {field: text}, why="read again", by="JM")
    assert (scribe.log.rows("SELECT * FROM cut"), scribe.log.rows("SELECT * FROM dive")) == before
    assert scribe.log.rows("SELECT * FROM amendment") == []


@pytest.mark.parametrize(
    ("table", "field", "text", "column", "value"),
    [
        ("cut", "start", "0930", "start_at", "2026-05-12T09:30:00"),
        ("cut", "new_length", "all", "new_length_mm", 1076.2),
        ("cut", "new_length", "half", "new_length_mm", 538.1),
        ("cut", "technique", "contact lost; haste", "", None),
        ("cut", "technique", "contact l; hurried st", "technique", "contact lost; hurried start"),
        ("cut", "family", "tub", "family", "tubular"),
        ("cut", "hangers", "0", "hangers", 0),
        ("cut", "lean_deg", "30", "lean_deg", 30.0),
        ("dive", "depth", "45 ft", "depth_msw", 45 * 0.30643),
        ("dive", "bottom_time", "0:45", "bottom_time_s", 2700.0),
        ("line", "thickness", "~5/8", "thickness_mm", 15.875),
        ("line", "elevation_m", "+2 ft", "elevation_m", 0.6096),
        ("line", "access", "restr", "access", "restricted"),
    ],
)
def test_a_fix_reads_what_people_type(
    scribe: Scribe, table: str, field: str, text: str, column: str, value: object
) -> None:
    """Fields take trade notation, shares of the line, words and lists, by sheet name or column name."""
    scribe.cut(14, 1, "L14", start_at="2026-05-12T09:42:00", stop_at="2026-05-12T10:03:00")
    ref = {"cut": "1", "dive": "PIER7 14", "line": "L14"}[table]
    if not column:
        with pytest.raises(InputError, match="haste"):
            scribe.log.fix(table, ref, {field: text}, why="read again", by="JM")
        return
    scribe.log.fix(table, ref, {field: text}, why="read again", by="JM")
    assert scribe.log.find(table, ref)[column] == (pytest.approx(value) if isinstance(value, float) else value)


def test_a_thickness_that_is_guessed_says_so_on_the_line(scribe: Scribe) -> None:
    """The basis column of a line follows the mark that was typed."""
    scribe.log.fix("line", "L15", {"thickness": "~5/8"}, why="diver's word", by="JM")
    assert scribe.log.find("line", "L15")["thickness_basis"] == "estimated"


def test_clocks_pass_midnight_in_a_fix(scribe: Scribe) -> None:
    """A stop before the start is the next day's where that leaves under 4 hours."""
    scribe.cut(14, 1, "L14", start_at="2026-05-12T23:42:00")
    scribe.log.fix("cut", "1", {"stop": "0003"}, why="left out", by="JM")
    assert scribe.log.find("cut", "1")["stop_at"] == "2026-05-13T00:03:00"
    scribe.log.fix("cut", "1", {"stop": "0005"}, why="read again", by="JM")
    assert scribe.log.find("cut", "1")["stop_at"] == "2026-05-13T00:05:00"


def test_codes_stand_in_the_trail_for_people(scribe: Scribe) -> None:
    """A change of diver shows codes, not permanent ids."""
    scribe.log.insert("person", {"code": "D4"})
    scribe.log.fix("dive", "PIER7 14", {"diver": "D4"}, why="sheet misread", by="JM")
    (entry,) = scribe.log.trail("dive", "PIER7 14")
    assert (entry.field, entry.old, entry.new) == ("diver_id", "D3", "D4")


def test_R08_a_voided_row_cannot_be_fixed_or_voided_again(scribe: Scribe) -> None:
    """After void a row stays, marked, with who and why; nothing more is done to it."""
    cut = scribe.cut(14, 1, "L14")
    scribe.tally(14, 7.0, cut)
    gone = scribe.log.void("cut", "1", why="typed twice", by="JM")
    assert gone == {"cut": 1, "tally_cut": 1, "tally": 1}
    row = scribe.log.one("cut", id=cut)
    assert row is not None
    assert row["voided_at"] == "2026-05-12T18:30:00-05:00"
    assert {(entry.kind, entry.why, entry.by) for entry in scribe.log.trail("cut", "1")} == {
        ("void", "typed twice", "JM")
    }
    with pytest.raises(InputError, match="was voided 2026-05-12"):
        scribe.log.fix("cut", "1", {"remark": "x"}, why="read again", by="JM")
    with pytest.raises(InputError, match="voided already"):
        scribe.log.void("cut", "1", why="read again", by="JM")


def test_a_voided_row_frees_its_name(scribe: Scribe) -> None:
    """Row 1 of the dive can be typed anew; people then find the new one."""
    first = scribe.cut(14, 1, "L14")
    scribe.log.void("cut", "PIER7 14.1", why="wrong line", by="JM")
    second = scribe.cut(14, 1, "L15")
    assert first != second
    assert scribe.log.find("cut", "PIER7 14.1")["id"] == second


def test_a_dive_takes_what_hangs_from_it(scribe: Scribe) -> None:
    """Voiding a dive voids its cuts, counts and happenings; a line with live cuts stays."""
    cut = scribe.cut(14, 1, "L14")
    scribe.tally(14, 7.0, cut)
    scribe.log.insert("happening", {"job_id": scribe.job_id, "cut_id": cut, "kind": "defect", "word": "rod stuck"})
    with pytest.raises(InputError, match="needed by 1 cut row"):
        scribe.log.void("line", "L14", why="no such line", by="JM")
    with pytest.raises(InputError, match="still needed"):
        scribe.log.void("job", "PIER7", why="no such job", by="JM")
    gone = scribe.log.void("dive", "PIER7 14", why="another day's sheet", by="JM")
    assert gone == {"dive": 1, "cut": 1, "happening": 1, "tally_cut": 1, "tally": 1}
    assert scribe.log.void("line", "L14", why="no such line", by="JM") == {"line": 1}


def test_signed_and_unsigned_changes_stand_apart(scribe: Scribe) -> None:
    """After a signed fix, a change by another program is again by *unknown*."""
    scribe.cut(14, 1, "L14")
    scribe.log.fix("cut", "1", {"remark": "a"}, why="read again", by="JM")
    with closing(sqlite3.connect(scribe.log.path)) as other, other:
        other.execute("UPDATE cut SET remark = 'b'")
    assert [(entry.by, entry.kind, entry.new) for entry in scribe.log.trail("cut", "1")] == [
        ("JM", "fix", "a"),
        ("unknown", "outside", "b"),
    ]


def test_a_refused_fix_leaves_no_signature_behind(scribe: Scribe) -> None:
    """When the file refuses a fix, the next change by another program is not signed with its reason."""
    scribe.cut(14, 1, "L14", new_length_mm=500.0)
    with pytest.raises(InputError):
        scribe.log.fix("cut", "1", {"new_length": "5 m"}, why="read again", by="JM")
    with closing(sqlite3.connect(scribe.log.path)) as other, other:
        other.execute("UPDATE cut SET remark = 'b'")
    assert [entry.by for entry in scribe.log.trail("cut", "1")] == ["unknown"]


def test_R19_the_same_value_typed_another_way_is_in_the_trail(scribe: Scribe) -> None:
    """12.7 mm for 1/2 in changes no number, and both texts are kept."""
    scribe.cut(14, 1, "L14", thickness_mm=12.7, typed={"thickness_mm": ("1/2 in", "measured")})
    scribe.log.fix("cut", "1", {"thickness": "12.7 mm"}, why="gauge reads mm", by="JM")
    (entry,) = scribe.log.trail("cut", "1")
    assert (entry.field, entry.old_typed, entry.new_typed) == ("thickness_mm", "1/2 in", "12.7 mm")


def test_R37_one_row_typed_twice_is_shown(scribe: Scribe) -> None:
    """The same row of a dive is refused with the cut that is there; the same clocks on a line need a reason."""
    times = {"start_at": "2026-05-12T09:42:00", "stop_at": "2026-05-12T10:03:00"}
    scribe.cut(14, 1, "L14", **times)
    dive = scribe.log.find("dive", "PIER7 14")["id"]
    line = scribe.log.find("line", "L14")["id"]
    with pytest.raises(InputError, match=r"row 1 is in the log already as cut 1 \(PIER7 14\.1, line L14, 09:42 to"):
        refuse_twice(scribe.log, dive, 1)
    with pytest.raises(InputError, match="--really"):
        refuse_twice(scribe.log, dive, 2, line_id=line, **times)
    refuse_twice(scribe.log, dive, 2, line_id=line, **times, really="two torches on one line")
    refuse_twice(scribe.log, dive, 2, line_id=line, start_at=times["start_at"])
    scribe.log.void("cut", "1", why="typed twice", by="JM")
    refuse_twice(scribe.log, dive, 1)
