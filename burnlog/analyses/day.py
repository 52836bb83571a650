"""One day as the office wants it over a bad line: dives, lines, rods, oxygen, waits, events, blanks."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

import pandas as pd

from burnlog.analyses.accounts import rods_balance
from burnlog.analyses.attached import job_of
from burnlog.analyses.completeness import completeness
from burnlog.analyses.oxygen_use import DiveOxygen, oxygen_use
from burnlog.analyses.supply import BankAhead, banks_ahead
from burnlog.columns import Frames
from burnlog.errors import InputError

__all__ = ["BankLeft", "Day", "day_of"]


@dataclass(frozen=True)
class BankLeft:
    """A bank as it was last read on the day."""

    bank: str
    kpa: float | None
    used_kg: float | None
    dives_without: int


@dataclass(frozen=True)
class Day:
    """One day, as a message to the office. Sums are over what was recorded; `_of` says over how many dives.

    `drawn` is issued less returned; `back` what came back unused; `blanks` counts empty fields among
    `blanks_of` that could have been filled. `ahead` says of each bank after how many more rods it may reach a
    pressure typed as needed; empty where none was typed.
    """

    day: dt.date
    jobs: tuple[str, ...]
    dives: int
    divers: int
    lines_through: int
    lines_hanging: int
    lines_part: int
    new_length_m: float
    length_blank: int
    drawn: float
    drawn_dives: int
    back: float
    started: float
    started_dives: int
    unaccounted: float
    oxygen_kg: float
    oxygen_dives: int
    banks: tuple[BankLeft, ...]
    stoppages: tuple[tuple[str, int, float], ...]
    events: tuple[tuple[str, int], ...]
    blanks: int
    blanks_of: int
    made_up: bool
    ahead: tuple[BankAhead, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """Stable keys, SI, n beside each sum."""
        out = asdict(self)
        out["day"] = self.day.isoformat()
        out["jobs"] = list(self.jobs)
        out["banks"] = [asdict(bank) for bank in self.banks]
        out["ahead"] = [bank.as_json() for bank in self.ahead]
        out["stoppages"] = [{"word": w, "count": n, "seconds": s} for w, n, s in self.stoppages]
        out["events"] = [{"word": w, "count": n} for w, n in self.events]
        return out


def day_of(
    frames: Frames, day: dt.date, *, today: dt.date, job: str | None = None, needed_kpa: float | None = None
) -> Day:
    """Sum up one day.

    Parameters
    ----------
    frames : Frames
    day : date
    today : date
        The caller's clock.
    job : str, optional
        Only this job.
    needed_kpa : float, optional
        Pressure a bank must still hold, typed by the user [kPa gauge]: asks when each may reach it.

    Returns
    -------
    Day
        With `dives` 0 where nothing was recorded.

    Raises
    ------
    InputError
        The day is still to come, or there is no such job.
    """
    if day > today:
        raise InputError(f"{day.isoformat()} is still to come; today is {today.isoformat()}")
    dives = frames.dives[frames.dives["dive_date"] == pd.Timestamp(day)]
    if job is not None:
        dives = dives[dives["job"] == job_of(frames, job)]
    refs = set(dives["dive_ref"])
    cuts = frames.cuts[frames.cuts["dive_ref"].isin(refs)]
    boxes = [box for box in rods_balance(frames) if box.dive in refs]
    drawn = [(b.issued - b.returned, b.returned) for b in boxes if b.issued is not None and b.returned is not None]
    started = [box.started for box in boxes if box.started is not None]
    oxygen = [use for use in oxygen_use(frames).dives if use.dive in refs]
    happened = frames.happenings[frames.happenings["dive_ref"].isin(refs)]
    first = cuts[cuts["pass_kind"].eq("first")]
    states = _end_of_day(cuts)
    one_day = _only_dives(frames, refs)
    counts = completeness(one_day, by=()).counts
    banks = _banks(one_day, oxygen)
    ahead: tuple[BankAhead, ...] = ()
    if needed_kpa is not None:
        levels = {bank.bank: bank.kpa for bank in banks}
        ahead = banks_ahead(frames, levels, needed_kpa, until=pd.Timestamp(day))
    return Day(
        day=day,
        jobs=tuple(sorted(set(dives["job"]))),
        dives=len(dives),
        divers=int(dives["diver"].nunique()),
        lines_through=states.get("through", 0),
        lines_hanging=states.get("through with hangers", 0),
        lines_part=sum(states.get(word, 0) for word in ("part way", "not through", "abandoned", "unknown")),
        new_length_m=float(first["new_length_m"].sum()),
        length_blank=int(first["new_length_m"].isna().sum()),
        drawn=sum(out for out, _ in drawn),
        drawn_dives=len(drawn),
        back=sum(back for _, back in drawn),
        started=sum(started),
        started_dives=len(started),
        unaccounted=sum(max(0.0, box.unaccounted or 0.0) for box in boxes),
        oxygen_kg=_shared_once(oxygen),
        oxygen_dives=sum(use.used_kg is not None for use in oxygen),
        banks=banks,
        stoppages=_stoppages(happened),
        events=_words(happened[happened["kind"].eq("event")]),
        blanks=sum(count.expected - count.recorded for count in counts),
        blanks_of=sum(count.expected for count in counts),
        made_up=bool(dives["made_up"].any()),
        ahead=ahead,
    )


def _only_dives(frames: Frames, refs: set[str]) -> Frames:
    def mine(frame: pd.DataFrame) -> pd.DataFrame:
        return frame[frame["dive_ref"].isin(refs)]

    return replace(frames, dives=mine(frames.dives), cuts=mine(frames.cuts), readings=mine(frames.readings))


def _end_of_day(cuts: pd.DataFrame) -> dict[str, int]:
    """Outcome of each line's last cut of the day."""
    last = cuts.sort_values(["dive_no", "row"], kind="stable").drop_duplicates("line_ref", keep="last")
    counts = last["outcome"].fillna("unknown").value_counts()
    return {str(word): int(number) for word, number in counts.items()}


