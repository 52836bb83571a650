"""When a bank was read, dive by dive, and which dives drew on one bank at the same time."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from burnlog.columns import Frames

__all__ = ["DiveLooks", "Look", "dives_with_looks", "taken_together"]

OVERLAP = 0.01
"""Share of the pressure by which two dives' readings must overlap before they are taken to be of one time."""


_OF_CUTS = ("dive_ref", "bank", "start_at", "stop_at", "bank_start_kpa", "bank_end_kpa")
_OF_READINGS = ("dive_ref", "bank", "read_at", "bank_kpa", "temp_c", "reason")
Row = dict[str, Any]


@dataclass(frozen=True)
class Look:
    """One reading of a bank; `at` is a clock in seconds of the day, infinite where only the order is known."""

    at: float
    kpa: float
    temp_c: float
    change: bool


@dataclass(frozen=True)
class DiveLooks:
    job: str
    dive: str
    day: pd.Timestamp
    number: int
    bank: str | None
    first: float
    last: float
    clocked: bool
    looks: tuple[Look, ...]
    changed: bool


def dives_with_looks(frames: Frames) -> Iterator[DiveLooks]:
    """Each dive with its looks at the bank, in the order of the record."""
    events = frames.happenings
    changed = set(events.loc[events["word"].eq("bank change-over"), "dive_ref"].dropna())
    cuts = _by_dive(frames.cuts.sort_values("row", kind="stable"), _OF_CUTS)
    readings = _by_dive(frames.readings[frames.readings["bank_kpa"].notna()], _OF_READINGS)
    ordered = frames.dives.sort_values(["dive_date", "job", "dive_no"], kind="stable")
    for row in ordered.to_dict("records"):
        ref = str(row["dive_ref"])
        mine = cuts.get(ref, [])
        named = {cut["bank"] for cut in mine if isinstance(cut["bank"], str)}
        bank = row["bank"] if isinstance(row["bank"], str) else named.pop() if len(named) == 1 else None
        looks, first, last, clocked = _cut_looks(mine, row["dive_date"])
        looks += _reading_looks(readings.get(ref, []), bank, row["dive_date"], first, last)
        yield DiveLooks(
            job=str(row["job"]),
            dive=ref,
            day=row["dive_date"],
            number=int(row["dive_no"]),
            bank=bank,
            first=first,
            last=last,
            clocked=clocked,
            looks=tuple(sorted(looks, key=lambda look: look.at)),
            changed=ref in changed or any(look.change for look in looks),
        )


def _by_dive(frame: pd.DataFrame, columns: Sequence[str]) -> dict[str, list[Row]]:
    """Rows of a frame as plain values, dive by dive."""
    out: dict[str, list[Row]] = {}
    for values in zip(*(frame[name].astype(object).tolist() for name in columns), strict=True):
        row = dict(zip(columns, values, strict=True))
        out.setdefault(str(row["dive_ref"]), []).append(row)
    return out


def _seconds(when: Any, day: Any) -> float:
    return math.nan if pd.isna(when) or pd.isna(day) else float((when - day).total_seconds())


def _cut_looks(cuts: Sequence[Row], day: Any) -> tuple[list[Look], float, float, bool]:
    """Bank readings written on the cuts, with when the burning began and ended."""
    if not cuts:
        return [], math.inf, -math.inf, False
    starts = [_seconds(when, day) for when in (cut["start_at"] for cut in cuts)]
    stops = [_seconds(when, day) for when in (cut["stop_at"] for cut in cuts)]
    looks, before = [], -math.inf
    for place, row in enumerate(cuts):
        after = next((t for t in starts[place + 1 :] if not math.isnan(t)), math.inf)
        at_start = before if math.isnan(starts[place]) else starts[place]
        at_stop = after if math.isnan(stops[place]) else stops[place]
        for at, kpa in ((at_start, row["bank_start_kpa"]), (at_stop, row["bank_end_kpa"])):
            if not math.isnan(kpa):
                looks.append(Look(at, float(kpa), math.nan, False))
        before = before if math.isnan(stops[place]) else stops[place]
    first = -math.inf if math.isnan(starts[0]) else starts[0]
    last = math.inf if math.isnan(stops[-1]) else stops[-1]
    return looks, first, last, not any(map(math.isnan, (*starts, *stops)))


def _reading_looks(readings: Sequence[Row], bank: str | None, day: Any, first: float, last: float) -> list[Look]:
    """Bank readings of the gauge log; without a clock, theirs or the cuts', their reason places them."""
    looks = []
    for row in readings:
        if isinstance(row["bank"], str) and bank is not None and row["bank"] != bank:
            continue
        at, reason = _seconds(row["read_at"], day), row["reason"]
        if reason == "start" and (math.isnan(at) or first == -math.inf):
            at = -math.inf
        elif reason == "end" and (math.isnan(at) or last == math.inf):
            at = math.inf
        if not math.isnan(at):
            looks.append(Look(at, float(row["bank_kpa"]), float(row["temp_c"]), reason == "change-over"))
    return looks


def taken_together(dives: Sequence[DiveLooks]) -> list[list[DiveLooks]]:
    """Dives of one bank, those that drew on it at the same time taken together."""
    units: list[list[DiveLooks]] = []
    for dive in dives:
        if units and any(_same_time(other, dive) for other in units[-1]):
            units[-1].append(dive)
        else:
            units.append([dive])
    return units


def _same_time(a: DiveLooks, b: DiveLooks) -> bool:
    """By their clocks; without clocks by their pressures, for a bank that only falls cannot be in two places."""
    if a.day != b.day:
        return False
    if a.clocked and b.clocked:
        return min(a.last, b.last) > max(a.first, b.first)
    if len(a.looks) < 2 or len(b.looks) < 2 or a.changed or b.changed:
        return False
    high_a, low_a = max(look.kpa for look in a.looks), min(look.kpa for look in a.looks)
    high_b, low_b = max(look.kpa for look in b.looks), min(look.kpa for look in b.looks)
    return min(high_a, high_b) - max(low_a, low_b) > OVERLAP * max(high_a, high_b)
