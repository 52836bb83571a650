"""Charts beside the attempts: flowing pressure with the edges under it, and the lesson of two plates."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd

from burnlog.analyses.practice_pressure import PressureStrip
from burnlog.analyses.two_plates import Standing
from burnlog.charts.amounts import length_unit, pressure_unit, steel_unit
from burnlog.charts.theme import BLACK, GREY, WIDTH, dressed, themed
from burnlog.units import show

__all__ = ["plates_chart", "plates_finding", "pressure_chart", "pressure_finding"]

EDGES = {
    "clean": "circle",
    "rough": "square",
    "ragged": "triangle-up",
    "not seen": "diamond",
    "not recorded": "cross",
}


def pressure_finding(strip: PressureStrip, profile: str) -> str:
    """How the pressure lay and what the edges were on either side of its middle, from the numbers."""
    n = f"{len(strip.written)} of {strip.cuts} cuts"
    if strip.middle_kpa is None:
        return f"Flowing pressure is written on {n}: no strip."
    values = [cut.flowing_kpa for cut in strip.written]
    low, middle, high = (
        show(value, "pressure", profile, digits=3) for value in (min(values), strip.middle_kpa, max(values))
    )
    below, above = strip.ragged(low=True), strip.ragged(low=False)
    return (
        f"Flowing pressure is written on {n}: {low} to {high}, the middle one {middle}. Edges ragged on {below[0]} "
        f"of {below[1]} seen below the middle, on {above[0]} of {above[1]} at or above it: an association, not proof."
    )


def pressure_chart(strip: PressureStrip, *, profile: str = "metric") -> Any:
    """Flowing pressure in the order of the class, and under it the edge each of those cuts left."""
    import altair as alt

    size, unit = pressure_unit(profile)
    rows = pd.DataFrame(
        [
            {
                "place": cut.place,
                "at": cut.flowing_kpa / size,
                "edge": cut.edge,
                "cut": cut.cut,
                "person": cut.person,
            }
            for cut in strip.written
        ]
    )
    edges = [edge for edge in EDGES if edge in set(rows["edge"])]
    reach = alt.Scale(domain=[0, strip.cuts + 1], nice=False)
    shape = alt.Shape("edge:N", legend=None, scale=alt.Scale(domain=edges, range=[EDGES[edge] for edge in edges]))
    tips = ["cut:N", "person:N", "at:Q", "edge:N"]
    above = alt.Chart(rows).encode(
        x=alt.X("place:Q", scale=reach, title=None, axis=alt.Axis(labels=False, ticks=False)),
        y=alt.Y("at:Q", title=f"flowing, {unit}", scale=alt.Scale(zero=False)),
    )
    top = alt.layer(
        above.mark_line(color=GREY),
        above.mark_point(color=BLACK, fill="white", opacity=1, size=35).encode(tooltip=tips),
    ).properties(width=WIDTH - 110, height=120)
    under = (
        alt.Chart(rows)
        .mark_point(color=BLACK, opacity=0.9, size=45)
        .encode(
            x=alt.X(
                "place:Q",
                scale=reach,
                title=f"cuts in the order of the class (n = {len(rows)} with a pressure, of {strip.cuts})",
                axis=alt.Axis(tickMinStep=1),
            ),
            y=alt.Y("edge:N", sort=edges, title="edge"),
            shape=shape,
            tooltip=tips,
        )
        .properties(width=WIDTH - 110, height=22 * len(edges))
    )
    return dressed(alt.vconcat(top, under, spacing=6), description=pressure_finding(strip, profile))


def plates_finding(found: Sequence[Standing], profile: str) -> str:
    """What the raw ratios say and what equal steel says, from the numbers."""
    per, length = length_unit(profile)
    low, high = sorted(found, key=lambda it: it.raw_per_m)[:: len(found) - 1]
    more = 100 * (high.raw_per_m / low.raw_per_m - 1)
    held = ", ".join(f"{it.person} {it.observed_expected:.2f}" for it in found if it.observed_expected is not None)
    return (
        f"Over both plates {high.person} takes {high.raw_per_m * per:.2f} rods per {length} and {low.person} "
        f"{low.raw_per_m * per:.2f}, which reads as {more:.0f} % more. On each plate by itself {high.person} takes "
        f"fewer; rods over what the other one's rods lead one to expect are {held}. The plate was different, not "
        "the hand."
    )


def plates_chart(found: Sequence[Standing], *, profile: str = "metric") -> Any:
    """Rods over length of each person: over all, then plate by plate, with the length burned."""
    import altair as alt

    (per, length), (steel, unit) = length_unit(profile), steel_unit(profile)
    rows = []
    for it in found:
        rows.append({"row": "both plates together", "person": it.person, "rate": it.raw_per_m * per})
        for work in it.work:
            plate = f"plate {work.thickness_mm / steel:g} {unit} only"
            rows.append({"row": plate, "person": it.person, "rate": work.rods_per_m * per})
    table = pd.DataFrame(rows)
    base = alt.Chart(table).encode(
        x=alt.X(
            "rate:Q",
            title=f"rods per {length}",
            scale=alt.Scale(domain=[0, 1.15 * float(table["rate"].max())]),
            axis=alt.Axis(tickCount=6),
        ),
        y=alt.Y("row:N", sort=None, title=None, axis=alt.Axis(labelLimit=260)),
    )
    people = [it.person for it in found]
    dots = base.mark_point(size=110, color=BLACK, fill="white", opacity=1).encode(
        shape=alt.Shape("person:N", title="person", scale=alt.Scale(domain=people, range=["circle", "square"]))
    )
    names = base.mark_text(dy=-14, color=BLACK).encode(text="person:N")
    return themed(
        alt.layer(dots, names), height=54 * table["row"].nunique(), description=plates_finding(found, profile)
    )
