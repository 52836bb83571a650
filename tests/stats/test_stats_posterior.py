"""The integrated fit against dense algebra written out here, `fit_mixed`, and published criteria."""

from __future__ import annotations

import time
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import optimize, stats

from burnlog.errors import FitError
from burnlog.stats.mixed import criterion_at
from burnlog.stats.posterior import Case, Effect, Posterior, integrate, integrate_tables, tables

REFERENCE = Path(__file__).parent.parent / "reference"


def read(name: str) -> pd.DataFrame:
    return pd.read_csv(REFERENCE / f"{name}.csv", comment="#")


def one_hot(labels: Sequence[object]) -> np.ndarray:
    text = np.array([str(label) for label in labels], dtype=object)
    return (text[:, None] == np.array(sorted(set(text)), dtype=object)).astype(float)


def held(name: str, loadings: np.ndarray, ratio: float = 1.0) -> Effect:
    """An effect with its ratio held: no grid and no prior."""
    return Effect(name, loadings, tuple(f"{j}" for j in range(loadings.shape[1])), grid=(ratio, ratio, 1))


def restricted(y: np.ndarray, X: np.ndarray, loadings: Sequence[np.ndarray]) -> object:
    """-2 log restricted likelihood in the ratios by `evaluate`, the constant of n and p put back."""
    n, p = X.shape
    effects = [held(f"g{k}", Z) for k, Z in enumerate(loadings)]
    fit = tables([Case(y, X, np.ones(n))], effects, prior_precision=np.zeros(p))
    nu = n - p
    constant = nu * (1 + np.log(2 * np.pi / nu))
    return lambda ratios: -2 * fit.evaluate(0, np.array([ratios], dtype=float)).log_weight[0] + constant


def dense_restricted(y: np.ndarray, X: np.ndarray, loadings: Sequence[np.ndarray], ratios: Sequence[float]) -> float:
    """The same criterion from the n x n covariance."""
    n, p = X.shape
    V = np.eye(n) + sum(r**2 * Z @ Z.T for r, Z in zip(ratios, loadings, strict=True))
    Vi = np.linalg.inv(V)
    XVX = X.T @ Vi @ X
    left = y - X @ np.linalg.solve(XVX, X.T @ Vi @ y)
    nu = n - p
    r2 = left @ Vi @ left
    return float(nu * (1 + np.log(2 * np.pi * r2 / nu)) + np.linalg.slogdet(V)[1] + np.linalg.slogdet(XVX)[1])


PUBLISHED = {
    # Davies and Goldsmith 1972 data; criterion exact for a balanced one-way layout (recomputed), and
    # JuliaStats/MixedModels.jl test/pls.jl (read)
    "dyestuff": (319.654276842, "yield_g", (), ("batch",)),
    # lme4 prints 330.9 (read); digits recomputed from the balanced closed form
    "penicillin": (330.860588991, "diameter_mm", (), ("plate", "sample")),
    # lme4 logLik -123.4954 (read); digits recomputed
    "pastes": (246.990745853, "strength", (), ("batch", "batch:cask")),
    # Belenky et al. 2003 data, intercept only (recomputed; lme4 from memory)
    "sleepstudy": (1786.465085395, "reaction_ms", ("days",), ("subject",)),
}


def published(name: str) -> tuple[float, np.ndarray, np.ndarray, dict[str, np.ndarray]]:
    criterion, response, covariates, factors = PUBLISHED[name]
    frame = read(name)
    X = np.column_stack([np.ones(len(frame)), *(frame[c].to_numpy(float) for c in covariates)])
    labels = {f: frame[list(f.split(":"))].astype(str).agg("/".join, axis=1).to_numpy(object) for f in factors}
    return criterion, frame[response].to_numpy(float), X, labels


