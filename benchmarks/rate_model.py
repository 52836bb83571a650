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
import time
import warnings
from collections.abc import Callable

import numpy as np

from benchmarks.fit import row, seconds
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


def main(words: list[str]) -> None:
    """Measure and print the table."""
    parser = argparse.ArgumentParser(
        prog="python -m benchmarks rate_model", description=(__doc__ or "").split("\n")[0]
    )
    parser.add_argument("--jobs", type=int, default=46)
    jobs: int = parser.parse_args(words).jobs
    (history,) = histories(WORLDS["base"], jobs=jobs, count=1, rng=np.random.default_rng(SEED))
    tallyset = gather(history.frames)
    fit = fit_rates(tallyset)
    rows, tables = fit.rods.design, fit.rods.posterior.tables
    sizes = ", ".join(f"{len(effect.levels)} {effect.name}s" for effect in tables.effects)
    timed = 0 if fit.time is None else fit.time.design.n
    print(f"{rows.n} tallies ({timed} with a time), {sizes}, {len(rows.names)} columns; invented, seed {SEED}")
    print(f"{len(fit.rods.posterior.weights):,} points integrated over for rods")
    ours = seconds(lambda: fit_rates(tallyset), runs=MANY)
    once, theirs = plugged_in(rows, fit), []
    for _ in range(FEW):
        began = time.process_time()
        sigma = once()
        theirs.append(time.process_time() - began)
    ours += seconds(lambda: fit_rates(tallyset), runs=MANY)
    ratio = float(np.median(ours) / np.median(theirs))
    print(f"sigma: integrated {fit.rods.posterior.sigma:.3f}, statsmodels {sigma:.3f} (without the noise length)\n")
    print(row("data", "peer", "ours, s", "peer, s", "ratio", "asked"))
    verdict = f"<= 1  {'met' if ratio <= 1.0 else 'MISSED'}"
    print(
        row(
            f"{rows.n:,} tallies",
            "statsmodels, one fit",
            f"{np.median(ours):.3f}",
            f"{np.median(theirs):.3f}",
            f"{ratio:.2f}x",
            verdict,
        )
    )
