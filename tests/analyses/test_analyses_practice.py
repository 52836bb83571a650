"""Practice: attempts in order, calls and faults first, settings never joined, spread shown as it is."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from review_record import record
from scipy import stats

from burnlog.analyses.crews import Remark
from burnlog.analyses.practice import practice
from burnlog.analyses.scope import Scope
from burnlog.analyses.spread import attempts_to_tell, split_spread
from burnlog.columns import Frames
from burnlog.errors import RefusedError
from burnlog.reports.text_people import practice_text


def rng() -> np.random.Generator:
    """The seed of every panel here."""
    return np.random.default_rng(3)


def school(people: int = 12, attempts: int = 4, setting: str = "test tank", **more: Any) -> list[dict[str, Any]]:
    """A class: each person cuts a coupon of 0.6 m on each of its days."""
    luck = np.random.default_rng(people * 100 + attempts)
    skill = 0.2 * luck.standard_normal(people)
    return [
        {
            "job": "CLASS",
            "record_class": "training",
            "setting": setting,
            "dive_no": 1 + day * people + person,
            "dive_date": f"2026-03-{day + 1:02d}",
            "diver": f"TR{person + 1:02d}",
            "new_length_m": 0.6,
            "planned_length_m": 0.6,
            "rods": float(np.round(4 * np.exp(skill[person] + 0.2 * luck.standard_normal()), 2)),
            "restarts": 1.0,
            "elapsed_s": 600.0,
            **more,
        }
        for day in range(attempts)
        for person in range(people)
    ]


def test_R71_twelve_trainees_stand_in_code_order_with_every_attempt() -> None:
    """12 trainees with 4 attempts each: 12 rows in code order, attempts numbered in the order made."""
    panel = practice(record(school()), rng=rng()).panels[0]
    codes = [person.code for person in panel.people]
    assert codes == sorted(codes)
    assert len(codes) == 12
    assert [a.number for a in panel.attempts if a.person == "TR05"] == [1, 2, 3, 4]
    assert all(a.rods_per_m is not None for a in panel.attempts)
    assert panel.split is not None
    assert 0 < panel.split.share_low < panel.split.between_share < panel.split.share_high < 1
    low, high = panel.middle_half or (0.0, 0.0)
    rates = [a.rods_per_m for a in panel.attempts if a.rods_per_m is not None]
    assert sum(low <= r <= high for r in rates) == 24


def test_R71_fewer_than_three_people_or_two_attempts_get_dots_only() -> None:
    """Two people, or twelve with one attempt each: the attempts stand, the split does not."""
    for rows in (school(people=2), school(attempts=1)):
        panel = practice(record(rows), rng=rng()).panels[0]
        assert panel.split is None
        assert "3 are needed to split the spread" in panel.why_no_split
        assert len(panel.attempts) == len(rows)


def test_R73_dry_tank_and_open_water_stand_apart() -> None:
    """Each setting has a panel of its own; no attempt, person or figure is in two."""
    rows = [
        *school(people=3, attempts=2, setting="dry practice"),
        *[{**row, "dive_no": row["dive_no"] + 50} for row in school(people=3, attempts=2, setting="test tank")],
        *[{**row, "dive_no": row["dive_no"] + 90} for row in school(people=3, attempts=2, setting="open water")],
        *[{**row, "record_class": "production", "job": "P"} for row in school(people=3, setting="open water")],
    ]
    panels = practice(record(rows), rng=rng()).panels
    assert [panel.setting for panel in panels] == ["dry practice", "test tank", "open water"]
    assert [len(panel.attempts) for panel in panels] == [6, 6, 6]
    dives = [{a.dive for a in panel.attempts} for panel in panels]
    assert not dives[0] & dives[1]
    assert not dives[1] & dives[2]


def test_R73_an_attempt_without_a_day_is_left_out_and_counted() -> None:
    """What has no day has no place in an order."""
    rows = school(people=3, attempts=3)
    rows[4]["dive_date"] = None
    panel = practice(record(rows), rng=rng()).panels[0]
    assert len(panel.attempts) == 8
    assert panel.left_out == {"attempt without a day": 1}


def test_R73_calls_and_faults_come_first_with_their_intervals_and_blanks() -> None:
    """Calls made correctly and faults, each with an exact interval; blanks are no zeros."""
    frames = record(school(people=3, attempts=2))
    dives = frames.dives.sort_values("dive_no").reset_index(drop=True)
    dives["calls_made"] = [10.0, 10.0, np.nan, 10.0, 10.0, np.nan]
    dives["calls_right"] = [9.0, 10.0, np.nan, 9.0, 10.0, np.nan]
    dives["faults"] = [0.0, 0.0, 1.0, 0.0, np.nan, np.nan]
    panel = practice(Frames(**{**vars(frames), "dives": dives}), rng=rng()).panels[0]
    first, second, third = panel.people
    exact = stats.binomtest(18, 20).proportion_ci(0.95, method="exact")
    assert (first.calls.count, first.calls.exposure) == (18, 20)
    assert (first.calls.low, first.calls.high) == pytest.approx((exact.low, exact.high), rel=1e-9)
    assert "none recorded in 2 dives" in first.faults.sentence()
    assert (second.faults.exposure, second.faults.blank) == (1, 1)
    assert third.calls.rate is None
    text = practice_text(practice(Frames(**{**vars(frames), "dives": dives}), rng=rng()))
    assert text.index("calls and safety faults") < text.index("stubs and restarts") < text.index("rods per m")


def test_R51_a_trend_needs_eight_attempts_on_one_plate_and_finds_an_80_per_cent_curve() -> None:
    """The published 80 % unit curve is found; its first seven attempts are refused."""
    # Crawford unit times at 80 %, first unit 100: 100 n^log2(0.8), recomputed
    units = [100, 80, 70.2104, 64, 59.5637, 56.1683, 53.4490, 51.2]
    rows = school(people=1, attempts=8)
    for row, rods in zip(rows, units, strict=True):
        row["rods"] = rods
    trend = practice(record(rows), rng=rng()).panels[0].trends[0]
    assert trend.rate == pytest.approx(0.80, abs=1e-5)
    assert "Crawford unit curve 80 %" in trend.sentence()
    short = practice(record(rows[:7]), rng=rng()).panels[0].trends[0]
    assert short.rate is None
    assert "7 attempts" in short.sentence()
    assert "8 are needed" in short.sentence()


def test_R51_attempts_on_another_plate_do_not_make_up_the_eight() -> None:
    """Eight attempts on two plates are no curve."""
    rows = school(people=1, attempts=8)
    for row in rows[:3]:
        row["thickness_mm"] = 25.4
    assert practice(record(rows), rng=rng()).panels[0].trends[0].rate is None


def test_R70_training_stays_out_of_paid_work_and_the_other_way_round() -> None:
    """A record without training is refused with what it holds instead."""
    with pytest.raises(RefusedError, match="2 production dives"):
        practice(record([{"dive_no": 1, "rods": 5}, {"dive_no": 2, "rods": 6}]), rng=rng())
    rows = [*school(people=3, attempts=2), {"job": "P", "dive_no": 7, "rods": 5}]
    panels = practice(record(rows), Scope(jobs=("CLASS",)), rng=rng()).panels
    assert [panel.setting for panel in panels] == ["test tank"]
    assert {a.person for a in panels[0].attempts} == {"TR01", "TR02", "TR03"}


def test_blanks_say_what_could_not_be_computed() -> None:
    """A missing count and a missing time are counted with what they cost; the attempt keeps its number."""
    rows = school(people=3, attempts=3)
    rows[0].pop("rods")
    rows[5]["elapsed_s"] = np.nan
    panel = practice(record(rows), rng=rng()).panels[0]
    first = next(a for a in panel.attempts if a.person == "TR01" and a.number == 1)
    assert first.rods_per_m is None
    assert first.why_blank == "no rod count"
    assert panel.blanks["no rods over length: no rod count"] == 1
    assert panel.blanks["no time over length: elapsed not recorded"] == 1


def test_technique_words_stubs_and_restarts_are_counted() -> None:
    """Words an instructor wrote, stubs against the planned one, restarts per attempt."""
    rows = school(people=3, attempts=2, technique="")
    rows[0]["technique"] = "hurried start; contact lost"
    rows[4]["technique"] = "contact lost"
    tallies = [
        {
            "tally_id": f"t{k}",
            "tally_no": k,
            "job": "CLASS",
            "scope": "cut",
            "dive_ref": f"CLASS {row['dive_no']}",
            "rods": 3.0,
            "rods_basis": "measured",
            "rod_type": "EXO",
            "family": "exothermic",
            "rod_length_mm": 457.2,
            "planned_stub_mm": 76.2,
        }
        for k, row in enumerate(rows, 1)
    ]
    parts = [{"tally_id": "t1", "stub_mm": 152.4}, {"tally_id": "t4", "stub_mm": 50.8}]
    frames = record(rows, tallies=tallies, tally_cuts=[(f"t{k}", f"c{k}") for k in range(1, 7)], rod_parts=parts)
    panel = practice(frames, rng=rng()).panels[0]
    assert panel.technique == {"contact lost": 2, "hurried start": 1}
    assert panel.technique_cuts == 2
    person = panel.people[0]
    assert (person.stubs, person.stub_mm, person.short_stubs) == (2, pytest.approx(101.6), 1)
    assert (person.restarts.count, person.restarts.exposure) == (2, 2)


def test_the_split_finds_the_spread_that_made_the_attempts() -> None:
    """Over 60 invented classes the 80 % interval of the share between people holds the truth, four times in five."""
    inside = 0
    for seed in range(60):
        luck = np.random.default_rng([5, seed])
        between, within = luck.uniform(0.1, 0.3), luck.uniform(0.15, 0.3)
        skill = between * luck.standard_normal(12)
        made = [
            (f"P{p:02d}", float(8 * np.exp(skill[p] + within * luck.standard_normal())), 12.7)
            for p in range(12)
            for _ in range(5)
        ]
        split, why = split_spread(made, rng=luck, draws=1000)
        assert why == ""
        assert split is not None
        truth = between**2 / (between**2 + within**2)
        inside += split.share_low <= truth <= split.share_high
    low, high = stats.binom.interval(0.99, 60, 0.80)
    assert low <= inside <= high


def test_attempts_to_tell_two_people_apart_agree_with_statsmodels() -> None:
    """The smallest number of attempts is that of statsmodels' power of a two-sample t test."""
    from statsmodels.stats.power import TTestIndPower

    for ratio, sd in ((1.2, 0.25), (1.2, 0.15), (0.8, 0.3), (1.5, 0.2)):
        n = attempts_to_tell(ratio, sd)
        assert n is not None
        effect = abs(np.log(ratio)) / sd
        power = TTestIndPower().power
        assert power(effect, n, 0.05) >= 0.8 > power(effect, n - 1, 0.05)
    assert attempts_to_tell(1.02, 0.5) is None


