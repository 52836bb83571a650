"""The profiled criterion of a mixed model at given variance ratios, its slope and its curvature.

The model is ``y = X b + sum_k Z_k u_k + e`` with ``var(u_k) = g_k s2`` and ``var(e) = s2 / weight``; the ratios
``g_k`` are the only unknowns, ``b`` and ``s2`` are profiled out. With ``Th = diag(sqrt(g))``, everything rests on
the Cholesky factor of ``S = I + Th Z'Z Th`` (`DenseFactor`, `SparseFactor`): forward substitution gives products with
the inverse covariance ``P``, backward substitution the conditional modes.

Convention of the criterion: that of lme4, ``log|V| + log|X'V^-1X| + nu (1 + log(2 pi r2 / nu))`` with V relative to
s2 and nu = n - p; for full likelihood nu = n and the X term falls away. Bates, Maechler, Bolker and Walker (2015),
J. Stat. Software 67(1); average information: Johnson and Thompson (1995), J. Dairy Sci. 78. Both from memory.
"""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from scipy.linalg import blas, lapack

from burnlog.errors import FitError
from burnlog.stats.cross import CrossTable

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from burnlog.stats.suffstats import Lead, SufficientTables

    Vector = NDArray[np.float64]
    Matrix = NDArray[np.float64]

EXHAUSTED = 1e-11  # rounding leaves 1e-16 of the least-squares residual; nearer to it no spread can be read

__all__ = ["DenseFactor", "Point", "SparseFactor", "factorise"]


class DenseFactor:
    """Cholesky factor of ``I + Th Z'Z Th`` whose first block is diagonal (or absent).

    Parameters
    ----------
    counts : (q_f,)
        Diagonal of Z_f'Z_f.
    cross_first : CrossTable (q_f, q_r)
        Z_f'Z_r.
    cross_rest : (q_r, q_r)
        Z_r'Z_r; only the upper triangle is read.
    ratio_first : float
        Variance ratio of the first block.
    ratios : (q_r,)
        Variance ratio of each other level.
    """

    def __init__(
        self, counts: Vector, cross_first: CrossTable, cross_rest: Matrix, ratio_first: float, ratios: Vector
    ) -> None:
        self.counts, self.ratio_first = counts, ratio_first
        self.theta = np.sqrt(ratios)
        self.pivots = 1.0 + ratio_first * counts
        self.scale = np.sqrt(ratio_first / self.pivots)
        self.across = cross_first.scaled(self.scale)
        q_r = len(ratios)
        self.log_det = float(np.log(self.pivots).sum())
        if q_r == 0:
            self.lower = np.zeros((0, 0), order="F")
            return
        system = np.array(cross_rest.T, order="F")  # the transpose is in Fortran order already: a plain copy
        if len(counts):
            system = self.across.subtract_gram(system)
        system *= self.theta
        system *= self.theta[:, None]
        system[np.arange(q_r), np.arange(q_r)] += 1.0
        self.lower, info = lapack.dpotrf(system, lower=1, clean=1, overwrite_a=1)
        if info != 0:
            raise np.linalg.LinAlgError("cross tables are not those of one set of rows")
        self.log_det += 2.0 * float(np.log(np.diag(self.lower)).sum())

    def forward(self, sums: Matrix) -> Matrix:
        """Half-way products: ``D'V^-1 E = D'E - forward(Z'D)' forward(Z'E)``; (q, m) to (q, m)."""
        q_f = len(self.counts)
        half = np.empty(sums.shape)
        half[:q_f] = self.scale[:, None] * sums[:q_f]
        if len(self.theta):
            right = self.theta[:, None] * (sums[q_f:] - self.across.transposed_times(half[:q_f]))
            half[q_f:] = blas.dtrsm(1.0, self.lower, right, lower=1)
        return half

    def backward(self, half: Matrix) -> Matrix:
        """Conditional modes ``G Z'V^-1 D`` from `forward`'s result (q, m)."""
        q_f = len(self.counts)
        modes = np.empty(half.shape)
        rest = half[q_f:]
        if len(self.theta):
            rest = self.theta[:, None] * blas.dtrsm(1.0, self.lower, half[q_f:], lower=1, trans_a=1)
        modes[q_f:] = rest
        modes[:q_f] = self.scale[:, None] * (half[:q_f] - self.across @ rest)
        return modes

    @cached_property
    def root(self) -> Matrix:
        """L^-1 Th: its cross product is Th S^-1 Th of the rest (q_r, q_r), lower triangular."""
        if not len(self.theta):
            return self.lower
        inverse, _ = lapack.dtrtri(self.lower, lower=1)
        return np.asarray(inverse * self.theta)

    @cached_property
    def _reach(self) -> Vector:
        """Squared lengths of the columns of ``root @ across'`` (q_f,)."""
        if not len(self.theta) or not len(self.counts):
            return np.zeros(len(self.counts))
        return self.across.lengths(self.root)

    def traces(self) -> Vector:
        """Diagonal of Z'V^-1Z, level by level (q,); ratios must be above 0."""
        first = (self.counts - self._reach / self.ratio_first) / self.pivots
        # equals (1 - diag S^-1) / ratio; at a ratio of 1e-9 over the count it still has seven digits
        kept = np.einsum("ij,ij->j", self.root, self.root) / self.theta**2
        return np.concatenate([first, (1.0 - kept) / self.theta**2])

    def covariance(self) -> Vector:
        """Th S^-1 Th in the order of `Lead.pairs`, entries off the diagonal twice (m,)."""
        rest = self.root
        if len(self.theta):
            rest, _ = lapack.dlauum(self.root, lower=1)  # root' root, lower triangle, a third of a product's cost
        diagonal = self.ratio_first / self.pivots * (1.0 + self._reach)
        between = np.zeros(self.across.shape)
        if len(self.pivots):
            between = -self.scale[:, None] * (self.across @ (rest + np.tril(rest, -1).T))
        twice = 2.0 * rest.T
        np.fill_diagonal(twice, np.diag(rest))
        return np.concatenate([diagonal, 2.0 * between.ravel(), twice.ravel()])


