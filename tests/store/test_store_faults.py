"""Kills, crowds, full disks, flipped bytes and spoiled files, a few of each.

`python -m benchmarks faults` and `mangled` run them in full.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from benchmarks import mangled
from benchmarks.faults import trials

SMALL = trials(small=True, seed=20260512)


@pytest.mark.parametrize("trial", SMALL, ids=[name for name, _, _ in SMALL])
def test_a_log_keeps_its_promises(trial: tuple[str, object, tuple[str, ...]], tmp_path: Path) -> None:
    """Nothing acknowledged is lost, nothing is half there, and what must not happen happened no time."""
    _, run, zero = trial
    assert callable(run)
    found = run(tmp_path)
    assert {what: found.get(what, 0) for what in zero} == dict.fromkeys(zero, 0)
    assert sum(found.values()) > 0


def test_kills_really_killed(tmp_path: Path) -> None:
    """The trials above end processes that were writing: rows were acknowledged before."""
    from benchmarks.killed import kill_insert

    found = kill_insert(tmp_path, 3, seed=2)
    assert found["kills"] == 3
    assert found["acknowledged"] > 3


def test_bad_cells_are_values_or_words(tmp_path: Path) -> None:
    """A few hundred cells nobody could mean: each is held back with a reason or is a value its column can hold."""
    found = mangled.bad_cells(tmp_path, 300, seed=12)
    assert {what: found[what] for what in mangled.CELLS_ZERO} == dict.fromkeys(mangled.CELLS_ZERO, 0)
    assert min(found["refused"], found["read"], found["rows held back"], found["rows taken"]) > 20


def test_spoiled_files_are_taken_whole_or_refused(tmp_path: Path) -> None:
    """A file spoiled in each way there is: never a traceback, never a part of it, the exit code it deserves."""
    found = mangled.spoiled_files(tmp_path, len(mangled.WAYS), seed=12)
    assert {what: found[what] for what in mangled.FILES_ZERO} == dict.fromkeys(mangled.FILES_ZERO, 0)
    assert min(found["exit 0"], found["exit 2"], found["exit 5"]) > 2
