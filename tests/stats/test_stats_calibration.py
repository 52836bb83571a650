"""Simulation-based calibration: data drawn from the priors, truths ranked among the draws; and one closed form.

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


def test_range_of_a_new_group_is_students_t_when_the_ratio_is_known() -> None:
    """With sd/sigma at 1.5, P10, P50 and P90 of a row of a new group are those of t about the mean, on n - 1.

    Closed form, worked out here from V = I + 1.5^2 ZZ': flat mean b = mean by V^-1, s^2 = (y-b)'V^-1(y-b)/(n-1),
    new row b + s sqrt(1 + 1.5^2 + 1/(1'V^-1 1)) t on n - 1 (Box and Tiao 1973, section 2.7, from memory).
    """
    ratio, group = 1.5, np.repeat(np.arange(4), 3)
    rng = np.random.default_rng(8)
    y = 1.0 + 0.3 * rng.standard_normal(4)[group] + 0.2 * rng.standard_normal(12)
    effect = Effect(
        "g", loadings=np.eye(4)[group], levels=tuple("abcd"), scale=1.67, grid=(0.999 * ratio, 1.001 * ratio, 2)
    )
    found = integrate(
        [Case(y, np.ones((12, 1)), np.ones(12))], [effect], prior_precision=np.array([0.0]), names=("x",)
    )
    drawn, luck = (
        found.draws(200_000, np.random.default_rng(1)),
        np.random.default_rng(2).standard_normal((2, 200_000)),
    )
    new = drawn.coef[:, 0] + drawn.sd["g"] * luck[0] + drawn.sigma * luck[1]
    inverse = np.linalg.inv(np.eye(12) + ratio**2 * (group[:, None] == group))
    weight = inverse.sum()
    mean = (inverse @ y).sum() / weight
    spread = np.sqrt((y - mean) @ inverse @ (y - mean) / 11 * (1 + ratio**2 + 1 / weight))
    expected = mean + spread * stats.t.ppf([0.1, 0.5, 0.9], 11)
    error = (
        spread * np.sqrt([0.09, 0.25, 0.09]) / stats.t.pdf(stats.t.ppf([0.1, 0.5, 0.9], 11), 11) / np.sqrt(200_000)
    )
    assert np.all(np.abs(np.quantile(new, [0.1, 0.5, 0.9]) - expected) < 4 * error)
