"""Counts on one line share its luck: how alike they go, and the rows of a fit turned so that they no longer do.

A line cut over two dives has two counts. Bad steel, a bend or a weld makes both dear, so they are not two looks at
whoever cut it. Rows are taken to have the covariance

    sigma^2 S M S',   S S' = (I + ratio K) / c,   K_ij = sum over lines of (share of i on it) (share of j on it)

with M the relative variances of the rows, and c such that the mean diagonal is 1: sigma stays the spread of one usual
row, which the priors are measured in. Multiplied by the inverse of S the rows are independent again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import sparse

from burnlog.analyses.tallies import TallySet
from burnlog.stats.posterior import Case, Effect

__all__ = ["Turned", "line_ratio", "line_shares", "turn"]

DOUBT = 10.0  # pairs' worth of holding that counts on one line are no more alike than others
MOST_ALIKE = 0.9

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Turned:
    """The turning of n rows: `root` is S and `inverse` its inverse, both (n, n) sparse, by groups of joined lines."""

    root: Any
    inverse: Any

    def case(self, case: Case) -> Case:
        """A case of a fit with its rows turned; relative variances stay."""
        return replace(case, y=np.asarray(self.inverse @ case.y), X=np.asarray(self.inverse @ case.X))

    def effect(self, effect: Effect) -> Effect:
        """A grouping of the rows, turned with them."""
        return replace(effect, loadings=np.asarray(self.inverse @ effect.loadings))

    def noise(self, m: Array, rows: NDArray[np.bool_], draws: int, rng: np.random.Generator) -> tuple[Array, Array]:
        """Draws (draws, rows) of the rows' luck in units of sigma, and its variances (rows,)."""
        root = self.root[np.flatnonzero(rows)]
        used = np.unique(root.indices)
        root, spread = root[:, used], np.sqrt(m[used])
        drawn = (rng.standard_normal((draws, len(used))) * spread) @ root.T.toarray()
        return np.asarray(drawn), np.asarray(root.multiply(root) @ m[used]).ravel()

    def mean_variance(self, m: Array) -> float:
        """Variance of the sum of all rows over their number, in units of sigma^2: what one row is worth."""
        together = np.asarray(self.root.sum(axis=0)).ravel()
        return float((together**2) @ m / len(m))


def line_shares(tallyset: TallySet, tally_ids: pd.Index[Any]) -> Any:
    """Share of each count's length on each line, (tallies, lines) sparse, rows in the order of `tally_ids`."""
    cut = tallyset.pieces[tallyset.pieces["new_length_m"] > 0]
    cut = cut[cut["tally_id"].isin(tally_ids)]
    of = tally_ids.get_indexer(pd.Index(cut["tally_id"]))
    names = cut["line_ref"].astype(object).where(cut["line_ref"].notna(), "(own) " + cut["cut_id"].astype(str))
    line, levels = pd.factorize(names)
    length = cut["new_length_m"].to_numpy(dtype=float)
    total = np.bincount(of, weights=length, minlength=len(tally_ids))
    return sparse.csr_array((length / total[of], (of, line)), shape=(len(tally_ids), len(levels)))


def line_ratio(residuals: Array, shares: Any) -> float:
    """How much of the luck is the line's: variance between lines over that within, from pairs of counts on one line.

    Parameters
    ----------
    residuals : (n,) array
        Of a fit without lines, each over its own spread.
    shares : (n, lines) sparse
        From `line_shares`.

    Returns
    -------
    float
        0 where no line has two counts; few pairs are drawn towards 0.

    Notes
    -----
    Least squares of the products of two residuals on K, over pairs of different counts.

    Examples
    --------
    >>> shares = sparse.csr_array(sparse.kron(sparse.eye_array(2000), np.ones((2, 1))))
    >>> luck = np.random.default_rng(1).standard_normal((2000, 3))
    >>> z = (np.repeat(luck[:, 0], 2) + luck[:, 1:].ravel()) / np.sqrt(2)  # half of the variance is the line's
    >>> 0.85 < line_ratio(z, shares) < 1.15
    True
    """
    together = sparse.coo_array(shares @ shares.T)
    row, column, weight = together.row, together.col, together.data
    pair = row < column
    weight, products = weight[pair], residuals[row[pair]] * residuals[column[pair]]
    own = float(np.mean(together.diagonal()))
    alike = float(weight @ products / (weight @ weight + DOUBT))
    alike = min(max(alike, 0.0), MOST_ALIKE / own)
    return alike / (1.0 - alike * own)


def turn(shares: Any, ratio: float) -> Turned:
    """The turning for a ratio of the luck of lines to the rest."""
    n = shares.shape[0]
    together = shares @ shares.T
    covariance = sparse.eye_array(n) + ratio * together
    covariance = sparse.csr_array(covariance / (1.0 + ratio * float(np.mean(together.diagonal()))))
    _, part = sparse.csgraph.connected_components(covariance, directed=False)
    roots: list[Array] = []
    inverses: list[Array] = []
    groups = _groups(part)
    for rows in groups:
        root = np.asarray(np.linalg.cholesky(covariance[rows][:, rows].toarray()), dtype=float)
        roots.append(root)
        inverses.append(np.asarray(np.linalg.inv(root), dtype=float))
    return Turned(_placed(roots, groups, n), _placed(inverses, groups, n))


def _groups(part: NDArray[Any]) -> list[NDArray[np.intp]]:
    order = np.argsort(part, kind="stable")
    return np.split(order, np.flatnonzero(np.diff(part[order])) + 1)


def _placed(blocks: Sequence[Array], groups: Sequence[NDArray[np.intp]], n: int) -> Any:
    """Square blocks put where their rows are."""
    row = np.concatenate([np.repeat(rows, len(rows)) for rows in groups])
    column = np.concatenate([np.tile(rows, len(rows)) for rows in groups])
    values = np.concatenate([block.ravel() for block in blocks])
    kept = values != 0.0
    return sparse.csr_array((values[kept], (row[kept], column[kept])), shape=(n, n))
