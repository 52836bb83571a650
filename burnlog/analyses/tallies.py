"""Rod counts where they were counted: what may enter a rate, and what was left out and why.

The unit of observation is the tally: a count over one cut, several cuts, a dive or a day. Rods are never
shared out over the cuts of a count. A pass that makes no new length (re-burn, hanger, pierce) and was counted
by itself joins the count that holds its line's last first pass, so that its rods stand over the length they
helped to sever.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from burnlog.analyses.record import (
    MIXED_RODS,
    NO_COUNT,
    NO_FIRST,
    RODS_ONLY,
    TRIAL_ONLY,
    UNFINISHED,
    counted,
    mixed_types,
    net_time,
    own_faults,
)
from burnlog.analyses.scope import Scope, judged
from burnlog.columns import Frames
from burnlog.errors import RefusedError

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Ratio", "Scope", "TallySet", "decided_out", "gather", "ratio"]


NO_PLAN = "lines without a planned length: their own total new length stands in"


@dataclass(frozen=True, eq=False)
class TallySet:
    """Counts that may stand together, with the cuts that made their length.

    Attributes
    ----------
    tallies : DataFrame
        Indexed by tally_id: ref, tally_no, job, dive_ref, day, rod_type, family, diameter_mm, rods
        (equivalents where stubs were typed, else the count), rods_basis, new_length_m, thickness_mm
        (length-weighted), elapsed_s (net of stoppages; NaN unless every cut has it), cuts, lines, dives and
        divers (counts), crew and rig (missing where there are several), finished (False where the count
        holds a line known not to be through).
    pieces : DataFrame
        One row per first-pass cut: tally_id, cut_id, job, dive_ref, line_ref, diver, crew, new_length_m,
        planned_m, planned_from (``plan`` or ``line total``), thickness_mm, the conditions, outcome.
    left_out : mapping of str to tuple of str
        Reason to references; every count in scope is either used or here, once.
    outside : mapping of str to tuple of str
        What the filter turned away (dry practice beside open water, say); not part of the scope.
    joined : mapping of str to str
        Counts of passes without new length, and the tally each one joined.
    rods_only : DataFrame
        Counts on unfinished lines with rods but no length: ref, rods, elapsed_s.
    time_left_out : mapping of str to tuple of str
        Why used tallies have no elapsed time.
    notes : mapping of str to int
        What was kept although something was missing.
    """

    tallies: pd.DataFrame
    pieces: pd.DataFrame
    left_out: Mapping[str, tuple[str, ...]]
    outside: Mapping[str, tuple[str, ...]]
    joined: Mapping[str, str]
    rods_only: pd.DataFrame
    time_left_out: Mapping[str, tuple[str, ...]]
    notes: Mapping[str, int]
    scope: Scope

    @property
    def in_scope(self) -> int:
        """Counts in scope: used, joined to a used one, and left out."""
        return len(self.tallies) + len(self.joined) + sum(len(refs) for refs in self.left_out.values())

    def left_out_counts(self) -> dict[str, int]:
        """Reason to number, in order of the reasons."""
        return {reason: len(refs) for reason, refs in sorted(self.left_out.items())}


@dataclass(frozen=True)
class Ratio:
    """Rods and time over length, as sums over sums.

    `finished` is the same figure on lines not known to be unfinished, None where every line is finished.
    `with_no_length` adds the rods of unfinished lines that have rods but no length, None where there are none.
    Times are net of stoppages, on the tallies where every cut has one.
    """

    rods: float
    length_m: float
    rods_per_m: float
    tallies: int
    cuts: int
    lines: int
    jobs: int
    divers: int
    finished_per_m: float | None
    finished_tallies: int
    with_no_length_per_m: float | None
    rods_no_length: float
    without_count: int
    in_scope: int
    elapsed_s: float
    s_per_m: float | None
    s_per_rod: float | None
    time_tallies: int

    def sentences(self) -> tuple[str, ...]:
        """What a reader of the ratio has to know, in plain words."""
        said = []
        if self.without_count:
            verb = "has" if self.without_count == 1 else "have"
            said.append(f"{self.without_count} of {self.in_scope} tallies {verb} no rod count")
        if self.finished_per_m is not None:
            said.append(
                f"the headline holds unfinished lines with the length really cut; {self.finished_tallies} of "
                f"{self.tallies} tallies are on finished lines only"
            )
        if self.with_no_length_per_m is not None:
            said.append(f"{self.rods_no_length:g} rods stand on unfinished lines without any length cut")
        return tuple(said)


def decided_out(frames: Frames) -> tuple[str, ...]:
    """Targets whose last decision is ``leave-out``."""
    last = frames.decisions.sort_values(["decided_at"], kind="stable").groupby(["rule", "target"]).last()
    targets = last.index.get_level_values("target")[last["decision"].eq("leave-out")]
    return tuple(sorted(set(targets)))


def gather(frames: Frames, scope: Scope = Scope(), *, leave_out: Collection[str] = ()) -> TallySet:  # noqa: B008
    """Take the counts of a scope out of the record.

    Parameters
    ----------
    frames : Frames
    scope : Scope
    leave_out : collection of str
        Tallies, cuts or dives (ids or references) somebody decided to leave out; see `decided_out`.

    Raises
    ------
    RuntimeError
        Used and left out do not add up to the scope: an internal error, never bad input.
    """
    tallies, rows = counted(frames)
    outside, why = judged(scope, rows, tallies)
    why = own_faults(tallies, rows, why, set(leave_out))
    scoped = outside.isna()
    usable = scoped & why.isna()
    first_tallies = tallies.index.isin(rows.loc[rows["first"], "tally_id"])
    group = _joins(rows, usable.to_numpy(), first_tallies, tallies)
    lone = usable.to_numpy() & ~first_tallies & group.isna().to_numpy()
    trial = ~tallies.index.isin(rows.loc[rows["pass_kind"].ne("trial").fillna(True), "tally_id"])
    why[lone & trial] = TRIAL_ONLY
    why[lone & ~trial] = NO_FIRST
    group = group.where(why.isna() & scoped)
    mixed = _mixed_groups(tallies, rows, group)
    why[group.isin(mixed).to_numpy()] = MIXED_RODS
    group = group.where(why.isna())
    used, pieces, time_out, notes = _totals(frames, tallies, rows, group)
    joined = {str(t): str(g) for t, g in group.dropna().items() if t != g}
    left_out = _by_reason(tallies, why.where(scoped))
    rods_only = tallies.loc[(why.eq(RODS_ONLY) & scoped).to_numpy(), ["ref", "rods"]].copy()
    rods_only["elapsed_s"] = net_time(rows, "tally_id").reindex(rods_only.index)
    notes["passes without new length and without a rod count"] = int(
        ((why == NO_COUNT) & scoped & ~first_tallies).sum()
    )
    result = TallySet(
        tallies=used,
        pieces=pieces,
        left_out=left_out,
        outside=_by_reason(tallies, outside),
        joined=joined,
        rods_only=rods_only,
        time_left_out=time_out,
        notes={name: number for name, number in notes.items() if number},
        scope=scope,
    )
    if result.in_scope != int(scoped.sum()):
        raise RuntimeError(f"{result.in_scope} tallies used and left out, {int(scoped.sum())} in scope")
    return result


def _mixed_groups(tallies: pd.DataFrame, rows: pd.DataFrame, group: pd.Series) -> set[str]:
    """Groups in which a count joined one of another rod type."""
    known = group.dropna()
    size = known.groupby(known).size()
    joint = known[known.isin(size.index[size > 1])]
    if joint.empty:
        return set()
    mixed = mixed_types(tallies.loc[joint.index], rows[rows["tally_id"].isin(joint.index)], joint)
    return set(joint[mixed])


def _joins(
    rows: pd.DataFrame,
    usable: NDArray[np.bool_],
    first_tallies: NDArray[np.bool_],
    tallies: pd.DataFrame,
) -> pd.Series:
    """For each usable tally the tally it is counted in: itself, or the one that holds its line's first pass."""
    group = pd.Series(None, index=tallies.index, dtype=object)
    holds = usable & first_tallies
    group[holds] = tallies.index[holds]
    loose = tallies.index[usable & ~first_tallies]
    if not len(loose):
        return group
    firsts = rows[rows["first"] & rows["line_ref"].notna()].sort_values("order", kind="stable")
    home = firsts.drop_duplicates("line_ref", keep="last").set_index("line_ref")["tally_id"]
    home = home[home.isin(tallies.index[holds])]
    parent: dict[str, str] = {}

    def root(name: str) -> str:
        while parent.get(name, name) != name:
            name = parent[name]
        return name

    place = {name: number for number, name in enumerate(tallies.index)}
    of_line = rows[rows["tally_id"].isin(loose) & rows["line_ref"].notna()]
    for tally_id, lines in of_line.groupby("tally_id", sort=False)["line_ref"]:
        homes = sorted({root(home[line]) for line in lines if line in home.index}, key=place.__getitem__)
        if homes:  # a count over passes on several lines makes one count of all it touches
            for other in homes:
                parent[other] = homes[0]
            parent[str(tally_id)] = homes[0]
    for name in {*parent, *parent.values()}:
        group[name] = root(name)
    return group


