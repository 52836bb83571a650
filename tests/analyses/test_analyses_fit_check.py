"""Residuals and left-out jobs behind the rates, and the page that shows them."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from scipy.stats import binom, ttest_1samp

from burnlog.analyses.fit_check import fit_check
from burnlog.analyses.rate_curve import rate_curve
from burnlog.analyses.rates import rates
from burnlog.charts.fit_check import check_charts, jobs_finding, residual_finding
from burnlog.columns import Frames
from burnlog.reports.page import Head
from burnlog.reports.rates_page import rates_page

Record = Callable[..., Frames]
HEAD = Head(db_id="d", made_on="2026-01-01", by="T", asked="all", version="0")


def burned(
    jobs: int = 6, per_job: int = 15, *, seed: int = 10, rods_of: Callable[[float, float], float]
) -> list[dict[str, Any]]:
    """Single lines of 0.5 to 10 ft on plate of 6 to 40 mm, rods by a rule of feet and mm with 10 % luck."""
    rng = np.random.default_rng(seed)
    out = []
    for n in range(jobs * per_job):
        feet, mm = float(rng.uniform(0.5, 10.0)), float(rng.uniform(6.0, 40.0))
        rods = rods_of(feet, mm) * math.exp(0.1 * rng.standard_normal())
        out.append(
            {
                "job": f"J{n % jobs}",
                "dive_no": n + 1,
                "line": f"L{n}",
                "diver": f"D{n % 4}",
                "new_length_m": feet * 0.3048,
                "planned_length_m": feet * 0.3048,
                "thickness_mm": mm,
                "rods": rods,
            }
        )
    return out


def page_words(frames: Frames) -> str:
    """What a reader reads on the page of the rates."""
    found = rates(frames)
    curve = rate_curve(found.fit) if found.fit is not None else ()
    html = rates_page(found, curve, fit_check(frames, found), HEAD).html
    body = re.sub(r"<(script|style)\b.*?</\1>", " ", html, flags=re.S)
    return " ".join(re.sub(r"<[^>]+>", " ", body).split())


def test_R50_g10_the_page_says_that_the_length_exponent_is_below_one(record: Record) -> None:
    """Rods of 1 + 1.3 per foot: the page names the exponent, that it is below 1, and what a start costs."""
    words = page_words(record(burned(rods_of=lambda feet, mm: (1 + 1.3 * feet) * mm / 12.7)))
    said = re.search(r"length exponent, single lines (\d\.\d+) \((\d\.\d+) - (\d\.\d+)\) below 1", words)
    assert said is not None
    assert float(said[3]) < 1
    assert "cost of a start" in words
    assert "Each job forecast by the others" in words
    assert re.search(r"thickness exponent 1\.0\d|thickness exponent 0\.9\d", words)


def test_R50_with_two_jobs_leaving_one_out_is_not_possible(record: Record) -> None:
    """Two jobs give no forecast of one by the rest, and the page says so instead of drawing it."""
    frames = record(burned(2, 20, rods_of=lambda feet, mm: feet * mm / 10))
    found = rates(frames)
    check = fit_check(frames, found)
    assert check.jobs == ()
    assert check.error is None
    assert "not possible" in jobs_finding(check)
    assert "jobs_left_out" not in check_charts(check)
    assert "Leaving one job out: not possible" in page_words(frames)


def test_residuals_of_the_fitted_form_lie_about_zero(record: Record) -> None:
    """Where rods follow the fit's own form 95 % lie within two spreads and no more bands lean than by luck."""
    frames = record(burned(rods_of=lambda feet, mm: feet * mm / 10, per_job=40, seed=2))
    check = fit_check(frames, rates(frames))
    assert len(check.rows) == 240
    low, high = binom.ppf([0.0005, 0.9995], 240, 0.954) / 240  # two spreads of the normal
    assert check.within is not None
    assert low <= check.within <= high
    assert {band.by for band in check.bands} == {"expected rods", "thickness", "job", "diver"}
    steel = (*check.of("thickness"), *check.of("expected rods"))
    assert sum(band.tallies for band in check.of("thickness")) == 240
    assert sum(band.clear for band in steel) <= binom.ppf(0.999, len(steel), 0.05)
    for band in check.of("job"):
        ends = ttest_1samp([row.spreads for row in check.rows if row.job == band.name], 0.0).confidence_interval(0.95)
        assert band.reach is not None
        assert (band.mean - band.reach, band.mean + band.reach) == pytest.approx(tuple(ends), rel=1e-9)
        assert band.clear == (ends.low > 0 or ends.high < 0)


def test_steel_that_bends_the_rule_shows_as_bands_that_lean(record: Record) -> None:
    """Rods that rise faster than any power of the thickness leave the middle bands below and the outer ones above."""
    frames = record(burned(rods_of=lambda feet, mm: feet * (1 + ((mm - 20.0) / 12.0) ** 2), per_job=30))
    check = fit_check(frames, rates(frames))
    means = [band.mean for band in check.of("thickness")]
    assert means[0] > 0 > min(means[1:4])
    assert means[-1] > 0
    assert sum(band.clear for band in check.of("thickness")) >= 3
    said = re.search(r"(\d+) of 10 bands of size and steel lean clearly", residual_finding(check))
    assert said is not None
    assert int(said[1]) >= 3


def test_every_left_out_job_is_drawn_against_its_own_rods(record: Record) -> None:
    """The chart of forecasts has one row a job, whose middle is the forecast over what was burned."""
    frames = record(burned(rods_of=lambda feet, mm: feet * mm / 10))
    check = fit_check(frames, rates(frames))
    spec = check_charts(check)["jobs_left_out"].to_dict()
    rows = next(rows for rows in spec["datasets"].values() if "held" in rows[0])
    assert [row["name"].split(" ")[0] for row in rows] == [job.job for job in check.jobs]
    for row, job in zip(rows, check.jobs, strict=True):
        actual = sum(each.rods for each in check.rows if each.job == job.job)
        assert math.isclose(row["middle"], job.p50 / actual, rel_tol=1e-9)
        assert (row["held"] == "range holds") == (job.p10 <= actual <= job.p90)
