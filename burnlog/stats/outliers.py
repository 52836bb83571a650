"""Values that stand apart in one set of numbers, where no model says what to expect.

A plain z-score cannot pass (n - 1)/sqrt(n): among ten values it never reaches 3. These tests can.
Each supposes that the rest of the values are about normal; rates are taken in logarithms first.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.special
from numpy.typing import ArrayLike, NDArray

from burnlog.errors import FitError

__all__ = ["Grubbs", "RosnerTest", "generalised_esd", "grubbs", "grubbs_critical", "modified_z"]

Array = NDArray[np.float64]
FEWEST_FOR_ESD = 7


@dataclass(frozen=True)
class Grubbs:
    """Grubbs' test of the value farthest from the mean.

    Attributes
    ----------
    place : int
        Its position in the values given.
    statistic, critical : float
        Distance from the mean in standard deviations, and the value it must pass.
    outlier : bool
    n : int
    """

    place: int
    statistic: float
    critical: float
    outlier: bool
    n: int


def grubbs_critical(n: int, *, alpha: float = 0.05, two_sided: bool = True) -> float:
    """Critical value of Grubbs' test for n values, 3 or more.

    Notes
    -----
    (n - 1)/sqrt(n) sqrt(t^2/(n - 2 + t^2)), t the upper alpha/n (one-sided) or alpha/(2n) point of Student's t with
    n - 2 degrees of freedom; NIST/SEMATECH e-Handbook 1.3.5.17.1.

    Examples
    --------
    >>> round(grubbs_critical(8, two_sided=False), 6)
    2.031652
    """
    if n < 3:
        raise ValueError("Grubbs' test needs 3 or more values")
    t = float(scipy.special.stdtrit(n - 2, 1.0 - alpha / (2 * n if two_sided else n)))
    return float((n - 1) / np.sqrt(n) * np.sqrt(t**2 / (n - 2 + t**2)))


def grubbs(values: ArrayLike, *, alpha: float = 0.05, two_sided: bool = True) -> Grubbs:
    """Test whether the value farthest from the mean is one too far.

    Parameters
    ----------
    values : array (n,)
        n at least 3, finite.
    alpha : float
    two_sided : bool
        False when only the largest value was ever in question.

    Raises
    ------
    FitError
        Fewer than 3 values, values missing, or all of them equal.
    """
    x = _checked(values, fewest=3)
    away = x - x.mean()
    place = int(np.argmax(np.abs(away) if two_sided else away))
    statistic = float(abs(away[place]) / x.std(ddof=1))
    critical = grubbs_critical(len(x), alpha=alpha, two_sided=two_sided)
    return Grubbs(place, statistic, critical, statistic > critical, len(x))


@dataclass(frozen=True)
class RosnerTest:
    """Generalised extreme studentised deviates, step by step.

    Attributes
    ----------
    places : tuple of int
        Positions of the outliers, farthest first.
    statistics, critical : array (steps,)
        R and lambda of each step.
    tested : tuple of int
        Position taken out at each step.
    n : int
    approximate : bool
        Fewer than 15 values, where the error rate is no longer held closely.
    """

    places: tuple[int, ...]
    statistics: Array
    critical: Array
    tested: tuple[int, ...]
    n: int
    approximate: bool


def generalised_esd(values: ArrayLike, *, most: int = 10, alpha: float = 0.05) -> RosnerTest:
    """Up to `most` outliers, found together so that none hides another.

    Parameters
    ----------
    values : array (n,)
        n at least 7, finite.
    most : int
        Upper bound on the outliers; held to half of n.
    alpha : float

    Raises
    ------
    FitError
        Fewer than 7 values, values missing, or all of them equal.

    Notes
    -----
    The number of outliers is the largest step whose R passes lambda, even if earlier ones do not: that is what keeps
    two far values from masking each other. Rosner 1983 (Technometrics 25, 165-172); NIST/SEMATECH e-Handbook
    1.3.5.17.3.

    Examples
    --------
    >>> generalised_esd([1.0, 1.1, 0.9, 1.05, 0.95, 1.02, 0.98, 1.0, 5.0, 5.1], most=3).places
    (9, 8)
    """
    x = _checked(values, fewest=FEWEST_FOR_ESD)
    if most < 1:
        raise ValueError("most must be 1 or more")
    n = len(x)
    left = np.arange(n)
    statistics, critical, tested = [], [], []
    for step in range(1, min(most, n // 2) + 1):
        sd = x[left].std(ddof=1)
        away = np.abs(x[left] - x[left].mean())
        farthest = int(away.argmax())
        # What is left may all be equal, and then nothing stands apart from it.
        statistics.append(float(away[farthest] / sd) if sd > 1e-12 * np.abs(x).max() else 0.0)
        tested.append(int(left[farthest]))
        p = 1.0 - alpha / (2.0 * (n - step + 1))
        t = float(scipy.special.stdtrit(n - step - 1, p))
        critical.append((n - step) * t / float(np.sqrt((n - step - 1 + t**2) * (n - step + 1))))
        left = np.delete(left, farthest)
    passed = np.flatnonzero(np.array(statistics) > np.array(critical))
    count = int(passed[-1]) + 1 if passed.size else 0
    return RosnerTest(
        tuple(tested[:count]), np.array(statistics), np.array(critical), tuple(tested), n, approximate=n < 15
    )


def modified_z(values: ArrayLike) -> Array:
    """Distance from the median in units of the median absolute deviation, scaled to a normal's sd.

    Parameters
    ----------
    values : array (n,)
        n at least 3, finite.

    Raises
    ------
    FitError
        Fewer than 3 values, values missing, or more than half of them equal.

    Notes
    -----
    0.6745 (x - median)/MAD; Iglewicz and Hoaglin 1993 name 3.5 as the mark of a possible outlier.

    Examples
    --------
    >>> modified_z([1.0, 2.0, 3.0, 4.0, 50.0]).round(2).tolist()
    [-1.35, -0.67, 0.0, 0.67, 31.7]
    """
    x = _checked(values, fewest=3)
    away = x - np.median(x)
    mad = float(np.median(np.abs(away)))
    if mad == 0:
        raise FitError("More than half of the values are equal, so no spread of the usual ones can be stated.")
    return np.asarray(0.6745 * away / mad, dtype=float)


def _checked(values: ArrayLike, *, fewest: int) -> Array:
    x = np.asarray(values, dtype=float)
    if x.ndim != 1:
        raise ValueError("one row of values is needed")
    if not np.all(np.isfinite(x)):
        raise FitError(f"{int((~np.isfinite(x)).sum())} of {len(x)} values are missing or not finite.")
    if len(x) < fewest:
        raise FitError(f"{len(x)} values are too few to call one of them odd; {fewest} are needed.")
    if np.ptp(x) == 0:
        raise FitError(f"All {len(x)} values are equal: none stands apart.")
    return x
