"""Drift charts against the NIST handbook, and run lengths against simulation and an integral equation."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from burnlog.stats.drift import alarm_chance, average_run_length, cusum, decision_limit, ewma

REFERENCE = Path(__file__).parent.parent / "reference"


def read(name: str) -> np.ndarray:
    return pd.read_csv(REFERENCE / f"{name}.csv", comment="#")["value"].to_numpy(float)


def test_R54_cusum_of_the_handbook_alarms_first_at_point_14() -> None:
    """NIST 6.3.2.3: both sums to four decimals and the first alarm at the fourteenth value (read; recomputed)."""
    chart = cusum(read("nist_cusum"), target=325.0, k=0.3175, h=4.1959)
    upper = np.zeros(20)
    upper[4] = 0.0325
    upper[12:] = [3.0075, 4.94, 7.4475, 10.63, 11.9875, 14.445, 16.0025, 19.035]
    lower = np.zeros(20)
    lower[[1, 3, 6, 7, 8, 9, 10]] = [0.0075, 0.3325, 0.5575, 0.715, 0.1725, 0.255, 0.3125]
    np.testing.assert_allclose(chart.upper, upper, atol=1e-9)
    np.testing.assert_allclose(chart.lower, lower, atol=1e-9)
    assert chart.first_alarm == 13  # counted from 0
    assert chart.alarms[13:].all()


def test_cusum_watches_one_side_when_told() -> None:
    """One-sided sums equal those of the two-sided chart and leave the other side unknown."""
    values = read("nist_cusum")
    both = cusum(values, target=325.0, k=0.3175, h=4.1959)
    one = cusum(values, target=325.0, k=0.3175, h=4.1959, sides="upper")
    np.testing.assert_array_equal(one.upper, both.upper)
    assert np.isnan(one.lower).all()
    assert one.first_alarm == 13
    assert cusum(values, target=325.0, k=0.3175, h=4.1959, sides="lower").first_alarm is None


def test_cusum_starts_anew_at_a_restart_and_after_a_gap() -> None:
    """Each series of its own, and what follows a missing value, is summed as if alone."""
    rng = np.random.default_rng(1)
    a, b, c = rng.normal(0.5, 1, 6), rng.normal(0.5, 1, 7), rng.normal(0.5, 1, 5)
    restart = np.zeros(19, dtype=bool)
    restart[6] = True
    joined = cusum(np.concatenate([a, b, [np.nan], c]), k=0.2, h=3.0, restart=restart)
    alone = [cusum(part, k=0.2, h=3.0) for part in (a, b, c)]
    np.testing.assert_array_equal(joined.upper[:13], np.concatenate([alone[0].upper, alone[1].upper]))
    assert np.isnan(joined.upper[13])
    assert not joined.alarms[13]
    np.testing.assert_array_equal(joined.lower[14:], alone[2].lower)


def test_ewma_has_the_handbooks_values_and_limits() -> None:
    """NIST 6.3.2.4: averages as printed, limits 52.5884 and 47.4115 (the lower is truncated in print), in control."""
    chart = ewma(read("nist_ewma"), target=50.0, sd=2.0539, weight=0.3)
    printed = (
        "50.60 49.52 50.56 50.18 50.16 49.21 49.75 49.85 50.26 50.33 50.11 49.36 49.52 50.05 49.38 49.92 50.73 51.23 "
        "51.94 51.99"
    )
    np.testing.assert_allclose(chart.average, [float(v) for v in printed.split()], atol=0.0051)
    assert chart.upper == pytest.approx(52.588432, abs=1e-6)
    assert chart.lower == pytest.approx(47.411568, abs=1e-6)
    np.testing.assert_allclose(chart.upper_early[:5], [51.8485, 52.2564, 52.4314, 52.5127, 52.5516], atol=5e-5)
    assert not chart.alarms.any()


@pytest.mark.parametrize(
    ("h", "shift", "expected"),
    [  # Montgomery, Introduction to Statistical Quality Control, two-sided, k 0.5: from memory, so 2 %
        (4, 0.0, 168),
        (5, 0.0, 465),
        (4, 1.0, 8.38),
        (5, 1.0, 10.4),
    ],
)
def test_two_sided_run_lengths_are_the_textbooks(h: float, shift: float, expected: float) -> None:
    """Average run lengths at k 0.5 with and without a shift of one standard deviation."""
    assert average_run_length(k=0.5, h=h, shift=shift, two_sided=True) == pytest.approx(expected, rel=0.02)


def by_integral_equation(k: float, h: float, shift: float, nodes: int = 60) -> float:
    """Page's integral equation L(u) = 1 + L(0) F(k - u) + int_0^h L(x) f(x + k - u) dx, by Gauss-Legendre."""
    x, w = np.polynomial.legendre.leggauss(nodes)
    x, w = (x + 1) * h / 2, w * h / 2
    points = np.concatenate([[0.0], x])
    kernel = np.zeros((nodes + 1, nodes + 1))
    kernel[:, 0] = stats.norm.cdf(k - points - shift)
    kernel[:, 1:] = w * stats.norm.pdf(x[None, :] + k - points[:, None] - shift)
    return float(np.linalg.solve(np.eye(nodes + 1) - kernel, np.ones(nodes + 1))[0])


