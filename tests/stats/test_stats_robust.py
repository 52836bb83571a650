"""Left-out residuals against refits without the row, and what odd rows do to a robust fit."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from burnlog.errors import FitError
from burnlog.stats.posterior import Case, Effect, integrate
from burnlog.stats.robust import RATIO_LIMITS, false_discovery_flags, fit_robust

PRECISION = np.array([0.0, 0.09, 1.0])


def made_up(seed: int, n: int = 60) -> tuple[np.ndarray, np.ndarray, list[Effect], np.ndarray]:
    rng = np.random.default_rng(seed)
    X = np.column_stack([np.ones(n), rng.normal(size=n), rng.random(n) < 0.3])
    group, shares = np.eye(6)[rng.integers(0, 6, n)], rng.dirichlet(np.ones(4), n)
    m = 1 + 0.3 / rng.uniform(0.3, 3.0, n)
    y = X @ [1.0, 0.2, -0.1] + group @ rng.normal(0, 0.3, 6) + shares @ rng.normal(0, 0.15, 4)
    y = y + 0.3 * np.sqrt(m) * rng.normal(size=n)
    effects = [Effect("group", group, tuple("abcdef"), 1.67), Effect("share", shares, tuple("wxyz"), 1.0)]
    return y, X, effects, m


def test_without_weights_they_are_the_residuals_of_refits_without_each_row() -> None:
    """At infinite degrees of freedom and held ratios, every figure equals a brute-force refit without the row."""
    y, X, effects, m = made_up(1)
    ratios = {"group": 0.8, "share": 0.5}
    fit = fit_robust(y, X, effects, m, prior_precision=PRECISION, ratios=ratios, df=np.inf, level=0.8)
    W = np.hstack([X, effects[0].loadings, effects[1].loadings])
    Q = np.diag(np.concatenate([PRECISION, np.full(6, 0.8**-2), np.full(4, 0.5**-2)]))
    for i in range(len(y)):
        keep = np.arange(len(y)) != i
        M = np.diag(1 / m[keep])
        A = W[keep].T @ M @ W[keep] + Q
        b = np.linalg.solve(A, W[keep].T @ M @ y[keep])
        nu = len(y) - 2
        s2 = (y[keep] @ M @ y[keep] - b @ W[keep].T @ M @ y[keep]) / nu
        expected = W[i] @ b
        error = np.sqrt(s2 * (m[i] + W[i] @ np.linalg.solve(A, W[i])))
        t = (y[i] - expected) / error
        assert fit.expected[i] == pytest.approx(expected, abs=1e-10)
        assert fit.left_out_t[i] == pytest.approx(t, abs=1e-8)
        assert fit.p_values[i] == pytest.approx(2 * stats.t.sf(abs(t), nu), rel=1e-7)
        low, high = stats.t.interval(0.8, nu, expected, error)
        assert (fit.expected_low[i], fit.expected_high[i]) == pytest.approx((low, high), abs=1e-8)


def test_without_weights_the_fit_is_the_integrated_one_at_those_ratios() -> None:
    """Coefficients, effects and sigma at infinite degrees of freedom are those of `integrate`."""
    y, X, effects, m = made_up(2)
    fit = fit_robust(y, X, effects, m, prior_precision=PRECISION, ratios={"group": 0.8, "share": 0.5}, df=np.inf)
    held = [Effect(e.name, e.loadings, e.levels, grid=(r, r, 1)) for e, r in zip(effects, (0.8, 0.5), strict=True)]
    same = integrate([Case(y, X, m)], held, prior_precision=PRECISION)
    np.testing.assert_allclose(fit.coef, same.coef, atol=1e-10)
    np.testing.assert_allclose(fit.effects["group"], same.effects["group"].mean, atol=1e-10)
    np.testing.assert_allclose(fit.effects["share"], same.effects["share"].mean, atol=1e-10)
    assert fit.sigma**2 == pytest.approx(same.variance_at[0])


RATES = np.array([1.00, 1.05, 0.95, 1.10, 0.90, 1.02, 0.98, 2.50])


def test_R53_the_last_of_eight_rates_stands_out_with_itself_left_out() -> None:
    """Left out, the last rate is 13.1 errors off on the log scale; a plain z says 2.43, and can say 2.475 at most."""
    y = np.log(RATES)
    fit = fit_robust(y, np.ones((8, 1)), [], prior_precision=[0.0], df=np.inf)
    others = y[:-1]  # textbook: difference from the others' mean over s sqrt(1 + 1/7)
    by_hand = (y[-1] - others.mean()) / (others.std(ddof=1) * np.sqrt(1 + 1 / 7))
    assert fit.left_out_t[-1] == pytest.approx(by_hand, rel=1e-10)
    assert round(float(fit.left_out_t[-1]), 1) == 13.1
    plain = (y - y.mean()) / y.std(ddof=1)
    assert (
        round(float(plain[-1]), 2) == 2.43
        or round(float(((RATES - RATES.mean()) / RATES.std(ddof=1))[-1]), 2) == 2.47
    )
    assert fit.flagged().tolist() == [False] * 7 + [True]
    robust = fit_robust(y, np.ones((8, 1)), [], prior_precision=[0.0])
    assert robust.flagged().tolist() == [False] * 7 + [True]


def test_masked_rows_are_found_by_the_robust_fit_only() -> None:
    """Four rows ten times too large among twenty hide one another from ordinary residuals, not from robust ones."""
    rng = np.random.default_rng(3)
    y = rng.normal(0, 0.1, 20)
    y[:4] += np.log(10)
    X = np.ones((20, 1))
    ordinary = fit_robust(y, X, [], prior_precision=[0.0], df=np.inf).flagged()
    robust = fit_robust(y, X, [], prior_precision=[0.0]).flagged()
    assert ordinary.sum() < 2
    assert robust[:4].all()
    assert robust[4:].sum() <= 1


def test_odd_rows_hardly_move_the_robust_fit() -> None:
    """Doubling 5 % of the rows moves the robust level by under 3 % and the ordinary one by more."""
    y, X, effects, m = made_up(4, n=400)
    odd = y.copy()
    odd[np.random.default_rng(5).permutation(400)[:20]] += np.log(2)
    shift = []
    for df in (4.0, np.inf):
        before, after = (
            fit_robust(v, X, effects, m, prior_precision=PRECISION, df=df, ratios={"group": 1.0, "share": 0.5})
            for v in (y, odd)
        )
        shift.append(abs(np.exp((X @ (after.coef - before.coef)).mean()) - 1))
    robust, plain = shift
    assert robust < 0.03
    assert plain > robust


def test_p_values_are_about_uniform_on_clean_rows() -> None:
    """Over 40 clean sets the share of p-values under 0.05 and 0.01 is close to that, and few rows are flagged."""
    p, flags = [], 0
    for seed in range(40):
        y, X, effects, m = made_up(100 + seed)
        fit = fit_robust(y, X, effects, m, prior_precision=PRECISION)
        assert fit.converged
        p.append(fit.p_values)
        flags += int(fit.flagged().sum())
    every = np.concatenate(p)
    assert 0.035 < (every < 0.05).mean() < 0.07
    assert (every < 0.01).mean() < 0.02
    assert flags <= 12  # 0.5 per 100 rows


def test_ratios_are_held_within_their_limits() -> None:
    """With no spread between groups, or a huge one, the ratios judged stay between the limits."""
    rng = np.random.default_rng(6)
    group = np.repeat(np.arange(6), 10)
    effect = Effect("group", np.eye(6)[group], tuple("abcdef"), 1.67)
    calm = rng.normal(size=60)
    wild = calm + 30 * rng.normal(size=6)[group]
    low, high = (
        fit_robust(v, np.ones((60, 1)), [effect], prior_precision=[0.0]).ratios["group"] for v in (calm, wild)
    )
    assert RATIO_LIMITS[0] <= low < 0.5
    assert high == RATIO_LIMITS[1]


def test_scale_is_hubers_at_the_normal() -> None:
    """On 20,000 normal rows the robust scale is the standard deviation to 2 %; with 5 % gone wild, to 10 %."""
    rng = np.random.default_rng(7)
    y = rng.normal(0, 2.0, 20_000)
    X = np.ones((20_000, 1))
    assert fit_robust(y, X, [], prior_precision=[0.0]).sigma == pytest.approx(2.0, rel=0.02)
    y[:1000] += 40
    assert fit_robust(y, X, [], prior_precision=[0.0]).sigma == pytest.approx(2.0, rel=0.1)


def test_flags_agree_with_the_step_up_rule_written_out() -> None:
    """Benjamini-Hochberg: all p-values up to the largest with p(i) <= i rate / n, gaps left aside."""
    rng = np.random.default_rng(8)
    p = np.concatenate([rng.random(30), rng.random(8) * 0.01])
    p[3] = np.nan
    judged = p[~np.isnan(p)]
    ordered = np.sort(judged)
    under = np.flatnonzero(ordered <= 0.05 * np.arange(1, 38) / 37)
    limit = ordered[under[-1]]
    assert false_discovery_flags(p).tolist() == [bool(v <= limit) for v in p]
    assert not false_discovery_flags(np.full(3, np.nan)).any()


def test_gaps_and_tangles_are_refused() -> None:
    """A missing value and a doubled column end in FitError."""
    y, X, effects, m = made_up(9)
    with pytest.raises(FitError, match="missing"):
        fit_robust(np.where(np.arange(60) == 0, np.nan, y), X, effects, m, prior_precision=PRECISION)
    with pytest.raises(FitError, match="told apart"):
        fit_robust(y, np.column_stack([X[:, :2], X[:, 1]]), effects, m, prior_precision=[0.0, 0.0, 0.0])
    with pytest.raises(ValueError, match="share"):
        fit_robust(y, X, effects, m, prior_precision=PRECISION, ratios={"group": 1.0})


def test_rows_that_agree_exactly_are_no_spread_to_judge_by() -> None:
    """Five rows of ln 5 and one of ln 6 are refused; a whole-number count there would stand 1e16 spreads off."""
    counts = np.log([5.0, 5.0, 5.0, 5.0, 5.0, 6.0])
    with pytest.raises(FitError, match="no usual spread"):
        fit_robust(counts, np.ones((6, 1)), [], prior_precision=[0.0])
    mixed = np.log([5.0, 5.0, 6.0, 5.0, 6.0, 6.0])
    assert np.abs(fit_robust(mixed, np.ones((6, 1)), [], prior_precision=[0.0]).left_out_t).max() < 3
