"""Flags: questions in a stable order, from rules that can fire in small sets, with decisions beside them."""

from __future__ import annotations

import math
import sys
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from plain_record import frames_of
from review_record import record

from burnlog.analyses.flags import flags
from burnlog.analyses.invented import WORLDS, history
from burnlog.analyses.rate_design import design
from burnlog.analyses.residuals import residuals
from burnlog.analyses.scope import Scope
from burnlog.analyses.tallies import gather, ratio
from burnlog.columns import Frames
from burnlog.reports.text_review import flags_text
from burnlog.stats.robust import fit_robust

sys.path.insert(0, str(Path(__file__).parents[2]))
from benchmarks import flags as measured

RATES = (1.00, 1.05, 0.95, 1.10, 0.90, 1.02, 0.98, 2.50)


def one_job(rates: tuple[float, ...]) -> Frames:
    """One tally a dive on one job and one plate, 10 m each."""
    return record(
        [
            {"rods": 10 * r, "new_length_m": 10.0, "planned_length_m": 10.0, "dive_no": k}
            for k, r in enumerate(rates, 1)
        ]
    )


@pytest.fixture(scope="module")
def season() -> Frames:
    """An invented season of 8 jobs without a single error."""
    return history(WORLDS["base"], jobs=8, rng=np.random.default_rng(12)).frames


def test_R53_eight_rates_flag_the_last_though_its_plain_z_is_small() -> None:
    """A plain z cannot pass (n - 1)/sqrt(n); the left-out residual of the odd rate is 13.1."""
    logs = np.log(RATES)
    assert abs(logs[-1] - logs.mean()) / logs.std(ddof=1) == pytest.approx(2.43, abs=0.005)  # recomputed
    left_out = fit_robust(logs, np.ones((8, 1)), [], prior_precision=[0.0], df=np.inf).left_out_t
    assert left_out[-1] == pytest.approx(13.1, abs=0.05)  # recomputed
    review = flags(one_job(RATES))
    assert [(flag.rule, flag.target) for flag in review.flags] == [
        ("rods over length out of line", "tally 8 (J1 8.1)")
    ]
    flag = review.flags[0]
    assert flag.seen == pytest.approx(2.5)
    assert flag.expected_low is not None
    assert flag.expected_high is not None
    assert 0.8 < flag.expected_low < 1 < flag.expected_high < 1.2
    assert "generalised ESD" in review.model


def test_R53_fewer_than_seven_tallies_get_physical_rules_only_and_say_so() -> None:
    """Six tallies, one of them 2.5 times the others: no flag, and the sentence that says why."""
    review = flags(one_job(RATES[2:]))
    assert review.flags == ()
    assert "6 tallies: physical rules only" in review.model
    assert "physical rules only" in flags_text(review)


def test_R53_a_ten_fold_count_in_a_season_is_flagged_with_its_range(season: Frames) -> None:
    """The mistyped tally is asked about with the range that holds its true count, and nothing else is new."""
    before = {flag.target for flag in flags(season).flags}
    used = gather(season).tallies
    chosen = used.index[used["rods"].between(6, 20) & used["cuts"].eq(1)][3]
    typed = season.tallies.assign(
        rods=season.tallies["rods"].mask(season.tallies["tally_id"] == chosen, season.tallies["rods"] * 10)
    )
    review = flags(replace(season, tallies=typed))
    new = [flag for flag in review.flags if flag.target not in before]
    # so many rods in that time are asked about too: the count is what all of the questions are about
    assert {flag.target for flag in new} == {used["ref"][chosen]}
    new = [flag for flag in new if flag.kind == "rods"]
    assert len(new) == 1
    assert new[0].seen == pytest.approx(10 * used["rods"][chosen])
    assert new[0].expected_low < used["rods"][chosen] < new[0].expected_high
    assert "check the count" in new[0].question
    assert "mm" in new[0].sheet
    assert review.moved_percent is not None
    assert review.moved_percent > 0


def test_a_clock_an_hour_out_is_a_question_about_the_clock_or_the_wait(season: Frames) -> None:
    """An hour too much on one cut is put as: check the clock, or say what you waited for."""
    timed = residuals(gather(season)).time
    assert timed is not None
    chosen = timed.design.tallies.index[timed.design.tallies["cuts"].eq(1)][5]
    cut = season.tally_cuts.loc[season.tally_cuts["tally_id"] == chosen, "cut_id"].iloc[0]
    more = season.cuts["elapsed_s"].mask(season.cuts["cut_id"] == cut, season.cuts["elapsed_s"] + 3600)
    review = flags(replace(season, cuts=season.cuts.assign(elapsed_s=more)))
    asked = [flag for flag in review.flags if flag.kind == "time"]
    assert any("check the clock, or say what you waited for" in flag.question for flag in asked)
    assert any(flag.target == timed.design.tallies["ref"][chosen] for flag in asked)


