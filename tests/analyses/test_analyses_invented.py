"""Invented records: seeded, shaped like a log's, and true to the numbers they were drawn from."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pandas as pd
import pytest

from burnlog.analyses.invented import WORLDS, History, World, histories, history, realise, take_off
from burnlog.analyses.tallies import gather, ratio
from burnlog.analyses.worlds import BACKING, FAMILY, FOULING, POSITION, POWER
from burnlog.columns import Frames


def _frames_equal(one: Frames, other: Frames) -> bool:
    return all(getattr(one, f.name).equals(getattr(other, f.name)) for f in fields(one))


def _drawn(name: str, jobs: int = 6, seed: int = 11) -> History:
    return history(WORLDS[name], jobs=jobs, rng=np.random.default_rng(seed))


@pytest.mark.parametrize("name", sorted(WORLDS))
def test_each_world_fills_the_glossary(name: str) -> None:
    """Every world makes frames that pass the column glossary, with links that lead somewhere."""
    frames = _drawn(name).frames.checked()
    assert set(frames.tally_cuts["cut_id"]) == set(frames.cuts["cut_id"])
    assert set(frames.tally_cuts["tally_id"]) == set(frames.tallies["tally_id"])
    assert set(frames.cuts["dive_ref"]) <= set(frames.dives["dive_ref"])
    assert set(frames.cuts["line_ref"]) <= set(frames.lines["line_ref"])
    assert set(frames.readings["dive_ref"]) <= set(frames.dives["dive_ref"])
    assert frames.cuts["made_up"].all()
    assert frames.cuts["row"].ge(1).all()
    assert not frames.cuts.duplicated(["dive_ref", "row"]).any()


def test_same_seed_same_record_and_another_seed_another() -> None:
    """A record is decided by its seed."""
    assert _frames_equal(_drawn("sag").frames, _drawn("sag").frames)
    assert not _frames_equal(_drawn("sag").frames, _drawn("sag", seed=12).frames)


def test_many_histories_are_parted_cleanly() -> None:
    """Histories drawn side by side share nothing, and each holds its own jobs."""
    drawn = histories(WORLDS["base"], jobs=3, count=4, rng=np.random.default_rng(5))
    ids = [set(h.frames.tallies["tally_id"]) for h in drawn]
    assert sum(map(len, ids)) == len(set.union(*ids))
    for h in drawn:
        assert sorted(h.frames.jobs["job"]) == ["J01", "J02", "J03"]
        assert set(h.frames.cuts["job"]) == {"J01", "J02", "J03"}
        assert set(h.truth.people["diver"]) >= set(h.frames.cuts["diver"])


def test_records_are_as_awkward_as_they_claim() -> None:
    """Counts by cut and by dive, blanks, re-burns, abandoned lines and split lines all occur at their shares."""
    drawn = histories(WORLDS["base"], jobs=6, count=30, rng=np.random.default_rng(6))
    cuts = pd.concat([h.frames.cuts for h in drawn], ignore_index=True)
    tallies = pd.concat([h.frames.tallies for h in drawn], ignore_index=True)
    assert set(tallies["scope"]) == {"cut", "dive"}
    assert 0.06 < tallies["rods"].isna().mean() < 0.10
    assert 0.01 < tallies["rods_basis"].eq("at least").mean() < 0.04
    assert 0.20 < cuts["elapsed_s"].isna().mean() < 0.30
    assert {"first", "re-burn", "hanger"} == set(cuts["pass_kind"])
    assert {"part way", "through", "through with hangers", "abandoned"} == set(cuts["outcome"])
    assert tallies["rods"].dropna().mod(1).eq(0).all()
    firsts = cuts[cuts["pass_kind"] == "first"]
    assert cuts.loc[cuts["pass_kind"] != "first", "new_length_m"].eq(0).all()
    parts = firsts.groupby([firsts.index // 10**9, "job", "line_ref"]).size()
    assert (parts > 1).any()
    sizes = [len(gather(h.frames).tallies) / 6 for h in drawn]
    assert 15 < np.mean(sizes) < 30


def test_all_at_once_holds_every_trouble() -> None:
    """The hardest world has sag, wrong keys and crews that stay on one job for nine dives in ten."""
    drawn = histories(WORLDS["all at once"], jobs=5, count=20, rng=np.random.default_rng(9))
    dives = pd.concat([h.frames.dives.assign(record=n) for n, h in enumerate(drawn)], ignore_index=True)
    own = dives.groupby(["record", "job"])["crew"].agg(lambda crew: crew.value_counts(normalize=True).iloc[0])
    assert 0.86 < own.mean() < 0.95
    assert dives.groupby(["record", "crew"])["job"].nunique().max() > 1
    assert sum(len(h.truth.sags) for h in drawn) > 0.08 * len(dives)
    assert sum(len(h.truth.errors) for h in drawn) > 10
    alone = histories(WORLDS["one-job crews"], jobs=5, count=4, rng=np.random.default_rng(9))
    assert all(h.frames.dives.groupby("crew")["job"].nunique().max() == 1 for h in alone)


STILL = World(
    job_sd=(0.0, 0.0),
    diver_sd=0.0,
    line_sd=0.0,
    metre_sd=0.0,
    time_job_sd=0.0,
    time_diver_sd=0.0,
    time_sd=0.0,
    reburn=0.0,
    hanger=0.0,
    abandon=0.0,
    blanks={},
    whole_rods=False,
    effects={**WORLDS["base"].effects, "visibility": (0.0,) * 5, "current": (0.0,) * 4},
)


def test_without_luck_the_totals_are_the_closed_form() -> None:
    """With every spread at nought, rods are sum of rate x (length + start) x thickness x effects."""
    rng = np.random.default_rng(3)
    truth = history(STILL, jobs=2, rng=rng).truth
    job = take_off(STILL, rng=rng)
    lines = job.lines
    log_rate = np.log(lines["thickness_mm"] / 12.7) * STILL.exponent
    for what, levels in {
        "family": FAMILY,
        "position": POSITION,
        "fouling": FOULING,
        "backing": BACKING,
        "power": POWER,
    }.items():
        log_rate = log_rate + lines[what].map(dict(zip(levels, STILL.effect(what), strict=True)))
    rods = STILL.rods_per_m * (lines["length_m"] + STILL.start_m) * np.exp(log_rate)
    done = realise(truth, job, draws=3, rng=rng)
    assert done.rods == pytest.approx(rods.sum(), rel=1e-9)
    assert (done.dives >= np.floor(done.seconds / 60 / (job.dive_minutes * 1.4))).all()


def test_record_agrees_with_its_truth() -> None:
    """Without luck, a record's counts over a job are those of the closed form, line by line."""
    frames = history(STILL, jobs=3, rng=np.random.default_rng(8)).frames
    tallyset = gather(frames)
    assert not set(tallyset.left_out) - {"rods but no new length"}
    assert ratio(tallyset).length_m == pytest.approx(
        frames.lines["planned_length_m"].sum(), abs=0.01 * len(frames.cuts)
    )


