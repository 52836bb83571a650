"""Regressions of counts: shares (binomial) and events per exposure (Poisson), clustered by group.

statsmodels fits them; here stand the refusals. A term that splits the outcomes without an overlap has no finite
estimate, and a fit with fewer events than its terms can bear says more than the record knows.
"""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy.optimize
import scipy.special
from numpy.typing import ArrayLike, NDArray

from burnlog.errors import FitError

__all__ = ["EVENTS_PER_TERM", "CountFit", "fit_binomial", "fit_poisson"]

Array = NDArray[np.float64]
EVENTS_PER_TERM = 5  # judgement: below this the estimates lean away from no effect and the intervals are too short
FEWEST_GROUPS = 3
RANK_TOLERANCE = 1e-7


@dataclass(frozen=True)
class CountFit:
    """A fitted regression of counts.

    Attributes
    ----------
    family : str
        ``binomial`` (factors are odds ratios) or ``poisson`` (rate ratios).
    names : tuple of str
    coef, se : array (p,)
        On the log scale.
    factor, low, high : array (p,)
        exp(coef) and its interval.
    p_values : array (p,)
    level : float
    n : int
        Rows.
    events : int
        Events in all; for shares the rarer of the two outcomes.
    groups : int or None
        Clusters behind the standard errors; None when rows were taken as independent.
    df : float
        Degrees of freedom of the intervals: groups - 1, or n - p.
    dispersion : float
        Pearson chi-square over n - p: well above 1, rows vary more than the family allows.
    """

    family: str
    names: tuple[str, ...]
    coef: Array
    se: Array
    factor: Array
    low: Array
    high: Array
    p_values: Array
    level: float
    n: int
    events: int
    groups: int | None
    df: float
    dispersion: float


def fit_binomial(
    successes: ArrayLike,
    trials: ArrayLike,
    X: ArrayLike,
    *,
    names: Sequence[str],
    groups: ArrayLike | None = None,
    level: float = 0.95,
) -> CountFit:
    """Logistic regression of successes out of trials.

    Parameters
    ----------
    successes, trials : array (n,)
        Whole numbers, successes at most trials; rows without a trial do not count.
    X : array (n, p)
        Covariates, intercept included.
    names : sequence of str
        Of the columns of X.
    groups : array (n,), optional
        Clusters within which rows may depend on one another.
    level : float

    Raises
    ------
    FitError
        Values missing, terms that cannot be told apart, fewer than 5 events a term, a term that separates the
        outcomes, or fewer than 3 groups.
    """
    y, total = np.asarray(successes, dtype=float), np.asarray(trials, dtype=float)
    if np.any(y < 0) or np.any(y > total):
        raise ValueError("successes must lie between 0 and trials")
    events = int(min(np.nansum(y), np.nansum(total - y)))
    sign = np.where(y == 0, -1.0, np.where(y == total, 1.0, 0.0))
    return _fit("binomial", y, total, X, sign, events, names, groups, level)


def fit_poisson(
    events: ArrayLike,
    exposure: ArrayLike,
    X: ArrayLike,
    *,
    names: Sequence[str],
    groups: ArrayLike | None = None,
    level: float = 0.95,
) -> CountFit:
    """Poisson regression of events over exposure.

    Parameters
    ----------
    events : array (n,)
        Whole numbers.
    exposure : array (n,)
        Above 0; rows with exposure 0 do not count.
    X, names, groups, level
        As for `fit_binomial`.

    Raises
    ------
    FitError
        As for `fit_binomial`.
    """
    y, over = np.asarray(events, dtype=float), np.asarray(exposure, dtype=float)
    if np.any(y < 0) or np.any(over < 0):
        raise ValueError("events and exposure must be 0 or more")
    sign = np.where(y == 0, -1.0, 0.0)
    return _fit("poisson", y, over, X, sign, int(np.nansum(y)), names, groups, level)


