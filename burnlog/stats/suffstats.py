"""One pass over the rows: the sums that a mixed model needs, and nothing else.

With ``W = [X y]`` (orthonormalised, see `burnlog.stats.design`) and ``Z_k`` the 0/1 matrix of factor k, all
weighted, the fit needs only ``N_k = diag(Z_k'Z_k)``, ``R_k = Z_k'W``, ``C_kl = Z_k'Z_l`` and ``W'W``. The rows are
not touched again, whatever the number of evaluations; and the tables of a subset are these tables less the sums of
the rows left out.

Levels are stacked: factor after factor in one axis of length q, the one to be eliminated first in front. When that
one has many levels with few cells each, its table against the others stays sparse (`Lead`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd
from scipy.sparse import coo_matrix, csc_matrix, csr_matrix

from burnlog.errors import FrameError
from burnlog.stats.cross import CrossTable
from burnlog.stats.design import Design, prepare
from burnlog.stats.factors import Factor, RowOrder, is_nested, read_factor
from burnlog.stats.threads import one_thread

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

__all__ = ["Lead", "SufficientTables", "tabulate"]


@dataclass(frozen=True)
class Lead:
    """Cross tables of a first factor with many levels and few cells a level, kept sparse.

    Eliminating the factor subtracts ``sum_j w_j c_j c_j'`` from the cross table of the others, with ``c_j`` the cells
    of level j. Which entries change does not depend on the weights w, so they are listed once: one sparse product
    per evaluation gives them all.

    Attributes
    ----------
    cells : (q_1, q - q_1) sparse
        Rows of level j that fall in each level of the other factors.
    pairs : (m, q_1) sparse
        The products of cells, one row for each entry of what follows in memory: the counts of the factor eliminated
        next (where there is one), its table against the rest, the rest's table among themselves (upper triangle
        only). ``pairs @ w`` is what the entries lose.
    """

    cells: csr_matrix
    pairs: csc_matrix

    def emptied(self, levels: NDArray[np.int32]) -> Lead:
        """The same without the rows of some levels; their pairs stay, since a level without count has no weight."""
        gone = np.zeros(self.cells.shape[0], dtype=bool)
        gone[levels] = True
        data = np.where(np.repeat(gone, np.diff(self.cells.indptr)), 0.0, self.cells.data)
        return Lead(csr_matrix((data, self.cells.indices, self.cells.indptr), shape=self.cells.shape), self.pairs)


@dataclass(frozen=True)
class SufficientTables:
    """Sums over the rows for one response, one set of columns and any number of groupings.

    Attributes
    ----------
    design : Design
        The fixed part, with the rows in its basis.
    factors : tuple of Factor
        In order of elimination.
    n : int
        Rows counted in the tables.
    gram : (p + 1, p + 1)
        W'W.
    counts : (q,)
        Sum of weights of each level, factor after factor.
    sums : (q, p + 1)
        Z'W.
    lead : Lead or None
        The first factor's cross tables where they are sparse.
    cross_first : CrossTable (q_f, q_r)
        Table of the factor eliminated densely against the rest; no rows where there is none.
    cross_rest : (q_r, q_r)
        Tables of the rest among themselves.
    log_weights : float
        Sum of the logarithms of the weights.
    removed : (m,)
        Rows of the design that are not counted.
    """

    design: Design
    factors: tuple[Factor, ...]
    n: int
    gram: NDArray[np.float64]
    counts: NDArray[np.float64]
    sums: NDArray[np.float64]
    lead: Lead | None
    cross_first: CrossTable
    cross_rest: NDArray[np.float64]
    log_weights: float
    removed: NDArray[np.intp]

    @property
    def p(self) -> int:
        """Number of columns kept."""
        return len(self.design.names)

    @cached_property
    def sizes(self) -> NDArray[np.intp]:
        """Levels of each factor (K,)."""
        return np.array([factor.size for factor in self.factors], dtype=np.intp)

    @cached_property
    def starts(self) -> NDArray[np.intp]:
        """First position of each factor on the stacked axis (K,)."""
        return np.cumsum(self.sizes) - self.sizes

    def block(self, k: int) -> slice:
        """Positions of factor k on the stacked axis."""
        return slice(int(self.starts[k]), int(self.starts[k] + self.sizes[k]))

    def position(self, name: str) -> int:
        """Which factor has this name."""
        for k, factor in enumerate(self.factors):
            if factor.name == name:
                return k
        raise FrameError(
            f"no grouping named {name!r}; there are {', '.join(f.name for f in self.factors) or 'none'}."
        )

    def spread(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """Z'Z times `values` (q, m)."""
        q1 = 0 if self.lead is None else self.lead.cells.shape[0]
        qf = q1 + self.cross_first.shape[0]
        out = np.empty_like(values)
        first, rest = values[q1:qf], values[qf:]
        out[q1:qf] = self.counts[q1:qf, None] * first + self.cross_first @ rest
        out[qf:] = self.cross_first.transposed_times(first) + self.cross_rest @ rest
        if self.lead is not None:
            out[:q1] = self.counts[:q1, None] * values[:q1] + self.lead.cells @ values[q1:]
            out[q1:] += self.lead.cells.T @ values[:q1]
        return out

    @cached_property
    def squares(self) -> NDArray[np.float64]:
        """For each pair of factors, the sum of squared cells over the row level's count (K, K)."""
        q1 = 0 if self.lead is None else self.lead.cells.shape[0]
        qf = q1 + self.cross_first.shape[0]
        inverse = np.divide(1.0, self.counts, out=np.zeros_like(self.counts), where=self.counts > 0.0)
        squared = self.cross_first.squared()
        K = len(self.factors)
        by_level = np.zeros((len(self.counts), K))  # for each level, its squared cells by factor
        group = np.repeat(np.arange(K), self.sizes)
        member = np.zeros((len(self.counts), K))
        member[np.arange(len(self.counts)), group] = 1.0
        by_level[q1:qf] = squared @ member[qf:] + self.counts[q1:qf, None] ** 2 * member[q1:qf]
        by_level[qf:] = squared.transposed_times(member[q1:qf]) + self.cross_rest**2 @ member[qf:]
        if self.lead is not None:
            cells = self.lead.cells.power(2)
            by_level[:q1] = cells @ member[q1:] + self.counts[:q1, None] ** 2 * member[:q1]
            by_level[q1:] += cells.T @ member[:q1]
        return np.add.reduceat(by_level * inverse[:, None], self.starts, axis=0)

    def rows_of(self, factor: str, label: object) -> NDArray[np.intp]:
        """Rows of the design that have this level, those already removed left aside."""
        k = self.position(factor)
        code = self.factors[k].code_of(label)
        if code < 0:
            raise FrameError(f"grouping {factor!r} has no level {label!r}.")
        order, ends = self._sorted_rows[k]
        rows = order[ends[code] : ends[code + 1]]
        if self.removed.size:
            rows = np.setdiff1d(rows, self.removed, assume_unique=True)
        return rows

    @cached_property
    def _sorted_rows(self) -> RowOrder:
        return RowOrder(self.factors)

    def without(self, label: object, *, factor: str) -> SufficientTables:
        """The same tables for the rows outside one level: the level's own sums are subtracted.

        The level stays on the stacked axis with nothing in it, which costs a unit pivot and changes no result.

        Parameters
        ----------
        label : object
            Level whose rows go.
        factor : str
            Name of the grouping it belongs to.
        """
        rows = self.rows_of(factor, label)
        removed = np.concatenate([self.removed, rows])
        leads = 0 if self.lead is None else 1
        place = _Place(leads, leads + (self.cross_first.shape[0] > 0), self.cross_first.columns)
        part = _sum_rows(self.design, self.factors, rows, place, with_lead=False)
        counts = _clear(self.counts - part.counts, self.counts)
        lead = self.lead
        if lead is not None:
            touched = np.unique(self.factors[0].codes[rows])
            if not counts[touched].any():
                lead = lead.emptied(touched)
            else:
                keep = np.ones(len(self.design.rows), dtype=bool)
                keep[removed] = False
                lead = _sum_rows(self.design, self.factors, np.flatnonzero(keep), place, with_lead=True).lead
        smaller = replace(
            self,
            n=self.n - part.n,
            gram=self.gram - part.gram,
            counts=counts,
            sums=self.sums - part.sums,
            lead=lead,
            cross_first=self.cross_first.less(part.cross_first),
            cross_rest=_clear(self.cross_rest - part.cross_rest, self.cross_rest),
            log_weights=self.log_weights - part.log_weights,
            removed=removed,
        )
        smaller.__dict__["_sorted_rows"] = self._sorted_rows
        return smaller


