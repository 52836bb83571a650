"""Practice: attempts in order, person by person, with the spread shown as it is.

Training is kept apart from paid work, and open water, tank and dry practice from each other: nothing here joins
them. Calls and safety faults come first, then stubs and restarts, then rods and time. People are codes in code
order; no other order is offered.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from burnlog.analyses.exposure import Exposed, per_exposure, share_of
from burnlog.analyses.record import counted
from burnlog.analyses.scope import Scope, judged
from burnlog.analyses.spread import Split, split_spread
from burnlog.analyses.tallies import gather
from burnlog.analyses.trend import Trend, own_trends
from burnlog.columns import Frames
from burnlog.errors import RefusedError

if TYPE_CHECKING:
    from burnlog.analyses.crews import Remark

__all__ = ["Attempt", "Panel", "Person", "PracticeReview", "practice"]

SETTINGS = ("dry practice", "test tank", "open water")
COARSE_RODS = 3.0


@dataclass(frozen=True)
class Attempt:
    """One turn at the steel: a count of rods, or a cut nobody counted."""

    person: str
    number: int
    dive: str
    day: str
    thickness_mm: float | None
    length_m: float | None
    rods: float | None
    rods_per_m: float | None
    s_per_m: float | None
    edge: str | None
    restarts: int | None
    why_blank: str = ""


@dataclass(frozen=True)
class Person:
    """One code in one setting: calls and faults first."""

    code: str
    attempts: int
    dives: int
    calls: Exposed
    faults: Exposed
    restarts: Exposed
    stubs: int
    stub_mm: float | None
    short_stubs: int
    rods_per_m: float | None
    counted: int


@dataclass(frozen=True)
class Panel:
    """One setting, never joined to another.

    Attributes
    ----------
    middle_half : (float, float) or None
        Half the attempts lay between these rods per metre; None below 5 attempts with a count.
    split : Split or None
        Between people against within a person; `why_no_split` says what was missing.
    trends : tuple of Trend
        A person's own learning curve, or why there is none.
    technique : mapping of str to int
        Words an instructor wrote, counted over `technique_cuts` cuts that carry any.
    left_out : mapping of str to int
        Attempts left out of the order altogether.
    blanks : mapping of str to int
        What the sheets do not say, and so could not be computed.
    coarse_rods : float or None
        The median count, where counts are whole rods and so few that rounding is much of the spread.
    """

    setting: str
    people: tuple[Person, ...]
    attempts: tuple[Attempt, ...]
    thickness_mm: tuple[float, ...]
    middle_half: tuple[float, float] | None
    split: Split | None
    why_no_split: str
    trends: tuple[Trend, ...]
    technique: Mapping[str, int]
    technique_cuts: int
    cuts: int
    left_out: Mapping[str, int]
    blanks: Mapping[str, int]
    coarse_rods: float | None = None

    def as_json(self) -> dict[str, Any]:
        """Stable keys; numbers in SI."""
        return {
            "setting": self.setting,
            "people": [
                {**asdict(p), **{name: getattr(p, name).as_json() for name in ("calls", "faults", "restarts")}}
                for p in self.people
            ],
            "attempts": [asdict(attempt) for attempt in self.attempts],
            "thickness_mm": list(self.thickness_mm),
            "middle_half_rods_per_m": None if self.middle_half is None else list(self.middle_half),
            "split": None if self.split is None else asdict(self.split),
            "why_no_split": self.why_no_split,
            "trends": [asdict(trend) for trend in self.trends],
            "technique": dict(self.technique),
            "technique_cuts": self.technique_cuts,
            "cuts": self.cuts,
            "left_out": dict(self.left_out),
            "blanks": dict(self.blanks),
            "coarse_rods": self.coarse_rods,
        }  # fmt: skip


@dataclass(frozen=True)
class PracticeReview:
    """Dry practice, tank and open water, each in a panel of its own."""

    panels: tuple[Panel, ...]
    remarks: tuple[Remark, ...] = ()
    notes: tuple[str, ...] = ()
    made_up: bool = False

    def as_json(self) -> dict[str, Any]:
        """Stable keys; numbers in SI."""
        return {
            "made_up": self.made_up,
            "panels": [panel.as_json() for panel in self.panels],
            "remarks": [asdict(remark) for remark in self.remarks],
            "notes": list(self.notes),
        }


def practice(
    frames: Frames,
    scope: Scope = Scope(),  # noqa: B008
    *,
    rng: np.random.Generator,
    remarks: Sequence[Remark] = (),
) -> PracticeReview:
    """Lay a class's attempts out.

    Parameters
    ----------
    frames : Frames
        The record.
    scope : Scope
        Jobs, days, family, divers; its setting and record class are set here: training, one setting at a time.
    rng : Generator
        Seeded; draws the intervals of the split.
    remarks : sequence of Remark
        Answers of the people reviewed, printed whole.

    Raises
    ------
    RefusedError
        No training in the scope.
    """
    panels = []
    for setting in SETTINGS:
        panel = _panel(frames, replace(scope, record_class="training", setting=setting), rng)
        if panel is not None:
            panels.append(panel)
    if not panels:
        classes = frames.dives["record_class"].value_counts()
        there = ", ".join(f"{n} {word} dives" for word, n in classes.items()) or "no dives"
        raise RefusedError(f"no training dive fits this filter; the record holds {there}.")
    return PracticeReview(tuple(panels), tuple(remarks), made_up=bool(frames.jobs["made_up"].any()))


def _panel(frames: Frames, scope: Scope, rng: np.random.Generator) -> Panel | None:
    tallies, rows = counted(frames)
    outside, _ = judged(scope, rows, tallies)
    inside = outside.index[outside.isna()]
    rows = rows[rows["tally_id"].isin(inside) & rows["cut_id"].notna()]
    rows = rows[rows["setting"].eq(scope.setting) & rows["record_class"].eq(scope.record_class)]
    if rows.empty:
        return None
    attempts, left_out = _attempts(frames, scope, rows)
    counts = np.array([a.rods_per_m for a in attempts if a.rods_per_m is not None])
    middle = (float(np.quantile(counts, 0.25)), float(np.quantile(counts, 0.75))) if len(counts) >= 5 else None
    split, why = split_spread(
        [(a.person, a.rods_per_m, a.thickness_mm) for a in attempts if a.rods_per_m is not None], rng=rng
    )
    cuts = frames.cuts[frames.cuts["cut_id"].isin(rows["cut_id"])]
    words = cuts["technique"].dropna().str.split(";").explode().str.strip()
    words = words[words.ne("")]
    return Panel(
        setting=scope.setting,
        people=_people(frames, cuts, attempts),
        attempts=attempts,
        thickness_mm=tuple(sorted({a.thickness_mm for a in attempts if a.thickness_mm is not None})),
        middle_half=middle,
        split=split,
        why_no_split=why,
        trends=own_trends(attempts),
        technique={str(word): int(n) for word, n in words.value_counts().sort_index().items()},
        technique_cuts=int(words.index.nunique()),
        cuts=len(cuts),
        left_out=left_out,
        blanks=_blanks(cuts, attempts),
        coarse_rods=_coarse([a.rods for a in attempts if a.rods is not None]),
    )


def _attempts(frames: Frames, scope: Scope, rows: pd.DataFrame) -> tuple[tuple[Attempt, ...], dict[str, int]]:
    """Counts with a first pass, numbered for each person in the order they were made."""
    used = gather(frames, scope)
    reasons = {ref: reason for reason, refs in used.left_out.items() for ref in refs}
    refs = counted(frames)[0]["ref"]
    first = rows[rows["first"]].join(frames.cuts.set_index("cut_id")[["edge", "restarts"]], on="cut_id")
    by = first.groupby("tally_id", sort=False)
    table = pd.DataFrame(
        {
            "person": by["diver"].first(),
            "people": by["diver"].nunique(dropna=False),
            "dive": by["dive_ref"].first(),
            "day": by["dive_date"].min(),
            "dive_no": by["dive_no"].min(),
            "row": by["row"].min(),
            "edge": by["edge"].first().where(by["edge"].nunique(dropna=False).eq(1)),
            "restarts": by["restarts"].agg(lambda s: s.sum(skipna=False)),
        }
    )
    left_out = {
        "attempt without a day": int(table["day"].isna().sum()),
        "attempt without one person's code": int((table["person"].isna() | table["people"].gt(1)).sum()),
    }
    table = table[table["day"].notna() & table["person"].notna() & table["people"].eq(1)]
    table = table.sort_values(["person", "day", "dive_no", "row"], kind="stable")
    table["number"] = table.groupby("person").cumcount() + 1
    known = used.tallies.reindex(table.index)
    table["rods"], table["length"] = known["rods"], known["new_length_m"]
    table["thickness"], table["elapsed"] = known["thickness_mm"], known["elapsed_s"]
    table["ref"] = refs.reindex(table.index)
    return (
        tuple(
            Attempt(
                person=str(row["person"]),
                number=int(row["number"]),
                dive=str(row["dive"]),
                day=f"{row['day']:%Y-%m-%d}",
                thickness_mm=_number(row["thickness"]),
                length_m=_number(row["length"]),
                rods=_number(row["rods"]),
                rods_per_m=_number(row["rods"] / row["length"] if row["length"] > 0 else np.nan),
                s_per_m=_number(row["elapsed"] / row["length"] if row["length"] > 0 else np.nan),
                edge=row["edge"] if isinstance(row["edge"], str) else None,
                restarts=None if pd.isna(row["restarts"]) else int(row["restarts"]),
                why_blank=reasons.get(str(row["ref"]), ""),
            )
            for row in table.to_dict("records")
        ),
        {reason: n for reason, n in left_out.items() if n},
    )


def _people(frames: Frames, cuts: pd.DataFrame, attempts: Sequence[Attempt]) -> tuple[Person, ...]:
    dives = frames.dives[frames.dives["dive_ref"].isin(cuts["dive_ref"])]
    links = frames.tally_cuts.merge(cuts[["cut_id", "diver"]], on="cut_id").drop_duplicates(["tally_id", "diver"])
    stubs = frames.rod_parts.merge(links, on="tally_id")
    planned = frames.tallies.set_index("tally_id")["planned_stub_mm"]
    stubs["short"] = stubs["stub_mm"] < stubs["tally_id"].map(planned)
    people = []
    for code in sorted({str(d) for d in dives["diver"].dropna()}):
        mine, own = dives[dives["diver"] == code], [a for a in attempts if a.person == code]
        both = mine[mine["calls_made"].notna() & mine["calls_right"].notna()]
        told = mine[mine["faults"].notna()]
        restarts = [a.restarts for a in own if a.restarts is not None]
        left = stubs[stubs["diver"] == code]
        with_count = [a for a in own if a.rods is not None and a.length_m]
        rods = sum(a.rods or 0.0 for a in with_count)
        length = sum(a.length_m or 0.0 for a in with_count)
        people.append(
            Person(
                code=code,
                attempts=len(own),
                dives=len(mine),
                calls=share_of(
                    "calls made correctly",
                    int(both["calls_right"].sum()),
                    int(both["calls_made"].sum()),
                    "calls",
                    blank=len(mine) - len(both),
                ),
                faults=per_exposure(
                    "safety faults", told["faults"].sum(), len(told), "dives", blank=len(mine) - len(told)
                ),
                restarts=per_exposure(
                    "restarts", sum(restarts), len(restarts), "attempts", blank=len(own) - len(restarts)
                ),
                stubs=len(left),
                stub_mm=_number(left["stub_mm"].median()) if len(left) else None,
                short_stubs=int(left["short"].sum()),
                rods_per_m=rods / length if length > 0 else None,
                counted=len(with_count),
            )
        )
    return tuple(people)


def _blanks(cuts: pd.DataFrame, attempts: Sequence[Attempt]) -> dict[str, int]:
    """What the sheets do not say: reason to number of attempts or cuts."""
    found: dict[str, int] = {}
    for attempt in attempts:
        if attempt.rods_per_m is None:
            key = f"no rods over length: {attempt.why_blank or 'not usable'}"
            found[key] = found.get(key, 0) + 1
        elif attempt.s_per_m is None:
            found["no time over length: elapsed not recorded"] = (
                found.get("no time over length: elapsed not recorded", 0) + 1
            )
    for column, what in (
        ("edge", "edge"),
        ("restarts", "restarts"),
        ("hangers", "hangers"),
        ("technique", "technique"),
    ):
        blank = int(cuts[column].isna().sum())
        if blank:
            found[f"cuts without {what} written"] = blank
    return found


def _coarse(rods: Sequence[float]) -> float | None:
    """The median of whole counts of few rods; None where a stub was measured or the counts are larger."""
    if not rods or any(count != round(count) for count in rods):
        return None
    median = float(np.median(rods))
    return median if median <= COARSE_RODS else None


def _number(value: Any) -> float | None:
    return None if pd.isna(value) else float(value)
