"""Flowing pressure in practice, cut by cut in the order of the class, with the edge each cut left.

A class shares a rig: what falls over a day is the bank or the hose, whoever holds the rod. One setting at a time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from burnlog.analyses.practice import SETTINGS
from burnlog.analyses.scope import Scope
from burnlog.columns import Frames

__all__ = ["PressureCut", "PressureStrip", "practice_pressure"]


@dataclass(frozen=True)
class PressureCut:
    """A cut whose flowing pressure was written; `place` counts every cut of the setting in order of time."""

    place: int
    cut: str
    person: str
    flowing_kpa: float
    edge: str


@dataclass(frozen=True)
class PressureStrip:
    """One setting: the cuts with a pressure, out of how many."""

    setting: str
    cuts: int
    written: tuple[PressureCut, ...]

    @property
    def middle_kpa(self) -> float | None:
        """Median of the flowing pressures."""
        return float(np.median([cut.flowing_kpa for cut in self.written])) if self.written else None

    def ragged(self, *, low: bool) -> tuple[int, int]:
        """Ragged edges of those seen, on cuts below the middle pressure, or at and above it."""
        middle = self.middle_kpa
        seen = [
            cut.edge
            for cut in self.written
            if middle is not None
            and (cut.flowing_kpa < middle) == low
            and cut.edge not in ("not seen", "not recorded")
        ]
        return seen.count("ragged"), len(seen)


def practice_pressure(frames: Frames, scope: Scope) -> tuple[PressureStrip, ...]:
    """A strip for each setting with training cuts in the scope.

    Parameters
    ----------
    frames : Frames
    scope : Scope
        Jobs, divers, days; its setting and record class are not looked at: training, one setting at a time.
    """
    cuts = frames.cuts[frames.cuts["record_class"].eq("training") & frames.cuts["dive_date"].notna()]
    for column, wanted in (("job", scope.jobs), ("diver", scope.divers)):
        if wanted is not None:
            cuts = cuts[cuts[column].isin(wanted)]
    if scope.since is not None:
        cuts = cuts[cuts["dive_date"] >= pd.Timestamp(scope.since)]
    if scope.until is not None:
        cuts = cuts[cuts["dive_date"] < pd.Timestamp(scope.until) + pd.Timedelta(days=1)]
    cuts = cuts.sort_values(["dive_date", "job", "dive_no", "row"], kind="stable")
    out = []
    for setting in SETTINGS:
        mine = cuts[cuts["setting"].eq(setting)].assign(place=lambda rows: np.arange(1, len(rows) + 1))
        if len(mine):
            known = mine[mine["flowing_kpa"].notna()]
            written = tuple(
                PressureCut(
                    place=int(row["place"]),
                    cut=str(row["cut_ref"]),
                    person=str(row["diver"]) if isinstance(row["diver"], str) else "not recorded",
                    flowing_kpa=float(row["flowing_kpa"]),
                    edge=str(row["edge"]) if isinstance(row["edge"], str) else "not recorded",
                )
                for row in known.to_dict("records")
            )
            out.append(PressureStrip(setting, len(mine), written))
    return tuple(out)
