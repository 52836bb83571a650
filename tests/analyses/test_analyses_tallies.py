"""Counts where they were counted: what enters a rate and what is left out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, replace
from datetime import date
from typing import Any

import pandas as pd
import pytest

from burnlog.analyses.tallies import Ratio, Scope, TallySet, decided_out, gather, ratio
from burnlog.columns import Frames
from burnlog.errors import RefusedError

Record = Callable[..., Frames]
FT = 0.3048


def _per_ft(result: Ratio) -> float:
    return result.rods_per_m * FT


def _figures(result: Ratio) -> list[float]:
    """Every number of a ratio, per foot where it is per metre."""
    values = []
    for field in fields(result):
        value = getattr(result, field.name)
        if value is not None:
            values.append(value * FT if field.name.endswith("per_m") else value)
    return values


def _g1(record: Record) -> Frames:
    return record([{"new_length_m": 2 * FT, "rods": rods} for rods in (3, 4, None, 3, 4)])


def test_R03_g1_blank_count_is_left_out_not_zero(record: Record) -> None:
    """Fourteen rods on eight counted feet are 1.75 a foot, and the blank is said."""
    result = ratio(gather(_g1(record)))
    assert _per_ft(result) == pytest.approx(1.75, rel=1e-12)
    assert "1 of 5 tallies has no rod count" in result.sentences()
    assert not any(abs(value - 1.40) < 0.005 for value in _figures(result))


def test_R40_g1b_ratio_of_sums(record: Record) -> None:
    """A one foot cut with 3 rods and a ten foot cut with 12 make 15 rods on 11 feet."""
    result = ratio(gather(record([{"new_length_m": FT, "rods": 3}, {"new_length_m": 10 * FT, "rods": 12}])))
    assert _per_ft(result) == pytest.approx(15 / 11, rel=1e-12)
    assert round(100 * _per_ft(result)) == 136
    assert not any(abs(value - 2.10) < 0.005 for value in _figures(result))


def test_R46_g3_unfinished_lines_stand_in_the_headline(record: Record) -> None:
    """Abandoned lines count with the length really cut; the finished-only figure stands beside."""
    cuts = [{"new_length_m": 4 * FT, "rods": 6} for _ in range(8)]
    cuts += [{"new_length_m": FT, "rods": 8, "outcome": "abandoned"} for _ in range(2)]
    result = ratio(gather(record(cuts)))
    assert _per_ft(result) == pytest.approx(64 / 34, rel=1e-12)
    assert result.finished_per_m is not None
    assert result.finished_per_m * FT == pytest.approx(1.50, rel=1e-12)
    assert result.finished_tallies == 8


def test_R46_rods_without_length_are_shown_with_and_without(record: Record) -> None:
    """Rods on an abandoned line without any length stand beside the headline, not in it."""
    cuts = [{"new_length_m": 4 * FT, "rods": 6} for _ in range(4)]
    cuts += [{"new_length_m": None, "rods": 5, "outcome": "abandoned"}]
    cuts += [{"new_length_m": 0.0, "rods": 3, "outcome": "not through"}]
    cuts += [{"new_length_m": None, "rods": None, "outcome": "abandoned"}]
    tallyset = gather(record(cuts))
    result = ratio(tallyset)
    assert _per_ft(result) == pytest.approx(24 / 16, rel=1e-12)
    assert result.with_no_length_per_m == pytest.approx(32 / (16 * FT), rel=1e-12)
    assert result.rods_no_length == 8
    assert "8 rods stand on unfinished lines without any length cut" in result.sentences()
    assert not any("without any length" in said for said in ratio(gather(_g1(record))).sentences())
    assert tallyset.left_out_counts() == {"no rod count": 1, "rods but no new length": 2}


def test_R09_g4_reburn_adds_rods_and_no_length(record: Record) -> None:
    """A re-burn of two feet with a count of its own joins its line: 13 rods on 6 feet."""
    cuts = [
        {"line": "L1", "new_length_m": 6 * FT, "rods": 9, "elapsed_s": 900},
        {"line": "L1", "new_length_m": 0, "pass_kind": "re-burn", "rods": 4, "elapsed_s": 300},
    ]
    tallyset = gather(record(cuts))
    result = ratio(tallyset)
    assert _per_ft(result) == pytest.approx(13 / 6, rel=1e-12)
    assert tallyset.joined == {"t2": "t1"}
    assert tallyset.in_scope == 2
    assert result.s_per_m == pytest.approx(1200 / (6 * FT))
    for wrong in (13 / 12, 13 / 8, 9 / 6):
        assert not any(abs(value - wrong) < 0.005 for value in _figures(result))


def test_R09_length_typed_on_a_reburn_is_not_new(record: Record) -> None:
    """Length on a re-burn row, should it ever be stored, does not lengthen the line."""
    cuts = [
        {"line": "L1", "new_length_m": 6 * FT, "tally": "d"},
        {"line": "L1", "new_length_m": 2 * FT, "pass_kind": "re-burn", "tally": "d"},
    ]
    tallyset = gather(record(cuts, tallies={"d": {"rods": 13, "scope": "dive"}}))
    assert _per_ft(ratio(tallyset)) == pytest.approx(13 / 6)
    assert len(tallyset.pieces) == 1


def test_reburn_joins_the_last_first_pass(record: Record) -> None:
    """Where a line was cut in two dives the re-burn stands with the later one."""
    cuts = [
        {"line": "L1", "new_length_m": 1.0, "rods": 9, "outcome": "part way"},
        {"line": "L1", "dive_no": 2, "new_length_m": 0.5, "rods": 5},
        {"line": "L1", "dive_no": 3, "new_length_m": None, "pass_kind": "hanger", "rods": 1},
    ]
    tallyset = gather(record(cuts))
    assert tallyset.joined == {"t3": "t2"}
    assert tallyset.tallies["rods"].to_dict() == {"t1": 9, "t2": 6}
    assert tallyset.tallies["finished"].all(), "the line went through in the end"


def test_reburns_of_two_lines_in_one_count_make_one_count(record: Record) -> None:
    """A count over hangers of two lines binds the counts of both: rods are not shared out."""
    cuts = [
        {"line": "L1", "new_length_m": 1.0, "rods": 6},
        {"line": "L2", "new_length_m": 2.0, "rods": 11},
        {"line": "L1", "pass_kind": "hanger", "tally": "h", "dive_no": 2},
        {"line": "L2", "pass_kind": "hanger", "tally": "h", "dive_no": 2},
    ]
    tallyset = gather(record(cuts, tallies={"h": {"rods": 3, "scope": "dive"}}))
    assert tallyset.tallies["rods"].tolist() == [20]
    assert tallyset.tallies["new_length_m"].tolist() == [3.0]
    assert tallyset.in_scope == 3


def test_reburn_without_a_usable_first_pass_is_left_out(record: Record) -> None:
    """Rods of a re-burn have no length to stand over when its first pass was never counted."""
    cuts = [
        {"line": "L1", "new_length_m": 1.0, "rods": None},
        {"line": "L1", "pass_kind": "re-burn", "rods": 3},
        {"line": "L2", "new_length_m": 1.0, "rods": 5},
        {"line": "L9", "pass_kind": "trial", "rods": 1},
    ]
    left_out = gather(record(cuts)).left_out_counts()
    assert left_out == {
        "no rod count": 1,
        "pass without new length, and no usable count holds its line's first pass": 1,
        "trial burn only": 1,
    }


def test_R07_overlapping_counts_are_both_left_out(record: Record) -> None:
    """A cut under two counts of one rod type puts both out."""
    cuts = [
        {"new_length_m": 1.0, "tally": ["a", "b"]},
        {"new_length_m": 1.0, "tally": "b"},
        {"new_length_m": 1.0, "rods": 5},
    ]
    tallyset = gather(record(cuts, tallies={"a": {"rods": 5}, "b": {"rods": 11, "scope": "dive"}}))
    assert tallyset.left_out == {"counts overlap": ("tally 1 (J1 1.1)", "tally 2 (J1 1)")}
    assert list(tallyset.tallies.index) == ["t3"]


def test_blank_count_beside_a_dive_count_is_no_overlap(record: Record) -> None:
    """A cut whose own count is blank still stands under its dive's count."""
    cuts = [{"new_length_m": 1.0, "tally": ["a", "b"]}]
    tallyset = gather(record(cuts, tallies={"a": {"rods": None}, "b": {"rods": 11, "scope": "dive"}}))
    assert list(tallyset.tallies.index) == ["b"]


