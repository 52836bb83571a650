"""How much of each field was written down, by job and crew: who could not know is not who did badly.

A field is *expected* where it could have a value: no depth on deck, no new length on a second pass.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import pandas as pd

from burnlog.columns import Frames
from burnlog.errors import InputError

__all__ = ["GROUPS", "Completeness", "FieldCount", "completeness"]

GROUPS = ("job", "crew", "setting", "record_class", "rig")
"""What completeness may be split by. Divers are not among them: others hold the pencil."""

DIVE_FIELDS = ("log_ref", "bottom_time_s", "work_time_s", "start_up_s", "rig", "bank", "tender", "supervisor")
WET_FIELDS = ("depth_msw", "visibility", "current", "surge", "water_temp_c")
CUT_FIELDS = (
    "thickness_mm", "position", "fouling", "backing", "material", "planned_length_m", "rod_type", "elapsed_s",
    "burn_s", "restarts", "hangers", "power", "set_a", "delivered_a", "static_kpa", "flowing_kpa", "edge", "outcome",
)  # fmt: skip


@dataclass(frozen=True)
class FieldCount:
    """One field in one group: `recorded` of `expected`."""

    field: str
    group: tuple[str, ...]
    recorded: int
    expected: int

    def as_json(self) -> dict[str, Any]:
        """Stable keys."""
        return {**asdict(self), "group": list(self.group)}


@dataclass(frozen=True)
class Completeness:
    """Recorded and expected for each field and group, groups in code order.

    `by` names the parts of a group. `flowing_cuts` of `cuts` cuts have a flowing pressure, on the cut itself or
    in a reading of its dive taken while it was cut; `flowing_dives` of `dives` dives have one at all.
    """

    by: tuple[str, ...]
    counts: tuple[FieldCount, ...]
    cuts: int
    flowing_cuts: int
    dives: int
    flowing_dives: int

    def flowing(self) -> str:
        """The sentence that stands on every page about oxygen pressure."""
        return f"flowing pressure recorded on {self.flowing_cuts} of {self.cuts} cuts"

    def overall(self) -> tuple[FieldCount, ...]:
        """The groups taken together, one entry a field."""
        fields = dict.fromkeys(count.field for count in self.counts)
        return tuple(
            FieldCount(
                name,
                (),
                sum(c.recorded for c in self.counts if c.field == name),
                sum(c.expected for c in self.counts if c.field == name),
            )
            for name in fields
        )

    def as_json(self) -> dict[str, Any]:
        """Stable keys, n beside each figure."""
        return {
            "by": list(self.by),
            "fields": [count.as_json() for count in self.counts],
            "cuts": self.cuts,
            "flowing_cuts": self.flowing_cuts,
            "dives": self.dives,
            "flowing_dives": self.flowing_dives,
        }


def completeness(frames: Frames, *, by: Sequence[str] = ("job", "crew")) -> Completeness:
    """Count what was written down.

    Parameters
    ----------
    frames : Frames
    by : sequence of str
        Members of `GROUPS`.

    Returns
    -------
    Completeness

    Raises
    ------
    InputError
        A group that is not offered.
    """
    for name in by:
        if name not in GROUPS:
            raise InputError(f"completeness by '{name}' is not offered; it goes by {', '.join(GROUPS)}")
    dives, cuts = frames.dives, frames.cuts
    wet = ~dives["setting"].eq("dry practice")
    counts: dict[tuple[str, tuple[str, ...]], list[int]] = {}

    def tell(field: str, frame: pd.DataFrame, known: pd.Series[bool], expected: pd.Series[bool]) -> None:
        labels = [frame[name].fillna("not recorded").astype(str) for name in by]
        keys = list(zip(*labels, strict=True)) if labels else [()] * len(frame)
        for key, has, could in zip(keys, known, expected, strict=True):
            if could:
                count = counts.setdefault((field, key), [0, 0])
                count[0] += bool(has)
                count[1] += 1

    always = pd.Series(True, index=dives.index)
    for field in DIVE_FIELDS:
        tell(field, dives, dives[field].notna(), wet if field == "log_ref" else always)
    for field in WET_FIELDS:
        tell(field, dives, dives[field].notna(), wet)
    bank = _first_of_dive(cuts["bank_start_kpa"], frames) | dives["dive_ref"].isin(_read(frames, "bank_kpa"))
    tell("bank_start_kpa", dives, bank, always)
    each = pd.Series(True, index=cuts.index)
    tell("new_length_m", cuts, cuts["new_length_m"].notna(), cuts["pass_kind"].eq("first"))
    tell("clocks", cuts, cuts["start_at"].notna() & cuts["stop_at"].notna(), each)
    tell("rods", cuts, cuts["cut_id"].isin(_counted_cuts(frames)), each)
    for field in CUT_FIELDS:
        known = _flowing(frames) if field == "flowing_kpa" else cuts[field].notna()
        tell(field, cuts, known, each)
    with_flow = set(cuts.loc[cuts["flowing_kpa"].notna(), "dive_ref"]) | set(_read(frames, "flowing_kpa"))
    fields = {field: place for place, field in enumerate(dict.fromkeys(field for field, _ in counts))}
    ordered = sorted(counts, key=lambda key: (key[1], fields[key[0]]))
    return Completeness(
        by=tuple(by),
        counts=tuple(FieldCount(field, group, *counts[field, group]) for field, group in ordered),
        cuts=len(cuts),
        flowing_cuts=int(_flowing(frames).sum()),
        dives=len(dives),
        flowing_dives=int(dives["dive_ref"].isin(with_flow).sum()),
    )


def _first_of_dive(values: pd.Series[float], frames: Frames) -> pd.Series[bool]:
    known = frames.cuts.loc[values.notna(), "dive_ref"]
    return frames.dives["dive_ref"].isin(known)


def _read(frames: Frames, column: str) -> pd.Series[str]:
    readings = frames.readings
    return readings.loc[readings[column].notna() & readings["dive_ref"].notna(), "dive_ref"]


def _counted_cuts(frames: Frames) -> pd.Series[str]:
    """Cuts under a count that says how many: their rods are known, if only together."""
    parts = frames.rod_parts["tally_id"]
    tallies = frames.tallies
    counted = tallies.loc[tallies["rods"].notna() | tallies["tally_id"].isin(parts), "tally_id"]
    return frames.tally_cuts.loc[frames.tally_cuts["tally_id"].isin(counted), "cut_id"]


def _flowing(frames: Frames) -> pd.Series[bool]:
    """Cuts with a flowing pressure of their own, or one read in their dive between start and stop."""
    cuts = frames.cuts
    known = cuts["flowing_kpa"].notna()
    looks = frames.readings[frames.readings["flowing_kpa"].notna() & frames.readings["read_at"].notna()]
    if looks.empty:
        return known
    timed = cuts.loc[
        cuts["start_at"].notna() & cuts["stop_at"].notna(), ["cut_id", "dive_ref", "start_at", "stop_at"]
    ]
    both = timed.merge(looks[["dive_ref", "read_at"]], on="dive_ref")
    during = both[both["read_at"].between(both["start_at"], both["stop_at"])]
    return known | cuts["cut_id"].isin(during["cut_id"])
