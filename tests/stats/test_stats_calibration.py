"""Simulation-based calibration: data drawn from the priors, truths ranked among the draws.

Talts, Betancourt, Simpson, Vehtari, Gelman 2018 (arXiv 1804.06788): if the sampler is exact, every rank is
uniform. Seeds are fixed; they were not chosen, and the check is shown to fail for samplers that are slightly wrong.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest
from scipy import stats

from burnlog.stats.importance import integrate_sampled
from burnlog.stats.posterior import Case, Effect, Posterior, integrate

DRAWS = 99
BINS = 20
INTERCEPT_SD = 2.0  # in units of sigma
PRECISION = np.array([INTERCEPT_SD**-2, 0.09, 1.0])
SIGMA_PRIOR = (6.0, 0.3)
NAMES = ("intercept", "exponent", "contrast", "sigma", "group", "share", "level", "setting")


@dataclass(frozen=True)
class World:
    """A design that stays, and what is drawn from the priors."""

    X: np.ndarray
    effects: tuple[Effect, ...]
    m: tuple[np.ndarray, ...]


def world(points: tuple[int, int]) -> World:
    rng = np.random.default_rng(100)
    n = 36
    X = np.column_stack([np.ones(n), rng.normal(0, 0.5, n), rng.random(n) < 0.4])
    group = np.eye(5)[np.arange(n) % 5]
    share = rng.dirichlet(np.full(4, 0.4), n)
    effects = (
        Effect("group", group, tuple("abcde"), 1.67, (0.06, 4.0, points[0])),
        Effect("share", share, tuple("wxyz"), 1.0, (0.06, 2.0, points[1])),
    )
    return World(X, effects, (np.ones(n), 1 + 3 * rng.random(n)))


def simulate(w: World, rng: np.random.Generator, *, continuous: bool) -> tuple[list[Case], dict[str, float]]:
    """One data set with its truths; ratios from the grid's own prior, or from the half-normal itself."""
    sigma = SIGMA_PRIOR[1] * np.sqrt(SIGMA_PRIOR[0] / rng.chisquare(SIGMA_PRIOR[0]))
    ratios = []
    for effect in w.effects:
        if continuous:
            ratios.append(abs(rng.normal(0, effect.scale)))
        else:
            p = np.exp(effect.log_prior(effect.ratios))
            ratios.append(rng.choice(effect.ratios, p=p / p.sum()))
    b = rng.normal(0, sigma / np.sqrt(PRECISION))
    u = [rng.normal(0, sigma * r, len(e.levels)) for r, e in zip(ratios, w.effects, strict=True)]
    setting = int(rng.integers(2))
    y = w.X @ b + sum(e.loadings @ v for e, v in zip(w.effects, u, strict=True))
    y = y + rng.normal(0, sigma * np.sqrt(w.m[setting]))
    cases = [Case(y, w.X, m, 0.0, {"setting": float(c)}) for c, m in enumerate(w.m)]
    sds = [sigma * r for r in ratios]
    truth = [*b, sigma, *sds, u[0][1], float(setting)]
    return cases, dict(zip(NAMES, truth, strict=True))


def drawn(fit: Posterior, rng: np.random.Generator) -> dict[str, np.ndarray]:
    d = fit.draws(DRAWS, rng)
    values = [*d.coef.T, d.sigma, d.sd["group"], d.sd["share"], d.effects["group"][:, 1], d.case.astype(float)]
    return dict(zip(NAMES, values, strict=True))


def p_values(
    sets: int, *, seed: int, points: tuple[int, int] = (7, 5), continuous: bool = False, how: str = "exact"
) -> dict[str, float]:
    """Chi-square p-value of each quantity's ranks over `sets` data sets."""
    w = world(points)
    rng = np.random.default_rng(seed)
    ranks = {name: np.zeros(sets, dtype=int) for name in NAMES}
    for i in range(sets):
        cases, truth = simulate(w, rng, continuous=continuous)
        made = integrate_sampled if how == "sampled" else integrate
        fit = made(cases, w.effects, prior_precision=PRECISION, sigma_prior=SIGMA_PRIOR)
        if how == "plug-in":
            fit = replace(fit, weights=(fit.weights == fit.weights.max()).astype(float))
        if how == "narrow":
            fit = replace(fit, variance_at=fit.variance_at * 0.85)
        for name, values in drawn(fit, rng).items():
            low, high = (values < truth[name]).sum(), (values <= truth[name]).sum()
            ranks[name][i] = rng.integers(low, high + 1)
    return {
        name: float(stats.chisquare(np.bincount(r * BINS // (DRAWS + 1), minlength=BINS)).pvalue)
        for name, r in ranks.items()
    }


LEAST = 0.05 / len(NAMES) / 10  # one false alarm in 200 runs of a whole check


def test_ranks_are_uniform_when_truths_come_from_the_grids_prior() -> None:
    """Intercept, exponent, contrast, sigma, both spreads, a level and the setting: ranks uniform by chi-square."""
    found = p_values(6000, seed=1)
    assert min(found.values()) > LEAST, found


def test_a_grid_stands_for_its_continuous_prior() -> None:
    """With spreads from the half-normal itself, coefficients, sigma, levels and settings keep uniform ranks.

    The spreads' own ranks show the grid's ends and steps once there are ten thousand sets; no other quantity does.
    """
    found = p_values(1500, seed=2, points=(11, 6), continuous=True)
    assert min(p for name, p in found.items() if name not in ("group", "share")) > LEAST, found


def test_ranks_are_uniform_under_importance_sampling() -> None:
    """Sampled spreads pass for every quantity, spreads included, with truths from the half-normal priors."""
    found = p_values(1000, seed=3, continuous=True, how="sampled")
    assert min(found.values()) > LEAST, found


@pytest.mark.parametrize(("how", "caught"), [("plug-in", "group"), ("narrow", "sigma")])
def test_a_wrong_sampler_is_caught(how: str, caught: str) -> None:
    """Spreads plugged in, or sigma 8 % too small: the same check says so."""
    assert p_values(400, seed=4, how=how)[caught] < 1e-5