def _totals(
    frames: Frames, tallies: pd.DataFrame, rows: pd.DataFrame, group: pd.Series
) -> tuple[pd.DataFrame, pd.DataFrame, dict[str, tuple[str, ...]], dict[str, int]]:
    """Sums over each used tally with what joined it, and its first-pass cuts."""
    used = tallies.loc[(group == group.index).to_numpy()].copy()
    of = group.reindex(rows["tally_id"]).to_numpy()
    rows = rows[pd.notna(of)].assign(group=of[pd.notna(of)])
    members = tallies.loc[group.notna().to_numpy()].assign(group=group.dropna())
    used["rods"] = members.groupby("group")["rods"].sum().reindex(used.index)
    rough = members["rods_basis"].eq("estimated").groupby(members["group"]).any().reindex(used.index)
    used["rods_basis"] = used["rods_basis"].mask(rough.to_numpy(dtype=bool), "estimated")

    everything = frames.cuts[frames.cuts["pass_kind"].fillna("first").eq("first")].sort_values("cut_no")
    line_total = everything.groupby("line_ref")["new_length_m"].sum()
    pieces = rows[rows["first"]]
    planned = pieces["planned_length_m"].where(pieces["planned_length_m"] > 0)
    total = pieces["line_ref"].map(line_total).fillna(pieces["new_length_m"])
    pieces = pieces.assign(
        tally_id=pieces["group"],
        new_length_m=pieces["new_length_m"].fillna(0.0),
        planned_m=planned.fillna(total.where(total > 0)),
        planned_from=np.where(planned.notna(), "plan", "line total"),
    ).astype({"tally_id": "str", "planned_from": "str"})
    pieces = pieces[_PIECE_COLUMNS].reset_index(drop=True)

    used["new_length_m"] = pieces.groupby("tally_id")["new_length_m"].sum().reindex(used.index)
    weight = pieces["new_length_m"].where(pieces["thickness_mm"].notna())
    weighted = (weight * pieces["thickness_mm"]).groupby(pieces["tally_id"]).sum()
    shares = weight.groupby(pieces["tally_id"]).sum()
    used["thickness_mm"] = (weighted / shares.where(shares > 0)).reindex(used.index)
    used["elapsed_s"] = net_time(rows, "group").reindex(used.index)
    by = rows.groupby("group")
    used["cuts"] = by.size().reindex(used.index)
    for name, column in (("lines", "line_ref"), ("dives", "dive_ref"), ("divers", "diver")):
        used[name] = by[column].nunique().reindex(used.index)
    for name in ("crew", "rig"):
        single = by[name].nunique(dropna=False).eq(1)
        used[name] = by[name].first().where(single).reindex(used.index).astype("str")
    types = frames.rod_types.drop_duplicates("rod_type").set_index("rod_type")
    for name in ("rod_type", "family"):
        from_cuts = by[name].first().where(by[name].nunique().eq(1)).reindex(used.index)
        used[name] = used[name].fillna(from_cuts).astype("str")
    by_type = used["rod_type"].map(types["family"]).astype("str")
    used["family"] = used["family"].fillna(by_type)
    used["diameter_mm"] = used["rod_type"].map(types["diameter_mm"]).astype(float)
    used["diameter_mm"] = used["diameter_mm"].fillna(by["diameter_mm"].mean().reindex(used.index))
    used["day"] = used["day"].fillna(by["dive_date"].min().reindex(used.index))
    last = rows[rows["outcome"].notna()].sort_values("order").drop_duplicates("line_ref", keep="last")
    noted = frames.lines.loc[frames.lines["state_noted"].eq("abandoned").fillna(False), "line_ref"]
    open_lines = set(last.loc[last["outcome"].isin(UNFINISHED), "line_ref"]) | set(noted)
    used["finished"] = ~used.index.isin(rows.loc[rows["line_ref"].isin(open_lines), "group"])
    notes = {
        NO_PLAN: int(pieces.loc[pieces["planned_from"].eq("line total"), "line_ref"].nunique()),
        "tallies on steel of unrecorded material": int(rows.loc[rows["material"].isna(), "group"].nunique()),
        "tallies with an estimated rod count": int(rough.sum()),
    }
    return used[_TALLY_COLUMNS], pieces, _time_reasons(rows, used), notes


