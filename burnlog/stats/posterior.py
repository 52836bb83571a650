"""Regression with group effects, integrated over what a plug-in fit would fix.

The spreads of the groups, as ratios to sigma, and any setting that shapes the data (a `Case` each) are summed
over a grid; coefficients, effects and sigma are integrated in closed form at each of its points. Draws are
exact given the grid: no chain, nothing to tune, the same bytes from the same generator.

Where more than two effects make a grid dear, `integrate_sampled` puts the points by importance sampling.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import cast

import numpy as np
import scipy.linalg
import scipy.special
from numpy.random import Generator
from numpy.typing import NDArray

from burnlog.stats.conjugate import Points, Tables, tables
from burnlog.stats.terms import Array, Case, Effect
from burnlog.stats.threads import one_thread

__all__ = [
    "Case",
    "CaseSummary",
    "Draws",
    "Effect",
    "LevelSummary",
    "Posterior",
    "Tables",
    "integrate",
    "integrate_tables",
    "tables",
]

NEGLIGIBLE = 1e-9  # points of less weight than this in all are left out of second moments


@dataclass(frozen=True)
class LevelSummary:
    """One group effect, level by level."""

    levels: tuple[str, ...]
    mean: Array  # (q,)
    sd: Array  # (q,)


@dataclass(frozen=True)
class CaseSummary:
    """One case on its own, averaged over the ratios.

    Attributes
    ----------
    tag : mapping
        The case's own tag.
    weight : float
        Its posterior probability.
    coef : array (p,)
        Mean coefficients.
    effects : mapping of str to array (q,)
        Mean effects by level.
    variance : float
        Mean of r2/nu, the estimate of sigma^2.
    """

    tag: Mapping[str, float]
    weight: float
    coef: Array
    effects: Mapping[str, Array]
    variance: float


@dataclass(frozen=True)
class Draws:
    """Joint draws; every array has one entry a draw first.

    Attributes
    ----------
    case : int array (n,)
        Which case each draw comes from.
    coef : array (n, p)
    effects : mapping of str to array (n, q)
    sd : mapping of str to array (n,)
        Spread of each effect, in the units of y.
    sigma : array (n,)
    """

    case: NDArray[np.intp]
    coef: Array
    effects: Mapping[str, Array]
    sd: Mapping[str, Array]
    sigma: Array


@dataclass(frozen=True)
class Posterior:
    """Weighted points with a closed-form posterior at each.

    Attributes
    ----------
    tables : Tables
        Data, priors and names.
    case : int array (P,)
        Case of each point.
    ratios : array (P, effects)
        sd/sigma of each effect at each point.
    weights : array (P,)
        Posterior probabilities, summing to 1.
    coef_at : array (P, d)
        Modes in the tables' own basis.
    variance_at : array (P,)
        r2/nu, the estimate of sigma^2 at each point.
    khat : float or None
        Pareto shape of the importance weights; None on a grid. Above 0.7 the points are not to be trusted.
    """

    tables: Tables = field(repr=False)
    case: NDArray[np.intp] = field(repr=False)
    ratios: Array = field(repr=False)
    weights: Array = field(repr=False)
    coef_at: Array = field(repr=False)
    variance_at: Array = field(repr=False)
    khat: float | None = None

    @property
    def names(self) -> tuple[str, ...]:
        """Covariates, in the order of `coef`."""
        return self.tables.names

    @property
    def n(self) -> int:
        """Rows in the fit."""
        return self.tables.n

    @property
    def nu(self) -> float:
        """Degrees of freedom of sigma^2 at every point."""
        return self.tables.nu

    @cached_property
    def tags(self) -> tuple[Mapping[str, float], ...]:
        """Tag of each point's case, (P,)."""
        return tuple(self.tables.cases[c].tag for c in self.case)

    @cached_property
    def tag_means(self) -> dict[str, float]:
        """Posterior mean of each tag."""
        keys = self.tables.cases[0].tag
        return {key: float(self.weights @ np.array([tag[key] for tag in self.tags])) for key in keys}

    @cached_property
    def coef_points(self) -> Array:
        """Mean coefficients of the given covariates at each point, (P, p)."""
        p = len(self.names)
        out = np.empty((len(self.case), p))
        for c in np.unique(self.case):
            at = self.case == c
            out[at] = self.tables.entries[c].basis.coef(self.coef_at[at, :p])
        return out

    @cached_property
    def coef(self) -> Array:
        """Posterior mean coefficients, (p,)."""
        return self.weights @ self.coef_points

    @cached_property
    def coef_cov(self) -> Array:
        """Posterior covariance of the coefficients, (p, p); spread between the points included."""
        return self._moments.coef_cov

    @property
    def coef_sd(self) -> Array:
        """Posterior standard deviations of the coefficients, (p,)."""
        return np.sqrt(np.diag(self.coef_cov))

    @cached_property
    def _sigma_at(self) -> Array:
        """Mean of sigma at each point, (P,)."""
        half = self.nu / 2.0
        shrink = np.sqrt(half) * np.exp(scipy.special.gammaln(half - 0.5) - scipy.special.gammaln(half))
        return np.asarray(shrink * np.sqrt(self.variance_at), dtype=float)

    @property
    def sigma(self) -> float:
        """Posterior mean of sigma."""
        return float(self.weights @ self._sigma_at)

    @property
    def group_sd(self) -> dict[str, float]:
        """Posterior mean of each effect's sd, in the units of y."""
        sds = self._sigma_at[:, None] * self.ratios
        return {e.name: float(self.weights @ sds[:, k]) for k, e in enumerate(self.tables.effects)}

    def coef_quantiles(self, probabilities: Sequence[float]) -> Array:
        """Exact marginal quantiles of the coefficients, (len(probabilities), p).

        Each margin is a mixture of Student-t distributions, one a point, of `nu` degrees of freedom.
        """
        at, sds = self._moments.heavy, self._moments.coef_scale
        centre = self.coef_points[at]
        weights = self.weights[at] / self.weights[at].sum()

        def below(x: Array) -> Array:
            return np.asarray(weights @ scipy.special.stdtr(self.nu, (x - centre) / sds), dtype=float)

        reach = 50.0 * sds.max(axis=0)
        return np.array([_bisect(below, centre.min(0) - reach, centre.max(0) + reach, q) for q in probabilities])

    def sd_quantiles(self, probabilities: Sequence[float]) -> dict[str, Array]:
        """Exact marginal quantiles of ``sigma`` and of each effect's sd, name -> (len(probabilities),)."""
        out = {}
        for name, ratio in {"sigma": np.ones(len(self.case)), **self._named_ratios()}.items():
            top = self.nu * self.variance_at * ratio**2

            def below(x: Array, top: Array = top) -> Array:
                return np.array([self.weights @ scipy.special.chdtrc(self.nu, top / x[0] ** 2)])

            high = np.array([1e3 * np.sqrt(self.variance_at.max()) * max(ratio.max(), 1e-300)])
            out[name] = np.array([_bisect(below, 0.0 * high, high, q)[0] for q in probabilities])
        return out

    def _named_ratios(self) -> dict[str, Array]:
        return {effect.name: self.ratios[:, k] for k, effect in enumerate(self.tables.effects)}

    @cached_property
    def ratio_means(self) -> dict[str, float]:
        """Posterior mean of each effect's sd/sigma."""
        return {e.name: float(self.weights @ self.ratios[:, k]) for k, e in enumerate(self.tables.effects)}

    @cached_property
    def effects(self) -> dict[str, LevelSummary]:
        """Posterior mean and sd of each effect by level."""
        sds = self._moments.effect_sd
        means = {name: self.weights @ values for name, values in self._effect_points().items()}
        return {e.name: LevelSummary(e.levels, means[e.name], sds[e.name]) for e in self.tables.effects}

    def per_case(self) -> tuple[CaseSummary, ...]:
        """Each case on its own, averaged over its ratios; cases without any weight come with weight 0."""
        values = self._effect_points()
        out = []
        for c, case in enumerate(self.tables.cases):
            at = np.flatnonzero(self.case == c)
            weight = float(self.weights[at].sum())
            share = self.weights[at] / weight if weight > 0 else np.full(at.size, 1.0 / at.size)
            out.append(
                CaseSummary(
                    tag=case.tag,
                    weight=weight,
                    coef=share @ self.coef_points[at],
                    effects={name: share @ effect[at] for name, effect in values.items()},
                    variance=float(share @ self.variance_at[at]),
                )
            )
        return tuple(out)

    def draws(self, n: int, rng: Generator, *, effects: Collection[str] | None = None) -> Draws:
        """Draw coefficients, effects, spreads and sigma together, exactly given the points.

        Parameters
        ----------
        n : int
            Draws, 1 or more.
        rng : numpy.random.Generator
            Source of randomness; the same state gives the same bytes.
        effects : collection of str, optional
            Effects whose levels are wanted; all of them if not given. The rest drawn does not depend on it.
        """
        fit = self.tables
        d = self.coef_at.shape[1]
        steps = np.cumsum(self.weights)
        point = np.searchsorted(steps, rng.random(n) * steps[-1], side="right")
        sigma = np.sqrt(self.variance_at[point] * self.nu / rng.chisquare(self.nu, n))
        order = np.argsort(point, kind="stable")
        chosen, first = np.unique(point[order], return_index=True)
        ends = np.append(first[1:], n)
        z = rng.standard_normal((n, d))  # in the order of the points: a factor serves neighbours
        rest = np.empty((n, d))
        spans = {}
        with one_thread():
            for place, scale, factor in self._factors(chosen):
                at, own = order[first[place] : ends[place]], chosen[place]
                mine = z[first[place] : ends[place]].T
                solved, _ = scipy.linalg.lapack.dtrtrs(factor[:d, :d], mine, lower=1, trans=1)
                rest[at] = self.coef_at[own] + sigma[at, None] * scale[:d] * solved.T
                spans[own] = at
        p = len(self.names)
        coef = np.empty((n, p))
        case = self.case[point]
        for c in np.unique(case):
            mine = case == c
            coef[mine] = fit.entries[c].basis.coef(rest[mine, :p])
        by_name: dict[str, Array] = {}
        for k, columns in zip(fit.stay, fit.columns, strict=True):
            by_name[fit.effects[k].name] = rest[:, columns]
        if fit.eliminated is not None and (effects is None or fit.effects[fit.eliminated].name in effects):
            by_name[fit.effects[fit.eliminated].name] = self._eliminated_draws(spans, rest, sigma, rng)
        return Draws(
            case=case,
            coef=coef,
            effects={name: by_name[name] for name in (each.name for each in fit.effects) if name in by_name},
            sd={effect.name: sigma * self.ratios[point, k] for k, effect in enumerate(fit.effects)},
            sigma=sigma,
        )

    @property
    def _eliminated_size(self) -> int:
        return 0 if self.tables.eliminated is None else len(self.tables.effects[self.tables.eliminated].levels)

    def _eliminated_draws(
        self, spans: Mapping[int, NDArray[np.intp]], rest: Array, sigma: Array, rng: Generator
    ) -> Array:
        """The eliminated effect beside draws of the rest, (n, q); `spans` has the draws of each point."""
        out = rng.standard_normal((len(rest), self._eliminated_size))
        for point, at in spans.items():
            mean, variance = self._eliminated_given(point, rest[at])
            out[at] = mean + sigma[at, None] * np.sqrt(variance) * out[at]
        return out

    def _eliminated_given(self, point: int, rest: Array) -> tuple[Array, Array]:
        """Mean (n, q) and variance/sigma^2 (q,) of the eliminated effect given the other coefficients (n, d)."""
        entry = self.tables.entries[self.case[point]]
        ratio = self.ratios[point, self.tables.eliminated]
        variance = ratio**2 / (1.0 + ratio**2 * entry.counts)
        mean = variance * (entry.cross[:, -1] - rest @ entry.cross[:, :-1].T)
        return mean, variance

    def _effect_points(self) -> dict[str, Array]:
        """Mean effects at every point, name -> (P, q)."""
        fit = self.tables
        out = {fit.effects[k].name: self.coef_at[:, s] for k, s in zip(fit.stay, fit.columns, strict=True)}
        if fit.eliminated is not None:
            means = np.empty((len(self.case), self._eliminated_size))
            for c in np.unique(self.case):
                at = self.case == c
                entry = fit.entries[c]
                square = self.ratios[at, fit.eliminated, None] ** 2
                means[at] = square / (1.0 + square * entry.counts)
                means[at] *= entry.cross[:, -1] - self.coef_at[at] @ entry.cross[:, :-1].T
            out[fit.effects[fit.eliminated].name] = means
        return out

    def _factors(self, points: NDArray[np.intp]) -> Iterator[tuple[int, Array, Array]]:
        """Place among `points` (ascending by case), scale and factor of each of them."""
        done = 0
        for c in np.unique(self.case[points]):
            mine = points[self.case[points] == c]
            for part, scale, factor, _ in self.tables.factors(int(c), self.ratios[mine]):
                for i in range(len(scale)):
                    yield done + part.start + i, scale[i], factor[i]
            done += len(mine)

    @cached_property
    def _moments(self) -> _Moments:
        fit = self.tables
        p, d = len(self.names), self.coef_at.shape[1]
        heavy = np.argsort(-self.weights, kind="stable")
        heavy = np.sort(heavy[: 1 + int(np.searchsorted(np.cumsum(self.weights[heavy]), 1.0 - NEGLIGIBLE))])
        # E[sigma^2] at a point is nu/(nu - 2) times its estimate.
        variance = self.variance_at * self.nu / (self.nu - 2.0)
        within = np.zeros((p, p))
        coef_scale = np.empty((len(heavy), p))
        squares = {effect.name: np.zeros(len(effect.levels)) for effect in fit.effects}
        with one_thread():
            for place, scale, factor in self._factors(heavy):
                own = heavy[place]
                weight = self.weights[own] * variance[own]
                half, _ = scipy.linalg.lapack.dtrtri(factor[:d, :d], lower=1)
                half = np.tril(half) * scale[:d]  # covariance of the coefficients is half'half
                entry = fit.entries[self.case[own]]
                turned = entry.basis.coef(half[:, :p], shift=False)
                own_cov = turned.T @ turned
                within += weight * own_cov
                coef_scale[place] = np.sqrt(self.variance_at[own] * np.diag(own_cov))
                for k, columns in zip(fit.stay, fit.columns, strict=True):
                    squares[fit.effects[k].name] += weight * (half[:, columns] ** 2).sum(axis=0)
                if fit.eliminated is not None:
                    ratio = self.ratios[own, fit.eliminated]
                    shrunk = ratio**2 / (1.0 + ratio**2 * entry.counts)
                    spread = half @ entry.cross[:, :-1].T
                    squares[fit.effects[fit.eliminated].name] += weight * (
                        shrunk + shrunk**2 * (spread**2).sum(axis=0)
                    )
        between = self.coef_points - self.coef
        cov = within + (between * self.weights[:, None]).T @ between
        sds = {}
        for name, values in self._effect_points().items():
            apart = values - self.weights @ values
            sds[name] = np.sqrt(squares[name] + self.weights @ apart**2)
        return _Moments(heavy, coef_scale, cov, sds)


