"""The table of benchmarks: a limit is judged by its sign, and nothing without a limit is judged."""

from __future__ import annotations

import importlib

import pytest

from benchmarks.__main__ import IN_TABLE, names
from benchmarks.lines import Line, shown


@pytest.mark.parametrize(
    ("figure", "limit", "met"),
    [
        (2.0, "<= 2", True),
        (2.1, "<= 2", False),
        (2000.0, ">= 2,000", True),
        (1999.0, ">= 2,000", False),
        (9.0, "", None),
    ],
)
def test_a_limit_is_kept_or_missed(figure: float, limit: str, met: bool | None) -> None:
    """At most and at least, thousands and all."""
    assert Line("a fit", "another", None, None, figure, limit).met is met


def test_a_missed_limit_is_printed_in_capitals() -> None:
    """A reader who skims sees what was missed."""
    assert shown(Line("a fit", "another", 1.0, 3.0, 3.0, ">= 50")).endswith("| >= 50 | MISSED |")


def test_what_the_table_runs_is_there() -> None:
    """Each benchmark of the table can be run by name and gives lines."""
    for name in IN_TABLE:
        assert name in names()
        assert callable(importlib.import_module(f"benchmarks.{name}").lines)
