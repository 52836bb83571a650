"""Invented records shaped like one's own: the shape, what it says of the ranges, and what it refuses."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binomtest

from burnlog.analyses.invented import WORLDS, History, histories, history
from burnlog.analyses.rate_design import Settings
from burnlog.analyses.rehearsal import Rehearsal, Trials, rehearse, shape_of
from burnlog.analyses.tallies import Scope, gather
from burnlog.errors import FitError, InputError
from burnlog.reports.text_backtest import rehearsal_text


@pytest.fixture(scope="module")
def made() -> History:
    return history(WORLDS["base"], jobs=4, rng=np.random.default_rng(41))


@pytest.fixture(scope="module")
def rehearsed(made: History) -> Rehearsal:
    return rehearse(made.frames, count=30, seed=3)


def test_the_shape_is_that_of_the_record(made: History) -> None:
    """Jobs, lines, plates, blanks, crews and how rods were counted are read off the record."""
    tallyset = gather(made.frames)
    world = shape_of(made.frames, tallyset)
    pieces, cuts = tallyset.pieces, made.frames.cuts
    assert sorted(world.line_counts or ()) == sorted(pieces.groupby("job")["line_ref"].nunique())
    assert set(world.plates) == set(pieces["thickness_mm"].dropna())
    assert world.plate_weights is not None
    assert sum(world.plate_weights) == pytest.approx(1.0)
    for name in ("position", "visibility", "current", "power"):
        assert world.blanks[name] == pytest.approx(cuts[name].isna().mean())
    assert world.blanks["rods"] == pytest.approx(made.frames.tallies["rods"].isna().mean())
    assert world.divers_per_crew == int(pieces.groupby("job")["diver"].nunique().median())
    assert not world.one_job_crews


def test_invented_records_look_like_the_one_they_imitate() -> None:
    """A short-pieced record on two plates, half its positions blank, counted by the dive, is imitated as such."""
    odd = replace(
        WORLDS["base"],
        plates=(10.0, 30.0),
        plate_weights=(0.9, 0.1),
        line_median_m=0.3,
        line_length_sd=0.2,
        line_counts=(12, 15),
        blanks={"position": 0.5},
        dive_counts=(1.0, 1.0),
    )
    own = history(odd, jobs=5, rng=np.random.default_rng(2))
    world = shape_of(own.frames, gather(own.frames))
    drawn = histories(world, jobs=5, count=10, rng=np.random.default_rng(3))
    lines = pd.concat([h.frames.lines for h in drawn])
    cuts = pd.concat([h.frames.cuts for h in drawn])
    assert cuts["position"].isna().mean() == pytest.approx(own.frames.cuts["position"].isna().mean(), abs=0.12)
    assert lines["planned_length_m"].median() == pytest.approx(0.3, rel=0.25)
    assert set(cuts["thickness_mm"].dropna()) - {10.0, 30.0} <= set(WORLDS["base"].plates), "slips of the pen alone"
    assert cuts["thickness_mm"].isin([10.0, 30.0]).mean() > 0.98
    assert np.mean([h.frames.tallies["scope"].eq("dive").mean() for h in drawn]) > 0.7
    rods, metres = (sum(gather(h.frames).tallies[c].sum() for h in drawn) for c in ("rods", "new_length_m"))
    mine = gather(own.frames).tallies
    assert rods / metres == pytest.approx(mine["rods"].sum() / mine["new_length_m"].sum(), rel=0.2)


def test_ranges_hold_at_this_size_and_the_answer_rests_on_invention(rehearsed: Rehearsal) -> None:
    """At four jobs the exact band of each total reaches the demanded share, and the text says what it rests on."""
    assert set(rehearsed.held) == {"rods", "seconds", "dives"}
    for held in rehearsed.held.values():
        assert held.histories == 30 - rehearsed.refused
        assert held.c80_low <= 0.92
        assert held.c80_high >= 0.78
        assert held.c50 < held.c80 < held.c95
        assert binomtest(round(held.c80 * held.histories), held.histories, 0.85).pvalue > 1e-4
    text = rehearsal_text(rehearsed)
    assert text.startswith("INVENTED RECORDS. 30 records were made up in the shape of yours (4 jobs")
    assert "not whether yours is right" in text
    assert "seed 3, 30 invented records" in text
    assert text.isascii()
    assert max(map(len, text.splitlines())) <= 80
    assert json.loads(json.dumps(rehearsed.as_json(), allow_nan=False))["invented"] is True


def test_ranges_that_are_too_narrow_are_told_so(made: History) -> None:
    """A fit that denies any spread between jobs and divers is caught, in figures and in words."""
    sure = Settings(job_grid=(0.01, 0.01, 1), diver_grid=(0.01, 0.01, 1))
    found = rehearse(made.frames, count=30, seed=3, settings=sure)
    assert found.held["rods"].c80_high < 0.8
    assert "narrower than it says" in rehearsal_text(found)


def test_the_same_seed_says_the_same(made: History) -> None:
    """Figures are decided by the seed, and every record done is reported."""
    seen: list[tuple[int, int]] = []
    one = rehearse(made.frames, count=20, seed=5, progress=lambda done, to_do: seen.append((done, to_do)))
    two = rehearse(made.frames, count=20, seed=5)
    assert json.dumps(one.as_json()) == json.dumps(two.as_json())
    assert seen == [(n, 20) for n in range(1, 21)]


def test_too_little_to_rehearse_is_refused(made: History) -> None:
    """Two jobs give no range, so there is nothing to try; nor do five invented records say a share."""
    with pytest.raises(FitError, match=r"no range to rehearse: 2 jobs with [0-9]+ tallies"):
        rehearse(made.frames, Scope(jobs=("J01", "J02")))
    with pytest.raises(InputError, match="5 invented records are too few"):
        rehearse(made.frames, count=5)


def test_trials_count_each_record_once() -> None:
    """The share is over realisations, the exact band over records by their first realisation."""
    trials = Trials()
    said = np.linspace(1.0, 2.0, 1001)
    for first in (1.5, 5.0, 1.4, 1.6):
        trials.add(said, np.array([first, 1.5, 1.5, 1.95]))
    assert trials.share(80) == pytest.approx(np.mean([0.75, 0.5, 0.75, 0.75]))
    exact = binomtest(3, 4).proportion_ci(0.95, method="exact")
    assert trials.band == pytest.approx((exact.low, exact.high), abs=1e-9)
    assert trials.width == pytest.approx(np.log(1.9 / 1.1))
