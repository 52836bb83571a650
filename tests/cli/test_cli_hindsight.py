"""The backtest at the command line: past jobs, invented records, and a bar only for those who watch."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from burnlog.cli import progress

SEED = Path(__file__).parents[2] / "seed_data"


def _run(db: Path, *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "burnlog", "--db", str(db), *words],
        capture_output=True,
        text=True,
        env={**os.environ, "COLUMNS": "80"},
        check=False,
        timeout=300,
    )


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    db = tmp_path_factory.mktemp("hindsight") / "log.db"
    names = ("jobs", "rod_types", "persons", "rigs", "banks", "cuts_2023")
    assert _run(db, "init", "--made-up").returncode == 0
    done = _run(db, "import", *(str(SEED / f"{name}.csv") for name in names))
    assert done.returncode == 0, done.stderr
    return db


def test_simulate_says_what_it_rests_on_and_repeats(log: Path) -> None:
    """The answer opens with INVENTED RECORDS, names its seed and n, is silent on stderr and repeats as JSON."""
    done = _run(log, "backtest", "--simulate", "--histories", "20", "--seed", "4")
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    assert done.stdout.startswith("INVENTED RECORDS. 20 records")
    assert "seed 4, 20 invented records" in done.stdout
    assert "Planning and learning record only" in done.stdout
    one = json.loads(_run(log, "backtest", "--simulate", "--histories", "20", "--seed", "4", "--json").stdout)
    assert one["invented"] is True
    assert f"{100 * one['held']['rods']['c80']:.0f} %" in done.stdout


def test_what_does_not_go_together_is_said(log: Path) -> None:
    """Invented records have no past to go forward in; a number of them needs them asked for."""
    for words in (("--simulate", "--forward"), ("--histories", "50"), ("--simulate", "--histories", "3")):
        done = _run(log, "backtest", *words)
        assert done.returncode == 2
        assert "invented records" in done.stderr or "--simulate" in done.stderr


class _Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize(
    ("watched", "patience", "drawn"), [(True, 0.0, True), (True, 60.0, False), (False, 0.0, False)]
)
def test_the_bar_is_for_slow_work_on_a_terminal(
    monkeypatch: pytest.MonkeyPatch, watched: bool, patience: float, drawn: bool
) -> None:
    """A bar appears on a terminal once the patience is over, and never in a file or a pipe."""
    stream = _Terminal() if watched else io.StringIO()
    monkeypatch.setattr(sys, "stderr", stream)
    monkeypatch.setattr(progress, "PATIENCE_S", patience)
    monkeypatch.setenv("TERM", "xterm")
    with progress.bar("invented records") as tick:
        for n in range(1, 4):
            tick(n, 3)
    assert ("invented records" in stream.getvalue()) is drawn
