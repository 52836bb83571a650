"""What the oxygen did on each code's dives: what a crew's edges may owe to a hose, a bank or a rig.

Reuses the words of `burnlog.analyses.sag`; edges before the fall stand beside those from its beginning on.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from burnlog.analyses.sag import SagReview
from burnlog.analyses.scope import Scope
from burnlog.columns import Frames

__all__ = ["CrewOxygen", "FellOn", "OxygenDive", "crew_oxygen"]

FELL = ("likely", "possible")
GROUPS = ("crew", "diver", "rig")


@dataclass(frozen=True)
class OxygenDive:
    """One dive of a code, and the word on its oxygen: likely, possible, no evidence, not judged."""

    code: str
    dive: str
    day: str
    evidence: str


@dataclass(frozen=True)
class FellOn:
    """Edges on one dive whose oxygen fell: ragged of seen, before the fall and from its beginning on."""

    code: str
    dive: str
    rig: str
    evidence: str
    fall_kpa: float | None
    before_ragged: int
    before_seen: int
    from_ragged: int
    from_seen: int


@dataclass(frozen=True)
class CrewOxygen:
    """Dives with a day and a code, in order of time; those whose oxygen fell with their edges."""

    by: str
    dives: tuple[OxygenDive, ...]
    fell: tuple[FellOn, ...]

    def counts(self, code: str) -> dict[str, int]:
        """Dives of one code by the word on their oxygen."""
        words = [dive.evidence for dive in self.dives if dive.code == code]
        return {word: words.count(word) for word in (*FELL, "no evidence", "not judged")}


def crew_oxygen(frames: Frames, oxygen: SagReview, scope: Scope, by: str) -> CrewOxygen:
    """Lay the words on oxygen beside the codes of a review.

    Parameters
    ----------
    frames : Frames
    oxygen : SagReview
        Of the same record and days.
    scope : Scope
        Of the review: only dives of its setting and class count.
    by : str
        ``crew``, ``diver`` or ``rig``; for rod types there is nothing to lay out.
    """
    if by not in GROUPS:
        return CrewOxygen(by, (), ())
    dives = frames.dives
    mine = dives[dives["setting"].eq(scope.setting) & dives["record_class"].eq(scope.record_class)]
    mine = mine[mine[by].notna() & mine["dive_date"].notna()].sort_values(["dive_date", "dive_ref"], kind="stable")
    found = {dive.dive: dive for dive in oxygen.dives}
    rows, fell = [], []
    for row in mine.to_dict("records"):
        dive = found.get(str(row["dive_ref"]))
        if dive is None:
            continue
        code = str(row[by])
        rows.append(OxygenDive(code, dive.dive, f"{row['dive_date']:%Y-%m-%d}", dive.evidence))
        if dive.evidence in FELL:
            before, since = _edges(frames, dive.dive, (*dive.cuts_during, *dive.cuts_after))
            fell.append(FellOn(code, dive.dive, dive.rig, dive.evidence, dive.fall_kpa, *before, *since))
    return CrewOxygen(by, tuple(rows), tuple(fell))


def _edges(frames: Frames, dive: str, since: Sequence[str]) -> tuple[tuple[int, int], tuple[int, int]]:
    """(ragged, seen) of the cuts before those named, and of those named."""
    cuts = frames.cuts[frames.cuts["dive_ref"].eq(dive)]
    later = cuts["cut_ref"].isin(list(since))

    def seen(part: pd.DataFrame) -> tuple[int, int]:
        edges = part["edge"].dropna()
        edges = edges[edges.ne("not seen")]
        return int(edges.eq("ragged").sum()), len(edges)

    return seen(cuts[~later]), seen(cuts[later])
