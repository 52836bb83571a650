"""Jobs forecast by the other jobs, and the baselines beside the integrated fit."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from burnlog.analyses import forecasts
from burnlog.analyses.backtest import METHODS, Backtest, backtest, job_lines
from burnlog.analyses.invented import WORLDS, history
from burnlog.analyses.rate_design import Design, design
from burnlog.analyses.rate_fit import Model
from burnlog.analyses.tallies import gather
from burnlog.columns import Frames
from burnlog.errors import FitError, InputError
from burnlog.stats.posterior import Case, Effect, integrate, tables

Record = Callable[..., Frames]


def plain(jobs: int, per_job: int, seed: int, **fixed: Any) -> list[dict[str, Any]]:
    """Single-plate cuts of various lengths, `jobs` jobs a month apart."""
    rng = np.random.default_rng(seed)
    cuts = []
    for job in range(jobs):
        level = 0.25 * rng.standard_normal()
        for n in range(per_job):
            length = float(rng.uniform(0.3, 2.0))
            rods = 5.0 * (length + 0.1) * math.exp(level + 0.25 * rng.standard_normal())
            cuts.append(
                {
                    "job": f"J{job}",
                    "dive_no": n + 1,
                    "row": 1,
                    "line": f"L{job}-{n}",
                    "new_length_m": length,
                    "planned_length_m": length,
                    "diver": f"D{n % 4}",
                    "rods": round(max(rods, 1.0), 1),
                    "dive_date": f"2026-{job + 1:02d}-01",
                    **fixed,
                }
            )
    return cuts


@pytest.fixture(scope="module")
def eight() -> Frames:
    return history(WORLDS["base"], jobs=8, rng=np.random.default_rng(31)).frames


@pytest.fixture(scope="module")
def tested(eight: Frames) -> Backtest:
    return backtest(eight, rule_per_m=8.0, draws=2000)


def test_keys_are_the_documented_ones(tested: Backtest) -> None:
    """Every method has every score, every job a row, and the whole is JSON without NaN."""
    made = json.loads(json.dumps(tested.as_json(), allow_nan=False))
    assert made["jobs"] == 8
    assert set(made["methods"]) == set(METHODS)
    for scores in made["methods"].values():
        assert {"c50", "c80", "c80_low", "c80_high", "c95", "width80", "bias", "crps", "pinball80"} <= set(scores)
    assert {"job", "actual_rods", "p10", "p50", "p90", "tallies_before"} <= set(made["rows"][0])
    assert made["methods"]["rule"]["c80"] is None, "a rule of thumb has no range"


def test_scores_follow_from_the_rows(eight: Frames, tested: Backtest) -> None:
    """Shares, exact interval, width and bias can be recomputed from the printed rows; the rule's from itself."""
    rows = pd.DataFrame([vars(row) for row in tested.rows])
    score = tested.methods["integrated"]
    inside = int(((rows["actual_rods"] >= rows["p10"]) & (rows["actual_rods"] <= rows["p90"])).sum())
    assert score.c80 == inside / 8
    exact = stats.binomtest(inside, 8).proportion_ci(0.95, method="exact")
    assert (score.c80_low, score.c80_high) == pytest.approx((exact.low, exact.high), abs=1e-9)
    assert score.width80 == pytest.approx(np.median(np.log(rows["p90"] / rows["p10"])), abs=1e-3)
    assert score.bias == pytest.approx(np.median(np.log(rows["p50"] / rows["actual_rods"])), abs=1e-3)
    tallyset = gather(eight)
    length = tallyset.tallies.groupby("job")["new_length_m"].sum().reindex(rows["job"]).to_numpy()
    miss = np.log(8.0 * length / rows["actual_rods"].to_numpy())
    rule = tested.methods["rule"]
    assert rule.bias == pytest.approx(np.median(miss), abs=1e-12)
    assert rule.crps == pytest.approx(np.abs(miss).mean(), abs=1e-12)
    assert rule.pinball80 == pytest.approx(np.where(miss < 0, 0.8 * -miss, 0.2 * miss).mean(), abs=1e-12)


