"""How long a backtest of 30 jobs and about 1,000 tallies takes, and what it says.

`python -m benchmarks backtest [--jobs N]`: one invented record, each job left out in turn with the integrated fit
done anew. At most 60 s are asked.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from burnlog.analyses.backtest import backtest
from burnlog.analyses.invented import WORLDS, history
from burnlog.analyses.tallies import gather

__all__ = ["main"]

SECONDS = 60.0


def main(words: Sequence[str] = ()) -> None:
    """Time one backtest and print its scores."""
    asked = argparse.ArgumentParser(prog="python -m benchmarks backtest", description=__doc__.split("\n")[0])
    asked.add_argument("--jobs", type=int, default=30)
    options = asked.parse_args(list(words))
    world = replace(WORLDS["base"], lines=(25, 42))  # larger jobs: about 33 tallies each
    frames = history(world, jobs=options.jobs, rng=np.random.default_rng(4)).frames
    tallies = len(gather(frames).tallies)
    began = time.perf_counter()
    found = backtest(frames)
    took = time.perf_counter() - began
    print(f"{len(found.rows)} jobs, {tallies} tallies: {took:.1f} s (asked: {SECONDS:.0f} s at most at 30 jobs)\n")
    print("| method | jobs | 50 % | 80 % | exact band | 95 % | width | bias | CRPS | pinball P80 |")
    print("|---|---|---|---|---|---|---|---|---|---|")
    for name, s in found.methods.items():
        print(
            f"| {name} | {s.jobs} | {s.c50:.2f} | {s.c80:.2f} | {s.c80_low:.2f}-{s.c80_high:.2f} | {s.c95:.2f} "
            f"| {s.width80:.2f} | {s.bias:+.3f} | {s.crps:.3f} | {s.pinball80:.3f} |"
        )
