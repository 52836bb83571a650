"""Importance sampling over spreads, against a fine grid and against tails of known shape."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from burnlog.stats.importance import KHAT_LIMIT, integrate_sampled, pareto_shape
from burnlog.stats.posterior import Case, Effect, integrate


def made_up(
    seed: int, n: int, sizes: tuple[int, ...], sds: tuple[float, ...], points: int = 2
) -> tuple[Case, list[Effect]]:
    rng = np.random.default_rng(seed)
    X = np.column_stack([np.ones(n), rng.normal(size=n)])
    y = X @ [0.5, 0.3] + rng.normal(size=n)
    effects = []
    for k, (size, sd) in enumerate(zip(sizes, sds, strict=True)):
        label = rng.integers(0, size, n)
        y = y + rng.normal(0, sd, size)[label]
        levels = tuple(f"{j}" for j in range(size))
        effects.append(Effect(f"e{k}", np.eye(size)[label], levels, (1.67, 1.0, 0.5)[k], (0.002, 12.0, points)))
    return Case(y, X, np.ones(n)), effects


@pytest.mark.parametrize("sds", [(0.8, 0.4, 0.2), (0.5, 0.0, 0.0)])
def test_three_effects_agree_with_a_fine_grid(sds: tuple[float, float, float]) -> None:
    """256 sampled points give the means and sds that a grid of 17,576 points gives."""
    case, fine = made_up(1, 300, (12, 6, 5), sds, points=26)
    grid = integrate([case], fine, prior_precision=[0.0, 0.09])
    sampled = integrate_sampled([case], fine, prior_precision=[0.0, 0.09])
    assert grid.khat is None
    assert sampled.khat is not None
    assert sampled.khat < KHAT_LIMIT
    np.testing.assert_allclose(sampled.coef, grid.coef, atol=0.02 * grid.coef_sd.max())
    np.testing.assert_allclose(sampled.coef_sd, grid.coef_sd, rtol=0.04)
    assert sampled.sigma == pytest.approx(grid.sigma, rel=0.002)
    for name, sd in grid.group_sd.items():
        assert sampled.group_sd[name] == pytest.approx(sd, rel=0.05)
        np.testing.assert_allclose(sampled.effects[name].mean, grid.effects[name].mean, atol=0.02)


def test_more_points_come_closer() -> None:
    """The error of the spreads against a fine grid falls when the points are sixteen times as many."""
    case, fine = made_up(2, 60, (3, 4), (0.6, 0.3), points=120)
    grid = integrate([case], fine, prior_precision=[0.0, 0.09]).group_sd
    errors = []
    for points in (64, 1024):
        found = integrate_sampled([case], fine, prior_precision=[0.0, 0.09], points=points).group_sd
        errors.append(max(abs(found[name] / grid[name] - 1) for name in grid))
    assert errors[1] < errors[0]
    assert errors[1] < 0.02


def test_cases_share_the_points_and_keep_their_weights() -> None:
    """Several cases are weighed against one another as on a grid."""
    case, fine = made_up(3, 150, (8, 5), (0.6, 0.3), points=60)
    cases = [
        Case(case.y, case.X, case.m),
        Case(case.y + 0.05 * np.sin(np.arange(150)), case.X, case.m, -0.5),
        Case(case.y * 1.01, case.X, case.m),
    ]
    grid = integrate(cases, fine, prior_precision=[0.0, 0.09])
    sampled = integrate_sampled(cases, fine, prior_precision=[0.0, 0.09], points=512)
    for one, other in zip(sampled.per_case(), grid.per_case(), strict=True):
        assert one.weight == pytest.approx(other.weight, abs=0.01)


def test_awkward_sets_keep_trustworthy_weights() -> None:
    """Over 40 sets, zero spreads included, nearly all have k-hat below its limit and 100 effective points."""
    shapes = []
    rng = np.random.default_rng(4)
    for seed in range(40):
        K = int(rng.integers(2, 4))
        sizes = tuple(int(rng.integers(3, top)) for top in (40, 15, 8)[:K])
        sds = tuple(float(s) for s in np.where(rng.random(K) < 0.3, 0.0, rng.uniform(0.05, 1.0, K)))
        case, effects = made_up(seed, int(np.exp(rng.uniform(4.1, 6.5))), sizes, sds)
        fit = integrate_sampled([case], effects, prior_precision=[0.0, 0.09])
        assert fit.khat is not None
        shapes.append(fit.khat)
        assert 1 / (fit.weights**2).sum() > 100
    assert sum(shape > KHAT_LIMIT for shape in shapes) <= 2


def test_same_seed_gives_the_same_bytes() -> None:
    """Two runs of one seed are identical; another seed moves the points."""
    case, effects = made_up(5, 80, (6, 4), (0.5, 0.2))
    one, two, other = (
        integrate_sampled([case], effects, prior_precision=[0.0, 0.09], seed=seed) for seed in (7, 7, 8)
    )
    assert one.weights.tobytes() == two.weights.tobytes()
    assert one.ratios.tobytes() != other.ratios.tobytes()


def test_held_ratios_stay_held() -> None:
    """An effect whose grid is one point is not sampled; with none left the plain fit comes back."""
    case, effects = made_up(6, 80, (6, 4), (0.5, 0.2))
    fixed = Effect("e1", effects[1].loadings, effects[1].levels, grid=(0.4, 0.4, 1))
    fit = integrate_sampled([case], [effects[0], fixed], prior_precision=[0.0, 0.09])
    assert set(fit.ratios[:, 1]) == {0.4}
    plain = integrate_sampled([case], [fixed], prior_precision=[0.0, 0.09])
    assert plain.khat is None
    with pytest.raises(ValueError, match="power of 2"):
        integrate_sampled([case], effects, prior_precision=[0.0, 0.09], points=100)


@pytest.mark.parametrize("shape", [0.2, 0.5, 0.9])
def test_the_shape_of_a_known_tail_is_found(shape: float) -> None:
    """Weights with a generalised Pareto tail give back its shape, as scipy's likelihood fit does."""
    weights = stats.genpareto.rvs(shape, size=100_000, random_state=8)
    found = pareto_shape(np.log(weights))
    tail = np.sort(weights)[-949:]
    likelihood, _, _ = stats.genpareto.fit(tail[1:] - tail[0], floc=0.0)
    assert found == pytest.approx(likelihood, abs=0.03)
    assert found == pytest.approx(shape, abs=0.15)


def test_equal_weights_have_no_tail() -> None:
    """Weights that are all equal are reported as having no tail at all."""
    assert pareto_shape(np.zeros(256)) == float("-inf")
