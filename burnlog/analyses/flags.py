"""What deserves a question, gravest first: rows to check, burns out of line, waits, and falling oxygen.

A flag is a question. Nothing is deleted, nothing is left out of a rate until somebody decides so, and no flag says
what made a burn odd. The rods residual is never a sign of sag: see `burnlog.analyses.sag`.

Measured on invented records with all rules together: see benchmarks/results/flags.md.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from burnlog.analyses.consistency import Findings, Flag, consistency, said, with_decisions
from burnlog.analyses.physical import far_from_own_rate, physical
from burnlog.analyses.rate_design import Settings
from burnlog.analyses.residuals import Judged, Residuals, residuals
from burnlog.analyses.sag import SagDive, SagReview, sag
from burnlog.analyses.slips import slips
from burnlog.analyses.tallies import Scope, TallySet, decided_out, gather
from burnlog.columns import Frames
from burnlog.errors import FitError
from burnlog.stats.outliers import generalised_esd

__all__ = ["NOT_SEEN", "FlagReview", "LeftOut", "flags"]

FEWEST_FOR_ESD = 7
HALF_A_ROD = 0.5
KINDS = ("check the sheet", "rods", "time", "sag")
NOT_SEEN = (
    "a wrong length on a line without a planned length, or given up;",
    "a wrong thickness where no other row has the same section name;",
    "a wrong clock where the next cut has none and the rods were not counted;",
    "one rod typed as ten where a short pass was counted with others;",
    "falling oxygen on dives without flowing pressure: the rods alone show about one such count in fifty.",
)


@dataclass(frozen=True)
class LeftOut:
    """Rods per metre with and without the counts that a decision leaves out, and how many those are."""

    tallies: int
    rods_per_m_with: float
    rods_per_m_without: float


@dataclass(frozen=True)
class FlagReview:
    """Every question, gravest first, and what was judged to find them.

    Attributes
    ----------
    flags : tuple of Flag
    judged, blank : mapping of rule to int
        Rows each rule could judge, and rows whose inputs are blank.
    model : str
        What the burns were held against.
    not_seen : tuple of str
        What no rule here can see.
    moved_percent : float or None
        By how much the tallies flagged on rods move rods per metre; they stay in unless left out.
    left_out : LeftOut or None
        What a decision left out, and both rates; None where no decision did.
    """

    flags: tuple[Flag, ...]
    judged: Mapping[str, int]
    blank: Mapping[str, int]
    model: str
    tallies: int
    jobs: int
    moved_percent: float | None
    notes: tuple[str, ...]
    not_seen: tuple[str, ...] = NOT_SEEN
    left_out: LeftOut | None = None

    def as_json(self) -> dict[str, Any]:
        """`flags` is the list of questions; the rest says what was judged."""
        return {
            "flags": [flag.as_json() for flag in self.flags],
            "judged": dict(self.judged),
            "blank": dict(self.blank),
            "model": self.model,
            "tallies": self.tallies,
            "jobs": self.jobs,
            "moved_percent": self.moved_percent,
            "left_out": None if self.left_out is None else asdict(self.left_out),
            "not_seen": list(self.not_seen),
            "notes": list(self.notes),
        }


def flags(
    frames: Frames,
    scope: Scope = Scope(),  # noqa: B008
    *,
    settings: Settings = Settings(),  # noqa: B008
    profile: str = "metric",
) -> FlagReview:
    """Ask about every row, burn and dive that deserves it.

    Parameters
    ----------
    frames : Frames
        The record; rules without a model and the sag rule look at all of it.
    scope : Scope
        What the rods are held against. Its jobs and days also bound which flags are shown.
    settings : Settings
        Thresholds and priors of the rates fit.
    profile : str
        ``us`` or ``metric``: units of the words; numbers of a flag are SI.

    Returns
    -------
    FlagReview
    """
    compared = gather(frames, replace(scope, jobs=None, since=None, until=None))
    held = residuals(compared, settings)
    oxygen = sag(frames, scope, residuals=held)
    found = consistency(frames, profile=profile) + slips(frames) + physical(frames, profile=profile)
    found = found + _model_flags(frames, compared, held, profile) + _sag_flags(oxygen)
    shown = [flag for flag in found.flags if _shown(flag, frames, scope)]
    shown.sort(key=lambda f: (KINDS.index(f.kind), -f.score, f.target))
    moved = _moved(compared, held)
    notes = []
    if moved is not None:
        notes.append(
            f"The burns flagged on rods move rods over length, and a bid with it, by {moved:+.1f} %; they stay in "
            "unless left out."
        )
    if held.rods is not None and not held.rods.fit.converged:
        notes.append("The robust weights had not settled: take the rods flags with care.")
    notes.append(f"Oxygen: {oxygen.sentence()}.")
    return FlagReview(
        flags=with_decisions(tuple(shown), frames.decisions),
        judged=found.judged,
        blank=found.blank,
        model=_model_words(compared, held),
        tallies=len(compared.tallies),
        jobs=int(compared.tallies["job"].nunique()),
        moved_percent=moved,
        notes=tuple(notes),
        left_out=_left_out(frames, compared),
    )


def _model_flags(frames: Frames, tallyset: TallySet, held: Residuals, profile: str) -> Findings:
    """Rods and minutes out of line; in sets without a model generalised ESD, below 7 tallies physical rules only."""
    found = Findings()
    if held.rods is not None:
        found = found + _of_fit(frames, held.rods, "rods out of line", "rods", "rods", profile)
    else:
        found = found + far_from_own_rate(tallyset, fewer_than=FEWEST_FOR_ESD, profile=profile)
        if len(tallyset.tallies) >= FEWEST_FOR_ESD:
            found = found + _esd(frames, tallyset, profile)
    if held.time is not None:
        found = found + _of_fit(frames, held.time, "minutes a rod out of line", "time", "s/rod", profile)
    return found


def _of_fit(frames: Frames, judged: Judged, rule: str, kind: str, unit: str, profile: str) -> Findings:
    rows = judged.design.tallies
    flags = tuple(
        Flag(
            rule=rule,
            kind=kind,
            target=str(rows["ref"].iloc[place]),
            job=str(rows["job"].iloc[place]),
            dive=_text(rows["dive_ref"].iloc[place]),
            cut=_one_cut(frames, str(rows.index[place])),
            seen=float(judged.seen[place]),
            expected_low=float(judged.low[place]),
            expected_high=float(judged.high[place]),
            unit=unit,
            score=abs(float(judged.fit.left_out_t[place])),
            question=_question(kind, judged.seen[place] > judged.high[place]),
            sheet=on_the_sheet(frames, str(rows.index[place]), profile),
        )
        for place in np.flatnonzero(judged.flagged).tolist()
    )
    return Findings(flags, {rule: len(rows)}, {rule: 0})


def _question(kind: str, high: bool) -> str:
    if kind == "time":
        return "check the clock, or say what you waited for"
    if high:
        return "more rods than this steel usually takes: check the count, or say what happened"
    return "fewer rods than this steel usually takes: check the count and the length"


def _esd(frames: Frames, tallyset: TallySet, profile: str) -> Findings:
    """Rods per metre, on plate of one thickness or brought to one by it, by Rosner's generalised ESD at 5 %."""
    rule = "rods over length out of line"
    tallies = tallyset.tallies
    rate = tallies["rods"] / tallies["new_length_m"]
    thickness = tallies["thickness_mm"]
    steel = thickness / thickness.mean() if thickness.notna().all() else pd.Series(1.0, index=tallies.index)
    logs = np.log(rate / steel).to_numpy()
    try:
        found = list(generalised_esd(logs, most=max(1, len(logs) // 4), alpha=0.05).places)
    except FitError:  # every rate is the same: none stands apart
        found = []
    rest = np.delete(logs, found)
    flags = []
    for place in found:
        row = tallies.iloc[place]
        scale = float(steel.iloc[place])
        # Equal burns may be written one whole rod apart: where counts repeat, that is the spread and not their own.
        whole = HALF_A_ROD / (scale * float(np.exp(rest.mean())) * float(row["new_length_m"]))
        usual = max(float(rest.std(ddof=1)), whole)
        reach = 2.0 * usual
        t = abs(float(logs[place] - rest.mean())) / usual
        if t <= 2.0:
            continue
        flags.append(
            Flag(
                rule=rule,
                kind="rods",
                target=str(row["ref"]),
                job=str(row["job"]),
                dive=_text(row["dive_ref"]),
                cut=_one_cut(frames, str(tallies.index[place])),
                seen=float(rate.iloc[place]),
                expected_low=scale * float(np.exp(rest.mean() - reach)),
                expected_high=scale * float(np.exp(rest.mean() + reach)),
                unit="rods/m",
                score=t,
                question=_question("rods", logs[place] > rest.mean()),
                sheet=on_the_sheet(frames, str(tallies.index[place]), profile),
            )
        )
    return Findings(tuple(flags), {rule: len(tallies)}, {rule: 0})


def _sag_flags(oxygen: SagReview) -> Findings:
    rule = "oxygen falling"
    flags = []
    for dive in oxygen.dives:
        usual = dive.pressure.baseline
        if dive.evidence not in ("likely", "possible"):
            continue
        ragged = f"ragged on {dive.ragged} of {dive.edges_seen} edges seen; hangers {dive.hangers}"
        ragged += f"; not through {dive.not_through}"
        flags.append(
            Flag(
                rule=rule,
                kind="sag",
                target=dive.dive,
                job=dive.job,
                dive=dive.dive,
                cut=dive.first_cut,
                seen=float(dive.pressure.drop_kpa.max()) if usual is not None else None,
                expected_low=None,
                expected_high=usual.centre_kpa + 3.5 * usual.spread_kpa if usual is not None else None,
                unit="kPa",
                score=float(np.nanmax(dive.pressure.z)) if usual is not None else 0.0,
                question=_sag_question(dive),
                sheet=ragged,
            )
        )
    judged = sum(dive.evidence != "not judged" for dive in oxygen.dives)
    return Findings(tuple(flags), {rule: judged}, {rule: oxygen.not_judged})


def _sag_question(dive: SagDive) -> str:
    if dive.pressure.baseline is None:
        return "sag possible: ragged cuts and more rods than usual, no flowing pressure read; what did the gauge do?"
    return (
        f"sag {dive.evidence}: the drop from static to flowing stood above this rig's usual one; what did the gauge, "
        "the bank and the hose do?"
    )


def on_the_sheet(frames: Frames, tally_id: str, profile: str = "metric") -> str:
    """What else the sheet says of the cuts under a count, in a few words."""
    ids = set(frames.tally_cuts.loc[frames.tally_cuts["tally_id"] == tally_id, "cut_id"])
    cuts = frames.cuts[frames.cuts["cut_id"].isin(ids)]
    tally = frames.tallies[frames.tallies["tally_id"] == tally_id]
    steel = [said(t, "mm", profile) for t in sorted(set(cuts["thickness_mm"].dropna()))]
    words = [
        f"{len(cuts)} cut{'s' if len(cuts) != 1 else ''}, {said(float(cuts['new_length_m'].sum()), 'm', profile)}"
    ]
    words += [", ".join(steel)] if steel else ["thickness not recorded"]
    if len(tally) and tally["rods_basis"].iloc[0] == "estimated":
        words.append("rods estimated")
    for column, word in (("restarts", "restarts"), ("hangers", "hangers")):
        total = cuts[column].sum()
        if total > 0:
            words.append(f"{total:.0f} {word}")
    waited = cuts["stoppage_s"].sum()
    if waited > 0:
        words.append(f"stoppages {waited / 60:.0f} min")
    ragged = int(cuts["edge"].eq("ragged").sum())
    if ragged:
        words.append(f"ragged on {ragged}")
    passes = sorted(set(cuts["pass_kind"].dropna()) - {"first"})
    words += [f"with {word} pass" for word in passes]
    written = frames.happenings[frames.happenings["cut_id"].isin(ids) & frames.happenings["kind"].ne("stoppage")]
    words += sorted(set(written["word"].dropna()))
    seen = sorted(set(cuts["visibility"].dropna()))
    words += [f"visibility {'/'.join(seen)}"] if seen else []
    return "; ".join(words)


def _shown(flag: Flag, frames: Frames, scope: Scope) -> bool:
    if scope.jobs is not None and flag.job not in scope.jobs:
        return False
    if scope.since is None and scope.until is None:
        return True
    if flag.dive is not None:
        days = frames.dives.loc[frames.dives["dive_ref"] == flag.dive, "dive_date"]
    else:
        days = frames.cuts.loc[frames.cuts["line_ref"] == flag.target, "dive_date"]
    first = pd.Timestamp.min if scope.since is None else pd.Timestamp(scope.since)
    last = pd.Timestamp.max if scope.until is None else pd.Timestamp(scope.until)
    # a flag whose day nobody knows is shown rather than lost
    return bool(days.isna().all() or days.dt.normalize().between(first, last).any())


def _moved(tallyset: TallySet, held: Residuals) -> float | None:
    if held.rods is None or not held.rods.flagged.any():
        return None
    tallies = tallyset.tallies
    kept = tallies[~held.rods.flagged]
    whole = tallies["rods"].sum() / tallies["new_length_m"].sum()
    return float(100.0 * (whole / (kept["rods"].sum() / kept["new_length_m"].sum()) - 1.0))


def _left_out(frames: Frames, whole: TallySet) -> LeftOut | None:
    """Both rates, where a decision leaves a count out."""
    decided = decided_out(frames)
    rest = gather(frames, whole.scope, leave_out=decided) if decided else whole
    out = len(whole.tallies) - len(rest.tallies)
    if not out or rest.tallies.empty:
        return None
    with_all, without = (
        float(each["rods"].sum() / each["new_length_m"].sum()) for each in (whole.tallies, rest.tallies)
    )
    return LeftOut(out, with_all, without)


def _model_words(tallyset: TallySet, held: Residuals) -> str:
    n, jobs = len(tallyset.tallies), tallyset.tallies["job"].nunique()
    if held.rods is not None:
        time = "" if held.time is None else f", minutes a rod on {held.time.design.n}"
        return f"Burns held against a robust rods model of {n} tallies on {jobs} jobs{time}."
    if n >= FEWEST_FOR_ESD:
        return f"No model ({held.why_no_rods.rstrip('.')}): generalised ESD at 5 % on {n} tallies."
    return f"{n} tallies: physical rules only, {FEWEST_FOR_ESD} are needed for more."


def _one_cut(frames: Frames, tally_id: str) -> str | None:
    ids = frames.tally_cuts.loc[frames.tally_cuts["tally_id"] == tally_id, "cut_id"]
    refs = frames.cuts.loc[frames.cuts["cut_id"].isin(ids), "cut_ref"]
    return str(refs.iloc[0]) if len(refs) == 1 else None


def _text(value: Any) -> str | None:
    return None if pd.isna(value) else str(value)
