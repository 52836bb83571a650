"""The fixed part of a regression, made orthonormal: centring, scaling, the rank rule.

Everything after this file works in a basis ``Q`` of the column space of ``X`` with ``Q'WQ = I``, and on the
residual of ``y`` on it. Centring comes first because it is free (it does not change the determinant) and because
without it a column such as a year, or a response far from zero, costs half the digits; then columns are scaled.
Well-conditioned columns go through their cross products, which is one pass; others through Householder QR.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from scipy.linalg import blas, lapack, qr

from burnlog.errors import FitError, FrameError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

__all__ = ["Design", "Given", "prepare", "read_columns"]

RANK_TOLERANCE = 1e-7  # R's rule in lm() and lmer(): a column whose new part is smaller than this is dropped
CONSTANT_TOLERANCE = 1e-12  # below this share of its own length, what centring leaves of a column is rounding
GRAM_PIVOT = 0.03  # cross products lose the square of the smallest pivot; above this they keep 12 digits
PERFECT = 1e-10  # residual over total length of y below which nothing is left to estimate a spread from


@dataclass(frozen=True)
class Given:
    """Response (n,), all columns (n, p_given), weights (n,) or None, as read; floats are not copied."""

    y: NDArray[np.float64]
    X: NDArray[np.float64]
    weights: NDArray[np.float64] | None
    names: tuple[str, ...]


@dataclass(frozen=True)
class Design:
    """`y` and the kept columns of `X`, weighted, centred and ready to be summed.

    Attributes
    ----------
    rows : (n, p + 1)
        Square root of the weight times the columns of X and the least-squares residual of y.
    to_basis : (p + 1, p + 1)
        ``rows @ to_basis`` is orthonormal, the last column being the scaled residual.
    to_coef : (p, p)
        From coefficients in that basis to coefficients of the columns as given.
    start : (p,)
        Least-squares coefficients of the kept columns as given.
    y_norm : float
        Weighted length of the residual of y.
    log_det : float
        log det X'WX of the kept columns.
    root_weights : (n,) or None
        Square roots of the weights.
    log_weights : float
        Sum of the logarithms of the weights.
    given : Given
        What came in: response, columns, weights.
    names, kept, dropped
        Names of the kept columns, their positions, names of the dropped ones.
    """

    rows: NDArray[np.float64]
    to_basis: NDArray[np.float64]
    to_coef: NDArray[np.float64]
    start: NDArray[np.float64]
    y_norm: float
    log_det: float
    root_weights: NDArray[np.float64] | None
    log_weights: float
    given: Given
    names: tuple[str, ...]
    kept: NDArray[np.intp]
    dropped: tuple[str, ...]


def read_columns(X: ArrayLike | pd.DataFrame, names: Sequence[str] | None) -> tuple[NDArray[np.float64], list[str]]:
    """`X` as a float array (n, p), and its column names (`x0`, `x1` ... where it brings none)."""
    if isinstance(X, pd.DataFrame):
        words = [str(column) for column in X.columns]
        try:
            values = X.to_numpy(dtype=np.float64, na_value=np.nan)
        except (TypeError, ValueError) as error:
            kinds = {column: kind for column, kind in zip(words, X.dtypes, strict=True) if kind.kind not in "bifu"}
            raise FrameError(f"X holds columns that are not numbers: {', '.join(kinds)}.") from error
    else:
        values = np.asarray(X, dtype=np.float64)
        if values.ndim != 2:
            raise FrameError(f"X has {values.ndim} dimensions; give rows by columns (n, p).")
        words = [f"x{j}" for j in range(values.shape[1])]
    if names is not None:
        words = [str(name) for name in names]
    if len(words) != values.shape[1]:
        raise FrameError(f"{len(words)} names for {values.shape[1]} columns of X.")
    return values, words


def _read_vector(what: str, values: ArrayLike | pd.Series) -> NDArray[np.float64]:
    try:
        if isinstance(values, pd.Series):
            return values.to_numpy(dtype=np.float64, na_value=np.nan)
        return np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise FrameError(f"{what} holds values that are not numbers.") from error


def _first_bad(values: NDArray[np.float64]) -> int:
    rows = np.atleast_2d(np.isfinite(values).T).all(axis=0)
    return int(np.argmin(rows))


def _refuse_missing(what: str, values: NDArray[np.float64]) -> None:
    row = _first_bad(values)
    raise FitError(f"{what} is missing or not finite in row {row} (counting from 0); leave such rows out first.")


def _read_weights(weights: ArrayLike | None, n: int) -> NDArray[np.float64] | None:
    if weights is None:
        return None
    w = _read_vector("weights", weights)
    if w.shape != (n,):
        raise FrameError(f"weights have shape {w.shape} for {n} rows.")
    if not np.isfinite(w).all():
        _refuse_missing("a weight", w)
    if w.min() <= 0.0:
        row = int(np.argmin(w))
        raise FitError(
            f"the weight of row {row} (counting from 0) is {w[row]:g}; weights must be above 0: "
            "leave rows without weight out."
        )
    return w


def _constant_column(values: NDArray[np.float64]) -> int | None:
    for j in range(values.shape[1]):
        first = values[0, j]
        # most columns show in their first rows that they are not constant
        if first != 0.0 and (values[:64, j] == first).all() and (values[:, j] == first).all():
            return j
    return None


def _independent(
    columns: NDArray[np.float64], order: list[int]
) -> tuple[list[int], NDArray[np.float64], NDArray[np.float64]]:
    """Keep earlier columns, drop later ones inside their span: R's rule. Q and R of the kept ones."""
    kept = list(order)
    while kept:
        q, r = qr(np.asarray(columns[:, kept]), mode="economic", check_finite=False)
        bad = np.flatnonzero(np.abs(np.diag(r)) < RANK_TOLERANCE)
        # a vanished pivot leaves a direction of pure rounding in q, so later pivots are judged only without it
        surplus = bad[0] if bad.size else (r.shape[0] if len(kept) > r.shape[0] else None)
        if surplus is None:
            return kept, np.asarray(q, dtype=np.float64), np.asarray(r, dtype=np.float64)
        del kept[int(surplus)]
    empty = np.zeros((columns.shape[0], 0))
    return [], empty, np.zeros((0, 0))


