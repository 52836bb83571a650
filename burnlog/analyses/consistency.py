"""Rows of the record that contradict each other, found without a model.

A flag is a question about the record, never a verdict about a person. A rule whose inputs are blank does not run
for that row; how many rows each rule could judge, and how many it could not, stands beside its flags.

What these rules can see was measured on invented histories: a length written in the wrong unit nearly always
(`short of plan`), a thickness off by a plate size in about two of three cases, a clock out by an hour in about
two of five; a model of the rods sees none of the three reliably.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd

from burnlog.analyses.section_names import names_a_size, shapes
from burnlog.columns import Frames
from burnlog.units import show

__all__ = [
    "Findings",
    "Flag",
    "clashing_clocks",
    "consistency",
    "done_and_planned",
    "planned_lines",
    "said",
    "short_of_plan",
    "two_thicknesses",
]

SHEET = "check the sheet"
THROUGH = ("through", "through with hangers")
SHORT_OF_PLAN = 0.9
"""A line called through has at least this share of its planned length severed, or somebody is asked."""
SAME_STEEL = 0.10
"""Two thicknesses closer than this, relative, are one plate gauged twice."""
RARE_SHARE = 0.2
ROWS_FOR_RARE = 4
"""Under one section name in a job: this many lines before a second thickness can be called rare."""
FLANGE_AND_WEB = ("h section", "channel", "z sheet", "u sheet", "box", "angle")
"""Sections whose one cut line may truly cross two thicknesses."""


@dataclass(frozen=True)
class Flag:
    """One question about the record.

    Attributes
    ----------
    rule : str
        What raised it.
    kind : str
        ``check the sheet``, ``rods``, ``time`` or ``sag``.
    target : str
        Cut, line, dive or count it is about, as people name it.
    job, dive, cut : str or None
        Where it stands; None where it spans several.
    seen : float or None
        What the record says, in `unit`.
    expected_low, expected_high : float or None
        The range expected; None where the rule has no such end.
    unit : str
        Unit of the three numbers, SI.
    score : float
        How far out, for the order of the list; comparable within one rule only.
    question : str
        The sentence put to whoever wrote the sheet.
    sheet : str
        What else stood on the sheet.
    decision : str
        ``keep`` until somebody decided otherwise.
    decided : str
        Who decided and why; empty while nobody has.
    """

    rule: str
    kind: str
    target: str
    job: str | None
    dive: str | None
    cut: str | None
    seen: float | None
    expected_low: float | None
    expected_high: float | None
    unit: str
    score: float
    question: str
    sheet: str = ""
    decision: str = "keep"
    decided: str = ""

    @property
    def standing(self) -> str:
        """The decision with who made it and why, or that it is open."""
        return f"{self.decision}, {self.decided}" if self.decided else "open"

    def as_json(self) -> dict[str, Any]:
        """The flag with stable keys; numbers in SI."""
        return {
            "rule": self.rule,
            "kind": self.kind,
            "target": self.target,
            "job": self.job,
            "dive": self.dive,
            "cut": self.cut,
            "seen": self.seen,
            "expected_low": self.expected_low,
            "expected_high": self.expected_high,
            "unit": self.unit,
            "score": round(self.score, 4),
            "question": self.question,
            "sheet": self.sheet,
            "decision": self.decision,
            "decided": self.decided,
        }


@dataclass(frozen=True)
class Findings:
    """Flags with what each rule could judge: `judged` and `blank` count rows by rule."""

    flags: tuple[Flag, ...] = ()
    judged: Mapping[str, int] = field(default_factory=dict)
    blank: Mapping[str, int] = field(default_factory=dict)

    def __add__(self, other: Findings) -> Findings:
        return Findings((*self.flags, *other.flags), {**self.judged, **other.judged}, {**self.blank, **other.blank})


def said(value: float, unit: str, profile: str) -> str:
    """An amount in the words of a question, in the reader's units; `unit` is m, mm or kPa."""
    kind, factor = {"m": ("length", 1000.0), "mm": ("thickness", 1.0), "kPa": ("pressure", 1.0)}[unit]
    return show(value * factor, kind, profile, digits=3)


def consistency(frames: Frames, *, profile: str = "metric") -> Findings:
    """Every rule of this module over the whole record, practice and training included.

    Parameters
    ----------
    frames : Frames
        The record.
    profile : str
        ``us`` or ``metric``: units of the words; numbers of a flag are SI.

    Returns
    -------
    Findings
        At most one flag for each line of a job and rule.
    """
    return short_of_plan(frames, profile=profile) + two_thicknesses(frames, profile=profile) + clashing_clocks(frames)


