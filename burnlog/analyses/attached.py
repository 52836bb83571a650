"""What is still attached, as far as the sheets say; no line is called done without a length to show for it.

Whoever lifts has it confirmed by a diver first; the list begins with that.
"""

from __future__ import annotations

import difflib
import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

import pandas as pd

from burnlog.columns import Frames
from burnlog.errors import InputError
from burnlog.wording import number_of

__all__ = ["STATES", "Left", "LineLeft", "job_of", "left_on"]

FIRST_LINE = "memory aid; confirm by diver before any lift"
STATES = ("hanging", "part cut", "not known", "abandoned", "not looked at", "planned")
"""States of a line that is listed, in the order of the list."""
ENOUGH = 0.9
"""Share of the planned length severed below which *through* is not believed (judgement)."""


@dataclass(frozen=True)
class LineLeft:
    """One line somebody still has to think of; lengths in metres, None where not recorded."""

    line: str
    state: str
    planned_m: float | None
    severed_m: float | None
    hangers: float | None
    last_dive: str | None
    note: str

    def as_json(self) -> dict[str, Any]:
        """Stable keys, SI."""
        return asdict(self)


@dataclass(frozen=True)
class Left:
    """Lines of a job that are not known to be through and looked at, in the order of `STATES`, then by code.

    `through` lines are through, `removed` were taken away otherwise; both are counted and not listed. Of `unseen` of
    the lines through nobody wrote what the edge looked like: they may not have been looked at.
    """

    job: str
    lines: tuple[LineLeft, ...]
    through: int
    removed: int
    unseen: int = 0

    @property
    def first_line(self) -> str:
        """What every copy of this list begins with."""
        return FIRST_LINE

    def as_json(self) -> dict[str, Any]:
        """Stable keys, SI, n beside the list."""
        return {
            "job": self.job,
            "first_line": self.first_line,
            "lines": [line.as_json() for line in self.lines],
            "through": self.through,
            "edge_not_recorded": self.unseen,
            "removed_another_way": self.removed,
        }


def job_of(frames: Frames, job: str) -> str:
    """The job's code as recorded, whatever the case typed."""
    known = [str(code) for code in frames.jobs["job"]]
    for code in known:
        if code.lower() == job.strip().lower():
            return code
    near = difflib.get_close_matches(job.upper(), known, n=3, cutoff=0.4) or known[:3]
    raise InputError(
        f"no job '{job}' in this log; " + (f"nearest: {', '.join(near)}" if near else "it has no job yet")
    )


def left_on(frames: Frames, job: str) -> Left:
    """What is still attached on a job, as far as the sheets say.

    Parameters
    ----------
    frames : Frames
    job : str
        Job code; case does not matter.

    Returns
    -------
    Left

    Raises
    ------
    InputError
        No such job.
    """
    code = job_of(frames, job)
    cuts = frames.cuts[frames.cuts["job"] == code].sort_values(["dive_date", "dive_no", "row"], kind="stable")
    by_line = dict(iter(cuts.groupby("line_ref")))
    listed, through, removed, unseen = [], 0, 0, 0
    for line in frames.lines[frames.lines["job"] == code].sort_values("line").to_dict("records"):
        if line["state_noted"] == "removed another way":
            removed += 1
            continue
        done = by_line.get(line["line_ref"])
        found = _state(line, done)
        if found is None:
            through += 1
            unseen += done is not None and not isinstance(done["edge"].iloc[-1], str)
        else:
            listed.append(found)
    listed.sort(key=lambda entry: STATES.index(entry.state))
    return Left(code, tuple(listed), through, removed, unseen)


def _state(line: Mapping[Any, Any], cuts: pd.DataFrame | None) -> LineLeft | None:
    """Where a line stands, or None where it is through."""
    planned = _known(line["planned_length_m"])

    def entry(state: str, note: str, severed: float | None, hangers: float | None = None) -> LineLeft:
        dive = None if cuts is None else str(cuts["dive_ref"].iloc[-1])
        return LineLeft(str(line["line"]), state, planned, severed, hangers, dive, note)

    if line["state_noted"] == "abandoned":
        return entry("abandoned", "noted as abandoned", _severed(cuts))
    if cuts is None:
        return entry("planned", "no cut recorded", 0.0)
    severed, last = _severed(cuts), cuts.to_dict("records")[-1]
    hangers = _hangers(cuts)
    if hangers is not None:
        number = f"{number_of(hangers, 'hanger')} left" if hangers else "hangers left, number not recorded"
        return entry("hanging", number, severed, hangers or None)
    outcome = last["outcome"] if isinstance(last["outcome"], str) else "unknown"
    if outcome == "abandoned":
        return entry("abandoned", "given up in its last cut", severed)
    if outcome in ("part way", "not through"):
        return entry("part cut", f"last cut: {outcome}", severed)
    if severed is None:
        return entry("not known", "new length not recorded", None)
    short = planned is not None and severed < ENOUGH * planned
    if outcome == "unknown":
        return entry("part cut" if short else "not looked at", "outcome of its last cut not known", severed)
    if short:
        return entry("not known", "called through, but the lengths are short of plan", severed)
    if last["edge"] == "not seen":
        return entry("not looked at", "called through, edge not seen", severed)
    return None


def _severed(cuts: pd.DataFrame | None) -> float | None:
    """New length of a line, None where any first pass has none written down or there was no first pass."""
    if cuts is None:
        return 0.0
    first = cuts.loc[cuts["pass_kind"].eq("first"), "new_length_m"]
    return _known(first.sum(skipna=False)) if len(first) else None


def _hangers(cuts: pd.DataFrame) -> float | None:
    """Hangers nobody has freed since: their number, 0 where only the word was written, None where there are none."""
    left: float | None = None
    for cut in cuts.to_dict("records"):
        number, said = cut["hangers"], cut["outcome"] == "through with hangers"
        if said or number > 0:
            left = 0.0 if math.isnan(number) else float(number)
        elif cut["outcome"] == "through":
            left = None  # a later pass went through and left nothing
    return left


def _known(value: Any) -> float | None:
    return None if value is None or value != value else float(value)
