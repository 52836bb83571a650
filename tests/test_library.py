"""The public names of the package, and what they accept."""

from __future__ import annotations

import datetime as dt
import inspect
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

import burnlog
from burnlog import library
from burnlog.analyses.invented import history
from burnlog.analyses.scope import Scope
from burnlog.errors import FileError, InputError, RefusedError
from burnlog.store.log import Log


@pytest.fixture
def empty(tmp_path: Path) -> Iterator[library.OpenLog]:
    """A log with nothing in it."""
    path = tmp_path / "empty.db"
    Log.create(path, by="test", now=lambda: dt.datetime(2026, 1, 1, tzinfo=dt.UTC)).close()
    with burnlog.open_log(path) as record:
        yield record


def test_the_public_names_are_sorted_and_complete() -> None:
    """`__all__` is in order, every name is there with a docstring, and no public name of `library` is missing."""
    assert burnlog.__all__ == sorted(burnlog.__all__)
    assert burnlog.__all__ == library.__all__
    defined = {
        name
        for name, value in vars(library).items()
        if not name.startswith("_")
        and (inspect.isfunction(value) or inspect.isclass(value))
        and value.__module__ == "burnlog.library"
    }
    assert defined == set(burnlog.__all__)
    assert all(getattr(burnlog, name).__doc__ for name in burnlog.__all__)


def test_importing_the_package_loads_no_heavy_library() -> None:
    """`import burnlog` leaves pandas, numpy, scipy, statsmodels, altair and typer alone."""
    code = (
        "import sys, burnlog; "
        "print([m for m in ('pandas', 'numpy', 'scipy', 'statsmodels', 'altair', 'typer') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_an_empty_log_has_frames_and_no_model(empty: library.OpenLog) -> None:
    """Frames are read once; without tallies a fit is refused with a sentence."""
    assert empty.frames() is empty.frames()
    assert len(empty.cuts()) == len(empty.tallies()) == 0
    with pytest.raises(RefusedError, match="tall"):
        burnlog.fit_rates(empty)


def test_a_missing_log_is_said(tmp_path: Path) -> None:
    """A path where nothing stands is a file error that names it."""
    with pytest.raises(FileError, match=r"none\.db"):
        burnlog.open_log(tmp_path / "none.db")


def test_an_open_log_cannot_be_written_through(empty: library.OpenLog) -> None:
    """The library opens for reading: a statement that writes fails, whatever it says."""
    with pytest.raises(sqlite3.OperationalError, match="readonly"):
        empty._log.connection.execute("CREATE TABLE intruder (x)")


def test_filters_are_fields_of_the_scope(empty: library.OpenLog) -> None:
    """A keyword replaces one field, a single code stands for a tuple, and an unknown keyword is named."""
    assert library._scope(None, {"jobs": "PIER12", "divers": ["D1", "D2"]}) == Scope(
        jobs=("PIER12",), divers=("D1", "D2")
    )
    assert library._scope(Scope(setting="test tank"), {"family": "tubular"}) == Scope("test tank", family="tubular")
    with pytest.raises(InputError, match="no filter crew; the filters are setting"):
        burnlog.rates(empty, crew="RED")


def test_frames_do_as_well_as_a_log() -> None:
    """Frames made in memory give the ratio that the sums give: all rods used over all new length used."""
    frames = history(jobs=3, rng=np.random.default_rng(5)).frames
    learned = burnlog.rates(frames, by="job")
    fit = burnlog.fit_rates(frames)
    used = fit.tallyset.tallies
    assert learned.ratio.rods_per_m == pytest.approx(used["rods"].sum() / used["new_length_m"].sum(), rel=1e-12)
    assert {group.group for group in learned.by} == {"job"}
