"""Charts of a bid: what the history looks like at this steel, how the total spreads, what drives the range."""

from __future__ import annotations

from string import ascii_uppercase
from typing import Any

import numpy as np
import pandas as pd

from burnlog.analyses.estimate import Estimate, spread_of
from burnlog.charts.amounts import length_unit, steel_unit
from burnlog.charts.theme import BLACK, FONT, GREY, PALE, SHAPES, WIDTH, themed

__all__ = [
    "bid_charts",
    "drivers_chart",
    "history_chart",
    "history_finding",
    "jobs_finding",
    "total_chart",
    "total_finding",
]

HEIGHT = 142
"""Of the history [px]: what the second printed page leaves."""
TICKS = (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100)
DOTS = 100
MOST_JOBS = 20
"""Jobs above which they are not named one by one, nor drawn as letters in the history."""


def bid_charts(made: Estimate, *, profile: str = "metric") -> dict[str, Any]:
    """Every chart of a bid's page by its element id."""
    return {
        "history": history_chart(made, profile=profile),
        "total": total_chart(made),
        "drivers": drivers_chart(made),
    }


def _history(made: Estimate, profile: str) -> pd.DataFrame:
    per, steel = length_unit(profile).size, steel_unit(profile).size
    tallies = made.basis.tallyset.tallies
    tallies = tallies[tallies["thickness_mm"].notna()]
    return pd.DataFrame(
        {
            "thickness": tallies["thickness_mm"].to_numpy() / steel,
            "rate": (tallies["rods"] / tallies["new_length_m"]).to_numpy() * per,
            "family": tallies["family"].fillna("not recorded").to_numpy(),
            "job": tallies["job"].to_numpy(),
        }
    )


def _jobs(made: Estimate, profile: str) -> pd.DataFrame:
    """Each job in code order: its letter, its ratio of sums, and the mean of its steel by length."""
    per, steel = length_unit(profile).size, steel_unit(profile).size
    rows = []
    for place, (job, mine) in enumerate(made.basis.tallyset.tallies.groupby("job")):
        known = mine[mine["thickness_mm"].notna()]
        length = known["new_length_m"]
        rows.append(
            {
                "job": str(job),
                "letter": ascii_uppercase[place] if place < MOST_JOBS else "",
                "rate": float(mine["rods"].sum() / mine["new_length_m"].sum()) * per,
                "thickness": float((known["thickness_mm"] * length).sum() / length.sum()) / steel
                if len(known)
                else None,
            }
        )
    return pd.DataFrame(rows)


def _apart(jobs: pd.DataFrame, steel: tuple[float, float], rates: tuple[float, float]) -> pd.DataFrame:
    """The jobs with those letters moved along the steel that would stand on another one."""
    px_per_steel, px_per_log = (WIDTH - 90) / (steel[1] - steel[0]), HEIGHT / np.log(rates[1] / rates[0])
    placed: list[tuple[float, float]] = []
    for thickness, rate in jobs[["thickness", "rate"]].sort_values("thickness").itertuples(index=False):
        x, y = px_per_steel * (thickness - steel[0]), px_per_log * np.log(rate)
        while any(abs(x - a) < FONT and abs(y - b) < FONT for a, b in placed):
            x += 1.0
        placed.append((x, y))
    return jobs.sort_values("thickness").assign(thickness=[steel[0] + x / px_per_steel for x, _ in placed])


def history_finding(made: Estimate, profile: str) -> str:
    """What the history chart shows, from the numbers."""
    (per, length), (steel, unit) = length_unit(profile), steel_unit(profile)
    rows = _history(made, profile)
    low, high = rows["rate"].quantile(0.25), rows["rate"].quantile(0.75)
    thick = [item.thickness_mm / steel for item in made.takeoff.items]
    wanted = f"{min(thick):.3g} to {max(thick):.3g} {unit}" if len(thick) > 1 else f"{thick[0]:.3g} {unit}"
    return (
        f"Half of {len(rows)} tallies lay between {low:.2g} and {high:.2g} rods per {length}; the ratio of sums is "
        f"{made.ratio.rods_per_m * per:.2g}. This bid asks for {wanted}; {rows['thickness'].min():.3g} to "
        f"{rows['thickness'].max():.3g} {unit} were logged."
    )


