"""Two curves that are straight in logarithms: effort against practice, and effort against size.

Learning comes in two models under one name. Crawford's *unit* curve, fitted here: the effort of the single unit
falls by a constant factor with every doubling. Wright's (1936) *cumulative average* curve: the average of all units
so far does. At 80 % and a first unit of 100 the second unit costs 80 under Crawford and 60 under Wright, and eight
units together 534.6 against 409.6. A rate without its model's name says nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import scipy.special
from numpy.typing import ArrayLike, NDArray

from burnlog.errors import FitError

__all__ = ["FEWEST_ATTEMPTS", "PowerLaw", "UnitCurve", "fit_power_law", "fit_unit_curve", "unit_effort"]

Array = NDArray[np.float64]
FEWEST_ATTEMPTS = 8
FEWEST_GROUPS = 3


def unit_effort(unit: ArrayLike, *, first: float, rate: float) -> Array:
    """Effort of single units on Crawford's curve.

    Parameters
    ----------
    unit : array
        Unit numbers from 1.
    first : float
        Effort of unit 1, above 0.
    rate : float
        Factor by which effort changes with each doubling, above 0; 0.8 is an 80 % curve.

    Examples
    --------
    >>> unit_effort([1, 2, 3, 4, 8], first=100, rate=0.8).round(4).tolist()
    [100.0, 80.0, 70.2104, 64.0, 51.2]
    """
    if not (first > 0 and rate > 0):
        raise ValueError("first and rate must be above 0")
    return np.asarray(first * np.asarray(unit, dtype=float) ** np.log2(rate), dtype=float)


@dataclass(frozen=True)
class UnitCurve:
    """Crawford's unit curve fitted to attempts in order.

    Attributes
    ----------
    rate : float
        Factor of effort at each doubling of the attempts: below 1, effort falls.
    rate_low, rate_high : float
        Its t interval.
    first : float
        Fitted effort of attempt 1.
    n : int
    level : float
    residual_sd : float
        Of ln effort about the curve.
    """

    rate: float
    rate_low: float
    rate_high: float
    first: float
    n: int
    level: float
    residual_sd: float

    def effort(self, unit: ArrayLike) -> Array:
        """Fitted effort of single attempts."""
        return unit_effort(unit, first=self.first, rate=self.rate)


def fit_unit_curve(effort: ArrayLike, *, level: float = 0.95) -> UnitCurve:
    """Fit Crawford's unit curve to the efforts of one sequence of like attempts.

    Parameters
    ----------
    effort : array (n,)
        Above 0, in the order of the attempts; 8 or more.
    level : float

    Raises
    ------
    FitError
        Fewer than 8 attempts, or an effort missing, not finite or not above 0.

    Examples
    --------
    >>> curve = fit_unit_curve([100, 80, 70.2104, 64, 59.5637, 56.1683, 53.4490, 51.2])
    >>> round(curve.rate, 4)
    0.8
    """
    y = np.asarray(effort, dtype=float)
    n = len(y)
    if n < FEWEST_ATTEMPTS:
        raise FitError(f"{n} attempts are too few for a learning curve; {FEWEST_ATTEMPTS} are needed.")
    law = fit_power_law(np.arange(1, n + 1), y, level=level)
    return UnitCurve(
        rate=2.0**law.exponent,
        rate_low=2.0**law.low,
        rate_high=2.0**law.high,
        first=law.factor,
        n=n,
        level=level,
        residual_sd=law.residual_sd,
    )


@dataclass(frozen=True)
class PowerLaw:
    """y = factor x^exponent, fitted in logarithms.

    Attributes
    ----------
    exponent, se : float
    low, high : float
        t interval of the exponent.
    factor : float
        y at x = 1, other terms at 0.
    n : int
    groups : int or None
        Clusters behind the standard error; None when rows were taken as independent.
    df : float
        groups - 1, or n less the terms.
    level : float
    residual_sd : float
        Of ln y.
    p_value : float
        Two-sided, against an exponent of 1: effort in proportion to size.
    """

    exponent: float
    se: float
    low: float
    high: float
    factor: float
    n: int
    groups: int | None
    df: float
    level: float
    residual_sd: float
    p_value: float = field(default=float("nan"))


def fit_power_law(
    x: ArrayLike,
    y: ArrayLike,
    *,
    others: ArrayLike | None = None,
    groups: Sequence[object] | NDArray[np.object_] | None = None,
    level: float = 0.95,
) -> PowerLaw:
    """Regress ln y on ln x.

    Parameters
    ----------
    x, y : array (n,)
        Above 0.
    others : array (n, k), optional
        Further terms, entered as they are.
    groups : sequence (n,), optional
        Clusters within which rows may depend on one another; 3 or more. The interval then rests on groups - 1.
    level : float

    Raises
    ------
    FitError
        Too few rows or groups, a value missing or not above 0, or x that does not vary apart from the other terms.

    Notes
    -----
    Clustered covariance with the usual small-sample factor G/(G - 1) (n - 1)/(n - p); Cameron and Miller 2015
    (Journal of Human Resources 50, 317-372).

    Examples
    --------
    >>> law = fit_power_law([1, 2, 4, 8], [3, 6.1, 11.8, 24.2])
    >>> round(law.exponent, 2), law.low < 1 < law.high
    (1.0, True)
    """
    if not 0.0 < level < 1.0:
        raise ValueError(f"level must lie between 0 and 1, not {level}")
    size, effort = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    n = len(size)
    extra = np.zeros((n, 0)) if others is None else np.asarray(others, dtype=float)
    if effort.shape != (n,) or extra.ndim != 2 or len(extra) != n:
        raise ValueError("x, y and others need the same rows")
    for values in (size, effort):
        bad = np.flatnonzero(~(np.isfinite(values) & (values > 0)))
        if bad.size:
            raise FitError(
                f"{bad.size} of {n} values are missing, not finite or not above 0 (first: row {bad[0] + 1})."
            )
    if not np.all(np.isfinite(extra)):
        raise FitError("Some of the other terms are missing or not finite.")
    X = np.column_stack([np.ones(n), extra, np.log(size)])
    p = X.shape[1]
    if n < p + 1:
        raise FitError(f"{n} rows are too few for {p} terms.")
    Q, R = np.linalg.qr(X)
    if np.abs(np.diag(R)).min() <= 1e-7 * np.abs(np.diag(R)).max():
        raise FitError("x does not vary apart from the other terms, so no exponent can be judged.")
    log_y = np.log(effort)
    coef = np.linalg.solve(R, Q.T @ log_y)
    residual = log_y - X @ coef
    residual_sd = float(np.sqrt(residual @ residual / (n - p)))
    half = np.linalg.inv(R)
    if groups is None:
        count, df = None, float(n - p)
        cov = residual_sd**2 * half @ half.T
    else:
        text = np.array([str(label) for label in groups], dtype=object)
        if text.shape != (n,):
            raise ValueError("groups needs one label a row")
        levels, codes = np.unique(text, return_inverse=True)
        count = len(levels)
        if count < FEWEST_GROUPS:
            raise FitError(f"{count} groups are too few to judge how groups differ; {FEWEST_GROUPS} are needed.")
        scores = np.zeros((count, p))
        np.add.at(scores, codes, Q * residual[:, None])
        df = float(count - 1)
        cov = half @ (scores.T @ scores) @ half.T * (count / df) * ((n - 1) / (n - p))
    exponent, se = float(coef[-1]), float(np.sqrt(cov[-1, -1]))
    reach = float(scipy.special.stdtrit(df, 0.5 + level / 2.0)) * se
    p_value = 2.0 * float(scipy.special.stdtr(df, -abs(exponent - 1.0) / se)) if se > 0 else float(exponent == 1.0)
    return PowerLaw(
        exponent=exponent,
        se=se,
        low=exponent - reach,
        high=exponent + reach,
        factor=float(np.exp(coef[0])),
        n=n,
        groups=count,
        df=df,
        level=level,
        residual_sd=residual_sd,
        p_value=p_value,
    )
