"""A log from Python: made from files, opened for reading, or invented with a known truth."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd

    from burnlog.analyses.scope import Scope
    from burnlog.columns import Frames
    from burnlog.store.log import Log

__all__ = ["Invented", "OpenLog", "frames_of", "invent", "make_demo", "make_log", "open_log", "scoped"]


class OpenLog:
    """A log opened for reading; a context manager.

    Attributes
    ----------
    path : Path
    db_id : str
        Identity of the log, printed on pages.
    made_up : bool
        Everything in it is invented.

    Examples
    --------
    >>> from burnlog import open_log
    >>> with open_log("demo/demo.db") as record:
    ...     record.made_up
    True
    """

    def __init__(self, path: Path) -> None:
        from burnlog.store.log import Log

        self._log = Log.open(path, now=_now, write=False)
        self._frames: Frames | None = None
        self.path = path
        self.db_id = self._log.db_id
        self.made_up = self._log.made_up

    @property
    def log(self) -> Log:
        """The log file itself, open for reading."""
        return self._log

    def frames(self) -> Frames:
        """The whole record as frames, read once.

        >>> from burnlog import open_log
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

        >>> from burnlog import open_log
        >>> with open_log("demo/demo.db") as record:
        ...     record.cuts()["outcome"].value_counts().index[0]
        'through'
        """
        return self.frames().cuts

    def tallies(self) -> pd.DataFrame:
        """One row per rod count; columns as `burnlog.columns.GLOSSARY["tallies"]`.

        A count belongs to one cut or to all cuts of a dive, so there are fewer of them than cuts:

        >>> from burnlog import open_log
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


@dataclass(frozen=True, eq=False)
class Invented:
    """A record whose truth is known, and the next job after it. Everything in it is MADE UP.

    Attributes
    ----------
    frames : Frames
        The record; every function that learns takes it.
    next_job : DataFrame
        Lines of a job still to come, as `fit_rates(...).simulate` takes them.
    took_rods : float
        What that job then took, drawn once from the truth.

    Examples
    --------
    >>> from burnlog import invent
    >>> made = invent(6, seed=3)
    >>> bool(made.frames.jobs["made_up"].all())
    True
    """

    frames: Frames
    next_job: pd.DataFrame
    took_rods: float


def open_log(path: Path | str) -> OpenLog:
    """Open a log for reading.

    Raises
    ------
    FileError
        Missing, not a log, damaged, or newer than this program.

    Examples
    --------
    >>> from burnlog import open_log
    >>> with open_log("demo/demo.db") as record:
    ...     sorted(record.cuts()["crew"].dropna().unique())
    ['BLUE', 'CLASS', 'GREY', 'RED']
    """
    return OpenLog(Path(path))


def make_log(path: Path | str, files: Iterable[Path | str], *, by: str, made_up: bool = False) -> OpenLog:
    """Make a new log from cut sheets, readings and master files, CSV or XLSX, and open it.

    A file goes in whole or not at all; those before it stay in.

    Parameters
    ----------
    path : Path or str
        A file that does not exist yet.
    files : iterable of Path or str
        Masters first: what a sheet names must be there, or be named by the sheet alone.
    by : str
        Whose hand it is, for the trail.
    made_up : bool
        The log may hold invented rows, and nothing else.

    Raises
    ------
    FileError
        The log exists already, or a file cannot be read.
    RowErrors
        Cells that cannot be read, all of a file's at once.

    Examples
    --------
    >>> from burnlog import make_log
    >>> with make_log("small.db", ["demo/jobs.csv", "demo/rod_types.csv", "demo/class.csv"], by="JM",
    ...               made_up=True) as record:
    ...     len(record.cuts())
    48
    """
    from burnlog.physics.oxygen import contents_kg
    from burnlog.physics.sections import read_section
    from burnlog.store.exchange import import_file
    from burnlog.store.log import Log

    with Log.create(Path(path), by=by, now=_now, made_up=made_up) as log:
        for file in files:
            import_file(log, file, check_section=read_section, weigh=contents_kg)
    return OpenLog(Path(path))


def make_demo(folder: Path | str) -> OpenLog:
    """Write the invented contractor's files into a folder, make a log of them there and open it.

    The log is `demo.db`, the job to be bid `takeoff.csv`. Contractor, jobs and figures are MADE UP.

    Examples
    --------
    >>> from burnlog import make_demo
    >>> with make_demo("again") as record:
    ...     record.path.name, record.made_up
    ('demo.db', True)
    """
    from burnlog.demo import IMPORT_ORDER, write_scenario

    place = Path(folder)
    write_scenario(place)
    return make_log(place / "demo.db", [place / name for name in IMPORT_ORDER], by="demo", made_up=True)


def invent(jobs: int, *, seed: int, blanks: bool = True) -> Invented:
    """Draw a record with a known truth, and what the next job took.

    Parameters
    ----------
    jobs : int
    seed : int
        The same seed draws the same record.
    blanks : bool
        Whether fields are left blank as on real sheets; without, everything was written down.

    Examples
    --------
    >>> from burnlog import invent
    >>> invent(6, seed=3).took_rods == invent(6, seed=3).took_rods
    True
    """
    from dataclasses import replace

    import numpy as np

    from burnlog.analyses.invented import WORLDS, history, realise, take_off

    rng = np.random.default_rng(seed)
    world = WORLDS["base"] if blanks else replace(WORLDS["base"], blanks={})
    made = history(world, jobs=jobs, rng=rng)
    job = take_off(world, rng=rng)
    took = realise(made.truth, job, draws=1, rng=rng)
    return Invented(made.frames, job.lines, float(took.rods[0]))


def frames_of(record: OpenLog | Frames) -> Frames:
    """The frames of a log, or the frames that were handed over."""
    return record.frames() if isinstance(record, OpenLog) else record


def scoped(record: OpenLog | Frames, scope: Scope | None, filters: Mapping[str, Any]) -> tuple[Frames, Scope]:
    """The record and a scope with some fields replaced; one code may stand for a tuple of one.

    Raises
    ------
    InputError
        A keyword that is no filter, or a job, crew or diver that the record does not know: a slip of the pen must
        not read as an empty record.
    """
    from dataclasses import fields, replace

    from burnlog.analyses.scope import Scope as Filter
    from burnlog.errors import InputError
    from burnlog.store.lookup import nearest

    known = [field.name for field in fields(Filter)]
    if unknown := sorted(set(filters) - set(known)):
        raise InputError(f"there is no filter {', '.join(unknown)}; the filters are {', '.join(known)}.")
    several = {"materials", "jobs", "crews", "divers"}
    given = {
        name: (value,) if isinstance(value, str) else tuple(value) if value is not None else None
        for name, value in filters.items()
        if name in several
    }
    found = replace(Filter() if scope is None else scope, **{**filters, **given})
    frames = frames_of(record)
    for name, asked, column in (
        ("job", found.jobs, frames.jobs["job"]),
        ("crew", found.crews, frames.dives["crew"]),
        ("diver", found.divers, frames.dives["diver"]),
    ):
        there = sorted(column.dropna().unique())
        for code in asked or ():
            if code not in there:
                raise InputError(f"the record has no {name} '{code}'; {nearest(code, there)}.")
    return frames, found


def _now() -> dt.datetime:
    return dt.datetime.now(dt.UTC)
