"""One line of the table: what was measured, beside whom, and whether it keeps its limit."""

from __future__ import annotations

import operator
from collections.abc import Iterable
from typing import NamedTuple

__all__ = ["HEADER", "Line", "print_table", "shown"]

HEADER = "| what | beside | ours | theirs | figure | limit | |\n|---|---|---|---|---|---|---|"
_HOLDS = {"<=": operator.le, ">=": operator.ge}


class Line(NamedTuple):
    """A measured figure; times in seconds, None where there is none; `limit` is `<= 2` or `>= 50`, or empty."""

    what: str
    peer: str
    ours: float | None
    theirs: float | None
    figure: float
    limit: str
    unit: str = "x"

    @property
    def met(self) -> bool | None:
        """Whether the figure keeps the limit; None where no limit is set.

        >>> Line("a fit", "another", 1.0, 3.0, 3.0, ">= 2").met
        True
        """
        if not self.limit:
            return None
        sign, bound = self.limit.split()
        return bool(_HOLDS[sign](self.figure, float(bound.replace(",", ""))))


def shown(line: Line) -> str:
    """The line as a row of the table.

    >>> shown(Line("a fit", "another", 1.0, 3.0, 3.0, ">= 2"))
    '| a fit | another | 1.00 s | 3.00 s | 3.00x | >= 2 | met |'
    """
    times = ["-" if taken is None else f"{_digits(taken)} s" for taken in (line.ours, line.theirs)]
    verdict = {None: "", True: "met", False: "MISSED"}[line.met]
    cells = [line.what, line.peer, *times, f"{_digits(line.figure)}{line.unit}", line.limit, verdict]
    return f"| {' | '.join(cells)} |"


def print_table(lines: Iterable[Line]) -> list[Line]:
    """Print each line as soon as it is measured; returns them."""
    print(HEADER, flush=True)
    measured = []
    for line in lines:
        print(shown(line), flush=True)
        measured.append(line)
    return measured


def _digits(value: float) -> str:
    """Three digits that count."""
    return f"{value:,.0f}" if value >= 100 else f"{value:#.3g}"
