"""Count regressions against closed forms and scores written out, and the sets they refuse."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from burnlog.errors import FitError
from burnlog.stats.count_models import fit_binomial, fit_poisson


def test_a_two_group_logistic_fit_is_the_odds_ratio() -> None:
    """Coefficient and error of one contrast equal the log odds ratio and Woolf's formula."""
    y = np.concatenate([np.ones(30), np.zeros(70), np.ones(12), np.zeros(78)])
    X = np.column_stack([np.ones(190), np.arange(190) < 100])
    fit = fit_binomial(y, np.ones(190), X, names=["one", "group"])
    assert fit.factor[1] == pytest.approx((30 / 70) / (12 / 78), rel=1e-9)
    assert fit.se[1] == pytest.approx(np.sqrt(1 / 30 + 1 / 70 + 1 / 12 + 1 / 78), rel=1e-6)
    assert fit.events == 42
    reach = stats.t.ppf(0.975, 188) * fit.se[1]
    assert fit.high[1] == pytest.approx(fit.factor[1] * np.exp(reach), rel=1e-9)


def test_grouped_and_single_trials_give_the_same_coefficients() -> None:
    """Counts of successes per row say the same as their trials one by one."""
    rng = np.random.default_rng(1)
    x = rng.normal(size=12)
    trials = rng.integers(3, 9, 12)
    successes = rng.binomial(trials, 1 / (1 + np.exp(-0.3 - 0.8 * x)))
    X = np.column_stack([np.ones(12), x])
    together = fit_binomial(successes, trials, X, names=["one", "x"])
    single = np.concatenate([[1] * s + [0] * (t - s) for s, t in zip(successes, trials, strict=True)])
    apart = fit_binomial(single, np.ones(len(single)), np.repeat(X, trials, axis=0), names=["one", "x"])
    np.testing.assert_allclose(apart.coef, together.coef, atol=1e-8)


def test_a_two_group_poisson_fit_is_the_ratio_of_rates() -> None:
    """One contrast: the factor is the ratio of events over exposure, its error 1/k1 + 1/k2."""
    events, exposure = np.array([11.0, 0.0, 21.0]), np.array([500.0, 300.0, 3011.0])
    X = np.array([[1.0, 1.0], [1.0, 1.0], [1.0, 0.0]])
    fit = fit_poisson(events, exposure, X, names=["one", "group"])
    assert fit.factor[1] == pytest.approx((11 / 800) / (21 / 3011), rel=1e-8)
    assert fit.se[1] == pytest.approx(np.sqrt(1 / 11 + 1 / 21), rel=1e-6)
    assert fit.groups is None


def test_clustered_errors_equal_the_sandwich_written_out() -> None:
    """Errors by group are the sandwich of score sums with the factor G/(G - 1) (n - 1)/(n - p), t on G - 1."""
    rng = np.random.default_rng(2)
    n, G = 120, 8
    group = np.repeat(np.arange(G), n // G)
    x = rng.normal(size=n)
    exposure = rng.uniform(1, 5, n)
    y = rng.poisson(exposure * np.exp(-0.2 + 0.4 * x + rng.normal(0, 0.4, G)[group]))
    X = np.column_stack([np.ones(n), x])
    fit = fit_poisson(y, exposure, X, names=["one", "x"], groups=group)
    mu = exposure * np.exp(X @ fit.coef)
    np.testing.assert_allclose(X.T @ (y - mu), 0, atol=1e-6)  # it is the maximum
    bread = np.linalg.inv(X.T @ (X * mu[:, None]))
    scores = np.array([(X[group == g] * (y - mu)[group == g, None]).sum(axis=0) for g in range(G)])
    cov = bread @ scores.T @ scores @ bread * G / (G - 1) * (n - 1) / (n - 2)
    np.testing.assert_allclose(fit.se, np.sqrt(np.diag(cov)), rtol=1e-6)
    assert (fit.groups, fit.df) == (8, 7.0)
    assert fit.p_values[1] == pytest.approx(2 * stats.t.sf(abs(fit.coef[1] / fit.se[1]), 7), rel=1e-9)
    assert fit.dispersion > 1.1


def test_rows_without_exposure_do_not_count() -> None:
    """A row with exposure 0 changes nothing."""
    events, exposure = np.array([11.0, 21.0, 9.0, 0.0]), np.array([800.0, 3011.0, 500.0, 0.0])
    X = np.column_stack([np.ones(4), [1.0, 0.0, 1.0, 5.0]])
    with_row = fit_poisson(events, exposure, X, names=["one", "group"])
    without = fit_poisson(events[:3], exposure[:3], X[:3], names=["one", "group"])
    np.testing.assert_allclose(with_row.coef, without.coef)
    assert with_row.n == 3


def separated() -> tuple[np.ndarray, np.ndarray]:
    """Outcomes split at x = 0 but for a mixed intercept-only tie at 0."""
    x = np.concatenate([np.linspace(-2, -0.1, 15), np.zeros(6), np.linspace(0.1, 2, 15)])
    y = np.concatenate([np.zeros(15), [0, 1, 0, 1, 0, 1], np.ones(15)])
    return x, y


@pytest.mark.parametrize("tie", [True, False])
def test_separation_is_refused_and_named(tie: bool) -> None:
    """A term that splits the outcomes, with or without a tie at the border, is named."""
    x, y = separated()
    keep = np.ones(36, dtype=bool) if tie else x != 0
    X = np.column_stack([np.ones(36), x])[keep]
    with pytest.raises(FitError, match="depth divides the outcomes"):
        fit_binomial(y[keep], np.ones(keep.sum()), X, names=["one", "depth"])


def test_a_category_without_events_is_refused() -> None:
    """A contrast under which no event occurred has no finite rate ratio."""
    events = np.array([10.0, 12.0, 0.0, 0.0, 9.0])
    X = np.column_stack([np.ones(5), [0, 0, 1, 1, 0]])
    with pytest.raises(FitError, match="new divides the outcomes"):
        fit_poisson(events, np.full(5, 10.0), X, names=["one", "new"])


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"y": [1, 0, 1, 0, 0, 1, 0, 1]}, "4 events are too few for 2 terms"),
        ({"X": [[1, 2]] * 8}, "cannot be told apart"),
        ({"groups": [0, 0, 0, 0, 1, 1, 1, 1]}, "2 groups are too few"),
        ({"y": [5, np.nan, 3, 2, 4, 3, 2, 5]}, "counts are missing"),
        ({"X": [[1, np.inf]] * 8}, "covariates are missing"),
    ],
)
def test_sets_too_thin_or_tangled_are_refused(change: dict[str, object], words: str) -> None:
    """Too few events or groups, tangled terms and gaps end in FitError with the reason."""
    given = {
        "y": np.array([5.0, 4, 3, 2, 4, 3, 2, 5]),
        "X": np.column_stack([np.ones(8), np.arange(8.0)]),
        "groups": None,
    }
    given |= {key: np.array(value) for key, value in change.items()}
    with pytest.raises(FitError, match=words):
        fit_poisson(given["y"], np.full(8, 10.0), given["X"], names=["one", "x"], groups=given["groups"])