@pytest.mark.parametrize("name", PUBLISHED)
def test_flat_priors_without_a_grid_give_the_published_restricted_likelihood(name: str) -> None:
    """With flat priors and no grid, -2 ln weight is least at the published REML criterion."""
    criterion, y, X, labels = published(name)
    f = restricted(y, X, [one_hot(values) for values in labels.values()])
    found = optimize.minimize(
        lambda z: f(np.exp(z)), np.zeros(len(labels)), method="Nelder-Mead", options={"xatol": 1e-7, "fatol": 1e-11}
    )
    assert found.fun == pytest.approx(criterion, abs=1e-6)


@pytest.mark.parametrize("name", PUBLISHED)
def test_flat_priors_without_a_grid_equal_the_mixed_fit_at_any_ratio(name: str) -> None:
    """At any ratios of spreads, -2 ln weight equals the mixed model's criterion plus one constant."""
    _, y, X, labels = published(name)
    f = restricted(y, X, [one_hot(values) for values in labels.values()])
    rng = np.random.default_rng(20)
    for _ in range(5):
        ratios = rng.uniform(0.1, 3.0, len(labels))
        own = criterion_at(y, X, labels, ratios=dict(zip(labels, ratios**2, strict=True)))
        assert f(ratios) == pytest.approx(own, abs=1e-8)


def test_random_slopes_enter_as_loadings() -> None:
    """Loadings that are not 0/1 carry a slope by group: the published uncorrelated fit comes out."""
    frame = read("sleepstudy")
    days = frame["days"].to_numpy(float)
    Z = one_hot(frame["subject"])
    f = restricted(
        frame["reaction_ms"].to_numpy(float), np.column_stack([np.ones(180), days]), [Z, Z * days[:, None]]
    )
    found = optimize.minimize(lambda z: f(np.exp(z)), [0.0, -1.0], method="Nelder-Mead", options={"fatol": 1e-11})
    # uncorrelated intercept and slope, REML 1743.669293581 (recomputed; 1743.7 in Bates et al. 2015, from memory)
    assert found.fun == pytest.approx(1743.669293581, abs=1e-6)


def small(seed: int, *, n: int = 40, cases: int = 3) -> tuple[list[Case], list[Effect], np.ndarray]:
    """A small set with one-hot groups, shares, unequal residual variances and several cases."""
    rng = np.random.default_rng(seed)
    X = np.column_stack([np.ones(n), rng.normal(size=n), rng.random(n)])
    Z = one_hot(rng.integers(0, 6, n))
    V = rng.dirichlet(np.ones(4), n)
    y = 2.0 + X[:, 1] + Z @ rng.normal(0, 0.8, Z.shape[1]) + V @ rng.normal(0, 0.5, 4) + rng.normal(size=n)
    made = [
        Case(y + 0.2 * c * X[:, 2], X + 0.1 * c * np.sin(X), 1 + c * rng.random(n), -0.3 * c, {"setting": float(c)})
        for c in range(cases)
    ]
    effects = [
        Effect("group", Z, tuple(f"g{j}" for j in range(Z.shape[1])), 1.67, (0.06, 4.0, 5)),
        Effect("share", V, tuple("abcd"), 1.0, (0.06, 2.0, 4)),
    ]
    return made, effects, np.array([0.0, 0.09, 1.0])


def dense_points(
    cases: Sequence[Case], effects: Sequence[Effect], precision: np.ndarray
) -> list[tuple[float, np.ndarray, np.ndarray, float]]:
    """Log weight, mode, inverse of A and r2/nu at every point, each from the whole matrices."""
    out = []
    for case in cases:
        W = np.hstack([case.X, *(effect.loadings for effect in effects)])
        M = np.diag(1 / case.m)
        for ratios in np.stack(np.meshgrid(*(e.ratios for e in effects), indexing="ij"), -1).reshape(
            -1, len(effects)
        ):
            Q = np.concatenate(
                [precision, *(np.full(len(e.levels), r**-2.0) for e, r in zip(effects, ratios, strict=True))]
            )
            A = W.T @ M @ W + np.diag(Q)
            b = np.linalg.solve(A, W.T @ M @ case.y)
            r2 = case.y @ M @ case.y - b @ W.T @ M @ case.y
            nu = len(case.y) - (precision == 0).sum()
            weight = (
                -0.5 * np.linalg.slogdet(A)[1] - nu / 2 * np.log(r2) - 0.5 * np.log(case.m).sum() + case.log_prior
            )
            for e, r in zip(effects, ratios, strict=True):
                weight += -len(e.levels) * np.log(r) - 0.5 * (r / e.scale) ** 2 + np.log(r)
            out.append((weight, b, np.linalg.inv(A), r2 / nu))
    return out


