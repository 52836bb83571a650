"""How good were the forecasts? Scores of ranges and of whole distributions against what came.

CRPS and pinball loss are in the units of the outcome and smaller is better; both are proper: nobody can gain by
stating another range than the one believed (Gneiting and Raftery 2007, J. Am. Stat. Assoc. 102, 359-378).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.special
from numpy.typing import ArrayLike, NDArray

__all__ = [
    "Coverage",
    "coverage",
    "crps_lognormal",
    "crps_normal",
    "crps_sample",
    "pinball",
]

Array = NDArray[np.float64]


def crps_normal(y: ArrayLike, *, mean: ArrayLike, sd: ArrayLike) -> Array:
    """Continuous ranked probability score of normal forecasts, element by element.

    Parameters
    ----------
    y : array
        What came.
    mean, sd : array
        The forecast; sd above 0.

    Notes
    -----
    sd (z (2 Phi(z) - 1) + 2 phi(z) - 1/sqrt(pi)), z = (y - mean)/sd; Gneiting, Raftery, Westveld, Goldman
    2005 (Monthly Weather Review 133, 1098-1118).

    Examples
    --------
    >>> round(float(crps_normal(0.0, mean=0.0, sd=1.0)), 6)
    0.233695
    """
    y, mean, sd = np.asarray(y, float), np.asarray(mean, float), np.asarray(sd, float)
    _above_zero("sd", sd)
    z = (y - mean) / sd
    density = np.exp(-0.5 * z**2) / np.sqrt(2.0 * np.pi)
    return np.asarray(sd * (z * (2.0 * scipy.special.ndtr(z) - 1.0) + 2.0 * density - 1.0 / np.sqrt(np.pi)), float)


def crps_lognormal(y: ArrayLike, *, log_mean: ArrayLike, log_sd: ArrayLike) -> Array:
    """CRPS of log-normal forecasts, element by element; y above 0.

    Notes
    -----
    y (2 Phi(w) - 1) - 2 exp(mu + s^2/2) (Phi(w - s) + Phi(s/sqrt 2) - 1), w = (ln y - mu)/s; Baran and Lerch 2015
    (Quarterly Journal of the Royal Meteorological Society 141, 2289-2299).

    Examples
    --------
    >>> round(float(crps_lognormal(1.0, log_mean=0.0, log_sd=1.0)), 6)
    0.267405
    """
    y, mu, s = np.asarray(y, float), np.asarray(log_mean, float), np.asarray(log_sd, float)
    _above_zero("y", y)
    _above_zero("log_sd", s)
    w = (np.log(y) - mu) / s
    below = scipy.special.ndtr(w - s) + scipy.special.ndtr(s / np.sqrt(2.0)) - 1.0
    return np.asarray(y * (2.0 * scipy.special.ndtr(w) - 1.0) - 2.0 * np.exp(mu + s**2 / 2.0) * below, float)


def crps_sample(y: ArrayLike, draws: ArrayLike) -> Array:
    """CRPS of forecasts given as draws.

    Parameters
    ----------
    y : array (...)
        What came.
    draws : array (m, ...)
        Draws along the first axis, one set for each y.

    Notes
    -----
    mean |x - y| - mean |x - x'| / 2 over the draws' own distribution, by sorting: m log m instead of m^2.

    Examples
    --------
    >>> float(crps_sample(2.0, [1.0, 2.0, 4.0]))
    0.3333333333333333
    """
    y, x = np.asarray(y, float), np.sort(np.asarray(draws, float), axis=0)
    if x.shape[1:] != y.shape or not len(x):
        raise ValueError(f"draws of shape {x.shape} do not belong to outcomes of shape {y.shape}")
    m = len(x)
    place = np.arange(1, m + 1).reshape(-1, *([1] * y.ndim))
    return np.asarray(2.0 * ((x - y) * (m * (y < x) - place + 0.5)).sum(axis=0) / m**2, float)


def pinball(y: ArrayLike, quantile: ArrayLike, *, probability: float) -> Array:
    """Pinball loss of a forecast quantile, element by element.

    Parameters
    ----------
    y, quantile : array
        What came, and the value it was to stay under with the given probability.
    probability : float
        Strictly between 0 and 1.

    Examples
    --------
    >>> pinball([10.0, 10.0], [8.0, 13.0], probability=0.8).round(2).tolist()
    [1.6, 0.6]
    """
    if not 0.0 < probability < 1.0:
        raise ValueError(f"a quantile needs a probability between 0 and 1, not {probability}")
    over = np.asarray(y, float) - np.asarray(quantile, float)
    return np.asarray(np.maximum(probability * over, (probability - 1.0) * over), float)


@dataclass(frozen=True)
class Coverage:
    """How often the outcome fell inside the stated range, with the exact interval of that share.

    Attributes
    ----------
    inside, n : int
    share : float
        inside / n; NaN when n is 0.
    low, high : float
        Clopper-Pearson interval.
    level : float
    """

    inside: int
    n: int
    share: float
    low: float
    high: float
    level: float


def coverage(y: ArrayLike, low: ArrayLike, high: ArrayLike, *, level: float = 0.95) -> Coverage:
    """Share of outcomes inside their ranges, ends included.

    Parameters
    ----------
    y, low, high : array (n,)
        Outcomes and ranges; rows where any is NaN do not count.
    level : float
        Of the exact interval of the share.

    Examples
    --------
    >>> found = coverage([1, 2, 3, 9], [0, 0, 0, 0], [4, 4, 4, 4])
    >>> found.inside, found.n, round(found.low, 4)
    (3, 4, 0.1941)
    """
    if not 0.0 < level < 1.0:
        raise ValueError(f"level must lie between 0 and 1, not {level}")
    y, low, high = np.asarray(y, float), np.asarray(low, float), np.asarray(high, float)
    known = ~(np.isnan(y) | np.isnan(low) | np.isnan(high))
    n = int(known.sum())
    inside = int((known & (low <= y) & (y <= high)).sum())
    tail = (1.0 - level) / 2.0
    below = float(scipy.special.betaincinv(inside, n - inside + 1, tail)) if inside else 0.0
    above = float(scipy.special.betaincinv(inside + 1, n - inside, 1.0 - tail)) if inside < n else 1.0
    return Coverage(inside, n, inside / n if n else float("nan"), below, above, level)


def _above_zero(name: str, values: Array) -> None:
    if np.any(values <= 0):
        raise ValueError(f"{name} must be above 0 throughout")
