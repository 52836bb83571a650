"""Charts of the rates: how they grow with the steel, and what the conditions do to them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd

from burnlog.analyses.rate_curve import CurvePoint
from burnlog.analyses.rate_design import rod_levels
from burnlog.analyses.rates import Rates, Term
from burnlog.charts.amounts import length_unit, rods_named, steel_unit
from burnlog.charts.theme import BLACK, GREY, SHAPES, WIDTH, dressed, line_at, themed

__all__ = ["curve_chart", "curve_finding", "rate_charts", "terms_chart", "terms_finding"]

TICKS = (0.25, 0.35, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.1, 1.2, 1.35, 1.5, 1.75, 2.0, 2.5, 3.0, 4.0)


def rate_charts(found: Rates, curve: Sequence[CurvePoint], *, profile: str = "metric") -> dict[str, Any]:
    """Every chart of the rates page by its element id."""
    charts = {"curve": curve_chart(found, curve, profile=profile)}
    if found.rod_terms:
        charts["rod_terms"] = terms_chart(found.rod_terms, "rods", profile=profile)
    if found.time_terms:
        charts["time_terms"] = terms_chart(found.time_terms, "minutes per rod", profile=profile)
    return charts


def _points(found: Rates, profile: str) -> pd.DataFrame:
    """The tallies of known thickness and rods, in the profile's units."""
    per, steel = length_unit(profile).size, steel_unit(profile).size
    if found.fit is None:
        rows = [each for each in found.listed if each.thickness_mm is not None and each.length_m > 0]
        return pd.DataFrame(
            {
                "thickness": [(each.thickness_mm or 0.0) / steel for each in rows],
                "rate": [each.rods / each.length_m * per for each in rows],
                "rods": ["every rod"] * len(rows),
                "tally": [each.ref for each in rows],
            }
        )
    tallies = found.fit.tallyset.tallies
    known = tallies.assign(level=rod_levels(found.fit.tallyset))
    known = known[known["thickness_mm"].notna() & known["level"].notna()]
    return pd.DataFrame(
        {
            "thickness": known["thickness_mm"].to_numpy() / steel,
            "rate": (known["rods"] / known["new_length_m"]).to_numpy() * per,
            "rods": [rods_named(level, profile) for level in known["level"]],
            "tally": known["ref"].to_numpy(),
        }
    )


def curve_finding(found: Rates, curve: Sequence[CurvePoint], profile: str) -> str:
    """What the curve shows, from the numbers."""
    (per, length), (steel, unit) = length_unit(profile), steel_unit(profile)
    dots = _points(found, profile)
    if not curve:
        return f"{len(dots)} tallies by thickness. No curve is drawn: {found.why_no_fit or 'too few jobs for one'}."
    model = found.as_json()["rods"]["model"]
    said = [f"Twice the steel takes {2 ** model['exponent']:.2g} times the rods."]
    for level in dict.fromkeys(point.rods for point in curve):
        mine = [point for point in curve if point.rods == level]
        at = max(mine, key=lambda point: point.tallies)
        said.append(
            f"{rods_named(level, profile).capitalize()} on {at.thickness_mm / steel:.2g} {unit}: half of such lines "
            f"under {at.middle * per:.2g} rods per {length}, eight in ten between {at.low * per:.2g} and "
            f"{at.high * per:.2g} ({at.tallies} tallies, {at.jobs} jobs)."
        )
    return " ".join(said)


