"""Linear mixed model with any number of crossed or nested random intercepts.

One call, `fit_mixed`; without groupings it is ordinary (weighted) least squares. The algorithm stands in
`burnlog.stats.suffstats` (one pass over the rows), `burnlog.stats.criterion` (criterion and derivatives) and
`burnlog.stats.newton` (the search).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

import numpy as np
import pandas as pd

from burnlog.errors import FitError, FrameError
from burnlog.stats.criterion import Point
from burnlog.stats.newton import ENOUGH, Optimum, minimise, moment_start
from burnlog.stats.suffstats import SufficientTables, tabulate
from burnlog.stats.threads import one_thread

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

__all__ = ["Method", "MixedFit", "check_tables", "criterion_at", "fit_at", "fit_mixed", "fit_tables"]

Method = Literal["REML", "ML"]

INSIDE_SPAN = 1e-8  # share of a grouping that is left outside the columns of X below which it is one of them
SAME = 1e-10  # share of the rows by which two groupings must differ


@dataclass(frozen=True)
class MixedFit:
    """A fitted mixed model.

    Attributes
    ----------
    method : {"REML", "ML"}
        Which likelihood was maximised.
    criterion : float
        -2 log (restricted) likelihood at the optimum, in lme4's convention.
    coef, coef_se : Series (p,)
        Coefficients of the kept columns by name, and their standard errors.
    coef_cov : DataFrame (p, p)
        Their covariance, spreads taken as known.
    sigma : float
        Residual standard deviation (of a row of weight 1).
    group_sd : dict name -> float
        Standard deviation of each grouping's effects; exactly 0.0 on the boundary.
    effects : dict name -> Series
        Conditional mode of each level, by level, labels of the dtype given.
    n, df_resid : int
        Rows; rows less columns kept.
    dropped : tuple of str
        Columns inside the span of earlier ones.
    boundary : tuple of str
        Groupings whose variance is zero.
    evaluations : int
        Evaluations of the criterion.
    notes : tuple of str
        Doubts, as sentences.
    point : Point
        The criterion's state at the optimum; its `ratios` stand in the order of `tables.factors`.
    tables : SufficientTables
        What the fit was made from; `burnlog.stats.predict` and `leave_one_out` go on from here.
    """

    method: Method
    criterion: float
    coef: pd.Series
    coef_se: pd.Series
    coef_cov: pd.DataFrame
    sigma: float
    group_sd: dict[str, float]
    effects: dict[str, pd.Series]
    n: int
    df_resid: int
    dropped: tuple[str, ...]
    boundary: tuple[str, ...]
    evaluations: int
    notes: tuple[str, ...]
    point: Point = field(repr=False)
    tables: SufficientTables = field(repr=False)


def fit_mixed(
    y: ArrayLike,
    X: ArrayLike | pd.DataFrame,
    groups: Mapping[str, ArrayLike | pd.Series],
    *,
    weights: ArrayLike | None = None,
    method: Method = "REML",
    names: Sequence[str] | None = None,
) -> MixedFit:
    """Fit ``y = X b + sum of random intercepts + residual`` by restricted or full maximum likelihood.

    Parameters
    ----------
    y : (n,)
        Response, finite.
    X : (n, p) array or frame
        Columns of the fixed part; the intercept, where wanted, is one of them.
    groups : mapping name -> (n,) labels
        Groupings, crossed or nested; labels of any dtype. A nested grouping needs labels that are unique over all
        rows (cask within batch, not cask 1, 2, 3 in every batch). Empty: least squares.
    weights : (n,), optional
        Prior weights above 0: the residual variance of row i is ``sigma**2 / weights[i]``.
    method : {"REML", "ML"}
        Restricted (the default) or full likelihood.
    names : sequence of str, optional
        Names of the columns of X, instead of the frame's.

    Returns
    -------
    MixedFit

    Raises
    ------
    FitError
        Missing values, weights not above 0, no degree of freedom left, a perfect fit; a grouping with one level,
        with as many levels as rows, inside the span of X, or the same as another one. The message says which.
    FrameError
        Shapes that do not fit together, columns that are not numbers.

    Notes
    -----
    Columns inside the span of earlier ones are dropped, by the rule of R's ``lm`` [1]_; a constant column counts
    as the first one.

    References
    ----------
    .. [1] R Core Team, ``?qr``, tolerance 1e-7; from memory.

    Examples
    --------
    >>> fit = fit_mixed([1.0, 1.2, 3.1, 2.9, 2.0, 2.2], [[1.0]] * 6, {"batch": list("aabbcc")})
    >>> print(f"{fit.coef['x0']:.4f} {fit.group_sd['batch'] ** 2:.4f} {fit.sigma**2:.4f}")
    2.0667 0.8933 0.0200
    """
    tables = tabulate(y, X, groups, weights=weights, names=names)
    return fit_tables(tables, method=method)


def fit_tables(
    tables: SufficientTables,
    *,
    method: Method = "REML",
    start: NDArray[np.float64] | None = None,
    enough: float = ENOUGH,
) -> MixedFit:
    """`fit_mixed` from tables already made.

    `start` (K,) are variance ratios to begin the search from; it ends when the next step promises to lower the
    criterion by less than `enough`.
    """
    restricted = _is_restricted(method)
    with one_thread():
        check_tables(tables)
        try:
            if not tables.factors:
                none = np.zeros(0)
                point = Point(tables, none, restricted=restricted)
                best = Optimum(point, none, np.zeros(0, dtype=bool), 1, True)
            else:
                first = moment_start(tables) if start is None else start
                best = minimise(tables, first, restricted=restricted, enough=enough)
        except np.linalg.LinAlgError as error:
            raise FitError(
                "the rows cannot tell the columns and groupings apart; leave one column or grouping out."
            ) from error
        return _describe(tables, best, method)


def fit_at(tables: SufficientTables, ratios: Mapping[str, float], *, method: Method = "REML") -> MixedFit:
    """The fit with variance ratios held (grouping variance over residual variance, 0 or more) instead of sought."""
    restricted = _is_restricted(method)
    names = [factor.name for factor in tables.factors]
    if set(ratios) != set(names):
        raise FrameError(f"ratios are given for {sorted(ratios)}; the groupings are {sorted(names)}.")
    held = np.array([float(ratios[name]) for name in names])
    if not (np.isfinite(held).all() and (held >= 0.0).all()):
        raise FrameError("variance ratios must be finite and 0 or more.")
    with one_thread():
        point = Point(tables, held, restricted=restricted)
        return _describe(tables, Optimum(point, held, held > 0.0, 1, True), method)


def criterion_at(
    y: ArrayLike,
    X: ArrayLike | pd.DataFrame,
    groups: Mapping[str, ArrayLike | pd.Series],
    ratios: Mapping[str, float],
    *,
    weights: ArrayLike | None = None,
    method: Method = "REML",
) -> float:
    """-2 log (restricted) likelihood at given variance ratios, coefficients and sigma profiled out.

    Examples
    --------
    >>> round(criterion_at([1.0, 2.0, 4.0], [[1.0]] * 3, {}, {}), 6)
    8.468962
    """
    return fit_at(tabulate(y, X, groups, weights=weights), ratios, method=method).criterion


def _is_restricted(method: Method) -> bool:
    if method not in ("REML", "ML"):
        raise ValueError(f"method is {method!r}; it must be 'REML' or 'ML'")
    return method == "REML"


def check_tables(tables: SufficientTables) -> None:
    """Refuse, with a sentence, what no search can estimate.

    Raises
    ------
    FitError
        See `fit_mixed`.
    """
    n, p = tables.n, tables.p
    if n - p < 1:
        raise FitError(
            f"{n} rows leave no degree of freedom after {p} columns; more rows or fewer columns are needed."
        )
    seen = []
    for k, factor in enumerate(tables.factors):
        counts, sums = tables.counts[tables.block(k)], tables.sums[tables.block(k), :p]
        levels = int((counts > 0.0).sum())
        seen.append(levels)
        if levels < 2:
            raise FitError(
                f"grouping {factor.name!r} has one level, so its spread cannot be estimated; leave it out of the fit."
            )
        if levels >= n:
            raise FitError(
                f"grouping {factor.name!r} has a level for each of the {n} rows, so its spread cannot be told from "
                "the residual; leave it out of the fit."
            )
        mass = float(counts.sum())
        if mass - float((sums**2).sum()) < INSIDE_SPAN * mass:
            raise FitError(
                f"the columns of X already hold every level of grouping {factor.name!r}; leave one or the other out."
            )
    for k, one in enumerate(tables.factors):
        for m in range(k):
            if seen[k] != seen[m]:
                continue
            mass = float(tables.counts[tables.block(k)].sum())
            # each is nested in the other
            if min(tables.squares[k, m], tables.squares[m, k]) >= (1.0 - SAME) * mass:
                raise FitError(
                    f"groupings {tables.factors[m].name!r} and {one.name!r} divide the rows in the same way, so only "
                    "the sum of their variances is identified; leave one out of the fit."
                )


def _describe(tables: SufficientTables, best: Optimum, method: Method) -> MixedFit:
    design, point, p = tables.design, best.point, tables.p
    turn = point.turn
    last = turn[p, p]
    in_basis = -turn[:p, p] / last * design.y_norm
    coef = design.start + design.to_coef @ in_basis
    root = design.to_coef @ turn[:p, :p]
    cov = point.variance * (root @ root.T)
    names = pd.Index(design.names, dtype=object)
    sigma = float(np.sqrt(point.variance))
    modes = point.modes[:, p] / last * design.y_norm
    order = sorted(range(len(tables.factors)), key=lambda k: tables.factors[k].name)
    group_sd = {tables.factors[k].name: sigma * float(np.sqrt(best.ratios[k])) for k in order}
    effects = {tables.factors[k].name: _by_level(tables, k, modes) for k in order}
    boundary = tuple(name for name, sd in group_sd.items() if sd == 0.0)
    return MixedFit(
        method=method,
        criterion=point.value,
        coef=pd.Series(coef, index=names),
        coef_se=pd.Series(np.sqrt(np.diag(cov)), index=names),
        coef_cov=pd.DataFrame(cov, index=names, columns=names),
        sigma=sigma,
        group_sd=group_sd,
        effects=effects,
        n=tables.n,
        df_resid=tables.n - p,
        dropped=design.dropped,
        boundary=boundary,
        evaluations=best.evaluations,
        notes=_notes(design.dropped, boundary, best.converged),
        point=point,
        tables=tables,
    )


def _by_level(tables: SufficientTables, k: int, modes: NDArray[np.float64]) -> pd.Series:
    own, levels = modes[tables.block(k)], tables.factors[k].levels
    if tables.removed.size:
        filled = tables.counts[tables.block(k)] > 0.0
        own, levels = own[filled], levels[filled]
    return pd.Series(own, index=levels)


def _notes(dropped: tuple[str, ...], boundary: tuple[str, ...], converged: bool) -> tuple[str, ...]:
    notes = [f"column {name!r} is a combination of earlier columns and was dropped" for name in dropped]
    notes += [f"the spread between levels of {name!r} is estimated as zero" for name in boundary]
    if not converged:
        notes.append("the search for the variances stopped before it converged")
    return tuple(notes)
