"""What the page of the benchmarks says was found."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import benchmarks
from benchmarks.__main__ import names

FOLDER = Path(benchmarks.__path__[0])
README = (FOLDER / "README.md").read_text(encoding="utf-8")
TABLE = (FOLDER / "results" / "all.md").read_text(encoding="utf-8")


def cells(text: str) -> list[list[str]]:
    """The rows of every table, their heads and rules among them."""
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in text.splitlines() if line[:1] == "|"]


def test_every_benchmark_has_its_question() -> None:
    """Each benchmark that can be run stands on the page by its name."""
    assert [name for name in names() if f"`{name}`" not in README and f"benchmarks {name}`" not in README] == []


def figures(text: str) -> list[str]:
    """Numbers as written, without the marks between thousands."""
    return [found.replace(",", "") for found in re.findall(r"\d[\d,]*(?:\.\d+)?", text)]


@pytest.mark.parametrize("row", [row for row in cells(README) if len(row) == 5 and re.search(r"\d", row[3])])
def test_what_was_found_stands_in_the_run_that_is_kept(row: list[str]) -> None:
    """Each figure of speed is one of the kept run, as far as its digits go, and a miss is called one."""
    lines = [line for line in cells(TABLE) if len(line) == 7]
    kept = [float(figures(line[4])[0]) for line in lines if figures(line[4])]
    for figure in figures(row[3]):
        digits = len(figure.partition(".")[2])
        assert float(figure) in [round(value, digits) for value in kept], figure
    missed = [line for line in lines if line[6] == "MISSED"]
    found = [float(figures(row[3])[0])] if "missed" in row[3] else []
    assert all(any(abs(value - float(figures(line[4])[0])) < 0.01 for line in missed) for value in found)


def test_the_page_counts_its_misses() -> None:
    """As many rows are called missed on the page as in the run that is kept."""
    assert sum("missed" in row[3] for row in cells(README) if len(row) == 5) == TABLE.count("| MISSED |")