def short_of_plan(frames: Frames, *, profile: str = "metric") -> Findings:
    """Lines called through whose severed lengths do not add up to the planned length."""
    rule = "through but short of plan"
    first = frames.cuts[frames.cuts["pass_kind"] == "first"]
    went = frames.cuts[frames.cuts["outcome"].isin(THROUGH)]["line_ref"].dropna().unique()
    flags = []
    lines = planned_lines(first[first["line_ref"].isin(went)])
    short = lines[lines["done_m"] < SHORT_OF_PLAN * lines["planned_m"]]
    for line_ref, rows in first[first["line_ref"].isin(short.index)].groupby("line_ref", sort=True):
        done, planned = done_and_planned(short, line_ref)
        one = len(rows) == 1
        flags.append(
            Flag(
                rule=rule,
                kind=SHEET,
                target=str(line_ref),
                job=str(rows["job"].iloc[0]),
                dive=_only(rows["dive_ref"]),
                cut=str(rows["cut_ref"].iloc[0]) if one else None,
                seen=done,
                expected_low=SHORT_OF_PLAN * planned,
                expected_high=1.02 * planned,
                unit="m",
                score=float(np.log(planned / max(done, 1e-3))),
                question="called through, but the lengths do not add up to the plan: check the sheet",
                sheet=f"first-pass rows: {_written(rows, profile)}",
            )
        )
    whole = lines["planned_m"].notna()
    return Findings(tuple(flags), {rule: int(whole.sum())}, {rule: int((~whole).sum())})


def planned_lines(rows: pd.DataFrame) -> pd.DataFrame:
    """Length severed and planned of each line, by line_ref; missing unless there is a plan and no length is blank."""
    lengths = rows["new_length_m"]
    done = lengths.groupby(rows["line_ref"]).sum()
    blank = lengths.isna().groupby(rows["line_ref"]).any()
    planned = rows.drop_duplicates("line_ref").set_index("line_ref")["planned_length_m"].reindex(done.index)
    return pd.DataFrame({"done_m": done, "planned_m": planned}).where(planned.gt(0) & ~blank)


def done_and_planned(lines: pd.DataFrame, line_ref: object) -> tuple[float, float]:
    """Both lengths of one line of `planned_lines`."""
    row = lines.loc[str(line_ref)].to_numpy(dtype=float)
    return float(row[0]), float(row[1])


def two_thicknesses(frames: Frames, *, profile: str = "metric") -> Findings:
    """One line with two thicknesses, or a rare second thickness under one section name in a job.

    A section with flanges and web may have two on one line; there only the rare one counts. A name without a size,
    such as *plate*, goes with any thickness and is not judged. A row flagged for its line is not flagged again for
    its section.
    """
    on_line, on_section = "two thicknesses on one line", "rare thickness for its section"
    rows = frames.cuts[frames.cuts["line_ref"].notna()]
    known = rows[rows["thickness_mm"].notna()]
    shape, sized = shapes(rows), names_a_size(rows["section"])
    flags: list[Flag] = []
    taken: set[str] = set()
    two_faced = known["line_ref"].isin(known.loc[shape[known.index].isin(FLANGE_AND_WEB), "line_ref"])
    by_line = known[~two_faced].groupby("line_ref")["thickness_mm"].agg(["size", "min", "max"])
    judged = int(by_line["size"].ge(2).sum())
    apart = by_line.index[by_line["max"] - by_line["min"] > SAME_STEEL * by_line["min"]]
    for line_ref, cuts in known[known["line_ref"].isin(apart)].groupby("line_ref", sort=True):
        common, odd = _odd_ones(cuts["thickness_mm"], known, cuts)
        if odd.any():
            rare = cuts[odd]
            taken.add(str(line_ref))
            flags.append(
                _thickness_flag(on_line, str(line_ref), rare, common, f"{len(cuts)} rows on the line", profile)
            )
    counts = {on_line: judged}
    blanks = {on_line: int(rows["thickness_mm"].isna().sum())}

    judged = 0
    named = known[sized[known.index]]
    for (_, section), cuts in named.groupby(["job", "section"], sort=True):
        kind = _line_kind(cuts["thickness_mm"])
        lines = cuts.assign(kind=kind).drop_duplicates(["line_ref", "kind"])
        if lines["line_ref"].nunique() < ROWS_FOR_RARE:
            continue
        judged += len(cuts)
        share = lines["kind"].value_counts(normalize=True)
        common = float(share.index[0])
        for value in share.index[1:]:
            rare = cuts[(kind == value) & ~cuts["line_ref"].isin(taken)]
            if share[value] > RARE_SHARE or rare.empty or abs(value - common) <= SAME_STEEL * common:
                continue
            flags.extend(
                _thickness_flag(
                    on_section, str(ref), part, common, f"{section}: {len(lines)} lines in the job", profile
                )
                for ref, part in rare.groupby("line_ref", sort=True)
            )
    counts[on_section] = judged
    blanks[on_section] = int((~sized | rows["thickness_mm"].isna()).sum())
    return Findings(tuple(flags), counts, blanks)


