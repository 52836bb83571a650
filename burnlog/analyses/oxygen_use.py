"""Oxygen used, dive by dive: the fall of the bank between two readings, and why there is often no figure.

Contents go by the gauge: labelled contents x gauge / label pressure. A figure is all-in: hold test, purging, leaks
and idle flow are in it. A change-over nobody read, or a pressure that rises with no change-over, leaves its window
without a figure; two torches on one bank share one.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
import pandas as pd

from burnlog.analyses.accounts import rods_balance
from burnlog.analyses.bank_looks import DiveLooks, Look, dives_with_looks, taken_together
from burnlog.columns import Frames
from burnlog.errors import InputError, RecordError
from burnlog.physics.oxygen import from_kg, remaining_kg, used

__all__ = ["BankFault", "DiveOxygen", "IdleFall", "OxygenUse", "in_scf", "oxygen_use"]

NOTICED_RISE = 0.03
"""Share of the label pressure a bank may rise between dives before somebody is asked: warmth does that much."""
NOTICED_RISE_IN_DIVE = 0.01
NOTICED_IDLE_FALL = 0.02
NO_BANK = "no bank named"
UNKNOWN_BANK = "contents of the bank not recorded"
NO_READING = "bank pressure not recorded"
NO_START = "no bank reading before the burning"
NO_END = "no bank reading after the burning"
UNREAD_CHANGE = "change-over without a reading"
RISES = "pressure rises without a change-over"
NO_RODS = "rods not counted"
BOUND_RODS = "rods are only a bound"


@dataclass(frozen=True)
class DiveOxygen:
    """Oxygen of one dive.

    Attributes
    ----------
    job, dive, bank : str
        `bank` is None where nobody named one.
    used_kg : float or None
        Mass out of the bank [kg], all-in; None where it cannot be had, and `why` says so.
    why : str or None
    rods : float or None
        Rods lit over the same window, of every dive in it.
    kg_per_rod : float or None
    why_no_rate : str or None
        Why there is no figure for each rod.
    shared_with : tuple of str
        Other dives whose torch drew on the bank at the same time: the figures are of all of them together.
    """

    job: str
    dive: str
    bank: str | None
    used_kg: float | None
    why: str | None
    rods: float | None
    kg_per_rod: float | None
    why_no_rate: str | None
    shared_with: tuple[str, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """Stable keys, SI."""
        return {**asdict(self), "shared_with": list(self.shared_with)}


@dataclass(frozen=True)
class BankFault:
    """A bank pressure that rises with nothing to explain it, within the dive or since `after_dive`."""

    job: str
    dive: str
    bank: str
    from_kpa: float
    to_kpa: float
    after_dive: str | None = None


@dataclass(frozen=True)
class IdleFall:
    """A bank that reads lower when the next dive starts than when the last one ended.

    `used_kg` is at one temperature where both were read, else by the gauge alone; `notes` say what that leaves
    open, a night with no temperature above all.
    """

    job: str
    bank: str
    after_dive: str
    before_dive: str
    from_kpa: float
    to_kpa: float
    night: bool
    used_kg: float
    at_one_temperature: bool
    notes: tuple[str, ...]

    def as_json(self) -> dict[str, Any]:
        """Stable keys, SI."""
        return {**asdict(self), "notes": list(self.notes)}


@dataclass(frozen=True)
class OxygenUse:
    """Every dive's oxygen, in the order of the record, with the faults and the idle falls between dives."""

    dives: tuple[DiveOxygen, ...]
    faults: tuple[BankFault, ...]
    idle: tuple[IdleFall, ...]

    @property
    def why_not(self) -> dict[str, int]:
        """Reason to number of dives without a figure of use."""
        reasons = [dive.why for dive in self.dives if dive.why]
        return {reason: reasons.count(reason) for reason in sorted(set(reasons))}

    def per_rod(self) -> pd.DataFrame:
        """Windows with a figure for each rod, one row a window.

        Returns
        -------
        DataFrame (windows, 4)
            job, dive (the first of the window), rods, kg.
        """
        rows: list[dict[str, Any]] = []
        seen: set[str] = set()
        for dive in self.dives:
            if dive.kg_per_rod is None or dive.dive in seen:
                continue
            seen.update((dive.dive, *dive.shared_with))
            rows.append({"job": dive.job, "dive": dive.dive, "rods": dive.rods, "kg": dive.used_kg})
        return pd.DataFrame(rows, columns=["job", "dive", "rods", "kg"]).astype({"rods": float, "kg": float})

    def as_json(self) -> dict[str, Any]:
        """Stable keys, n beside each figure."""
        rates = self.per_rod()
        rods, kg = float(rates["rods"].sum()), float(rates["kg"].sum())
        return {
            "dives": [dive.as_json() for dive in self.dives],
            "idle": [fall.as_json() for fall in self.idle],
            "faults": [asdict(fault) for fault in self.faults],
            "no_figure": self.why_not,
            "windows": len(rates),
            "rods": rods,
            "kg_per_rod": kg / rods if rods else None,
        }


