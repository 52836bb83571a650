"""Leaving levels out: equal to fitting the rest from scratch, and honest where the rest cannot be fitted."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.stats import multivariate_normal

from burnlog.errors import FrameError
from burnlog.stats.leave_out import leave_one_out
from burnlog.stats.mixed import fit_mixed
from burnlog.stats.predict import joint_covariance, predict

RNG = np.random.default_rng(90)
N = 160
G, H = RNG.integers(0, 12, N), RNG.integers(0, 5, N)
X = pd.DataFrame({"one": 1.0, "x": RNG.normal(size=N)})
W = RNG.gamma(4, 0.25, N) + 0.1
Y = X.x.to_numpy() + 0.8 * RNG.normal(size=12)[G] + 0.5 * RNG.normal(size=5)[H] + RNG.normal(size=N)


@pytest.mark.parametrize("weighted", [False, True])
@pytest.mark.parametrize("factor", ["g", "h"])
def test_each_level_as_if_fitted_without_it(factor: str, weighted: bool) -> None:
    """Every level's fit, predictions, covariance and density are those of a model that never saw its rows."""
    weights = W if weighted else np.ones(N)
    full = fit_mixed(Y, X, {"g": G, "h": H}, weights=weights if weighted else None)
    codes = {"g": G, "h": H}[factor]
    seen = []
    for out in leave_one_out(full, factor):
        keep, gone = codes != out.level, codes == out.level
        fresh = fit_mixed(Y[keep], X[keep], {"g": G[keep], "h": H[keep]}, weights=weights[keep])
        assert out.fit is not None
        np.testing.assert_array_equal(np.sort(out.rows), np.flatnonzero(gone))
        assert out.fit.criterion == pytest.approx(fresh.criterion, rel=1e-10)
        new = {"g": G[out.rows], "h": H[out.rows]}
        np.testing.assert_allclose(out.mean, predict(fresh, X.iloc[out.rows], new).mean, atol=1e-5)
        expected = joint_covariance(fresh, X.iloc[out.rows], new, new=True, weights=weights[out.rows])
        np.testing.assert_allclose(out.covariance, expected, rtol=1e-4, atol=1e-5)
        density = multivariate_normal(out.mean, out.covariance).logpdf(Y[out.rows])
        assert out.log_density == pytest.approx(density, rel=1e-10)
        assert out.level not in out.fit.effects[factor].index
        seen.append(out.level)
    assert seen == sorted(set(codes))


def test_a_column_that_lives_in_one_level() -> None:
    """A column that is zero outside the level left out is dropped from that level's fit, and the note says so."""
    only = X.assign(own=(G == 3) * RNG.normal(size=N))
    full = fit_mixed(Y, only, {"g": G, "h": H})
    outs = {out.level: out for out in leave_one_out(full, "g")}
    left = outs[3].fit
    assert left is not None
    assert left.dropped == ("own",)
    assert any("own" in note for note in left.notes)
    keep = G != 3
    fresh = fit_mixed(Y[keep], X[keep], {"g": G[keep], "h": H[keep]})
    assert left.criterion == pytest.approx(fresh.criterion, rel=1e-10)
    np.testing.assert_allclose(outs[3].mean, predict(fresh, X[~keep], {"g": G[~keep], "h": H[~keep]}).mean, atol=1e-5)
    others = [out.fit for level, out in outs.items() if level != 3]
    assert all(fit is not None and fit.dropped == () for fit in others)


def test_two_levels_cannot_be_left_out() -> None:
    """Without one of two levels nothing is left to compare: no fit, NaN, and a sentence."""
    pair = G % 2
    full = fit_mixed(Y, X, {"pair": pair, "h": H})
    outs = list(leave_one_out(full, "pair"))
    assert [out.level for out in outs] == [0, 1]
    for out in outs:
        assert out.fit is None
        assert "'pair' has one level" in out.why
        assert np.isnan(out.mean).all()
        assert np.isnan(out.log_density)
        assert len(out.mean) == (pair == out.level).sum()


def test_unknown_grouping() -> None:
    """Leaving out levels of a grouping that was not fitted says which there are."""
    full = fit_mixed(Y, X, {"g": G})
    with pytest.raises(FrameError, match="no grouping named 'h'; there are g"):
        next(leave_one_out(full, "h"))


def test_calibration_of_left_out_levels() -> None:
    """Over seeded data the squared standardised errors of left-out levels average one, within sampling error."""
    rng = np.random.default_rng(5)
    total, squares = 0, 0.0
    for _ in range(15):
        group, x = np.repeat(np.arange(25), 6), rng.normal(size=150)
        y = 1.0 + x + 0.7 * rng.normal(size=25)[group] + rng.normal(size=150)
        full = fit_mixed(y, np.column_stack([np.ones(150), x]), {"g": group})
        for out in leave_one_out(full, "g"):
            lower = np.linalg.cholesky(out.covariance)
            squares += float((np.linalg.solve(lower, y[out.rows] - out.mean) ** 2).sum())
            total += len(out.rows)
    # 2250 squared deviates, each with standard deviation sqrt(2): four standard errors are 0.12
    assert squares / total == pytest.approx(1.0, abs=0.12)
