"""Oxygen sag by pressure: alarms, words, cuts affected, and what could not be judged."""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
import pytest
from review_record import record
from scipy import stats as scipy_stats

from burnlog.analyses.pressure import baseline, judge_dives
from burnlog.analyses.residuals import Residuals
from burnlog.analyses.sag import evidence_word, sag
from burnlog.analyses.scope import Scope
from burnlog.columns import Frames
from burnlog.reports.text_review import sag_text

PSI = 6.894757293168361


def series(dive_no: int, drops_psi: list[float], **more: Any) -> list[dict[str, Any]]:
    """Gauge readings after each rod of a dive, static 90 psi."""
    return [
        {
            "job": "J1",
            "dive_ref": f"J1 {dive_no}",
            "rig": "R1",
            "after_rod": rod,
            "static_kpa": 90 * PSI,
            "flowing_kpa": (90 - drop) * PSI,
            "flowing_typed_psi": True,
            "reason": "series",
            **more,
        }
        for rod, drop in enumerate(drops_psi, start=1)
    ]


def steady(dive_no: int, n: int = 6, rng: np.random.Generator | None = None) -> list[dict[str, Any]]:
    """Readings of a dive on which nothing falls: about 10 psi down, to 1 psi."""
    rng = np.random.default_rng(dive_no) if rng is None else rng
    return series(dive_no, np.round(10 + 1.5 * rng.standard_normal(n)).tolist())


def cuts(dives: int, per_dive: int = 3, **more: Any) -> list[dict[str, Any]]:
    """Cuts of `dives` dives, rods counted by cut."""
    return [
        {"dive_no": dive, "rods": 4, "dive_date": f"2026-05-{dive:02d}", **more}
        for dive in range(1, dives + 1)
        for _ in range(per_dive)
    ]


FALL = [10.0, 11, 9, 10, 12, 10, 15, 19, 24, 26, 28, 27]


def fallen() -> Frames:
    """Four dives on one rig; in the fourth the drop grows from the seventh rod."""
    readings = [*steady(1), *steady(2), *steady(3), *series(4, FALL)]
    rows = cuts(4)
    for place in (10, 11):  # second and third cut of the fourth dive
        rows[place]["edge"] = "ragged"
    return record(rows, readings=readings)


def test_g9_a_fall_is_found_with_its_alarm_point_and_the_cuts_affected() -> None:
    """The alarm rod, the cuts during and the fall are named, and no cause is."""
    review = sag(fallen())
    dive = {d.dive: d for d in review.dives}["J1 4"]
    # by hand: centre 10, spread 2 psi at least; z of 15 and 19 psi is at most 2.5 and 4.5, so the sum of (z - 1)
    # passes 4 at the eighth rod
    assert dive.pressure.baseline is not None
    assert dive.pressure.baseline.centre_kpa == pytest.approx(10 * PSI, abs=1.01 * PSI)
    assert dive.alarm_at == 8
    assert dive.evidence == "likely"
    assert dive.cuts_during == ("J1 4.2", "J1 4.3")
    assert dive.first_cut == "J1 4.2"
    assert dive.fall_kpa == pytest.approx(18 * PSI, abs=1.5 * PSI)
    assert [d.evidence for d in review.dives] == ["no evidence"] * 3 + ["likely"]
    text = sag_text(review, profile="us")
    assert "caused" not in text
    assert "association, not proof" in text
    assert "J1 4.2, J1 4.3" in text


def test_R54_four_readings_are_not_enough_to_judge_a_rig() -> None:
    """A rig with fewer than ten readings on other dives gets the sentence, not a word about its oxygen."""
    review = sag(record(cuts(2), readings=[*steady(1, n=4), *series(2, FALL)]))
    late = review.dives[1]
    assert late.evidence == "not judged"
    assert late.why == "not enough readings to judge this rig (4 on other dives)"
    assert any("not enough readings to judge this rig" in note for note in review.notes)


def test_R34_only_static_pressure_says_why_nothing_was_judged() -> None:
    """With static pressure alone the rule is not run, says so, and counts the cuts with a flowing reading."""
    rows = cuts(2)
    for row in rows:
        row["static_kpa"] = 90 * PSI
    rows[0]["flowing_kpa"] = 80 * PSI
    review = sag(record(rows))
    assert review.sentence() == "flowing read on 1 of 6 cuts; 2 dives not judged"
    assert review.dives[1].why == "only static pressure recorded"


