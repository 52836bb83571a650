"""`fit_mixed` against dense algebra and a general optimiser written here, on random data sets."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
import pytest
from scipy.linalg import cholesky, solve_triangular
from scipy.optimize import minimize

import burnlog.stats.newton as newton
from burnlog.errors import FitError
from burnlog.stats.criterion import Point
from burnlog.stats.mixed import MixedFit, criterion_at, fit_at, fit_mixed
from burnlog.stats.suffstats import tabulate

SETS = 200


@dataclass(frozen=True)
class Draw:
    """One data set: response, columns, groupings, weights, method."""

    y: np.ndarray
    X: np.ndarray
    groups: dict[str, np.ndarray]
    weights: np.ndarray | None
    method: str


@cache
def draw(seed: int) -> Draw:
    """Crossed and nested groupings, balanced and not, a third with weights, a third of variances zero."""
    rng = np.random.default_rng([20, seed])
    n, K = int(rng.integers(24, 61)), int(rng.integers(1, 4))
    groups: dict[str, np.ndarray] = {}
    for k in range(K):
        q = int(rng.integers(3, 13))
        if k and rng.random() < 0.35:  # nested in the one before
            groups[f"f{k}"] = groups[f"f{k - 1}"] * 3 + rng.integers(0, 3, n)
        elif rng.random() < 0.4:  # most rows in few levels
            groups[f"f{k}"] = rng.choice(q, n, p=rng.dirichlet(np.full(q, 0.6)))
        else:
            groups[f"f{k}"] = rng.permutation(np.arange(n) % q)
    p = int(rng.integers(1, 5))
    X = np.column_stack([np.ones(n), *(rng.normal(10.0, 1.0, n) for _ in range(p - 1))])
    if p > 2 and rng.random() < 0.4:  # two columns that differ by a thousandth
        X[:, 2] = X[:, 1] + 1e-3 * rng.normal(size=n)
    y = X[:, :2].sum(axis=1) + rng.normal(size=n)
    for codes in groups.values():
        spread = 0.0 if rng.random() < 0.35 else float(np.exp(rng.normal(-0.3, 0.9)))
        y = y + spread * rng.normal(size=codes.max() + 1)[codes]
    weights = rng.gamma(3.0, 1 / 3, n) + 0.05 if rng.random() < 1 / 3 else None
    return Draw(y, X, groups, weights, "REML" if rng.random() < 0.6 else "ML")


def indicators(codes: np.ndarray) -> np.ndarray:
    return (codes[:, None] == np.unique(codes)).astype(float)


class Dense:
    """The criterion from the n x n covariance: nothing shared with the package."""

    def __init__(self, data: Draw) -> None:
        self.data = data
        self.parts = [Z @ Z.T for Z in map(indicators, data.groups.values())]
        weights = np.ones(len(data.y)) if data.weights is None else data.weights
        self.noise = np.diag(1.0 / weights)
        self.restricted = data.method == "REML"

    def _solve(self, ratios: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        V = self.noise + sum(g * part for g, part in zip(ratios, self.parts, strict=True))
        L = cholesky(V, lower=True, check_finite=False)
        both = solve_triangular(L, np.column_stack([self.data.X, self.data.y]), lower=True, check_finite=False)
        Q, R = np.linalg.qr(both[:, :-1])
        b = Q.T @ both[:, -1]
        residual = both[:, -1] - Q @ b
        extra = Q.T @ residual  # once more: near-collinear columns cost the first pass digits
        return L, R, b + extra, residual - Q @ extra

    def value(self, ratios: np.ndarray) -> float:
        L, R, _, residual = self._solve(ratios)
        n, p = self.data.X.shape
        nu = n - p if self.restricted else n
        out = 2 * np.log(np.diag(L)).sum() + nu * (1 + np.log(2 * np.pi * (residual @ residual) / nu))
        if self.restricted:
            out += 2 * np.log(np.abs(np.diag(R))).sum()
        return float(out)

    def estimates(self, ratios: np.ndarray) -> tuple[np.ndarray, np.ndarray, float, list[np.ndarray]]:
        """Coefficients, their covariance, sigma, modes by grouping."""
        L, R, b, residual = self._solve(ratios)
        n, p = self.data.X.shape
        sigma2 = float(residual @ residual) / (n - p if self.restricted else n)
        inverse = np.linalg.inv(R)
        pull = solve_triangular(L, residual, lower=True, trans=1)
        modes = [g * indicators(c).T @ pull for g, c in zip(ratios, self.data.groups.values(), strict=True)]
        return inverse @ b, sigma2 * inverse @ inverse.T, float(np.sqrt(sigma2)), modes


def fitted(seed: int) -> tuple[Draw, MixedFit | None]:
    data = draw(seed)
    try:
        return data, fit_mixed(data.y, data.X, data.groups, weights=data.weights, method=data.method)
    except FitError:
        return data, None


def ratios_of(data: Draw, fit: MixedFit) -> np.ndarray:
    return np.array([(fit.group_sd[name] / fit.sigma) ** 2 for name in data.groups])


def test_random_sets_are_as_awkward_as_they_claim() -> None:
    """Among the 200 sets are weights, nested and unbalanced groupings, near-collinear columns, both likelihoods."""
    sets = [draw(seed) for seed in range(SETS)]

    def nested(data: Draw) -> bool:
        pairs = [(a, b) for a in data.groups.values() for b in data.groups.values() if a is not b]
        return any(len(set(zip(a, b, strict=True))) == len(set(a)) for a, b in pairs)

    def unbalanced(data: Draw) -> bool:
        sizes = [np.bincount(codes)[np.unique(codes)] for codes in data.groups.values()]
        return any(size.max() > 4 * size.min() for size in sizes)

    def collinear(data: Draw) -> bool:
        return data.X.shape[1] > 2 and float(np.corrcoef(data.X[:, 1], data.X[:, 2])[0, 1]) > 0.999

    assert sum(data.weights is not None for data in sets) > 50
    assert sum(map(nested, sets)) > 30
    assert sum(map(unbalanced, sets)) > 80
    assert sum(map(collinear, sets)) > 25
    assert 60 < sum(data.method == "ML" for data in sets) < 140


def test_random_sets_agree_with_dense_algebra() -> None:
    """On 200 random sets criterion, coefficients, errors and modes agree with dense algebra to 1e-9."""
    refused = 0
    for seed in range(SETS):
        data, fit = fitted(seed)
        if fit is None:
            refused += 1
            continue
        dense, ratios = Dense(data), ratios_of(data, fit)
        coef, cov, sigma, modes = dense.estimates(ratios)
        assert fit.criterion == pytest.approx(dense.value(ratios), rel=1e-9), seed
        errors = np.sqrt(np.diag(cov))
        # coefficients of near-collinear columns are compared on the scale of their own standard error
        np.testing.assert_allclose(
            fit.coef.to_numpy() / errors, coef / errors, rtol=1e-9, atol=1e-9, err_msg=str(seed)
        )
        np.testing.assert_allclose(fit.coef_se, errors, rtol=1e-9, err_msg=str(seed))
        assert fit.sigma == pytest.approx(sigma, rel=1e-9)
        for mode, effect in zip(modes, (fit.effects[name] for name in data.groups), strict=True):
            np.testing.assert_allclose(effect, mode, atol=1e-9 * sigma, err_msg=str(seed))
    assert refused <= SETS // 20


def test_random_sets_at_random_ratios() -> None:
    """At ratios from zero to a thousand the criterion is that of dense algebra to 1e-10, both likelihoods."""
    rng = np.random.default_rng(44)
    for seed in range(60):
        data = draw(seed)
        ratios = np.exp(rng.uniform(-7, 7, len(data.groups))) * (rng.random(len(data.groups)) > 0.2)
        ours = criterion_at(
            data.y, data.X, data.groups, dict(zip(data.groups, ratios, strict=True)),
            weights=data.weights, method=data.method,
        )  # fmt: skip
        assert ours == pytest.approx(Dense(data).value(ratios), rel=1e-10), seed


def test_random_sets_are_nowhere_above_a_general_optimiser() -> None:
    """On 200 random sets no climb of L-BFGS-B from six starts ends lower by more than 1e-6."""
    rng = np.random.default_rng(45)
    boundary = 0
    for seed in range(SETS):
        data, fit = fitted(seed)
        if fit is None:
            continue
        dense, K = Dense(data), len(data.groups)
        boundary += len(fit.boundary)
        lowest = dense.value(np.zeros(K))
        for start in range(6):
            first = np.exp(rng.uniform(-3, 2, K)) if start else ratios_of(data, fit) ** 0.5 * 0.7 + 0.05
            climb = minimize(dense.value, first, method="L-BFGS-B", bounds=[(0.0, None)] * K)
            lowest = min(lowest, float(climb.fun))
        assert fit.criterion <= lowest + 1e-6, seed
    assert boundary > SETS // 4


def test_zero_is_found_where_it_is_the_lower_of_two_optima() -> None:
    """With few, very unequal weights the criterion can dip twice: inside, and lower still at zero."""
    rng = np.random.default_rng([55, 827])
    n, q = int(rng.integers(10, 40)), 6
    codes = rng.choice(q, n, p=rng.dirichlet(np.full(q, 0.6)))
    y = rng.normal(size=n) + 0.3 * rng.normal(size=8)[codes]
    X = np.column_stack([np.ones(n), rng.normal(size=n)])
    data = Draw(y, X, {"g": codes}, rng.gamma(1, 1, n) + 0.02, "REML")
    value = Dense(data).value
    at_zero, hill, inside = (value(np.array([ratio])) for ratio in (0.0, 0.04, 0.16372491))
    assert at_zero < inside - 1e-3 < hill - 1e-2
    fit = fit_mixed(y, X, data.groups, weights=data.weights)
    assert fit.boundary == ("g",)
    assert fit.criterion == pytest.approx(value(np.zeros(1)), rel=1e-12)


def test_a_search_that_stops_early_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the evaluations run out the estimates come with a note."""
    data = draw(3)
    monkeypatch.setattr(newton, "MOST_EVALUATIONS", 1)
    fit = fit_mixed(data.y, data.X, data.groups, weights=data.weights, method=data.method)
    assert "the search for the variances stopped before it converged" in fit.notes