def test_weights_and_moments_equal_dense_algebra() -> None:
    """Weights, means, sds and the evidence equal the formulas worked with full matrices, point by point."""
    cases, effects, precision = small(1)
    fit = integrate(cases, effects, prior_precision=precision, names=["one", "slope", "other"])
    points = dense_points(cases, effects, precision)
    log_weight = np.array([p[0] for p in points])
    weights = np.exp(log_weight - log_weight.max())
    weights /= weights.sum()
    np.testing.assert_allclose(fit.weights, weights, atol=1e-12)
    modes = np.array([p[1] for p in points])
    mean = weights @ modes
    nu = len(cases[0].y) - 1
    cov = sum(w * v * nu / (nu - 2) * A for w, (_, _, A, v) in zip(weights, points, strict=True))
    cov = cov + (modes - mean).T @ ((modes - mean) * weights[:, None])
    np.testing.assert_allclose(fit.coef, mean[:3], atol=1e-11)
    np.testing.assert_allclose(fit.coef_cov, cov[:3, :3], atol=2e-8)
    np.testing.assert_allclose(fit.effects["group"].mean, mean[3:9], atol=1e-11)
    np.testing.assert_allclose(fit.effects["share"].mean, mean[9:], atol=1e-11)
    sds = np.sqrt(np.diag(cov))
    np.testing.assert_allclose(fit.effects["group"].sd, sds[3:9], atol=2e-8)
    np.testing.assert_allclose(fit.effects["share"].sd, sds[9:], atol=2e-8)
    assert sum(fit.tag_means.values()) == pytest.approx(weights @ np.repeat([0.0, 1.0, 2.0], 20))


@pytest.mark.parametrize("seed", range(60))
def test_random_designs_equal_dense_algebra(seed: int) -> None:
    """One to three effects of any loadings, flat or tight priors, any scale: weights and means agree."""
    rng = np.random.default_rng(seed)
    n, p = int(rng.integers(10, 60)), int(rng.integers(1, 6))
    X = np.column_stack([np.ones(n), rng.normal(size=(n, 4)) * 10.0 ** rng.integers(-3, 4, 4)])[:, :p]
    precision = np.where(rng.random(p) < 0.4, 0.0, 10.0 ** rng.uniform(-2, 2, p))
    effects = []
    for k in range(int(rng.integers(1, 4))):
        q = int(rng.integers(1, 8))
        Z = np.eye(q)[rng.integers(0, q, n)] if rng.random() < 0.6 else rng.dirichlet(np.ones(q), n)
        Z = Z * rng.normal(size=(n, 1)) if rng.random() < 0.3 else Z
        Z[rng.random(n) < 0.1] = 0.0
        effects.append(Effect(f"e{k}", Z, tuple(f"{j}" for j in range(q)), rng.uniform(0.3, 2), (0.05, 3.0, 3)))
    y = 10.0 ** rng.integers(-5, 6) * (rng.normal(size=n) + 5 * rng.normal())
    cases = [
        Case(y, X * (1 + 0.1 * c * rng.random((n, 1))), rng.uniform(0.5, 2, n), rng.normal(), {}) for c in range(2)
    ]
    fit = integrate(cases, effects, prior_precision=precision)
    points = dense_points(cases, effects, precision)
    log_weight = np.array([point[0] for point in points])
    weights = np.exp(log_weight - log_weight.max())
    weights /= weights.sum()
    np.testing.assert_allclose(fit.weights, weights, atol=1e-9)
    modes = np.array([point[1] for point in points])
    scale = np.array([np.sqrt(np.diag(point[2]) * point[3]) for point in points]).max(axis=0)
    every = np.concatenate([fit.coef, *(fit.effects[effect.name].mean for effect in effects)])
    np.testing.assert_allclose((every - weights @ modes) / scale, 0.0, atol=1e-7)


