"""Kills, crowds, full disks and flipped bytes, a few of each; `python -m benchmarks faults` runs them in full."""

from __future__ import annotations

from pathlib import Path

import pytest

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