def _clear(values: NDArray[np.float64], before: NDArray[np.float64]) -> NDArray[np.float64]:
    """Zero where only the rounding of the subtraction is left, so that empty levels are empty."""
    return np.where(np.abs(values) <= 1e-12 * np.abs(before), 0.0, values)


def tabulate(
    y: ArrayLike,
    X: ArrayLike | pd.DataFrame,
    groups: Mapping[str, ArrayLike | pd.Series],
    *,
    weights: ArrayLike | None = None,
    names: Sequence[str] | None = None,
) -> SufficientTables:
    """Sum the rows once.

    Parameters
    ----------
    y : (n,)
        Response, finite.
    X : (n, p) array or frame
        Columns of the fixed part, intercept included by the caller.
    groups : mapping name -> (n,) labels
        Groupings, crossed or nested; labels of any dtype.
    weights : (n,), optional
        Prior weights above 0: the residual variance of row i is ``sigma**2 / weights[i]``.
    names : sequence of str, optional
        Names of the columns, instead of the frame's.

    Raises
    ------
    FrameError
        Shapes that do not fit together.
    FitError
        Missing values, weights not above 0, no degree of freedom left, a perfect fit.

    Examples
    --------
    >>> tables = tabulate([1.0, 2.0, 4.0, 5.0], [[1.0]] * 4, {"batch": ["a", "a", "b", "b"]})
    >>> tables.counts
    array([2., 2.])
    """
    with one_thread():
        design = prepare(y, X, weights=weights, names=names)
        n = len(design.rows)
        factors = [read_factor(str(name), labels, n) for name, labels in groups.items()]
        factors.sort(key=lambda factor: -factor.size)  # stable: equal sizes keep the caller's order
        place = _Place(0, min(1, len(factors)))
        if _pays_sparse(factors, n):
            factors, hosted = _bring_host_forward(factors)
            place = _Place(1, 1 + hosted, 0)
        return _sum_rows(design, tuple(factors), None, place, with_lead=place.leads > 0)


