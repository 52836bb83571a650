"""Crews, divers, rod types and rigs on equal steel, with what luck alone does beside each figure.

No figure is given for a group with under five tallies or two jobs, for one that shares no job with another group,
or for one that cut what nobody else cut. Groups stand in code order and in no other. The word *different* is used
only where the 90 % interval of the shrunken ratio leaves out 1.

Measured on invented records (`benchmarks/results/crews.md`): of crews that are equal 3 to 6 in 100 are called
different; what can be seen of a true difference hangs on how much of the work was shared.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
import pandas as pd

from burnlog import vocabulary
from burnlog.analyses.crew_model import (
    GROUPS,
    GroupFit,
    Standing,
    fit_groups,
    luck_band,
    observed_over_expected,
    standing,
)
from burnlog.analyses.line_luck import line_shares
from burnlog.analyses.rate_design import Settings, design, time_design
from burnlog.analyses.shared_work import SharedWork, cut_luck, shared_work
from burnlog.analyses.tallies import Scope, TallySet, gather
from burnlog.columns import Frames
from burnlog.errors import FitError, InputError, RefusedError

__all__ = ["CrewReview", "CrewRow", "Remark", "crews"]

FEWEST_TALLIES, FEWEST_JOBS = 5, 2
LONGEST_REMARK = 1000
SEED = 20260101


@dataclass(frozen=True)
class Remark:
    """The answer of somebody reviewed, printed whole with its date; over 1,000 characters it is refused."""

    code: str
    day: str
    text: str

    def __post_init__(self) -> None:
        if len(self.text) > LONGEST_REMARK:
            raise InputError(
                f"the remark by {self.code} has {len(self.text)} characters; up to {LONGEST_REMARK} are printed "
                "whole, so shorten it: burnlog does not cut it off."
            )


@dataclass(frozen=True)
class CrewRow:
    """One group.

    Attributes
    ----------
    effect, low, high, low90, high90 : float or None
        Shrunken ratio of rods on equal steel against the other groups' mean, with its 80 and 90 % intervals.
    observed_expected : float or None
        Rods used over rods expected, fitted without the group.
    luck_low, luck_high : float or None
        Where observed over expected would lie by luck alone with this many tallies, 80 % of the time.
    raw_per_m : float or None
        Rods over metres, whatever was cut.
    prob_more : float or None
        Probability that the group needs more rods than the others on equal steel.
    would_not_show_percent : float or None
        A difference under this would not show here.
    different : bool
        The 90 % interval leaves out 1.
    plate_mix, visibility_mix : tuple of (word, share)
        What the group was given, as shares of its length.
    enough : bool
        Whether a figure is given; `why` says why not.
    time_tallies : int
        Tallies where every cut has a time.
    time_effect, time_low, time_high : float or None
        The same ratio for minutes a rod, with its 80 % interval; None without five timed tallies and a fit.
    """

    code: str
    tallies: int
    jobs: int
    length_m: float
    effect: float | None
    low: float | None
    high: float | None
    low90: float | None
    high90: float | None
    observed_expected: float | None
    luck_low: float | None
    luck_high: float | None
    raw_per_m: float | None
    prob_more: float | None
    would_not_show_percent: float | None
    different: bool
    shared_jobs: tuple[str, ...]
    plate_mix: tuple[tuple[str, float], ...]
    visibility_mix: tuple[tuple[str, float], ...]
    enough: bool
    why: str
    time_tallies: int = 0
    time_effect: float | None = None
    time_low: float | None = None
    time_high: float | None = None

    def sentence(self) -> str:
        """What the figure says and what it cannot."""
        if not self.enough or self.effect is None:
            return self.why
        word = "different from the others" if self.different else "not told apart from the others"
        said = (
            f"{word}: x {self.effect:.2f} rods (90 % interval {self.low90:.2f}-{self.high90:.2f}) on {self.tallies} "
            f"tallies, {len(self.shared_jobs)} of {self.jobs} jobs shared; a difference under about "
            f"{self.would_not_show_percent:.0f} % would not show here."
        )
        if self.different:
            said += " Ask what steel, rods, gear and water differed beyond what is on the sheets."
        if self.time_effect is not None:
            said += (
                f" Minutes a rod x {self.time_effect:.2f} (80 % interval {self.time_low:.2f}-{self.time_high:.2f}, "
                f"n {self.time_tallies})."
            )
        return said

    def as_json(self) -> dict[str, Any]:
        """Stable keys."""
        out = asdict(self)
        out["shared_jobs"] = list(self.shared_jobs)
        out["plate_mix"] = [list(pair) for pair in self.plate_mix]
        out["visibility_mix"] = [list(pair) for pair in self.visibility_mix]
        out["sentence"] = self.sentence()
        return out


@dataclass(frozen=True)
class CrewReview:
    """Every group of the scope, in code order.

    `work` is the graph of groups and jobs. `luck` is how far the highest stands over the lowest among as many
    identical groups with the median number of tallies, 80 % of the time; None without a fit.
    """

    by: str
    rows: tuple[CrewRow, ...]
    work: SharedWork
    tallies: int
    jobs: int
    luck: tuple[float, float] | None
    luck_sentence: str
    notes: tuple[str, ...]
    left_out: dict[str, int]
    remarks: tuple[Remark, ...] = ()
    made_up: bool = False

    def figure(self, code: str) -> CrewRow:
        """The row of one code.

        Raises
        ------
        RefusedError
            There is no figure for it; the message says why.
        """
        for row in self.rows:
            if row.code == code:
                if not row.enough:
                    raise RefusedError(f"{self.by} {code}: {row.why}.")
                return row
        known = ", ".join(row.code for row in self.rows) or "none"
        raise RefusedError(f"no {self.by} {code} in this filter; there are {known}.")

    def as_json(self) -> dict[str, Any]:
        """`crews` is the list of groups; the rest says what they were compared on."""
        return {
            "made_up": self.made_up,
            "by": self.by,
            "crews": [row.as_json() for row in self.rows],
            "work": [{"code": c, "job": j, "tallies": n} for (c, j), n in self.work.tallies.items()],
            "parts": dict(self.work.part),
            "tallies": self.tallies,
            "jobs": self.jobs,
            "luck": None if self.luck is None else list(self.luck),
            "luck_sentence": self.luck_sentence,
            "left_out": self.left_out,
            "notes": list(self.notes),
            "remarks": [asdict(remark) for remark in self.remarks],
        }


def crews(
    frames: Frames,
    scope: Scope = Scope(),  # noqa: B008
    *,
    by: str = "crew",
    settings: Settings = Settings(),  # noqa: B008
    rng: np.random.Generator | None = None,
    remarks: Sequence[Remark] = (),
) -> CrewReview:
    """Hold each group against the others on equal steel.

    Parameters
    ----------
    frames : Frames
        The record.
    scope : Scope
        What is compared; see `burnlog.analyses.tallies`.
    by : str
        ``crew``, ``diver``, ``rod_type`` or ``rig``.
    settings : Settings
        Choices behind the fit.
    rng : Generator, optional
        Source of the draws; a fixed seed by default, so that a page repeats.
    remarks : sequence of Remark
        Answers of the people reviewed.

    Raises
    ------
    InputError
        An unknown grouping.
    RefusedError
        No tally fits the filter.
    """
    by = by.replace(" ", "_")
    if by not in GROUPS:
        raise InputError(f"{by!r} is no grouping; there are {', '.join(GROUPS)}.")
    rng = np.random.default_rng(SEED) if rng is None else rng
    tallyset = gather(frames, scope)
    if tallyset.tallies.empty:
        there = "; ".join(f"{n} {why}" for why, n in tallyset.left_out_counts().items()) or "nothing else"
        raise RefusedError(f"no rod count fits this filter. What is there instead: {there}.")
    codes = _codes(tallyset, by)
    work = shared_work(codes, tallyset.tallies["job"])
    fit, time, reason = _fit(tallyset, by, settings, rng)
    sizes = codes.value_counts()
    luck = None
    sentence = "No luck band: there is no fit to take the spread of one tally from."
    if fit is not None and len(sizes) > 1:
        middle = int(np.median(sizes.to_numpy()))
        luck = cut_luck(middle, len(sizes), sd=fit.tally_sd, rng=rng)
        sentence = (
            f"Differences this size appear among {len(sizes)} identical {_plural(by)} with {middle} tallies each: "
            f"highest over lowest {luck[0]:.2f} to {luck[1]:.2f}, by luck alone."
        )
    rows = tuple(_row(code, by, tallyset, codes, work, fit, time, reason, rng) for code in sorted(work.part))
    parts = len(set(work.part.values()))
    filled = "; ".join(f"{name} ({n})" for name, n in fit.design.notes.items()) if fit is not None else ""
    notes = [f"Tallies filled in with the history's mix: {filled}."] if filled else []
    if parts > 1:
        notes.append(f"{parts} groups of {_plural(by)} that never met on a job: not compared with each other")
    unnamed = int(codes.isna().sum())
    if unnamed:
        notes.append(f"Tallies of no single {by.replace('_', ' ')}, in the fit but in no row: {unnamed}.")
    return CrewReview(
        by=by,
        rows=rows,
        work=work,
        tallies=len(tallyset.tallies),
        jobs=int(tallyset.tallies["job"].nunique()),
        luck=luck,
        luck_sentence=sentence,
        notes=tuple(notes),
        left_out=tallyset.left_out_counts(),
        remarks=tuple(remarks),
        made_up=bool(frames.jobs["made_up"].any()),
    )


def _fit(
    tallyset: TallySet, by: str, settings: Settings, rng: np.random.Generator
) -> tuple[GroupFit | None, GroupFit | None, str]:
    """The fit of rods and that of minutes a rod, or why there is none of rods."""
    n, jobs = len(tallyset.tallies), tallyset.tallies["job"].nunique()
    if n < settings.min_tallies or jobs < settings.min_jobs:
        return (
            None,
            None,
            (
                f"not enough to say: no model below {settings.min_tallies} tallies and {settings.min_jobs} jobs, "
                f"here {n} and {jobs}"
            ),
        )
    rows = design(tallyset, settings)
    try:
        fit = fit_groups(rows, by, rng=rng, lines=line_shares(tallyset, rows.tallies.index))
    except FitError as error:
        return None, None, f"not enough to say: {error}"
    timed = time_design(tallyset, rows)
    if timed.n < settings.min_tallies or timed.tallies["job"].nunique() < settings.min_jobs:
        return fit, None, ""
    try:
        return fit, fit_groups(timed, by, rng=rng, lines=line_shares(tallyset, timed.tallies.index)), ""
    except FitError:  # the rods fit stands; without a time fit the time columns stay blank
        return fit, None, ""


def _codes(tallyset: TallySet, by: str) -> pd.Series[str]:
    """The one group of each tally; missing where it has several or none."""
    if by != "diver":
        return tallyset.tallies[by]
    pieces = tallyset.pieces[tallyset.pieces["new_length_m"] > 0]
    each = pieces.groupby("tally_id")["diver"]
    single = each.first().where(each.nunique(dropna=False).eq(1))
    return single.reindex(tallyset.tallies.index).astype("str")


def _row(
    code: str,
    by: str,
    tallyset: TallySet,
    codes: pd.Series[str],
    work: SharedWork,
    fit: GroupFit | None,
    time: GroupFit | None,
    reason: str,
    rng: np.random.Generator,
) -> CrewRow:
    mine = codes.eq(code).to_numpy(dtype=bool, na_value=False)
    tallies = tallyset.tallies[mine]
    pieces = tallyset.pieces[tallyset.pieces["tally_id"].isin(tallies.index)]
    length = float(tallies["new_length_m"].sum())
    others = tuple(other for other in work.beside(code) if fit is None or other in fit.totals)
    why = _why_not(code, by, tallyset, mine, work, others) or ("" if fit is not None else reason)
    held: Standing | None = None
    expected = None
    luck: tuple[float, float] | tuple[None, None] = (None, None)
    if not why and fit is not None:
        held = standing(fit, code, others)
        expected = observed_over_expected(fit.plain, fit.design, mine)
        luck = luck_band(fit, mine, rng=rng)
    timed = int(tallies["elapsed_s"].notna().sum())
    pace: Standing | None = None
    if held is not None and time is not None and timed >= FEWEST_TALLIES:
        beside = tuple(other for other in others if other in time.totals)
        pace = standing(time, code, beside) if beside and code in time.totals else None
    return CrewRow(
        code=code,
        tallies=int(mine.sum()),
        jobs=len(work.jobs[code]),
        length_m=length,
        effect=held.effect if held else None,
        low=held.low if held else None,
        high=held.high if held else None,
        low90=held.low90 if held else None,
        high90=held.high90 if held else None,
        observed_expected=expected,
        luck_low=luck[0],
        luck_high=luck[1],
        raw_per_m=float(tallies["rods"].sum()) / length if not why and length > 0 else None,
        prob_more=held.prob_more if held else None,
        would_not_show_percent=held.would_not_show_percent if held else None,
        different=held.different if held else False,
        shared_jobs=work.shared[code],
        plate_mix=_mix(pieces, "thickness_mm"),
        visibility_mix=_mix(pieces, "visibility"),
        enough=not why,
        why=why,
        time_tallies=timed,
        time_effect=pace.effect if pace else None,
        time_low=pace.low if pace else None,
        time_high=pace.high if pace else None,
    )


def _why_not(code: str, by: str, tallyset: TallySet, mine: Any, work: SharedWork, others: tuple[str, ...]) -> str:
    """Why a group has no figure, or nothing."""
    if not work.shared[code] or not others:
        return "cannot be told apart from the job"
    n, jobs = int(mine.sum()), len(work.jobs[code])
    if n < FEWEST_TALLIES or jobs < FEWEST_JOBS:
        few = f"{n} tall{'y' if n == 1 else 'ies'} on {jobs} job{'' if jobs == 1 else 's'}"
        return f"not enough to say: {few}; {FEWEST_TALLIES} on {FEWEST_JOBS} are needed"
    steel, theirs = tallyset.tallies["thickness_mm"][mine], tallyset.tallies["thickness_mm"][~mine]
    if steel.notna().all() and not steel.between(theirs.min() * 0.999, theirs.max() * 1.001).any():
        return "nobody else cut this"
    return ""


def _mix(pieces: pd.DataFrame, column: str) -> tuple[tuple[str, float], ...]:
    """Shares of the length by the values of a column; what nobody wrote down is a share too."""
    length = pieces["new_length_m"]
    total = float(length.sum())
    if not total > 0:
        return ()
    named = pieces[column].astype(object).where(pieces[column].notna(), "not recorded")
    shares: dict[Any, float] = (length.groupby(named).sum() / total).to_dict()
    known = vocabulary.words(column) if column in vocabulary.LISTS else ()
    order = sorted(shares, key=lambda word: _place(word, known))
    return tuple((word if isinstance(word, str) else f"{word:g}", float(shares[word])) for word in order)


def _plural(by: str) -> str:
    return {"crew": "crews", "diver": "divers", "rod_type": "rod types", "rig": "rigs"}[by]


def _place(value: float | str, known: Sequence[str]) -> tuple[int, float, str]:
    """Numbers by size, then words in the order of their list, then what is in no list."""
    if not isinstance(value, str):
        return 0, float(value), ""
    return (1, known.index(value), value) if value in known else (2, 0.0, value)
