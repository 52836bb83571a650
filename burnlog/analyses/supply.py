"""How many more rods an oxygen bank holds the pressure typed as needed: a range, put as a question.

Each stretch between two readings of the bank gives a fall and the rods burned in it. Rods after the last reading
take the mean fall a rod, and the spread of the stretches says how far that may be off. The range is where the
80 % interval of the fall meets what is left; with few stretches it has no upper end. Temperature is not in it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd
from scipy import stats

from burnlog.columns import Frames
from burnlog.errors import RefusedError

__all__ = ["BankAhead", "SupplyForecast", "Window", "bank_windows", "banks_ahead", "forecast_supply", "last_bank"]

FEWEST_WINDOWS = 3
LEVEL = 0.80


@dataclass(frozen=True)
class Window:
    """A stretch of burning on one bank: rods burned and fall of the bank [kPa]."""

    rods: float
    fall_kpa: float


@dataclass(frozen=True)
class SupplyForecast:
    """Rods until the bank no longer holds the typed pressure.

    `rods_high` is None where the stretches differ too much for an upper end. `to_burn_stands` places the rods left
    to burn, where they were given: ``below the range``, ``inside the range`` or ``above the range``.
    """

    bank_kpa: float
    needed_kpa: float
    fall_kpa_per_rod: float
    windows: int
    rods_seen: float
    rods_low: float
    rods_mid: float
    rods_high: float | None
    rods_to_burn: float | None
    to_burn_stands: str | None

    def question(self) -> str:
        """The forecast as a question for whoever watches the bank."""
        high = "no upper end" if self.rods_high is None else f"{self.rods_high:.0f}"
        asked = ""
        if self.rods_to_burn is not None:
            asked = f"; about {self.rods_to_burn:.0f} rods left to burn, {self.to_burn_stands}"
        return (
            f"may reach the typed pressure after {self.rods_low:.0f} to {high} more rods "
            f"({self.windows} stretches, {self.rods_seen:.0f} rods){asked}: change over before?"
        )

    def as_json(self) -> dict[str, Any]:
        """Stable keys, SI."""
        return {**asdict(self), "question": self.question()}


@dataclass(frozen=True)
class BankAhead:
    """One bank: its forecast, or why there is none."""

    bank: str
    forecast: SupplyForecast | None
    why: str = ""

    def as_json(self) -> dict[str, Any]:
        """Stable keys, SI."""
        return {
            "bank": self.bank,
            "forecast": None if self.forecast is None else self.forecast.as_json(),
            "why": self.why,
        }


def last_bank(frames: Frames, job: str) -> str | None:
    """The bank of the job's last dive that names one."""
    dives = frames.dives[frames.dives["job"].eq(job) & frames.dives["bank"].notna()]
    rows = dives.sort_values(["dive_date", "dive_no"], kind="stable")["bank"]
    return str(rows.iloc[-1]) if len(rows) else None


def banks_ahead(
    frames: Frames,
    banks: Mapping[str, float | None],
    needed_kpa: float,
    *,
    until: pd.Timestamp | None = None,
    rods_to_burn: float | None = None,
) -> tuple[BankAhead, ...]:
    """The forecast of each bank, or why there is none.

    Parameters
    ----------
    frames : Frames
    banks : mapping of bank to float or None
        Where each stands [kPa gauge]; None takes its last reading.
    needed_kpa : float
        What was typed as needed [kPa gauge].
    until : Timestamp, optional
        Later dives are not looked at.
    rods_to_burn : float, optional
        Rods still to burn.
    """
    if until is not None:
        dives = frames.dives[frames.dives["dive_date"] <= until]
        refs = dives["dive_ref"]
        frames = replace(
            frames,
            dives=dives,
            cuts=frames.cuts[frames.cuts["dive_ref"].isin(refs)],
            readings=frames.readings[frames.readings["dive_ref"].isin(refs)],
        )
    out = []
    for bank, level in banks.items():
        windows, last = bank_windows(frames, bank)
        stands = last if level is None else level
        if stands is None:
            out.append(BankAhead(bank, None, "no pressure of it is known"))
            continue
        try:
            forecast = forecast_supply(windows, stands, needed_kpa, rods_to_burn=rods_to_burn)
        except RefusedError as error:
            out.append(BankAhead(bank, None, str(error)))
        else:
            out.append(BankAhead(bank, forecast))
    return tuple(out)


