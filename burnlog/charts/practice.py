"""Charts of practice, one setting at a time and people in code order: calls, every attempt, where the spread lies."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from burnlog.analyses.practice import Panel, PracticeReview
from burnlog.charts.amounts import length_unit
from burnlog.charts.theme import BLACK, GREY, PALE, WIDTH, dressed, line_at, themed

__all__ = [
    "attempts_chart",
    "attempts_finding",
    "calls_chart",
    "calls_finding",
    "key_of",
    "practice_charts",
    "road_chart",
    "road_finding",
    "split_chart",
    "split_finding",
]

COLUMNS = 5


def key_of(panel: Panel) -> str:
    """The part of an element id that names the setting."""
    return panel.setting.replace(" ", "_")


def practice_charts(review: PracticeReview, *, profile: str = "metric") -> dict[str, Any]:
    """Every chart of a practice page by its element id; no chart joins two settings."""
    charts = {}
    for panel in review.panels:
        key = key_of(panel)
        if any(person.calls.rate is not None for person in panel.people):
            charts[f"calls_{key}"] = calls_chart(panel)
        if len(_attempts(panel, profile)):
            charts[f"attempts_{key}"] = attempts_chart(panel, profile=profile)
            charts[f"road_{key}"] = road_chart(panel, profile=profile)
            if panel.split is not None:
                charts[f"split_{key}"] = split_chart(panel)
    return charts


def _attempts(panel: Panel, profile: str) -> pd.DataFrame:
    per = length_unit(profile).size
    counts = {person.code: person.counted for person in panel.people}
    rows = [
        {
            "person": attempt.person,
            "label": f"{attempt.person} (n = {counts.get(attempt.person, 0)})",
            "number": attempt.number,
            "rate": attempt.rods_per_m * per,
            "edge": attempt.edge or "not recorded",
            "day": attempt.day,
        }
        for attempt in panel.attempts
        if attempt.rods_per_m is not None
    ]
    made = pd.DataFrame(rows, columns=["person", "label", "number", "rate", "edge", "day"])
    return made.sort_values(["person", "number"], kind="stable").reset_index(drop=True)


def calls_finding(panel: Panel) -> str:
    """Calls and faults of the setting as a whole, from the numbers."""
    right = sum(person.calls.count for person in panel.people)
    made = sum(person.calls.exposure for person in panel.people)
    faults = sum(person.faults.count for person in panel.people)
    dives = sum(person.faults.exposure for person in panel.people)
    blank = sum(person.calls.blank for person in panel.people)
    out = f"{right} of {made:g} calls were made correctly; {faults} safety faults were written on {dives:g} dives."
    return out + (f" {blank} dives say nothing of calls." if blank else "")


def calls_chart(panel: Panel) -> Any:
    """Share of calls made correctly with its exact 95 % interval, one row a code."""
    import altair as alt

    rows = pd.DataFrame(
        [
            {
                "label": f"{person.code} (n = {person.calls.exposure:g})",
                "share": 100 * person.calls.rate,
                "low": 100 * (person.calls.low or 0.0),
                "high": 100 * (person.calls.high or 0.0),
            }
            for person in panel.people
            if person.calls.rate is not None
        ]
    )
    base = alt.Chart(rows).encode(y=alt.Y("label:N", sort=None, title=None, axis=alt.Axis(grid=False)))
    spans = base.mark_rule(color=BLACK, strokeWidth=1.5).encode(
        x=alt.X(
            "low:Q",
            title="calls made correctly, % (n in calls; bar: exact 95 % interval)",
            scale=alt.Scale(domain=[0, 100]),
            axis=alt.Axis(values=[0, 20, 40, 60, 80, 100]),
        ),
        x2="high:Q",
    )
    dots = base.mark_point(size=60, color=BLACK, fill="white", opacity=1).encode(x="share:Q")
    return themed(alt.layer(spans, dots), height=20 * len(rows) + 10, description=calls_finding(panel))


def attempts_finding(panel: Panel, profile: str) -> str:
    """How far the attempts spread, from the numbers."""
    per, length = length_unit(profile)
    rows = _attempts(panel, profile)
    out = f"{len(rows)} of {len(panel.attempts)} attempts have rods per {length}, "
    out += f"the middle one {rows['rate'].median():.2g}"
    if panel.middle_half is not None:
        low, high = (value * per for value in panel.middle_half)
        out += f"; half the attempts lay between {low:.2g} and {high:.2g}"
    return out + f"; the least and the most are {rows['rate'].min():.2g} and {rows['rate'].max():.2g}."


def attempts_chart(panel: Panel, *, profile: str = "metric") -> Any:
    """Every attempt as a dot, one row a code in code order, the class middle marked."""
    import altair as alt

    per, length = length_unit(profile)
    rows = _attempts(panel, profile)
    edges = [edge for edge in ("clean", "rough", "ragged", "not seen", "not recorded") if edge in set(rows["edge"])]
    shapes = {"clean": "circle", "rough": "square", "ragged": "triangle-up", "not seen": "diamond"}
    layers = []
    if panel.middle_half is not None:
        band = pd.DataFrame({"low": [panel.middle_half[0] * per], "high": [panel.middle_half[1] * per]})
        layers.append(alt.Chart(band).mark_rect(color=PALE, opacity=0.7).encode(x="low:Q", x2="high:Q"))
    middle = pd.DataFrame({"at": [float(rows["rate"].median())]})
    layers.append(alt.Chart(middle).mark_rule(color=BLACK, strokeDash=[6, 3]).encode(x="at:Q"))
    layers.append(
        alt.Chart(rows)
        .mark_point(size=60, color=BLACK, opacity=0.9, filled=False)
        .encode(
            x=alt.X(
                "rate:Q",
                title=f"rods per {length} (n in attempts; dashed: class middle, grey: middle half)",
                scale=alt.Scale(domain=[0, 1.08 * float(rows["rate"].max())]),
                axis=alt.Axis(tickCount=8),
            ),
            y=alt.Y("label:N", sort=None, title=None),
            yOffset=alt.YOffset("number:Q", scale=alt.Scale(domain=[-1, int(rows["number"].max()) + 2])),
            shape=alt.Shape(
                "edge:N",
                title="edge",
                scale=alt.Scale(domain=edges, range=[shapes.get(edge, "cross") for edge in edges]),
            ),
            tooltip=["person:N", "number:Q", "rate:Q", "edge:N", "day:N"],
        )
    )
    return themed(
        alt.layer(*layers),
        height=22 * rows["label"].nunique() + 10,
        description=attempts_finding(panel, profile),
    )


def split_finding(panel: Panel) -> str:
    """Where the spread lies, from the numbers; or why that cannot be said."""
    split = panel.split
    if split is None:
        return f"The spread is not split: {panel.why_no_split}."
    told = "over 500" if split.to_tell is None else str(split.to_tell)
    low = "over 500" if split.to_tell_low is None else str(split.to_tell_low)
    high = "over 500" if split.to_tell_high is None else str(split.to_tell_high)
    wide = (
        " The interval is wide: few people say little about it." if split.share_high - split.share_low > 0.3 else ""
    )
    return (
        f"{100 * split.between_share:.0f} % of the spread lies between people (80 % interval "
        f"{100 * split.share_low:.0f} to {100 * split.share_high:.0f} %; {split.people} people, {split.attempts} "
        f"attempts), the rest within a person.{wide} To tell two people 20 % apart takes {told} attempts each "
        f"({low} to {high})."
    )


def split_chart(panel: Panel) -> Any:
    """Two rows on one scale: each person's middle over the class middle, each attempt over the person's own."""
    import altair as alt

    rows = _attempts(panel, "metric")
    logs = np.log(rows["rate"])
    own = logs.groupby(rows["person"]).transform("mean")
    people = own.groupby(rows["person"]).first()
    between = np.exp(people - people.mean())
    repeated = rows["person"].map(rows["person"].value_counts()) > 1
    within = np.exp((logs - own)[repeated])
    dots = pd.DataFrame(
        {
            "row": [f"between people (n = {len(between)} people)"] * len(between)
            + [f"within a person (n = {len(within)} attempts)"] * len(within),
            "ratio": [*between, *within],
        }
    )
    dots["kind"] = ["person"] * len(between) + ["attempt"] * len(within)
    # equal ratios would hide each other: dots stand at one of seven heights, in order, which means nothing else
    dots["height"] = [*(place % 7 for place in range(len(between))), *(place % 7 for place in range(len(within)))]
    low, high = 0.95 * float(dots["ratio"].min()), 1.05 * float(dots["ratio"].max())
    marks = (
        alt.Chart(dots)
        .mark_point(size=70, color=BLACK, opacity=0.8, filled=False)
        .encode(
            x=alt.X(
                "ratio:Q",
                title="times the class middle, or times the person's own middle",
                scale=alt.Scale(type="log", domain=[low, high], nice=False),
                axis=alt.Axis(values=[0.25, 0.33, 0.5, 0.67, 0.8, 1, 1.25, 1.5, 2, 3, 4], format=".2~f"),
            ),
            y=alt.Y("row:N", sort=None, title=None, axis=alt.Axis(labelLimit=260)),
            yOffset=alt.YOffset("height:Q", scale=alt.Scale(domain=[-1, 7])),
            shape=alt.Shape(
                "kind:N", title=None, scale=alt.Scale(domain=["person", "attempt"], range=["diamond", "circle"])
            ),
        )
    )
    return themed(alt.layer(line_at(1.0), marks), height=116, description=split_finding(panel))


def road_finding(panel: Panel) -> str:
    """Who has a learning curve of his own, and how many have not, from the trends."""
    known = [trend for trend in panel.trends if trend.rate is not None]
    short = len(panel.trends) - len(known)
    said = "; ".join(trend.sentence() for trend in known)
    none = f"{short} of {len(panel.trends)} people have too few attempts for a trend (8 on one plate are needed)"
    if not known:
        return f"{none}: the lines below join attempts and claim nothing."
    return f"{said}." + (f" {none}." if short else "")


def road_chart(panel: Panel, *, profile: str = "metric") -> Any:
    """Attempts in order, a small panel for each person, all of one setting and on one scale."""
    import altair as alt

    name = f"rods per {length_unit(profile).name}"
    rows = _attempts(panel, profile)
    width = (WIDTH - 40) // COLUMNS - 39
    top = 1.1 * float(rows["rate"].max())
    last = max(2, int(rows["number"].max()))
    panels = []
    people = rows["person"].nunique()
    for place, (code, mine) in enumerate(rows.groupby("person")):
        base = alt.Chart(mine).encode(
            x=alt.X(
                "number:Q",
                title="attempt" if place + COLUMNS >= people else None,
                scale=alt.Scale(domain=[0.5, last + 0.5], nice=False),
                axis=alt.Axis(values=list(range(1, last + 1, max(1, last // 5))), format="d"),
            ),
            y=alt.Y(
                "rate:Q",
                title=name if place % COLUMNS == 0 else None,
                scale=alt.Scale(domain=[0, top]),
                axis=alt.Axis(tickCount=4),
            ),
        )
        layer = alt.layer(base.mark_line(color=GREY), base.mark_point(size=45, color=BLACK, fill="white", opacity=1))
        title = alt.TitleParams(f"{code} (n = {len(mine)})", limit=width + 26)
        panels.append(layer.properties(width=width, height=60, title=title))
    return dressed(alt.concat(*panels, columns=COLUMNS), description=road_finding(panel))