def prepare(
    y: ArrayLike, X: ArrayLike | pd.DataFrame, *, weights: ArrayLike | None, names: Sequence[str] | None
) -> Design:
    """Weight, centre, scale and orthonormalise the fixed part.

    Raises
    ------
    FrameError
        Shapes that do not fit together, columns that are not numbers.
    FitError
        Missing values, weights not above 0, no degree of freedom left, a perfect fit.
    """
    values, words = read_columns(X, names)
    response = _read_vector("y", y)
    n, p_given = values.shape
    if response.shape != (n,):
        raise FrameError(f"y has shape {response.shape} and X {n} rows; y must be ({n},).")
    if n == 0:
        raise FitError("there are no rows to fit.")
    w = _read_weights(weights, n)
    root = None if w is None else np.sqrt(w)

    with np.errstate(invalid="ignore", over="ignore"):
        # one missing value poisons its column's mean: a check for the price of a product
        share = np.full(n, 1.0 / n) if w is None else w / w.sum()
        means, y_mean = share @ values, float(share @ response)
    if not np.isfinite(means).all():
        _refuse_missing("X", values)
    if not np.isfinite(y_mean):
        _refuse_missing("y", response)

    base = _constant_column(values)
    if base is None:
        means, y_mean = np.zeros(p_given), 0.0
    else:
        constant = values[0, base]
        means[base] = 0.0
    rows = np.empty((n, p_given + 1))
    np.subtract(values, means, out=rows[:, :p_given])
    np.subtract(response, y_mean, out=rows[:, p_given])
    if root is not None:
        rows *= root[:, None]

    gram = _gram(rows)
    if not np.isfinite(gram).all():
        raise FitError("some values of X or y are too large to be squared; give them in larger units.")
    lengths = np.sqrt(np.diag(gram)[:p_given])
    full = np.sqrt(lengths**2 + float(n if w is None else w.sum()) * means**2)
    alive = [j for j in range(p_given) if lengths[j] > CONSTANT_TOLERANCE * full[j]]
    total = float(np.sqrt(gram[p_given, p_given]))

    rows, kept, pivots, to_basis, to_columns = _orthonormal(rows, gram, alive)
    p = len(kept)
    if n - p < 1:
        raise FitError(
            f"{n} rows leave no degree of freedom after {p} columns; more rows or fewer columns are needed."
        )

    # least squares twice: the second pass returns the digits the first one lost
    at_basis = np.zeros(p)
    for _ in range(2):
        step = to_basis.T @ (rows[:, p] @ rows[:, :p])
        rows[:, p] -= rows[:, :p] @ (to_basis @ step)
        at_basis += step
    y_norm = float(np.sqrt(rows[:, p] @ rows[:, p]))
    if y_norm <= PERFECT * total:
        raise FitError(
            "the columns of X reproduce y exactly, so no spread is left to estimate; "
            "check whether y was computed from them."
        )
    whole = np.zeros((p + 1, p + 1))
    whole[:p, :p] = to_basis
    whole[p, p] = 1.0 / y_norm

    uncentre = np.eye(p)
    start = to_columns @ at_basis
    if base is not None and base in kept:
        place = kept.index(base)
        uncentre[place] -= means[kept] / constant
        start = uncentre @ start
        start[place] += y_mean / constant
    return Design(
        rows=rows,
        to_basis=whole,
        to_coef=uncentre @ to_columns,
        start=start,
        y_norm=y_norm,
        log_det=2.0 * float(np.log(np.abs(pivots)).sum() + np.log(lengths[kept]).sum()),
        root_weights=root,
        log_weights=0.0 if w is None else float(np.log(w).sum()),
        given=Given(response, values, w, tuple(words)),
        names=tuple(words[j] for j in kept),
        kept=np.array(kept, dtype=np.intp),
        dropped=tuple(words[j] for j in range(p_given) if j not in kept),
    )


