"""The table of one factor's levels against those of all others, sparse where most of its cells are empty.

A job sees eight divers of four hundred, but every rod type: the columns of the divers are then kept sparse, those of
the rod types dense. The products a fit needs cost what the filled cells cost, a tenth of the dense ones or less.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.linalg import blas
from scipy.sparse import csr_matrix

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Matrix = NDArray[np.float64]
    Vector = NDArray[np.float64]

__all__ = ["CrossTable"]

LARGE = 1e7  # multiplications of one dense product below which sparse tables save nothing that can be measured
FILLED = 0.1  # share of filled cells up to which sparse products are the quicker ones


@dataclass(frozen=True)
class CrossTable:
    """Counts (q_f, q_r); the first columns sparse, the others dense.

    Attributes
    ----------
    sparse : (q_f, s) sparse, or None
        Columns of the factors that fill few cells; None where there is no such factor.
    dense : (q_f, q_r - s)
        The other columns.
    """

    sparse: csr_matrix | None
    dense: Matrix

    @classmethod
    def of(cls, table: Matrix, sizes: Sequence[int]) -> CrossTable:
        """From all cells; `sizes` are the numbers of columns of each factor, largest first."""
        q_f, q_r = table.shape
        columns = 0
        if q_f * q_r**2 > LARGE:
            for size in sizes:
                own = table[:, columns : columns + size]
                if np.count_nonzero(own) > FILLED * own.size:
                    break
                columns += size
        return cls.split(table, columns)

    @classmethod
    def split(cls, table: Matrix, columns: int) -> CrossTable:
        """From all cells, the first `columns` sparse."""
        sparse = csr_matrix(table[:, :columns]) if columns else None
        return cls(sparse, np.ascontiguousarray(table[:, columns:]))

    @property
    def shape(self) -> tuple[int, int]:
        """Levels of the factor, and of all others together."""
        return self.dense.shape[0], self.columns + self.dense.shape[1]

    @property
    def columns(self) -> int:
        """How many of the columns are sparse."""
        return 0 if self.sparse is None else int(self.sparse.shape[1])

    def toarray(self) -> Matrix:
        """All cells (q_f, q_r)."""
        return self.dense if self.sparse is None else np.hstack([self.sparse.toarray(), self.dense])

    def scaled(self, by: Vector) -> CrossTable:
        """Row j times ``by[j]``."""
        sparse = self.sparse
        if sparse is not None:
            data = sparse.data * np.repeat(by, np.diff(sparse.indptr))
            sparse = csr_matrix((data, sparse.indices, sparse.indptr), shape=sparse.shape)
        return CrossTable(sparse, by[:, None] * self.dense)

    def squared(self) -> CrossTable:
        """Every cell squared."""
        return CrossTable(None if self.sparse is None else self.sparse.power(2), self.dense**2)

    def less(self, part: CrossTable) -> CrossTable:
        """Cells less those of some of the rows; zero where only the rounding of the subtraction is left."""
        dense = self.dense - part.dense
        dense[dense <= 1e-12 * self.dense] = 0.0
        if self.sparse is None or part.sparse is None:
            return CrossTable(None, dense)
        left = csr_matrix(self.sparse - part.sparse)
        return CrossTable(csr_matrix(left.multiply(left > 1e-12 * self.sparse)), dense)

    def __matmul__(self, values: Matrix) -> Matrix:
        """Table times ``values`` (q_r, m)."""
        if self.sparse is None:
            return np.asarray(self.dense @ values)
        s = self.columns
        return np.asarray(self.sparse @ values[:s] + self.dense @ values[s:])

    def transposed_times(self, values: Matrix) -> Matrix:
        """Transposed table times ``values`` (q_f, m)."""
        out: Matrix = self.dense.T @ values
        return out if self.sparse is None else np.concatenate([self.sparse.T @ values, out])

    def subtract_gram(self, system: Matrix) -> Matrix:
        """``system`` less the table's cross product with itself (q_r, q_r); only the lower triangle is right.

        `system` stands in Fortran order and is written over.
        """
        if self.sparse is None:
            return np.asarray(blas.dsyrk(-1.0, self.dense.T, beta=1.0, c=system, lower=1, overwrite_c=1))
        s = self.columns
        system[:s, :s] -= (self.sparse.T @ self.sparse).toarray()
        system[s:, :s] -= (self.sparse.T @ self.dense).T
        system[s:, s:] -= self.dense.T @ self.dense
        return system

    def lengths(self, root: Matrix) -> Vector:
        """Squared lengths of the columns of ``root @ table'`` (q_f,), for a lower triangular `root` (q_r, q_r)."""
        if self.sparse is None:
            through = blas.dtrmm(1.0, root, self.dense.T, lower=1)
            return np.asarray(np.einsum("ij,ij->j", through, through))
        s = self.columns
        top = self.sparse @ np.ascontiguousarray(root[:s, :s].T)
        low = self.sparse @ np.ascontiguousarray(root[s:, :s].T) + self.dense @ root[s:, s:].T
        return np.asarray(np.einsum("ij,ij->i", top, top) + np.einsum("ij,ij->i", low, low))