def saturated(seed: int) -> Draw:
    """Eight to fourteen rows, a grouping with nearly as many levels: what is left beside it goes to nothing."""
    rng = np.random.default_rng([33, seed])
    n = int(rng.integers(8, 15))
    fine = np.arange(n)
    fine[1] = 0
    if rng.random() < 0.5:
        fine[3] = 2
    groups = {"f0": rng.integers(0, 5, n), "f1": rng.integers(0, 4, n), "f2": fine}
    x, weights = np.round(rng.normal(size=n), 1), rng.gamma(20, 0.05, n)
    y = x + 0.2 * rng.normal(size=5)[groups["f0"]] + 0.4 * rng.normal(size=4)[groups["f1"]] + 0.1 * rng.normal(size=n)
    return Draw(np.round(y, 2), np.column_stack([np.ones(n), x]), groups, weights, "REML")


def test_saturated_sets_end_quietly_in_an_optimum() -> None:
    """With as many levels as rows, ratios may run to a million: no warning, and no climb from the end goes lower.

    There nearly equal curvatures can cancel to below zero in the correction of the average information.
    """
    refused, inside, run_away = [], 0, 0
    for seed in (*range(60), 111, 220, 229, 265, 288, 312):
        data = saturated(seed)
        try:
            fit = fit_mixed(data.y, data.X, data.groups, weights=data.weights)
        except FitError as error:
            refused.append(str(error))
            continue
        dense, ratios = Dense(data), ratios_of(data, fit)
        if ratios.max() > 1e4:  # beyond, the dense criterion has lost the digits
            run_away += 1
            continue
        inside += 1
        assert fit.criterion == pytest.approx(dense.value(ratios), abs=1e-8), seed
        climb = minimize(dense.value, 0.9 * ratios, method="L-BFGS-B", bounds=[(0.0, None)] * 3)
        assert fit.criterion <= float(climb.fun) + 1e-6, seed
    assert all("reproduce y exactly" in sentence for sentence in refused)
    assert min(inside, run_away, len(refused)) > 5