def _orthonormal(
    rows: NDArray[np.float64], gram: NDArray[np.float64], alive: list[int]
) -> tuple[NDArray[np.float64], list[int], NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Basis of the columns: through their cross products where these keep the digits, else through QR.

    Returns the rows (with the basis in place of the columns after QR), the columns kept, the pivots of the scaled
    columns, and the matrices from the rows, and from the kept columns, to the basis.
    """
    p_given = len(gram) - 1
    lengths = np.sqrt(np.diag(gram)[:p_given])
    if len(alive) == p_given < len(rows):
        scaled = gram[:p_given, :p_given] / lengths / lengths[:, None]
        factor, info = lapack.dpotrf(scaled, lower=0, clean=1)
        pivots = np.diag(factor)
        if info == 0 and pivots.min(initial=1.0) > GRAM_PIVOT:
            to_basis = np.linalg.solve(factor, np.eye(p_given)) / lengths[:, None]
            return rows, alive, pivots, to_basis, to_basis
    safe = np.where(lengths > 0.0, lengths, 1.0)
    kept, q, r = _independent(rows[:, :p_given] / safe, alive)
    to_columns = np.linalg.solve(r, np.eye(len(kept))) / lengths[kept][:, None]
    return np.column_stack([q, rows[:, p_given]]), kept, np.diag(r), np.eye(len(kept)), to_columns


def _gram(rows: NDArray[np.float64]) -> NDArray[Any]:
    lower = blas.dsyrk(1.0, rows.T, lower=1)
    return lower + np.tril(lower, -1).T
