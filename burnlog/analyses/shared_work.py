"""Who worked on what: the graph of groups and jobs that says which of them can be compared at all.

Two crews that never met on a job can only be compared along a chain of crews that did. A crew whose jobs nobody
else worked cannot be told apart from those jobs: mud, a bad hose and a good crew look the same.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["SharedWork", "cut_luck", "shared_work"]


@dataclass(frozen=True)
class SharedWork:
    """The graph of groups and jobs.

    Attributes
    ----------
    tallies : mapping of (code, job) to int
        Tallies of each group on each job.
    jobs : mapping of code to tuple of str
        Jobs of each group.
    shared : mapping of code to tuple of str
        Those of its jobs that another group also worked.
    part : mapping of code to int
        Number of the connected part each group stands in; groups of different parts are never compared.
    """

    tallies: Mapping[tuple[str, str], int]
    jobs: Mapping[str, tuple[str, ...]]
    shared: Mapping[str, tuple[str, ...]]
    part: Mapping[str, int]

    def beside(self, code: str) -> tuple[str, ...]:
        """The other groups of the same part, in order."""
        return tuple(c for c in sorted(self.part) if c != code and self.part[c] == self.part[code])


def shared_work(codes: pd.Series[str], jobs: pd.Series[str]) -> SharedWork:
    """Build the graph from one code and one job per tally; a missing code stands in no group.

    Examples
    --------
    >>> work = shared_work(pd.Series(["A", "A", "B", "C"]), pd.Series(["J1", "J2", "J2", "J3"]))
    >>> work.beside("A"), work.shared["A"], work.shared["C"]
    (('B',), ('J2',), ())
    """
    known = codes.notna()
    counts = Counter(zip(codes[known].astype(str), jobs[known].astype(str), strict=True))
    tallies = {pair: counts[pair] for pair in sorted(counts)}
    of_code: dict[str, list[str]] = {}
    of_job: dict[str, list[str]] = {}
    for code, job in tallies:
        of_code.setdefault(code, []).append(job)
        of_job.setdefault(job, []).append(code)
    part: dict[str, int] = {}
    for number, start in enumerate(sorted(of_code)):
        if start in part:
            continue
        reached = [start]
        while reached:
            code = reached.pop()
            if code not in part:
                part[code] = number
                reached += [other for job in of_code[code] for other in of_job[job]]
    return SharedWork(
        tallies=tallies,
        jobs={code: tuple(sorted(mine)) for code, mine in of_code.items()},
        shared={code: tuple(sorted(j for j in mine if len(of_job[j]) > 1)) for code, mine in of_code.items()},
        part=part,
    )


def cut_luck(
    tallies: int, groups: int, *, sd: float, rng: np.random.Generator, level: float = 0.80, draws: int = 4000
) -> tuple[float, float]:
    """How far apart identical groups stand by luck alone: the highest over the lowest geometric mean, as a range.

    Parameters
    ----------
    tallies, groups : int
        Burns of each group, and number of groups.
    sd : float
        Spread of one burn on the log scale.
    rng : Generator
        Seeded by the caller.

    Returns
    -------
    low, high : float
        Ratio of the highest to the lowest group mean, middle `level` of the draws.

    Examples
    --------
    >>> low, high = cut_luck(10, 6, sd=0.30, rng=np.random.default_rng(1))
    >>> round(low, 1), round(high, 1)
    (1.2, 1.4)
    """
    # the mean of n logs is drawn at once: it is normal with the spread of one over the root of n
    means: NDArray[np.float64] = sd / np.sqrt(tallies) * rng.standard_normal((draws, groups))
    spread = np.exp(means.max(axis=1) - means.min(axis=1))
    low, high = np.quantile(spread, [0.5 - level / 2, 0.5 + level / 2])
    return float(low), float(high)
