"""Charts of oxygen sag: one dive's readings against its rig's usual drop, with the cuts burned under them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from burnlog.analyses.pressure import SINGLE
from burnlog.analyses.sag import SURE_Z, SagDive, SagReview
from burnlog.charts.amounts import pressure_unit
from burnlog.charts.theme import BLACK, DASHES, GREY, PALE, WIDTH, dressed
from burnlog.units import show

__all__ = ["MOST_STRIPS", "CutMarks", "sag_charts", "strip_chart", "strip_finding", "with_strips"]

MOST_STRIPS = 8
SHOWN_LIMITS = 4

CutMarks = Mapping[str, tuple[str, str]]
"""Short name and edge of each cut, by its id."""


def with_strips(review: SagReview) -> tuple[SagDive, ...]:
    """Dives with readings that raise a question, the likely before the possible, the highest drop first; a few."""
    asked = [d for d in review.dives if d.evidence in ("likely", "possible") and d.pressure.baseline is not None]
    asked.sort(key=lambda d: (d.evidence != "likely", -float(d.pressure.z.max())))
    return tuple(asked[:MOST_STRIPS])


def sag_charts(review: SagReview, cuts: CutMarks, *, profile: str = "metric") -> dict[str, Any]:
    """A strip for each dive that raises a question by its readings, by element id."""
    return {
        f"strip{place + 1}": strip_chart(dive, cuts, profile=profile)
        for place, dive in enumerate(with_strips(review))
    }


def strip_finding(dive: SagDive, profile: str) -> str:
    """What a strip shows, from the numbers."""
    usual = dive.pressure.baseline
    said = f"{dive.dive}, rig {dive.rig or 'not recorded'}: sag {dive.evidence}."
    if usual is not None and dive.fall_kpa is not None:
        fall = show(dive.fall_kpa, "pressure", profile, digits=2)
        centre = show(usual.centre_kpa, "pressure", profile, digits=2)
        at = "" if dive.alarm_at is None else f" after {dive.alarm_at:g} rods"
        said += (
            f" The drop rose up to {fall} above this rig's usual {centre} ({usual.readings} readings on other "
            f"dives); a limit was passed{at}."
        )
    return (
        f"{said} Edges ragged on {dive.ragged} of {dive.edges_seen} seen: grey with a dashed rim under the readings."
    )


def _places(dive: SagDive) -> tuple[np.ndarray[Any, np.dtype[np.float64]], str]:
    """Where each reading stands along the bottom: after how many rods, else simply in order."""
    rods = dive.pressure.after_rod
    n = len(dive.pressure.drop_kpa)
    if n and np.isfinite(rods).all() and np.all(np.diff(rods) > 0):
        return rods.astype(float), f"rods burned in the dive (n = {n} readings)"
    return np.arange(1.0, n + 1.0), f"reading in order (n = {n})"


def strip_chart(dive: SagDive, cuts: CutMarks, *, profile: str = "metric") -> Any:
    """Drop against its limits, the cumulative sum against its own, and the cuts beneath, on one axis.

    Parameters
    ----------
    dive : SagDive
        With a baseline.
    cuts : mapping of cut id to (short name, edge)
    profile : str
        ``us`` or ``metric``.
    """
    import altair as alt

    it = dive.pressure
    if it.baseline is None:
        raise ValueError(f"{dive.dive} has no baseline to be drawn against")
    size, unit = pressure_unit(profile)
    at, title = _places(dive)
    centre, spread = it.baseline.centre_kpa / size, it.baseline.spread_kpa / size
    rows = pd.DataFrame({"at": at, "drop": it.drop_kpa / size, "sum": it.cusum})
    rows["mark"] = "reading"
    if it.alarm is not None:
        rows.loc[it.alarm, "mark"] = "limit passed"
    limits = {"usual for this rig": centre}
    if it.method == "per cut":  # row by row readings are held against the sum alone
        limits["limit of one reading"] = centre + SINGLE * spread
    limits[f"{SURE_Z:g} spreads above"] = centre + SURE_Z * spread
    levels = pd.DataFrame({"level": list(limits.values()), "limit": list(limits)})
    x_scale = alt.Scale(domain=[float(at.min()) - 0.7, float(at.max()) + 0.7], nice=False, padding=0)

    def x(title: str | None, *, labels: bool) -> Any:
        return alt.X("at:Q", scale=x_scale, title=title, axis=alt.Axis(labels=labels, ticks=labels, tickMinStep=1))

    y = alt.Y("drop:Q", title=f"drop, {unit}", scale=alt.Scale(zero=True))
    shape = alt.Shape(
        "mark:N",
        title=None,
        scale=alt.Scale(domain=["reading", "limit passed"], range=["circle", "diamond"]),
        legend=alt.Legend(title=None),
    )
    line = alt.Chart(rows).mark_line(color=BLACK, strokeWidth=1.5).encode(x=x(None, labels=False), y=y)
    dots = (
        alt.Chart(rows)
        .mark_point(color=BLACK, fill="white", opacity=1)
        .encode(
            x=x(None, labels=False),
            y=y,
            shape=shape,
            size=alt.condition("datum.mark == 'limit passed'", alt.value(170), alt.value(40)),
        )
    )
    rules = (
        alt.Chart(levels)
        .mark_rule(color=BLACK)
        .encode(
            y="level:Q",
            strokeDash=alt.StrokeDash(
                "limit:N",
                title=None,
                sort=None,
                legend=alt.Legend(symbolSize=700, symbolStrokeWidth=1.5),
                scale=alt.Scale(domain=list(limits), range=[list(dash) for dash in DASHES[: len(limits)]]),
            ),
        )
    )
    drop = alt.layer(rules, line, dots).properties(width=WIDTH - 60, height=150)
    sums = alt.Chart(rows).mark_bar(color=PALE, stroke=GREY, width=7).encode(
        x=x(title if not _spans(dive, at, cuts) else None, labels=not _spans(dive, at, cuts)),
        # the sum runs on after the limit; how far says nothing, and would hide the limit
        y=alt.Y("sum:Q", title=["rise,", "summed"], scale=alt.Scale(domain=[0, SHOWN_LIMITS * it.h], clamp=True)),
    )  # fmt: skip
    at_h = alt.Chart(pd.DataFrame({"h": [it.h], "text": ["limit"]}))
    limit = at_h.mark_rule(color=BLACK, strokeDash=[6, 3]).encode(y="h:Q")
    word = at_h.mark_text(align="left", dx=4, dy=-6, color=BLACK).encode(y="h:Q", x=alt.value(0), text="text:N")
    panels = [drop, alt.layer(sums, limit, word).properties(width=WIDTH - 60, height=60)]
    spans = _spans(dive, at, cuts)
    if spans:
        panels.append(_cut_panel(spans, x_scale, title))
    return dressed(
        alt.vconcat(*panels, spacing=4).resolve_legend(strokeDash="shared", shape="shared"),
        description=strip_finding(dive, profile),
    )


def _spans(dive: SagDive, at: np.ndarray[Any, np.dtype[np.float64]], cuts: CutMarks) -> list[dict[str, float | str]]:
    """First and last reading in each cut whose cut is known."""
    found: dict[str, list[float]] = {}
    for place, cut in zip(at.tolist(), dive.pressure.cut_ids, strict=True):
        if cut is not None and cut in cuts:
            found.setdefault(cut, []).append(place)
    return [
        {
            "start": min(places) - 0.45,
            "end": max(places) + 0.45,
            "name": cuts[cut][0],
            "edge": cuts[cut][1],
            "text": f"cut {cuts[cut][0].rsplit('.', 1)[-1]}",
        }
        for cut, places in found.items()
    ]


def _cut_panel(spans: Sequence[Mapping[str, float | str]], scale: Any, title: str) -> Any:
    import altair as alt

    rows = pd.DataFrame(spans)
    rows["middle"] = (rows["start"] + rows["end"]) / 2
    rows["row"] = [f"cuts {'a' if place % 2 == 0 else 'b'}" for place in range(len(rows))]
    y = alt.Y("row:N", axis=None)
    bars = (
        alt.Chart(rows)
        .mark_bar(stroke=BLACK, height=18)
        .encode(
            x=alt.X("start:Q", scale=scale, title=title, axis=alt.Axis(tickMinStep=1)),
            x2="end:Q",
            y=y,
            color=alt.condition("datum.edge == 'ragged'", alt.value(PALE), alt.value("white")),
            strokeDash=alt.condition("datum.edge == 'ragged'", alt.value([4, 2]), alt.value([1, 0])),
            tooltip=["name:N", "edge:N"],
        )
    )
    names = alt.Chart(rows).mark_text(color=BLACK).encode(x=alt.X("middle:Q", scale=scale), y=y, text="text:N")
    return alt.layer(bars, names).properties(width=WIDTH - 60, height=48)
