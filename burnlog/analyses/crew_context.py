"""What stands beside a crew's figure: the period in one line, and each code's steel, events and blanks.

Reuses the counts of `burnlog.analyses.events` code by code; nothing here compares one code with another.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import pandas as pd

from burnlog.analyses.accounts import rods_balance
from burnlog.analyses.completeness import completeness
from burnlog.analyses.events import events
from burnlog.analyses.exposure import Exposed
from burnlog.analyses.scope import Scope
from burnlog.columns import Frames

__all__ = ["CodeContext", "CrewContext", "Period", "crew_context"]


@dataclass(frozen=True)
class Period:
    """The scope in one line.

    `drawn` is issued less returned, over `drawn_dives` dives with both; `unaccounted` what then is missing over
    the same boxes where the rods started are known. Lines stand by the outcome of their last cut.
    """

    dives: int
    through: int
    hanging: int
    part: int
    abandoned: int
    drawn: float
    drawn_dives: int
    unaccounted: float
    recorded: int
    expected: int


@dataclass(frozen=True)
class CodeContext:
    """One code: range of its steel, restarts, hangers and events per exposure, and fields filled in."""

    steel_mm: tuple[float, float] | None
    restarts: Exposed
    hangers: Exposed
    events: Exposed
    recorded: int
    expected: int


@dataclass(frozen=True)
class CrewContext:
    """The period, and each code that has dives of its own; other groupings have none."""

    period: Period
    codes: dict[str, CodeContext]


def crew_context(frames: Frames, scope: Scope, by: str) -> CrewContext:
    """Count what stands beside the figures of `burnlog.analyses.crews`.

    Parameters
    ----------
    frames : Frames
    scope : Scope
    by : str
        ``crew`` or ``diver`` give a context for each code; a rod type or a rig has none.
    """
    mine = _within(frames, scope)
    codes: dict[str, CodeContext] = {}
    if by in ("crew", "diver"):
        for code in sorted({str(value) for value in mine.dives[by].dropna()}):
            codes[code] = _code(frames, mine, scope, by, code)
    return CrewContext(_period(mine), codes)


def _within(frames: Frames, scope: Scope) -> Frames:
    dives = frames.dives
    keep = dives["setting"].eq(scope.setting) & dives["record_class"].eq(scope.record_class)
    for column, wanted in (("job", scope.jobs), ("crew", scope.crews), ("diver", scope.divers)):
        if wanted is not None:
            keep &= dives[column].isin(wanted)
    if scope.since is not None:
        keep &= dives["dive_date"] >= pd.Timestamp(scope.since)
    if scope.until is not None:
        keep &= dives["dive_date"] < pd.Timestamp(scope.until) + pd.Timedelta(days=1)
    return _only(frames, set(dives.loc[keep, "dive_ref"]))


def _only(frames: Frames, refs: set[str]) -> Frames:
    def of(frame: pd.DataFrame) -> pd.DataFrame:
        return frame[frame["dive_ref"].isin(refs)]

    return replace(
        frames,
        dives=of(frames.dives),
        cuts=of(frames.cuts),
        readings=of(frames.readings),
        tallies=of(frames.tallies),
    )


def _period(mine: Frames) -> Period:
    last = mine.cuts.sort_values(["dive_date", "dive_no", "row"], kind="stable")
    last = last.drop_duplicates("line_ref", keep="last")
    ends = last["outcome"].fillna("unknown").value_counts()
    boxes = [box for box in rods_balance(mine) if box.issued is not None and box.returned is not None]
    counts = completeness(mine, by=()).counts
    return Period(
        dives=len(mine.dives),
        through=int(ends.get("through", 0)),
        hanging=int(ends.get("through with hangers", 0)),
        part=sum(int(ends.get(word, 0)) for word in ("part way", "not through", "unknown")),
        abandoned=int(ends.get("abandoned", 0)),
        drawn=sum((box.issued or 0.0) - (box.returned or 0.0) for box in boxes),
        drawn_dives=len({box.dive for box in boxes}),
        unaccounted=sum(max(0.0, box.unaccounted or 0.0) for box in boxes),
        recorded=sum(count.recorded for count in counts),
        expected=sum(count.expected for count in counts),
    )


def _code(frames: Frames, mine: Frames, scope: Scope, by: str, code: str) -> CodeContext:
    one = replace(scope, crews=(code,)) if by == "crew" else replace(scope, divers=(code,))
    happened = events(frames, one)
    own = _only(mine, set(mine.dives.loc[mine.dives[by].eq(code), "dive_ref"]))
    counts = completeness(own, by=()).counts
    steel = own.cuts["thickness_mm"].dropna()
    return CodeContext(
        steel_mm=(float(steel.min()), float(steel.max())) if len(steel) else None,
        restarts=happened.restarts[0],
        hangers=happened.hangers[0],
        events=happened.by_event[0],
        recorded=sum(count.recorded for count in counts),
        expected=sum(count.expected for count in counts),
    )
