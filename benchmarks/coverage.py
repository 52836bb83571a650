"""Whether the ranges hold: invented histories, a new job each, and how often its true totals fall inside.

`python -m benchmarks coverage` prints the table; `--histories N` sets the histories of each size (default 200),
`--sizes 3,6` the numbers of jobs, `--world NAME` one of the invented worlds, `--seed S` the start. Nothing in it is
field data, and the worlds were made by the people who made the method: the figures are bars for the program, not
promises about the sea.

For each history a take-off like its own is bid, and one of short pieces and one of long ones; the job is then
realised many times over from the truth. A cell is the share of realised totals inside the stated range, averaged
over histories; the band beside the 80 % range is the exact 95 % interval when each history counts once, by its
first realisation. `bias` is the median of ln(P50 / true median), `width` the median of ln(P90 / P10).
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from burnlog.analyses import forecasts
from burnlog.analyses.invented import WORLDS, History, TakeOff, World, histories, realise, take_off
from burnlog.analyses.rate_fit import fit_rates
from burnlog.analyses.rehearsal import Trials, bids
from burnlog.analyses.tallies import gather
from burnlog.errors import FitError
from burnlog.stats.threads import one_thread

__all__ = ["Table", "main", "simpler", "tried"]

SIZES = (3, 4, 6, 10, 20)
SHORT_M, LONG_M = (0.15, 0.38), (2.4, 4.3)  # 6 to 15 in, 8 to 14 ft
DRAWS, REALISED, AT_ONCE = 2000, 200, 50
DEMAND = {3: (0.78, 0.92), 4: (0.78, 0.92), 6: (0.74, 0.86), 10: (0.74, 0.86), 20: (0.74, 0.86)}
WIDTH_BAR = {3: 1.07, 4: 0.95, 6: 0.84, 10: 0.81, 20: 0.77}  # rods, the widths first measured for this method

Array = NDArray[np.float64]
Table = dict[tuple[str, str], Trials]


def tried(
    world: World,
    jobs: int,
    *,
    count: int,
    seed: int,
    baselines: bool = True,
    pieces: Sequence[str] = ("", "short", "long"),
) -> tuple[Table, int]:
    """Bid and realise `count` histories of `jobs` jobs.

    Returns
    -------
    table : dict of (method, quantity) to Trials
        Quantities are rods, seconds and dives, with `short` or `long` in front for those bids.
    refused : int
        Histories too small for a model.
    """
    table: Table = {}
    refused = 0
    for block in range(0, count, AT_ONCE):
        rng = np.random.default_rng([seed, jobs, block])
        for history in histories(world, jobs=jobs, count=min(AT_ONCE, count - block), rng=rng):
            try:
                with one_thread():
                    _try_one(history, table, rng, baselines, pieces)
            except FitError:
                refused += 1
    return table, refused


def _try_one(
    history: History, table: Table, rng: np.random.Generator, baselines: bool, pieces: Sequence[str]
) -> None:
    tallyset = gather(history.frames)
    fit = fit_rates(tallyset)
    world = history.truth.world
    for bid in pieces:
        job = take_off(world, rng=rng, pieces={"": None, "short": SHORT_M, "long": LONG_M}[bid])
        truth = realise(history.truth, job, draws=REALISED, rng=rng)
        for quantity, values in bids(fit, job, draws=DRAWS, rng=rng).items():
            name = f"{bid} {quantity}".strip()
            table.setdefault(("integrated", name), Trials()).add(values, getattr(truth, quantity))
        if baselines and not bid:
            for method, values in simpler(fit.rods.design, job, rng).items():
                table.setdefault((method, "rods"), Trials()).add(values, truth.rods)


def simpler(rows: forecasts.Design, job: TakeOff, rng: np.random.Generator) -> Mapping[str, Array]:
    """Rods by the simpler methods, as far as each can be fitted."""
    seen = np.ones(rows.n, dtype=bool)
    methods = {
        "pooled ratio": forecasts.pooled,
        "least squares": forecasts.least_squares,
        "plug-in": forecasts.plug_in,
        "job ratios, t": forecasts.job_t,
    }
    found = {}
    for name, method in methods.items():
        try:
            found[name] = method(rows, seen, job.lines, draws=DRAWS, rng=rng)
        except FitError:
            continue  # its own n says so in the table
    return found


def _row(jobs: int, method: str, quantity: str, cell: Trials) -> str:
    low, high = cell.band
    return (
        f"| {jobs} | {method} | {quantity} | {cell.share(50):.2f} | {cell.share(80):.3f} | {low:.2f}-{high:.2f} "
        f"| {cell.share(95):.2f} | {cell.width:.2f} | {cell.bias:+.3f} | {len(cell.once)} |"
    )


def _verdicts(jobs: int, table: Table) -> list[str]:
    """What was demanded, and whether the exact band reaches it."""
    out = []
    low, high = DEMAND.get(jobs, (0.74, 0.92))
    for quantity in ("rods", "seconds", "dives"):
        cell = table[("integrated", quantity)]
        band = cell.band
        held = band[0] <= high and band[1] >= low
        out.append(f"{jobs} jobs, {quantity}: 80 % range wanted {low:.2f}-{high:.2f}: {'met' if held else 'MISSED'}")
        if cell.share(95) < 0.92:
            out.append(f"{jobs} jobs, {quantity}: 95 % range wanted 0.92 or more: MISSED ({cell.share(95):.3f})")
        if abs(cell.bias) > 0.05:
            out.append(f"{jobs} jobs, {quantity}: bias wanted within 0.05: MISSED ({cell.bias:+.3f})")
    if ("integrated", "short rods") in table:
        apart = table[("integrated", "long rods")].bias - table[("integrated", "short rods")].bias
        out.append(f"{jobs} jobs: long and short bids {apart:+.3f} apart, wanted 0.10: {_met(abs(apart) <= 0.10)}")
    if jobs in WIDTH_BAR:
        width, bar = table[("integrated", "rods")].width, 1.15 * WIDTH_BAR[jobs]
        out.append(f"{jobs} jobs: width {width:.2f}, wanted {bar:.2f} or less: {_met(width <= bar)}")
    return out


def _met(held: bool) -> str:
    return "met" if held else "MISSED"


def main(words: Sequence[str] = ()) -> None:
    """Print the table and what was met and missed."""
    asked = argparse.ArgumentParser(prog="python -m benchmarks coverage", description=__doc__.split("\n")[0])
    asked.add_argument("--histories", type=int, default=200)
    asked.add_argument("--sizes", type=lambda text: tuple(int(n) for n in text.split(",")), default=SIZES)
    asked.add_argument("--world", choices=sorted(WORLDS), default="base")
    asked.add_argument("--seed", type=int, default=20260)
    options = asked.parse_args(list(words))
    print(f"world: {options.world}; seed {options.seed}; {REALISED} realisations a history; all figures invented\n")
    print("| jobs | method | total | 50 % | 80 % | exact band | 95 % | width | bias | n |")
    print("|---|---|---|---|---|---|---|---|---|---|", flush=True)
    said = []
    for jobs in options.sizes:
        began = time.perf_counter()
        table, refused = tried(WORLDS[options.world], jobs, count=options.histories, seed=options.seed)
        for (method, quantity), cell in table.items():
            print(_row(jobs, method, quantity, cell), flush=True)
        said += _verdicts(jobs, table)
        said.append(f"{jobs} jobs: {refused} histories refused; {time.perf_counter() - began:.0f} s")
    print("\n" + "\n".join(said), flush=True)