def in_scf(kg: float) -> float:
    """Mass as standard cubic feet at 70 F and 1 atm, for those who order by them.

    Examples
    --------
    >>> round(in_scf(9.163))
    244
    """
    return from_kg(kg, "scf")


@dataclass(frozen=True)
class _Window:
    """What the readings of one window say: the fall, or why there is none, and a rise that nothing explains."""

    fall_kpa: float | None
    why: str | None
    rise: tuple[float, float] | None


def oxygen_use(frames: Frames) -> OxygenUse:
    """Account for the oxygen of every dive.

    Parameters
    ----------
    frames : Frames

    Returns
    -------
    OxygenUse
    """
    banks = {str(row["bank"]): row for row in frames.banks.to_dict("records")}
    rods = _rods_of_dives(frames)
    dives = list(dives_with_looks(frames))
    done: dict[str, DiveOxygen] = {}
    faults: list[BankFault] = []
    idle: list[IdleFall] = []
    for bank in sorted({dive.bank for dive in dives if dive.bank}):
        contents = banks.get(bank)
        units = taken_together([dive for dive in dives if dive.bank == bank])
        before: list[DiveLooks] = []
        for unit in units:
            looks = sorted((look for dive in unit for look in dive.looks), key=lambda look: look.at)
            window = _window(unit, looks, _label(contents))
            if window.rise:
                faults.append(BankFault(unit[0].job, unit[0].dive, bank, *window.rise))
            for dive in unit:
                done[dive.dive] = _figure(dive, unit, window, contents, rods)
            if before and before[0].job == unit[0].job:
                _between(bank, before, unit, contents, faults, idle)
            before = unit
    for dive in dives:
        if dive.dive not in done:
            done[dive.dive] = DiveOxygen(dive.job, dive.dive, None, None, NO_BANK, None, None, NO_BANK)
    return OxygenUse(tuple(done[dive.dive] for dive in dives), tuple(faults), tuple(idle))


def _rods_of_dives(frames: Frames) -> dict[str, tuple[float | None, str | None]]:
    """Rods lit in each dive over all rod types, or why that is not known."""
    out: dict[str, tuple[float | None, str | None]] = {}
    for box in rods_balance(frames):
        total, why = out.get(box.dive, (0.0, None))
        if box.started is None:
            total, why = None, NO_RODS
        elif box.started_basis in ("at least", "at most"):
            total, why = None, why or BOUND_RODS
        elif total is not None:
            total += box.started
        out[box.dive] = (total, why)
    return out


def _label(contents: dict[Any, Any] | None) -> float:
    return math.nan if contents is None else float(contents["label_kpa"])


def _window(unit: Sequence[DiveLooks], looks: Sequence[Look], label_kpa: float) -> _Window:
    """The fall of the bank over a window, in as many pieces as there were banks."""
    if not looks:
        return _Window(None, NO_READING, None)
    noticed = NOTICED_RISE_IN_DIVE * (label_kpa if label_kpa > 0 else looks[0].kpa)
    fall, change_read, begun = 0.0, 0, looks[0]
    for before, look in itertools.pairwise(looks):
        if look.kpa <= before.kpa + noticed:
            fall += before.kpa - look.kpa
        elif before.change and look.change:
            change_read += 1
        elif before.change or look.change or any(dive.changed for dive in unit):
            return _Window(None, UNREAD_CHANGE, None)
        else:
            return _Window(None, RISES, (before.kpa, look.kpa))
    first, last = min(dive.first for dive in unit), max(dive.last for dive in unit)
    if begun.at > first:
        return _Window(None, UNREAD_CHANGE if begun.change else NO_START, None)
    if looks[-1].at < last or len(looks) == 1:
        return _Window(None, NO_END, None)
    told = any(dive.changed for dive in unit) and not begun.change
    if told and not change_read:
        return _Window(None, UNREAD_CHANGE, None)
    return _Window(fall, None, None)


