"""Slow drift in a series: cumulative sums, weighted averages, and how long each runs before a false alarm.

A single reading that is far off shows by itself; a small lasting shift shows only when it is added up. Values come
in whatever unit, or standardised to a baseline's centre and spread; run lengths suppose independent normal values
of standard deviation 1.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Literal

import numpy as np
import scipy.linalg
import scipy.optimize
import scipy.special
from numpy.typing import ArrayLike, NDArray

__all__ = [
    "Cusum",
    "Ewma",
    "alarm_chance",
    "average_run_length",
    "cusum",
    "decision_limit",
    "ewma",
]

Array = NDArray[np.float64]
Sides = Literal["both", "upper", "lower"]
STATES = 80  # of the Markov chain; the run length is extrapolated from this and half as many


@dataclass(frozen=True)
class Cusum:
    """A cumulative sum chart.

    Attributes
    ----------
    upper, lower : array (n,)
        Sums of rises above, and falls below, the target by more than the allowance; NaN where the value is missing
        or that side is not watched.
    h : float
        Decision limit, in the values' units.
    """

    upper: Array
    lower: Array
    h: float

    @cached_property
    def alarms(self) -> NDArray[np.bool_]:
        """Which points lie above the limit, (n,)."""
        return np.asarray((self.upper > self.h) | (self.lower > self.h), dtype=bool)

    @property
    def first_alarm(self) -> int | None:
        """Position of the first point above the limit."""
        found = np.flatnonzero(self.alarms)
        return int(found[0]) if found.size else None


def cusum(
    values: ArrayLike,
    *,
    target: float = 0.0,
    k: float,
    h: float,
    sides: Sides = "both",
    restart: ArrayLike | None = None,
) -> Cusum:
    """Add up what each value lies above the target, less an allowance; never below 0.

    Parameters
    ----------
    values : array (n,)
        In order of time. A missing value (NaN) breaks the series: the sums start from 0 after it.
    target : float
        Where the values lie when nothing drifts.
    k, h : float
        Allowance and decision limit in the values' units, above 0.
    sides : {"both", "upper", "lower"}
        Which drift is watched for.
    restart : bool array (n,), optional
        True at each value that begins a series of its own.

    Notes
    -----
    S_i = max(0, S_{i-1} + x_i - target - k) for the upper side; Page 1954 (Biometrika 41, 100-115);
    NIST/SEMATECH e-Handbook 6.3.2.3. The sums run on after an alarm.

    Examples
    --------
    >>> cusum([0.0, 2.0, 3.0, 2.5, 0.0], k=1.0, h=3.0, sides="upper").upper.tolist()
    [0.0, 1.0, 3.0, 4.5, 3.5]
    """
    if not (k >= 0 and h > 0):
        raise ValueError("k must be 0 or more and h above 0")
    x = np.asarray(values, dtype=float)
    anew = np.zeros(len(x), dtype=bool) if restart is None else np.asarray(restart, dtype=bool)
    if anew.shape != x.shape or x.ndim != 1:
        raise ValueError("values and restart must be rows of the same length")
    none = np.full(len(x), np.nan)
    upper = _sums(x - target - k, anew) if sides in ("both", "upper") else none
    lower = _sums(target - k - x, anew) if sides in ("both", "lower") else none
    return Cusum(upper, lower, h)


def _sums(steps: Array, anew: NDArray[np.bool_]) -> Array:
    out = np.empty(len(steps))
    total = 0.0
    for i, (step, fresh) in enumerate(zip(steps.tolist(), anew.tolist(), strict=True)):
        if step != step:
            out[i], total = np.nan, 0.0
            continue
        total = max(0.0, (0.0 if fresh else total) + step)
        out[i] = total
    return out


@dataclass(frozen=True)
class Ewma:
    """An exponentially weighted average chart.

    Attributes
    ----------
    average : array (n,)
    upper, lower : float
        Limits once the chart has run for long.
    upper_early, lower_early : array (n,)
        Limits at each point, narrower at the start.
    """

    average: Array
    upper: float
    lower: float
    upper_early: Array
    lower_early: Array

    @property
    def alarms(self) -> NDArray[np.bool_]:
        """Which points lie outside the long-run limits, (n,)."""
        return np.asarray((self.average > self.upper) | (self.average < self.lower), dtype=bool)


def ewma(values: ArrayLike, *, target: float, sd: float, weight: float, width: float = 3.0) -> Ewma:
    """Average in which each value counts `weight` and all before it the rest.

    Parameters
    ----------
    values : array (n,)
        In order of time, finite.
    target, sd : float
        Centre, where the average starts, and standard deviation of the values when nothing drifts.
    weight : float
        Of the newest value, above 0 and at most 1.
    width : float
        Limits in standard deviations of the average.

    Notes
    -----
    z_i = weight x_i + (1 - weight) z_{i-1}; limits target +- width sd sqrt(weight/(2 - weight)), at point i times
    sqrt(1 - (1 - weight)^(2i)). NIST/SEMATECH e-Handbook 6.3.2.4.

    Examples
    --------
    >>> ewma([52.0, 47.0], target=50.0, sd=2.0539, weight=0.3).average.round(2).tolist()
    [50.6, 49.52]
    """
    if not (0 < weight <= 1 and sd > 0 and width > 0):
        raise ValueError("weight must lie in (0, 1], sd and width above 0")
    x = np.asarray(values, dtype=float)
    if not np.all(np.isfinite(x)):
        raise ValueError("values must be finite")
    average = np.empty(len(x))
    last = target
    for i, value in enumerate(x.tolist()):
        last = weight * value + (1.0 - weight) * last
        average[i] = last
    reach = width * sd * float(np.sqrt(weight / (2.0 - weight)))
    early = reach * np.sqrt(1.0 - (1.0 - weight) ** (2.0 * np.arange(1, len(x) + 1)))
    return Ewma(average, target + reach, target - reach, target + early, target - early)


def average_run_length(*, k: float, h: float, shift: float = 0.0, two_sided: bool = False) -> float:
    """Mean number of values until a cumulative sum of standard normal values passes h.

    Parameters
    ----------
    k, h : float
        Allowance and limit, in standard deviations.
    shift : float
        Mean of the values: 0 while nothing drifts, and then the run length is that to a false alarm.
    two_sided : bool
        Whether sums are kept both ways.

    Notes
    -----
    Markov chain of Brook and Evans 1972 (Biometrika 59, 539-549), extrapolated to infinitely many states. Two sides:
    1/L = 1/L_upper + 1/L_lower (Van Dobben de Bruyn 1968).

    Examples
    --------
    >>> round(average_run_length(k=0.5, h=4, two_sided=True))
    168
    """
    _check_limits(k, h)
    upper = _run_length(k, h, shift)
    if not two_sided:
        return upper
    return 1.0 / (1.0 / upper + 1.0 / _run_length(k, h, -shift))


def decision_limit(*, k: float, run_length: float, two_sided: bool = False) -> float:
    """The limit h at which false alarms come `run_length` values apart on average.

    Examples
    --------
    >>> round(decision_limit(k=0.5, run_length=168, two_sided=True), 2)
    4.0
    """
    if not run_length > 3:
        raise ValueError("run_length must be above 3 values")

    def excess(h: float) -> float:
        return float(np.log(average_run_length(k=k, h=h, two_sided=two_sided) / run_length))

    low, high = 1e-3, 2.0
    if excess(low) > 0:
        raise ValueError(f"with k = {k:g} false alarms are rarer than one in {run_length:g} values at any limit")
    while excess(high) < 0:
        high *= 1.5
    return float(scipy.optimize.brentq(excess, low, high, xtol=1e-6))


def alarm_chance(*, k: float, h: float, values: int, shift: float = 0.0) -> float:
    """Chance that a one-sided sum of `values` standard normal values passes h at least once, from a start at 0.

    Examples
    --------
    >>> round(alarm_chance(k=1.0, h=4.0, values=20), 5)
    0.00118
    """
    _check_limits(k, h)
    if values < 0:
        raise ValueError("values must be 0 or more")
    coarse, fine = (_still_running(k, h, shift, values, states) for states in (STATES // 2, STATES))
    return min(1.0, max(0.0, 1.0 - (4.0 * fine - coarse) / 3.0))


def _check_limits(k: float, h: float) -> None:
    if not (k >= 0 and h > 0):
        raise ValueError("k must be 0 or more and h above 0")


def _transitions(k: float, h: float, shift: float, states: int) -> Array:
    """Moves among states: 0, and midpoints of equal steps of a sum up to h."""
    width = 2.0 * h / (2 * states - 1)
    place = np.arange(states)
    apart = (place[None, :] - place[:, None]) * width + k - shift
    moves = scipy.special.ndtr(apart + width / 2.0)
    moves[:, 1:] -= scipy.special.ndtr(apart[:, 1:] - width / 2.0)
    return np.asarray(moves, dtype=float)


def _still_running(k: float, h: float, shift: float, values: int, states: int) -> float:
    moves = _transitions(k, h, shift, states)
    alive = np.ones(states)
    for _ in range(values):
        alive = moves @ alive
    return float(alive[0])


@lru_cache(maxsize=256)
def _run_length(k: float, h: float, shift: float) -> float:
    """One-sided run length from 0; the error falls with the square of the states, so two sizes remove it."""
    lengths = []
    for states in (STATES // 2, STATES):
        moves = _transitions(k, h, shift, states)
        lengths.append(float(scipy.linalg.solve(np.eye(states) - moves, np.ones(states), check_finite=False)[0]))
    coarse, fine = np.log(lengths)
    return float(np.exp((4.0 * fine - coarse) / 3.0))
