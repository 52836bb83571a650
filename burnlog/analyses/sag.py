"""Oxygen sag: dives on which the pressure fell while gas flowed, in words that say how sure the record is.

Pressure decides (`burnlog.analyses.pressure`); ragged edges and the rods used only strengthen or weaken the word.
The residual of a rods model alone sees one sagging count in fifty and is never offered as a sign of sag.
Nothing here says why: the table of sag against ragged edges is an association, not proof.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd

from burnlog.analyses.pressure import (
    ENOUGH_READINGS,
    H_PER_CUT,
    H_PER_ROD,
    SINGLE,
    DivePressure,
    K,
    judge_dives,
)
from burnlog.analyses.residuals import Residuals
from burnlog.analyses.residuals import residuals as rods_residuals
from burnlog.analyses.tallies import Scope, gather
from burnlog.columns import Frames
from burnlog.stats.counts import associate
from burnlog.stats.drift import average_run_length

__all__ = ["BankLow", "EdgeTable", "Limits", "SagDive", "SagReview", "sag"]

WORDS = ("likely", "possible", "no evidence", "not judged")
SURE_Z = 5.0
RODS_LINE = 1.0
SHIFTED_SHARE = 1 / 3


@dataclass(frozen=True)
class SagDive:
    """One dive and what its record says about its oxygen.

    Attributes
    ----------
    evidence : str
        ``likely``, ``possible``, ``no evidence`` or ``not judged``.
    readings : int
        Flowing readings in the dive.
    fall_kpa : float or None
        How far the drop rose above the rig's usual one at most, where a limit was passed.
    first_cut : str or None
        Cut in which the limit was passed, where the record tells.
    cuts_during, cuts_after : tuple of str
        Cuts burned from where the rise began to where it was last seen; cuts of the dive after that.
    alarm_at : float or None
        Rods burned in the dive when the limit was passed, where written.
    rods_residual : float or None
        Robust left-out residuals of the dive's counts, summed over the root of their number.
    ragged, edges_seen, not_through, hangers : int
        What the sheet says of the cuts' edges and ends.
    ragged_and_held : int
        Ragged cuts that also left a hanger or were not through.
    bank_kpa : float or None
        Where the bank stood at the end of the cut in which the limit was passed.
    reported : bool
        Somebody wrote the event *oxygen sag* on the sheet.
    pressure : DivePressure
        The readings behind the word.
    """

    job: str
    dive: str
    rig: str
    evidence: str
    readings: int
    fall_kpa: float | None
    first_cut: str | None
    cuts_during: tuple[str, ...]
    cuts_after: tuple[str, ...]
    alarm_at: float | None
    rods_residual: float | None
    ragged: int
    edges_seen: int
    not_through: int
    hangers: int
    ragged_and_held: int
    bank_kpa: float | None
    reported: bool
    why: str
    pressure: DivePressure

    def as_json(self) -> dict[str, Any]:
        """The dive with stable keys; numbers in SI."""
        usual = self.pressure.baseline
        out = {key: value for key, value in vars(self).items() if key != "pressure"}
        out["cuts_during"], out["cuts_after"] = list(self.cuts_during), list(self.cuts_after)
        out["method"] = self.pressure.method
        out["usual_drop_kpa"] = None if usual is None else round(usual.centre_kpa, 3)
        out["spread_kpa"] = None if usual is None else round(usual.spread_kpa, 3)
        out["baseline_readings"] = None if usual is None else usual.readings
        return out


@dataclass(frozen=True)
class EdgeTable:
    """Cuts of judged dives by sag and edge: an association, not proof.

    `p` is Fisher's exact two-sided probability; None where a margin is empty.
    """

    sag_ragged: int
    sag_other: int
    clear_ragged: int
    clear_other: int
    p: float | None
    says: str = "association, not proof"


@dataclass(frozen=True)
class Limits:
    """Limits of the drift chart, in spreads of the rig's baseline, and how long each runs before a false alarm.

    A run length is the mean number of readings to a false alarm where readings are independent and normal and the
    baseline is known; a baseline from few readings shortens it.
    """

    k: float = K
    h_per_rod: float = H_PER_ROD
    h_per_cut: float = H_PER_CUT
    single_per_cut: float = SINGLE
    run_length_per_rod: float = average_run_length(k=K, h=H_PER_ROD)
    run_length_per_cut: float = average_run_length(k=K, h=H_PER_CUT)

    def sentence(self) -> str:
        """The limits in words."""
        return (
            f"Limits, in spreads of the rig's usual drop: a reading per rod, sum of (z - {self.k:g}) above "
            f"{self.h_per_rod:g}, one false alarm in about {self.run_length_per_rod:,.0f} readings; a reading per "
            f"cut, the sum above {self.h_per_cut:g}, one in about {self.run_length_per_cut:,.0f}, or one z above "
            f"{self.single_per_cut:g}."
        )


@dataclass(frozen=True)
class BankLow:
    """A cut that ended with the bank within the typed margin of the pressure typed as needed."""

    cut: str
    bank_end_kpa: float
    limit_kpa: float


@dataclass(frozen=True)
class SagReview:
    """Every dive of the scope, with how much of the record could be judged at all."""

    dives: tuple[SagDive, ...]
    flowing_on: int
    cuts: int
    table: EdgeTable
    banks_low: tuple[BankLow, ...]
    banks_judged: int
    notes: tuple[str, ...]
    limits: Limits = field(default_factory=Limits)

    @property
    def not_judged(self) -> int:
        """Dives about whose oxygen nothing can be said."""
        return sum(dive.evidence == "not judged" for dive in self.dives)

    def sentence(self) -> str:
        """How much of the record carries the answer."""
        dives = "dive" if self.not_judged == 1 else "dives"
        return f"flowing read on {self.flowing_on} of {self.cuts} cuts; {self.not_judged} {dives} not judged"

    def as_json(self) -> dict[str, Any]:
        """`sag` is the list of dives; the rest says how far it reaches."""
        return {
            "sag": [dive.as_json() for dive in self.dives],
            "flowing_on": self.flowing_on,
            "cuts": self.cuts,
            "not_judged": self.not_judged,
            "sentence": self.sentence(),
            "limits": asdict(self.limits),
            "edge_table": asdict(self.table),
            "banks_low": [asdict(low) for low in self.banks_low],
            "banks_judged": self.banks_judged,
            "notes": list(self.notes),
        }


def sag(
    frames: Frames,
    scope: Scope = Scope(),  # noqa: B008
    *,
    residuals: Residuals | None = None,
    needed_kpa: float | None = None,
    margin_kpa: float | None = None,
) -> SagReview:
    """Judge every dive's oxygen by its own readings.

    Parameters
    ----------
    frames : Frames
        The whole record: a rig's usual drop is learned from all its dives.
    scope : Scope
        Jobs and days to report on; its setting and record class only bear on the rods residual.
    residuals : Residuals, optional
        Rods residuals of the scope, where the caller has them already; else they are fitted here.
    needed_kpa, margin_kpa : float, optional
        Regulator pressure the work needs and the margin wanted above it, both typed by the user [kPa gauge];
        without both, the bank rule does not run.

    Returns
    -------
    SagReview
    """
    if residuals is None:
        residuals = rods_residuals(gather(frames, replace(scope, jobs=None, since=None, until=None)))
    judged = {pressure.dive: pressure for pressure in judge_dives(frames)}
    dives = _in_scope(frames.dives, scope)
    wanted = ["dive_ref", "row", "cut_id", "cut_ref", "edge", "outcome", "hangers", "flowing_kpa", "bank_end_kpa"]
    cuts = frames.cuts.loc[frames.cuts["dive_ref"].isin(dives["dive_ref"]), wanted].sort_values(["dive_ref", "row"])
    events = frames.happenings
    reported = set(events.loc[events["word"].eq("oxygen sag"), "dive_ref"].dropna())
    clogged = set(events.loc[events["word"].eq("clogged kerf"), "cut_id"].dropna())
    by_dive = {str(ref): rows for ref, rows in cuts.groupby("dive_ref")}
    found = tuple(
        _dive(judged[ref], by_dive.get(ref, cuts.iloc[:0]), residuals.by_dive, reported) for ref in dives["dive_ref"]
    )
    low, known = _banks_low(cuts, needed_kpa, margin_kpa)
    return SagReview(
        dives=found,
        flowing_on=_flowing_on(cuts, found),
        cuts=len(cuts),
        table=_edge_table(cuts, found, clogged),
        banks_low=low,
        banks_judged=known,
        notes=_notes(found, residuals, needed_kpa is not None and margin_kpa is not None),
    )


def evidence_word(
    pressure: DivePressure, rods: float | None, ragged: int, edges_seen: int, ragged_and_held: int
) -> str:
    """The word for a dive.

    *likely*: a limit passed and (rods residual above 1, or at least half of the seen edges ragged), or any reading
    above 5 spreads. *possible*: a limit passed otherwise; or no pressure to judge by, rods residual above 1, and
    ragged edges (two or more making half, or one on a cut that also left a hanger or was not through).
    *no evidence*: pressure judged, no limit passed. *not judged*: the rest.
    """
    more_rods = rods is not None and rods > RODS_LINE
    half = ragged > 0 and 2 * ragged >= edges_seen
    if pressure.baseline is not None:
        if bool((pressure.z > SURE_Z).any()) or (pressure.alarm is not None and (more_rods or half)):
            return "likely"
        return "possible" if pressure.alarm is not None else "no evidence"
    if more_rods and ((half and ragged >= 2) or ragged_and_held > 0):
        return "possible"
    return "not judged"


def _dive(
    pressure: DivePressure, cuts: pd.DataFrame, by_rods: Mapping[str, Sequence[float]], reported: set[str]
) -> SagDive:
    t = np.asarray(by_rods.get(pressure.dive, ()), dtype=float)
    rods = float(t.sum() / np.sqrt(len(t))) if len(t) else None
    ragged = int(cuts["edge"].eq("ragged").sum())
    seen = int(cuts["edge"].isin(("clean", "rough", "ragged")).sum())
    not_through = int(cuts["outcome"].eq("not through").sum())
    held = cuts["hangers"].gt(0) | cuts["outcome"].eq("not through")
    both = int((cuts["edge"].eq("ragged") & held).sum())
    first = during = None
    after: tuple[str, ...] = ()
    at = bank = None
    if pressure.alarm is not None and pressure.onset is not None and pressure.last is not None:
        names = dict(zip(cuts["cut_id"], cuts["cut_ref"], strict=True))
        ids = list(cuts["cut_id"])
        placed = [ids.index(c) if c in names else None for c in pressure.cut_ids]
        onset = min(pressure.onset, pressure.alarm)
        spans = [p for p in placed[onset : pressure.last + 1] if p is not None]
        if spans:
            during = tuple(names[c] for c in ids[min(spans) : max(spans) + 1])
            after = tuple(names[c] for c in ids[max(spans) + 1 :])
        where = placed[pressure.alarm]
        if where is not None:
            first = names[ids[where]]
            end = cuts["bank_end_kpa"].iloc[where]
            bank = float(end) if pd.notna(end) else None
        rod = pressure.after_rod[pressure.alarm]
        at = float(rod) if np.isfinite(rod) else None
    return SagDive(
        job=pressure.job,
        dive=pressure.dive,
        rig=pressure.rig,
        evidence=evidence_word(pressure, rods, ragged, seen, both),
        readings=len(pressure.drop_kpa),
        fall_kpa=pressure.fall_kpa,
        first_cut=first,
        cuts_during=during or (),
        cuts_after=after,
        alarm_at=at,
        rods_residual=rods,
        ragged=ragged,
        edges_seen=seen,
        not_through=not_through,
        hangers=int(cuts["hangers"].sum()),
        ragged_and_held=both,
        bank_kpa=bank,
        reported=pressure.dive in reported,
        why=pressure.why,
        pressure=pressure,
    )


def _in_scope(dives: pd.DataFrame, scope: Scope) -> pd.DataFrame:
    keep = pd.Series(True, index=dives.index)
    for column, wanted in (("job", scope.jobs), ("crew", scope.crews), ("diver", scope.divers)):
        if wanted is not None:
            keep &= dives[column].isin(wanted)
    if scope.since is not None:
        keep &= dives["dive_date"] >= pd.Timestamp(scope.since)
    if scope.until is not None:
        keep &= dives["dive_date"] < pd.Timestamp(scope.until) + pd.Timedelta(days=1)
    return dives[keep].sort_values(["job", "dive_no"], kind="stable")


def _flowing_on(cuts: pd.DataFrame, dives: Sequence[SagDive]) -> int:
    """Cuts with a flowing pressure of their own, or with a gauge reading taken in them."""
    read = {c for dive in dives for c in dive.pressure.cut_ids if c is not None}
    return int((cuts["flowing_kpa"].notna() | cuts["cut_id"].isin(read)).sum())


def _edge_table(cuts: pd.DataFrame, dives: Sequence[SagDive], clogged: set[str]) -> EdgeTable:
    judged = {dive.dive for dive in dives if dive.pressure.baseline is not None}
    during = {ref for dive in dives for ref in dive.cuts_during}
    ragged = cuts["edge"].eq("ragged") | cuts["outcome"].eq("not through") | cuts["cut_id"].isin(clogged)
    rows = cuts["dive_ref"].isin(judged) & (cuts["edge"].isin(("clean", "rough")) | ragged)
    low = cuts["cut_ref"].isin(during)
    a, b = int((rows & low & ragged).sum()), int((rows & low & ~ragged).sum())
    c, d = int((rows & ~low & ragged).sum()), int((rows & ~low & ~ragged).sum())
    whole = min(a + b, c + d, a + c, b + d) > 0
    p = associate([[a, b], [c, d]]).p_value if whole else None
    return EdgeTable(a, b, c, d, p)


def _banks_low(
    cuts: pd.DataFrame, needed_kpa: float | None, margin_kpa: float | None
) -> tuple[tuple[BankLow, ...], int]:
    if needed_kpa is None or margin_kpa is None:
        return (), 0
    limit = needed_kpa + margin_kpa
    read = cuts[cuts["bank_end_kpa"].notna()]
    low = read[read["bank_end_kpa"] < limit]
    return (
        tuple(
            BankLow(str(ref), float(kpa), limit) for ref, kpa in zip(low["cut_ref"], low["bank_end_kpa"], strict=True)
        ),
        len(read),
    )


def _notes(dives: Sequence[SagDive], residuals: Residuals, bank_rule: bool) -> tuple[str, ...]:
    notes = []
    reasons: dict[str, int] = {}
    for dive in dives:
        if dive.evidence == "not judged":
            reason = dive.why.split(" (")[0]
            reasons[reason] = reasons.get(reason, 0) + 1
    notes += [f"{n} dives not judged: {reason}" for reason, n in sorted(reasons.items())]
    if residuals.rods is None:
        notes.append(f"no rods model ({residuals.why_no_rods.rstrip('.')}): edges alone stand beside the pressure")
    if not bank_rule:
        notes.append("bank rule not run: it needs the pressure the work needs and a margin, both typed")
    for rig in sorted({dive.rig for dive in dives if dive.rig}):
        mine = [dive for dive in dives if dive.rig == rig and dive.pressure.baseline is not None]
        high = sum(dive.pressure.alarm is not None for dive in mine)
        if len(mine) >= 6 and high > SHIFTED_SHARE * len(mine):
            notes.append(
                f"{rig}: {high} of {len(mine)} judged dives stand above the others; was a hose, gauge or "
                "regulator changed?"
            )
    if any(dive.reported and dive.evidence in ("no evidence", "not judged") for dive in dives):
        count = sum(dive.reported and dive.evidence in ("no evidence", "not judged") for dive in dives)
        notes.append(f"{count} dives with sag written on the sheet that the readings do not show")
    notes.append(f"a rig needs {ENOUGH_READINGS} flowing readings on its other dives")
    return tuple(notes)