def test_evaluations_are_few() -> None:
    """Over the random sets the median fit takes 8 evaluations of the criterion or fewer, and none fails."""
    fits = [fit for _, fit in map(fitted, range(SETS)) if fit is not None]
    counts = np.array([fit.evaluations for fit in fits])
    assert np.median(counts) <= 8
    assert np.quantile(counts, 0.9) <= 11
    assert counts.max() <= 30
    assert not any("converged" in note for fit in fits for note in fit.notes)


def test_slope_and_curvature_are_those_of_the_value() -> None:
    """The analytic slope is the difference quotient of the value; curvature averages observed and expected."""
    for seed in range(20):
        data = draw(seed)
        tables = tabulate(data.y, data.X, data.groups, weights=data.weights)
        restricted = data.method == "REML"
        at = np.full(len(tables.sizes), 0.4)
        point = Point(tables, at, restricted=restricted)
        for k in range(len(at)):
            step = np.zeros(len(at))
            step[k] = 1e-5
            up, down = (Point(tables, at + s, restricted=restricted) for s in (step, -step))
            slope = (up.value - down.value) / 2e-5
            assert point.slope[k] == pytest.approx(slope, rel=1e-5, abs=1e-5), seed
        np.testing.assert_allclose(point.curvature, point.curvature.T, rtol=1e-9, atol=1e-9)


