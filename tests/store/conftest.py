"""A log to write into."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from scribe import Scribe, clock

from burnlog.store.log import Log


@pytest.fixture(scope="session")
def empty_log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The file of an empty log, to copy."""
    path = tmp_path_factory.mktemp("empty") / "log.db"
    Log.create(path, by="JM", now=clock).close()
    return path


@pytest.fixture
def log(tmp_path: Path, empty_log: Path) -> Iterator[Log]:
    """An empty log, open for writing."""
    path = tmp_path / "log.db"
    shutil.copy(empty_log, path)
    with Log.open(path, by="JM", now=clock) as found:
        yield found


@pytest.fixture
def scribe(log: Log) -> Scribe:
    """A log with one job, dive 14 of it and two lines, and somebody to write in it."""
    made = Scribe(log)
    made.dive(14)
    made.line("L14", 1076.2)
    made.line("L15", 600.0, thickness_mm=12.7, material="carbon steel")
    return made
