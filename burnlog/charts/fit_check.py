"""Charts of a fit under test: residuals against size, steel, job, diver; whole jobs against their forecasts."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from burnlog.analyses.fit_check import FitCheck
from burnlog.charts.amounts import steel_unit
from burnlog.charts.theme import BLACK, GREY, WIDTH, dressed, line_at, themed

__all__ = ["check_charts", "groups_finding", "jobs_finding", "residual_finding"]

SHARE_IF_NORMAL = 0.954
FAR = 5.0
"""[spreads] Tallies beyond stand at this line as a triangle, so that one typing error does not flatten the rest."""


def check_charts(check: FitCheck, *, profile: str = "metric") -> dict[str, Any]:
    """Every chart of the check by its element id."""
    charts = {}
    if check.rows:
        charts["residuals"] = _clouds(check, profile)
        charts["residual_groups"] = _groups(check)
    if check.jobs:
        charts["jobs_left_out"] = _jobs(check)
    return charts


def residual_finding(check: FitCheck) -> str:
    """How the residuals lie about size and steel, from the numbers."""
    if check.within is None:
        return f"No residuals: {check.why_no_rows}."
    bands = (*check.of("expected rods"), *check.of("thickness"))
    off = [band for band in bands if band.clear]
    lean = f"{len(off)} of {len(bands)} bands of size and steel lean clearly to one side"
    far = sum(abs(row.spreads) > FAR for row in check.rows)
    beyond = f" {far} beyond {FAR:g} spreads: triangles at the edge." if far else ""
    return (
        f"{100 * check.within:.0f} % of {len(check.rows)} tallies lie within two spreads of what the others lead one "
        f"to expect ({100 * SHARE_IF_NORMAL:.0f} % if burns were normal). {lean}, of which about "
        f"{0.05 * len(bands):.1f} would by chance.{beyond}"
    )


def groups_finding(check: FitCheck) -> str:
    """Whether a job or a diver still leans to one side, from the numbers."""
    out = []
    for by in ("job", "diver"):
        bands = check.of(by)
        off = [band.name for band in bands if band.clear]
        named = f" ({', '.join(off)})" if off else ""
        out.append(f"{len(off)} of {len(bands)} {by}s{named}")
    return (
        f"Leaning clearly to one side after the fit: {' and '.join(out)}. Each has its own part in the fit, so their "
        "means stand near 0 by its making."
    )


def jobs_finding(check: FitCheck) -> str:
    """How jobs came out that the forecast had not seen, from the numbers."""
    if check.error is None:
        return f"Leaving one job out: not possible. {check.why_no_jobs}"
    return (
        f"Each job forecast by the others: {check.inside} of {len(check.jobs)} lie inside their 80 % range; half of "
        f"the middle forecasts were within a factor of {check.error:.2f} of what was burned."
    )


def _clouds(check: FitCheck, profile: str) -> Any:
    """Each tally's residual against the rods expected and against the thickness, with the mean of each band."""
    import altair as alt

    steel, unit = steel_unit(profile)
    rows = pd.DataFrame(
        [
            {"expected": row.expected, "thickness": (row.thickness_mm or float("nan")) / steel, "t": row.spreads}
            for row in check.rows
        ]
    )
    panels = []
    rows["place"] = np.select([rows["t"] > FAR, rows["t"] < -FAR], ["above", "below"], "inside")
    rows["t"] = rows["t"].clip(-FAR, FAR)
    for place, (column, title, by, factor) in enumerate(
        (
            ("expected", "rods expected", "expected rods", 1.0),
            ("thickness", f"thickness, {unit}", "thickness", 1 / steel),
        )
    ):
        mine = rows[rows[column].notna()]
        x = alt.Scale(type="log", nice=False) if by == "expected rods" else alt.Scale(zero=False, nice=False)
        y = alt.Scale(domain=[-1.1 * FAR, 1.1 * FAR])
        axis = alt.Axis(title="rods over expected, in spreads" if place == 0 else None)
        means = pd.DataFrame(
            [
                {"low": band.low * factor, "high": band.high * factor, "mean": band.mean}
                for band in check.of(by)
                if band.low is not None and band.high is not None
            ],
            columns=["low", "high", "mean"],
        )
        dots = (
            alt.Chart(mine)
            .mark_point(color=GREY, size=22, opacity=0.7)
            .encode(
                shape=alt.Shape(
                    "place:N",
                    legend=None,
                    scale=alt.Scale(
                        domain=["inside", "above", "below"], range=["circle", "triangle-up", "triangle-down"]
                    ),
                ),
                x=alt.X(f"{column}:Q", title=f"{title} (n = {len(mine)})", scale=x),
                y=alt.Y("t:Q", scale=y, axis=axis),
            )
        )
        lines = (
            alt.Chart(means)
            .mark_rule(color=BLACK, strokeWidth=4)
            .encode(x=alt.X("low:Q", scale=x), x2="high:Q", y=alt.Y("mean:Q", scale=y, axis=axis))
        )
        limits = (
            alt.Chart(pd.DataFrame({"at": [-2.0, 2.0]}))
            .mark_rule(color=BLACK, strokeDash=[6, 3])
            .encode(y=alt.Y("at:Q", scale=y, axis=axis))
        )
        panels.append(alt.layer(dots, limits, lines).properties(width=WIDTH // 2 - 52, height=220))
    return dressed(alt.concat(*panels, columns=2), description=residual_finding(check))


def _groups(check: FitCheck) -> Any:
    """The mean residual of each job and diver with its 95 % interval where it has one, in code order."""
    import altair as alt

    table = pd.DataFrame(
        [
            {
                "name": f"{by} {band.name} (n = {band.tallies})",
                "mean": band.mean,
                "low": band.mean - (band.reach or 0.0),
                "high": band.mean + (band.reach or 0.0),
                "clear": "leans to one side" if band.clear else "holds 0",
            }
            for by in ("job", "diver")
            for band in check.of(by)
        ]
    )
    base = alt.Chart(table).encode(
        y=alt.Y("name:N", sort=None, title=None, axis=alt.Axis(labelLimit=260, grid=False))
    )
    spans = base.mark_rule(color=BLACK, strokeWidth=1.5).encode(
        x=alt.X("low:Q", title="mean over expected, in spreads (n in tallies)"),
        x2="high:Q",
    )
    dots = base.mark_point(size=60, color=BLACK, fill="white", opacity=1).encode(
        x="mean:Q",
        shape=alt.Shape(
            "clear:N",
            title=None,
            scale=alt.Scale(domain=["leans to one side", "holds 0"], range=["diamond", "circle"]),
        ),
    )
    return themed(
        alt.layer(line_at(0.0), spans, dots), height=20 * len(table) + 10, description=groups_finding(check)
    )


def _jobs(check: FitCheck) -> Any:
    """What each job burned against its forecast by the others: range, middle, and the rods themselves."""
    import altair as alt

    table = pd.DataFrame(
        [
            {
                "name": f"{job.job} (n = {job.tallies_before})",
                "low": job.p10 / job.actual_rods,
                "high": job.p90 / job.actual_rods,
                "middle": job.p50 / job.actual_rods,
                "held": "range holds" if job.p10 <= job.actual_rods <= job.p90 else "range misses",
            }
            for job in check.jobs
        ]
    )
    ends = [0.95 * min(1.0, float(table["low"].min())), 1.05 * max(1.0, float(table["high"].max()))]
    scale = alt.Scale(type="log", domain=ends, nice=False)
    ticks = [
        at
        for at in (0.25, 0.33, 0.5, 0.6, 0.7, 0.8, 0.9, 1, 1.1, 1.25, 1.5, 1.75, 2, 2.5, 3, 4)
        if ends[0] <= at <= ends[1]
    ]
    base = alt.Chart(table).encode(
        y=alt.Y("name:N", sort=None, title=None, axis=alt.Axis(labelLimit=260, grid=False))
    )
    spans = base.mark_rule(color=BLACK, strokeWidth=1.5).encode(
        x=alt.X(
            "low:Q",
            scale=scale,
            title="forecast over rods burned, 80 % range (n in tallies)",
            axis=alt.Axis(values=ticks, format=".2~f"),
        ),
        x2="high:Q",
    )
    dots = base.mark_point(size=60, color=BLACK, fill="white", opacity=1).encode(
        x=alt.X("middle:Q", scale=scale),
        shape=alt.Shape(
            "held:N", title=None, scale=alt.Scale(domain=["range holds", "range misses"], range=["circle", "diamond"])
        ),
    )
    return themed(
        alt.layer(line_at(1.0, scale=scale), spans, dots),
        height=20 * len(table) + 10,
        description=jobs_finding(check),
    )
