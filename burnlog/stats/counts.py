"""Counts with the interval that small counts deserve, and what they were counted over.

Exact intervals hold at any count, none included: nothing seen in n leaves a share that cannot be ruled out. The
arithmetic is statsmodels' and scipy's; here it comes with its n and in words a page can print.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from burnlog.errors import FitError

__all__ = [
    "Association",
    "Proportion",
    "Rate",
    "RateRatio",
    "associate",
    "compare_rates",
    "proportion",
    "rate",
]


@dataclass(frozen=True)
class Proportion:
    """A share with its exact (Clopper-Pearson) interval.

    Attributes
    ----------
    count, n : int
    share : float
    low, high : float
    level : float
    """

    count: int
    n: int
    share: float
    low: float
    high: float
    level: float


@dataclass(frozen=True)
class Rate:
    """Events per unit of exposure with the exact (Garwood) interval.

    Attributes
    ----------
    events : int
    exposure : float
        Above 0, in the caller's unit.
    rate : float
        events / exposure.
    low, high : float
    level : float
    """

    events: int
    exposure: float
    rate: float
    low: float
    high: float
    level: float


@dataclass(frozen=True)
class RateRatio:
    """One rate over another, given the sum of their events.

    Attributes
    ----------
    first, second : Rate
    ratio : float
        first over second; infinite where the second has no event.
    low, high : float
        Exact conditional interval.
    p_value : float
        Two-sided, exact: chance of a split of the events as unlikely as this one under equal rates.
    level : float
    """

    first: Rate
    second: Rate
    ratio: float
    low: float
    high: float
    p_value: float
    level: float


@dataclass(frozen=True)
class Association:
    """A 2 x 2 table with Fisher's exact test.

    Attributes
    ----------
    table : ((int, int), (int, int))
        Rows: the condition present, absent. Columns: the outcome present, absent.
    n : int
    odds_ratio : float
        Conditional maximum likelihood; NaN where a margin is empty.
    low, high : float
        Exact interval of the odds ratio.
    p_value : float
        Two-sided. An association is no proof of a cause.
    level : float
    """

    table: tuple[tuple[int, int], tuple[int, int]]
    n: int
    odds_ratio: float
    low: float
    high: float
    p_value: float
    level: float


def proportion(count: int, n: int, *, level: float = 0.95) -> Proportion:
    """Share of n that showed something.

    Raises
    ------
    FitError
        n is 0: there is nothing to take a share of.

    Examples
    --------
    >>> none = proportion(0, 10)
    >>> f"none recorded in {none.n}; up to {100 * none.high:.1f} % cannot be ruled out"
    'none recorded in 10; up to 30.8 % cannot be ruled out'
    """
    from statsmodels.stats.proportion import proportion_confint

    count, n = _whole("count", count), _whole("n", n)
    _check_level(level)
    if n == 0:
        raise FitError("Nothing was counted, so there is no share to state.")
    if count > n:
        raise ValueError(f"{count} of {n} is more than all")
    low, high = proportion_confint(count, n, alpha=1.0 - level, method="beta")
    return Proportion(count, n, count / n, float(low), float(high), level)


def rate(events: int, exposure: float, *, level: float = 0.95) -> Rate:
    """Events per unit of exposure.

    Raises
    ------
    FitError
        The exposure is missing or 0: a count can be given, a rate cannot.

    Examples
    --------
    >>> none = rate(0, 120)
    >>> f"none recorded in {none.exposure:g}; up to {100 * none.high:.1f} per 100 cannot be ruled out"
    'none recorded in 120; up to 3.1 per 100 cannot be ruled out'
    """
    from statsmodels.stats.rates import confint_poisson

    events = _whole("events", events)
    _check_level(level)
    if not (np.isfinite(exposure) and exposure > 0):
        raise FitError(f"{events} counted, but over no recorded exposure: no rate can be stated.")
    low, high = confint_poisson(events, float(exposure), method="exact-c", alpha=1.0 - level)
    return Rate(events, float(exposure), events / exposure, float(low), float(high), level)


def compare_rates(
    first_events: int, first_exposure: float, second_events: int, second_exposure: float, *, level: float = 0.95
) -> RateRatio:
    """Compare two rates exactly.

    Raises
    ------
    FitError
        No event on either side, or an exposure missing.

    Notes
    -----
    Given the sum of the events, the first count is binomial; its Clopper-Pearson interval and exact test carry over
    (Przyborowski and Wilenski 1940, Biometrika 31, 313-323).

    Examples
    --------
    >>> found = compare_rates(11, 800, 21, 3011)
    >>> round(found.ratio, 4), round(found.low, 4), round(found.high, 4), round(found.p_value, 4)
    (1.9715, 0.8584, 4.2773, 0.0797)
    """
    from scipy.stats import binomtest

    first = rate(first_events, first_exposure, level=level)
    second = rate(second_events, second_exposure, level=level)
    together = first.events + second.events
    if together == 0:
        raise FitError("No event on either side, so the two rates cannot be compared.")
    p = binomtest(first.events, together, first.exposure / (first.exposure + second.exposure)).pvalue
    share = proportion(first.events, together, level=level)
    scale = second.exposure / first.exposure

    def odds(value: float) -> float:
        return value / (1.0 - value) * scale if value < 1.0 else float("inf")

    ratio = first.rate / second.rate if second.events else float("inf")
    return RateRatio(first, second, ratio, odds(share.low), odds(share.high), min(1.0, float(p)), level)


def associate(table: ArrayLike, *, level: float = 0.95) -> Association:
    """Fisher's exact test of a 2 x 2 table.

    Parameters
    ----------
    table : (2, 2) whole numbers
        Rows: the condition present, absent. Columns: the outcome present, absent.

    Raises
    ------
    FitError
        The table is empty.

    Examples
    --------
    >>> round(associate([[3, 1], [1, 3]]).p_value, 4)
    0.4857
    """
    from scipy.stats import fisher_exact
    from scipy.stats.contingency import odds_ratio

    cells = np.asarray(table)
    if cells.shape != (2, 2):
        raise ValueError("a table of 2 rows and 2 columns is needed")
    (a, b), (c, d) = [[_whole("a cell", cell) for cell in row] for row in cells.tolist()]
    _check_level(level)
    if a + b + c + d == 0:
        raise FitError("The table is empty, so there is nothing to compare.")
    found = odds_ratio([[a, b], [c, d]], kind="conditional")
    interval = found.confidence_interval(level)
    return Association(
        ((a, b), (c, d)),
        a + b + c + d,
        float(found.statistic),
        float(interval.low),
        float(interval.high),
        float(fisher_exact(np.array([[a, b], [c, d]])).pvalue),
        level,
    )


def _whole(name: str, value: float) -> int:
    if not (np.isfinite(value) and value >= 0 and value == int(value)):
        raise ValueError(f"{name} must be a whole number, 0 or more, not {value}")
    return int(value)


def _check_level(level: float) -> None:
    if not 0.0 < level < 1.0:
        raise ValueError(f"level must lie between 0 and 1, not {level}")
