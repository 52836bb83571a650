"""Predictions from a mixed model, for known and unknown levels, with the error of everything estimated.

The error of a prediction ``x'b + sum of effects`` is the quadratic form of Henderson's mixed-model equations: the
errors of coefficients and of conditional modes are correlated, and taking only one of them gives intervals that are
too narrow for unknown levels or too wide for known ones. The variances themselves are taken as known here; with few
levels an integrated fit must widen this.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from scipy.linalg import solve_triangular
from scipy.stats import t as student_t

from burnlog.errors import FitError, FrameError
from burnlog.stats.design import read_columns
from burnlog.stats.threads import one_thread

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from burnlog.stats.mixed import MixedFit

    Labels = Mapping[str, ArrayLike | pd.Series]

__all__ = ["Prediction", "joint_covariance", "predict", "predict_rows"]

CHUNK = 4_000_000  # numbers held at once while rows are pushed through the factor


@dataclass(frozen=True)
class Prediction:
    """Means and intervals, row by row.

    Attributes
    ----------
    mean : (m,)
        Expected value: fixed part and known effects; an unknown level counts as the average one.
    se : (m,)
        Standard error of that mean, the spread between unknown levels included.
    low, high : (m,)
        Interval for the mean.
    new_se : (m,)
        Standard error for a new observation: `se` and the residual.
    new_low, new_high : (m,)
        Interval for a new observation.
    known : DataFrame (m, K) of bool
        Which levels the fit has seen.
    level : float
        Probability of the intervals.
    """

    mean: NDArray[np.float64]
    se: NDArray[np.float64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    new_se: NDArray[np.float64]
    new_low: NDArray[np.float64]
    new_high: NDArray[np.float64]
    known: pd.DataFrame
    level: float


def predict(
    fit: MixedFit,
    X: ArrayLike | pd.DataFrame,
    groups: Labels,
    *,
    level: float = 0.9,
    weights: ArrayLike | None = None,
) -> Prediction:
    """Predict the mean and a new observation for each row.

    Parameters
    ----------
    fit : MixedFit
        A fit with or without groupings.
    X : (m, p) array or frame
        The columns of the fit: a frame is read by name, an array by position.
    groups : mapping name -> (m,) labels
        Levels; one the fit has not seen, a missing label and a grouping left out all mean *a level drawn anew*.
    level : float
        Probability of the intervals, between 0 and 1.
    weights : (m,), optional
        Weights of new observations, 1 where not given.

    Returns
    -------
    Prediction

    Raises
    ------
    FrameError
        Columns that are missing or do not fit, a grouping the fit does not have.

    Notes
    -----
    Intervals use Student's t with ``n - p`` degrees of freedom: exact without groupings, and with them as if the
    variance ratios were known.

    Examples
    --------
    >>> from burnlog.stats.mixed import fit_mixed
    >>> fit = fit_mixed([1.0, 1.2, 3.1, 2.9, 2.0, 2.2], [[1.0]] * 6, {"batch": list("aabbcc")})
    >>> answer = predict(fit, [[1.0], [1.0]], {"batch": ["b", "z"]})
    >>> print(answer.mean.round(3), answer.se.round(3))
    [2.99  2.067] [0.1   1.093]
    """
    if not 0.0 < level < 1.0:
        raise ValueError(f"level is {level!r}; it must lie between 0 and 1")
    columns = _columns(fit, X)
    m = len(columns)
    codes, _ = _codes(fit, groups, m)
    w = _weights(weights, m)
    with one_thread():
        mean, variance = _means_and_variances(fit, columns, codes)
    se = fit.sigma * np.sqrt(variance)
    new_se = fit.sigma * np.sqrt(variance + 1.0 / w)
    reach = float(student_t.ppf(0.5 + level / 2.0, fit.df_resid))
    known = {factor.name: codes[k] >= 0 for k, factor in enumerate(fit.tables.factors)}
    return Prediction(
        mean=mean,
        se=se,
        low=mean - reach * se,
        high=mean + reach * se,
        new_se=new_se,
        new_low=mean - reach * new_se,
        new_high=mean + reach * new_se,
        known=pd.DataFrame(known, index=pd.RangeIndex(m)),
        level=level,
    )


def joint_covariance(
    fit: MixedFit,
    X: ArrayLike | pd.DataFrame,
    groups: Labels,
    *,
    new: bool = False,
    weights: ArrayLike | None = None,
) -> NDArray[np.float64]:
    """Covariance of the errors of several predictions (m, m), for totals and differences.

    Rows that share an unknown label share its draw; a missing label, or a grouping left out, shares with no other
    row. With `new`, the residual variance of a new observation is added to the diagonal.
    """
    columns = _columns(fit, X)
    m = len(columns)
    codes, strangers = _codes(fit, groups, m)
    with one_thread():
        _, covariance = predict_rows(fit, columns, codes, strangers)
    if new:
        covariance[np.arange(m), np.arange(m)] += fit.sigma**2 / _weights(weights, m)
    return covariance


def predict_rows(
    fit: MixedFit, columns: NDArray[np.float64], codes: NDArray[np.intp], strangers: NDArray[np.intp]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Means (m,) and covariance of their errors (m, m) from kept columns and level positions.

    `codes` (K, m) are positions within the levels of each factor, -1 for unknown; `strangers` (K, m) number the
    unknown levels, so that equal numbers share a draw.
    """
    errors = _errors(fit, columns, codes)
    covariance = errors.T @ errors
    for k, ratio in enumerate(fit.point.ratios):
        unknown = codes[k] < 0
        shared = unknown[:, None] & unknown & (strangers[k][:, None] == strangers[k])
        covariance += ratio * shared
    return _means(fit, columns, codes), fit.sigma**2 * covariance


