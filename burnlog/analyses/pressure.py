"""Regulator pressure while gas flows, held against the rig's own record.

The drop is static minus flowing pressure. What a rig usually drops is learned from its other dives; within a dive
a one-sided cumulative sum looks for a drop that has grown. The sum starts anew with each dive, at a change of
bank and at a gap in a series: readings that were not taken are not joined over. Spot readings of the gauge list and
those on the cut sheet are single looks, about one a cut, and are judged together.

Cumulative sum: Page 1954, as in NIST/SEMATECH e-Handbook 6.3.2.3. The limits (k 1, h 4 on a reading per rod; one
reading above 3.5 spreads, or k 1, h 3, on a reading per cut) were chosen on invented dives with known falls.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from burnlog.columns import Frames
from burnlog.measures import KPA_PER_PSI
from burnlog.stats.drift import cusum

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Baseline", "DivePressure", "baseline", "judge_dives", "pressure_drops"]

ENOUGH_READINGS = 10
SERIES_READINGS = 3
"""A dive with this many flowing readings in a row is judged by them, else by single readings, about one a cut."""
SINGLE_REASONS = ("start", "end", "change-over", "spot")
"""Readings taken for these reasons are single looks at the gauge, no series rod by rod."""
FLOOR_KPA = 2 * KPA_PER_PSI
STEP_FLOOR = 0.7
"""A gauge read in coarse steps cannot show a smaller spread than this share of its step (3.5 psi at 5 psi)."""
STEPS_KPA = (100.0, 10 * KPA_PER_PSI, 50.0, 5 * KPA_PER_PSI)
MIXED = "readings of more than one rig in the dive"
K, H_PER_ROD, H_PER_CUT, SINGLE = 1.0, 4.0, 3.0, 3.5
COLUMNS = ["dive_ref", "rig", "after_rod", "cut_id", "static_kpa", "flowing_kpa", "segment"]


@dataclass(frozen=True)
class Baseline:
    """What a rig usually drops: median, robust spread, and from how many readings on other dives."""

    centre_kpa: float
    spread_kpa: float
    readings: int


@dataclass(frozen=True)
class DivePressure:
    """One dive's readings against its rig's baseline.

    Attributes
    ----------
    dive, job, rig : str
        `rig` is empty where nobody wrote it, or where the dive's readings name several.
    method : str
        ``per rod``, ``per cut`` or ``none``.
    drop_kpa, z, cusum : (n,) arrays
        Drop [kPa], in spreads of the baseline, and the cumulative sum after each reading.
    after_rod : (n,) array
        Rods burned in the dive at each reading, NaN where not written.
    cut_ids : tuple of (str or None)
        Cut each reading was taken in, where the clock or the rod count tells.
    onset, alarm, last : int or None
        Places among the readings: where the rise began, where a limit was passed, where it stood last above the
        usual.
    baseline : Baseline or None
        None where the dive could not be judged; `why` says the reason.
    """

    dive: str
    job: str
    rig: str
    method: str
    drop_kpa: NDArray[np.float64]
    z: NDArray[np.float64]
    cusum: NDArray[np.float64]
    after_rod: NDArray[np.float64]
    cut_ids: tuple[str | None, ...]
    onset: int | None = None
    alarm: int | None = None
    last: int | None = None
    baseline: Baseline | None = None
    why: str = ""

    @property
    def h(self) -> float:
        """Limit of the cumulative sum."""
        return H_PER_ROD if self.method == "per rod" else H_PER_CUT

    @property
    def fall_kpa(self) -> float | None:
        """How far the drop rose above the rig's usual one at most, where a limit was passed [kPa]."""
        if self.alarm is None or self.baseline is None:
            return None
        return float(self.drop_kpa.max() - self.baseline.centre_kpa)


