"""The draws of a bid: the total by simulation against closed forms and draws made here."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from bid_record import plates

from burnlog.analyses.basis import Basis, JobRatio, basis_of
from burnlog.analyses.estimate import Estimate, Plan, draft, spread_of
from burnlog.analyses.rate_fit import Settings
from burnlog.columns import Frames
from burnlog.errors import InputError

Record = Callable[..., Frames]


def test_R57_the_total_is_not_a_sum_of_eighties(record: Record) -> None:
    """Ten equal lines, log sd 0.4, no job effect: P80 12.0 and mean 10.83, not 14.0 and 10.0.

    Closed form: each line is exp(0.4 z) with mean exp(0.08) = 1.0833 (ten: 10.83); P80 of one line is 1.40 (ten:
    14.0). P80 of the sum from 400,000 draws made here.
    """
    rng = np.random.default_rng(1)
    cuts = [
        {
            "job": f"J{n % 40}",
            "line": f"L{n}",
            "dive_no": 1 + n // 40,
            "new_length_m": 1.0,
            "planned_length_m": 1.0,
            "rods": math.exp(0.4 * z),
        }
        for n, z in enumerate(rng.standard_normal(4000))
    ]
    near_zero = (1e-4, 1e-3, 2)
    settings = Settings(start_m=(0.0,), psi_m=(0.0,), job_grid=near_zero, diver_grid=near_zero)
    found = spread_of(draft(basis_of(record(cuts)), plates(), Plan(draws=40_000), settings=settings).equivalents)
    brute = np.exp(0.4 * rng.standard_normal((400_000, 10))).sum(axis=1)
    assert np.quantile(brute, 0.8) == pytest.approx(12.0, abs=0.03)
    assert found["p80"] == pytest.approx(12.0, abs=0.15)
    assert found["mean"] == pytest.approx(10.83, abs=0.1)


def test_R57_quantiles_agree_with_a_simulation_written_here(basis: Basis) -> None:
    """P10, P50 and P90 of the total agree with draws made from the posterior by the test's own few lines."""
    found = draft(basis, plates(), Plan(draws=40_000))
    fit, rng = found.fit, np.random.default_rng(99)
    posterior = fit.rods.posterior
    drawn = posterior.draws(40_000, rng)
    totals = np.zeros(40_000)
    job = drawn.sd["job"] * rng.standard_normal(40_000)
    people = drawn.sd["diver"][:, None] * rng.standard_normal((40_000, fit.divers_per_job))
    cases = fit.rods.design.cases
    start = np.array([case.tag["start_m"] for case in cases])[drawn.case]
    psi = np.array([case.tag["psi_m"] for case in cases])[drawn.case]
    mix = {c.name: c for c in fit.rods.design.conditions}
    columns = drawn.coef[:, -sum(len(c.terms) for c in mix.values()) :]
    seen, place = np.zeros(40_000), 0
    for condition in mix.values():
        if condition.name == "position" or not condition.terms:
            place += len(condition.terms)
            continue
        level = rng.choice(len(condition.levels), size=40_000, p=condition.mix)
        effects = np.column_stack([np.zeros(40_000), columns[:, place : place + len(condition.terms)]])
        seen += effects[np.arange(40_000), level]
        place += len(condition.terms)
    for line in range(10):
        luck = drawn.sigma * np.sqrt((1 + psi / (1 + start)) / (1 + psi / 1.0)) * rng.standard_normal(40_000)
        eta = drawn.coef[:, 0] + seen + job + people[:, line % fit.divers_per_job] + luck
        totals += fit.rods.scale[drawn.case] * (1 + start) * np.exp(eta)
    mine, theirs = spread_of(totals), spread_of(found.equivalents)
    for key in ("p10", "p50", "p90"):
        assert theirs[key] == pytest.approx(mine[key], rel=0.0125 if key == "p50" else 0.0175)  # four standard errors


def test_R43_the_range_is_wider_than_burn_to_burn_luck(made: Estimate) -> None:
    """The job's own draw drives the range of a total: more than all burns together."""
    assert made.drivers["job"] > 3 * made.drivers["burn"]
    assert sum(made.drivers.values()) == pytest.approx(1.0, rel=1e-12)


def test_too_few_draws_are_refused() -> None:
    """Fewer than 2,000 draws give no P90."""
    with pytest.raises(InputError, match="too few"):
        Plan(draws=1999).checked()


def test_job_ratio_draws_centre_on_the_pooled_ratio() -> None:
    """The next job's ratio is drawn about sum over sum, t on jobs - 1 on the log scale."""
    found = JobRatio((10.0, 22.0, 27.0), (10.0, 20.0, 30.0), ("a", "b", "c"), 9)
    draws = found.draw(200_000, np.random.default_rng(5))
    assert np.median(draws) == pytest.approx(59 / 60, rel=0.005)
    logs = np.log([1.0, 1.1, 0.9])
    from scipy.stats import t

    width = t.ppf(0.9, 2) * logs.std(ddof=1) * math.sqrt(4 / 3)
    assert np.quantile(draws, 0.9) == pytest.approx(59 / 60 * math.exp(width), rel=0.02)


def test_a_large_take_off_is_drawn_in_parts_that_fit(basis: Basis, monkeypatch: pytest.MonkeyPatch) -> None:
    """Drawing in parts changes no more than chance does."""
    whole = spread_of(draft(basis, plates(), Plan(draws=8000)).rods)
    monkeypatch.setattr("burnlog.analyses.estimate.CELLS", 20_000)
    parts = spread_of(draft(basis, plates(), Plan(draws=8000)).rods)
    assert parts["p50"] == pytest.approx(whole["p50"], rel=0.03)
    assert parts["p90"] == pytest.approx(whole["p90"], rel=0.05)
