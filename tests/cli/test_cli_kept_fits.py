"""A fit that a bid needs is kept in the log and read back, never trusted beyond the record it was made from."""

from __future__ import annotations

import datetime as dt
import json
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from terminal import SEED, run

from burnlog.analyses.basis import basis_of
from burnlog.analyses.estimate import Plan, draft, spread_of
from burnlog.errors import FileError

BID = ("estimate", "draft", str(SEED / "takeoff.csv"), "--bottom-time", "40min", "--start-up", "15min", "--json")


def _fits(db: Path) -> list[str]:
    """Digests of the fits kept in a log, oldest first."""
    with closing(sqlite3.connect(db)) as log:
        return [str(row[0]) for row in log.execute("SELECT data_hash FROM fit_run ORDER BY no")]


@pytest.fixture
def unfitted(own: Path) -> Path:
    """That copy without the fits that other bids have kept in it."""
    with closing(sqlite3.connect(own, isolation_level=None)) as log:
        log.executescript("DROP TRIGGER fit_run_kept; DELETE FROM fit_run;")
    return own


def test_a_fit_is_kept_once_and_read_back(unfitted: Path) -> None:
    """A second bid on the same record keeps no second fit, and prints the same bytes as the first."""
    before = len(_fits(unfitted))
    first = run(unfitted, *BID)
    assert first.returncode == 0, first.stderr
    kept = _fits(unfitted)
    assert len(kept) == before + 1
    assert run(unfitted, *BID).stdout == first.stdout
    assert _fits(unfitted) == kept


def test_an_amended_record_is_fitted_anew(own: Path) -> None:
    """One count mended makes another fit and another bid; the old fit stays as it was."""
    first = run(own, *BID)
    kept = _fits(own)
    rows = json.loads(run(own, "list", "tallies", "--job", "PIER12", "--json").stdout)["tallies"]
    number = next(str(row["tally"]) for row in rows if row["scope"] == "cut" and row["rods"])
    assert run(own, "--by", "JM", "fix", "tally", number, "rods=31", "--why", "recount").returncode == 0
    assert run(own, *BID).stdout != first.stdout
    assert len(_fits(own)) == len(kept) + 1
    assert _fits(own)[: len(kept)] == kept


def test_a_log_in_other_hands_gives_the_same_bid(own: Path) -> None:
    """While somebody else writes to the log no fit is kept: the bid is the same and says nothing of it."""
    wanted = run(own, *BID).stdout
    with closing(sqlite3.connect(own, isolation_level=None)) as holder:
        holder.executescript("DROP TRIGGER fit_run_kept; DELETE FROM fit_run; BEGIN IMMEDIATE;")
        done = run(own, *BID)
        holder.execute("ROLLBACK")
    assert done.returncode == 0, done.stderr
    assert done.stdout == wanted
    assert not done.stderr
    assert _fits(own) == []


def test_a_read_only_log_gives_the_same_bid(unfitted: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A log that opens for reading alone is fitted anew each time, and nothing is raised or written."""
    from burnlog import estimate, open_log
    from burnlog.library import fits
    from burnlog.store.log import Log

    opened = Log.open

    def reading(path: Path, **options: Any) -> Log:
        if options.get("write", True):
            raise FileError(f"{path} cannot be opened for this (attempt to write a readonly database).")
        return opened(path, **options)

    monkeypatch.setattr(Log, "open", reading)
    then = dt.datetime(2026, 5, 1, tzinfo=dt.UTC)
    with open_log(unfitted) as record:
        basis = basis_of(record.frames())
        wanted = estimate(record, SEED / "takeoff.csv")
    fit_by = fits.kept_fits(unfitted, by="JM", now=lambda: then)
    made = draft(basis, wanted.takeoff, Plan(), fit_by=fit_by)
    assert spread_of(made.rods) == spread_of(wanted.rods)
    assert _fits(unfitted) == []
