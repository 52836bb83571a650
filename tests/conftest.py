"""What every test runs under: no network, no name or file of the person who runs them, warnings as errors."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

GUARD = Path(__file__).parent / "guard"
ROOT = Path(__file__).parent.parent
SEED = ROOT / "seed_data"

sys.path.insert(0, str(GUARD))
import sitecustomize  # noqa: E402 - the guard must stand before any test imports the package

if not hasattr(sitecustomize, "guarded"):  # another sitecustomize was loaded at start-up: load ours by path
    import importlib.util

    _spec = importlib.util.spec_from_file_location("burnlog_guard", GUARD / "sitecustomize.py")
    assert _spec is not None
    assert _spec.loader is not None
    _spec.loader.exec_module(importlib.util.module_from_spec(_spec))


@pytest.fixture(autouse=True)
def _plain_surroundings(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each test starts without BURNLOG_ settings, and its child processes carry the network guard."""
    for name in [name for name in os.environ if name.startswith("BURNLOG_")]:
        monkeypatch.delenv(name)
    monkeypatch.setenv("PYTHONPATH", str(GUARD))
    monkeypatch.setenv("OPENBLAS_NUM_THREADS", "1")


Runner = Callable[..., subprocess.CompletedProcess[str]]


@pytest.fixture
def burnlog(tmp_path: Path) -> Runner:
    """Run the command as a person does: `burnlog("rates", "--json")` in a folder of its own."""

    def run(
        *words: str, stdin: str | None = None, db: Path | None = None, env: dict[str, str] | None = None
    ) -> subprocess.CompletedProcess[str]:
        surroundings = {**os.environ, "COLUMNS": "80", "BURNLOG_DB": str(db or tmp_path / "log.db"), **(env or {})}
        return subprocess.run(
            [sys.executable, "-m", "burnlog", *words],
            capture_output=True,
            text=True,
            input=stdin,
            cwd=tmp_path,
            env=surroundings,
            timeout=300,
            check=False,
        )

    return run