def test_each_case_reports_its_own_means() -> None:
    """Per case, the weights sum to one case's probability and the means are those within it."""
    cases, effects, precision = small(2)
    fit = integrate(cases, effects, prior_precision=precision)
    points = dense_points(cases, effects, precision)
    log_weight = np.array([p[0] for p in points])
    weights = np.exp(log_weight - log_weight.max()).reshape(3, 20)
    weights /= weights.sum()
    for c, summary in enumerate(fit.per_case()):
        share = weights[c] / weights[c].sum()
        mean = share @ np.array([p[1] for p in points[20 * c : 20 * c + 20]])
        assert summary.weight == pytest.approx(weights[c].sum())
        assert summary.tag == {"setting": float(c)}
        np.testing.assert_allclose(summary.coef, mean[:3], atol=1e-11)
        np.testing.assert_allclose(summary.effects["group"], mean[3:9], atol=1e-11)
        np.testing.assert_allclose(summary.effects["share"], mean[9:], atol=1e-11)
        assert summary.variance == pytest.approx(share @ [p[3] for p in points[20 * c : 20 * c + 20]])


def _moments_of(fit: Posterior, n: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    drawn = fit.draws(n, np.random.default_rng(3))
    every = np.hstack([drawn.coef, *(drawn.effects[e.name] for e in fit.tables.effects)])
    return every.mean(axis=0), every.std(axis=0), drawn.sigma


def test_draws_have_the_moments_of_the_points() -> None:
    """200,000 draws agree with the closed-form means and sds within five Monte-Carlo errors."""
    cases, effects, precision = small(4)
    fit = integrate(cases, effects, prior_precision=precision)
    n = 200_000
    mean, sd, sigma = _moments_of(fit, n)
    expected_mean = np.concatenate([fit.coef, fit.effects["group"].mean, fit.effects["share"].mean])
    expected_sd = np.concatenate([fit.coef_sd, fit.effects["group"].sd, fit.effects["share"].sd])
    assert np.all(np.abs(mean - expected_mean) < 5 * expected_sd / np.sqrt(n))
    np.testing.assert_allclose(sd, expected_sd, rtol=0.03)
    assert sigma.mean() == pytest.approx(fit.sigma, abs=5 * sigma.std() / np.sqrt(n))
    drawn = fit.draws(n, np.random.default_rng(5))
    for name, expected in fit.group_sd.items():
        assert drawn.sd[name].mean() == pytest.approx(expected, abs=5 * drawn.sd[name].std() / np.sqrt(n))
    shares = np.bincount(drawn.case, minlength=3) / n
    np.testing.assert_allclose(shares, [c.weight for c in fit.per_case()], atol=0.006)


def test_draws_keep_the_correlation_between_effects_and_coefficients() -> None:
    """Level plus intercept is known better than either: the draws show the same spread as the full matrices."""
    cases, effects, precision = small(6, cases=1)
    effects = [held("group", effects[0].loadings, 0.8), held("share", effects[1].loadings, 0.5)]
    fit = integrate(cases, effects, prior_precision=precision)
    (_, _, inverse, variance), *none = dense_points(cases, effects, precision)
    assert not none
    drawn = fit.draws(100_000, np.random.default_rng(7))
    nu = 39
    for j, level in enumerate(effects[0].levels):
        u = np.zeros(13)
        u[0] = u[3 + j] = 1.0
        expected = np.sqrt(u @ inverse @ u * variance * nu / (nu - 2))
        assert np.std(drawn.coef[:, 0] + drawn.effects["group"][:, j]) == pytest.approx(expected, rel=0.015), level


def test_same_generator_gives_the_same_bytes() -> None:
    """Two draws from generators of the same seed are identical."""
    cases, effects, precision = small(8)
    one, two = (
        integrate(cases, effects, prior_precision=precision).draws(500, np.random.default_rng(9)) for _ in range(2)
    )
    assert one.coef.tobytes() == two.coef.tobytes()
    assert one.effects["group"].tobytes() == two.effects["group"].tobytes()
    assert one.sigma.tobytes() == two.sigma.tobytes()


@pytest.mark.parametrize("eliminated", [True, False])
def test_leaving_rows_out_equals_a_fresh_fit(eliminated: bool) -> None:
    """Tables with a group taken out give the fit of the other rows, whether or not an effect is eliminated."""
    cases, effects, precision = small(10, n=80)
    if not eliminated:
        effects = effects[1:]
    whole = tables(cases, effects, prior_precision=precision)
    assert (whole.eliminated is not None) == eliminated
    gone = small(10, n=80)[1][0].loadings[:, 2] == 1
    again = np.zeros(80, dtype=bool)
    again[:5] = True
    lean = integrate_tables(whole.without(gone).without(again))
    keep = ~(gone | again)
    fresh = integrate(
        [Case(c.y[keep], c.X[keep], c.m[keep], c.log_prior, c.tag) for c in cases],
        [Effect(e.name, e.loadings[keep], e.levels, e.scale, e.grid) for e in effects],
        prior_precision=precision,
    )
    np.testing.assert_allclose(lean.weights, fresh.weights, atol=1e-10)
    np.testing.assert_allclose(lean.coef, fresh.coef, atol=1e-10)
    np.testing.assert_allclose(lean.coef_cov, fresh.coef_cov, atol=1e-10)
    assert lean.n == fresh.n == int(keep.sum())
    assert lean.sigma == pytest.approx(fresh.sigma, abs=1e-10)


def test_flat_columns_that_differ_between_cases_keep_their_determinant() -> None:
    """Where a flat covariate is stretched in one case, its weight falls by the stretch, as the formula says."""
    cases, effects, _ = small(11, cases=1)
    first = cases[0]
    stretched = Case(first.y, first.X * [1.0, 5.0, 1.0], first.m)
    fit = integrate([first, stretched], effects, prior_precision=[0.0, 0.0, 1.0])
    a, b = (c.weight for c in fit.per_case())
    assert a / b == pytest.approx(5.0, rel=1e-9)


def test_large_offsets_cost_no_digits() -> None:
    """Adding 1e7 to the response and to a flat covariate moves the other terms by no more than rounding."""
    cases, effects, _ = small(12, cases=1)
    plain = cases[0]
    far = Case(plain.y + 1e7, plain.X + np.array([0.0, 1e5, 0.0]), plain.m)
    near_fit, far_fit = (integrate([c], effects, prior_precision=[0.0, 0.0, 1.0]) for c in (plain, far))
    np.testing.assert_allclose(far_fit.coef[1:], near_fit.coef[1:], atol=1e-7)
    np.testing.assert_allclose(far_fit.weights, near_fit.weights, atol=1e-7)


def test_row_order_and_level_names_do_not_matter() -> None:
    """Rows shuffled and levels renamed give the same fit."""
    cases, effects, precision = small(13)
    order = np.random.default_rng(14).permutation(40)
    fit = integrate(cases, effects, prior_precision=precision)
    again = integrate(
        [Case(c.y[order], c.X[order], c.m[order], c.log_prior, c.tag) for c in cases],
        [Effect(e.name, e.loadings[order], tuple(f"new {v}" for v in e.levels), e.scale, e.grid) for e in effects],
        prior_precision=precision,
    )
    np.testing.assert_allclose(again.weights, fit.weights, atol=1e-12)
    np.testing.assert_allclose(again.coef, fit.coef, atol=1e-11)


def test_a_ratio_held_at_zero_takes_the_effect_out() -> None:
    """An effect held at 0 leaves ordinary least squares with a t distribution."""
    cases, effects, _ = small(15, cases=1)
    case = Case(cases[0].y, cases[0].X, np.ones(40))
    fit = integrate([case], [held("none", effects[0].loadings, 0.0)], prior_precision=np.zeros(3))
    b, rss, *_ = np.linalg.lstsq(case.X, case.y)
    np.testing.assert_allclose(fit.coef, b, atol=1e-11)
    cov = rss[0] / 37 * np.linalg.inv(case.X.T @ case.X) * 37 / 35
    np.testing.assert_allclose(fit.coef_cov, cov, atol=1e-11)
    drawn = fit.draws(20_000, np.random.default_rng(16))
    assert not drawn.effects["none"].any()
    scale = np.sqrt(cov[1, 1] * 35 / 37)
    assert stats.kstest((drawn.coef[:, 1] - b[1]) / scale, stats.t(37).cdf).pvalue > 1e-3


def test_a_level_without_rows_falls_back_on_its_prior() -> None:
    """A level nobody was seen at has mean 0 and the whole spread of its effect."""
    cases, effects, precision = small(17, cases=1)
    wide = np.hstack([effects[0].loadings, np.zeros((40, 1))])
    fit = integrate(cases, [held("group", wide, 0.7)], prior_precision=precision)
    assert fit.effects["group"].mean[-1] == 0.0
    expected = 0.7 * np.sqrt(fit.variance_at[0] * 39 / 37)
    assert fit.effects["group"].sd[-1] == pytest.approx(expected)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda c: Case(c.y[:3], c.X[:3], c.m[:3]), "3 rows are too few"),
        (lambda c: Case(np.where(np.arange(40) == 4, np.nan, c.y), c.X, c.m), "first: row 5"),
        (lambda c: Case(c.y, c.X, np.where(np.arange(40) == 0, 0.0, c.m)), "residual variance"),
        (lambda c: Case(c.y, np.column_stack([c.X[:, :2], c.X[:, 1]]), c.m), "cannot be told apart"),
        (lambda c: Case(c.X @ [1.0, 2.0, 3.0], c.X, c.m), "no spread can be estimated"),
        (lambda c: Case(np.ones(40), c.X, c.m), "no spread can be estimated"),
    ],
)
def test_data_that_cannot_be_fitted_are_refused_with_a_sentence(change: object, words: str) -> None:
    """Too few rows, gaps, tangled terms and perfect fits end in FitError, never in a number."""
    cases, effects, _ = small(18, cases=1)
    bad = change(cases[0])  # type: ignore[operator]
    groups = [Effect("group", e.loadings[: len(bad.y)], e.levels) for e in effects[:1]]
    with pytest.raises(FitError, match=words):
        integrate([bad], groups, prior_precision=np.zeros(3))


