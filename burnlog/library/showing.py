"""Results shown from Python: as the command prints them, as charts with their finding above, and the cautions."""

from __future__ import annotations

import inspect
import textwrap
from importlib import import_module
from typing import Any

__all__ = ["cautions", "draw", "text"]

TITLE_WIDTH = 88

_TEXTS = {
    "Backtest": ("burnlog.reports.text_backtest", "backtest_text"),
    "CheckReport": ("burnlog.reports.text_record", "check_text"),
    "CrewReview": ("burnlog.reports.text_people", "crews_text"),
    "Estimate": ("burnlog.reports.text_plan", "estimate_text"),
    "EventReview": ("burnlog.reports.text_review", "events_text"),
    "FlagReview": ("burnlog.reports.text_review", "flags_text"),
    "PracticeReview": ("burnlog.reports.text_people", "practice_text"),
    "Rates": ("burnlog.reports.text_rates", "rates_text"),
    "Rehearsal": ("burnlog.reports.text_backtest", "rehearsal_text"),
    "SagReview": ("burnlog.reports.text_review", "sag_text"),
}
_CHARTS = {
    "Backtest": ("burnlog.charts.backtest", "backtest_charts"),
    "CrewReview": ("burnlog.charts.crews", "crew_charts"),
    "Estimate": ("burnlog.charts.bid", "bid_charts"),
    "FlagReview": ("burnlog.charts.flags", "flag_charts"),
    "PracticeReview": ("burnlog.charts.practice", "practice_charts"),
    "Rates": ("burnlog.charts.rates", "rate_charts"),
}


def text(result: Any, *, units: str = "metric") -> str:
    """A result as its command prints it, without the cautions; see `cautions`.

    Parameters
    ----------
    result
        What `rates`, `flags`, `sag`, `crews`, `practice`, `events`, `check`, `estimate`, `backtest` or `rehearse`
        returned.
    units : str
        ``us`` or ``metric``.

    Raises
    ------
    InputError
        Not such a result.

    Examples
    --------
    >>> from burnlog import open_log, rates, text
    >>> with open_log("demo/demo.db") as record:
    ...     print(text(rates(record), units="us").splitlines()[0])
    MADE UP: an invented scenario, not field data.
    """
    write = _found(_TEXTS, result, "text")
    made: str = write(result, **_units(write, units))
    return made


def draw(result: Any, *, units: str = "metric") -> dict[str, Any]:
    """The charts of a result by name, each an altair chart under its finding in words.

    Parameters
    ----------
    result
        What `rates`, `flags`, `crews`, `practice`, `estimate` or `backtest` returned.
    units : str
        ``us`` or ``metric``.

    Raises
    ------
    InputError
        A result without charts.

    Examples
    --------
    >>> from burnlog import crews, draw, open_log
    >>> with open_log("demo/demo.db") as record:
    ...     sorted(draw(crews(record)))
    ['map', 'plates', 'sight', 'standing']
    """
    drawn = _found(_CHARTS, result, "chart")
    beside: tuple[Any, ...] = ()
    if type(result).__name__ == "Rates":
        from burnlog.analyses.rate_curve import rate_curve

        beside = (rate_curve(result.fit) if result.fit is not None else (),)
    return {key: _titled(chart) for key, chart in drawn(result, *beside, **_units(drawn, units)).items()}


def cautions(kind: str = "report") -> str:
    """The cautions that a page or report ends with.

    Parameters
    ----------
    kind : str
        ``report``, ``estimate``, ``review``, ``variation``, ``sag`` or ``flags``.

    Examples
    --------
    >>> from burnlog import cautions
    >>> "licensed supervisor" in " ".join(cautions().split())
    True
    """
    from burnlog.reports.cautions import caution_block

    return caution_block(kind)


def _titled(chart: Any) -> Any:
    import altair as alt

    lines = textwrap.wrap(chart.description, TITLE_WIDTH)
    return chart.properties(
        title=alt.TitleParams(text=lines, anchor="start", fontSize=13, fontWeight="normal", offset=10)
    )


def _units(function: Any, units: str) -> dict[str, str]:
    return {"profile": units} if "profile" in inspect.signature(function).parameters else {}


def _found(table: dict[str, tuple[str, str]], result: Any, what: str) -> Any:
    from burnlog.errors import InputError

    name = type(result).__name__
    if name not in table:
        raise InputError(f"there is no {what} for a {name}; there is for {', '.join(sorted(table))}.")
    module, function = table[name]
    return getattr(import_module(module), function)
