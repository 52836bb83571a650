"""Cost of the whole integrated rate model beside one statsmodels fit of the same columns, in one run.

`python -m benchmarks rate_model` prints the table; `--jobs N` sets the jobs of the invented history (default 46,
about 1,000 tallies).

*Ours* is `fit_rates` from the tallies on: rows set out at 30 start allowances and noise lengths, 66 pairs of
spreads at each, the same again for time given rods, and the scale that keeps the recorded total. *statsmodels* is
one restricted `MixedLM` fit of the rods' columns, job and diver crossed as variance components, from arrays ready
made; it plugs in what ours integrates over. Processor seconds, one BLAS thread, medians of three or more, ours
before and after.
"""

from __future__ import annotations

import argparse
import warnings
from collections.abc import Callable, Iterator

import numpy as np

from benchmarks.fit import seconds
from benchmarks.lines import Line, print_table
from burnlog.analyses.invented import WORLDS, histories
from burnlog.analyses.rate_design import Design
from burnlog.analyses.rate_fit import RateFit, fit_rates
from burnlog.analyses.tallies import gather
from burnlog.stats.threads import one_thread

SEED = 77
FEW, MANY = 3, 9  # runs of statsmodels, and of ours before and after it


def plugged_in(rows: Design, fit: RateFit) -> Callable[[], float]:
    """One MixedLM fit of the columns at the posterior's own start allowance; gives sigma."""
    from statsmodels.regression.mixed_linear_model import MixedLM, VCSpec

    case = rows.case(fit.rods.posterior.tag_means["start_m"], 0.0)
    effects = fit.rods.posterior.tables.effects
    spec = VCSpec(
        [effect.name for effect in effects],
        [[list(effect.levels)] for effect in effects],
        [[effect.loadings] for effect in effects],
    )

    def once() -> float:
        with one_thread(), warnings.catch_warnings():
            warnings.simplefilter("ignore")  # its optimiser warns of gradients; only the time is of interest
            found = MixedLM(case.y, case.X, np.zeros(rows.n), exog_vc=spec).fit(reml=True)
        return float(np.sqrt(found.scale))

    return once


def lines(*, jobs: int = 46) -> Iterator[Line]:
    """The integrated model of one invented history beside one fit of its columns."""
    (history,) = histories(WORLDS["base"], jobs=jobs, count=1, rng=np.random.default_rng(SEED))
    tallyset = gather(history.frames)
    fit = fit_rates(tallyset)
    rows, tables = fit.rods.design, fit.rods.posterior.tables
    ours = seconds(lambda: fit_rates(tallyset), runs=MANY)
    theirs = seconds(plugged_in(rows, fit), runs=FEW)
    ours += seconds(lambda: fit_rates(tallyset), runs=MANY)
    sizes = ", ".join(f"{len(effect.levels)} {effect.name}s" for effect in tables.effects)
    points = len(fit.rods.posterior.weights)
    what = f"integrated rods and time, {rows.n:,} tallies, {sizes}, {len(rows.names)} columns, {points:,} points"
    mine, peer = float(np.median(ours)), float(np.median(theirs))
    yield Line(what, "statsmodels, one fit of the rods", mine, peer, mine / peer, "<= 1")


def main(words: list[str]) -> None:
    """Measure and print the table."""
    parser = argparse.ArgumentParser(
        prog="python -m benchmarks rate_model", description=(__doc__ or "").split("\n")[0]
    )
    parser.add_argument("--jobs", type=int, default=46)
    print_table(lines(jobs=parser.parse_args(words).jobs))