def test_mixed_rod_types_are_left_out(record: Record) -> None:
    """A dive count over two rod types has no rate of either; nor has a line re-burned with another rod."""
    cuts = [
        {"new_length_m": 1.0, "tally": "d"},
        {"new_length_m": 1.0, "tally": "d", "rod_type": "T14"},
        {"line": "L8", "new_length_m": 1.0, "rods": 5},
        {"line": "L8", "pass_kind": "re-burn", "rods": 2, "rod_type": "T14"},
        {"new_length_m": 1.0, "rods": 5},
    ]
    tallyset = gather(record(cuts, tallies={"d": {"rods": 11, "scope": "dive"}}))
    assert tallyset.left_out_counts() == {"more than one rod type in one count": 3}
    assert list(tallyset.tallies.index) == ["t5"]


def test_stubs_become_equivalents(record: Record) -> None:
    """An 18 in rod burned to 6, 9 and 12 in, 3 in planned, is 0.80, 0.60 and 0.40 of a rod."""
    cuts = [{"new_length_m": 1.0, "rods": rods} for rods in (7, 7, 7, 7)]
    stubs = {"t1": [6 * 25.4], "t2": [9 * 25.4, 12 * 25.4], "t4": [6 * 25.4]}
    frames = record(cuts, stubs=stubs, tallies={"t4": {"planned_stub_mm": None}})
    tallyset = gather(frames)
    assert tallyset.tallies["rods"].tolist() == pytest.approx([7.8, 8.0, 7.0])
    assert list(tallyset.left_out) == ["stubs typed, but the rod type has no length or no planned stub"]


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"rods_basis": "at least"}, "rod count is at least"),
        ({"rods_basis": "at most"}, "rod count is at most"),
        ({"rods": None}, "no rod count"),
        ({"rods": 0}, "0 rods over new length"),
        ({"new_length_m": None}, "new length not recorded"),
        ({"new_length_m": 0.0}, "new length not recorded"),
        ({"setting": None}, "setting not recorded"),
        ({"record_class": None}, "record class not recorded"),
        ({"material": "unknown"}, "material unknown"),
        ({"family": None}, "rod family not recorded"),
    ],
)
def test_R36_each_reason_is_counted_once(record: Record, change: dict[str, Any], reason: str) -> None:
    """A count that cannot be used is left out under one reason, and the sum holds."""
    cuts = [{"new_length_m": 1.0, "rods": 5}, {"new_length_m": 1.0, "rods": 5, **change}]
    tallyset = gather(record(cuts), Scope(family="exothermic"))
    assert tallyset.left_out_counts() == {reason: 1}
    assert (len(tallyset.tallies), tallyset.in_scope) == (1, 2)