def test_spreads_and_crew_effects_are_as_stated() -> None:
    """Over many realisations the log totals of one job spread at least by the spread between jobs."""
    rng = np.random.default_rng(4)
    world = replace(STILL, job_sd=(0.25, 0.25), crew_effects=(0.3, 0.0, 0.0, 0.0))
    truth = history(world, jobs=2, rng=rng).truth
    job = take_off(world, rng=rng)
    rods = realise(truth, job, draws=4000, rng=rng).rods
    assert np.log(rods).std() == pytest.approx(0.25, rel=0.05)
    ratio_of_crews = (
        np.log(realise(truth, job, draws=4000, rng=rng, crew="CREW1").rods).mean()
        - np.log(realise(truth, job, draws=4000, rng=rng, crew="CREW2").rods).mean()
    )
    assert ratio_of_crews == pytest.approx(0.3, abs=0.02)


def test_typing_errors_are_listed_and_nothing_else_changed() -> None:
    """The record with errors differs from the record without in the listed cells and in no others."""
    clean = history(replace(WORLDS["base"], typing_errors=0.0), jobs=6, rng=np.random.default_rng(9))
    wrong = history(replace(WORLDS["base"], typing_errors=0.05), jobs=6, rng=np.random.default_rng(9))
    errors = wrong.truth.errors
    assert len(errors) >= 3
    listed = {(row.target, row.column) for row in errors.itertuples()}
    for name, key in (("cuts", "cut_id"), ("tallies", "tally_id")):
        one = getattr(clean.frames, name).set_index(key)
        two = getattr(wrong.frames, name).set_index(key)
        for column in ("rods", "new_length_m", "thickness_mm", "elapsed_s"):
            if column in one:
                changed = one.index[one[column].fillna(-1) != two[column].fillna(-1)]
                assert {(target, column) for target in changed} == {
                    pair for pair in listed if pair[1] == column and pair[0] in one.index
                }


def test_pressure_falls_in_sag_dives() -> None:
    """On dives that sag, static less flowing grows by about the listed fall from first reading to last."""
    drawn = histories(replace(WORLDS["sag"], series=1.0), jobs=6, count=10, rng=np.random.default_rng(10))
    grown, listed, calm = [], [], []
    for h in drawn:
        readings = h.frames.readings
        drop = (readings["static_kpa"] - readings["flowing_kpa"]) / 6.894757
        by_dive = drop.groupby(readings["dive_ref"])
        change = by_dive.last() - by_dive.first()
        sags = h.truth.sags.set_index("dive_ref")["fall_psi"]
        long = readings.groupby("dive_ref")["after_rod"].max().loc[lambda s: s > 18].index
        grown += change.reindex(sags.index.intersection(long)).tolist()
        listed += sags.reindex(sags.index.intersection(long)).tolist()
        calm += change.drop(sags.index, errors="ignore").tolist()
    assert len(grown) > 10
    assert np.mean(grown) == pytest.approx(np.mean(listed), rel=0.2)
    assert abs(np.mean(calm)) < 0.5


def test_take_off_can_be_all_short_or_all_long() -> None:
    """Line lengths keep to the bounds asked for."""
    rng = np.random.default_rng(2)
    short = take_off(WORLDS["base"], rng=rng, pieces=(0.15, 0.38)).lines["length_m"]
    assert short.between(0.15, 0.38).all()
    assert take_off(WORLDS["base"], rng=rng).lines["length_m"].max() > 0.38
