"""Will the rods in the box last? At this job's own rate, as a range, or not at all."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from burnlog.analyses.attached import LineLeft, job_of, left_on
from burnlog.analyses.tallies import Scope, gather
from burnlog.columns import Frames
from burnlog.errors import InputError, RefusedError

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Reach", "Stock", "own_rate_reach", "stock_for"]

FEWEST_TALLIES = 3


@dataclass(frozen=True)
class Stock:
    """Whether the rods in the box last: they are enough for `low_m` to `high_m` of `left_m` (80 % range).

    `high_m` is None where the counts differ too much for an upper end. `left_m` is the planned length not yet
    severed; `lines_unknown` lines have no length to count.
    `rate_low`, `rate_high` is the 80 % range of this job's own rods per metre over its `tallies` counts.
    """

    job: str
    rods_in_box: float
    tallies: int
    rods_per_m: float
    rate_low: float
    rate_high: float
    low_m: float
    high_m: float | None
    left_m: float
    lines_left: int
    lines_unknown: int
    notes: tuple[str, ...]

    def as_json(self) -> dict[str, Any]:
        """Stable keys, SI, n beside the rate."""
        return {**asdict(self), "notes": list(self.notes)}


def stock_for(frames: Frames, job: str, *, rods_in_box: float) -> Stock:
    """How far the rods in the box may go at this job's own rate.

    Parameters
    ----------
    frames : Frames
    job : str
    rods_in_box : float
        Counted tonight, 0 or more.

    Returns
    -------
    Stock

    Raises
    ------
    InputError
        No such job, or a count below 0.
    RefusedError
        Fewer than three usable counts on this job: no rate is used, not even another job's.
    """
    if not rods_in_box >= 0:
        raise InputError(f"rods in the box: {rods_in_box:g} cannot be counted; 0 or more is needed")
    code = job_of(frames, job)
    known = frames.dives[frames.dives["job"] == code]
    record_class = known["record_class"].dropna().unique()
    setting = known["setting"].dropna().unique()
    scope = Scope(
        setting=str(setting[0]) if len(setting) == 1 else "open water",
        record_class=str(record_class[0]) if len(record_class) == 1 else "production",
        jobs=(code,),
    )
    taken = gather(frames, scope).tallies if len(known) else pd.DataFrame()
    if len(taken) < FEWEST_TALLIES:
        raise RefusedError(
            f"{code} has {len(taken)} usable rod count{'' if len(taken) == 1 else 's'} over a recorded length; "
            f"{FEWEST_TALLIES} are needed for a range, and no other job's rate is used instead"
        )
    rods, length = taken["rods"].to_numpy(dtype=float), taken["new_length_m"].to_numpy(dtype=float)
    reach = own_rate_reach(rods, length, rods_in_box)
    left = left_on(frames, code)
    waiting = [line for line in left.lines if line.state in ("planned", "part cut")]
    remaining = [
        line.planned_m - line.severed_m
        for line in waiting
        if line.planned_m is not None and line.severed_m is not None
    ]
    unknown = len(waiting) - len(remaining) + sum(line.state == "not known" for line in left.lines)
    return Stock(
        job=code,
        rods_in_box=float(rods_in_box),
        tallies=len(taken),
        rods_per_m=reach.rate,
        rate_low=reach.rate_low,
        rate_high=reach.rate_high,
        low_m=reach.low,
        high_m=reach.high,
        left_m=float(sum(max(0.0, length) for length in remaining)),
        lines_left=len(remaining),
        lines_unknown=unknown,
        notes=_stock_notes(frames, code, waiting, taken),
    )


@dataclass(frozen=True)
class Reach:
    """How far a number of rods goes: `low` to `high` (None for no upper end), with the 80 % range of the rate."""

    rate: float
    rate_low: float
    rate_high: float
    low: float
    high: float | None


def own_rate_reach(rods: NDArray[np.float64], length: NDArray[np.float64], in_box: float) -> Reach:
    """The 80 % range of the length that `in_box` rods cut, from counts `rods` over lengths `length`, both (n,).

    Notes
    -----
    Rate R = sum r / sum L; r_i scatters about R L_i with variance s^2 L_i, so s^2 = sum (r_i - R L_i)^2 / L_i /
    (n - 1), and never less than whole rods leave open: the mean of 1/12 / L_i. The next L metres take R L rods
    with variance s^2 (L + L^2 / sum L); the range is where R L -+ t s sqrt(L + L^2 / sum L) meets the rods in
    the box, t the 90 % point of Student's t at n - 1.
    """
    from scipy import stats

    total, n = float(length.sum()), len(rods)
    rate = float(rods.sum()) / total
    variance = float(((rods - rate * length) ** 2 / length).sum()) / (n - 1)
    spread = math.sqrt(max(variance, float(np.mean(1 / 12 / length))))
    side = float(stats.t.ppf(0.9, n - 1)) * spread
    low = _meets(in_box, rate, side, total)
    assert low is not None  # only the upper end can be open
    half = side / math.sqrt(total)
    return Reach(rate, max(0.0, rate - half), rate + half, low, _meets(in_box, rate, -side, total))


def _meets(rods: float, rate: float, side: float, total: float) -> float | None:
    """Length L at which rate L + side sqrt(L + L^2/total) comes to `rods`; None where it never does."""
    from scipy import optimize

    if rods == 0:
        return 0.0
    if rate + side / math.sqrt(total) <= 0:
        return None  # the counts differ too much for an upper end

    def need(length: float) -> float:
        return rate * length + side * math.sqrt(length + length**2 / total) - rods

    high = 1.0
    while need(high) < 0:
        high *= 2
    return float(optimize.brentq(need, 0.0, high))


def _stock_notes(frames: Frames, job: str, waiting: Sequence[LineLeft], taken: pd.DataFrame) -> tuple[str, ...]:
    """What the rate does not know about the lines that wait."""
    lines = frames.lines[(frames.lines["job"] == job) & frames.lines["line"].isin([line.line for line in waiting])]
    thickness = lines["thickness_mm"].dropna().to_numpy(dtype=float)
    logged = taken["thickness_mm"].dropna().to_numpy(dtype=float)
    notes = []
    if len(thickness) and len(logged):
        outside = int(((thickness < logged.min() / 1.25) | (thickness > logged.max() * 1.25)).sum())
        if outside:
            notes.append(f"{outside} of the lines left are thinner or thicker than anything counted on this job")
        middle = float(np.median(logged))
        apart = float(np.median(thickness)) / middle
        if not outside and not 0.8 <= apart <= 1.25:
            notes.append("the lines left are of other thickness than most counts; the rate makes no allowance")
    return tuple(notes)