def test_estimated_count_and_unrecorded_material_are_kept_and_noted(record: Record) -> None:
    """What is rough but usable stays in, with a note."""
    cuts = [{"new_length_m": 1.0, "rods": 5, "rods_basis": "estimated", "material": None}]
    notes = gather(record(cuts)).notes
    assert notes["tallies with an estimated rod count"] == 1
    assert notes["tallies on steel of unrecorded material"] == 1


def _same(one: TallySet, other: TallySet) -> bool:
    same = one.tallies.equals(other.tallies) and one.pieces.equals(other.pieces)
    return same and one.left_out == other.left_out and one.notes == other.notes


def test_R44_dry_practice_changes_nothing(record: Record) -> None:
    """Fifty dry practice counts, tank work, trainees and stainless leave a bid's history as it was."""
    wet = [{"new_length_m": 1.0, "rods": 5 + n % 3, "dive_no": n} for n in range(1, 21)]
    dry = [{"new_length_m": 1.0, "rods": 3, "setting": "dry practice", "dive_no": 100 + n} for n in range(50)]
    other = [
        {"new_length_m": 1.0, "rods": 3, "dive_no": 200, "setting": "test tank"},
        {"new_length_m": 1.0, "rods": 3, "dive_no": 201, "record_class": "training"},
        {"new_length_m": 1.0, "rods": 3, "dive_no": 202, "material": "stainless steel"},
    ]
    alone, together = gather(record(wet)), gather(record(wet + dry + other))
    assert _same(alone, together)
    assert {k: len(v) for k, v in together.outside.items()} == {"setting": 51, "record class": 1, "material": 1}