def pressure_drops(frames: Frames) -> pd.DataFrame:
    """Every drop of the record in order, one row per flowing reading.

    Static pressure not written with a reading: the dive's median of those written, else the job's.

    Returns
    -------
    DataFrame
        `dive_ref`, `job`, `rig`, `method`, `segment` (a new number where a sum must start anew), `after_rod`,
        `cut_id`, `drop_kpa`, `static_kpa`, `flowing_kpa`; dives in order of their day, readings in order within.
    """
    dives = frames.dives.sort_values(["dive_date", "job", "dive_no"], kind="stable")
    order = pd.Series(range(len(dives)), index=dives["dive_ref"].to_numpy())
    gauge = _gauge_rows(frames)
    row_by_row = gauge[gauge["flowing_kpa"].notna() & ~gauge["reason"].isin(SINGLE_REASONS)]
    long_enough = row_by_row["dive_ref"].value_counts() >= SERIES_READINGS
    per_rod = set(long_enough.index[long_enough])
    of_series = gauge["dive_ref"].isin(per_rod)
    rows = pd.concat(
        [
            _series_rows(gauge[of_series]).assign(method="per rod"),
            _single_rows(frames, gauge[~of_series], skip=per_rod).assign(method="per cut"),
        ],
        ignore_index=True,
    )
    rows["job"] = rows["dive_ref"].map(dict(zip(dives["dive_ref"], dives["job"], strict=True)))
    rig = rows["dive_ref"].map(dict(zip(dives["dive_ref"], dives["rig"], strict=True)))
    rows["rig"] = rows["rig"].where(rows["rig"].notna(), rig)
    for key in ("dive_ref", "job"):
        typical = rows.groupby(key)["static_kpa"].transform("median")
        rows["static_kpa"] = rows["static_kpa"].fillna(typical)
    rows["drop_kpa"] = rows["static_kpa"] - rows["flowing_kpa"]
    rows = rows[rows["drop_kpa"].notna()]
    rows = rows.assign(place=rows["dive_ref"].map(order)).sort_values(["place"], kind="stable")
    return rows.drop(columns="place").reset_index(drop=True)


def baseline(drop_kpa: NDArray[np.float64], gauge_kpa: NDArray[np.float64]) -> Baseline:
    """Median and robust spread of a rig's drops.

    Parameters
    ----------
    drop_kpa : (n,)
        Drops on other dives [kPa].
    gauge_kpa : (m,)
        The gauge readings behind them [kPa]; their common step sets the floor of the spread.

    Examples
    --------
    >>> round(baseline(np.full(12, 68.0), np.full(12, 621.3)).spread_kpa / KPA_PER_PSI, 1)
    2.0
    """
    return _baseline(drop_kpa, _in_steps(gauge_kpa))


def _in_steps(gauge_kpa: NDArray[np.float64]) -> NDArray[np.bool_]:
    """For each of `STEPS_KPA`, whether every reading is a multiple of it."""
    steps = np.array(STEPS_KPA)[:, None]
    return np.asarray((np.abs(gauge_kpa / steps - np.round(gauge_kpa / steps)) * steps < 0.01).all(axis=1))


def _baseline(drop_kpa: NDArray[np.float64], in_steps: NDArray[np.bool_]) -> Baseline:
    centre = float(np.median(drop_kpa))
    spread = 1.4826 * float(np.median(np.abs(drop_kpa - centre)))
    coarse = np.flatnonzero(in_steps)
    floor = max(FLOOR_KPA, STEP_FLOOR * STEPS_KPA[coarse[0]]) if coarse.size else FLOOR_KPA
    return Baseline(centre, max(spread, floor), len(drop_kpa))


def judge_dives(frames: Frames) -> tuple[DivePressure, ...]:
    """Every dive of the record against its rig's other dives.

    Dives on which a limit is passed do not count towards what is usual for the rig: first in the order of the
    days, from the earlier dives alone where they hold enough readings, then again from all the others.
    """
    drops = pressure_drops(frames)
    by_dive = {str(ref): _Readings.of(rows) for ref, rows in drops.groupby("dive_ref", sort=False)}
    by_rig: dict[str, list[str]] = {}
    for ref, read in by_dive.items():
        if read.dive.rig:
            by_rig.setdefault(read.dive.rig, []).append(ref)
    found = {ref: read.dive for ref, read in by_dive.items()}
    for refs in by_rig.values():
        reads = [by_dive[ref] for ref in refs]
        pool = _Pool.of(reads)
        alarmed = np.zeros(len(refs), dtype=bool)
        for place, read in enumerate(reads):
            earlier = ~alarmed & (np.arange(len(refs)) < place)
            usual = earlier if pool.readings(earlier) >= ENOUGH_READINGS else np.arange(len(refs)) != place
            alarmed[place] = _judge(read, pool, usual).alarm is not None
        for place, (ref, read) in enumerate(zip(refs, reads, strict=True)):
            found[ref] = _judge(read, pool, ~alarmed & (np.arange(len(refs)) != place))
    return tuple(_every_dive(frames, found))


