"""A bid from Python: the take-off, what was planned beside it, the draft, and the same with one thing changed."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from burnlog.library.record import OpenLog, frames_of, scoped

if TYPE_CHECKING:
    from burnlog.analyses.estimate import Estimate, Plan
    from burnlog.analyses.scope import Scope
    from burnlog.analyses.takeoff import TakeOff
    from burnlog.columns import Frames
    from burnlog.physics.sections import Section
    from burnlog.store.log import Log

__all__ = ["estimate", "own_sections", "plan", "read_takeoff", "read_takeoff_file", "what_if"]


def plan(
    *,
    bottom_time: str | None = None,
    start_up: str | None = None,
    dives_per_day: float | None = None,
    divers: Sequence[str] = (),
    rest_of: str | None = None,
    allow_outside: str | None = None,
    seed: int = 1,
    draws: int = 10_000,
) -> Plan:
    """What the estimator knows beside the take-off. None of it has a default that is a number of the trade.

    Parameters
    ----------
    bottom_time, start_up : str, optional
        As people write them, ``"40 min"``: from the tables the supervisor uses. Without both, no dives.
    dives_per_day : float, optional
    divers : sequence of str
        Codes of divers who will do it.
    rest_of : str, optional
        The rest of this job of the history, with its own effect.
    allow_outside : str, optional
        Reason for going beyond what was logged.
    seed, draws : int

    Raises
    ------
    ReadError
        A time with two readings, or none.

    Examples
    --------
    >>> from burnlog import plan
    >>> plan(bottom_time="40 min", start_up="15 min").bottom_time_s
    2400.0
    """
    from burnlog import units
    from burnlog.analyses.estimate import Plan as Typed

    def seconds(text: str | None) -> float | None:
        return None if text is None else units.read(text, "bottom_time").value

    return Typed(
        bottom_time_s=seconds(bottom_time),
        start_up_s=seconds(start_up),
        dives_per_day=dives_per_day,
        divers=(divers,) if isinstance(divers, str) else tuple(divers),
        job=rest_of,
        allow_outside=allow_outside,
        seed=seed,
        draws=draws,
    )


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
    record : OpenLog or Frames
    takeoff : TakeOff, Path or str
        What is to be cut, or the CSV or XLSX file that says so.
    plan : Plan, optional
        From `plan`: bottom time, start-up, seed and the like.
    scope, **filters
        As in `burnlog.fit_rates`.

    Raises
    ------
    RowErrors
        The file has cells that cannot be read.
    RefusedError
        The history does not know this work, or is too small.

    Examples
    --------
    >>> from burnlog import estimate, open_log
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

    db_id = record.db_id if isinstance(record, OpenLog) else ""
    basis = basis_of(*scoped(record, scope, filters), db_id=db_id)
    if isinstance(takeoff, Path | str):
        takeoff = read_takeoff(record, takeoff)
    return draft(basis, takeoff, Typed() if plan is None else plan)


def what_if(made: Estimate, what: str, levels: Sequence[Any]) -> list[tuple[str, Estimate | None]]:
    """The same bid with one thing changed, on the same fit and seed.

    Parameters
    ----------
    made : Estimate
    what : str
        ``bottom_time`` or ``start_up``, or a condition: position, visibility, current, fouling, backing.
    levels : sequence
        Times as people write them, ``"30 min"``; or words of the condition.

    Returns
    -------
    list of (level, Estimate or None)
        None where the history holds nothing of that level.

    Examples
    --------
    >>> from burnlog import estimate, open_log, what_if
    >>> with open_log("demo/demo.db") as record:
    ...     bid = estimate(record, "demo/takeoff.csv")
    >>> [level for level, _ in what_if(bid, "visibility", ["by feel", "1-3 ft"])]
    ['by feel', '1-3 ft']
    """
    from burnlog import units
    from burnlog.analyses.whatif import vary

    if what in ("bottom_time", "start_up"):
        return vary(made, f"{what}_s", [units.read(level, "bottom_time").value for level in levels])
    return vary(made, what, levels)


def read_takeoff(record: OpenLog | Frames, path: Path | str) -> TakeOff:
    """A take-off file, CSV or XLSX, read with the rod types and the section list of a log.

    Raises
    ------
    RowErrors
        Every cell that cannot be read, at once.

    Examples
    --------
    >>> from burnlog import open_log, read_takeoff
    >>> with open_log("demo/demo.db") as record:
    ...     [item.item for item in read_takeoff(record, "demo/takeoff.csv").items]
    ['bearing piles', 'pipe piles', 'sheet wall', 'brace plates']
    """
    types = frames_of(record).rod_types
    families = dict(zip(types["rod_type"], types["family"], strict=True))
    sections = own_sections(record.log) if isinstance(record, OpenLog) else ()
    return read_takeoff_file(Path(path), sections, families)


def read_takeoff_file(
    path: Path,
    sections: tuple[Section, ...] = (),
    families: Mapping[str, Any] | None = None,
    water: str | None = None,
) -> TakeOff:
    """A take-off file read with the sections and rod types handed over.

    Parameters
    ----------
    path : Path
    sections : tuple of Section
        The user's own.
    families : mapping of str to str
        Rod type -> family.
    water : str, optional
        Which water a depth in feet or metres is of.
    """
    from burnlog.analyses.takeoff import read_takeoff as understood
    from burnlog.store.tablefile import open_table
    from burnlog.store.workbook import cell_address

    table = open_table(path)
    places = {header.typed: header.place for header in table.headers}
    rows = ((row.number, {typed: row.cells[place] for typed, place in places.items()}) for row in table.rows())

    def address(row: int, column: str) -> str:
        place = next((place for typed, place in places.items() if typed.split("[")[0].strip().lower() == column), 0)
        return cell_address(row, place)

    return understood(
        rows,
        source=table.name,
        own_sections=sections,
        rod_types=families,
        water=water,
        address=address if table.spreadsheet else None,
    )


def own_sections(log: Log) -> tuple[Section, ...]:
    """The user's own section list, as the log holds it."""
    from burnlog.physics.sections import Section

    rows = log.rows("SELECT name, detail, source FROM sourced_value WHERE kind = 'section' AND voided_at IS NULL")
    details = [(row, json.loads(row["detail"])) for row in rows]
    return tuple(Section(str(row["name"]), d["kind"], d["dims"], str(row["source"])) for row, d in details)