def test_R71_whole_counts_of_few_rods_are_said_to_be_coarse() -> None:
    """Half the attempts at two rods: the text says what one rod more is worth; with a stub measured it does not."""
    rows = school()
    for row in rows:
        row["rods"] = 2.0
    panel = practice(record(rows), rng=rng()).panels[0]
    assert panel.coarse_rods == 2.0
    text = " ".join(practice_text(practice(record(rows), rng=rng())).split())
    assert "one rod more or less is 50 % of such a burn" in text
    rows[0]["rods"] = 1.6
    assert practice(record(rows), rng=rng()).panels[0].coarse_rods is None
    for row in rows:
        row["rods"] = 8.0
    assert practice(record(rows), rng=rng()).panels[0].coarse_rods is None


def test_R51_R71_the_text_says_what_four_attempts_can_tell() -> None:
    """No curve below eight attempts, how many attempts tell two people apart, and what no fault leaves open."""
    review = practice(record(school()), rng=rng())
    split = review.panels[0].split
    assert split is not None
    text = " ".join(practice_text(review).split())
    assert "no learning curve for anybody: 8 attempts" in text
    assert f"takes {split.to_tell} attempts each ({split.to_tell_low} to {split.to_tell_high})" in text
    assert f"between people {100 * split.between_share:.0f} % of the spread" in text


def test_R69_a_remark_and_the_text_of_a_class() -> None:
    """Remarks stand whole; the text is ASCII, 80 columns, and holds no banned word."""
    remark = Remark("TR03", "2026-03-05", "Glove torn on the second day.")
    review = practice(record(school()), rng=rng(), remarks=[remark])
    text = practice_text(review, profile="us")
    assert "Glove torn on the second day." in text
    assert text.startswith("MADE UP" if review.made_up else "TRAINING")
    jobs = record(school()).jobs
    for made_up, first in ((True, "MADE UP"), (False, "TRAINING")):
        frames = Frames(**{**vars(record(school())), "jobs": jobs.assign(made_up=made_up)})
        assert practice_text(practice(frames, rng=rng())).startswith(first)
    assert text.isascii()
    assert max(len(line) for line in text.splitlines()) <= 80
    for word in ("best", "worst", "rank", "league", "performer", "fastest"):
        assert word not in text.lower()
    out = review.as_json()
    assert out["panels"][0]["people"][0]["calls"]["what"] == "calls made correctly"
    assert out["remarks"][0]["day"] == "2026-03-05"