def test_R44_empty_filter_says_what_is_there(record: Record) -> None:
    """A filter that leaves nothing is refused with what the log holds instead."""
    frames = record([{"new_length_m": 1.0, "rods": 3, "setting": "dry practice"}, {"new_length_m": None, "rods": 2}])
    with pytest.raises(RefusedError, match=r"no length recorded.*1 new length not recorded; 1 other setting"):
        ratio(gather(frames))


def test_R44_unrecorded_steel_is_never_taken_for_another(record: Record) -> None:
    """A count on steel nobody named belongs to plain carbon steel's history, and to no other material's."""
    frames = record([{"new_length_m": 1.0, "rods": 3, "material": None}, {"new_length_m": 1.0, "rods": 5}])
    assert len(gather(frames).tallies) == 2
    other = gather(frames, Scope(materials=("cast iron",)))
    assert other.tallies.empty
    assert other.left_out_counts() == {"material not recorded": 1}
    with pytest.raises(RefusedError, match="1 material not recorded; 1 other material"):
        ratio(other)


def test_R40_zero_total_length_is_refused(record: Record) -> None:
    """An empty log has no ratio."""
    with pytest.raises(RefusedError, match="no length recorded"):
        ratio(gather(record([{"new_length_m": 1.0, "rods": None}])))


def test_mixed_setting_in_one_count_is_left_out(record: Record) -> None:
    """A day's count over wet and dry work belongs to neither."""
    cuts = [
        {"new_length_m": 1.0, "tally": "day"},
        {"new_length_m": 1.0, "tally": "day", "setting": "dry practice", "dive_no": 2},
    ]
    tallyset = gather(record(cuts, tallies={"day": {"rods": 9, "scope": "day"}}))
    assert tallyset.left_out_counts() == {"setting: inside and outside the filter in one count": 1}


def test_filters_by_job_crew_diver_and_day(record: Record) -> None:
    """Each filter keeps its own and turns the rest away without counting it as left out."""
    cuts = [
        {"new_length_m": 1.0, "rods": 5, "job": job, "crew": crew, "diver": diver, "dive_date": day}
        for job, crew, diver, day in (
            ("J1", "A", "D1", "2026-01-01"),
            ("J2", "A", "D2", "2026-02-01"),
            ("J2", "B", "D3", "2026-03-01"),
        )
    ]
    frames = record(cuts)
    for scope, kept in (
        (Scope(jobs=("J2",)), ["t2", "t3"]),
        (Scope(crews=("A",)), ["t1", "t2"]),
        (Scope(divers=("D3",)), ["t3"]),
        (Scope(since=date(2026, 2, 1)), ["t2", "t3"]),
        (Scope(since=date(2026, 1, 2), until=date(2026, 2, 1)), ["t2"]),
    ):
        tallyset = gather(frames, scope)
        assert list(tallyset.tallies.index) == kept
        assert not tallyset.left_out