def test_same_seed_same_bytes(eight: Frames) -> None:
    """Two runs agree to the byte, another seed does not."""
    one, two, other = (json.dumps(backtest(eight, draws=300, seed=seed).as_json()) for seed in (1, 1, 2))
    assert one == two
    assert one != other


def test_a_job_downdated_is_a_job_never_seen(eight: Frames) -> None:
    """The fit from downdated tables is the fit of the remaining rows, made from nothing."""
    rows = design(gather(eight))
    for job in ("J01", "J05"):
        seen = rows.tallies["job"].ne(job).to_numpy()
        whole = tables(rows.cases, rows.effects, prior_precision=rows.prior_precision, names=rows.names)
        less = Model.of(rows, made=whole.without(~seen))
        fresh = integrate(
            [Case(c.y[seen], c.X[seen], c.m[seen], c.log_prior, c.tag) for c in rows.cases],
            [Effect(e.name, e.loadings[seen], e.levels, e.scale, e.grid) for e in rows.effects],
            prior_precision=rows.prior_precision,
            names=rows.names,
        )
        np.testing.assert_allclose(less.posterior.coef, fresh.coef, atol=1e-8)
        assert less.posterior.sigma == pytest.approx(fresh.sigma, rel=1e-8)
        for case, found, scale in zip(rows.cases, fresh.per_case(), less.scale, strict=True):
            people = sum(e.loadings @ found.effects[e.name] for e in rows.effects)
            fitted = rows.bid(case, found.coef, people, found.variance)[seen].sum()
            assert scale == pytest.approx(rows.recorded[seen].sum() / fitted, rel=1e-6)


def test_forward_sees_only_earlier_jobs(record: Record) -> None:
    """Going forward in time a job is forecast from jobs begun before it; the first two are not forecast."""
    cuts = plain(6, 12, seed=2)
    for cut in cuts:  # J0 comes last in time
        month = {"J0": 9}.get(cut["job"], int(cut["job"][1:]))
        cut["dive_date"] = f"2026-{month:02d}-01"
    found = backtest(record(cuts), forward=True, draws=300)
    assert [row.job for row in found.rows] == ["J3", "J4", "J5", "J0"]
    assert [row.tallies_before for row in found.rows] == [24, 36, 48, 60]
    assert [row.jobs_before for row in found.rows] == [2, 3, 4, 5]
    assert sum("not forecast" in note for note in found.notes) == 2
    assert found.methods["job_t"].jobs == 3, "with two jobs there is no spread from job to job"


def test_R50_fewer_than_three_jobs_is_not_possible(record: Record) -> None:
    """Two jobs cannot be left out one by one; the refusal says what it needs."""
    with pytest.raises(FitError, match=r"not possible: 2 jobs with 24 tallies; it needs 3 jobs"):
        backtest(record(plain(2, 12, seed=3)))
    with pytest.raises(InputError, match="too few for a 95 % range"):
        backtest(record(plain(3, 12, seed=3)), draws=50)


def test_rods_are_forecast_for_the_work_recorded(record: Record) -> None:
    """The pieces bid for a job are its counted cuts, lengths and plans included."""
    cuts = plain(3, 5, seed=4)
    cuts[0]["rods"] = None
    cuts[1]["thickness_mm"] = None
    tallyset = gather(record(cuts))
    lines = job_lines(tallyset, "J0", mean_log_t=0.0)
    assert len(lines) == 4
    assert lines["length_m"].sum() == pytest.approx(sum(cut["new_length_m"] for cut in cuts[1:5]))
    assert lines["thickness_mm"].tolist() == pytest.approx([12.7] * 4)


def _seen(rows: Design) -> np.ndarray[Any, np.dtype[np.bool_]]:
    return np.ones(rows.n, dtype=bool)


