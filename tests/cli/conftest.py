"""The invented contractor's three years as a log."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from terminal import ORDER, seeded


@pytest.fixture(scope="session")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A log made up from the seed files; the record in it is not to be changed."""
    return seeded(tmp_path_factory.mktemp("season") / "season.db", *ORDER)


@pytest.fixture
def own(season: Path, tmp_path: Path) -> Path:
    """A copy of that log, to be changed."""
    return Path(shutil.copy(season, tmp_path / "own.db"))
