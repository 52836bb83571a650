"""What an integrated fit is given: effects, cases, and the basis in which their columns keep their digits."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import scipy.linalg
from numpy.typing import NDArray

from burnlog.errors import FitError

__all__ = ["RANK_TOLERANCE", "Array", "Basis", "Case", "Effect", "flat_basis"]

Array = NDArray[np.float64]

RANK_TOLERANCE = 1e-7  # what is left of a flat column after the others, relative; R's own rule in lm


@dataclass(frozen=True)
class Effect:
    """A factor whose levels differ by chance, with the prior and grid of its sd as a ratio to sigma.

    Parameters
    ----------
    name : str
        What the factor is called in results.
    loadings : array (n, q)
        One column a level: 0/1 where a row belongs to one level, shares where several had a part in it.
    levels : tuple of str, length q
        Names of the columns.
    scale : float
        Scale of the half-normal prior on sd/sigma.
    grid : (low, high, points)
        Ratios evenly spaced in the logarithm. One point holds the ratio at `low`, without a prior; that may
        be 0, which takes the effect out.
    """

    name: str
    loadings: Array = field(repr=False)
    levels: tuple[str, ...]
    scale: float = 1.0
    grid: tuple[float, float, int] = (0.06, 4.0, 11)

    def __post_init__(self) -> None:
        low, high, points = self.grid
        if np.ndim(self.loadings) != 2 or np.shape(self.loadings)[1] != len(self.levels):
            raise ValueError(f"loadings of {self.name} need one column for each of {len(self.levels)} levels")
        if not self.levels:
            raise ValueError(f"effect {self.name} has no levels")
        if not self.scale > 0:
            raise ValueError(f"the prior scale of {self.name} must be above 0")
        if points < 1 or low < 0 or (points > 1 and not 0 < low < high):
            raise ValueError(f"the grid of {self.name} needs 0 < low < high and 1 or more points")

    @classmethod
    def from_labels(
        cls,
        name: str,
        labels: Sequence[object] | NDArray[Any],
        *,
        scale: float = 1.0,
        grid: tuple[float, float, int] = (0.06, 4.0, 11),
    ) -> Effect:
        """An effect from one label a row; levels stand in sorted order of their text."""
        text = np.array([str(label) for label in labels], dtype=object)
        levels = sorted(set(text))
        column = {level: place for place, level in enumerate(levels)}
        loadings = np.zeros((len(text), len(levels)))
        loadings[np.arange(len(text)), [column[label] for label in text]] = 1.0
        return cls(name, loadings, tuple(levels), scale, grid)

    @property
    def ratios(self) -> Array:
        """The grid of sd/sigma, (points,)."""
        low, high, points = self.grid
        return np.array([low]) if points == 1 else np.geomspace(low, high, points)

    def log_prior(self, ratios: Array) -> Array:
        """Log density in ln ratio of the half-normal prior, up to a constant; 0 where the ratio is held."""
        if self.grid[2] == 1:
            return np.zeros(np.shape(ratios))
        return np.log(ratios) - 0.5 * (ratios / self.scale) ** 2


@dataclass(frozen=True)
class Case:
    """One way to set out the data: everything that changes where a setting of the model changes.

    Parameters
    ----------
    y : array (n,)
        Response.
    X : array (n, p)
        Covariates, intercept included.
    m : array (n,)
        Residual variances relative to sigma^2, above 0.
    log_prior : float
        Log prior weight of the case.
    tag : mapping of str to float
        What the case stands for; comes back with every result.
    """

    y: Array = field(repr=False)
    X: Array = field(repr=False)
    m: Array = field(repr=False)
    log_prior: float = 0.0
    tag: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Basis:
    """Columns re-expressed so that sums of squares keep their digits.

    Flat columns are made orthonormal, and y and the other columns are freed of them. A flat prior does not
    notice; coefficients are turned back by `coef`.
    """

    flat: NDArray[np.intp]  # columns with a flat prior
    other: NDArray[np.intp]
    R: Array  # triangle of the flat columns
    y_on_flat: Array  # (f,)
    other_on_flat: Array  # (f, p - f)
    log_det: float  # 2 ln|det R|

    def rows(self, X: Array, y: Array) -> tuple[Array, Array]:
        """Rows of X and y in this basis."""
        columns, response = np.array(X, dtype=float), np.array(y, dtype=float)
        if self.flat.size:
            Q = scipy.linalg.solve_triangular(self.R, X[:, self.flat].T, trans="T", check_finite=False).T
            columns[:, self.flat] = Q
            columns[:, self.other] -= Q @ self.other_on_flat
            response -= Q @ self.y_on_flat
        return columns, response

    def coef(self, own: Array, *, shift: bool = True) -> Array:
        """Coefficients of the given columns from coefficients in this basis, (..., p)."""
        out = np.empty_like(own)
        rest = own[..., self.other]
        flat = own[..., self.flat] - rest @ self.other_on_flat.T
        if shift:
            flat = flat + self.y_on_flat
        out[..., self.other] = rest
        if self.flat.size:
            solved = scipy.linalg.solve_triangular(self.R, flat.reshape(-1, self.flat.size).T, check_finite=False)
            out[..., self.flat] = solved.T.reshape(flat.shape)
        return out


def flat_basis(case: Case, precision: Array, names: tuple[str, ...]) -> Basis:
    """The basis in which a case's columns with flat priors are orthonormal.

    Raises
    ------
    FitError
        Two of them cannot be told apart; the message names one.
    """
    flat = np.flatnonzero(precision == 0)
    other = np.flatnonzero(precision > 0)
    if not flat.size:
        return Basis(flat, other, np.zeros((0, 0)), np.zeros(0), np.zeros((0, other.size)), 0.0)
    Q, R = np.linalg.qr(case.X[:, flat])
    left = np.abs(np.diag(R))
    size = np.linalg.norm(case.X[:, flat], axis=0)
    for j, column in enumerate(flat):
        if left[j] <= RANK_TOLERANCE * size[j] or size[j] == 0:
            raise FitError(
                f"{names[column]} cannot be told apart from the other terms in these rows. "
                "Leave it out, or give it a prior."
            )
    return Basis(
        flat,
        other,
        R,
        y_on_flat=Q.T @ case.y,
        other_on_flat=Q.T @ case.X[:, other],
        log_det=float(2.0 * np.log(left).sum()),
    )
