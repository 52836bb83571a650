"""The library's front door: open a log, learn from it, estimate, from Python.

Every function takes an open log or its frames. The heavy libraries load when a function runs, not on import.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd

    from burnlog.analyses.estimate import Estimate, Plan
    from burnlog.analyses.flags import FlagReview
    from burnlog.analyses.rate_fit import RateFit
    from burnlog.analyses.rates import Rates
    from burnlog.analyses.scope import Scope
    from burnlog.analyses.takeoff import TakeOff
    from burnlog.columns import Frames

__all__ = ["OpenLog", "estimate", "fit_rates", "flags", "open_log", "rates"]


class OpenLog:
    """A log opened for reading; a context manager."""

    def __init__(self, path: Path) -> None:
        from burnlog.store.log import Log

        self._log = Log.open(path, now=lambda: dt.datetime.now(dt.UTC), write=False)
        self._frames: Frames | None = None
        self.db_id = self._log.db_id
        self.made_up = self._log.made_up

    def frames(self) -> Frames:
        """The whole record as frames, read once."""
        if self._frames is None:
            from burnlog.store.frames import load_frames

            self._frames = load_frames(self._log)
        return self._frames

    def cuts(self) -> pd.DataFrame:
        """One row per cut; columns as `burnlog.columns.GLOSSARY["cuts"]`."""
        return self.frames().cuts

    def tallies(self) -> pd.DataFrame:
        """One row per rod count; columns as `burnlog.columns.GLOSSARY["tallies"]`."""
        return self.frames().tallies

    def close(self) -> None:
        """Close the file."""
        self._log.close()

    def __enter__(self) -> OpenLog:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def open_log(path: Path | str) -> OpenLog:
    """Open a log for reading.

    Raises
    ------
    FileError
        Missing, not a log, damaged, or newer than this program.
    """
    return OpenLog(Path(path))


def _frames(record: OpenLog | Frames) -> Frames:
    return record.frames() if isinstance(record, OpenLog) else record


def _scope(scope: Scope | None) -> Scope:
    from burnlog.analyses.scope import Scope as Filter

    return Filter() if scope is None else scope


def rates(record: OpenLog | Frames, scope: Scope | None = None, **options: Any) -> Rates:
    """Rods and time over length; options as `burnlog.analyses.rates.rates`."""
    from burnlog.analyses.rates import rates as learned

    return learned(_frames(record), _scope(scope), **options)


def fit_rates(record: OpenLog | Frames, scope: Scope | None = None) -> RateFit:
    """The fitted model of rods and time, from which new work is simulated."""
    from burnlog.analyses.rate_fit import fit_rates as fitted
    from burnlog.analyses.tallies import decided_out, gather

    frames = _frames(record)
    return fitted(gather(frames, _scope(scope), leave_out=decided_out(frames)))


def flags(record: OpenLog | Frames, scope: Scope | None = None) -> FlagReview:
    """Odd burns, each a question."""
    from burnlog.analyses.flags import flags as asked

    return asked(_frames(record), _scope(scope))


def estimate(
    record: OpenLog | Frames, takeoff: TakeOff, plan: Plan | None = None, scope: Scope | None = None
) -> Estimate:
    """A bid for a take-off, as draws of whole jobs."""
    from burnlog.analyses.basis import basis_of
    from burnlog.analyses.estimate import Plan as Typed
    from burnlog.analyses.estimate import draft

    db_id = record.db_id if isinstance(record, OpenLog) else ""
    return draft(basis_of(_frames(record), _scope(scope), db_id=db_id), takeoff, Typed() if plan is None else plan)
