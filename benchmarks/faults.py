"""Four hundred kills, four writers at once, a full disk, flipped bytes: what a log loses.

`python -m benchmarks faults` prints one line for each trial and fails when one of them breaks a promise; `--small`
runs each a few times. Promises: every acknowledged row is there, no row is half there, an import is whole or absent,
no short number is given twice, nobody is told of a lock, a failed batch changes nothing, the original of a damaged
copy is untouched, and `verify` finds no damage where none was done.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections.abc import Callable, Mapping
from pathlib import Path

from benchmarks import broken, killed

__all__ = ["main", "trials"]

Trial = tuple[str, Callable[[Path], Mapping[str, int]], tuple[str, ...]]
"""A name, what runs it, and the counts that must stay 0."""

KILLS = ("lost", "half rows", "damaged")


def trials(*, small: bool, seed: int) -> list[Trial]:
    """Every trial, at full or small size."""
    kills = 3 if small else 100
    rows = 25 if small else 500
    return [
        ("kill the log's insert", lambda folder: killed.kill_insert(folder, kills, seed), KILLS),
        ("kill enter", lambda folder: killed.kill_enter(folder, kills, seed), KILLS),
        (
            "kill import",
            lambda folder: killed.kill_import(folder, kills, seed),
            (*KILLS, "partial", "not once afterwards"),
        ),
        (
            "kill the upgrade",
            lambda folder: killed.kill_upgrade(folder, 4 if small else 100, seed),
            (*KILLS, "changed"),
        ),
        ("2 writers at once", lambda folder: _short(broken.crowd(folder, 2, rows)), CROWD),
        ("4 writers at once", lambda folder: _short(broken.crowd(folder, 4, rows)), CROWD),
        (
            "disk full",
            lambda folder: _missing(broken.full_disk(folder, 3 if small else 30, seed), "kept", "whole"),
            ("other words", "never full", "not kept", "not whole"),
        ),
        (
            "clock set back",
            lambda folder: _missing(broken.clock_set_back(folder), "in order", "whole", "warned", of=1),
            ("not in order", "not whole", "not warned"),
        ),
        (
            "one byte flipped",
            lambda folder: broken.flips(
                broken.made_log(folder / "flips.db", cuts=200), folder, 10 if small else 1000, seed
            ),
            ("changed by looking", "original touched"),
        ),
        ("turned read-only", lambda folder: broken.read_only_midway(), ("not in words", "changed")),
    ]


CROWD = ("missing", "numbers_twice", "errors", "damage")


def _short(found: Mapping[str, int]) -> dict[str, int]:
    return {**found, "missing": 2 * found["asked"] - found["acknowledged"] - found["there"]}


def _missing(found: Mapping[str, int], *names: str, of: int = 0) -> dict[str, int]:
    """Counts of what ought to have been so every time, and was not."""
    times = of or sum(count for name, count in found.items() if name not in names)
    return {**found, **{f"not {name}": times - found.get(name, 0) for name in names}}


def main(words: list[str]) -> None:
    """Run every trial and print what it counted."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks faults")
    parser.add_argument("--small", action="store_true", help="a few of each")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", default="", help="trials whose name holds this text")
    chosen = parser.parse_args(words)
    broken_promises = []
    for name, run, zero in trials(small=chosen.small, seed=chosen.seed):
        if chosen.only not in name:
            continue
        begun = time.monotonic()
        with tempfile.TemporaryDirectory() as folder:
            found = run(Path(folder))
        told = ", ".join(f"{what} {count}" for what, count in found.items())
        print(f"{name:22} {told}   ({time.monotonic() - begun:.0f} s)", flush=True)
        broken_promises.extend(f"{name}: {what} {found[what]}" for what in zero if found.get(what))
    if broken_promises:
        sys.exit("broken promises: " + "; ".join(broken_promises))
