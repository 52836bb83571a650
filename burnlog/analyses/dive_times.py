"""Four clocks, one dive: which times do not fit inside each other, and what a rod change takes.

burn <= cut elapsed <= work <= bottom. A time that does not fit is stored as typed and reported with both numbers.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from burnlog.columns import Frames

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Breach", "BurnAndChange", "RodChange", "RodChanges", "breaches", "rod_changes"]

FEWEST_FOR_SLOPE = 5
MOST_FOR_SLOPE = 1000


@dataclass(frozen=True)
class Breach:
    """One time that does not fit inside another: `inner` should be no longer than `outer`; both stand as typed."""

    target: str
    dive: str
    row: int | None
    sheet: str | None
    inner: str
    inner_s: float
    outer: str
    outer_s: float

    def sentence(self) -> str:
        """Both times, in minutes."""
        return f"{self.inner} {_minutes(self.inner_s)} is longer than {self.outer} {_minutes(self.outer_s)}"

    def as_json(self) -> dict[str, Any]:
        """Stable keys, SI."""
        return asdict(self)


def _minutes(seconds: float) -> str:
    return f"{seconds / 60:.3g} min"


def breaches(frames: Frames) -> tuple[Breach, ...]:
    """Breaches of burn <= elapsed <= work <= bottom, with hot time and stoppages inside elapsed too.

    Burn time and hot time are never compared: an exothermic rod goes on burning with the switch open, and a
    closed switch need not burn anything. A time nobody wrote down breaches nothing.
    """
    dives = frames.dives.sort_values(["dive_date", "job", "dive_no"], kind="stable")
    sheets = dives.set_index("dive_ref")["sheet"]
    out: list[Breach] = []

    def note(target: str, dive: str, row: int | None, inner: tuple[str, float], outer: tuple[str, float]) -> None:
        if inner[1] > outer[1]:
            out.append(Breach(target, dive, row, _text(sheets.get(dive)), *inner, *outer))

    cuts = frames.cuts.sort_values(["dive_date", "job", "dive_no", "row"], kind="stable")
    for cut in cuts.to_dict("records"):
        for name, value in (
            ("burn time", cut["burn_s"]),
            ("hot time", cut["hot_s"]),
            ("stoppages", cut["stoppage_s"]),
        ):
            note(cut["cut_ref"], cut["dive_ref"], int(cut["row"]), (name, value), ("elapsed", cut["elapsed_s"]))
    # a part of the sum is a lower bound of it, so blanks do not stop the comparison
    spent = cuts.groupby("dive_ref")["elapsed_s"].sum(min_count=1)
    for dive in dives.to_dict("records"):
        inside = ("elapsed of its cuts", float(spent.get(dive["dive_ref"], np.nan)))
        work, bottom = ("work time", dive["work_time_s"]), ("bottom time", dive["bottom_time_s"])
        note(dive["dive_ref"], dive["dive_ref"], None, inside, work)
        note(dive["dive_ref"], dive["dive_ref"], None, work, bottom)
        if np.isnan(dive["work_time_s"]):
            note(dive["dive_ref"], dive["dive_ref"], None, inside, bottom)
    return tuple(out)


@dataclass(frozen=True)
class RodChange:
    """Rod-change delay of one cut, from its burn time: (elapsed - burn - stoppages) / (rods - 1)."""

    cut: str
    rods: float
    delay_s: float


@dataclass(frozen=True)
class BurnAndChange:
    """Burn plus change for each rod, where nobody timed the burn: the slope of elapsed on rods over single cuts."""

    family: str
    s_per_rod: float
    low_s: float
    high_s: float
    cuts: int


@dataclass(frozen=True)
class RodChanges:
    """What the record says of rod changes.

    `delays` stands for cuts whose burn was timed; `burn_and_change` by rod family (80 % interval), over cuts with
    their own count and clock. `why` says what stood in the way where one of them is empty.
    """

    delays: tuple[RodChange, ...]
    burn_and_change: tuple[BurnAndChange, ...]
    why: Mapping[str, str]

    @property
    def median_delay_s(self) -> float | None:
        """Middle of the timed delays [s]."""
        return float(np.median([d.delay_s for d in self.delays])) if self.delays else None

    def as_json(self) -> dict[str, Any]:
        """Stable keys, SI, n beside each figure."""
        return {
            "change_delay_s": self.median_delay_s,
            "change_delay_cuts": len(self.delays),
            "burn_and_change": [asdict(row) for row in self.burn_and_change],
            "why": dict(self.why),
        }


def rod_changes(frames: Frames) -> RodChanges:
    """Rod-change delay where the burn was timed, burn plus change where it was not.

    Only cuts with a rod count of their own are used: rods are never shared out over the cuts of a wider count.
    """
    cuts = _singly_counted(frames)
    known = cuts[cuts["elapsed_s"].notna() & cuts["rods"].notna()]
    timed = known[known["burn_s"].notna() & known["rods"].ge(2)]
    delay = (timed["elapsed_s"] - timed["burn_s"] - timed["stoppage_s"].fillna(0)) / (timed["rods"] - 1)
    sound = delay.ge(0)  # a breach of nesting is reported elsewhere and stays out of here
    delays = tuple(
        RodChange(str(ref), float(rods), float(seconds))
        for ref, rods, seconds in zip(
            timed.loc[sound, "cut_ref"], timed.loc[sound, "rods"], delay[sound], strict=True
        )
    )
    slopes, why = [], {}
    if not delays:
        why["change delay"] = "no cut of two rods or more has a count of its own, a clock and a burn time"
    net = known.assign(net=known["elapsed_s"] - known["stoppage_s"].fillna(0))
    net = net[net["net"].gt(0)]
    for family, rows in net.groupby("family"):
        slope = _slope(rows["rods"].to_numpy(dtype=float), rows["net"].to_numpy(dtype=float))
        if slope is None:
            why[str(family)] = (
                f"{len(rows)} cuts with a count and a clock of their own, {FEWEST_FOR_SLOPE} are needed"
            )
        else:
            slopes.append(BurnAndChange(str(family), *slope, len(rows)))
    return RodChanges(delays, tuple(slopes), why)


def _singly_counted(frames: Frames) -> pd.DataFrame:
    """Cuts with an exact count of their own, with the rods lit in it."""
    tallies = frames.tallies[
        frames.tallies["scope"].eq("cut") & ~frames.tallies["rods_basis"].isin(["at least", "at most"])
    ]
    parts = frames.rod_parts["tally_id"].value_counts()
    rods = tallies.set_index("tally_id")["rods"]
    rods = np.ceil(rods) + parts.reindex(rods.index).fillna(0)  # half a rod stated is a rod lit
    links = frames.tally_cuts[frames.tally_cuts["tally_id"].isin(rods.index)]
    once = ~links["cut_id"].duplicated(keep=False) & ~links["tally_id"].duplicated(keep=False)
    own = links[once].set_index("cut_id")["tally_id"].map(rods)
    cuts = frames.cuts[frames.cuts["cut_id"].isin(own.index)]
    return cuts.assign(rods=cuts["cut_id"].map(own))


def _slope(rods: NDArray[np.float64], seconds: NDArray[np.float64]) -> tuple[float, float, float] | None:
    """Middle of the slopes between pairs of cuts (Theil and Sen) with its 80 % interval, or None with too little.

    One count ten times too big would drag a least-squares line along; it hardly moves the middle. Above
    `MOST_FOR_SLOPE` cuts every k-th is taken, for pairs grow with the square.
    """
    from scipy import stats

    step = max(1, -(-len(rods) // MOST_FOR_SLOPE))
    rods, seconds = rods[::step], seconds[::step]
    if len(rods) < FEWEST_FOR_SLOPE or np.ptp(rods) == 0:
        return None
    fit = stats.theilslopes(seconds, rods, alpha=0.8)
    return float(fit.slope), float(fit.low_slope), float(fit.high_slope)


def _text(value: Any) -> str | None:
    return None if value is None or value != value else str(value)
