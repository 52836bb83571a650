"""One look for every chart: ten-point type, no colour that says anything alone, marks a copier keeps apart.

A chart is an altair chart; `spec` gives it as a plain dict (what tests read), `svg` and `png` as a file's content,
without a network.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

__all__ = [
    "BLACK",
    "DASHES",
    "FONT",
    "GREY",
    "PALE",
    "SHAPES",
    "WIDTH",
    "dressed",
    "line_at",
    "plain",
    "png",
    "spec",
    "svg",
    "themed",
]

WIDTH = 680
"""Of a whole chart with its labels [px]: what fits between the margins of A4 at full size."""
FONT = 14
"""[px], 10.5 pt on paper."""
BLACK, GREY, PALE = "#111111", "#767676", "#d9d9d9"
SHAPES = ("circle", "square", "triangle-up", "diamond", "cross", "triangle-down")
DASHES: tuple[Sequence[int], ...] = ((1, 0), (6, 3), (2, 2), (8, 3, 2, 3))


def themed(chart: Any, *, height: int, description: str) -> Any:
    """A chart in the project's look.

    Parameters
    ----------
    chart : altair chart
    height : int
        [px].
    description : str
        The finding in words, for a screen reader.
    """
    import altair as alt

    fit = alt.AutoSizeParams(type="fit-x", contains="padding")
    return dressed(chart.properties(width=WIDTH, height=height, autosize=fit), description=description)


def dressed(chart: Any, *, description: str) -> Any:
    """The project's look on a chart that has its size already, such as one of several panels."""
    return (
        chart.properties(description=description)
        .configure_view(stroke=None)
        .configure_title(fontSize=FONT, anchor="start")
        .configure_axis(
            labelFontSize=FONT,
            titleFontSize=FONT,
            gridColor="#e6e6e6",
            domainColor=BLACK,
            labelColor=BLACK,
            titleColor=BLACK,
        )
        .configure_legend(
            labelFontSize=FONT, titleFontSize=FONT, symbolSize=90, orient="top", labelLimit=300, titleLimit=WIDTH
        )
        .configure_text(fontSize=FONT)
        .configure_header(labelFontSize=FONT, titleFontSize=FONT, labelColor=BLACK)
    )


def line_at(value: float, *, scale: Any = None, dash: Sequence[int] = (4, 3)) -> Any:
    """A grey line across a chart at a value of its x axis: what the marks are to be held against.

    `scale` is the axis's own where the chart has set one.
    """
    import altair as alt
    import pandas as pd

    x = alt.X("at:Q") if scale is None else alt.X("at:Q", scale=scale)
    return alt.Chart(pd.DataFrame({"at": [value]})).mark_rule(color=GREY, strokeDash=list(dash)).encode(x=x)


def plain(value: Any) -> Any:
    """Text to look at: a character that turns the order of letters, or that no drawing holds, shows as its number.

    Examples
    --------
    >>> plain("\\u202etrebor")
    '[U+202E]trebor'
    """
    if not isinstance(value, str) or hasattr(value, "__html__"):
        return value
    return value.translate(_SHOWN)


_SHOWN = {
    code: f"[U+{code:04X}]"
    for code in (*range(9), 0x0B, *range(0x0E, 0x20), 0x7F, *range(0x202A, 0x202F), *range(0x2066, 0x206A))
}


def spec(chart: Any) -> dict[str, Any]:
    """The chart as a Vega-Lite dict, its texts plain."""
    made: dict[str, Any] = _plain_within(chart.to_dict())
    return made


def _plain_within(value: Any) -> Any:
    """The same for every text of a chart."""
    if isinstance(value, Mapping):
        return {key: _plain_within(each) for key, each in value.items()}
    if isinstance(value, list):
        return [_plain_within(each) for each in value]
    return plain(value)


def svg(chart: Any) -> str:
    """The chart as SVG text."""
    import vl_convert

    made: str = vl_convert.vegalite_to_svg(json.dumps(spec(chart)))
    return made


def png(chart: Any, *, scale: float = 2.0) -> bytes:
    """The chart as the bytes of a PNG."""
    import vl_convert

    made: bytes = vl_convert.vegalite_to_png(json.dumps(spec(chart)), scale=scale)
    return made
