"""Exact intervals and count regressions against published values and other packages' results."""

from __future__ import annotations

import numpy as np
import pytest
from statsmodels.stats.rates import test_poisson_2indep as reference_test

from burnlog.errors import FitError
from burnlog.stats.counts import associate, compare_rates, proportion, rate


@pytest.mark.parametrize(
    ("count", "n", "low", "high"),
    [  # Clopper-Pearson 95 %, recomputed
        (0, 10, 0.0, 0.308497),
        (1, 10, 0.002529, 0.445016),
        (3, 20, 0.032071, 0.378927),
        (5, 50, 0.033275, 0.218135),
    ],
)
def test_shares_have_the_exact_interval(count: int, n: int, low: float, high: float) -> None:
    """Clopper-Pearson intervals to six places, n beside."""
    found = proportion(count, n)
    assert (found.low, found.high) == (pytest.approx(low, abs=1e-6), pytest.approx(high, abs=1e-6))
    assert (found.count, found.n, found.share) == (count, n, count / n)


@pytest.mark.parametrize(
    ("events", "low", "high"),
    [  # Garwood 95 % for the mean of a count; 0 to 10 from memory too, all recomputed
        (0, 0.0, 3.688879),
        (1, 0.025318, 5.571643),
        (2, 0.242209, 7.224688),
        (3, 0.618672, 8.767273),
        (5, 1.623486, 11.668332),
        (7, 2.814363, 14.422675),
        (10, 4.795389, 18.390356),
        (20, 12.216520, 30.888378),
    ],
)
def test_counts_have_garwoods_interval(events: int, low: float, high: float) -> None:
    """Exact Poisson intervals to six places."""
    found = rate(events, 1.0)
    assert (found.low, found.high) == (pytest.approx(low, abs=1e-6), pytest.approx(high, abs=1e-6))


def test_a_rate_over_exposure_is_that_of_rs_example() -> None:
    """137 events over 24.19893: 5.661407, 4.753125 to 6.692709 (recomputed; a copy in circulation is wrong)."""
    found = rate(137, 24.19893)
    assert found.rate == pytest.approx(5.661407, abs=1e-6)
    assert (found.low, found.high) == (pytest.approx(4.753125, abs=1e-6), pytest.approx(6.692709, abs=1e-6))


def test_two_rates_are_compared_exactly() -> None:
    """11/800 against 21/3011: ratio 1.971488, 0.8584264 to 4.277266, p 0.0796686 (R's poisson.test, read in part)."""
    found = compare_rates(11, 800, 21, 3011)
    assert found.ratio == pytest.approx(1.971488, abs=1e-6)
    assert (found.low, found.high) == (pytest.approx(0.8584264, abs=1e-6), pytest.approx(4.277266, abs=1e-6))
    assert found.p_value == pytest.approx(0.0796686, abs=1e-6)
    assert found.p_value == pytest.approx(reference_test(11, 800, 21, 3011, method="exact-cond").pvalue, abs=1e-9)
    swapped = compare_rates(21, 3011, 11, 800)
    assert (1 / swapped.ratio, 1 / swapped.high) == (pytest.approx(found.ratio), pytest.approx(found.low))


def test_R68_none_recorded_still_bounds_the_share_and_the_rate() -> None:
    """None in 10 leaves up to 30.8 %; none in 120 leaves up to 3.1 per 100."""
    assert f"{100 * proportion(0, 10).high:.1f}" == "30.8"
    assert f"{100 * rate(0, 120).high:.1f}" == "3.1"


def test_rates_without_events_on_one_side_stay_finite_where_they_can() -> None:
    """No event in the second leaves an infinite ratio with a finite lower end; none in either is refused."""
    found = compare_rates(5, 10, 0, 10)
    assert found.ratio == float("inf")
    assert found.high == float("inf")
    assert 0 < found.low < 5
    assert compare_rates(0, 10, 5, 10).low == 0.0
    with pytest.raises(FitError, match="either side"):
        compare_rates(0, 10, 0, 10)


def test_fishers_tea_table_has_its_known_values() -> None:
    """Fisher 1935, 3 of 4 cups right: two-sided p 34/70, conditional odds ratio 6.408309 (R, from memory)."""
    found = associate([[3, 1], [1, 3]])
    assert found.p_value == pytest.approx(34 / 70)
    assert found.odds_ratio == pytest.approx(6.408309, abs=2e-5)
    assert found.low < 1 < found.high
    assert found.n == 8


def test_intervals_hold_at_least_their_level() -> None:
    """Over 20,000 counts of mean 3.7 the exact interval misses at most 5 % of the time, and wider levels nest."""
    events = np.random.default_rng(1).poisson(3.7, 20_000)
    ends = {k: rate(int(k), 1.0) for k in np.unique(events)}
    missed = np.mean([not ends[k].low <= 3.7 <= ends[k].high for k in events])
    assert missed <= 0.05
    assert rate(4, 1.0, level=0.8).high < rate(4, 1.0, level=0.95).high


@pytest.mark.parametrize(
    ("call", "error", "words"),
    [
        (lambda: proportion(0, 0), FitError, "Nothing was counted"),
        (lambda: proportion(5, 3), ValueError, "more than all"),
        (lambda: proportion(1.5, 3), ValueError, "whole number"),
        (lambda: rate(3, 0.0), FitError, "no recorded exposure"),
        (lambda: rate(3, float("nan")), FitError, "no recorded exposure"),
        (lambda: associate([[0, 0], [0, 0]]), FitError, "empty"),
        (lambda: associate([1, 2]), ValueError, "2 rows"),
        (lambda: rate(3, 1.0, level=95), ValueError, "level"),
    ],
)
def test_counts_that_say_nothing_are_refused(call: object, error: type[Exception], words: str) -> None:
    """Nothing counted, no exposure, impossible counts: an error with the reason."""
    with pytest.raises(error, match=words):
        call()  # type: ignore[operator]