def test_R55_a_decision_stands_beside_its_flag_and_the_flag_stays() -> None:
    """Default keep; the latest decision for the rule and target is shown; the flag and the rate stay."""
    frames = one_job(RATES)
    assert [flag.decision for flag in flags(frames).flags] == ["keep"]
    said = {
        "rule": "rods over length out of line",
        "target": "tally 8 (J1 8.1)",
        "why": "thick weld",
        "decided_by": "JM",
    }
    decided = [
        {**said, "decision": "data-error", "decided_at": "2026-05-02"},
        {**said, "decision": "leave-out", "decided_at": "2026-05-03"},
        {**said, "rule": "another rule", "decision": "keep", "decided_at": "2026-05-04"},
    ]
    other = record(
        [
            {"rods": 10 * r, "new_length_m": 10.0, "planned_length_m": 10.0, "dive_no": k}
            for k, r in enumerate(RATES, 1)
        ],
        decisions=decided,
    )
    review = flags(other)
    assert [flag.decision for flag in review.flags] == ["leave-out"]
    assert "decided: leave-out" in flags_text(review)
    assert ratio(gather(other)).rods_per_m == pytest.approx(sum(RATES) / 8)


def test_flags_say_what_they_cannot_see_and_never_a_cause(season: Frames) -> None:
    """The text names what stays unseen, offers no residual as sag, and uses none of the banned words."""
    world = replace(WORLDS["base"], sag=0.1, typing_errors=0.02)
    review = flags(history(world, jobs=6, rng=np.random.default_rng(3)).frames)
    text = flags_text(review, profile="us", most=None)
    assert text.isascii()
    assert max(len(line) for line in text.splitlines()) <= 80
    lowered = text.lower()
    for word in ("caused", "best", "worst", "rank", "approved", "compliant", "safe to"):
        assert word not in lowered
    assert "not seen by these rules" in lowered
    assert "one such count in fifty" in " ".join(lowered.split())
    kinds = [flag.kind for flag in review.flags]
    assert kinds == sorted(kinds, key=["check the sheet", "rods", "time", "sag"].index)
    keys = {"rule", "kind", "target", "job", "dive", "cut", "seen", "expected_low", "expected_high"}
    keys |= {"unit", "score", "sheet", "decision"}
    assert all(keys <= set(flag) for flag in review.as_json()["flags"])


def test_the_scope_bounds_the_list_and_not_what_is_learned_from(season: Frames) -> None:
    """Asking for one job or day lists its flags alone, found with the whole history."""
    odd = season.tallies["tally_id"].isin(gather(season).tallies.index[[5, 150]])
    frames = replace(
        season, tallies=season.tallies.assign(rods=season.tallies["rods"].mask(odd, 9 * season.tallies["rods"]))
    )
    everything = flags(frames)
    job = everything.flags[0].job
    assert job is not None
    some = flags(frames, Scope(jobs=(job,)))
    assert [flag.target for flag in some.flags] == [flag.target for flag in everything.flags if flag.job == job]
    assert some.tallies == everything.tallies
    assert flags(frames, Scope(since=date(2035, 1, 1))).flags == ()


def test_the_same_record_in_another_order_raises_the_same_flags(season: Frames) -> None:
    """Row order of the frames changes nothing."""
    rng = np.random.default_rng(1)
    turned = Frames(
        **{
            name: frame.iloc[rng.permutation(len(frame))].reset_index(drop=True)
            for name, frame in vars(season).items()
        }
    )

    def asked(frames: Frames) -> list[tuple[Any, ...]]:
        return [(flag.rule, flag.target, round(flag.score, 6)) for flag in flags(frames).flags]

    assert asked(turned) == asked(season)


@pytest.mark.slow
def test_doubled_tallies_hardly_move_the_robust_rate() -> None:
    """5 % of tallies made twice as large move the robust rate by under 3 %, the ordinary and the bid's by more."""
    robust, ordinary, pooled = measured.doubled(5, 8)
    assert abs(robust) < 3.0
    assert ordinary > robust + 1.0
    # the rate that plans keeps the bad days
    assert pooled > ordinary