def curve_chart(found: Rates, curve: Sequence[CurvePoint], *, profile: str = "metric") -> Any:
    """Rods over length against thickness, a panel for each rod: tallies as marks, median solid, range dashed."""
    import altair as alt

    (per, length), (steel, unit) = length_unit(profile), steel_unit(profile)
    dots = _points(found, profile)
    lines = pd.DataFrame(
        [
            {
                "rods": rods_named(point.rods, profile),
                "thickness": point.thickness_mm / steel,
                "middle": point.middle * per,
                "low": point.low * per,
                "high": point.high * per,
            }
            for point in curve
        ],
        columns=["rods", "thickness", "middle", "low", "high"],
    )
    levels = sorted(set(dots["rods"]))
    columns = min(3, max(1, len(levels)))
    low, high = 0.97 * dots["thickness"].min(), 1.03 * dots["thickness"].max()
    y = alt.Scale(type="log", domain=[0.9 * dots["rate"].min(), 1.1 * dots["rate"].max()])
    panels = []
    for place, level in enumerate(levels):
        own, line = dots[dots["rods"] == level], lines[lines["rods"] == level]
        x = alt.X("thickness:Q", title=f"thickness, {unit} (n = {len(own)})", scale=alt.Scale(domain=[low, high]))
        axis = alt.Axis(title=f"rods per {length}" if place % columns == 0 else None)
        marks = (
            alt.Chart(own)
            .mark_point(shape=SHAPES[place % len(SHAPES)], size=26, color=GREY, opacity=0.7, filled=False)
            .encode(x=x, y=alt.Y("rate:Q", scale=y, axis=axis), tooltip=["tally:N", "thickness:Q", "rate:Q"])
        )
        layers = [marks]
        if len(line):
            base = alt.Chart(line).encode(x=x)
            layers += [
                base.mark_line(color=BLACK, strokeWidth=2.5).encode(y=alt.Y("middle:Q", scale=y, axis=axis)),
                base.mark_line(color=BLACK, strokeDash=[6, 3]).encode(y=alt.Y("low:Q", scale=y, axis=axis)),
                base.mark_line(color=BLACK, strokeDash=[6, 3]).encode(y=alt.Y("high:Q", scale=y, axis=axis)),
            ]
        title = alt.TitleParams(level)
        panels.append(alt.layer(*layers).properties(width=(WIDTH - 20) // columns - 40, height=260, title=title))
    return dressed(alt.concat(*panels, columns=columns), description=curve_finding(found, curve, profile))


def terms_finding(terms: Sequence[Term], what: str, *, profile: str = "metric") -> str:
    """Which conditions stand clear of their usual level, from the numbers."""
    clear = [term for term in terms if term.low > 1.0 or term.high < 1.0]
    said = ", ".join(f"{rods_named(term.level, profile)} x {term.factor:.2f}" for term in clear)
    if not clear:
        return f"No condition's 80 % range for {what} leaves out 1, of {len(terms)} looked at."
    several = "ranges leave" if len(clear) > 1 else "range leaves"
    chance = "" if len(terms) < 5 else f" About {0.2 * len(terms):.0f} would by chance alone if none did anything."
    return f"For {what}, {len(clear)} of {len(terms)} 80 % {several} out 1: {said}.{chance}"


def terms_chart(terms: Sequence[Term], what: str, *, profile: str = "metric") -> Any:
    """A dot and its 80 % range for each condition, against its usual level at 1."""
    import altair as alt

    rows = pd.DataFrame(
        [
            {
                "name": f"{term.term}: {rods_named(term.level, profile)} (n = {term.tallies})",
                "factor": term.factor,
                "low": term.low,
                "high": term.high,
                "clear": "leaves out 1" if term.low > 1.0 or term.high < 1.0 else "holds 1",
                "against": rods_named(term.against, profile),
            }
            for term in terms
        ]
    )
    ends = (0.95 * min(rows["low"].min(), 1.0), 1.05 * max(rows["high"].max(), 1.0))
    x = alt.Scale(type="log", domain=list(ends), nice=False)
    ticks = [at for at in TICKS if ends[0] <= at <= ends[1]]
    base = alt.Chart(rows).encode(
        y=alt.Y("name:N", sort=None, title=None, axis=alt.Axis(labelLimit=320, grid=False)),
    )
    spans = base.mark_rule(color=BLACK, strokeWidth=1.5).encode(
        x=alt.X(
            "low:Q",
            scale=x,
            title=f"times the {what} of the usual level (n in tallies)",
            axis=alt.Axis(values=ticks, format=".2~f"),
        ),
        x2="high:Q",
    )
    dots = base.mark_point(size=70, color=BLACK, fill="white", opacity=1).encode(
        x=alt.X("factor:Q", scale=x),
        shape=alt.Shape(
            "clear:N",
            title="80 % range",
            scale=alt.Scale(domain=["leaves out 1", "holds 1"], range=["diamond", "circle"]),
        ),
        tooltip=["name:N", "against:N", "factor:Q", "low:Q", "high:Q"],
    )
    chart = alt.layer(line_at(1.0), spans, dots)
    return themed(chart, height=24 * len(rows) + 10, description=terms_finding(terms, what, profile=profile))
