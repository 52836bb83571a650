"""`check` and completeness: one line a fault, quiet when clean, and blanks counted where they could be filled."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from account_record import dive, record

from burnlog.analyses.completeness import completeness
from burnlog.analyses.quality import RULES, check
from burnlog.columns import Frames
from burnlog.errors import InputError
from burnlog.reports.text_record import check_text, completeness_text

CLEAN: dict[str, Any] = {"start_at": "09:00", "stop_at": "09:20", "rods": 8, "burn_s": 500.0}
BOX = {"issued": 20.0, "returned": 12.0, "lost": 0.0, "broken_or_wet": 0.0}


def _with_faults(only: str | None = None) -> Frames:
    """Ten clean dives, nine of them with one fault each; or one fault alone."""

    def fault(name: str, said: dict[str, Any]) -> dict[str, Any]:
        return said if only in (None, name) else {}

    cuts = {
        2: fault("times do not nest", {"burn_s": 1500.0}),
        3: fault("longer than planned", {"new_length_m": 1.03}),
        4: fault("hanger and through", {"hangers": 1.0}),
        5: fault("outside the usual range", {"thickness_mm": 80.0}),
        6: fault("clocks and elapsed differ", {"elapsed_s": 1300.0}),
        7: fault("flowing above static", {"static_kpa": 700.0, "flowing_kpa": 760.0}),
        8: fault("bank pressure", {"bank_start_kpa": 9000.0, "bank_end_kpa": 14000.0}),
    }
    heads = {
        9: fault("rods do not balance", {"returned": 9.0}),
        10: fault("no reference to the legal log", {"log_ref": None}),
    }
    dives = [dive(n, {**CLEAN, **cuts.get(n, {})}, **{**BOX, **heads.get(n, {})}) for n in range(1, 11)]
    return record(*dives)


def test_R35_clean_is_one_line() -> None:
    """A clean record has no problem and one line."""
    report = check(_with_faults(only="nothing"))
    assert report.clean
    text = check_text(report)
    assert text.count("\n") == 0
    assert "10 dives, 10 cuts" in text


def test_R35_nine_faults_are_nine_lines() -> None:
    """Nine seeded faults give nine problems, one a line, the most serious first, with sheet and row."""
    report = check(_with_faults())
    assert len(report.problems) == 9
    places = [RULES.index(problem.rule) for problem in report.problems]
    assert places == sorted(places)
    lines = check_text(report).splitlines()
    assert lines[9].startswith("9 problems; ")
    first = next(problem.place for problem in report.problems if problem.row is not None)
    assert lines[10:] == [f"to mend a row: burnlog --by NAME fix cut '{first}'", "  FIELD=VALUE --why REASON"]
    assert all(line.isascii() and len(line) <= 80 for line in lines)
    assert "S2 row 1: burn time 25 min is longer than elapsed 20 min" in lines
    assert "S9: X18: 3 rods unaccounted" in lines


@pytest.mark.parametrize("rule", [rule for rule in RULES if not rule.endswith(("twice", "of plan"))])
def test_R35_each_fault_alone_is_one_line(rule: str) -> None:
    """A fault sets off its own rule and no other."""
    assert [problem.rule for problem in check(_with_faults(only=rule)).problems] == [rule]


def test_R35_oxygen_below_its_usual_purity() -> None:
    """A bank under 99.5 % is asked about once, at the first dive that drew on it; one not recorded never."""
    dives = [dive(n, {}, bank=f"B{1 + n % 2}") for n in range(1, 5)]
    banks = [{"bank": "B1", "purity_pct": 99.2}, {"bank": "B2", "purity_pct": 99.5}, {"bank": "B3"}]
    (problem,) = check(record(*dives, banks=banks)).problems
    assert (problem.rule, problem.target, problem.dive) == ("outside the usual range", "B1", "J1 2")
    assert problem.message == "B1: 99.2 % oxygen; usual is 99.5 % or more"
    assert check(record(*dives, banks=[{"bank": "B1"}, {"bank": "B2"}])).clean


def test_R35_blanks_set_off_no_rule() -> None:
    """A record of blanks has nothing that does not add up."""
    blank = {"new_length_m": None, "planned_length_m": None, "thickness_mm": None, "outcome": "unknown", "edge": None}
    assert check(record(dive(1, blank, rig=None, bank=None))).clean
    assert check(record()).clean


def test_R35_since_looks_at_later_dives_only() -> None:
    """With a first day the problems of earlier dives are left out, and so is their number."""
    old = dive(1, {**CLEAN, "hangers": 1.0}, dive_date="2026-05-01")
    new = dive(2, {**CLEAN, "hangers": 2.0}, dive_date="2026-05-12")
    report = check(record(old, new), since=dt.date(2026, 5, 10))
    assert [problem.dive for problem in report.problems] == ["J1 2"]
    assert report.dives == 1
    assert "2 hangers left" in check_text(report)


def test_R07_overlapping_counts_are_one_problem() -> None:
    """Two counts over the same cuts are reported once, by their numbers; a box count beside one is no overlap."""
    both = check(record(dive(1, {"rods": 4}, {"rods": 5}, rods=9)))
    overlaps = [problem for problem in both.problems if problem.rule == "counted twice"]
    assert [problem.message.split(";")[0] for problem in overlaps] == [
        "tallies 1 and 3 both count it",
        "tallies 2 and 3 both count it",
    ]
    assert check(record(dive(1, {"rods": 4}, issued=10, returned=6, lost=0, broken_or_wet=0))).clean


def test_R37_same_line_start_and_stop() -> None:
    """The same line at the same times in one dive is asked about, once for each further row."""
    cut = {"line": "L1", "start_at": "09:00", "stop_at": "09:20", "new_length_m": 0.5}
    (problem,) = check(record(dive(1, cut, cut))).problems
    assert problem.rule == "entered twice"
    assert (problem.sheet, problem.row) == ("S1", 2)
    assert "J1 1.1" in problem.message
    reasoned = {**cut, "twice_why": "two torches, one clock"}
    assert check(record(dive(1, cut, reasoned))).clean  # asked when it was typed
    other = {**cut, "start_at": "09:30", "stop_at": "09:40"}
    assert check(record(dive(1, cut, other))).clean
    untimed = {"line": "L1", "new_length_m": 0.5}
    assert check(record(dive(1, untimed, untimed))).clean


def test_R27_an_estimated_count_may_be_out_by_two() -> None:
    """A count marked as an estimate is asked about only beyond two rods; an exact one at once."""
    about = {**BOX, "rods_basis": "estimated"}
    assert check(record(dive(1, {}, rods=10, **about))).clean
    assert len(check(record(dive(1, {}, rods=11, **BOX))).problems) == 1
    assert len(check(record(dive(1, {}, rods=5, **about))).problems) == 1


def test_R27_a_count_over_the_day_is_placed_on_that_day() -> None:
    """A box counted over the day is listed by its day, and `since` a later day leaves it out."""
    count = {"tally_id": "t1", "tally_no": 1, "job": "J1", "scope": "day", "day": "2026-05-12", "rod_type": "X18"}
    count |= {"rods": 10.0, "rods_basis": "measured", "issued": 20.0, "returned": 4.0}
    links = [{"tally_id": "t1", "cut_id": cut_id} for cut_id in ("c1", "c2")]
    frames = record(
        *(dive(n, {}, dive_date=f"2026-05-{12 + n // 3}") for n in (1, 2, 3)), tallies=[count], tally_cuts=links
    )
    (problem,) = check(frames).problems
    assert problem.target == "J1 2026-05-12"
    assert "6 rods unaccounted" in problem.message
    assert check(frames, since=dt.date(2026, 5, 13)).clean


def test_R80_dry_practice_needs_no_legal_log() -> None:
    """A turn on deck is no dive and has no legal log to point at."""
    assert check(record(dive(1, {}, setting="dry practice", log_ref=None))).clean
    (problem,) = check(record(dive(1, {}, setting="test tank", log_ref=None))).problems
    assert problem.rule == "no reference to the legal log"


def test_R32_a_reading_far_over_the_label_is_asked_about() -> None:
    """A bank that reads 15 % over its label and more is listed with both pressures, in the reader's units."""
    cut = {"bank_start_kpa": 15168.0 * 1.2, **CLEAN}
    (problem,) = check(record(dive(1, cut)), profile="us").problems
    assert "2640 psi" in problem.message
    assert "2200 psi" in problem.message
    assert check(record(dive(1, {**cut, "bank_start_kpa": 15168.0 * 1.14}))).clean