_PIECE_COLUMNS = [
    *("tally_id", "cut_id", "job", "dive_ref", "line_ref", "diver", "crew", "new_length_m", "planned_m"),
    *("planned_from", "thickness_mm", "position", "visibility", "fouling", "current", "backing", "power"),
    *("section_kind", "outcome"),
]
_TALLY_COLUMNS = [
    *("ref", "tally_no", "job", "dive_ref", "day", "rod_type", "family", "diameter_mm", "rods", "rods_basis"),
    *("new_length_m", "thickness_mm", "elapsed_s", "cuts", "lines", "dives", "divers", "crew", "rig", "finished"),
]


def _time_reasons(rows: pd.DataFrame, used: pd.DataFrame) -> dict[str, tuple[str, ...]]:
    """Why used tallies have no elapsed time: the gravest reason of each."""
    untimed = used["elapsed_s"].isna()
    reasons = pd.Series(None, index=used.index, dtype=object)
    for reason, mask in (
        ("burn time longer than elapsed", rows["burn_s"].gt(rows["elapsed_s"])),
        ("stoppages longer than elapsed", rows["stoppage_s"].gt(rows["elapsed_s"])),
        ("elapsed not recorded on every cut", rows["elapsed_s"].isna()),
    ):
        hit = used.index.isin(rows.loc[mask.fillna(False).to_numpy(dtype=bool), "group"])
        reasons[hit & untimed.to_numpy() & reasons.isna().to_numpy()] = reason
    reasons[untimed.to_numpy() & reasons.isna().to_numpy()] = "no time left after stoppages"
    return _by_reason(used, reasons)