def bank_windows(frames: Frames, bank: str) -> tuple[tuple[Window, ...], float | None]:
    """The stretches of a bank since it was last changed or filled, and its last reading [kPa].

    A count of rods whose cuts have the bank read before and after is a stretch; so is the time between two
    readings of the gauge log in one dive that both carry the rods burned so far. Where a dive has both, the gauge
    log stands. A rise between two stretches is a change or a fill and starts anew.
    """
    stretches: list[tuple[pd.Timestamp, float, float, float, float]] = []
    logged = frames.readings[(frames.readings["bank"] == bank) & frames.readings["bank_kpa"].notna()]
    order = {
        str(dive["dive_ref"]): (dive["dive_date"], float(dive["dive_no"])) for dive in frames.dives.to_dict("records")
    }
    by_log: set[str] = set()
    for ref, group in logged[logged["after_rod"].notna() & logged["dive_ref"].notna()].groupby("dive_ref"):
        if len(group) < 2 or str(ref) not in order:
            continue
        by_log.add(str(ref))
        for this, after in pairwise(group.sort_values("after_rod").to_dict("records")):
            burned = float(after["after_rod"] - this["after_rod"])
            if after["reason"] != "change-over" and burned > 0:
                day, dive_no = order[str(ref)]
                place = dive_no + float(this["after_rod"]) / 1e4
                stretches.append((day, place, float(this["bank_kpa"]), float(after["bank_kpa"]), burned))
    cuts = frames.cuts[(frames.cuts["bank"] == bank) & ~frames.cuts["dive_ref"].isin(by_log)]
    held = frames.tally_cuts.merge(cuts, on="cut_id").sort_values(["dive_no", "row"])
    parts = frames.rod_parts["tally_id"].value_counts()
    rods = frames.tallies.set_index("tally_id")["rods"].astype(float).add(parts, fill_value=0.0)
    for tally_id, group in held.groupby("tally_id"):
        rows = group.to_dict("records")
        started = float(rods[str(tally_id)])
        start, end = float(rows[0]["bank_start_kpa"]), float(rows[-1]["bank_end_kpa"])
        if started > 0 and np.isfinite(start) and np.isfinite(end):
            day, dive_no = order[str(rows[0]["dive_ref"])]
            stretches.append((day, dive_no + float(rows[0]["row"]) / 1e4, start, end, started))
    kept: list[Window] = []
    last: float | None = None
    for _, _, start, end, burned in sorted(stretches, key=lambda s: (s[0], s[1])):
        if end > start or (last is not None and start > last * 1.02):
            kept = []
        if end <= start:
            kept.append(Window(burned, start - end))
        last = end
    return tuple(kept), last


def forecast_supply(
    windows: Sequence[Window], bank_kpa: float, needed_kpa: float, *, rods_to_burn: float | None = None
) -> SupplyForecast:
    """After how many more rods the bank may no longer hold the typed pressure.

    Parameters
    ----------
    windows : sequence of Window
        At least three stretches of burning on this bank; see `bank_windows`.
    bank_kpa, needed_kpa : float
        Where the bank stands and what was typed as needed [kPa gauge].
    rods_to_burn : float, optional
        Rods still to burn.

    Returns
    -------
    SupplyForecast

    Raises
    ------
    RefusedError
        Fewer than three stretches, or no fall in them.

    Notes
    -----
    The fall over N more rods is taken as r N with variance s^2 N (1 + N / R): R rods seen, s^2 the variance a rod
    of the stretches about r, with (stretches - 1) degrees of freedom.

    Examples
    --------
    >>> even = [Window(10, 400.0), Window(5, 200.0), Window(8, 320.0)]
    >>> forecast_supply(even, 3000.0, 1000.0).rods_low
    50.0
    """
    if len(windows) < FEWEST_WINDOWS:
        found = f"{len(windows)} stretch{'' if len(windows) == 1 else 'es'}"
        raise RefusedError(
            f"{found} between bank readings, {FEWEST_WINDOWS} are needed: read the bank before and after each dive, "
            "with the rods burned between."
        )
    rods = np.array([w.rods for w in windows], dtype=float)
    fall = np.array([w.fall_kpa for w in windows], dtype=float)
    seen, rate = float(rods.sum()), float(fall.sum() / rods.sum())
    if rate <= 0:
        raise RefusedError("the bank does not fall over the stretches recorded: check the readings.")
    variance = float((((fall - rate * rods) ** 2) / rods).sum() / (len(rods) - 1))
    left = max(bank_kpa - needed_kpa, 0.0)
    t = float(stats.t.ppf(0.5 + LEVEL / 2, len(rods) - 1))
    low, high = _meets(left, rate, t * t * variance, seen)
    stands = None
    if rods_to_burn is not None:
        if rods_to_burn <= low:
            stands = "below the range"
        else:
            stands = "inside the range" if high is None or rods_to_burn <= high else "above the range"
    return SupplyForecast(bank_kpa, needed_kpa, rate, len(rods), seen, low, left / rate, high, rods_to_burn, stands)


def _meets(left: float, rate: float, spread: float, seen: float) -> tuple[float, float | None]:
    """Both roots N of (left - rate N)^2 = spread N (1 + N / seen); no upper one where the spread outgrows it."""
    a = rate**2 - spread / seen
    b = -(2 * left * rate + spread)
    c = left**2
    root = math.sqrt(max(b * b - 4 * a * c, 0.0))
    low = 2 * c / (-b + root)
    return low, ((-b + root) / (2 * a) if a > 1e-12 * rate**2 else None)