def _shared_once(oxygen: Sequence[DiveOxygen]) -> float:
    """Oxygen of the day, a figure that belongs to several dives counted once."""
    total, seen = 0.0, set[str]()
    for use in oxygen:
        if use.used_kg is not None and use.dive not in seen:
            total += use.used_kg
            seen.update((use.dive, *use.shared_with))
    return total


def _banks(frames: Frames, oxygen: Sequence[DiveOxygen]) -> tuple[BankLeft, ...]:
    """Each bank of the day with its last reading."""
    order = frames.dives.sort_values("dive_no")["dive_ref"].tolist()
    out = []
    for bank in sorted({use.bank for use in oxygen if use.bank}):
        mine = [use for use in oxygen if use.bank == bank]
        kpa: float | None = None
        for ref in order:
            cuts = frames.cuts[(frames.cuts["dive_ref"] == ref) & frames.cuts["bank"].eq(bank)].sort_values("row")
            ends = cuts["bank_end_kpa"].dropna()
            logged = frames.readings[frames.readings["dive_ref"].eq(ref) & frames.readings["bank"].eq(bank)]
            logged = logged[logged["bank_kpa"].notna()].sort_values("read_at")
            if len(ends):
                kpa = float(ends.iloc[-1])
            elif len(logged):
                kpa = float(logged["bank_kpa"].iloc[-1])
        without = sum(use.used_kg is None for use in mine)
        out.append(BankLeft(str(bank), kpa, _shared_once(mine) if without < len(mine) else None, without))
    return tuple(out)


def _words(happened: pd.DataFrame) -> tuple[tuple[str, int], ...]:
    counts = happened.groupby("word")["count"].agg(lambda c: int(c.fillna(1).sum()))
    return tuple((str(word), int(number)) for word, number in sorted(counts.items(), key=lambda kv: (-kv[1], kv[0])))


def _stoppages(happened: pd.DataFrame) -> tuple[tuple[str, int, float], ...]:
    """Cause, how often, and minutes where written, the longest first."""
    stops = happened[happened["kind"].eq("stoppage")]
    rows = [(str(word), len(mine), float(mine["seconds"].sum())) for word, mine in stops.groupby("word")]
    return tuple(sorted(rows, key=lambda row: (-row[2], row[0])))
