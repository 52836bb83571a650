"""Ranges for a new job hold on invented histories, judged by the exact interval of what was counted."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from benchmarks.coverage import Table, apart, found_wrong, median_reach, tried, verdicts
from burnlog.analyses.invented import WORLDS, histories
from burnlog.analyses.rehearsal import Trials
from burnlog.stats.counts import proportion


def _overlaps(band: tuple[float, float], low: float, high: float) -> bool:
    return band[0] <= high and band[1] >= low


@pytest.mark.slow
@pytest.mark.parametrize(
    ("world", "jobs", "count", "low", "high"),
    [
        ("base", 3, 80, 0.78, 0.92),
        ("all at once", 6, 80, 0.74, 0.86),
        ("heavy tails", 12, 30, 0.74, 0.86),
        ("one-job crews", 5, 30, 0.78, 0.92),
    ],
)
def test_R43_the_range_for_a_new_job_holds(world: str, jobs: int, count: int, low: float, high: float) -> None:
    """Rods, cut time and dives of a new job fall inside the 80 % range as often as the demanded share allows; a
    pooled ratio in the same histories does not come near.
    """
    table: Table
    table, refused = tried(WORLDS[world], jobs, count=count, seed=4711, pieces=("",))
    assert refused == 0
    for quantity in ("rods", "seconds", "dives"):
        cell = table["integrated", quantity]
        assert len(cell.once) >= 0.9 * count
        assert _overlaps(cell.band, low, high), (quantity, cell.band)
        wide = proportion(round(cell.share(95) * count), count)
        assert wide.high >= 0.92, quantity
    pooled = table["pooled ratio", "rods"]
    assert not _overlaps(pooled.band, low, high)


def _trials(share: float, bias: float, rng: np.random.Generator) -> Trials:
    """Four hundred records whose ranges hold a share of what comes, about a middle that is off by a bias."""
    trials = Trials()
    for _ in range(400):
        said = np.exp(bias + rng.standard_normal(500))
        inside = rng.random(60) < share
        trials.add(said, np.where(inside, 1.0 + 0.1 * rng.standard_normal(60), 1e3))
    return trials


def test_verdicts_tell_what_was_met_from_what_was_missed() -> None:
    """Ranges that hold too seldom, a middle that is off and short bids far from long ones are called missed."""
    rng = np.random.default_rng(5)
    good = {("integrated", name): _trials(0.82, 0.0, rng) for name in ("rods", "seconds", "dives")}
    good |= {
        ("integrated", "short rods"): _trials(0.82, -0.02, rng),
        ("integrated", "long rods"): _trials(0.82, 0.02, rng),
    }
    bad = dict(good)
    bad["integrated", "rods"] = _trials(0.60, 0.3, rng)
    bad["integrated", "short rods"] = _trials(0.82, -0.3, rng)
    by = {what: met for what, _, met in verdicts(6, bad)}
    assert by["6 jobs, rods: 80 % range holds 0.74-0.86"] == "MISSED"
    assert by["6 jobs, rods: 95 % range holds 0.92 or more"] == "MISSED"
    assert by["6 jobs, rods: median bias within 0.05"] == "MISSED"
    assert by["6 jobs: long and short bids within 0.10 of each other"] == "MISSED"
    kept = {what: met for what, _, met in verdicts(6, good)}
    assert kept["6 jobs, rods: 80 % range holds 0.74-0.86"] == "met"
    assert kept["6 jobs, dives: median bias within 0.05"] == "met"
    assert kept["6 jobs: long and short bids within 0.10 of each other"] == "met"
    gap, low, high = apart(bad)
    assert low < gap < high


def test_the_interval_of_a_median_covers_it_as_often_as_it_says() -> None:
    """Over 1,000 samples of 25 the exact interval holds the true median in 95 % or a little more.

    Between ranks 8 and 18 of 25 the binomial share is 0.957 (table: 1 - 2 P(X <= 7), X binomial of 25 halves).
    """
    samples = np.random.default_rng(6).standard_normal((1000, 25))
    held = sum(low <= 0.0 <= high for low, high in map(median_reach, samples))
    assert 0.935 < held / 1000 < 0.975


def test_only_counts_with_an_error_are_found_wrong() -> None:
    """Looking up the flags leaves out counts with a typing error, most ten-fold ones too, and no other."""
    tenfold = found = 0
    world = replace(WORLDS["all at once"], typing_errors=0.05)
    for made in histories(world, jobs=5, count=5, rng=np.random.default_rng(15)):
        out, errors, links = set(found_wrong(made)), made.truth.errors, made.frames.tally_cuts
        held = set(errors["target"]) | set(links.loc[links["cut_id"].isin(errors["target"]), "tally_id"])
        assert out <= held
        wrong = set(errors.loc[errors["kind"] == "rods x10", "target"])
        tenfold, found = tenfold + len(wrong), found + len(wrong & out)
    assert tenfold >= 3
    assert found >= 0.6 * tenfold