def test_R54_a_gap_in_a_series_is_not_joined() -> None:
    """The sum starts anew after a blank reading, after rods nobody read, and after a change of bank."""
    rise = [10.0, 10, 10, 14, 14, 14]  # three readings 2 spreads up: sum 3 of 4
    base = [*steady(1), *steady(2), *steady(3)]
    whole = series(4, [*rise, 14, 14])
    blank = series(4, [*rise, 14, 14, 14])
    blank[6]["flowing_kpa"] = float("nan")
    skipped = series(4, [*rise, 14, 14])
    for row in skipped[6:]:
        row["after_rod"] += 10
    changed = series(4, [*rise, 14, 14])
    changed[6]["reason"] = "change-over"
    found = [judge_dives(record(cuts(4), readings=base + rows))[3].alarm for rows in (whole, blank, skipped, changed)]
    assert found[0] is not None
    assert found[1:] == [None, None, None]


def test_one_reading_a_cut_raises_an_alarm_above_three_and_a_half_spreads() -> None:
    """Where only one pressure a cut was read, a single drop far above the rig's usual is enough."""
    rng = np.random.default_rng(4)
    rows = cuts(8)
    for row, drop in zip(rows, np.round(10 + 1.2 * rng.standard_normal(len(rows))), strict=True):
        row.update(static_kpa=90 * PSI, flowing_kpa=(90 - float(drop)) * PSI)
    rows[13]["flowing_kpa"] = 72 * PSI  # 18 psi down, 4 spreads of 2 psi
    dives = {d.dive: d for d in sag(record(rows)).dives}
    assert dives["J1 5"].evidence == "possible"
    assert dives["J1 5"].cuts_during == ("J1 5.2",)
    assert dives["J1 5"].cuts_after == ("J1 5.3",)
    assert all(d.evidence == "no evidence" for ref, d in dives.items() if ref != "J1 5")


def spot(dive_no: int, rod: float, drop_psi: float, **more: Any) -> dict[str, Any]:
    """One look at the gauge, static 90 psi."""
    return {**series(dive_no, [drop_psi])[0], "after_rod": rod, "reason": "spot", **more}


def test_spot_readings_judge_a_dive_and_teach_the_rig_as_the_cut_sheets_do() -> None:
    """Spots of the gauge list and readings of the cut sheet count together, one look a cut, in order of the cuts."""
    rows = cuts(8)
    for row in rows[:12]:  # four dives on the cut sheet
        row.update(static_kpa=90 * PSI, flowing_kpa=80 * PSI)
    readings = [spot(dive, 3, 10.0) for dive in (5, 6)]
    # in dive 7 a spot in the first and the third cut and the sheet's own reading in the second
    readings += [spot(7, 3, 14.0), spot(7, 11, 15.0, rig=None)]
    rows[19].update(static_kpa=90 * PSI, flowing_kpa=75 * PSI)
    review = sag(record(rows, readings=readings))
    late = {d.dive: d for d in review.dives}["J1 7"]
    assert late.pressure.method == "per cut"
    assert late.pressure.drop_kpa == pytest.approx(np.array([14, 15, 15]) * PSI)
    assert late.pressure.cut_ids == ("c19", "c20", "c21")
    # by hand: the rig's other 14 drops are 10 psi, spread at its floor, 3.5 psi, for every gauge but one stands at a
    # multiple of 5; the one at 76 makes it 2 psi: z 2, 2.5, 2.5, sums 1, 2.5, 4 against 3
    assert late.pressure.z == pytest.approx([2.0, 2.5, 2.5])
    assert late.pressure.cusum == pytest.approx([1.0, 2.5, 4.0])
    assert late.evidence == "possible"
    assert late.first_cut == "J1 7.3"
    assert late.pressure.baseline is not None
    assert late.pressure.baseline.readings == 14
    assert [d.evidence for d in review.dives][:6] == ["no evidence"] * 6
    assert review.sentence() == "flowing read on 17 of 24 cuts; 1 dive not judged"


def test_a_cut_read_on_the_sheet_and_on_the_gauge_list_counts_once() -> None:
    """Where the gauge list has a reading in a cut, the cut sheet's copy of it is not a second one."""
    rows = cuts(3)
    rows[0].update(static_kpa=90 * PSI, flowing_kpa=80 * PSI)
    found = judge_dives(record(rows, readings=[spot(1, 2, 10.0), spot(1, 7, 11.0)]))
    assert found[0].drop_kpa == pytest.approx(np.array([10, 11]) * PSI)