def test_an_ordinary_residual_misses_most_sag_that_pressure_finds() -> None:
    """Five sag dives in one small job after ten clean readings: all found by pressure, under half by a residual."""
    made, pressure, residual = measured.masking(31, 3)
    assert made == 15
    assert pressure == made
    assert 2 * residual < made


@pytest.mark.slow
def test_recall_and_false_flags_on_invented_records_keep_their_floors() -> None:
    """On eight invented records the exact bands reach every floor of the benchmark, and false flags stay rare."""
    world = replace(WORLDS["base"], sag=0.05, typing_errors=0.02)
    lines = measured.error_lines(measured.catch_errors(world, seed=77, count=8))
    assert not [line for line in lines if "MISSED" in line], "\n".join(lines)


@pytest.mark.slow
def test_sag_floors_on_invented_records_at_one_reading_per_rod() -> None:
    """With a reading per rod nearly every fall is found, with few false alarms, to 1 psi and to 5 psi."""
    blanks = {**WORLDS["base"].blanks, "flowing": 0.0}
    for gauge, ceiling in ((1.0, 3.0), (5.0, 7.0)):
        world = replace(
            WORLDS["base"], sag=0.08, series=1.0, gauge_psi=gauge, dive_minutes=(35.0, 60.0), blanks=blanks
        )
        dives = measured.catch_sag(world, seed=78, count=4)
        found = dives[dives["true_psi"].gt(0) & dives["rods_after"].ge(8)]
        clean = dives[dives["true_psi"].eq(0) & dives["word"].ne("not judged")]
        assert len(found) > 10
        assert "holds" in measured._share(int(found["alarm"].sum()), len(found), 0.95)
        assert "holds" in measured._per_100(int(clean["alarm"].sum()), len(clean), ceiling)


@pytest.mark.slow
def test_sag_floors_on_invented_records_at_one_reading_per_cut() -> None:
    """With a reading in every cut `likely` is nearly always right and falls read at 15 psi or more are found."""
    base = replace(WORLDS["base"], sag=0.08, series=0.0)
    floors = {"likely precision": 0.90, "likely or possible large": 0.85}
    whole = measured.catch_sag(replace(base, blanks={**base.blanks, "flowing": 0.0}), seed=79, count=4)
    large = whole[whole["read_psi"].ge(15)]
    assert len(large) > 8
    assert large["word"].isin(("likely", "possible")).mean() >= 0.85
    assert whole.loc[whole["word"].eq("likely"), "true_psi"].gt(0).mean() >= 0.90
    lines = measured.sag_lines("all recorded", whole, floors)
    assert not [line for line in lines if "MISSED" in line], "\n".join(lines)
    # with seven in ten left blank the dives that cannot be judged are counted, and no word is made up for them
    few = measured.catch_sag(replace(base, blanks={**base.blanks, "flowing": 0.7}), seed=79, count=2)
    blank = few["word"].eq("not judged")
    assert 0.3 < blank.mean() < 0.8
    assert few.loc[blank, "baseline"].eq(0).all()
    assert few.loc[few["word"].isin(("likely", "no evidence")), "baseline"].ge(10).all()
    assert f"{int(blank.sum())} of {len(few)} dives not judged" in measured.sag_lines("few", few, {})[0]


def test_the_fit_behind_the_flags_is_the_one_for_planning(season: Frames) -> None:
    """Rows, columns and priors of the residual fit are those of the rates fit."""
    judged = residuals(gather(season)).rods
    assert judged is not None
    assert judged.design.names == design(gather(season)).names
    assert len(judged.fit.left_out_t) == len(gather(season).tallies)


@pytest.mark.parametrize(("odd", "asked"), [(6.0, 0), (50.0, 1)])
def test_counts_that_repeat_are_no_spread_of_nothing(odd: float, asked: int) -> None:
    """Of 40 counts all but one are 5 rods: a 6 may be the same burn rounded up, a 50 is asked about."""
    rows = [
        {"job": f"J{n % 4}", "dive_no": 1 + n // 4, "new_length_m": 1.0, "planned_length_m": 1.0, "rods": 5.0}
        for n in range(40)
    ]
    found = flags(frames_of([*rows[:-1], {**rows[-1], "rods": odd}]))
    rods = [flag for flag in found.flags if flag.kind == "rods"]
    assert len(rods) == asked
    for flag in rods:
        assert flag.expected_low == pytest.approx(5.0 * math.exp(-0.2))
        assert flag.expected_high == pytest.approx(5.0 * math.exp(0.2))
        assert flag.score == pytest.approx(math.log(10.0) / 0.1)
