"""An integrated fit put away as JSON and read back."""

from __future__ import annotations

import json

import numpy as np
import pytest

from burnlog.stats.compact import as_text, from_plain, numbers, plain, without_negligible
from burnlog.stats.posterior import Case, Effect, Posterior, integrate


def made(*, eliminated: bool = True, seed: int = 5) -> Posterior:
    """Two cases of 60 rows in two groupings; without `eliminated`, one grouping of shares alone."""
    rng = np.random.default_rng(seed)
    x = rng.standard_normal(60)
    job, person = rng.integers(0, 7, 60), rng.integers(0, 4, 60)
    y = 1 + 0.5 * x + 0.3 * rng.standard_normal(7)[job] + 0.2 * rng.standard_normal(60)
    shares = np.eye(4)[person] * 0.7 + 0.075
    effects = [Effect("person", shares, tuple("abcd"), grid=(0.1, 2.0, 4))]
    if eliminated:
        effects.append(Effect.from_labels("job", job, grid=(0.1, 3.0, 6)))
    X = np.column_stack([np.ones(60), x])
    cases = [
        Case(y, X, np.full(60, 1.0), 0.0, {"psi": 0.0}),
        Case(y + 0.1, X, rng.uniform(0.5, 2, 60), -1.0, {"psi": 1.0}),
    ]
    return integrate(cases, effects, prior_precision=[0.0, 0.1], names=["mean", "slope"])


@pytest.mark.parametrize("eliminated", [True, False])
def test_a_fit_read_back_draws_the_same_bytes(eliminated: bool) -> None:
    """Through JSON and back, every draw from the same generator has the same bits."""
    lean, _ = without_negligible(made(eliminated=eliminated))
    first = from_plain(json.loads(json.dumps(plain(lean), allow_nan=False)))
    again = from_plain(json.loads(json.dumps(plain(first), allow_nan=False)))
    one, two, three = (fit.draws(2000, np.random.default_rng(3)) for fit in (lean, first, again))
    for other in (two, three):
        assert one.coef.tobytes() == other.coef.tobytes()
        assert one.sigma.tobytes() == other.sigma.tobytes()
        assert one.case.tobytes() == other.case.tobytes()
        assert all(one.effects[name].tobytes() == other.effects[name].tobytes() for name in one.effects)
    assert first.coef.tobytes() == lean.coef.tobytes()
    assert first.group_sd == lean.group_sd
    assert first.tag_means == lean.tag_means
    assert first.n == lean.n == 60


def test_only_a_billionth_of_the_weight_is_dropped() -> None:
    """Means agree with the whole fit to 1e-8, the weights sum to 1, and the cases left are those named."""
    whole = made()
    lean, cases = without_negligible(whole)
    assert lean.weights.sum() == pytest.approx(1.0, rel=1e-14)
    assert len(lean.weights) <= len(whole.weights)
    np.testing.assert_allclose(lean.coef, whole.coef, rtol=1e-8)
    assert [case.tag for case in lean.tables.cases] == [whole.tables.cases[c].tag for c in cases]
    np.testing.assert_allclose(lean.coef_cov, whole.coef_cov, rtol=1e-7)


def test_a_case_without_weight_goes() -> None:
    """A case whose prior leaves it nothing is not kept."""
    rng = np.random.default_rng(1)
    y, X = rng.standard_normal(20), np.ones((20, 1))
    cases = [Case(y, X, np.ones(20), -500.0, {"k": 0.0}), Case(y, X, np.ones(20), 0.0, {"k": 1.0})]
    lean, kept = without_negligible(integrate(cases, [], prior_precision=[0.0], names=["mean"]))
    assert kept.tolist() == [1]
    assert lean.tag_means == {"k": 1.0}


def test_arrays_keep_every_bit() -> None:
    """Doubles that no short decimal text holds come back as they were, in their shape."""
    values = np.array([[0.1, 1 / 3, 5e-324], [-0.0, 1e308, 2**-1074 * 3]])
    back = numbers(json.loads(json.dumps(as_text(values))))
    assert back.shape == (2, 3)
    assert back.tobytes() == values.tobytes()


def test_effects_not_asked_for_leave_the_other_draws_as_they_are() -> None:
    """Without the levels of one effect, coefficients, spreads and the other effect keep every bit."""
    fit = made()
    whole, part = (fit.draws(500, np.random.default_rng(2), effects=names) for names in (None, ("person",)))
    assert set(whole.effects) == {"job", "person"}
    assert set(part.effects) == {"person"}
    assert whole.coef.tobytes() == part.coef.tobytes()
    assert whole.sd["job"].tobytes() == part.sd["job"].tobytes()
    assert whole.effects["person"].tobytes() == part.effects["person"].tobytes()