def _figure(
    dive: DiveLooks,
    unit: Sequence[DiveLooks],
    window: _Window,
    contents: dict[Any, Any] | None,
    rods: dict[str, tuple[float | None, str | None]],
) -> DiveOxygen:
    others = tuple(other.dive for other in unit if other.dive != dive.dive)
    why, used = window.why, None
    if window.fall_kpa is not None:
        used = _kg(contents, window.fall_kpa)
        why = None if used is not None else UNKNOWN_BANK
    counts = [rods.get(member.dive, (None, NO_RODS)) for member in unit]
    missing = next((reason for _, reason in counts if reason), None)
    total = None if missing else sum(number or 0.0 for number, _ in counts)
    no_rate = why or missing or (None if total else NO_RODS)
    rate = used / total if used is not None and total else None
    return DiveOxygen(dive.job, dive.dive, dive.bank, used, why, total, rate, no_rate, others)


def _kg(contents: dict[Any, Any] | None, fall_kpa: float) -> float | None:
    """Mass that a fall of the gauge stands for, None where the bank's contents are not known."""
    if contents is None:
        return None
    cylinders, each, label = contents["cylinders"], contents["contents_kg_each"], contents["label_kpa"]
    if np.isnan([cylinders, each, label]).any() or label <= 0:
        return None
    return float(remaining_kg(cylinders * each, label, fall_kpa))


def _between(
    bank: str,
    before: Sequence[DiveLooks],
    after: Sequence[DiveLooks],
    contents: dict[Any, Any] | None,
    faults: list[BankFault],
    idle: list[IdleFall],
) -> None:
    """What the bank did between two dives of a job that follow each other on it."""
    ended = sorted((look for dive in before for look in dive.looks), key=lambda look: look.at)
    began = sorted((look for dive in after for look in dive.looks), key=lambda look: look.at)
    label = _label(contents)
    if not ended or not began or _kg(contents, 0.0) is None:
        return
    last, first = ended[-1], began[0]
    if first.change or last.change or any(dive.changed for dive in after):
        return
    if last.at < max(dive.last for dive in before) or first.at > min(dive.first for dive in after):
        return  # burning lies between the readings, so they say nothing of the time between the dives
    night = before[0].day != after[0].day
    try:
        idle_use = _idle_use(contents, last, first, night)
    except InputError:
        return  # a reading that cannot be is on the list of `check` already
    except RecordError:
        if first.kpa - last.kpa > NOTICED_RISE * label:
            faults.append(BankFault(after[0].job, after[0].dive, bank, last.kpa, first.kpa, before[-1].dive))
        return
    if last.kpa - first.kpa > NOTICED_IDLE_FALL * label:
        idle.append(
            IdleFall(after[0].job, bank, before[-1].dive, after[0].dive, last.kpa, first.kpa, night, *idle_use)
        )


def _idle_use(
    contents: dict[Any, Any] | None, last: Look, first: Look, night: bool
) -> tuple[float, bool, tuple[str, ...]]:
    """Mass gone between two readings, whether temperature was taken out of it, and what is left open."""
    assert contents is not None
    label_c = float(contents["label_temp_c"])
    more = {} if math.isnan(label_c) else {"label_c": label_c}
    use = used(
        float(contents["contents_kg_each"]),
        float(contents["label_kpa"]),
        last.kpa,
        first.kpa,
        cylinders=int(contents["cylinders"]),
        start_c=None if math.isnan(last.temp_c) else last.temp_c,
        end_c=None if math.isnan(first.temp_c) else first.temp_c,
        night_between=night,
        **more,
    )
    assert use.kg is not None
    return use.kg, use.at_one_temperature, use.notes
