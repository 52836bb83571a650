"""Integration over spreads by importance sampling, where a grid over them would be dear.

The criterion in the logarithms of the ratios is smooth and has one mode, so few points from a wide proposal
about that mode do: a split Student-t along the axes of its curvature, filled by a Sobol sequence of fixed
seed. The Pareto shape k-hat of the weights says whether they may be trusted.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import scipy.special
from scipy.stats import qmc

from burnlog.stats.conjugate import Tables, tables
from burnlog.stats.posterior import Posterior, assemble, integrate_tables
from burnlog.stats.terms import Array, Case, Effect
from burnlog.stats.threads import one_thread

__all__ = ["KHAT_LIMIT", "integrate_sampled", "pareto_shape"]

KHAT_LIMIT = 0.7  # Vehtari, Simpson, Gelman, Yao, Gabry 2024: above it importance weights are not to be trusted
DEGREES = 3.0  # of the proposal's Student-t: heavier than any tail of the criterion met in trials
REACH = 2.5  # standard deviations out at which the proposal's two half-widths are matched to the criterion
WIDEN = 1.2  # wider than matched, so that no weight grows in the tail
STEP = 0.05  # of the finite differences in ln ratio
MOST_STEPS = 25


def integrate_sampled(
    cases: Sequence[Case],
    effects: Sequence[Effect],
    *,
    prior_precision: Array | Sequence[float],
    names: Sequence[str] | None = None,
    sigma_prior: tuple[float, float] | None = None,
    points: int = 256,
    seed: int = 20,
) -> Posterior:
    """`integrate`, with the ratios drawn by importance instead of laid out on a grid.

    The cost no longer grows with the product of the grids. Effects whose grid has one point stay held; of
    the others only the prior scale counts, not the ends of the grid.

    Parameters
    ----------
    cases, effects, prior_precision, names, sigma_prior
        As for `integrate`. Every case is evaluated at the same ratios.
    points : int
        Ratios per case, a power of 2; four times as many are used when the first weights are not to be trusted.
    seed : int
        Seed of the Sobol sequence's scrambling: the same seed gives the same bytes.

    Returns
    -------
    Posterior
        With `khat` set; above `KHAT_LIMIT` a caller should say that the figures are not to be trusted.

    Raises
    ------
    FitError
        As for `integrate`.
    """
    if points < 16 or points & (points - 1):
        raise ValueError(f"points must be a power of 2 and at least 16, not {points}")
    with one_thread():
        fit = tables(cases, effects, prior_precision=prior_precision, names=names, sigma_prior=sigma_prior)
        free = [k for k, effect in enumerate(effects) if effect.grid[2] > 1]
        if not free:
            return integrate_tables(fit)
        case, mode = _mode(fit, free)
        axes, half_widths = _axes(fit, case, free, mode)
        first = _sample(fit, free, mode, axes, half_widths, points, seed)
        if first.khat is None or first.khat <= KHAT_LIMIT:
            return first
        z = np.log(first.ratios[:, free])
        mean = first.weights @ z
        spread = (z - mean).T @ ((z - mean) * first.weights[:, None])
        values, vectors = np.linalg.eigh(spread)
        wide = np.sqrt(np.maximum(values, 1e-4))[:, None] * np.ones(2)
        return _sample(fit, free, mean, vectors, wide, 4 * points, seed)


def _ratios(fit: Tables, free: Sequence[int], z: Array) -> Array:
    held = np.array([effect.grid[0] for effect in fit.effects])
    out = np.tile(held, (len(z), 1))
    out[:, free] = np.exp(np.clip(z, -18.0, 12.0))
    return out


def _log_density(fit: Tables, case: int, free: Sequence[int], z: Array) -> Array:
    return fit.evaluate(case, _ratios(fit, free, z)).log_weight


def _mode(fit: Tables, free: Sequence[int]) -> tuple[int, Array]:
    """The case with the highest mode, and the mode: a coarse grid, then damped Newton by differences."""
    coarse = [np.log(np.geomspace(0.1, 1.5, 3) * min(fit.effects[k].scale, 2.0)) for k in free]
    z = np.stack([axis.ravel() for axis in np.meshgrid(*coarse, indexing="ij")], axis=1)
    heights = [_log_density(fit, c, free, z) for c in range(len(fit.cases))]
    case = int(np.argmax([height.max() for height in heights]))
    at, height = z[heights[case].argmax()], float(heights[case].max())
    for _ in range(MOST_STEPS):
        gradient, hessian = _derivatives(fit, case, free, at)
        values, vectors = np.linalg.eigh(-hessian)
        step = vectors @ ((vectors.T @ gradient) / np.maximum(np.abs(values), 0.05))
        step *= min(1.0, 2.0 / max(float(np.abs(step).max()), 1e-300))
        tried = at + np.array([1.0, 0.5, 0.25, 0.1, 0.03])[:, None] * step
        found = _log_density(fit, case, free, tried)
        if found.max() <= height:
            break
        at, gain, height = tried[found.argmax()], float(found.max()) - height, float(found.max())
        if gain < 1e-6:
            break
    return case, at


def _derivatives(fit: Tables, case: int, free: Sequence[int], at: Array) -> tuple[Array, Array]:
    """Gradient and Hessian of the log density by central differences, in one batch of evaluations."""
    K = len(at)
    unit = STEP * np.eye(K)
    pairs = [(a, b) for a in range(K) for b in range(a)]
    offsets = [np.zeros(K), *unit, *-unit]
    for a, b in pairs:
        offsets += [unit[a] + unit[b], -unit[a] - unit[b]]
    f = _log_density(fit, case, free, at + np.array(offsets))
    plus, minus = f[1 : 1 + K], f[1 + K : 1 + 2 * K]
    gradient = (plus - minus) / (2 * STEP)
    hessian = np.diag((plus - 2 * f[0] + minus) / STEP**2)
    for place, (a, b) in enumerate(pairs):
        both, neither = f[1 + 2 * K + 2 * place : 3 + 2 * K + 2 * place]
        mixed = (both + neither + 2 * f[0] - plus[a] - minus[a] - plus[b] - minus[b]) / (2 * STEP**2)
        hessian[a, b] = hessian[b, a] = mixed
    return gradient, hessian


def _axes(fit: Tables, case: int, free: Sequence[int], mode: Array) -> tuple[Array, Array]:
    """Axes of the curvature (columns), and a half-width each way along them, (K, 2)."""
    _, hessian = _derivatives(fit, case, free, mode)
    values, vectors = np.linalg.eigh(-hessian)
    sd = 1.0 / np.sqrt(np.maximum(values, 0.1))
    ends = np.concatenate([mode + REACH * sd[:, None] * vectors.T, mode - REACH * sd[:, None] * vectors.T])
    heights = _log_density(fit, case, free, np.vstack([mode, ends]))
    drop = np.maximum(heights[0] - heights[1:], 0.125)
    width = np.concatenate([sd, sd]) * REACH / np.sqrt(2.0 * drop)
    return vectors, width.reshape(2, -1).T


def _sample(
    fit: Tables, free: Sequence[int], centre: Array, axes: Array, half_widths: Array, points: int, seed: int
) -> Posterior:
    K = len(free)
    u = qmc.Sobol(K, scramble=True, rng=np.random.default_rng(seed)).random(points)
    up, down = WIDEN * half_widths[:, 0], WIDEN * half_widths[:, 1]
    # A split t: each side gets the share of its width, so that the density is continuous at the centre.
    share = down / (up + down)
    low = u < share
    tail = np.where(low, 0.5 * u / share, 0.5 + 0.5 * (u - share) / (1.0 - share))
    t = scipy.special.stdtrit(DEGREES, np.clip(tail, 1e-12, 1 - 1e-12))
    z = centre + (t * np.where(low, down, up)) @ axes.T
    log_proposal = -(0.5 * (DEGREES + 1.0) * np.log1p(t**2 / DEGREES)).sum(axis=1)
    ratios = _ratios(fit, free, z)
    found = [fit.evaluate(c, ratios) for c in range(len(fit.cases))]
    together = scipy.special.logsumexp([each.log_weight for each in found], axis=0) - log_proposal
    return assemble(
        fit,
        [ratios] * len(found),
        found,
        log_proposal=[log_proposal] * len(found),
        khat=pareto_shape(together),
    )


def pareto_shape(log_weights: Array) -> float:
    """Shape k of a generalised Pareto tail fitted to the largest importance weights.

    Parameters
    ----------
    log_weights : array (n,)
        Log importance weights, n at least 16.

    Returns
    -------
    float
        k-hat; -inf when the largest weights are all equal. Below 0.5 the weights have finite variance.

    Notes
    -----
    The tail is the largest min(n/5, 3 sqrt(n)) weights; the estimate is Zhang and Stephens 2009
    (Technometrics 51, 316-325), pulled towards 0.5 with the weight of ten observations as in Vehtari and others
    2024 (Journal of Machine Learning Research 25(72)).
    """
    weights = np.exp(log_weights - log_weights.max())
    size = int(np.ceil(min(len(weights) / 5, 3 * np.sqrt(len(weights)))))
    ordered = np.sort(weights)
    tail = ordered[-size:] - ordered[-size - 1]
    tail = tail[tail > 0]
    if tail.size < 5:
        return float("-inf")
    n = tail.size
    quarter = tail[int(n / 4 + 0.5) - 1]
    candidates = 30 + int(np.sqrt(n))
    b = 1.0 / tail[-1] + (1.0 - np.sqrt(candidates / (np.arange(1, candidates + 1) - 0.5))) / (3.0 * quarter)
    k = np.log1p(-b[:, None] * tail).mean(axis=1)
    profile = n * (np.log(-b / k) - k - 1.0)
    weight = scipy.special.softmax(profile)
    shape = float(np.log1p(-float(weight @ b) * tail).mean())
    return float((n * shape + 10.0 * 0.5) / (n + 10.0))