def test_job_ratios_are_ratios_of_sums_on_one_plate(record: Record) -> None:
    """On one plate without conditions, each job's prediction is the others' rods over exposure times its own."""
    cuts = plain(5, 8, seed=5)
    rows = design(gather(record(cuts)))
    found = forecasts.job_ratios(rows)
    table = pd.DataFrame(cuts)
    table["exposure"] = table["new_length_m"] + forecasts.START_M
    sums = table.groupby("job")[["rods", "exposure"]].sum()
    others = (sums["rods"].sum() - sums["rods"]) / (sums["exposure"].sum() - sums["exposure"])
    spread = float(np.sqrt(np.mean(np.log(sums["rods"] / (others * sums["exposure"])) ** 2)))
    assert found is not None
    assert (found.jobs, found.spread) == (5, pytest.approx(spread, rel=1e-9))
    assert found.high == pytest.approx(math.exp(1.533206 * spread), rel=1e-6), "t table: 4 degrees, 0.90 is 1.533"
    assert found.low == pytest.approx(1 / found.high)
    assert forecasts.job_ratios(design(gather(record(plain(2, 8, seed=5))))) is None


def test_plug_in_and_least_squares_spread_as_their_variances_say(record: Record) -> None:
    """For one line least squares spreads by luck alone, the plug-in forecast by job, diver and luck together."""
    rows = design(gather(record(plain(12, 15, seed=6))))
    line = pd.DataFrame({"length_m": [1.0], "thickness_mm": [12.7]})
    rng = np.random.default_rng(1)
    case = rows.case(0.0, 0.0)
    wide = np.log(forecasts.plug_in(rows, _seen(rows), line, draws=20000, rng=rng))
    thin = np.log(forecasts.least_squares(rows, _seen(rows), line, draws=20000, rng=rng))
    assert thin.std() == pytest.approx(case.y.std() * math.sqrt(1 + 1 / rows.n), rel=0.03)
    within = case.y - pd.Series(case.y).groupby(rows.tallies["job"].to_numpy()).transform("mean").to_numpy()
    between = pd.Series(case.y).groupby(rows.tallies["job"].to_numpy()).mean().var()
    assert wide.std() == pytest.approx(math.sqrt(between + within.var() * (1 - 1 / 15)), rel=0.12)


def test_pooled_ratio_knows_no_jobs(record: Record) -> None:
    """The pooled ratio centres on rods over metres and narrows as lines are added."""
    rows = design(gather(record(plain(6, 20, seed=7))))
    rng = np.random.default_rng(1)
    reach = []
    for n in (5, 80):
        lines = pd.DataFrame({"length_m": np.ones(n), "thickness_mm": np.full(n, 12.7)})
        total = forecasts.pooled(rows, _seen(rows), lines, draws=20000, rng=rng)
        reach.append(np.log(total).std())
    assert np.median(total) == pytest.approx(80 * rows.recorded.sum() / rows.exposure(0.0).sum(), rel=0.02)
    assert reach[1] == pytest.approx(reach[0] / 4, rel=0.1)


@pytest.mark.slow
def test_ranges_hold_on_held_out_jobs_and_pooled_ones_do_not() -> None:
    """Over three invented records of 12 jobs the integrated range agrees with 80 %, the pooled one does not."""
    inside, n, pooled, crps = 0, 0, 0, []
    for seed in (1, 2, 3):
        found = backtest(history(WORLDS["base"], jobs=12, rng=np.random.default_rng(seed)).frames, draws=1500)
        score, simple = found.methods["integrated"], found.methods["pooled"]
        assert score.c80 is not None
        assert simple.c80 is not None
        inside += round(score.c80 * score.jobs)
        pooled += round(simple.c80 * simple.jobs)
        n += score.jobs
        crps.append((score.crps, simple.crps))
    band = stats.binomtest(inside, n).proportion_ci(0.95, method="exact")
    assert band.low <= 0.80 <= band.high
    assert stats.binomtest(pooled, n).proportion_ci(0.999, method="exact").high < 0.80
    assert np.mean([one for one, _ in crps]) < np.mean([two for _, two in crps])