def _means(fit: MixedFit, columns: NDArray[np.float64], codes: NDArray[np.intp]) -> NDArray[np.float64]:
    mean = np.asarray(columns @ fit.coef.to_numpy())
    modes = fit.point.modes[:, -1] / fit.point.turn[-1, -1] * fit.tables.design.y_norm
    for k in range(len(codes)):
        own = modes[fit.tables.block(k)]
        mean += np.where(codes[k] >= 0, own[codes[k]], 0.0)
    return mean


def _errors(fit: MixedFit, columns: NDArray[np.float64], codes: NDArray[np.intp]) -> NDArray[np.float64]:
    """Matrix whose cross product is the covariance of the errors over sigma squared, known levels only (q + p, m)."""
    tables, point, p = fit.tables, fit.point, fit.tables.p
    m = len(columns)
    at = np.zeros((len(tables.counts), m))
    for k in range(len(codes)):
        seen = np.flatnonzero(codes[k] >= 0)
        at[tables.starts[k] + codes[k][seen], seen] = 1.0
    half = point.factor.forward(at)
    fixed = (columns @ tables.design.to_coef).T - point.half[:, :p].T @ half
    if p:
        fixed = np.asarray(solve_triangular(point.lower[:p, :p], fixed, lower=True, check_finite=False))
    return np.concatenate([half, fixed])


def _means_and_variances(
    fit: MixedFit, columns: NDArray[np.float64], codes: NDArray[np.intp]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    m = len(columns)
    variance = np.empty(m)
    step = max(1, CHUNK // (len(fit.tables.counts) + fit.tables.p + 1))
    for first in range(0, m, step):
        part = slice(first, first + step)
        errors = _errors(fit, columns[part], codes[:, part])
        variance[part] = np.einsum("ij,ij->j", errors, errors)
    for k, ratio in enumerate(fit.point.ratios):
        variance += np.where(codes[k] < 0, ratio, 0.0)
    return _means(fit, columns, codes), variance


def _columns(fit: MixedFit, X: ArrayLike | pd.DataFrame) -> NDArray[np.float64]:
    design = fit.tables.design
    if isinstance(X, pd.DataFrame):
        by_name = {str(column): column for column in X.columns}
        absent = [name for name in design.names if name not in by_name]
        if absent:
            raise FrameError(f"X lacks the columns {', '.join(absent)} of the fit.")
        values, _ = read_columns(X[[by_name[name] for name in design.names]], None)
    else:
        values, _ = read_columns(X, None)
        if values.shape[1] != len(design.given.names):
            raise FrameError(f"X has {values.shape[1]} columns; the fit had {len(design.given.names)}.")
        values = values[:, design.kept]
    if not np.isfinite(values).all():
        row = int(np.argmin(np.isfinite(values).all(axis=1)))
        raise FitError(f"X is missing or not finite in row {row} (counting from 0); leave such rows out first.")
    return np.ascontiguousarray(values)  # one order in memory, so that equal columns give equal bytes


def _codes(fit: MixedFit, groups: Labels, m: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Positions of the labels in each factor (-1 unknown), and numbers for the unknown ones, each (K, m)."""
    factors = fit.tables.factors
    surplus = set(groups) - {factor.name for factor in factors}
    if surplus:
        raise FrameError(f"the fit has no grouping named {', '.join(sorted(map(repr, surplus)))}.")
    codes = np.full((len(factors), m), -1, dtype=np.intp)
    strangers = np.tile(np.arange(m), (len(factors), 1))
    for k, factor in enumerate(factors):
        if factor.name not in groups:
            continue
        labels: Any = groups[factor.name]
        values = pd.Index(labels if hasattr(labels, "__len__") else list(labels))
        if len(values) != m:
            raise FrameError(f"grouping {factor.name!r} has {len(values)} labels for {m} rows.")
        codes[k] = factor.levels.get_indexer(values)
        empty = fit.tables.counts[fit.tables.block(k)] == 0.0
        codes[k][(codes[k] >= 0) & empty[codes[k]]] = -1
        numbers = pd.factorize(values)[0]
        strangers[k] = np.where(numbers >= 0, numbers, m + np.arange(m))
    return codes, strangers


def _weights(weights: ArrayLike | None, m: int) -> NDArray[np.float64]:
    if weights is None:
        return np.ones(m)
    w = np.asarray(weights, dtype=np.float64)
    if w.shape != (m,):
        raise FrameError(f"weights have shape {w.shape} for {m} rows.")
    if not (np.isfinite(w).all() and (w > 0.0).all()):
        raise FitError("weights of new observations must be finite and above 0.")
    return w
