"""Learning and size curves against their definitions and statsmodels."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from burnlog.errors import FitError
from burnlog.stats.curves import fit_power_law, fit_unit_curve, unit_effort

EIGHT = [100, 80, 70.2104, 64, 59.5637, 56.1683, 53.4490, 51.2]


def test_R51_eight_attempts_give_the_unit_curve_and_seven_none() -> None:
    """The eight efforts of an 80 % Crawford curve give 80 %; the first seven are refused."""
    curve = fit_unit_curve(EIGHT)
    assert curve.rate == pytest.approx(0.80, abs=1e-5)
    assert curve.first == pytest.approx(100, abs=1e-3)
    assert curve.rate_low <= curve.rate <= curve.rate_high
    with pytest.raises(FitError, match="7 attempts are too few"):
        fit_unit_curve(EIGHT[:7])


@pytest.mark.parametrize(
    ("rate", "exponent"),
    [
        (0.95, -0.0740006),
        (0.90, -0.1520031),
        (0.85, -0.2344653),
        (0.80, -0.3219281),
        (0.75, -0.4150375),
        (0.70, -0.5145732),
    ],
)
def test_a_rate_is_two_to_its_exponent(rate: float, exponent: float) -> None:
    """log2 of the usual rates (recomputed), met by a curve fitted to exact efforts."""
    curve = fit_unit_curve(unit_effort(np.arange(1, 11), first=7.0, rate=rate))
    assert np.log2(curve.rate) == pytest.approx(exponent, abs=1e-7)


def test_the_curve_is_crawfords_not_wrights() -> None:
    """At 80 % from 100, unit two costs 80 and eight cost 534.5914; Wright's would be 60 and 409.6 (Wideman, read)."""
    units = np.arange(1, 17)
    effort = unit_effort(units, first=100.0, rate=0.8)
    expected = [100, 80, 70.2104, 64, 59.5637, 51.2, 40.96]
    np.testing.assert_allclose(effort[[0, 1, 2, 3, 4, 7, 15]], expected, atol=5e-5)
    assert effort[:8].sum() == pytest.approx(534.5914, abs=5e-5)
    # Wright's model makes the cumulative average fall: its single units are steps of n times that average.
    totals = units * 100.0 * units ** np.log2(0.8)
    wright = np.diff(totals, prepend=0.0)
    np.testing.assert_allclose(wright[[0, 1, 2, 3, 7]], [100, 60, 50.6311, 45.3689, 35.4573], atol=5e-5)
    assert fit_unit_curve(wright[:8]).rate != pytest.approx(0.8, abs=0.05)


def test_the_rates_interval_covers_as_often_as_it_says() -> None:
    """Of 2,000 noisy sequences of 8, the 80 % interval holds the true rate within the binomial band of 80 %."""
    rng = np.random.default_rng(1)
    truth = unit_effort(np.arange(1, 9), first=50.0, rate=0.85)
    inside = 0
    for _ in range(2000):
        curve = fit_unit_curve(truth * np.exp(rng.normal(0, 0.2, 8)), level=0.8)
        inside += curve.rate_low <= 0.85 <= curve.rate_high
    low, high = stats.binom.interval(0.999, 2000, 0.8)
    assert low <= inside <= high


def test_the_exponents_interval_is_that_of_least_squares() -> None:
    """Exponent, error and interval of ln y on ln x and another term equal statsmodels' ordinary least squares."""
    import statsmodels.api as sm

    rng = np.random.default_rng(2)
    x, other = rng.uniform(0.2, 5, 40), rng.normal(size=(40, 1))
    y = np.exp(1 + 0.85 * np.log(x) + 0.2 * other[:, 0] + rng.normal(0, 0.3, 40))
    law = fit_power_law(x, y, others=other)
    reference = sm.OLS(np.log(y), np.column_stack([np.ones(40), other, np.log(x)])).fit()
    assert law.exponent == pytest.approx(reference.params[2], rel=1e-10)
    assert law.se == pytest.approx(reference.bse[2], rel=1e-10)
    assert (law.low, law.high) == pytest.approx(tuple(reference.conf_int()[2]), rel=1e-10)
    assert law.p_value == pytest.approx(float(reference.t_test(([0, 0, 1], 1.0)).pvalue), rel=1e-8)


def test_clustered_errors_are_those_of_statsmodels() -> None:
    """With groups the error is statsmodels' clustered one, and the interval rests on groups - 1."""
    import statsmodels.api as sm

    rng = np.random.default_rng(3)
    group = np.repeat(np.arange(9), 8)
    x = rng.uniform(0.2, 5, 72)
    y = np.exp(0.9 * np.log(x) + rng.normal(0, 0.4, 9)[group] + rng.normal(0, 0.2, 72))
    labels = [f"g{g}" for g in group]
    law = fit_power_law(x, y, groups=labels)
    X = np.column_stack([np.ones(72), np.log(x)])
    reference = sm.OLS(np.log(y), X).fit(cov_type="cluster", cov_kwds={"groups": group}, use_t=True)
    assert law.se == pytest.approx(reference.bse[1], rel=1e-9)
    reach = stats.t.ppf(0.975, 8) * law.se
    assert (law.low, law.high) == pytest.approx((law.exponent - reach, law.exponent + reach))
    assert law.groups == 9


def test_scale_of_the_units_does_not_move_the_exponent() -> None:
    """Sizes in feet or metres give the same exponent and interval; labels may be of any kind."""
    rng = np.random.default_rng(4)
    x = rng.uniform(0.2, 5, 30)
    y = x**0.8 * np.exp(rng.normal(0, 0.2, 30))
    metres = fit_power_law(x, y, groups=pd.Series(np.arange(30) % 5))
    feet = fit_power_law(x / 0.3048, y, groups=np.arange(30) % 5)
    assert (feet.exponent, feet.low) == (pytest.approx(metres.exponent), pytest.approx(metres.low))


@pytest.mark.parametrize(
    ("x", "y", "groups", "words"),
    [
        ([1, 1, 1, 1], [1, 2, 3, 4], None, "does not vary"),
        ([1, 2], [1, 2], None, "2 rows are too few"),
        ([1, 2, 3, 4], [1, 0, 3, 4], None, "first: row 2"),
        ([1, 2, 3, np.nan], [1, 2, 3, 4], None, "first: row 4"),
        ([1, 2, 3, 4], [1, 2, 3, 5], ["a", "a", "b", "b"], "2 groups are too few"),
    ],
)
def test_rows_that_hold_no_curve_are_refused(x: list[float], y: list[float], groups: object, words: str) -> None:
    """No variation, too few rows or groups, zeros and gaps end in FitError with the place."""
    with pytest.raises(FitError, match=words):
        fit_power_law(x, y, groups=groups)  # type: ignore[arg-type]
