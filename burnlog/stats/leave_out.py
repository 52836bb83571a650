"""Leave one level out: every level in turn taken from the tables, the model fitted anew, the level predicted.

The tables are downdated, not recounted, and the search starts from the full fit, so a whole round costs a few
milliseconds a level. The variances are sought anew each time: holding them looks cheaper and is optimistic, since
the level left out helped to set them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from burnlog.errors import FitError
from burnlog.stats.mixed import MixedFit, fit_tables
from burnlog.stats.predict import predict_rows
from burnlog.stats.suffstats import SufficientTables, tabulate
from burnlog.stats.threads import one_thread

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["LeftOut", "leave_one_out"]

ENOUGH = 1e-9  # leaves the variances within 1e-4 of their standard error, one evaluation earlier
LOST = 1e-10  # squared pivot of the remaining columns below which one of them lived in the level left out


@dataclass(frozen=True)
class LeftOut:
    """One level, predicted by a fit that has not seen it.

    Attributes
    ----------
    level : object
        The label.
    rows : (m,)
        Its rows, as positions in the data of the full fit.
    fit : MixedFit or None
        The fit without them; None where the rest cannot be fitted, with the sentence in `why`.
    mean : (m,)
        Predicted means; NaN without a fit.
    covariance : (m, m)
        Covariance of new observations about those means; NaN without a fit.
    log_density : float
        Logarithm of the normal density of the level's own observations, all together; NaN without a fit.
    why : str
        Why there is no fit, or empty.
    """

    level: Any
    rows: NDArray[np.intp]
    fit: MixedFit | None
    mean: NDArray[np.float64]
    covariance: NDArray[np.float64]
    log_density: float
    why: str


def leave_one_out(fit: MixedFit, factor: str) -> Iterator[LeftOut]:
    """Leave out each level of one grouping in turn, refit in full, predict the rows left out.

    Parameters
    ----------
    fit : MixedFit
        The full fit; its tables and variance ratios are the starting point.
    factor : str
        Name of the grouping whose levels go.

    Yields
    ------
    LeftOut
        In the order of the levels. A level without which the rest cannot be fitted comes with the reason.

    Examples
    --------
    >>> from burnlog.stats.mixed import fit_mixed
    >>> y = [1.0, 1.2, 3.1, 2.9, 2.0, 2.2]
    >>> full = fit_mixed(y, [[1.0]] * 6, {"batch": list("aabbcc")})
    >>> [f"{out.level} {out.mean[0]:.2f}" for out in leave_one_out(full, "batch")]
    ['a 2.55', 'b 1.60', 'c 2.05']
    """
    tables = fit.tables
    k = tables.position(factor)
    for level, count in zip(tables.factors[k].levels, tables.counts[tables.block(k)], strict=True):
        if count > 0.0:
            yield _without(fit, factor, level)


def _without(fit: MixedFit, factor: str, level: object) -> LeftOut:
    tables = fit.tables
    rows = tables.rows_of(factor, level)
    try:
        with one_thread():
            smaller = tables.without(level, factor=factor)
            if _lost_column(smaller):
                smaller = _counted_again(smaller)
            known = dict(zip((f.name for f in tables.factors), fit.point.ratios, strict=True))
            start = np.array([known[f.name] for f in smaller.factors])
            return _judge(fit_tables(smaller, method=fit.method, start=start, enough=ENOUGH), tables, rows, level)
    except FitError as error:
        m = len(rows)
        return LeftOut(level, rows, None, np.full(m, np.nan), np.full((m, m), np.nan), float("nan"), str(error))


def _lost_column(tables: SufficientTables) -> bool:
    fixed = tables.gram[: tables.p, : tables.p]
    return bool(tables.p and np.linalg.eigvalsh(fixed)[0] < LOST)


def _counted_again(tables: SufficientTables) -> SufficientTables:
    """Tables of the rows that remain, made from the data: the rank rule decides anew which columns stay."""
    keep = np.ones(len(tables.design.rows), dtype=bool)
    keep[tables.removed] = False
    given = tables.design.given
    return tabulate(
        given.y[keep],
        given.X[keep],
        {factor.name: factor.levels[factor.codes[keep]] for factor in tables.factors},
        weights=None if given.weights is None else given.weights[keep],
        names=given.names,
    )


def _judge(left: MixedFit, full: SufficientTables, rows: NDArray[np.intp], level: object) -> LeftOut:
    given, m = full.design.given, len(rows)
    codes = np.empty((len(left.tables.factors), m), dtype=np.intp)
    for k, factor in enumerate(left.tables.factors):
        whole = full.factors[full.position(factor.name)]
        held = left.tables.counts[left.tables.block(k)] > 0.0
        # a fresh count has its own, shorter list of levels
        place = np.arange(whole.size) if factor.size == whole.size else factor.levels.get_indexer(whole.levels)
        place = np.where((place >= 0) & held[place], place, -1)
        codes[k] = place[whole.codes[rows]]
    strangers = np.array([full.factors[full.position(f.name)].codes[rows] for f in left.tables.factors])
    columns = given.X[rows][:, left.tables.design.kept]
    mean, covariance = predict_rows(left, columns, codes, strangers)
    noise = left.sigma**2 / (np.ones(m) if given.weights is None else given.weights[rows])
    covariance[np.arange(m), np.arange(m)] += noise
    lower = np.linalg.cholesky(covariance)
    scaled = np.linalg.solve(lower, given.y[rows] - mean)
    density = (
        -0.5 * float(scaled @ scaled) - float(np.log(np.diag(lower)).sum()) - 0.5 * m * float(np.log(2.0 * np.pi))
    )
    return LeftOut(level, rows, left, mean, covariance, density, "")
