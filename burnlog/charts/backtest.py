"""Charts of a backtest: what each job took against the range it would have been bid, and how often ranges held."""

from __future__ import annotations

from typing import Any

import pandas as pd

from burnlog.analyses.backtest import Backtest
from burnlog.charts.theme import BLACK, GREY, PALE, line_at, themed

__all__ = ["METHOD_NAMES", "backtest_charts", "held_chart", "held_finding", "jobs_chart", "jobs_finding"]

METHOD_NAMES = {
    "integrated": "this program's range",
    "plug_in": "mixed model, plug-in spreads",
    "job_t": "job ratios with t",
    "pooled": "pooled ratio, cuts apart",
    "rule": "rule of thumb",
}
"""What each method of a backtest is called."""
TICKS = [5, 10, 20, 30, 50, 70, 100, 150, 200, 300, 500, 700, 1000, 1500, 2000, 3000, 5000, 10000]


def backtest_charts(found: Backtest) -> dict[str, Any]:
    """Every chart of a backtest by its element id."""
    return {"jobs": jobs_chart(found), "held": held_chart(found)}


def jobs_finding(found: Backtest) -> str:
    """How many jobs lay inside, and which did not, from the numbers."""
    outside = [row.job for row in found.rows if not row.p10 <= row.actual_rods <= row.p90]
    seen = "earlier jobs" if found.forward else "all other jobs"
    out = (
        f"Each job forecast from {seen}: {len(found.rows) - len(outside)} of {len(found.rows)} lay inside the 80 % "
        "range it would have been bid at"
    )
    return out + (f"; outside: {', '.join(outside)}." if outside else ".")


def jobs_chart(found: Backtest) -> Any:
    """A bar from P10 to P90 for each job, its middle as a tick, what it really took as a mark, in order of time."""
    import altair as alt

    seen = "earlier tallies" if found.forward else "other tallies"
    rows = pd.DataFrame(
        [
            {
                "job": f"{row.job} (n = {row.tallies_before} {seen})",
                "low": row.p10,
                "middle": row.p50,
                "high": row.p90,
                "actual": row.actual_rods,
                "where": "inside" if row.p10 <= row.actual_rods <= row.p90 else "outside",
            }
            for row in found.rows
        ]
    )
    ends = [0.9 * float(rows[["low", "actual"]].min().min()), 1.1 * float(rows[["high", "actual"]].max().max())]
    scale = alt.Scale(type="log", domain=ends, nice=False)
    y = alt.Y("job:N", sort=None, title=None, axis=alt.Axis(labelLimit=300, grid=False))
    axis = alt.Axis(values=[at for at in TICKS if ends[0] <= at <= ends[1]])
    x = alt.X("low:Q", scale=scale, title="rods, whole job: bar P10 to P90, tick P50", axis=axis)
    base = alt.Chart(rows)
    bars = base.mark_bar(color=PALE, height=14).encode(y=y, x=x, x2="high:Q")
    ticks = base.mark_tick(color=GREY, thickness=2, size=14).encode(y=y, x=alt.X("middle:Q", scale=scale))
    marks = base.mark_point(color=BLACK, size=80, filled=True, opacity=1).encode(
        y=y,
        x=alt.X("actual:Q", scale=scale),
        shape=alt.Shape(
            "where:N",
            title="what it took",
            scale=alt.Scale(domain=["inside", "outside"], range=["circle", "triangle-up"]),
        ),
    )
    return themed(alt.layer(bars, ticks, marks), height=24 * len(rows) + 10, description=jobs_finding(found))


def _methods(found: Backtest) -> pd.DataFrame:
    return pd.DataFrame(
        [
            {
                "method": f"{METHOD_NAMES[name]} (n = {score.jobs} jobs)",
                "share": 100 * score.c80,
                "low": 100 * score.c80_low,
                "high": 100 * score.c80_high,
            }
            for name, score in found.methods.items()
            if score.c80 is not None and score.c80_low is not None and score.c80_high is not None
        ]
    )


def held_finding(found: Backtest) -> str:
    """How often each method's 80 % range held, and how little few jobs can tell, from the numbers."""
    rows = _methods(found)
    wide = float((rows["high"] - rows["low"]).max())
    said = "; ".join(f"{row['method'].split(' (')[0]} {row['share']:.0f} %" for row in rows.to_dict("records"))
    return (
        f"An 80 % range should hold 80 % of jobs. It held: {said}. The lines are exact 95 % intervals, up to "
        f"{wide:.0f} points wide: few jobs cannot tell good from fair."
    )


def held_chart(found: Backtest) -> Any:
    """Share of jobs inside each method's 80 % range, with its exact 95 % interval, against 80 %."""
    import altair as alt

    rows = _methods(found)
    scale = alt.Scale(domain=[0, 100])
    y = alt.Y("method:N", sort=None, title=None, axis=alt.Axis(labelLimit=320, grid=False))
    base = alt.Chart(rows)
    spans = base.mark_rule(color=BLACK, strokeWidth=2).encode(
        y=y, x=alt.X("low:Q", scale=scale, title="jobs inside the 80 % range, %"), x2="high:Q"
    )
    dots = base.mark_point(color=BLACK, size=80, fill="white", opacity=1).encode(y=y, x=alt.X("share:Q", scale=scale))
    return themed(
        alt.layer(line_at(80, scale=scale, dash=(6, 3)), spans, dots),
        height=34 * len(rows) + 10,
        description=held_finding(found),
    )