def test_average_information_of_a_balanced_design() -> None:
    """Balanced one-way REML at its optimum: average, observed and expected information are one number."""
    rng = np.random.default_rng(1)
    group = np.repeat(np.arange(8), 5)
    y = rng.normal(size=8)[group] + rng.normal(size=40)
    tables = tabulate(y, np.ones((40, 1)), {"g": group})
    ratio = fit_mixed(y, np.ones((40, 1)), {"g": group}).group_sd["g"] ** 2
    ratio /= fit_mixed(y, np.ones((40, 1)), {"g": group}).sigma ** 2
    h = 1e-4
    slopes = [Point(tables, np.array([ratio + s]), restricted=True).slope[0] for s in (h, -h)]
    observed = (slopes[0] - slopes[1]) / (2 * h)
    assert Point(tables, np.array([ratio]), restricted=True).curvature[0, 0] == pytest.approx(observed, rel=1e-4)


@pytest.mark.parametrize("gap", [1e-2, 1e-4, 1e-6])
def test_near_collinear_columns_keep_their_digits(gap: float) -> None:
    """Two columns that differ by a millionth still give fitted values and criterion to ten digits."""
    rng = np.random.default_rng(17)
    x, group = rng.normal(10, 1, 60), rng.integers(0, 6, 60)
    X = np.column_stack([np.ones(60), x, x + gap * rng.normal(size=60)])
    # the same column space, with the second column replaced by the scaled difference (exact: Sterbenz)
    apart = np.column_stack([np.ones(60), x, (X[:, 2] - x) / gap])
    y = x + rng.normal(size=6)[group] + rng.normal(size=60)
    held = {"g": 0.7}
    near = fit_at(tabulate(y, X, {"g": group}), held, method="ML")
    far = fit_at(tabulate(y, apart, {"g": group}), held, method="ML")
    assert near.dropped == ()
    assert near.criterion == pytest.approx(far.criterion, rel=1e-10)
    # the difference of two columns is known to 1e-16 / gap, and so is everything along it
    assert near.coef.iloc[2] * gap == pytest.approx(far.coef.iloc[2], rel=1e-7)
