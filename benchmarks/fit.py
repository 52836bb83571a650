"""Speed of the mixed-model fit beside statsmodels and R's lme4, in one run.

`python -m benchmarks fit` prints one table; `--largest N` leaves data sets of more than N rows out.

Every time is the median of three runs or more (lme4 at a million rows: one), in seconds of processor time, which a
busy machine stretches less than the clock; all run on one BLAS thread, so that on an idle machine the two agree.
Ours is `fit_mixed` from arrays and text labels to coefficients, errors, spreads and modes. statsmodels gets its
indicator matrices ready made, lme4 its factors; neither conversion is timed. R uses the BLAS it was built with.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import tempfile
import time
import warnings
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

from benchmarks.crossed import Crossed, draw
from benchmarks.lines import Line, print_table
from burnlog.errors import FitError
from burnlog.stats.leave_out import leave_one_out
from burnlog.stats.mixed import fit_mixed
from burnlog.stats.threads import one_thread

SETS: list[tuple[str, tuple[int, int, int, int], int]] = [
    ("2,000 rows", (2_000, 25, 24, 8), 0),
    ("20,000 rows", (20_000, 200, 100, 20), 0),
    ("20,000 rows, 4,000 dives", (20_000, 200, 100, 20), 4_000),
    ("200,000 rows", (200_000, 1_500, 400, 50), 0),
    ("1,000,000 rows", (1_000_000, 3_000, 480, 60), 0),
]

# least ratios asked for, by peer and data set
STATSMODELS = {"2,000 rows": 100.0, "20,000 rows": 2_000.0}
LME4 = {
    "2,000 rows": 8.0,
    "20,000 rows": 30.0,
    "20,000 rows, 4,000 dives": 20.0,
    "200,000 rows": 50.0,
    "1,000,000 rows": 100.0,
}

R_SCRIPT = """
suppressMessages(library(lme4))
words <- commandArgs(TRUE)
folder <- words[1]; runs <- as.integer(words[2]); n <- as.integer(words[3]); p <- as.integer(words[4])
grouping <- words[-(1:4)]
raw <- function(name, what, count) readBin(file.path(folder, name), what, count)
d <- as.data.frame(matrix(raw("X", "double", n * p), n, p))
names(d) <- paste0("x", seq_len(p))
d$y <- raw("y", "double", n)
for (g in grouping) d[[g]] <- factor(raw(g, "integer", n))
form <- as.formula(paste("y ~ 0 +", paste0("x", seq_len(p), collapse = " + "), "+",
                         paste0("(1 | ", grouping, ")", collapse = " + ")))
