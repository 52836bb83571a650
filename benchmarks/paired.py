"""Whether the integrated fit forecasts a new job nearer than simpler methods: paired scores, record by record.

`python -m benchmarks paired` prints the table; `--histories N` sets the records of each size (default 100),
`--sizes 3,4,5,6` the numbers of jobs, `--world NAME` and `--seed S` as in `coverage`. From each invented record a
new job is forecast by every method and then carried out 50 times over from the truth. A record's score is the mean
over those; a row holds the mean over records of another method's score less the integrated fit's, and the standard
error of that mean. Above 0 the integrated fit is nearer. Scores are on the log of total rods: CRPS judges the whole
forecast, pinball loss at 0.8 the P80 that rods are ordered by (both proper: Gneiting and Raftery 2007). The rule of
thumb is the record's own rods over metres, one number without a range.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchmarks.coverage import simpler
from burnlog.analyses import forecasts
from burnlog.analyses.invented import WORLDS, World, histories, realise, take_off
from burnlog.analyses.rate_fit import fit_rates
from burnlog.analyses.tallies import gather, ratio
from burnlog.errors import FitError
from burnlog.stats.scores import crps_sample, pinball
from burnlog.stats.threads import one_thread

__all__ = ["Difference", "differences", "main", "scores"]

SIZES = (3, 4, 5, 6)
OURS = "integrated"
DRAWS, REALISED, AT_ONCE = 1500, 50, 50
CLEAR = 1.96  # standard errors that count as a clear difference

Array = NDArray[np.float64]
Scores = Mapping[str, tuple[float, float]]


@dataclass(frozen=True)
class Difference:
    """Mean over records of another method's score less the integrated fit's, with its standard error."""

    score: str
    method: str
    mean: float
    error: float
    records: int

    @property
    def verdict(self) -> str:
        """In words: nearer, farther, or not told apart."""
        if abs(self.mean) < CLEAR * self.error:
            return "not told apart"
        return "integrated nearer" if self.mean > 0 else "integrated farther"


def scores(said: Mapping[str, Array], true: Array) -> dict[str, tuple[float, float]]:
    """Mean CRPS and pinball loss at 0.8 of each method's draws, both on the log scale."""
    y = np.log(true)
    out = {}
    for method, draws in said.items():
        logs = np.log(draws)
        crps = crps_sample(y, np.repeat(logs[:, None], len(y), axis=1))
        loss = pinball(y, np.full(len(y), np.quantile(logs, 0.8)), probability=0.8)
        out[method] = float(np.mean(crps)), float(np.mean(loss))
    return out


def tried(world: World, jobs: int, *, count: int, seed: int) -> list[Scores]:
    """Scores of every method in each of `count` records of `jobs` jobs."""
    out: list[Scores] = []
    for block in range(0, count, AT_ONCE):
        rng = np.random.default_rng([seed, jobs, block])
        for made in histories(world, jobs=jobs, count=min(AT_ONCE, count - block), rng=rng):
            job = take_off(world, rng=rng)
            true = realise(made.truth, job, draws=REALISED, rng=rng).rods
            tallyset = gather(made.frames)
            try:
                with one_thread():
                    fit = fit_rates(tallyset)
                    said = {OURS: fit.simulate(job.lines, rng=rng, draws=DRAWS).rods.sum(axis=1)}
                    said |= simpler(fit.rods.design, job, rng)
            except FitError:
                continue  # its own n says so in the table
            said["rule of thumb"] = forecasts.rule(ratio(tallyset).rods_per_m, job.lines, draws=2)
            out.append(scores(said, true))
    return out


def differences(found: Sequence[Scores]) -> list[Difference]:
    """Each other method against the integrated fit, over the records both could forecast."""
    out = []
    methods = list(dict.fromkeys(name for one in found for name in one if name != OURS))
    for place, score in enumerate(("CRPS", "pinball P80")):
        for method in methods:
            gaps = np.array([one[method][place] - one[OURS][place] for one in found if method in one])
            error = float(gaps.std(ddof=1) / np.sqrt(len(gaps)))
            out.append(Difference(score, method, float(gaps.mean()), error, len(gaps)))
    return out


def main(words: Sequence[str] = ()) -> None:
    """Print the table, size by size and over all."""
    asked = argparse.ArgumentParser(prog="python -m benchmarks paired", description=__doc__.split("\n")[0])
    asked.add_argument("--histories", type=int, default=100)
    asked.add_argument("--sizes", type=lambda text: tuple(int(n) for n in text.split(",")), default=SIZES)
    asked.add_argument("--world", choices=sorted(WORLDS), default="all at once")
    asked.add_argument("--seed", type=int, default=20261)
    options = asked.parse_args(list(words))
    print(f"world: {options.world}; seed {options.seed}; {REALISED} realisations a record; all figures invented\n")
    print("| jobs | score | method | less integrated | standard error | records | verdict |")
    print("|---|---|---|---|---|---|---|", flush=True)
    began, everything = time.perf_counter(), []
    for jobs in options.sizes:
        found = tried(WORLDS[options.world], jobs, count=options.histories, seed=options.seed)
        everything += found
        _print(str(jobs), found)
    _print("all", everything)
    print(f"\n{time.perf_counter() - began:.0f} s", flush=True)


def _print(jobs: str, found: Sequence[Scores]) -> None:
    for one in differences(found):
        print(
            f"| {jobs} | {one.score} | {one.method} | {one.mean:+.4f} | {one.error:.4f} | {one.records} "
            f"| {one.verdict} |",
            flush=True,
        )