def clashing_clocks(frames: Frames) -> Findings:
    """A cut that stops after the next one of the same dive has started: one pair of hands cannot do both."""
    rule = "stop after the next start"
    rows = frames.cuts.sort_values(["dive_ref", "row"], kind="stable")
    rows = rows[rows["start_at"].notna() | rows["stop_at"].notna()]
    after = rows.shift(-1)
    pairs = rows["dive_ref"] == after["dive_ref"]
    late = (rows["stop_at"] - after["start_at"]).dt.total_seconds()
    rows = rows.assign(late=late, next_ref=after["cut_ref"], next_start=after["start_at"])
    flags = [
        Flag(
            rule=rule,
            kind=SHEET,
            target=str(this["cut_ref"]),
            job=str(this["job"]),
            dive=str(this["dive_ref"]),
            cut=str(this["cut_ref"]),
            seen=float(this["late"]),
            expected_low=None,
            expected_high=0.0,
            unit="s",
            score=float(this["late"]) / 60,
            question=f"stops {this['late'] / 60:.0f} min after {this['next_ref']} has started: check the sheet",
            sheet=f"stop {this['stop_at']:%H:%M}, next start {this['next_start']:%H:%M}",
        )
        for this in rows[pairs & (late > 0)].to_dict("records")
    ]
    known = int((pairs & late.notna()).sum())
    return Findings(tuple(flags), {rule: known}, {rule: int(pairs.sum()) - known})


def with_decisions(flags: tuple[Flag, ...], decisions: pd.DataFrame) -> tuple[Flag, ...]:
    """The flags with the latest decision recorded for their rule and target; without one, ``keep``."""
    latest = decisions.sort_values("decided_at").drop_duplicates(["rule", "target"], keep="last")
    known = {(row["rule"], row["target"]): row for row in latest.to_dict("records")}
    out = []
    for flag in flags:
        row = known.get((flag.rule, flag.target))
        if row is None:
            out.append(flag)
        else:
            who = f"{row['decided_by']}: {row['why']}"
            out.append(replace(flag, decision=str(row["decision"]), decided=who))
    return tuple(out)


def _line_kind(thickness: pd.Series[float]) -> pd.Series[float]:
    """Each thickness replaced by the commonest one within `SAME_STEEL` of it."""
    order = list(thickness.value_counts().sort_index().sort_values(ascending=False, kind="stable").index)
    heads: list[float] = []
    for value in order:
        if not any(abs(value - head) <= SAME_STEEL * head for head in heads):
            heads.append(float(value))
    return thickness.map(lambda value: min(heads, key=lambda head: abs(value - head)))


def _odd_ones(thickness: pd.Series[float], known: pd.DataFrame, cuts: pd.DataFrame) -> tuple[float, pd.Series[bool]]:
    """The thickness this line most likely has, and which of its rows say another.

    Two rows that disagree settle nothing between them: the job's other rows of the same section do.
    """
    kind = _line_kind(thickness)
    votes = kind.value_counts()
    if len(votes) == 1:
        return float(votes.index[0]), pd.Series(False, index=cuts.index)
    like = known[(known["job"] == cuts["job"].iloc[0]) & (known["section"] == cuts["section"].iloc[0])]
    elsewhere = {v: int((abs(like["thickness_mm"] - v) <= SAME_STEEL * v).sum()) for v in votes.index}
    common = max(votes.index, key=lambda v: (votes[v], elsewhere[v], -v))
    return float(common), kind != common


def _thickness_flag(rule: str, line_ref: str, rare: pd.DataFrame, common: float, sheet: str, profile: str) -> Flag:
    seen = float(rare["thickness_mm"].iloc[0])
    return Flag(
        rule=rule,
        kind=SHEET,
        target=line_ref,
        job=str(rare["job"].iloc[0]),
        dive=_only(rare["dive_ref"]),
        cut=str(rare["cut_ref"].iloc[0]) if len(rare) == 1 else None,
        seen=seen,
        expected_low=common * (1 - SAME_STEEL),
        expected_high=common * (1 + SAME_STEEL),
        unit="mm",
        score=abs(float(np.log(seen / common))),
        question=f"{said(seen, 'mm', profile)} where other rows say {said(common, 'mm', profile)}: check the sheet",
        sheet=sheet,
    )


def _only(values: pd.Series[str]) -> str | None:
    """The one value of a column, or None when it has several."""
    found = values.dropna().unique()
    return str(found[0]) if len(found) == 1 else None


def _written(rows: pd.DataFrame, profile: str) -> str:
    pairs = zip(rows["cut_ref"], rows["new_length_m"], strict=True)
    return ", ".join(f"{ref}: {said(metres, 'm', profile)}" for ref, metres in pairs)
