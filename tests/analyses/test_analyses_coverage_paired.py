"""Paired scores: what they are made of, and that the integrated fit earns its keep on a few records."""

from __future__ import annotations

import math

import numpy as np
import pytest

from benchmarks.paired import differences, scores, tried
from burnlog.analyses.invented import WORLDS


def test_scores_are_those_of_the_closed_form() -> None:
    """A log-normal forecast has the CRPS of its normal log, and its P80 the pinball loss worked by hand."""
    draws = np.exp(np.random.default_rng(1).standard_normal(200_000))
    crps, loss = scores({"one": draws}, np.array([1.0]))["one"]
    assert crps == pytest.approx(2.0 / math.sqrt(2 * math.pi) - 1.0 / math.sqrt(math.pi), abs=0.004)
    assert loss == pytest.approx(0.2 * 0.8416, abs=0.003), "normal table: z of 0.80 is 0.8416"


def test_a_difference_is_paired_and_carries_its_error() -> None:
    """A method dearer by the same in every record differs without error; one of pure noise is not told apart."""
    rng = np.random.default_rng(2)
    ours = rng.uniform(0.1, 0.3, 40)
    noise = ours + 0.05 * np.tile([1.0, -1.0], 20)
    found = [
        {"integrated": (a, a), "dearer": (a + 0.1, a - 0.1), "noise": (b, b)}
        for a, b in zip(ours, noise, strict=True)
    ]
    by = {(one.score, one.method): one for one in differences(found)}
    assert by["CRPS", "dearer"].mean == pytest.approx(0.1)
    assert by["CRPS", "dearer"].error == pytest.approx(0.0, abs=1e-12)
    assert by["CRPS", "dearer"].verdict == "integrated nearer"
    assert by["pinball P80", "dearer"].verdict == "integrated farther"
    assert by["CRPS", "noise"].verdict == "not told apart"
    assert by["CRPS", "noise"].records == 40


@pytest.mark.slow
def test_the_integrated_fit_is_nearer_than_simpler_methods() -> None:
    """On 24 invented records of four jobs it beats the pooled ratio, the rule of thumb and the plug-in fit by more
    than 1.96 standard errors of the paired difference in CRPS.
    """
    by = {one.method: one for one in differences(tried(WORLDS["base"], 4, count=24, seed=8)) if one.score == "CRPS"}
    for method in ("pooled ratio", "rule of thumb", "plug-in"):
        assert by[method].records == 24
        assert by[method].verdict == "integrated nearer", (method, by[method])