@dataclass(frozen=True)
class _Moments:
    """Second moments, from the points that have weight."""

    heavy: NDArray[np.intp]
    coef_scale: Array  # (heavy, p) scale of each coefficient's t distribution
    coef_cov: Array  # (p, p)
    effect_sd: dict[str, Array]  # (q,) each


def _bisect(below: Callable[[Array], Array], low: Array, high: Array, probability: float) -> Array:
    """Where increasing functions reach `probability`, one an entry, to the last digits of a double."""
    if not 0.0 < probability < 1.0:
        raise ValueError(f"a quantile needs a probability between 0 and 1, not {probability}")
    for _ in range(80):
        middle = 0.5 * (low + high)
        under = below(middle) < probability
        low, high = np.where(under, middle, low), np.where(under, high, middle)
    return np.asarray(0.5 * (low + high), dtype=float)


def integrate(
    cases: Sequence[Case],
    effects: Sequence[Effect],
    *,
    prior_precision: Array | Sequence[float],
    names: Sequence[str] | None = None,
    sigma_prior: tuple[float, float] | None = None,
) -> Posterior:
    """Fit every case at every combination of the effects' ratios, and weigh them.

    Parameters
    ----------
    cases : sequence of Case
        The same rows set out in one or more ways, each with its log prior.
    effects : sequence of Effect
        Group effects with the grid of their sd/sigma.
    prior_precision : (p,)
        Prior precision of each coefficient about 0, in units of 1/sigma^2; 0 is flat.
    names : sequence of str
        Covariates; ``x0, x1, ...`` if not given.
    sigma_prior : (df, size)
        Scaled inverse chi-square prior of sigma^2; if not given, flat in ln sigma.

    Raises
    ------
    FitError
        Too few rows, values missing, terms that cannot be told apart, or rows reproduced exactly.

    Examples
    --------
    >>> y = np.array([1.0, 1.2, 2.0, 2.3, 0.4, 0.5])
    >>> group = Effect.from_labels("group", ["a", "a", "b", "b", "c", "c"])
    >>> fit = integrate([Case(y, np.ones((6, 1)), np.ones(6))], [group], prior_precision=[0.0], names=["mean"])
    >>> round(float(fit.coef[0]), 3), len(fit.weights)
    (1.233, 11)
    >>> fit.draws(4, np.random.default_rng(1)).effects["group"].shape
    (4, 3)
    """
    with one_thread():
        return integrate_tables(
            tables(cases, effects, prior_precision=prior_precision, names=names, sigma_prior=sigma_prior)
        )


def integrate_tables(fit: Tables) -> Posterior:
    """`integrate` from tables already made, such as `Tables.without` gives when a group is left out."""
    with one_thread():
        found = [fit.evaluate(c, fit.grid) for c in range(len(fit.cases))]
    return assemble(fit, [fit.grid] * len(found), found)


def assemble(
    fit: Tables,
    ratios: Sequence[Array],
    found: Sequence[Points],
    *,
    log_proposal: Sequence[Array] | None = None,
    khat: float | None = None,
) -> Posterior:
    """Weigh evaluated points, one entry a case, against the density they were proposed from (even if None)."""
    case = np.concatenate([np.full(len(each), c) for c, each in enumerate(ratios)])
    log_weight = np.concatenate([points.log_weight for points in found])
    if log_proposal is not None:
        log_weight = log_weight - np.concatenate(list(log_proposal))
    return Posterior(
        tables=fit,
        case=cast("NDArray[np.intp]", case.astype(np.intp)),
        ratios=np.concatenate(list(ratios)),
        weights=np.asarray(scipy.special.softmax(log_weight), dtype=float),
        coef_at=np.concatenate([points.coef for points in found]),
        variance_at=np.concatenate([points.r2 for points in found]) / fit.nu,
        khat=khat,
    )