def test_a_column_seen_only_in_the_rows_left_out_is_named() -> None:
    """Taking out the only rows where a flat term varies is refused with its name."""
    cases, effects, _ = small(19, cases=1)
    X = np.column_stack([cases[0].X[:, :2], np.arange(40) < 6])
    whole = tables(
        [Case(cases[0].y, X, cases[0].m)], effects, prior_precision=np.zeros(3), names=["one", "slope", "early"]
    )
    with pytest.raises(FitError, match="early"):
        whole.without(np.arange(40) < 6)


def thousand() -> tuple[list[Case], list[Effect], np.ndarray]:
    """1,000 rows, 12 terms, 40 groups, 12 shared levels, 24 cases of 66 ratios."""
    rng = np.random.default_rng(21)
    n = 1000
    X = np.column_stack([np.ones(n), rng.normal(size=(n, 11))])
    y = rng.normal(size=n)
    cases = [Case(y, X, 1 + 0.1 * c * rng.random(n), tag={"c": float(c)}) for c in range(24)]
    effects = [
        Effect("group", one_hot(rng.integers(0, 40, n)), tuple(map(str, range(40))), 1.67, (0.06, 4.0, 11)),
        Effect("share", rng.dirichlet(np.full(12, 0.3), n), tuple(map(str, range(12))), 1.0, (0.06, 2.0, 6)),
    ]
    return cases, effects, np.r_[0.0, 0.09, np.ones(10)]