def _fit(
    family: str,
    y: Array,
    size: Array,
    X: ArrayLike,
    sign: Array,
    events: int,
    names: Sequence[str],
    groups: ArrayLike | None,
    level: float,
) -> CountFit:
    columns = np.asarray(X, dtype=float)
    labels = tuple(names)
    if columns.ndim != 2 or columns.shape != (len(y), len(labels)) or size.shape != y.shape:
        raise ValueError("y, size, X and names do not fit together")
    if not 0.0 < level < 1.0:
        raise ValueError(f"level must lie between 0 and 1, not {level}")
    for what, values in (("counts", y), ("exposure or trials", size), ("covariates", columns)):
        if not np.all(np.isfinite(values)):
            raise FitError(
                f"Some {what} are missing or not finite. Leave those rows out or fill them before the fit."
            )
    use = size > 0
    y, size, columns, sign = y[use], size[use], columns[use], sign[use]
    n, p = columns.shape
    codes, count = None, None
    if groups is not None:
        text = np.array([str(label) for label in np.asarray(groups, dtype=object)[use]], dtype=object)
        levels, codes = np.unique(text, return_inverse=True)
        count = len(levels)
        if count < FEWEST_GROUPS:
            raise FitError(f"{count} groups are too few to judge how groups differ; {FEWEST_GROUPS} are needed.")
    _refuse(columns, sign, events, labels)
    found = _run(family, y, size, columns, codes)
    df = float(n - p if count is None else count - 1)
    reach = float(scipy.special.stdtrit(df, 0.5 + level / 2.0))
    coef, se = np.asarray(found.params, dtype=float), np.asarray(found.bse, dtype=float)
    return CountFit(
        family=family,
        names=labels,
        coef=coef,
        se=se,
        factor=np.exp(coef),
        low=np.exp(coef - reach * se),
        high=np.exp(coef + reach * se),
        p_values=np.asarray(2.0 * scipy.special.stdtr(df, -np.abs(coef / se)), dtype=float),
        level=level,
        n=n,
        events=events,
        groups=count,
        df=df,
        dispersion=float(found.pearson_chi2 / (n - p)),
    )


def _refuse(X: Array, sign: Array, events: int, names: tuple[str, ...]) -> None:
    n, p = X.shape
    if n <= p:
        raise FitError(f"{n} rows are too few for {p} terms.")
    if events < EVENTS_PER_TERM * p:
        raise FitError(
            f"{events} events are too few for {p} terms: at least {EVENTS_PER_TERM * p} are needed. "
            "Use fewer terms, or give the counts alone."
        )
    left = np.abs(np.diag(np.linalg.qr(X, mode="r")))
    length = np.linalg.norm(X, axis=0)
    for j, name in enumerate(names):
        if left[j] <= RANK_TOLERANCE * length[j] or length[j] == 0:
            raise FitError(f"{name} cannot be told apart from the other terms in these rows. Leave it out.")
    split = _separating(X, sign)
    if split is not None:
        raise FitError(
            f"{names[split]} divides the outcomes without an overlap, so these rows set no bound to its effect. "
            "Give the counts on both sides instead, or leave the term out."
        )


def _separating(X: Array, sign: Array) -> int | None:
    """A term with weight in a combination that splits the outcomes, or None.

    A combination splits them when it is 0 or more wherever all trials succeeded, 0 or less wherever none did, 0
    wherever both occurred, and not 0 throughout (Albert and Anderson 1984, Biometrika 71, 1-10; as a linear
    programme, Konis 2007).
    """
    scaled = X / np.abs(X).max(axis=0)
    certain = sign != 0
    towards = sign[certain, None] * scaled[certain]
    if not certain.any():
        return None
    mixed = scaled[~certain]
    found = scipy.optimize.linprog(
        -towards.sum(axis=0),
        A_ub=-towards,
        b_ub=np.zeros(len(towards)),
        A_eq=mixed if len(mixed) else None,
        b_eq=np.zeros(len(mixed)) if len(mixed) else None,
        bounds=(-1.0, 1.0),
        method="highs",
    )
    if found.x is None:
        raise FitError("Whether the terms divide the outcomes could not be settled. Use fewer terms.")
    if float(towards.sum(axis=0) @ found.x) < 1e-7:
        return None
    weights = np.abs(np.asarray(found.x, dtype=float))
    if len(weights) > 1:
        # An intercept only carries the threshold; the term that moves is the one to name.
        constant = np.ptp(X, axis=0) == 0
        weights = np.where(constant & ~constant.all(), 0.0, weights)
    return int(weights.argmax())


def _run(family: str, y: Array, size: Array, X: Array, codes: NDArray[np.intp] | None) -> Any:
    import statsmodels.api as sm
    from statsmodels.tools.sm_exceptions import PerfectSeparationError, PerfectSeparationWarning

    if family == "binomial":
        model = sm.GLM(np.column_stack([y, size - y]), X, family=sm.families.Binomial())
    else:
        model = sm.GLM(y, X, family=sm.families.Poisson(), exposure=size)
    options = {} if codes is None else {"cov_type": "cluster", "cov_kwds": {"groups": codes}}
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", PerfectSeparationWarning)
            found = model.fit(maxiter=200, tol=1e-12, **options)
    except (PerfectSeparationError, PerfectSeparationWarning) as error:
        raise FitError("The terms divide the outcomes without an overlap, so no effect can be stated.") from error
    if not found.converged:
        raise FitError("The fit of the counts did not settle. Use fewer terms, or give the counts alone.")
    return found