class _Place(NamedTuple):
    """How many factors are eliminated through sparse tables, and which is the first not eliminated at all.

    `columns` of the table between are sparse; None leaves it to the table.
    """

    leads: int
    rest: int
    columns: int | None = None


def _pays_sparse(factors: Sequence[Factor], n: int) -> bool:
    """Whether the first factor's tables are cheaper sparse: many levels, few cells in each."""
    if len(factors) < 2:
        return False
    first, others = factors[0].size, [factor.size for factor in factors[1:]]
    rest = sum(others)
    if first * rest > 2e8:
        return True
    if first * rest**2 < 1e7:  # a fraction of a millisecond either way
        return False
    seen = min(first, 64)
    rows = np.flatnonzero(factors[0].codes < seen)
    own = factors[0].codes[rows].astype(np.int64)
    cells = sum(len(np.unique(own * factor.size + factor.codes[rows])) for factor in factors[1:]) / seen
    # per level a dense product costs rest^2 (and the sparse way rest^3 in all), the sparse one cells^2 with a larger
    # constant: they broke even near 60, counting what building the tables costs
    return 100.0 * cells**2 < rest**2 * (1.0 - min(rest / first, 0.5))


def _bring_host_forward(factors: list[Factor]) -> tuple[list[Factor], bool]:
    """Put the largest factor that contains the first one second: its block stays diagonal and can go too."""
    first = factors[0]
    for k, factor in enumerate(factors[1:], start=1):
        if is_nested(first.codes, factor.codes, first.size):
            return [first, factor, *factors[1:k], *factors[k + 1 :]], True
    return factors, False