for (run in seq_len(runs)) {
  gc(FALSE)
  took <- system.time(fit <- suppressMessages(suppressWarnings(lmer(form, d))))
  took <- took["user.self"] + took["sys.self"]
  cat(sprintf("%.17g %.17g\\n", took, REMLcrit(fit)))
}
"""


def seconds(call: Callable[[], object], *, runs: int) -> list[float]:
    """Processor seconds of each run."""
    out = []
    for _ in range(runs):
        start = time.process_time()
        call()
        out.append(time.process_time() - start)
    return out


def has_lme4() -> bool:
    """Whether R with lme4 is on this machine."""
    if shutil.which("Rscript") is None:
        return False
    asked = ["Rscript", "-e", "quit(status = !requireNamespace('lme4', quietly = TRUE))"]
    return subprocess.run(asked, capture_output=True, check=False).returncode == 0


def lme4(data: Crossed, *, runs: int) -> tuple[list[float], float]:
    """Seconds of each `lmer` call, and its criterion."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        np.asfortranarray(data.X).T.tofile(folder / "X")
        data.y.tofile(folder / "y")
        for word, code in data.codes.items():
            code.tofile(folder / word)
        script = folder / "run.R"
        script.write_text(R_SCRIPT, encoding="utf-8")
        words = [str(folder), str(runs), str(len(data.y)), str(data.X.shape[1]), *data.codes]
        surroundings = {**os.environ, "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
        done = subprocess.run(
            ["Rscript", str(script), *words], capture_output=True, text=True, check=True, env=surroundings
        )
    lines = [line.split() for line in done.stdout.splitlines()]
    return [float(line[0]) for line in lines], float(lines[-1][1])


def statsmodels(data: Crossed, *, runs: int) -> tuple[list[float], float]:
    """Seconds of each MixedLM fit (all rows one group, groupings as variance components), and its criterion."""
    from statsmodels.regression.mixed_linear_model import MixedLM, VCSpec

    parts = [(code[:, None] == np.arange(code.max() + 1)).astype(float) for code in data.codes.values()]
    columns = [[[f"{j}" for j in range(Z.shape[1])]] for Z in parts]
    taken, value = [], np.nan
    for _ in range(runs):
        start = time.process_time()
        with one_thread(), warnings.catch_warnings():
            warnings.simplefilter("ignore")  # its optimiser warns of gradients; only the time is of interest
            model = MixedLM(
                data.y, data.X, np.zeros(len(data.y)), exog_vc=VCSpec(list(data.codes), columns, [[Z] for Z in parts])
            )
            value = -2.0 * float(model.fit(reml=True).llf)
        taken.append(time.process_time() - start)
    return taken, value


def small_sets(count: int) -> list[int]:
    """Evaluations of fits on small random sets, zero variances and unbalanced groupings among them."""
    out = []
    for seed in range(count):
        rng = np.random.default_rng([9, seed])
        n = int(rng.integers(60, 2_000))
        codes = {name: rng.choice(q, n, p=rng.dirichlet(np.ones(q))) for name, q in (("a", 20), ("b", 8), ("c", 4))}
        y = rng.normal(size=n)
        for code in codes.values():
            y += rng.choice([0.0, 0.3, 1.0]) * rng.normal(size=code.max() + 1)[code]
        try:
            out.append(fit_mixed(y, np.ones((n, 1)), codes).evaluations)
        except FitError:
            continue
    return out


GROWTH: list[tuple[str, Callable[[int], tuple[int, int, int]], int]] = [
    ("levels fixed", lambda n: (200, 100, 20), 20_000),
    ("jobs n/100, divers n^0.5", lambda n: (n // 100, int(n**0.5), 20), 2_000),
]


def slope(levels: Callable[[int], tuple[int, int, int]], smallest: int, largest: int) -> tuple[float, str] | None:
    """Exponent of the time in the number of rows, and over which rows; None where fewer than three sizes are left."""
    sizes = [n for n in (2_000, 6_000, 20_000, 60_000, 200_000, 600_000) if smallest <= n <= largest]
    if len(sizes) < 3:
        return None
    times = []
    for n in sizes:
        data = draw("slope", n, *levels(n))
        times.append(np.median(seconds(lambda data=data: fit_mixed(data.y, data.X, data.groups), runs=5)))
    return float(np.polyfit(np.log(sizes), np.log(times), 1)[0]), f"{sizes[0]:,} to {sizes[-1]:,} rows"


def lines(*, largest: int = 10**9) -> Iterator[Line]:
    """Each data set beside its peers, then what leaving jobs out costs, growth and evaluations."""
    r_here = has_lme4()
    evaluations: list[int] = []
    for name, (n, jobs, divers, rods), dives in SETS:
        if n > largest:
            continue
        data = draw(name, n, jobs, divers, rods, dives=dives)
        fit = fit_mixed(data.y, data.X, data.groups)
        evaluations.append(fit.evaluations)

        def ours(runs: int, data: Crossed = data) -> list[float]:
            return seconds(lambda: fit_mixed(data.y, data.X, data.groups), runs=runs)

        few = 7 if n >= 200_000 else 25
        mine = ours(few)
        peers: list[tuple[str, Callable[[], tuple[list[float], float]], float]] = []
        if name in STATSMODELS:
            peers.append(("statsmodels", lambda data=data: statsmodels(data, runs=3), STATSMODELS[name]))
        if r_here:
            runs = 1 if n >= 1_000_000 else 3
            peers.append(("lme4", lambda data=data, runs=runs: lme4(data, runs=runs), LME4[name]))
        else:
            yield Line(f"fit, {name}", "lme4 (not on this machine)", float(np.median(mine)), None, np.nan, "")
        for peer, call, least in peers:
            theirs, criterion = call()
            mine += ours(few)  # before and after the peer, so that a busy spell hits both
            taken, peer_taken = float(np.median(mine)), float(np.median(theirs))
            beside = "" if fit.criterion <= criterion + 1e-8 * abs(criterion) else ", criterion above the peer's"
            yield Line(f"fit, {name}{beside}", peer, taken, peer_taken, peer_taken / taken, f">= {least:,.0f}")
        if name == "20,000 rows":
            left = float(np.median(seconds(lambda fit=fit: list(leave_one_out(fit, "job")), runs=3)))
            once = float(np.median(mine + ours(few)))
            yield Line("leave out each of 200 jobs", "one fit", left, once, left / once, "<= 150")
    for words_of, levels, smallest in GROWTH:
        found = slope(levels, smallest, largest)
        if found is not None:
            exponent, over = found
            yield Line(f"fit, slope in rows, {words_of}, {over}", "", None, None, exponent, "<= 1.1", "")
    evaluations += small_sets(200)
    spread = f"p90 {np.quantile(evaluations, 0.9):g}, largest {max(evaluations)}, {len(evaluations)} fits"
    yield Line(f"evaluations of a fit, median ({spread})", "", None, None, float(np.median(evaluations)), "<= 8", "")


def main(words: list[str]) -> None:
    """Measure and print the table."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks fit", description=(__doc__ or "").split("\n")[0])
    parser.add_argument("--largest", type=int, default=10**9, help="leave larger data sets out")
    print_table(lines(largest=parser.parse_args(words).largest))