def test_a_reading_without_a_rig_is_the_dives() -> None:
    """A blank rig of a reading falls back to the dive's; a dive without one is not judged and says so."""
    readings = [spot(1, 1 + k, 10.0 + k % 2, rig=None) for k in range(12)]
    rows = cuts(3)
    for row in rows[6:]:
        row["rig"] = None
    found = judge_dives(record(rows, readings=[*readings, spot(2, 2, 10.0, rig=None), spot(3, 2, 10.0, rig=None)]))
    assert found[1].rig == "R1"
    assert found[1].baseline is not None
    assert found[1].baseline.readings == 12
    assert found[2].baseline is None
    assert found[2].why == "rig not recorded"


def test_a_dive_read_on_two_rigs_is_not_held_against_either() -> None:
    """Two rigs drop differently: such a dive says why it is not judged, and teaches neither rig."""
    readings = [spot(1, 1 + k, 10.0 + k % 2) for k in range(12)] + [spot(3, 1 + k, 10.0) for k in range(2)]
    mixed = [spot(2, 2, 10.0), spot(2, 6, 30.0, rig="R2")]
    found = judge_dives(record(cuts(3), readings=[*readings, *mixed]))
    assert found[1].baseline is None
    assert found[1].why == "readings of more than one rig in the dive"
    assert found[0].why == "not enough readings to judge this rig (2 on other dives)"
    assert found[2].baseline is not None
    assert found[2].baseline.readings == 12


def test_a_change_of_bank_between_spot_readings_starts_the_sum_anew() -> None:
    """Two looks before and one after a new bank are not added up."""
    readings = [spot(1, 1 + k, 10.0 + k % 2) for k in range(12)]
    high = [spot(2, 2, 14.5), spot(2, 6, 14.5), spot(2, 10, 14.5)]
    fresh = {**spot(2, 9, float("nan")), "static_kpa": float("nan"), "reason": "change-over"}
    whole, parted = (judge_dives(record(cuts(2), readings=[*readings, *more]))[1] for more in (high, [*high, fresh]))
    assert whole.alarm == 2
    assert parted.alarm is None
    assert parted.cusum[2] < parted.cusum[1]


def test_the_spread_has_a_floor_that_follows_the_gauge() -> None:
    """2 psi, or 3.5 psi where every reading is a multiple of 5; a coarse bar gauge the same share of its step."""
    drops = np.full(12, 10 * PSI)
    assert baseline(drops, np.array([91.0, 80.0]) * PSI).spread_kpa == pytest.approx(2 * PSI)
    assert baseline(drops, np.array([90.0, 80.0, 75.0]) * PSI).spread_kpa == pytest.approx(3.5 * PSI)
    assert baseline(drops, np.array([600.0, 550.0])).spread_kpa == pytest.approx(35.0)
    wide = np.array([4.0, 8, 12, 16, 4, 8, 12, 16]) * PSI
    assert baseline(wide, np.array([91.0]) * PSI).spread_kpa == pytest.approx(1.4826 * 4 * PSI)


def test_the_words_follow_pressure_first() -> None:
    """Each word of the evidence comes out where, and only where, its rule says so."""
    judged = judge_dives(fallen())
    quiet, alarm = judged[0], judged[3]
    mild = judge_dives(
        record(cuts(4), readings=[*steady(1), *steady(2), *steady(3), *series(4, [10.0] * 4 + [15.0] * 5)])
    )[3]
    none = judge_dives(record(cuts(1)))[0]
    assert alarm.z.max() > 5
    assert mild.alarm is not None
    assert mild.z.max() <= 5
    word = evidence_word
    assert word(alarm, None, 0, 0, 0) == "likely"  # a reading above five spreads
    assert word(mild, None, 0, 3, 0) == "possible"
    assert word(mild, 1.2, 0, 3, 0) == "likely"
    assert word(mild, None, 2, 4, 0) == "likely"
    assert word(quiet, 3.0, 3, 3, 2) == "no evidence"  # many rods and ragged edges are no pressure
    assert word(none, 1.2, 2, 4, 0) == "possible"
    assert word(none, 1.2, 1, 4, 1) == "possible"
    assert word(none, 1.2, 1, 4, 0) == "not judged"
    assert word(none, None, 4, 4, 1) == "not judged"


def test_R54_the_table_of_sag_and_edges_has_the_exact_probability() -> None:
    """Cuts of judged dives by sag and edge, with Fisher's exact p as scipy's own test has it."""
    table = sag(fallen()).table
    assert (table.sag_ragged, table.sag_other, table.clear_ragged, table.clear_other) == (2, 0, 0, 10)
    # 1 / C(12, 2) = 1/66, by hand; the only table as extreme
    assert table.p == pytest.approx(1 / 66)
    assert table.p == pytest.approx(scipy_stats.hypergeom(12, 2, 2).pmf(2))