@dataclass(frozen=True, eq=False)
class _Readings:
    """One dive's readings, ready to be judged: `fresh` marks where a sum starts anew."""

    dive: DivePressure
    fresh: NDArray[np.bool_]
    in_steps: NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.dive.drop_kpa)

    @classmethod
    def of(cls, rows: pd.DataFrame) -> _Readings:
        segment = rows["segment"].to_numpy()
        missing = np.full(len(rows), np.nan)
        rigs = rows["rig"].dropna().unique()
        dive = DivePressure(
            dive=str(rows["dive_ref"].iloc[0]),
            job=str(rows["job"].iloc[0]),
            rig=str(rigs[0]) if len(rigs) == 1 else "",
            why=MIXED if len(rigs) > 1 else "rig not recorded",
            method=str(rows["method"].iloc[0]),
            drop_kpa=rows["drop_kpa"].to_numpy(),
            z=missing,
            cusum=missing,
            after_rod=rows["after_rod"].to_numpy(),
            cut_ids=tuple(value if isinstance(value, str) else None for value in rows["cut_id"]),
        )
        gauges = np.concatenate([rows["static_kpa"].to_numpy(), rows["flowing_kpa"].to_numpy()])
        return cls(dive, np.r_[True, segment[1:] != segment[:-1]], _in_steps(gauges))


@dataclass(frozen=True, eq=False)
class _Pool:
    """One rig's readings side by side: drops (n,), the dive of each, and the steps (dives, steps) of the gauge."""

    drop_kpa: NDArray[np.float64]
    owner: NDArray[np.int64]
    counts: NDArray[np.int64]
    in_steps: NDArray[np.bool_]

    @classmethod
    def of(cls, reads: Sequence[_Readings]) -> _Pool:
        counts = np.array([len(read) for read in reads])
        return cls(
            np.concatenate([read.dive.drop_kpa for read in reads]),
            np.repeat(np.arange(len(reads)), counts),
            counts,
            np.array([read.in_steps for read in reads]),
        )

    def readings(self, dives: NDArray[np.bool_]) -> int:
        """How many readings these dives hold."""
        return int(self.counts[dives].sum())


def _every_dive(frames: Frames, found: Mapping[str, DivePressure]) -> Iterator[DivePressure]:
    nothing = np.empty(0)
    statics = set(frames.cuts.loc[frames.cuts["static_kpa"].notna(), "dive_ref"])
    for dive in frames.dives.sort_values(["job", "dive_no"], kind="stable").to_dict("records"):
        ref = str(dive["dive_ref"])
        if ref in found:
            yield found[ref]
        else:
            why = "only static pressure recorded" if ref in statics else "flowing pressure not recorded"
            rig = dive["rig"] if isinstance(dive["rig"], str) else ""
            yield DivePressure(ref, str(dive["job"]), rig, "none", nothing, nothing, nothing, nothing, (), why=why)


def _judge(read: _Readings, pool: _Pool, others: NDArray[np.bool_]) -> DivePressure:
    """One dive against those of its rig's dives that `others` marks."""
    count = pool.readings(others)
    dive = read.dive
    if count < ENOUGH_READINGS:
        return replace(dive, why=f"not enough readings to judge this rig ({count} on other dives)")
    steps = read.in_steps & pool.in_steps[others].all(axis=0)
    usual = _baseline(pool.drop_kpa[others[pool.owner]], steps)
    z = (dive.drop_kpa - usual.centre_kpa) / usual.spread_kpa
    sums = cusum(z, k=K, h=dive.h, sides="upper", restart=read.fresh).upper
    passed = sums > dive.h
    if dive.method == "per cut":
        passed = passed | (z > SINGLE)
    alarm = int(np.argmax(passed)) if passed.any() else None
    onset = last = None
    if alarm is not None:
        quiet = np.flatnonzero(sums[:alarm] <= 0.0)
        onset = int(quiet[-1]) + 1 if quiet.size else 0
        raised = np.flatnonzero(z > K)
        last = int(max(raised[-1], alarm)) if raised.size else alarm
    return replace(dive, z=z, cusum=sums, onset=onset, alarm=alarm, last=last, baseline=usual, why="")