def test_R55_decisions_leave_out(record: Record) -> None:
    """Only a last decision of leave-out counts, and it may name a tally, a cut or a dive."""
    cuts = [{"new_length_m": 1.0, "rods": 5, "dive_no": n} for n in range(1, 5)]
    decisions = [
        {"rule": "rods", "target": "t1", "decision": "leave-out", "decided_at": "2026-01-02"},
        {"rule": "rods", "target": "t1", "decision": "keep", "decided_at": "2026-01-03"},
        {"rule": "rods", "target": "J1 2.2", "decision": "keep", "decided_at": "2026-01-02"},
        {"rule": "rods", "target": "J1 2.2", "decision": "leave-out", "decided_at": "2026-01-03"},
        {"rule": "sag", "target": "J1 3", "decision": "leave-out", "decided_at": "2026-01-03"},
    ]
    frames = record(cuts, decisions=decisions)
    out = decided_out(frames)
    assert out == ("J1 2.2", "J1 3")
    tallyset = gather(frames, leave_out=out)
    assert list(tallyset.tallies.index) == ["t1", "t4"]
    assert tallyset.left_out_counts() == {"left out by decision": 2}
    assert list(gather(frames, leave_out=["tally 4", "t1"]).tallies.index) == ["t2", "t3"]


def test_times_are_net_of_stoppages_and_breaches_stay_out(record: Record) -> None:
    """Waiting is not cutting; a time that cannot be is kept out, rods are not."""
    cuts = [
        {"new_length_m": 1.0, "rods": 5, "elapsed_s": 600, "stoppage_s": 120, "burn_s": 300},
        {"new_length_m": 1.0, "rods": 5, "elapsed_s": 600, "burn_s": 601},
        {"new_length_m": 1.0, "rods": 5, "elapsed_s": 600, "stoppage_s": 700},
        {"new_length_m": 1.0, "rods": 5},
        {"new_length_m": 1.0, "rods": 5, "elapsed_s": 600, "stoppage_s": 600},
    ]
    tallyset = gather(record(cuts))
    assert tallyset.tallies["elapsed_s"].fillna(-1).tolist() == [480, -1, -1, -1, -1]
    assert {reason: len(refs) for reason, refs in tallyset.time_left_out.items()} == {
        "burn time longer than elapsed": 1,
        "stoppages longer than elapsed": 1,
        "elapsed not recorded on every cut": 1,
        "no time left after stoppages": 1,
    }
    result = ratio(tallyset)
    assert (result.s_per_m, result.s_per_rod, result.time_tallies) == (480, 96, 1)
    assert result.rods == 25
    odd = ratio(gather(record([{"new_length_m": 1.0, "rods": 7, "elapsed_s": 480}])))
    assert odd.s_per_rod == pytest.approx(480 / 7)


def test_blank_counts_are_told_from_blank_hanger_passes(record: Record) -> None:
    """Two lines and a re-burn without counts: three of four have none, and one of them cut nothing new."""
    cuts = [
        {"line": "L1", "new_length_m": 1.0, "rods": 5},
        {"line": "L2", "new_length_m": 1.0, "rods": None},
        {"line": "L3", "new_length_m": 1.0, "rods": None},
        {"line": "L3", "new_length_m": None, "pass_kind": "re-burn", "rods": None},
    ]
    tallyset = gather(record(cuts))
    assert tallyset.notes["passes without new length and without a rod count"] == 1
    assert "3 of 4 tallies have no rod count" in ratio(tallyset).sentences()
    assert "passes without new length and without a rod count" not in gather(_g1(record)).notes


def test_a_plan_shorter_than_a_metre_is_a_plan_and_nought_is_none(record: Record) -> None:
    """The planned length stands as written, however short; a plan of nought gives way to the line's total."""
    cuts = [
        {"new_length_m": 0.5, "rods": 3, "planned_length_m": 0.8},
        {"new_length_m": 0.6, "rods": 3, "planned_length_m": 0.0},
    ]
    pieces = gather(record(cuts)).pieces
    assert pieces["planned_m"].tolist() == [0.8, 0.6]
    assert pieces["planned_from"].tolist() == ["plan", "line total"]