def test_R35_a_line_called_through_with_too_little_cut() -> None:
    """A line called through on its second dive with 0.6 m of 1 m is asked about there; 0.95 m or part way is not."""
    begun = dive(1, {"line": "L1", "new_length_m": 0.3, "outcome": "part way"})
    (problem,) = check(record(begun, dive(2, {"line": "L1", "new_length_m": 0.3}))).problems
    assert (problem.rule, problem.target, problem.dive) == ("through but short of plan", "J1 L1", "J1 2")
    assert problem.sentence() == "S2 row 1: L1: called through with 600 mm cut of 1 m planned"
    assert check(record(dive(1, {"new_length_m": 0.95}))).clean
    assert check(record(dive(1, {"new_length_m": 0.6, "outcome": "part way"}))).clean
    assert check(record(dive(1, {"new_length_m": None}))).clean


def test_R09_two_percent_is_tape_error() -> None:
    """New length of 102 % of plan passes; more does not, and a re-burn adds none."""
    parts = [{"line": "L1", "new_length_m": 0.5}, {"line": "L1", "new_length_m": 0.52}]
    assert check(record(dive(1, *parts))).clean
    again = {"line": "L1", "new_length_m": None, "pass_kind": "re-burn"}
    assert check(record(dive(1, *parts, again))).clean
    (problem,) = check(record(dive(1, *parts), dive(2, {"line": "L1", "new_length_m": 0.02}))).problems
    assert (problem.target, problem.dive) == ("J1 L1", "J1 2")


