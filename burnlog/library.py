"""The library's front door: open a log, learn from it, estimate, from Python.

Every function takes an open log or its frames, and the fields of `burnlog.analyses.scope.Scope` as keywords
(``family="exothermic"``, ``jobs="PIER12"``, ``since=date(2024, 1, 1)``). The heavy libraries load when a function
runs, not on import. Numbers are SI, with the unit in the name. The examples run on the log that
``burnlog demo demo`` leaves; its contractor, jobs and every figure are MADE UP.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Sequence

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
    """A log opened for reading; a context manager.

    Attributes
    ----------
    path : Path
    db_id : str
        Identity of the log, printed on pages.
    made_up : bool
        Everything in it is invented.
    """

    def __init__(self, path: Path) -> None:
        from burnlog.store.log import Log

        self._log = Log.open(path, now=lambda: dt.datetime.now(dt.UTC), write=False)
        self._frames: Frames | None = None
        self.path = path
        self.db_id = self._log.db_id
        self.made_up = self._log.made_up

    def frames(self) -> Frames:
        """The whole record as frames, read once.

        >>> with open_log("demo/demo.db") as record:
        ...     len(record.frames().jobs)
        16
        """
        if self._frames is None:
            from burnlog.store.frames import load_frames

            self._frames = load_frames(self._log)
        return self._frames

    def cuts(self) -> pd.DataFrame:
        """One row per cut; columns as `burnlog.columns.GLOSSARY["cuts"]`.

        >>> with open_log("demo/demo.db") as record:
        ...     record.cuts()["outcome"].value_counts().index[0]
        'through'
        """
        return self.frames().cuts

    def tallies(self) -> pd.DataFrame:
        """One row per rod count; columns as `burnlog.columns.GLOSSARY["tallies"]`.

        A count belongs to one cut or to all cuts of a dive, so there are fewer of them than cuts:

        >>> with open_log("demo/demo.db") as record:
        ...     len(record.tallies()) < len(record.cuts())
        True
        """
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

    Examples
    --------
    >>> with open_log("demo/demo.db") as record:
    ...     record.made_up
    True
    """
    return OpenLog(Path(path))


def fit_rates(record: OpenLog | Frames, scope: Scope | None = None, **filters: Any) -> RateFit:
    """The fitted model of rods and time, from which new work is simulated.

    Parameters
    ----------
    record : OpenLog or Frames
    scope : Scope, optional
        What may stand together; production in open water without one.
    **filters
        Fields of `Scope` that differ from it.

    Raises
    ------
    FitError
        Fewer tallies or jobs than a model needs.

    Examples
    --------
    >>> with open_log("demo/demo.db") as record:
    ...     fit = fit_rates(record)
    >>> sorted(fit.rods.posterior.group_sd)
    ['diver', 'job']
    """
    from burnlog.analyses.rate_fit import fit_rates as fitted
    from burnlog.analyses.tallies import decided_out, gather

    frames = _frames(record)
    return fitted(gather(frames, _scope(scope, filters), leave_out=decided_out(frames)))


def rates(record: OpenLog | Frames, scope: Scope | None = None, *, by: Sequence[str] = (), **filters: Any) -> Rates:
    """Rods and time over length: the ratio always, the model where the history holds one.

    Parameters
    ----------
    record, scope, **filters
        As in `fit_rates`.
    by : sequence of str
        What to show side by side: crew, diver, family, visibility, thickness and others.

    Examples
    --------
    >>> with open_log("demo/demo.db") as record:
    ...     learned = rates(record, by=["crew"], family="exothermic")
    >>> [group.level for group in learned.by if group.jobs > 1]
    ['BLUE', 'GREY', 'RED']
    >>> learned.ratio.tallies >= 10
    True
    """
    from burnlog.analyses.rates import rates as learned

    frames = _frames(record)
    return learned(frames, _scope(scope, filters), by=(by,) if isinstance(by, str) else tuple(by))


def flags(record: OpenLog | Frames, scope: Scope | None = None, **filters: Any) -> FlagReview:
    """Odd burns, each a question.

    Examples
    --------
    >>> with open_log("demo/demo.db") as record:
    ...     review = flags(record, jobs="MOOR1")
    >>> sorted({flag.job for flag in review.flags})
    ['MOOR1']
    """
    from burnlog.analyses.flags import flags as asked

    return asked(_frames(record), _scope(scope, filters))


def estimate(
    record: OpenLog | Frames,
    takeoff: TakeOff | Path | str,
    plan: Plan | None = None,
    scope: Scope | None = None,
    **filters: Any,
) -> Estimate:
    """A bid for a take-off, as draws of whole jobs.

    Parameters
    ----------
    record, scope, **filters
        As in `fit_rates`.
    takeoff : TakeOff, Path or str
        What is to be cut, or the CSV or XLSX file that says so.
    plan : Plan, optional
        Bottom time, start-up, seed and the like, as typed.

    Raises
    ------
    RowErrors
        The file has cells that cannot be read.
    RefusedError
        The history does not know this work, or is too small.

    Examples
    --------
    >>> with open_log("demo/demo.db") as record:
    ...     bid = estimate(record, "demo/takeoff.csv").as_json()
    >>> bid["rods"]["p10"] < bid["rods"]["p50"] < bid["rods"]["p90"]
    True
    >>> bid["basis"]["jobs"]
    14
    """
    from burnlog.analyses.basis import basis_of
    from burnlog.analyses.estimate import Plan as Typed
    from burnlog.analyses.estimate import draft

    frames = _frames(record)
    db_id = record.db_id if isinstance(record, OpenLog) else ""
    basis = basis_of(frames, _scope(scope, filters), db_id=db_id)
    if isinstance(takeoff, Path | str):
        from burnlog.cli.bid import read_takeoff_file
        from burnlog.cli.sections import own_sections

        sections = own_sections(record._log) if isinstance(record, OpenLog) else ()
        families = {code: row.get("family") for code, row in basis.rod_types.items()}
        takeoff = read_takeoff_file(Path(takeoff), sections, families)
    return draft(basis, takeoff, Typed() if plan is None else plan)


def _frames(record: OpenLog | Frames) -> Frames:
    return record.frames() if isinstance(record, OpenLog) else record


def _scope(scope: Scope | None, filters: dict[str, Any]) -> Scope:
    """A scope with some fields replaced; one code may stand for a tuple of one."""
    from dataclasses import fields, replace

    from burnlog.analyses.scope import Scope as Filter
    from burnlog.errors import InputError

    known = [field.name for field in fields(Filter)]
    if unknown := sorted(set(filters) - set(known)):
        raise InputError(f"there is no filter {', '.join(unknown)}; the filters are {', '.join(known)}.")
    several = {"materials", "jobs", "crews", "divers"}
    given = {
        name: (value,) if isinstance(value, str) else tuple(value) if value is not None else None
        for name, value in filters.items()
        if name in several
    }
    return replace(Filter() if scope is None else scope, **{**filters, **given})