def _gauge_rows(frames: Frames) -> pd.DataFrame:
    """The gauge list in order, with the cut each reading was taken in where that can be told."""
    rows = frames.readings[frames.readings["dive_ref"].notna()].copy()
    rows["file_order"] = range(len(rows))
    rows = rows.sort_values(["dive_ref", "read_at", "after_rod", "file_order"], kind="stable")
    rows["place"] = range(len(rows))
    return rows.assign(cut_id=pd.Series(_cut_of_reading(frames, rows), index=rows.index, dtype=object))


def _series_rows(rows: pd.DataFrame) -> pd.DataFrame:
    """Readings rod by rod, with the numbers of their unbroken stretches."""
    flowing = rows["flowing_kpa"].notna()
    step = rows.groupby("dive_ref")["after_rod"].diff()
    usual = step[step > 0].groupby(rows["dive_ref"]).median()
    gap = step > 2 * rows["dive_ref"].map(usual)
    blank = ~flowing & (rows["reason"].eq("series") | rows["after_rod"].notna())
    rows = rows.assign(segment=(gap | blank | rows["reason"].eq("change-over")).cumsum())
    return rows.loc[flowing, COLUMNS]


def _single_rows(frames: Frames, gauge: pd.DataFrame, *, skip: set[str]) -> pd.DataFrame:
    """Single readings in the order of the cuts: the gauge list's, and the cut sheet's in cuts the list does not hold.

    A change of bank, written in a cut or read off the gauge, starts a new stretch. Rows with a static reading alone
    serve the medians; they carry no drop and fall away.
    """
    cuts = frames.cuts[~frames.cuts["dive_ref"].isin(skip)].sort_values(["dive_ref", "row"], kind="stable")
    row_of = cuts.set_index("cut_id")["row"]
    listed = set(gauge.loc[gauge["flowing_kpa"].notna(), "cut_id"].dropna())
    events = frames.happenings
    changed = cuts["cut_id"].isin(events.loc[events["word"].eq("bank change-over"), "cut_id"].dropna())
    sheet = cuts.assign(before=False, after=changed, after_rod=np.nan, place=np.inf)
    sheet["flowing_kpa"] = sheet["flowing_kpa"].mask(sheet["cut_id"].isin(listed))
    # a reading nobody can place in a cut stays behind the one before it
    row = gauge["cut_id"].map(row_of).groupby(gauge["dive_ref"]).ffill().fillna(0.0)
    looked = gauge.assign(row=row, before=gauge["reason"].eq("change-over"), after=False)
    both = [*COLUMNS[:-1], "row", "place", "before", "after"]
    rows = pd.concat([looked[both], sheet[both]], ignore_index=True)
    rows = rows.sort_values(["dive_ref", "row", "place"], kind="stable")
    rows["segment"] = (rows["before"] | rows["after"].shift(1, fill_value=False)).cumsum()
    return rows.loc[rows["flowing_kpa"].notna() | rows["static_kpa"].notna(), COLUMNS]


def _cut_of_reading(frames: Frames, rows: pd.DataFrame) -> list[str | None]:
    """The cut each reading was taken in: by the clock, else by the rods burned so far where each cut has a count."""
    single = frames.tallies[frames.tallies["scope"] == "cut"].merge(frames.tally_cuts, on="tally_id")
    parts = frames.rod_parts["tally_id"].value_counts()
    started = single["rods"] + single["tally_id"].map(parts).fillna(0)
    rods = started.groupby(single["cut_id"]).sum(min_count=1)
    cuts = frames.cuts[frames.cuts["dive_ref"].isin(rows["dive_ref"])].sort_values(["dive_ref", "row"])
    burned = cuts["cut_id"].map(rods).to_numpy(dtype=float)
    ids, start, stop = (cuts[name].to_numpy() for name in ("cut_id", "start_at", "stop_at"))
    place = {str(ref): np.asarray(at) for ref, at in cuts.groupby("dive_ref").indices.items()}
    out: list[str | None] = []
    for ref, read_at, rod in zip(rows["dive_ref"], rows["read_at"].to_numpy(), rows["after_rod"], strict=True):
        at = place.get(ref)
        found = None
        if at is not None:
            inside = np.flatnonzero((start[at] <= read_at) & (read_at <= stop[at]))
            total = np.cumsum(burned[at])
            if inside.size:
                found = str(ids[at[inside[0]]])
            elif rod > 0 and np.isfinite(total[-1]):
                reached = np.flatnonzero(total + 0.5 >= rod)
                found = str(ids[at[reached[0] if reached.size else -1]])
        out.append(found)
    return out
