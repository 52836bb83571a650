"""Whether the ranges hold: invented histories, a new job each, and how often its true totals fall inside.

`python -m benchmarks coverage` prints the table; `--histories N` sets the histories of each size (default 200),
`--sizes 3,6` the numbers of jobs, `--world NAME` one of the invented worlds, `--seed S` the start; with `--checked`
somebody has looked up the program's own flags and left out the counts whose sheet turned out wrong. Nothing in it is
field data, and the worlds were made by the people who made the method: the figures are bars for the program, not
promises about the sea.

For each history a take-off like its own is bid, and one of short pieces and one of long ones; the job is then
realised many times over from the truth. A cell is the share of realised totals inside the stated range, averaged
over histories; the band beside the 80 % range is the exact 95 % interval when each history counts once, by its
first realisation. `bias` is the median of ln(P50 / true median), `width` the median of ln(P90 / P10). A demand is met
where the 95 % interval of what was found reaches it.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Collection, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.stats import binom

from burnlog.analyses import forecasts
from burnlog.analyses.flags import flags
from burnlog.analyses.invented import WORLDS, History, TakeOff, World, histories, realise, take_off
from burnlog.analyses.rate_fit import fit_rates
from burnlog.analyses.record import counted
from burnlog.analyses.rehearsal import Trials, bids
from burnlog.analyses.tallies import gather
from burnlog.errors import FitError
from burnlog.stats.threads import one_thread

__all__ = ["Table", "apart", "found_wrong", "main", "median_reach", "row", "simpler", "tried", "verdicts"]

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
    checked: bool = False,
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
                    _try_one(history, table, rng, baselines, pieces, found_wrong(history) if checked else ())
            except FitError:
                refused += 1
    return table, refused


def found_wrong(history: History) -> tuple[str, ...]:
    """Tallies that hold a typing error which a flag points at: by its count, its cut, its line or its dive."""
    asked = {flag.target for flag in flags(history.frames).flags if flag.kind != "sag"}
    cuts = history.frames.cuts.set_index("cut_id")
    tallies, rows = counted(history.frames)
    out = []
    for target in history.truth.errors["target"]:
        mine = rows[(rows["tally_id"] == target) | (rows["cut_id"] == target)]
        for tally_id, group in mine.groupby("tally_id"):
            own = cuts.loc[group["cut_id"], ["cut_ref", "line_ref", "dive_ref"]].to_numpy().ravel()
            if asked & {str(tallies.loc[tally_id, "ref"]), *map(str, own)}:
                out.append(str(tally_id))
    return tuple(out)


def _try_one(
    history: History,
    table: Table,
    rng: np.random.Generator,
    baselines: bool,
    pieces: Sequence[str],
    leave_out: Collection[str],
) -> None:
    tallyset = gather(history.frames, leave_out=leave_out)
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


def row(jobs: int, method: str, quantity: str, cell: Trials) -> str:
    """One line of the table."""
    low, high = cell.band
    return (
        f"| {jobs} | {method} | {quantity} | {cell.share(50):.2f} | {cell.share(80):.3f} | {low:.2f}-{high:.2f} "
        f"| {cell.share(95):.2f} | {cell.width:.2f} | {cell.bias:+.3f} | {len(cell.once)} |"
    )


def median_reach(values: Sequence[float]) -> tuple[float, float]:
    """Exact 95 % interval of a median, from the order of the values alone (David and Nagaraja 2003, section 7.1).

    Examples
    --------
    >>> median_reach(range(1, 11))
    (2.0, 9.0)
    """
    ordered = np.sort(np.asarray(values, dtype=float))
    low = max(int(binom.ppf(0.025, len(ordered), 0.5)), 1)
    return float(ordered[low - 1]), float(ordered[len(ordered) - low])


def apart(table: Table) -> tuple[float, float, float]:
    """How far the biases of long and of short bids lie apart, with a 95 % interval by resampling the histories."""
    short, long = (np.array(table["integrated", f"{kind} rods"].errors) for kind in ("short", "long"))
    pick = np.random.default_rng(1).integers(0, len(short), size=(2000, len(short)))
    again = np.median(long[pick], axis=1) - np.median(short[pick], axis=1)
    low, high = np.quantile(again, [0.025, 0.975])
    return float(np.median(long) - np.median(short)), float(low), float(high)


def verdicts(jobs: int, table: Table) -> list[tuple[str, str, str]]:
    """What was demanded, what was found, and whether its 95 % interval reaches the demand."""
    out = []
    low, high = DEMAND.get(jobs, (0.74, 0.92))
    for quantity in ("rods", "seconds", "dives"):
        cell = table["integrated", quantity]
        below, above = cell.band
        found = f"{cell.share(80):.3f} ({below:.2f}-{above:.2f})"
        what = f"{jobs} jobs, {quantity}: 80 % range holds {low:.2f}-{high:.2f}"
        out.append((what, found, _met(below <= high and above >= low)))
        wide = f"{cell.share(95):.3f}"
        out.append((f"{jobs} jobs, {quantity}: 95 % range holds 0.92 or more", wide, _met(cell.share(95) >= 0.92)))
        below, above = median_reach(cell.errors)
        found = f"{cell.bias:+.3f} ({below:+.3f} to {above:+.3f})"
        met = "met" if abs(cell.bias) <= 0.05 else "met by its interval" if below <= 0.05 <= above else "MISSED"
        out.append((f"{jobs} jobs, {quantity}: median bias within 0.05", found, met))
    if ("integrated", "short rods") in table:
        gap, below, above = apart(table)
        met = "met" if abs(gap) <= 0.1 else "met by its interval" if below <= 0.1 and above >= -0.1 else "MISSED"
        what = f"{jobs} jobs: long and short bids within 0.10 of each other"
        out.append((what, f"{gap:+.3f} ({below:+.3f} to {above:+.3f})", met))
    if jobs in WIDTH_BAR:
        width, bar = table["integrated", "rods"].width, 1.15 * WIDTH_BAR[jobs]
        out.append((f"{jobs} jobs: width of rods at most {bar:.2f}", f"{width:.2f}", _met(width <= bar)))
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
    asked.add_argument("--checked", action="store_true")
    options = asked.parse_args(list(words))
    how = ", flags looked up" if options.checked else ""
    print(f"world: {options.world}{how}; seed {options.seed}; {REALISED} realisations a history; all invented\n")
    print("| jobs | method | total | 50 % | 80 % | exact band | 95 % | width | bias | n |")
    print("|---|---|---|---|---|---|---|---|---|---|", flush=True)
    said = []
    for jobs in options.sizes:
        began = time.perf_counter()
        table, refused = tried(
            WORLDS[options.world], jobs, count=options.histories, seed=options.seed, checked=options.checked
        )
        for (method, quantity), cell in table.items():
            print(row(jobs, method, quantity, cell), flush=True)
        said += [f"| {' | '.join(line)} |" for line in verdicts(jobs, table)]
        took = time.perf_counter() - began
        said.append(f"| {jobs} jobs: histories refused, and time taken | {refused}, {took:.0f} s | |")
    print("\n| demand | found | |\n|---|---|---|\n" + "\n".join(said), flush=True)
