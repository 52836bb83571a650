"""Scores against published and integrated values."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from burnlog.stats.scores import (
    coverage,
    crps_lognormal,
    crps_normal,
    crps_sample,
    pinball,
)


def crps_by_definition(y: float, cdf: object) -> float:
    """The integral of (F(x) - 1{x >= y})^2."""
    below, _ = integrate.quad(lambda x: cdf(x) ** 2, -np.inf, y, epsabs=1e-12)  # type: ignore[operator]
    above, _ = integrate.quad(lambda x: (1 - cdf(x)) ** 2, y, np.inf, epsabs=1e-12)  # type: ignore[operator]
    return float(below + above)


@pytest.mark.parametrize(
    ("mean", "sd", "y", "expected"),
    [  # recomputed from Gneiting et al. 2005
        (0, 1, 0, 0.233694977255),
        (0, 1, 1, 0.602441357628),
        (0, 1, 2, 1.452791821686),
        (0, 1, -1.5, 0.994424003977),
        (2, 3, 4, 1.214149132303),
        (100, 10, 96, 2.966880903471),
    ],
)
def test_normal_crps_has_its_published_values(mean: float, sd: float, y: float, expected: float) -> None:
    """The closed form equals the tabled value and the integral that defines the score."""
    found = float(crps_normal(y, mean=mean, sd=sd))
    assert found == pytest.approx(expected, abs=1e-11)
    assert found == pytest.approx(crps_by_definition(y, stats.norm(mean, sd).cdf), abs=1e-8)


@pytest.mark.parametrize(("mu", "s", "y"), [(0.0, 1.0, 1.0), (1.0, 0.4, 5.0), (-0.5, 0.8, 0.2)])
def test_lognormal_crps_equals_the_integral(mu: float, s: float, y: float) -> None:
    """The closed form equals the integral that defines the score; at (0, 1, 1) it is 0.267405467023 (recomputed)."""
    found = float(crps_lognormal(y, log_mean=mu, log_sd=s))
    cdf = stats.lognorm(s, scale=np.exp(mu)).cdf
    below, _ = integrate.quad(lambda x: cdf(x) ** 2, 0, y, epsabs=1e-12)
    above, _ = integrate.quad(lambda x: (1 - cdf(x)) ** 2, y, np.inf, epsabs=1e-12)
    assert found == pytest.approx(below + above, abs=1e-8)
    if (mu, s, y) == (0.0, 1.0, 1.0):
        assert found == pytest.approx(0.267405467023, abs=1e-11)


@settings(derandomize=True, max_examples=60)
@given(
    st.floats(-50, 50),
    st.lists(st.floats(-50, 50), min_size=1, max_size=25),
)
def test_sample_crps_equals_all_pairs(y: float, draws: list[float]) -> None:
    """The sorted form equals mean |x - y| less half the mean over all pairs, ties included."""
    x = np.array(draws)
    expected = np.abs(x - y).mean() - np.abs(x[:, None] - x[None, :]).mean() / 2
    assert float(crps_sample(y, x)) == pytest.approx(expected, abs=1e-10)


def test_sample_crps_nears_the_closed_form() -> None:
    """Of 100,000 draws the score is that of the distribution, for several outcomes at once."""
    draws = np.random.default_rng(1).normal(2.0, 3.0, (100_000, 3))
    y = np.array([4.0, -1.0, 2.0])
    np.testing.assert_allclose(crps_sample(y, draws), crps_normal(y, mean=2.0, sd=3.0), atol=0.02)
    with pytest.raises(ValueError, match="do not belong"):
        crps_sample(y, draws[:, :2])


@pytest.mark.parametrize(
    ("quantile", "probability", "expected"),
    [  # scikit-learn's documentation of mean_pinball_loss, outcomes 1, 2, 3 (read)
        ([0, 2, 3], 0.1, 0.1 / 3),
        ([0, 2, 3], 0.9, 0.3),
        ([1, 2, 4], 0.1, 0.3),
        ([1, 2, 4], 0.9, 0.1 / 3),
    ],
)
def test_pinball_has_its_published_values(quantile: list[float], probability: float, expected: float) -> None:
    """Mean loss equals the documented examples of another package."""
    assert pinball([1, 2, 3], quantile, probability=probability).mean() == pytest.approx(expected)


def test_pinball_is_least_at_the_true_quantile() -> None:
    """Among shifted quantiles the true one loses least on average."""
    y = np.random.default_rng(2).normal(size=20_000)
    tried = np.linspace(-1, 2, 61)
    losses = [pinball(y, q, probability=0.8).mean() for q in tried]
    assert tried[int(np.argmin(losses))] == pytest.approx(stats.norm.ppf(0.8), abs=0.06)


@pytest.mark.parametrize(
    ("inside", "n", "low", "high"),
    [  # Clopper-Pearson 95 %, recomputed
        (0, 10, 0.0, 0.308497),
        (1, 10, 0.002529, 0.445016),
        (3, 20, 0.032071, 0.378927),
        (5, 50, 0.033275, 0.218135),
    ],
)
def test_coverage_carries_its_exact_interval(inside: int, n: int, low: float, high: float) -> None:
    """The share inside comes with the Clopper-Pearson interval, as scipy's binomial test has it."""
    y = np.where(np.arange(n) < inside, 0.5, 2.0)
    found = coverage(y, np.zeros(n), np.ones(n))
    assert (found.inside, found.n) == (inside, n)
    assert (found.low, found.high) == (pytest.approx(low, abs=1e-6), pytest.approx(high, abs=1e-6))
    exact = stats.binomtest(inside, n).proportion_ci(0.95)
    assert (found.low, found.high) == (pytest.approx(exact.low, abs=1e-9), pytest.approx(exact.high, abs=1e-9))


def test_coverage_leaves_gaps_aside() -> None:
    """Rows without an outcome or a range do not count; with none left the share is unknown and the interval whole."""
    found = coverage([1.0, np.nan, 1.0], [0.0, 0.0, np.nan], [2.0, 2.0, 2.0])
    assert (found.inside, found.n) == (1, 1)
    empty = coverage([], [], [])
    assert np.isnan(empty.share)
    assert (empty.low, empty.high) == (0.0, 1.0)