def test_a_thousand_rows_are_integrated_within_half_a_second() -> None:
    """The integrated fit of 1,584 points takes under 0.5 s."""
    cases, effects, precision = thousand()
    taken = []
    for _ in range(3):
        start = time.perf_counter()
        fit = integrate(cases, effects, prior_precision=precision)
        taken.append(time.perf_counter() - start)
    assert len(fit.weights) == 1584
    assert min(taken) < 0.5


def test_leaving_out_thirty_groups_in_turn_takes_seconds() -> None:
    """30 integrated fits, each without one group and with 4,000 draws, take under 15 s in all."""
    cases, effects, precision = thousand()
    start = time.perf_counter()
    whole = tables(cases, effects, prior_precision=precision)
    for group in range(30):
        lean = integrate_tables(whole.without(effects[0].loadings[:, group] == 1))
        drawn = lean.draws(4000, np.random.default_rng(group))
        assert lean.per_case()[0].coef.shape == (12,)
        assert drawn.coef.shape == (4000, 12)
    assert time.perf_counter() - start < 15


def test_arguments_that_fit_nothing_are_value_errors() -> None:
    """Wrong shapes, negative precisions, twin names and grids turned round are refused before any fit."""
    cases, effects, precision = small(24, cases=1)
    for wrong in (
        {"cases": []},
        {"prior_precision": precision[:2]},
        {"prior_precision": [0.0, -1.0, 0.0]},
        {"effects": [effects[0], effects[0]]},
        {"sigma_prior": (0.0, 1.0)},
        {"cases": [Case(cases[0].y, cases[0].X[:, :0], cases[0].m)], "prior_precision": []},
        {"cases": [Case(cases[0].y[:-1], cases[0].X, cases[0].m)]},
    ):
        given = {"cases": cases, "effects": effects, "prior_precision": precision} | wrong
        with pytest.raises(ValueError):
            integrate(given.pop("cases"), given.pop("effects"), **given)  # type: ignore[arg-type]
    for grid in ((4.0, 0.1, 5), (0.0, 1.0, 3), (0.1, 1.0, 0)):
        with pytest.raises(ValueError, match="grid"):
            Effect("group", effects[0].loadings, effects[0].levels, grid=grid)