class SparseFactor:
    """The same factor when a first block of many levels is eliminated through sparse tables."""

    def __init__(self, tables: SufficientTables, lead: Lead, ratios: Vector) -> None:
        q1, q_f = int(tables.sizes[0]), tables.cross_first.shape[0]
        q_r = len(tables.counts) - q1 - q_f
        self.lead, self.counts, self.ratio = lead, tables.counts[:q1], float(ratios[0])
        self.pivots = 1.0 + self.ratio * self.counts
        self.filled = self.counts > 0.0  # a level whose rows were taken out still has its pairs
        weight = np.where(self.filled, self.ratio / self.pivots, 0.0)
        self.scale = np.sqrt(weight)
        flat = np.concatenate(
            [tables.counts[q1 : q1 + q_f], tables.cross_first.dense.ravel(), tables.cross_rest.ravel()]
        )
        flat -= lead.pairs @ weight
        self.inner = DenseFactor(
            flat[:q_f],
            CrossTable.split(flat[q_f : q_f + q_f * q_r].reshape(q_f, q_r), 0),
            flat[q_f + q_f * q_r :].reshape(q_r, q_r),
            float(ratios[q1]) if q_f else 0.0,
            ratios[q1 + q_f :],
        )
        self.log_det = float(np.log(self.pivots).sum()) + self.inner.log_det

    def forward(self, sums: Matrix) -> Matrix:
        """As `DenseFactor.forward`."""
        q1 = len(self.counts)
        first = self.scale[:, None] * sums[:q1]
        rest = sums[q1:] - self.lead.cells.T @ (self.scale[:, None] * first)
        return np.concatenate([first, self.inner.forward(rest)])

    def backward(self, half: Matrix) -> Matrix:
        """As `DenseFactor.backward`."""
        q1 = len(self.counts)
        rest = self.inner.backward(half[q1:])
        first = self.scale[:, None] * (half[:q1] - self.scale[:, None] * (self.lead.cells @ rest))
        return np.concatenate([first, rest])

    def traces(self) -> Vector:
        """As `DenseFactor.traces`, except that the first block's sum stands evenly over its levels."""
        q1 = len(self.counts)
        through = float(self.inner.covariance() @ (self.lead.pairs @ (self.filled / self.pivots**2)))
        total = float((self.counts / self.pivots).sum()) - through
        return np.concatenate([np.full(q1, total / q1), self.inner.traces()])