def _sum_rows(
    design: Design, factors: tuple[Factor, ...], rows: NDArray[np.intp] | None, place: _Place, *, with_lead: bool
) -> SufficientTables:
    """All tables over some rows of the design (every row where `rows` is None)."""
    W, root = design.rows, design.root_weights
    codes = [factor.codes for factor in factors]
    sizes = [factor.size for factor in factors]
    if rows is not None:
        W, codes = W[rows], [code[rows] for code in codes]
        root = None if root is None else root[rows]
    n, K = len(W), len(factors)
    weight = None if root is None else root * root
    basis = design.to_basis

    def count(code: NDArray[Any], length: int) -> NDArray[np.float64]:
        return np.bincount(code, weight, minlength=length).astype(np.float64, copy=False)

    ones = np.ones(n) if root is None else root
    pointer = np.arange(n + 1, dtype=np.int32)
    sums = np.empty((sum(sizes), W.shape[1]))
    counts = np.empty(sum(sizes))
    at = 0
    for code, size in zip(codes, sizes, strict=True):
        # Z' as columns with one entry each: a product in one pass over W, ten times a bincount for each column
        sums[at : at + size] = np.asarray(csc_matrix((ones, code, pointer), shape=(size, n)) @ W)
        counts[at : at + size] = count(code, size)
        at += size

    def table(k: int, m: int) -> NDArray[np.float64]:
        flat = codes[k].astype(np.int64) * sizes[m] + codes[m]
        return count(flat, sizes[k] * sizes[m]).reshape(sizes[k], sizes[m])

    starts = np.cumsum([0, *sizes])
    q_f, q_r = int(starts[place.rest] - starts[place.leads]), int(starts[K] - starts[place.rest])
    cross_first = np.zeros((q_f, q_r))
    cross_rest = np.zeros((q_r, q_r))
    for k in range(place.leads, K):
        for m in range(max(k, place.rest), K):
            across = slice(starts[m] - starts[place.rest], starts[m + 1] - starts[place.rest])
            if k < place.rest:
                cross_first[:, across] = table(k, m)
            elif k == m:
                cross_rest[across, across] = np.diag(counts[starts[k] : starts[k + 1]])
            else:
                down = slice(starts[k] - starts[place.rest], starts[k + 1] - starts[place.rest])
                cross_rest[down, across] = table(k, m)
                cross_rest[across, down] = cross_rest[down, across].T
    lead = _lead(codes, starts, weight, q_f) if with_lead else None
    lost = design.log_weights if rows is None else (0.0 if root is None else 2.0 * float(np.log(root).sum()))
    return SufficientTables(
        design=design,
        factors=factors,
        n=n,
        gram=basis.T @ (W.T @ W) @ basis,
        counts=counts,
        sums=sums @ basis,
        lead=lead,
        cross_first=(
            CrossTable.of(cross_first, sizes[place.rest :])
            if place.columns is None
            else CrossTable.split(cross_first, place.columns)
        ),
        cross_rest=cross_rest,
        log_weights=lost,
        removed=np.zeros(0, dtype=np.intp),
    )


def _lead(
    codes: Sequence[NDArray[np.int32]], starts: NDArray[np.intp], weight: NDArray[np.float64] | None, q_f: int
) -> Lead:
    q1, rest = int(starts[1]), int(starts[-1] - starts[1])
    n, others = len(codes[0]), len(codes) - 1
    columns = [codes[k] + np.int32(starts[k] - q1) for k in range(1, others + 1)]
    if q1 * rest <= 4 * n * others:  # a dense count is quicker than sorting the rows while it is not much longer
        own = codes[0].astype(np.int64) * rest
        full = sum(np.bincount(own + column, weight, minlength=q1 * rest) for column in columns)
        cells = csr_matrix(np.reshape(full, (q1, rest)).astype(np.float64, copy=False))
    else:
        value = np.ones(n * others) if weight is None else np.tile(weight, others)
        at = (np.tile(codes[0], others), np.concatenate(columns))
        cells = csr_matrix(coo_matrix((value, at), shape=(q1, rest)))
        cells.sum_duplicates()

    # each stored cell is paired with every cell of its level up to and including itself
    lengths = np.diff(cells.indptr)
    level = np.repeat(np.arange(q1, dtype=np.int32), lengths)
    repeats = np.arange(1, cells.nnz + 1) - cells.indptr[level]
    ends = np.cumsum(repeats)
    right = np.repeat(np.arange(cells.nnz), repeats)
    left = np.arange(len(right)) - np.repeat(ends - repeats - cells.indptr[level], repeats)
    product = cells.data[left] * cells.data[right]
    # where the product lands: a <= b, since cells stand sorted within a level; a level has one cell in its host
    q_r = rest - q_f
    a, b = cells.indices[left].astype(np.int64), cells.indices[right]
    place = q_f + a * q_r + (b - q_f)
    if q_f:
        place[b < q_f] = b[b < q_f]
    pointer = np.concatenate([[0], ends])[cells.indptr]
    return Lead(cells, csc_matrix((product, place, pointer), shape=(q_f + rest * q_r, q1)))