def jobs_finding(made: Estimate, profile: str) -> str:
    """How far apart the jobs lie: the ratio of sums of each, or where there are many, of the lowest and highest."""
    jobs = _jobs(made, profile)
    low, high = jobs["rate"].min(), jobs["rate"].max()
    said = f"{len(jobs)} jobs, {low:.2f} to {high:.2f} rods per {length_unit(profile).name} on the steel each had"
    if len(jobs) > MOST_JOBS:
        return f"{said}."
    named = (f"{row['letter']} {row['job']} {row['rate']:.2f}" for row in jobs.to_dict("records"))
    return f"{said}, by letter: {', '.join(named)}."


def history_chart(made: Estimate, *, profile: str = "metric") -> Any:
    """Rods over length against thickness: a mark a tally, shape by family; a letter a job; the bid's steel dashed."""
    import altair as alt

    steel, unit = steel_unit(profile)
    rows = _history(made, profile)
    bars = pd.DataFrame(
        {
            "thickness": [item.thickness_mm / steel for item in made.takeoff.items],
            "item": [item.item for item in made.takeoff.items],
        }
    )
    logged = rows["thickness"].min(), rows["thickness"].max()
    wanted = bars["thickness"].min(), bars["thickness"].max()
    edge = 0.04 * (max(logged[1], wanted[1]) - min(logged[0], wanted[0]))
    low, high = min(logged[0], wanted[0]) - edge, max(logged[1], wanted[1]) + edge
    never = pd.DataFrame({"from": [low, logged[1]], "to": [logged[0], high]})
    families = sorted(rows["family"].unique())
    scale = alt.Scale(domain=[low, high], nice=False)
    ends = 0.8 * float(rows["rate"].min()), 1.25 * float(rows["rate"].max())
    rates = alt.Scale(type="log", domain=list(ends), nice=False)
    ground = alt.Chart(never).mark_rect(color=PALE).encode(x=alt.X("from:Q", scale=scale), x2="to:Q")
    rule = (
        alt.Chart(bars)
        .mark_rule(color=GREY, strokeDash=[6, 3], strokeWidth=2)
        .encode(x=alt.X("thickness:Q", scale=scale), tooltip=["item:N"])
    )
    marks = (
        alt.Chart(rows)
        .mark_point(filled=False, size=45, color=GREY, opacity=0.75)
        .encode(
            x=alt.X(
                "thickness:Q", title=f"thickness, {unit} (n = {len(rows)} tallies; grey: never logged)", scale=scale
            ),
            y=alt.Y(
                "rate:Q",
                title=f"rods per {length_unit(profile).name}",
                scale=rates,
                axis=alt.Axis(values=[at for at in TICKS if ends[0] <= at <= ends[1]]),
            ),
            shape=alt.Shape(
                "family:N",
                scale=alt.Scale(domain=families, range=list(SHAPES[: len(families)])),
                legend=alt.Legend(orient="bottom-right", title=None, fillColor="white"),
            ),
            tooltip=[
                "job:N",
                "family:N",
                alt.Tooltip("thickness:Q", format=".3g"),
                alt.Tooltip("rate:Q", format=".3g"),
            ],
        )
    )
    layers = [ground, rule, marks]
    jobs = _jobs(made, profile)
    if len(jobs) <= MOST_JOBS:
        jobs = _apart(jobs.dropna(subset=["thickness"]), (low, high), ends)
        at = alt.Chart(jobs).encode(
            x=alt.X("thickness:Q", scale=scale),
            y=alt.Y("rate:Q", scale=rates),
            tooltip=["job:N", alt.Tooltip("rate:Q", format=".3g")],
        )
        patches = at.mark_square(color="white", size=FONT**2, opacity=0.8)
        layers += [patches, at.mark_text(color=BLACK, fontWeight="bold").encode(text="letter:N")]
    return themed(alt.layer(*layers), height=HEIGHT, description=history_finding(made, profile))


