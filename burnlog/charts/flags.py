"""Chart of the questions about the record: how far what was written lies outside what was expected."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd

from burnlog.analyses.consistency import Flag
from burnlog.analyses.flags import KINDS, FlagReview
from burnlog.charts.theme import BLACK, PALE, SHAPES, line_at, themed

__all__ = ["flag_charts", "outside_chart", "outside_finding"]

MOST_ROWS = 40


def flag_charts(review: FlagReview) -> dict[str, Any]:
    """The chart of the flags page, where any flag has an expected range to be drawn against."""
    return {"outside": outside_chart(review)} if len(_rows(review.flags)) else {}


def _rows(flags: Sequence[Flag]) -> pd.DataFrame:
    """Seen and the expected range, each over the end of the range that was passed; flags without one have none."""
    rows = []
    for number, flag in enumerate(flags, start=1):
        low, high, seen = flag.expected_low, flag.expected_high, flag.seen
        if seen is None or seen <= 0:
            continue
        if high is not None and high > 0 and seen > high:
            end = high
        elif low is not None and low > 0 and seen < low:
            end = low
        else:
            continue
        rows.append(
            {
                "name": f"{number} {flag.target}",
                "rule": flag.rule,
                "kind": flag.kind,
                "times": seen / end,
                "low": None if low is None or low <= 0 else low / end,
                "high": None if high is None else high / end,
            }
        )
    columns = ["name", "rule", "kind", "times", "low", "high"]
    return pd.DataFrame(rows[:MOST_ROWS], columns=columns)


def outside_finding(review: FlagReview) -> str:
    """What the chart shows, from the numbers."""
    rows = _rows(review.flags)
    count = len(review.flags)
    if rows.empty:
        return f"{count} questions; none has an expected range to be drawn against."
    up, down = int((rows["times"] > 1).sum()), int((rows["times"] < 1).sum())
    far = max(rows.to_dict("records"), key=lambda row: max(row["times"], 1 / row["times"]))
    return (
        f"{len(rows)} of {count} questions have an expected range: {up} lie above it, {down} below. Farthest out is "
        f"number {far['name']}, {far['rule']}: {far['times']:.2g} times the nearest end of the range."
    )


def outside_chart(review: FlagReview) -> Any:
    """What was written, in multiples of the nearest end of the expected range; the range as a bar, shape by kind."""
    import altair as alt

    rows = _rows(review.flags)
    ends = [0.9 * min(1.0, float(rows["times"].min())), 1.1 * max(1.0, float(rows["times"].max()))]
    known = rows[["low", "high"]].astype(float).stack().to_numpy()
    if len(known):
        ends = [min(ends[0], 0.9 * float(known.min())), max(ends[1], 1.1 * float(known.max()))]
    rows["low"] = rows["low"].astype(float).fillna(ends[0])
    rows["high"] = rows["high"].astype(float).fillna(ends[1])
    scale = alt.Scale(type="log", domain=ends, nice=False)
    kinds = [kind for kind in KINDS if kind in set(rows["kind"])]
    base = alt.Chart(rows).encode(
        y=alt.Y("name:N", sort=None, title=None, axis=alt.Axis(labelLimit=300, grid=False)),
    )
    bars = base.mark_bar(color=PALE, height=14).encode(
        x=alt.X(
            "low:Q",
            scale=scale,
            title=f"times the nearest end of the expected range (n = {len(rows)} questions; grey: expected)",
            axis=alt.Axis(values=[0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100], format="~g"),
        ),
        x2="high:Q",
    )
    dots = base.mark_point(size=90, color=BLACK, fill="white", opacity=1).encode(
        x=alt.X("times:Q", scale=scale),
        shape=alt.Shape("kind:N", title=None, scale=alt.Scale(domain=kinds, range=list(SHAPES[: len(kinds)]))),
        tooltip=["name:N", "rule:N", "times:Q"],
    )
    return themed(
        alt.layer(bars, line_at(1.0), dots), height=24 * len(rows) + 10, description=outside_finding(review)
    )
