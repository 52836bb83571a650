"""Chart of one day: what the lines came to, and what the waits were."""

from __future__ import annotations

from typing import Any

import pandas as pd

from burnlog.analyses.day import Day
from burnlog.charts.theme import BLACK, PALE, themed

__all__ = ["day_charts", "lines_chart", "lines_finding", "waits_chart", "waits_finding"]


def day_charts(day: Day) -> dict[str, Any]:
    """Every chart of a day's page by its element id; a day without lines or waits has none of that chart."""
    charts = {}
    if day.lines_through + day.lines_hanging + day.lines_part:
        charts["lines"] = lines_chart(day)
    if day.stoppages:
        charts["waits"] = waits_chart(day)
    return charts


def lines_finding(day: Day) -> str:
    """What the lines came to, from the numbers."""
    whole = day.lines_through + day.lines_hanging + day.lines_part
    return (
        f"Lines worked on: {whole}. Through {day.lines_through}, hanging on a bit of steel {day.lines_hanging}, "
        f"not done or not known {day.lines_part}."
    )


def lines_chart(day: Day) -> Any:
    """Lines by how their last cut of the day ended."""
    rows = pd.DataFrame(
        {
            "state": ["through", "through with hangers", "not done or not known"],
            "lines": [day.lines_through, day.lines_hanging, day.lines_part],
        }
    )
    rows["text"] = rows["lines"].astype(str)
    whole = int(rows["lines"].sum())
    return _bars(rows, "state", "lines", f"lines (n = {whole} worked on)", lines_finding(day))


def waits_finding(day: Day) -> str:
    """What the waits were, from the numbers."""
    total = sum(seconds for _, _, seconds in day.stoppages)
    word, count, seconds = day.stoppages[0]
    times = f"{count} time{'' if count == 1 else 's'}"
    return f"{total / 60:.0f} min of waits were written; the longest sum is {word}, {seconds / 60:.0f} min, {times}."


def waits_chart(day: Day) -> Any:
    """Minutes of waits by cause."""
    rows = pd.DataFrame(
        [
            {"cause": f"{word} (n = {count})", "minutes": seconds / 60, "text": f"{seconds / 60:.0f} min"}
            for word, count, seconds in day.stoppages
        ]
    )
    return _bars(rows, "cause", "minutes", "minutes, where written (n in waits)", waits_finding(day))


def _bars(rows: pd.DataFrame, name: str, amount: str, title: str, finding: str) -> Any:
    import altair as alt

    base = alt.Chart(rows).encode(
        y=alt.Y(f"{name}:N", sort=None, title=None, axis=alt.Axis(labelLimit=260, grid=False))
    )
    top = max(1.0, 1.15 * float(rows[amount].max()))
    bars = base.mark_bar(color=PALE, stroke=BLACK, height=18).encode(
        x=alt.X(f"{amount}:Q", title=title, scale=alt.Scale(domain=[0, top]), axis=alt.Axis(tickMinStep=1))
    )
    names = base.mark_text(align="left", dx=4, color=BLACK).encode(x=f"{amount}:Q", text="text:N")
    return themed(alt.layer(bars, names), height=28 * len(rows) + 10, description=finding)