def _by_reason(tallies: pd.DataFrame, reasons: pd.Series) -> dict[str, tuple[str, ...]]:
    """References by reason, both in order."""
    known = reasons.dropna()
    refs = tallies["ref"].reindex(known.index)
    return {str(reason): tuple(refs[known == reason]) for reason in sorted(known.unique())}


def ratio(tallyset: TallySet) -> Ratio:
    """Rods over length and time over length, sums over sums.

    Raises
    ------
    RefusedError
        No tally, or no length, is left in the scope; the message says what there is instead.
    """
    tallies = tallyset.tallies
    length = float(tallies["new_length_m"].sum())
    if not length > 0:
        there = {**tallyset.left_out_counts(), **{f"other {k}": len(v) for k, v in tallyset.outside.items()}}
        listed = "; ".join(f"{number} {reason}" for reason, number in there.items()) or "the log holds no rod counts"
        raise RefusedError(f"no length recorded for this filter. What is there instead: {listed}.")
    rods = float(tallies["rods"].sum())
    finished = tallies[tallies["finished"]]
    finished_length = float(finished["new_length_m"].sum())
    timed = tallies[tallies["elapsed_s"].notna()]
    seconds = float(timed["elapsed_s"].sum())
    lost = float(tallyset.rods_only["rods"].sum())
    pieces = tallyset.pieces
    return Ratio(
        rods=rods,
        length_m=length,
        rods_per_m=rods / length,
        tallies=len(tallies),
        cuts=len(pieces),
        lines=int(pieces["line_ref"].nunique()),
        jobs=int(tallies["job"].nunique()),
        divers=int(pieces["diver"].nunique()),
        finished_per_m=(
            float(finished["rods"].sum()) / finished_length
            if len(finished) < len(tallies) and finished_length > 0
            else None
        ),
        finished_tallies=len(finished),
        with_no_length_per_m=(rods + lost) / length if len(tallyset.rods_only) else None,
        rods_no_length=lost,
        without_count=len(tallyset.left_out.get(NO_COUNT, ())),
        in_scope=tallyset.in_scope,
        elapsed_s=seconds,
        s_per_m=seconds / float(timed["new_length_m"].sum()) if len(timed) else None,
        s_per_rod=seconds / float(timed["rods"].sum()) if len(timed) else None,
        time_tallies=len(timed),
    )