def test_check_as_json_is_plain() -> None:
    """The JSON carries rule, place and message of each problem and how much was looked at."""
    found = check(_with_faults()).as_json()
    assert found["cuts"] == 10
    assert {"rule", "sheet", "row", "message", "dive", "job", "target"} == set(found["problems"][0])


def test_R36_recorded_of_expected() -> None:
    """Fields are counted by job and crew; groups add up to the whole."""
    frames = record(
        dive(1, {"hangers": 0.0}, {}, crew="A", depth_msw=12.0),
        dive(2, {"hangers": 1.0}, crew="B"),
        dive(1, {}, job="J2", crew=None, depth_msw=8.0),
    )
    found = completeness(frames)
    hangers = {count.group: (count.recorded, count.expected) for count in found.counts if count.field == "hangers"}
    assert hangers == {("J1", "A"): (1, 2), ("J1", "B"): (1, 1), ("J2", "not recorded"): (0, 1)}
    whole = {count.field: count for count in found.overall()}
    assert (whole["depth_msw"].recorded, whole["depth_msw"].expected) == (2, 3)
    by_nothing = {count.field: (count.recorded, count.expected) for count in completeness(frames, by=()).counts}
    assert by_nothing == {name: (count.recorded, count.expected) for name, count in whole.items()}


def test_R36_nobody_is_asked_what_could_not_be_known() -> None:
    """No depth on deck, no new length on a second pass: neither is expected."""
    frames = record(dive(1, {}, {"pass_kind": "hanger", "new_length_m": None}, setting="dry practice", log_ref=None))
    fields = {count.field: count for count in completeness(frames, by=()).counts}
    assert "depth_msw" not in fields
    assert "log_ref" not in fields
    assert (fields["new_length_m"].recorded, fields["new_length_m"].expected) == (1, 1)


def test_R36_rods_under_a_wider_count_are_known() -> None:
    """A count over the dive covers its cuts; a count without a number covers none."""
    frames = record(dive(1, {}, {}, rods=9), dive(2, {}, rods=None, issued=10))
    fields = {count.field: count for count in completeness(frames, by=()).counts}
    assert (fields["rods"].recorded, fields["rods"].expected) == (2, 3)


def test_R36_divers_are_not_a_group() -> None:
    """Completeness by diver is not offered: others hold the pencil."""
    with pytest.raises(InputError, match="job, crew"):
        completeness(record(), by=("diver",))


def test_R34_flowing_pressure_sentence() -> None:
    """Flowing pressure on 2 cuts of their own and 1 read during a cut makes 3 of 41."""
    cuts = [
        {"start_at": f"{9 + n // 30:02d}:{2 * (n % 30):02d}", "stop_at": f"{9 + n // 30:02d}:{2 * (n % 30) + 1:02d}"}
        for n in range(41)
    ]
    for n in (3, 7):
        cuts[n]["flowing_kpa"] = 600.0  # type: ignore[assignment]
    looks = [{"dive_ref": "J1 1", "read_at": "09:20", "flowing_kpa": 590.0}]
    found = completeness(record(dive(1, *cuts), readings=looks))
    assert found.flowing() == "flowing pressure recorded on 3 of 41 cuts"
    text = completeness_text(found)
    assert found.flowing() in text
    assert all(line.isascii() and len(line) <= 80 for line in text.splitlines())