@pytest.mark.parametrize("k", [0.25, 0.5, 1.0])
@pytest.mark.parametrize("h", [3.0, 4.0, 5.0])
@pytest.mark.parametrize("shift", [0.0, 1.0, 2.5])
def test_one_sided_run_lengths_solve_the_integral_equation(k: float, h: float, shift: float) -> None:
    """The Markov chain, extrapolated, equals a quadrature of the integral equation to 0.01 %."""
    assert average_run_length(k=k, h=h, shift=shift) == pytest.approx(by_integral_equation(k, h, shift), rel=1e-4)


def test_the_limits_in_use_run_for_as_long_as_stated() -> None:
    """One-sided, k 1: a false alarm every 14,511 values at h 4 and every 1,963 at h 3 (derived by the chain)."""
    assert average_run_length(k=1.0, h=4.0) == pytest.approx(14511, rel=1e-3)
    assert average_run_length(k=1.0, h=3.0) == pytest.approx(1962.8, rel=1e-3)
    # a shift of three standard deviations is seen at the third value on average
    assert average_run_length(k=1.0, h=4.0, shift=3.0) == pytest.approx(by_integral_equation(1.0, 4.0, 3.0), rel=1e-4)


def test_alarm_chances_are_those_of_simulated_series() -> None:
    """The chance of a false alarm within 20 values, k 0.5 and h 3, agrees with 40,000 simulated series."""
    rng = np.random.default_rng(3)
    n = 40_000
    total, over = np.zeros(n), np.zeros(n, dtype=bool)
    for _ in range(20):
        total = np.maximum(0.0, total + rng.normal(size=n) - 0.5)
        over |= total > 3.0
    chance = alarm_chance(k=0.5, h=3.0, values=20)
    assert over.mean() == pytest.approx(chance, abs=4 * np.sqrt(chance / n))
    assert alarm_chance(k=0.5, h=3.0, values=0) == 0.0
    assert alarm_chance(k=0.5, h=3.0, values=40) > chance


@pytest.mark.parametrize(("k", "length", "two_sided"), [(0.5, 370.0, True), (1.0, 2000.0, False)])
def test_limits_for_a_stated_run_length_give_it_back(k: float, length: float, two_sided: bool) -> None:
    """The decision limit solved for a run length has that run length."""
    h = decision_limit(k=k, run_length=length, two_sided=two_sided)
    assert average_run_length(k=k, h=h, two_sided=two_sided) == pytest.approx(length, rel=1e-4)


def test_limits_that_make_no_chart_are_refused() -> None:
    """A limit of 0, a weight above 1 and a run length nothing can reach are ValueErrors."""
    with pytest.raises(ValueError, match="h above 0"):
        cusum([1.0], k=0.5, h=0.0)
    with pytest.raises(ValueError, match="weight"):
        ewma([1.0], target=0.0, sd=1.0, weight=1.5)
    with pytest.raises(ValueError, match="rarer"):
        decision_limit(k=3.0, run_length=10.0)