def factorise(tables: SufficientTables, ratios: Vector) -> DenseFactor | SparseFactor:
    """Factor of ``I + Th Z'Z Th`` at variance ratios (K,), one for each factor of the tables."""
    each = np.repeat(ratios, tables.sizes)
    if tables.lead is not None:
        return SparseFactor(tables, tables.lead, each)
    q_f = tables.cross_first.shape[0]
    return DenseFactor(
        tables.counts[:q_f],
        tables.cross_first,
        tables.cross_rest,
        float(ratios[0]) if q_f else 0.0,
        each[q_f:],
    )


class Point:
    """The criterion at one set of variance ratios; slope and curvature when asked for.

    Attributes
    ----------
    ratios : (K,)
        Variance of each factor over the residual variance.
    value : float
        -2 log restricted (or full) likelihood, lme4's convention.
    residual : float
        Generalised residual sum of squares over that of least squares.

    Raises
    ------
    FitError
        Nothing is left of y beyond the columns and the levels.
    """

    def __init__(self, tables: SufficientTables, ratios: Vector, *, restricted: bool) -> None:
        p = tables.p
        self.tables, self.ratios, self.restricted = tables, ratios, restricted
        self.factor = factorise(tables, ratios)
        self.half = self.factor.forward(tables.sums)
        # LAPACK directly: on matrices this small numpy's wrappers cost more than the work
        self.lower, info = lapack.dpotrf(tables.gram - self.half.T @ self.half, lower=1, clean=1)
        if 0 < info <= p:
            raise np.linalg.LinAlgError("the columns of X are dependent on these rows")
        self.residual = float(self.lower[p, p] ** 2) if info == 0 else 0.0
        if self.residual < EXHAUSTED:
            raise FitError(
                "the columns of X and the levels reproduce y exactly, so no residual spread is left; "
                "check whether y repeats one value for each level."
            )
        self.nu = tables.n - p if restricted else tables.n
        scale = self.residual * tables.design.y_norm**2 / self.nu
        self.variance = scale
        value = self.factor.log_det - tables.log_weights + self.nu * (1.0 + float(np.log(2.0 * np.pi * scale)))
        if restricted:
            value += 2.0 * float(np.log(np.diag(self.lower)[:p]).sum()) + tables.design.log_det
        self.value = value

    @cached_property
    def turn(self) -> Matrix:
        """Turns W into columns orthonormal under V^-1, the last being the scaled residual (p + 1, p + 1)."""
        inverse, _ = lapack.dtrtri(self.lower, lower=1)
        return np.asarray(inverse.T)

    @cached_property
    def modes(self) -> Matrix:
        """``G Z'V^-1 W turn`` (q, p + 1)."""
        return self.factor.backward(self.half @ self.turn)

    def _by_factor(self, values: Matrix) -> Matrix:
        return np.add.reduceat(values, self.tables.starts, axis=0)

    @cached_property
    def pull(self) -> Matrix:
        """``Z'V^-1 W turn`` (q, p + 1); ratios must be above 0."""
        # modes over ratio: loses nothing at small ratios, where the difference of sums would
        return self.modes / np.repeat(self.ratios, self.tables.sizes)[:, None]

    @cached_property
    def traces(self) -> Vector:
        """Trace of P Z_k Z_k' (of V^-1 Z_k Z_k' for full likelihood), by factor (K,)."""
        traces = self._by_factor(self.factor.traces())
        if self.restricted:
            traces -= self._by_factor((self.pull[:, : self.tables.p] ** 2).sum(axis=1))
        return traces

    @cached_property
    def _squares(self) -> Vector:
        return self._by_factor(self.pull[:, self.tables.p] ** 2)

    @cached_property
    def slope(self) -> Vector:
        """Derivative of the value by each ratio (K,)."""
        return self.traces - self.nu * self._squares

    @cached_property
    def curvature(self) -> Matrix:
        """Average of observed and expected second derivatives (K, K)."""
        tables, p = self.tables, self.tables.p
        K = len(tables.sizes)
        # each Z_k h_k serves as one more column of data
        columns = np.zeros((len(tables.counts), K))
        columns[np.arange(len(columns)), np.repeat(np.arange(K), tables.sizes)] = self.pull[:, p]
        sums = tables.spread(columns)
        half = self.factor.forward(sums)
        inner = columns.T @ sums - half.T @ half
        fixed = self.turn[:p, :p].T @ (tables.sums[:, :p].T @ columns - self.half[:, :p].T @ half)
        return self.nu * (inner - fixed.T @ fixed - np.outer(self._squares, self._squares))
