"""A conjugate linear model with group effects: its tables, and one grid point's algebra.

    y = X b + sum_k Z_k u_k + e,    e_i ~ N(0, sigma^2 m_i)
    b_j ~ N(0, sigma^2 / prior_precision_j)   (flat where the precision is 0)
    u_k ~ N(0, sigma^2 ratio_k^2 I)

Everything scales with sigma, so that b, u and sigma integrate in closed form once the ratios are given. What
is left is a criterion in the ratios alone, worth one small Cholesky factorisation each. The rows enter only
through cross products, which `Tables.without` takes rows out of without touching the others.

`posterior.py` puts the points together; `importance.py` chooses them where a grid would be dear.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, cast

import numpy as np
import scipy.linalg
import scipy.sparse
from numpy.typing import NDArray

from burnlog.errors import FitError
from burnlog.stats.terms import RANK_TOLERANCE, Array, Basis, Case, Effect, flat_basis

__all__ = ["CaseTables", "Points", "Tables", "tables"]

PERFECT_FIT = 1e-12  # residual over the sum of squares about the flat terms: nothing is left to judge sigma by
ROUNDING = 1e-24  # residual over the plain sum of squares: what is left is rounding
CHUNK_DOUBLES = 2_000_000  # 16 MB of stacked factors at a time


@dataclass(frozen=True)
class CaseTables:
    """Cross products of one case. The eliminated effect's own block is diagonal.

    Order of the other columns: covariates in the case's basis, the effects that stay, y.
    """

    counts: Array  # (q,) Z'MZ of the eliminated effect; q may be 0
    cross: Array  # (q, d + 1) Z'M of the other columns and y
    gram: Array  # (d + 1, d + 1) of the other columns and y
    total: float  # weighted sum of squares of y itself
    log_m: float  # sum of ln m
    basis: Basis


@dataclass(frozen=True)
class Points:
    """Closed-form results at P points (a case and a ratio for each effect)."""

    log_weight: Array  # (P,)
    coef: Array  # (P, d) modes: covariates in the case's basis, then effects that stay
    r2: Array  # (P,) residual sum of squares with the priors' share


@dataclass(frozen=True)
class Tables:
    """Everything an integrated fit needs of its rows, for all cases.

    Attributes
    ----------
    names : tuple of str
        Covariates.
    nu : float
        Degrees of freedom of sigma^2 given the ratios.
    """

    cases: tuple[Case, ...] = field(repr=False)
    effects: tuple[Effect, ...]
    prior_precision: Array
    names: tuple[str, ...]
    sigma_prior: tuple[float, float] | None
    entries: tuple[CaseTables, ...] = field(repr=False)
    kept: NDArray[np.bool_] = field(repr=False)
    eliminated: int | None

    @property
    def n(self) -> int:
        """Rows that count."""
        return int(self.kept.sum())

    @property
    def nu(self) -> float:
        """Rows less flat columns, plus what the prior on sigma is worth."""
        prior = self.sigma_prior[0] if self.sigma_prior else 0.0
        return self.n - int((self.prior_precision == 0).sum()) + prior

    @property
    def stay(self) -> tuple[int, ...]:
        """Indices of the effects that are not eliminated, in the order of their columns."""
        return tuple(k for k in range(len(self.effects)) if k != self.eliminated)

    @cached_property
    def columns(self) -> tuple[slice, ...]:
        """Columns of each effect that stays, among the d other columns."""
        out, start = [], len(self.names)
        for k in self.stay:
            out.append(slice(start, start + len(self.effects[k].levels)))
            start = out[-1].stop
        return tuple(out)

    @cached_property
    def grid(self) -> Array:
        """Every combination of the effects' ratios, (P, effects)."""
        if not self.effects:
            return np.zeros((1, 0))
        mesh = np.meshgrid(*(effect.ratios for effect in self.effects), indexing="ij")
        return np.stack([axis.ravel() for axis in mesh], axis=1)

    def without(self, rows: NDArray[np.bool_]) -> Tables:
        """The tables with `rows` taken out: only those rows are read.

        Levels keep their place; one that loses all its rows falls back on its prior.

        Parameters
        ----------
        rows : bool array (n,)
            True for a row of the original data that goes.

        Raises
        ------
        FitError
            Too few rows remain, or a covariate with a flat prior no longer varies.
        """
        rows = np.asarray(rows, dtype=bool)
        if rows.shape != self.kept.shape:
            raise ValueError(f"rows needs one entry for each of {self.kept.size} rows")
        gone = rows & self.kept
        lean = replace(self, kept=self.kept & ~gone)
        _refuse_few(lean)
        entries = []
        loadings = _Loadings.of(self.effects, self.eliminated, gone)
        for case, entry in zip(self.cases, self.entries, strict=True):
            minus = _cross_products(case, loadings, entry.basis)
            less = CaseTables(
                counts=np.maximum(entry.counts - minus.counts, 0.0),
                cross=entry.cross - minus.cross,
                gram=entry.gram - minus.gram,
                total=entry.total - minus.total,
                log_m=entry.log_m - minus.log_m,
                basis=entry.basis,
            )
            _refuse_lost_columns(less, self.names)
            entries.append(less)
        return replace(lean, entries=tuple(entries))

    def evaluate(self, case: int, ratios: Array) -> Points:
        """Log weight, modes and residual sum of squares of one case at given ratios.

        Parameters
        ----------
        case : int
            Which case.
        ratios : array (P, effects)
            sd/sigma of each effect.

        Raises
        ------
        FitError
            The data are fitted without any residual, so that sigma cannot be judged.

        Notes
        -----
        ln weight = -(ln|A| + sum ln m + nu ln r2) / 2 + ln prior, with
        A = W'MW + Q in the scale where every effect has unit prior variance, and
        r2 = y'My - b'W'My. With flat priors and no effects' prior, -2 ln weight is the restricted likelihood
        criterion up to a constant of n and p.
        """
        entry = self.entries[case]
        log_prior = np.full(len(ratios), self.cases[case].log_prior)
        for k, effect in enumerate(self.effects):
            log_prior += effect.log_prior(ratios[:, k])
        d = entry.gram.shape[0] - 1
        log_det = np.empty(len(ratios))
        coef = np.empty((len(ratios), d))
        r2 = np.empty(len(ratios))
        for part, scale, factor, log_eliminated in self.factors(case, ratios):
            diagonal = np.einsum("pii->pi", factor)
            log_det[part] = log_eliminated + 2.0 * np.log(diagonal[:, :d]).sum(axis=1)
            r2[part] = diagonal[:, d] ** 2
            coef[part] = scale[:, :d] * _solve_transposed(factor, factor[:, d, :d])
        if self.sigma_prior:
            df, size = self.sigma_prior
            r2 = r2 + df * size**2
        elif r2.max() <= max(PERFECT_FIT * entry.gram[-1, -1], ROUNDING * entry.total):
            raise FitError(
                "The covariates and groups reproduce every row exactly, so no spread can be estimated. "
                "Give more rows than terms, or check the rows for copies."
            )
        fixed = entry.basis.log_det + entry.log_m
        log_weight = log_prior - 0.5 * (log_det + fixed + self.nu * np.log(r2))
        return Points(log_weight, coef, r2)

    def factors(self, case: int, ratios: Array) -> Iterator[tuple[slice, Array, Array, Array]]:
        """Cholesky factors at given ratios, in chunks.

        Yields
        ------
        (slice, scale (P, d + 1), factor (P, d + 1, d + 1), log_det (P,))
            Which of the points, the factor of A and y (last row) after the eliminated effect is gone, the
            scale of its columns (a coefficient is scale times what the factor gives), and ln det of the
            eliminated block.
        """
        entry = self.entries[case]
        size = entry.gram.shape[0]
        diagonal = np.zeros(size)
        diagonal[: len(self.names)] = self.prior_precision
        diagonal[len(self.names) : size - 1] = 1.0
        step = max(1, CHUNK_DOUBLES // size**2)
        for start in range(0, len(ratios), step):
            part = slice(start, min(start + step, len(ratios)))
            scale = np.ones((part.stop - start, size))
            for k, columns in zip(self.stay, self.columns, strict=True):
                scale[:, columns] = ratios[part, k, None]
            if self.eliminated is None:
                stacked = np.repeat(entry.gram[None], len(scale), axis=0)
                log_det = np.zeros(len(scale))
            else:
                unique, place = np.unique(ratios[part, self.eliminated], return_inverse=True)
                pivots = 1.0 + unique[:, None] ** 2 * entry.counts
                root = unique[:, None] / np.sqrt(pivots)
                half = root[:, :, None] * entry.cross
                stacked = (entry.gram - half.transpose(0, 2, 1) @ half)[place]
                log_det = np.log(pivots).sum(axis=1)[place]
            for columns in self.columns:  # the scale of all others is 1
                stacked[:, columns] *= scale[:, columns, None]
                stacked[:, :, columns] *= scale[:, None, columns]
            np.einsum("pii->pi", stacked)[:] += diagonal
            try:
                factor = np.linalg.cholesky(stacked)
            except np.linalg.LinAlgError as error:
                raise FitError(
                    "The covariates and groups reproduce the rows exactly or nearly so, so no spread can be "
                    "estimated. Give more rows than terms, or check the rows for copies."
                ) from error
            yield part, scale, np.asarray(factor, dtype=float), log_det


def _solve_transposed(factor: Array, right: Array) -> Array:
    """Solve L'x = right for the leading block of each stacked factor, by back substitution over columns."""
    x = right.copy()
    for j in range(right.shape[1] - 1, -1, -1):
        x[:, j] /= factor[:, j, j]
        if j:
            x[:, :j] -= factor[:, j, :j] * x[:, j, None]
    return x


def tables(
    cases: Sequence[Case],
    effects: Sequence[Effect],
    *,
    prior_precision: Array | Sequence[float],
    names: Sequence[str] | None = None,
    sigma_prior: tuple[float, float] | None = None,
) -> Tables:
    """Read the rows once and keep their cross products.

    Parameters
    ----------
    cases : sequence of Case
        The same rows set out in one or more ways.
    effects : sequence of Effect
        Group effects; the largest that puts each row in one level at most is eliminated in closed form.
    prior_precision : (p,)
        Prior precision of each coefficient about 0, in units of 1/sigma^2; 0 is flat.
    names : sequence of str
        Covariates; ``x0, x1, ...`` if not given.
    sigma_prior : (df, size)
        Scaled inverse chi-square prior of sigma^2; if not given, flat in ln sigma.

    Raises
    ------
    FitError
        Too few rows, values missing or not finite, or covariates with a flat prior that cannot be told apart.
    """
    cases, effects = tuple(cases), tuple(effects)
    if not cases:
        raise ValueError("at least one case is needed")
    precision = np.asarray(prior_precision, dtype=float)
    p = np.shape(cases[0].X)[1]
    labels = tuple(f"x{j}" for j in range(p)) if names is None else tuple(names)
    if p == 0:
        raise ValueError("at least one covariate is needed, such as an intercept")
    if precision.shape != (p,) or len(labels) != p:
        raise ValueError(f"prior_precision and names need one entry for each of {p} covariates")
    if not np.all(precision >= 0) or not np.all(np.isfinite(precision)):
        raise ValueError("a prior precision must be 0 (flat) or more, and finite")
    if sigma_prior is not None and not (sigma_prior[0] > 0 and sigma_prior[1] > 0):
        raise ValueError("sigma_prior needs degrees of freedom and a size above 0")
    if len({effect.name for effect in effects}) != len(effects):
        raise ValueError("effects need names of their own")
    _check_rows(cases, effects, labels)
    n = len(cases[0].y)
    empty = Tables(
        cases,
        effects,
        precision,
        labels,
        sigma_prior,
        entries=(),
        kept=np.ones(n, dtype=bool),
        eliminated=_eliminated(effects),
    )
    _refuse_few(empty)
    loadings = _Loadings.of(effects, empty.eliminated, empty.kept)
    entries = [_cross_products(case, loadings, flat_basis(case, precision, labels)) for case in cases]
    return replace(empty, entries=tuple(entries))


def _eliminated(effects: tuple[Effect, ...]) -> int | None:
    """The effect with most levels among those that put a row in one level at most."""
    diagonal = [k for k, effect in enumerate(effects) if np.count_nonzero(effect.loadings, axis=1).max() <= 1]
    return max(diagonal, key=lambda k: len(effects[k].levels)) if diagonal else None


def _check_rows(cases: tuple[Case, ...], effects: tuple[Effect, ...], names: tuple[str, ...]) -> None:
    n = len(cases[0].y)
    for effect in effects:
        if len(effect.loadings) != n:
            raise ValueError(f"loadings of {effect.name} have {len(effect.loadings)} rows, y has {n}")
        if not np.all(np.isfinite(effect.loadings)):
            raise FitError(f"Loadings of {effect.name} are missing or not finite in some rows.")
    for case in cases:
        if np.shape(case.y) != (n,) or np.shape(case.X) != (n, len(names)) or np.shape(case.m) != (n,):
            raise ValueError("every case needs y (n,), X (n, p) and m (n,) of the same n and p")
        bad = {
            "the response": np.flatnonzero(~np.isfinite(case.y)),
            "a covariate": np.flatnonzero(~np.isfinite(case.X).all(axis=1)),
            "the residual variance": np.flatnonzero(~(np.isfinite(case.m) & (case.m > 0))),
        }
        for what, rows in bad.items():
            if rows.size:
                raise FitError(
                    f"In {rows.size} of {n} rows {what} is missing, not finite or not above 0 where it must be "
                    f"(first: row {rows[0] + 1}). Leave those rows out or fill them before the fit."
                )


def _refuse_few(fit: Tables) -> None:
    flat = int((fit.prior_precision == 0).sum())
    if fit.nu < 3 or fit.n < 1:
        raise FitError(
            f"{fit.n} rows are too few for {flat} free terms: at least {flat + 3} are needed to judge a spread."
        )


@dataclass(frozen=True)
class _Loadings:
    """Loadings of some of the rows, the same for every case: of the eliminated effect, and of all others."""

    rows: Any  # a slice where it is all of them, else positions
    eliminated: scipy.sparse.csr_array  # transposed, (q, rows)
    squares: scipy.sparse.csr_array
    stay: Array

    @classmethod
    def of(cls, effects: tuple[Effect, ...], eliminated: int | None, rows: NDArray[np.bool_]) -> _Loadings:
        at: Any = slice(None) if rows.all() else np.flatnonzero(rows)
        own = np.zeros((len(rows), 0)) if eliminated is None else effects[eliminated].loadings
        turned = scipy.sparse.csr_array(own[at].T)
        stay = [effect.loadings[at] for k, effect in enumerate(effects) if k != eliminated]
        return cls(at, turned, turned.power(2), np.concatenate([np.zeros((turned.shape[1], 0)), *stay], axis=1))


def _cross_products(case: Case, loadings: _Loadings, basis: Basis) -> CaseTables:
    """Weighted sums over the rows of the loadings, of one case in its basis."""
    m = case.m[loadings.rows]
    given = case.y[loadings.rows]
    columns, y = basis.rows(case.X[loadings.rows], given)
    W = np.concatenate([columns, loadings.stay, y[:, None]], axis=1)
    WM = W / m[:, None]
    return CaseTables(
        counts=np.asarray(loadings.squares @ (1.0 / m), dtype=float),
        cross=np.asarray(loadings.eliminated @ WM, dtype=float),
        gram=W.T @ WM,
        total=float(given**2 @ (1.0 / m)),
        log_m=float(np.log(m).sum()),
        basis=basis,
    )


def _refuse_lost_columns(entry: CaseTables, names: tuple[str, ...]) -> None:
    """Refuse when the rows that remain no longer hold a flat column apart from the others."""
    flat = entry.basis.flat
    if not flat.size:
        return
    block = entry.gram[np.ix_(flat, flat)]
    size = np.sqrt(np.maximum(np.diag(block), 0.0))
    if size.min() > RANK_TOLERANCE:
        factor, failed = cast("tuple[Array, int]", scipy.linalg.lapack.dpotrf(block / np.outer(size, size), lower=1))
        if not failed and np.diag(factor).min() > RANK_TOLERANCE:
            return
        lost = names[flat[failed - 1 if failed else int(np.diag(factor).argmin())]]
    else:
        lost = names[flat[int(size.argmin())]]
    raise FitError(
        f"Without those rows {lost} cannot be told apart from the other terms. Leave it out, or give it a prior."
    )