def test_quantiles_are_those_of_the_draws() -> None:
    """Exact marginal quantiles leave the stated share of 200,000 draws below them."""
    cases, effects, precision = small(22)
    fit = integrate(cases, effects, prior_precision=precision)
    n = 200_000
    drawn = fit.draws(n, np.random.default_rng(23))
    probabilities = [0.05, 0.5, 0.9]
    allowed = 5 * np.sqrt(0.25 / n)
    below = (drawn.coef[:, None, :] < fit.coef_quantiles(probabilities)).mean(axis=0)
    np.testing.assert_allclose(below, np.repeat(np.array(probabilities)[:, None], 3, axis=1), atol=allowed)
    for name, quantiles in fit.sd_quantiles(probabilities).items():
        values = drawn.sigma if name == "sigma" else drawn.sd[name]
        np.testing.assert_allclose((values[:, None] < quantiles).mean(axis=0), probabilities, atol=allowed)


def test_quantiles_without_effects_are_student_t() -> None:
    """Least squares on three rows and more: the interval of the mean is the textbook one."""
    y = np.array([1.0, 2.0, 4.0, 4.5, 6.0])
    fit = integrate([Case(y, np.ones((5, 1)), np.ones(5))], [], prior_precision=[0.0])
    low, high = stats.t.interval(0.9, 4, y.mean(), y.std(ddof=1) / np.sqrt(5))
    np.testing.assert_allclose(fit.coef_quantiles([0.05, 0.95])[:, 0], [low, high], rtol=1e-12)
    expected = np.sqrt(4 * y.var(ddof=1) / stats.chi2.ppf([0.9, 0.1], 4))
    np.testing.assert_allclose(fit.sd_quantiles([0.1, 0.9])["sigma"], expected, rtol=1e-10)
    with pytest.raises(ValueError, match="between 0 and 1"):
        fit.coef_quantiles([1.0])