def test_R54_the_bank_rule_needs_both_typed_values() -> None:
    """Without the typed pressure and margin the bank rule does not run; with them it lists the cuts."""
    rows = cuts(2)
    for place, row in enumerate(rows):
        row["bank_end_kpa"] = 3000.0 - 500.0 * place
    bare = sag(record(rows))
    assert bare.banks_low == ()
    assert bare.banks_judged == 0
    assert any("bank rule not run" in note for note in bare.notes)
    typed = sag(record(rows), needed_kpa=900.0, margin_kpa=300.0)
    assert [low.cut for low in typed.banks_low] == ["J1 2.2", "J1 2.3"]
    assert typed.banks_judged == 6


def test_sag_written_on_the_sheet_is_shown_beside_a_dive_nobody_can_judge() -> None:
    """The diver's word is kept beside the dive; it does not make a pressure reading."""
    happened = [{"kind": "event", "word": "oxygen sag", "job": "J1", "dive_ref": "J1 1"}]
    review = sag(record(cuts(1), happenings=happened))
    assert review.dives[0].reported
    assert review.dives[0].evidence == "not judged"
    assert any("sag written on the sheet" in note for note in review.notes)


def masked() -> Frames:
    """Five sag dives in one small job, ten clean earlier readings on its rig."""
    rng = np.random.default_rng(21)
    readings = [*steady(1, 5, rng), *steady(2, 5, rng)]
    rows = cuts(2)
    for dive in range(3, 8):
        fall = np.r_[np.zeros(4), np.linspace(5, 24, 6), np.full(2, 24.0)]
        readings += series(dive, np.round(10 + 1.5 * rng.standard_normal(12) + fall).tolist())
        rows += [{"dive_no": dive, "dive_date": f"2026-05-{dive:02d}", "rods": 5} for _ in range(3)]
    return record(rows, readings=readings)


def test_masking_five_sag_dives_in_one_small_job_are_all_found() -> None:
    """Sag dives that outnumber the clean ones do not become the rig's usual drop."""
    review = sag(masked())
    assert [d.evidence in ("likely", "possible") for d in review.dives] == [False] * 2 + [True] * 5


def test_residuals_strengthen_the_word_and_never_make_it() -> None:
    """A dive whose pressure stood still stays without evidence, however many rods it took."""
    heavy = Residuals(None, None, "", "", {"J1 1": (4.0, 5.0), "J1 2": (6.0,)})
    review = sag(fallen(), residuals=heavy)
    assert review.dives[0].rods_residual == pytest.approx(9 / np.sqrt(2))
    assert review.dives[0].evidence == "no evidence"


def test_the_scope_bounds_what_is_shown_and_not_what_is_learned_from() -> None:
    """One day asked for is still judged by the rig's other days."""
    review = sag(fallen(), Scope(since=date(2026, 5, 4)))
    assert [d.dive for d in review.dives] == ["J1 4"]
    assert review.dives[0].evidence == "likely"


@pytest.mark.parametrize("shift", [-20, 1, 45])
def test_setting_the_regulator_higher_changes_no_word(shift: int) -> None:
    """Drops are what is judged: static and flowing higher by the same amount change nothing."""
    frames = fallen()
    both = {name: frames.readings[name] + shift * PSI for name in ("static_kpa", "flowing_kpa")}
    other = Frames(**{**vars(frames), "readings": frames.readings.assign(**both)})
    assert [d.evidence for d in sag(other).dives] == ["no evidence"] * 3 + ["likely"]


def test_json_has_the_stable_keys() -> None:
    """Every dive comes with the documented keys, SI in the name."""
    out = sag(fallen()).as_json()
    keys = {"job", "dive", "rig", "evidence", "readings", "fall_kpa", "first_cut", "cuts_during"}
    assert all(keys <= set(dive) for dive in out["sag"])
    assert out["sentence"].startswith("flowing read on")


def test_R54_the_limits_are_printed_with_the_run_length_they_stand_for() -> None:
    """The chart's limits come with their mean run to a false alarm, which a simulation finds too."""
    limits = sag(fallen()).limits
    rng = np.random.default_rng(6)
    runs = []
    for _ in range(400):
        total, n = 0.0, 0
        while total <= limits.h_per_cut:
            total, n = max(0.0, total + rng.standard_normal() - limits.k), n + 1
        runs.append(n)
    # the mean of 400 geometric-like runs lies within 4 standard errors of the truth
    assert abs(np.mean(runs) - limits.run_length_per_cut) < 4 * limits.run_length_per_cut / 20
    assert limits.run_length_per_rod > 5 * limits.run_length_per_cut
    assert "one false alarm in about" in sag_text(sag(fallen()))
