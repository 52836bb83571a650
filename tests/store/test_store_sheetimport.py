"""A cut sheet held against the log: what it makes, fills and contradicts, and what is there already."""

from __future__ import annotations

import re
from collections import Counter
from pathlib import Path

import pytest
from paper import counts, cut, new_log, one, refused, take

from burnlog.errors import ConflictError
from burnlog.store.entry import add_row
from burnlog.store.log import Log


@pytest.fixture
def log(tmp_path: Path) -> Log:
    return new_log(tmp_path)


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
    line = one(log, "SELECT * FROM line WHERE code = 'L1'")
    assert (line["section"], line["material"], line["thickness_mm"]) == ("HP14x117", "carbon steel", 20)
    assert (line["planned_length_mm"], line["length_basis"], line["thickness_basis"]) == (1000, "estimated", None)
    assert one(log, "SELECT family, length_mm FROM rod_type") == {"family": "exothermic", "length_mm": None}
    assert log.one("line", code="unnamed-14.3") is not None
    assert any("given one of its own (unnamed-DIVE.ROW): 1." in note for note in report.notes)


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
    message = refused(log, tmp_path, first, cut(line="L1", planned_length="2 m", rod_type="EX", family="tubular"))
    assert "'2 m' here and '1 m' in row 2 for line L1" in message
    assert "for rod type EX" in message
    take(log, tmp_path, first, cut(line="L1", planned_length="1000.3 mm", thickness="12 mm"))
    assert [row["thickness_mm"] for row in log.rows("SELECT thickness_mm FROM cut ORDER BY row")] == [20, 12]
    message = refused(log, tmp_path, cut(dive="15", line="L1", planned_length="2 m", rod_type="EX", family="tubular"))
    assert "line L1 has 1 m in the log" in message
    assert "rod type EX has 'exothermic' in the log" in message


def test_blanks_of_the_log_are_filled_through_the_trail(log: Log, tmp_path: Path) -> None:
    """What a later file says of a line the log knows nothing of is kept, and the trail names the file."""
    take(log, tmp_path, cut(line="L1"))
    report = take(log, tmp_path, cut(dive="15", line="L1", planned_length="3 ft", new_length="all"), name="day2.csv")
    assert report.filled == 1
    assert one(log, "SELECT planned_length_mm AS mm FROM line")["mm"] == pytest.approx(914.4)
    trail = log.rows("SELECT field, why, by FROM amendment ORDER BY no")
    assert {row["field"] for row in trail} == {"planned_length_mm", "as_typed"}
    assert all("day2.csv" in row["why"] and row["by"] == "tester" for row in trail)


def test_R37_one_cut_typed_twice(log: Log, tmp_path: Path) -> None:
    """The same line and clock twice, or one row of one paper sheet under two dives, is refused in file and log."""
    times = {"line": "L1", "start": "0942", "stop": "1003"}
    assert "typed twice?" in refused(log, tmp_path, cut(**times), cut(**times))
    take(log, tmp_path, cut(row="1", sheet="S-1", **times))
    assert "typed twice?" in refused(log, tmp_path, cut(row="2", **times))
    assert "row 1 of sheet S-1 is dive 14's" in refused(log, tmp_path, cut(dive="15", row="1", sheet="S-1"))
    assert "is dive 20's" in refused(
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


def test_R02_a_dive_added_ahead_of_its_sheet_takes_the_count_over_it(log: Log, tmp_path: Path) -> None:
    """The count over a dive goes in with its first cuts, once, though the dive itself was in the log before."""
    for table, fields in (
        ("job", {"job": "PIER7"}),
        ("person", {"person": "D3"}),
        ("dive", {"job": "PIER7", "dive": "14", "dive_date": "2026-05-12", "diver": "D3"}),
    ):
        add_row(log, table, fields)
    first = cut(row="1", line="L1", rod_type="EX38", rods="9", rods_scope="dive", issued="20", returned="8")
    take(log, tmp_path, first)
    assert counts(log)["tally"] == 1
    assert one(log, "SELECT rods, issued FROM tally") == {"rods": 9.0, "issued": 20}
    other = {**first, "row": "2", "line": "L2"}
    with pytest.raises(ConflictError, match="rods: the log has 9, the file 5"):
        take(log, tmp_path, {**other, "rods": "5"}, name="other.csv")
    take(log, tmp_path, other, name="next.csv")
    assert (counts(log)["tally"], counts(log)["cut"]) == (1, 2)


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


def test_R72_made_up_rows_stay_in_made_up_logs(log: Log, tmp_path: Path) -> None:
    """Invented rows are refused by a real log, real ones by an invented log, and the job carries the mark."""
    assert "is made up" in refused(log, tmp_path, cut(made_up="yes"))
    invented = new_log(tmp_path, "invented.db", made_up=True)
    assert "not marked as made up" in refused(invented, tmp_path, cut(made_up="yes"), cut(dive="15", made_up=""))
    assert "no column made_up" in refused(invented, tmp_path, cut())
    take(invented, tmp_path, cut(made_up="yes"))
    assert one(invented, "SELECT made_up FROM job")["made_up"] == 1
    take(log, tmp_path, cut(made_up="no"))
    assert one(log, "SELECT made_up FROM job")["made_up"] == 0
    reading = {"job": "PIER7", "dive": "14", "static": "90 psi", "made_up": "yes"}
    assert "is made up" in refused(log, tmp_path, reading)


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
