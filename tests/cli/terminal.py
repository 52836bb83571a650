"""The command as a person runs it, and the logs it is run on."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

SEED = Path(__file__).parents[2] / "seed_data"
ORDER = (
    *("jobs", "rod_types", "persons", "rigs", "banks", "cuts_2023", "cuts_2024", "cuts_2025", "cuts_2026"),
    *("lines", "class", "practice", "readings", "rules", "prices"),
)
"""The seed files in the order in which a log takes them."""


def run(db: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """Run the command on a log, 80 columns wide."""
    return subprocess.run(
        [sys.executable, "-m", "burnlog", "--db", str(db), *words],
        capture_output=True,
        text=True,
        env={**os.environ, "COLUMNS": "80"},
        check=False,
        timeout=300,
    )


def seeded(db: Path, *names: str) -> Path:
    """A new log, made up from these seed files."""
    assert run(db, "init", "--made-up").returncode == 0
    done = run(db, "import", *(str(SEED / f"{name}.csv") for name in names))
    assert done.returncode == 0, done.stderr
    return db