def test_a_count_has_the_rods_and_the_crew_its_cuts_agree_on(record: Record) -> None:
    """Without a rod type of its own a count has that of its cuts; two crews in one count are none."""
    cuts = [
        {"new_length_m": 1.0, "tally": "a", "crew": "A"},
        {"new_length_m": 1.0, "tally": "a", "crew": "B", "rig": "R1"},
        {"new_length_m": 1.0, "tally": "b", "dive_no": 2, "crew": "B"},
    ]
    blank = {"rods": 6, "scope": "dive", "rod_type": None, "family": None}
    counts = gather(record(cuts, tallies={"a": blank, "b": blank})).tallies
    assert counts["rod_type"].tolist() == ["X18", "X18"]
    assert counts["family"].tolist() == ["exothermic", "exothermic"]
    assert counts["crew"].isna().tolist() == [True, False]
    assert counts["rig"].tolist() == ["R1", "R1"]


def test_count_over_several_cuts_keeps_its_pieces(record: Record) -> None:
    """A dive's count has one row, its length-weighted thickness, and one piece per first pass."""
    cuts = [
        {"new_length_m": 1.0, "thickness_mm": 10.0, "tally": "d", "planned_length_m": 2.0},
        {"new_length_m": 3.0, "thickness_mm": 20.0, "tally": "d", "diver": "D2"},
        {"line": "L2", "new_length_m": 1.0, "thickness_mm": 20.0, "dive_no": 2, "rods": 9},
    ]
    tallyset = gather(record(cuts, tallies={"d": {"rods": 30, "scope": "dive"}}))
    first = tallyset.tallies.loc["d"]
    assert (first["rods"], first["new_length_m"], first["thickness_mm"]) == (30, 4.0, 17.5)
    assert (first["cuts"], first["lines"], first["divers"]) == (2, 2, 2)
    assert tallyset.pieces["planned_m"].tolist() == [2.0, 4.0, 4.0], "no plan: the line's own total"
    assert tallyset.pieces["planned_from"].tolist() == ["plan", "line total", "line total"]


def test_box_counts_are_never_a_rate(record: Record) -> None:
    """A count of the box alone is not a count of rods burned."""
    tallyset = gather(record([{"new_length_m": 1.0, "tally": "b"}], tallies={"b": {"rods": 9, "scope": "box"}}))
    assert tallyset.left_out == {"no rod count": ("cut J1 1.1",)}


def test_count_without_cuts_takes_its_setting_from_the_dive(record: Record) -> None:
    """A dive count over no cut is left out by name; over dry practice it is outside."""
    frames = record([{"new_length_m": 1.0, "rods": 5}, {"new_length_m": 1.0, "rods": 5, "dive_no": 2}])
    frames = replace(frames, tally_cuts=frames.tally_cuts[frames.tally_cuts["tally_id"] != "t2"])
    frames = replace(frames, cuts=frames.cuts[frames.cuts["cut_id"] != "c2"])
    assert gather(frames).left_out == {"no cut recorded under the count": ("tally 2 (J1 2)",)}
    dives = frames.dives.assign(setting=pd.Series(["open water", "dry practice"], dtype="str").to_numpy())
    assert gather(replace(frames, dives=dives)).outside == {"setting": ("tally 2 (J1 2)",)}


def test_shuffled_rows_give_the_same_set(record: Record) -> None:
    """The order in which rows come does not matter."""
    cuts = [
        {"new_length_m": 0.3 + n / 7, "tally": f"d{n // 3}", "dive_no": n // 3, "line": f"L{n // 2}"}
        for n in range(12)
    ]
    frames = record(cuts, tallies={f"d{k}": {"rods": 5.0 + k, "scope": "dive"} for k in range(4)})
    mixed = Frames(**{f.name: getattr(frames, f.name).sample(frac=1, random_state=3) for f in fields(frames)})
    assert _same(gather(frames), gather(mixed))


def test_empty_record_has_no_tallies(record: Record) -> None:
    """A record without a count is an empty set, not an error."""
    frames = record([{"new_length_m": 1.0, "rods": 5}])
    blank = Frames(**{f.name: getattr(frames, f.name).iloc[:0] for f in fields(frames)})
    tallyset = gather(blank)
    assert (len(tallyset.tallies), tallyset.in_scope) == (0, 0)
