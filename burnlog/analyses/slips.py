"""Slips of the pen that the rest of the sheet gives away: a length in another unit, times longer than the dive.

On invented histories the first finds pieces typed in the wrong unit that are too small a part of their line to
leave it visibly short of its plan, the second clocks an hour out that neither the next cut nor the rods give away.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from burnlog.analyses.consistency import (
    SHEET,
    SHORT_OF_PLAN,
    THROUGH,
    Findings,
    Flag,
    done_and_planned,
    planned_lines,
)
from burnlog.columns import Frames

__all__ = ["length_in_another_unit", "longer_than_the_dive", "slips"]

UNIT_FACTORS = {
    "feet read as metres or metres as feet": 0.3048,
    "inches read as feet or feet as inches": 12.0,
    "inches read as centimetres or centimetres as inches": 2.54,
    "millimetres read as centimetres or centimetres as millimetres": 10.0,
}
OFF_PLAN = 0.02
"""A line this far off its plan, relative, is looked at; closer ones are how tapes are read."""
CLOSES = 0.01
"""A row read in another unit brings the line this close to its plan, or nothing is asked."""
TAPE_M = 0.02
SLACK_S = 300.0
"""Clocks on deck and in the water are read to a few minutes."""


def slips(frames: Frames) -> Findings:
    """Every rule of this module over the whole record."""
    return length_in_another_unit(frames) + longer_than_the_dive(frames)


def length_in_another_unit(frames: Frames) -> Findings:
    """Lines called through that are off their plan, and on it once one row is read in another unit.

    Lines shorter than the plan by a tenth or more are asked about without looking for the reason; see
    `burnlog.analyses.consistency.short_of_plan`.
    """
    rule = "length in another unit"
    first = frames.cuts[frames.cuts["pass_kind"] == "first"]
    went = frames.cuts[frames.cuts["outcome"].isin(THROUGH)]["line_ref"].dropna().unique()
    flags = []
    lines = planned_lines(first[first["line_ref"].isin(went)])
    off = (lines["done_m"] - lines["planned_m"]).abs() > (OFF_PLAN * lines["planned_m"]).clip(lower=TAPE_M)
    looked = lines[off & (lines["done_m"] >= SHORT_OF_PLAN * lines["planned_m"])]
    for line_ref, rows in first[first["line_ref"].isin(looked.index)].groupby("line_ref", sort=True):
        done, planned = done_and_planned(looked, line_ref)
        lengths = rows["new_length_m"].to_numpy(dtype=float)
        found = _closing(lengths, planned)
        if found is None:
            continue
        place, other, words = found
        row = rows.iloc[place]
        flags.append(
            Flag(
                rule=rule,
                kind=SHEET,
                target=str(line_ref),
                job=str(row["job"]),
                dive=str(row["dive_ref"]),
                cut=str(row["cut_ref"]),
                seen=float(lengths[place]),
                expected_low=other - CLOSES * planned,
                expected_high=other + CLOSES * planned,
                unit="m",
                score=abs(float(np.log(done / planned))),
                question=f"{row['cut_ref']}: the line adds up to its plan with {words}: check the sheet",
                sheet=f"{len(rows)} rows on the line, {100 * (done / planned - 1):+.0f} % off its plan",
            )
        )
    whole = lines["planned_m"].notna()
    return Findings(tuple(flags), {rule: int(whole.sum())}, {rule: int((~whole).sum())})


def _closing(lengths: np.ndarray, planned: float) -> tuple[int, float, str] | None:
    """Which row, read as how long and in which unit, brings the sum nearest to the plan, where one is near enough."""
    best: tuple[float, int, float, str] | None = None
    for place, length in enumerate(lengths.tolist()):
        for words, factor in UNIT_FACTORS.items():
            for other in (length * factor, length / factor):
                off = abs(float(lengths.sum()) - length + other - planned)
                if off <= max(CLOSES * planned, TAPE_M / 2) and (best is None or off < best[0]):
                    best = (off, place, other, words)
    return None if best is None else best[1:]


def longer_than_the_dive(frames: Frames) -> Findings:
    """Dives whose cuts take longer than the bottom time, by their sum or from the first start to the last stop."""
    rule = "cuts longer than the dive"
    cuts = frames.cuts
    by = cuts.groupby("dive_ref")
    span = (by["stop_at"].max() - by["start_at"].min()).dt.total_seconds()
    taken = pd.concat([span, by["elapsed_s"].sum(min_count=1)], axis=1).max(axis=1)
    dives = frames.dives.drop_duplicates("dive_ref").set_index("dive_ref")
    bottom = dives["bottom_time_s"].astype(float)
    taken = taken.reindex(bottom.index)
    known = bottom.gt(0) & taken.notna()
    flags = []
    for ref in bottom.index[known & (taken > bottom + SLACK_S)]:
        longest = cuts[cuts["dive_ref"] == ref].sort_values("elapsed_s", ascending=False, kind="stable").iloc[0]
        flags.append(
            Flag(
                rule=rule,
                kind=SHEET,
                target=str(ref),
                job=str(dives.loc[ref, "job"]),
                dive=str(ref),
                cut=str(longest["cut_ref"]),
                seen=float(taken[ref]),
                expected_low=None,
                expected_high=float(bottom[ref]),
                unit="s",
                score=float(np.log(taken[ref] / bottom[ref])),
                question="the cuts take longer than the bottom time: check the sheet",
                sheet=f"longest is {longest['cut_ref']}, {longest['elapsed_s'] / 60:.0f} min",
            )
        )
    return Findings(tuple(flags), {rule: int(known.sum())}, {rule: int((~known).sum())})