def total_finding(made: Estimate) -> str:
    """What the total chart shows, from the numbers."""
    rods = spread_of(made.rods)
    unit = "rods drawn" if made.rods_unit == "drawn" else "rod equivalents"
    return (
        f"Of {made.plan.draws:,} simulated jobs, eight in ten took {rods['p10']:.0f} to {rods['p90']:.0f} {unit}; "
        f"one in five took more than {rods['p80']:.0f}."
    )


def total_chart(made: Estimate) -> Any:
    """A hundred dots, each one in a hundred of the simulated totals, with P10, P50, P80 and P90 marked."""
    import altair as alt

    ordered = np.sort(made.rods)
    values = ordered[((np.arange(DOTS) + 0.5) / DOTS * len(ordered)).astype(int)]
    step = max(1.0, float(values[-3] - values[2]) / 28)
    column = np.floor(values / step)
    dots = pd.DataFrame({"rods": (column + 0.5) * step, "column": column})
    dots["height"] = dots.groupby("column").cumcount() + 0.5
    rods = spread_of(made.rods)
    lines = pd.DataFrame(
        [{"rods": rods[key], "name": f"{key.upper()} {rods[key]:.0f}"} for key in ("p10", "p50", "p80", "p90")]
    )
    top = float(dots["height"].max()) + 1.5
    lines["side"] = ["left", "right"] * 2
    lines["y"] = [top + 2.0 * (place % 2) for place in range(len(lines))]
    title = "rods drawn" if made.rods_unit == "drawn" else "rod equivalents"
    marks = (
        alt.Chart(dots)
        .mark_point(filled=True, size=70, color=GREY)
        .encode(
            x=alt.X(
                "rods:Q",
                title=f"{title}, whole job (each dot is 1 in {DOTS} of {made.plan.draws:,} simulated jobs)",
                scale=alt.Scale(zero=False),
            ),
            y=alt.Y("height:Q", axis=None, scale=alt.Scale(domain=[0, top + 3.2])),
        )
    )
    rules = alt.Chart(lines).mark_rule(color=BLACK, strokeWidth=1.5).encode(x="rods:Q")
    named = alt.Chart(lines).encode(x="rods:Q", y="y:Q", text="name:N")
    left = named.transform_filter("datum.side == 'left'").mark_text(align="right", dx=-4, color=BLACK)
    right = named.transform_filter("datum.side == 'right'").mark_text(align="left", dx=4, color=BLACK)
    return themed(alt.layer(marks, rules, left, right), height=130, description=total_finding(made))


DRIVER_NAMES = {
    "job": "job to job",
    "diver": "diver to diver",
    "burn": "burn to burn",
    "parameters": "what the history leaves open",
}


def drivers_chart(made: Estimate) -> Any:
    """Shares of the variance of the log of total rods."""
    import altair as alt

    rows = pd.DataFrame(
        {
            "driver": [DRIVER_NAMES[name] for name in made.drivers],
            "share": [100 * share for share in made.drivers.values()],
        }
    )
    rows["text"] = [f"{share:.0f} %" for share in rows["share"]]
    order = list(DRIVER_NAMES.values())
    base = alt.Chart(rows).encode(y=alt.Y("driver:N", sort=order, title=None, axis=alt.Axis(labelLimit=260)))
    bars = base.mark_bar(color=PALE, stroke=BLACK, height=12).encode(
        x=alt.X("share:Q", title="share of the spread of total rods, %", scale=alt.Scale(domain=[0, 100]))
    )
    names = base.mark_text(align="left", dx=4, color=BLACK).encode(x="share:Q", text="text:N")
    finding = max(made.drivers, key=lambda name: made.drivers[name])
    return themed(
        alt.layer(bars, names), height=80, description=f"Most of the spread comes from {DRIVER_NAMES[finding]}."
    )
