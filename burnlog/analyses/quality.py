"""`check`: what does not add up in the record, one line each, while somebody still remembers.

The list asks and changes nothing. A rule whose inputs are blank does not run for that row; blanks are counted by
`completeness`, where who could not know is not held against who did not write.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from typing import Any

import pandas as pd

from burnlog.analyses.accounts import rods_balance
from burnlog.analyses.consistency import short_of_plan
from burnlog.analyses.dive_times import breaches
from burnlog.analyses.oxygen_use import oxygen_use
from burnlog.columns import Frames
from burnlog.wording import show

__all__ = ["RULES", "CheckReport", "Problem", "check"]

RULES = (
    "counted twice",
    "entered twice",
    "longer than planned",
    "through but short of plan",
    "times do not nest",
    "bank pressure",
    "flowing above static",
    "hanger and through",
    "rods do not balance",
    "outside the usual range",
    "clocks and elapsed differ",
    "no reference to the legal log",
)
"""What is looked for, the most serious first; this is the order of the list."""

TAPE_ERROR = 1.02
"""New length may come out this much longer than planned before somebody is asked (tape error; judgement)."""
USUAL_THICKNESS_MM = (3.0, 75.0)
USUAL_PURITY_PCT = 99.5
"""Makers and manuals ask for at least this of cutting oxygen, as Hermans 2019 quotes them (second-hand)."""
USUAL_FULL = 1.15
"""A bank may read this much over its label before somebody is asked (judgement)."""
CLOCK_SLACK_S = 60.0
ESTIMATE_SLACK = 2
"""Rods that a count marked as an estimate may be out before somebody is asked (judgement)."""


@dataclass(frozen=True)
class Problem:
    """One line of the list: where it stands on paper and what does not add up."""

    rule: str
    target: str
    job: str
    dive: str | None
    sheet: str | None
    row: int | None
    message: str

    @property
    def place(self) -> str:
        """Sheet and row where they are known, else the dive, line or cut."""
        if self.sheet is None:
            return self.target
        return self.sheet + ("" if self.row is None else f" row {self.row}")

    def sentence(self) -> str:
        """The whole line."""
        return f"{self.place}: {self.message}"

    def as_json(self) -> dict[str, Any]:
        """Stable keys."""
        return asdict(self)


@dataclass(frozen=True)
class CheckReport:
    """Every problem found, the most serious first, over `dives` dives and `cuts` cuts."""

    problems: tuple[Problem, ...]
    dives: int
    cuts: int
    since: dt.date | None

    @property
    def clean(self) -> bool:
        """Nothing to ask about."""
        return not self.problems

    def as_json(self) -> dict[str, Any]:
        """Stable keys, n beside the list."""
        return {
            "since": None if self.since is None else self.since.isoformat(),
            "dives": self.dives,
            "cuts": self.cuts,
            "problems": [problem.as_json() for problem in self.problems],
        }


def check(frames: Frames, *, since: dt.date | None = None, profile: str = "metric") -> CheckReport:
    """Look over the record for what does not add up.

    Parameters
    ----------
    frames : Frames
        The whole record; it is never changed.
    since : date, optional
        Speak only of dives on or after this day. What a line or a bank was before still counts.
    profile : str
        Units of the messages: ``us`` or ``metric``.

    Returns
    -------
    CheckReport
        Problems in the order of `RULES`, then of the record.
    """
    dives = frames.dives.sort_values(["dive_date", "job", "dive_no"], kind="stable")
    if since is not None:
        dives = dives[dives["dive_date"] >= pd.Timestamp(since)]
    order = {str(ref): place for place, ref in enumerate(dives["dive_ref"])}
    look = _Look(frames, profile)
    found = [
        problem for problem in look.everything() if problem.dive in order or (problem.dive is None and since is None)
    ]
    found.sort(key=lambda p: (RULES.index(p.rule), order.get(p.dive or "", -1), p.row or 0, p.target))
    cuts = int(frames.cuts["dive_ref"].isin(order).sum())
    return CheckReport(tuple(found), len(dives), cuts, since)


class _Look:
    """The rules, each a generator of problems."""

    def __init__(self, frames: Frames, profile: str) -> None:
        self.frames, self.profile = frames, profile
        self.sheets = {str(row["dive_ref"]): row["sheet"] for row in frames.dives.to_dict("records")}
        self.cuts = frames.cuts.sort_values(["dive_date", "job", "dive_no", "row"], kind="stable")

    def everything(self) -> Iterator[Problem]:
        """Every rule over the whole record."""
        yield from self._counted_twice()
        yield from self._entered_twice()
        yield from self._longer_than_planned()
        yield from self._short_of_plan()
        yield from self._nesting()
        yield from self._bank()
        yield from self._flowing_above_static()
        yield from self._hanger_and_through()
        yield from self._balance()
        yield from self._unusual()
        yield from self._clocks()
        yield from self._no_log_reference()

    def _sheet(self, dive: str | None) -> str | None:
        sheet = self.sheets.get(dive or "")
        return None if sheet is None or sheet != sheet else str(sheet)

    def _pressure(self, kpa: float) -> str:
        return show(kpa, "pressure", self.profile, digits=4)

    def _length(self, metres: float) -> str:
        return show(1000 * metres, "length", self.profile, digits=4)

    def _over(self, row: dict[Any, Any]) -> str:
        return f"flowing {self._pressure(row['flowing_kpa'])} above static {self._pressure(row['static_kpa'])}"

    def _at_dive(self, rule: str, job: str, dive: str, message: str) -> Problem:
        return Problem(rule, dive, job, dive, self._sheet(dive), None, message)

    def _at_cut(self, rule: str, cut: dict[Any, Any], message: str) -> Problem:
        dive = str(cut["dive_ref"])
        return Problem(rule, str(cut["cut_ref"]), str(cut["job"]), dive, self._sheet(dive), int(cut["row"]), message)

    def _counted_twice(self) -> Iterator[Problem]:
        """Two counts of one rod type over one cut; a box count alone counts no rods."""
        counts = self.frames.tallies[~self.frames.tallies["scope"].eq("box")]
        links = self.frames.tally_cuts.drop_duplicates().merge(counts, on="tally_id")
        links["rod_type"] = links["rod_type"].fillna("")
        shared = links[links.duplicated(["cut_id", "rod_type"], keep=False)]
        pairs: dict[str, set[tuple[int, ...]]] = {}
        for (cut_id, _), rows in shared.groupby(["cut_id", "rod_type"]):
            pairs.setdefault(str(cut_id), set()).add(tuple(sorted(rows["tally_no"])))
        first_cut: dict[tuple[int, ...], dict[Any, Any]] = {}
        for cut in self.cuts.to_dict("records"):
            for numbers in sorted(pairs.get(str(cut["cut_id"]), ())):
                first_cut.setdefault(numbers, cut)
        for numbers, cut in first_cut.items():
            named = " and ".join(str(number) for number in numbers)
            yield self._at_cut(
                "counted twice", cut, f"tallies {named} both count it; neither is used till one is void"
            )

    def _entered_twice(self) -> Iterator[Problem]:
        """Same dive, line, start and stop: two people typed one sheet, or a second pass with a copied clock.

        A row with a reason for being a true second cut was asked when it was typed.
        """
        known = self.cuts[self.cuts["start_at"].notna() & self.cuts["stop_at"].notna()]
        key = ["dive_ref", "line_ref", "start_at", "stop_at"]
        again = known[known.duplicated(key) & known["twice_why"].isna()]
        for cut in again.to_dict("records"):
            same = known[(known[key] == pd.Series({name: cut[name] for name in key})).all(axis=1)]
            first = same["cut_ref"].iloc[0]
            yield self._at_cut("entered twice", cut, f"same line, start and stop as {first}")

    def _longer_than_planned(self) -> Iterator[Problem]:
        first = self.cuts[self.cuts["pass_kind"].eq("first") & self.cuts["new_length_m"].notna()]
        totals = first.groupby("line_ref")["new_length_m"].sum()
        last = first.drop_duplicates("line_ref", keep="last")
        total = last["line_ref"].map(totals)
        over = total > last["planned_length_m"] * TAPE_ERROR + 5e-4
        for cut, length in zip(last[over].to_dict("records"), total[over], strict=True):
            message = f"{cut['line']}: {self._length(length)} cut of {self._length(cut['planned_length_m'])} planned"
            yield replace(self._at_cut("longer than planned", cut, message), target=str(cut["line_ref"]))

    def _short_of_plan(self) -> Iterator[Problem]:
        first = self.cuts[self.cuts["pass_kind"].eq("first")]
        for flag in short_of_plan(self.frames).flags:
            cut = first[first["line_ref"].eq(flag.target)].iloc[-1].to_dict()
            done, planned = self._length(flag.seen or 0.0), self._length(cut["planned_length_m"])
            message = f"{cut['line']}: called through with {done} cut of {planned} planned"
            yield replace(self._at_cut(flag.rule, cut, message), target=flag.target)

    def _nesting(self) -> Iterator[Problem]:
        jobs = self.frames.dives.set_index("dive_ref")["job"]
        for breach in breaches(self.frames):
            yield Problem(
                "times do not nest",
                breach.target,
                str(jobs.get(breach.dive, "")),
                breach.dive,
                breach.sheet,
                breach.row,
                breach.sentence(),
            )

    def _bank(self) -> Iterator[Problem]:
        for fault in oxygen_use(self.frames).faults:
            rise = f"{self._pressure(fault.from_kpa)} to {self._pressure(fault.to_kpa)}"
            since = "" if fault.after_dive is None else f" since {fault.after_dive}"
            message = f"{fault.bank} rose {rise}{since}, no change-over written"
            yield self._at_dive("bank pressure", fault.job, fault.dive, message)
        label = self.frames.banks.set_index("bank")["label_kpa"]
        cuts, readings = self.cuts, self.frames.readings
        seen = pd.concat(
            [
                cuts[["job", "dive_ref", "bank"]].assign(kpa=cuts["bank_start_kpa"]),
                cuts[["job", "dive_ref", "bank"]].assign(kpa=cuts["bank_end_kpa"]),
                readings[["job", "dive_ref", "bank"]].assign(kpa=readings["bank_kpa"]),
            ]
        )
        seen["label"] = seen["bank"].map(label)
        over = seen[seen["kpa"] > seen["label"] * USUAL_FULL].drop_duplicates(["dive_ref", "bank"])
        for row in over.to_dict("records"):
            yield self._at_dive(
                "bank pressure",
                str(row["job"]),
                str(row["dive_ref"]),
                f"{row['bank']} reads {self._pressure(row['kpa'])}, its label {self._pressure(row['label'])}",
            )

    def _flowing_above_static(self) -> Iterator[Problem]:
        for cut in self.cuts[self.cuts["flowing_kpa"] > self.cuts["static_kpa"]].to_dict("records"):
            yield self._at_cut("flowing above static", cut, self._over(cut))
        readings = self.frames.readings[self.frames.readings["dive_ref"].notna()]
        over = readings[readings["flowing_kpa"] > readings["static_kpa"]]
        for dive, rows in over.groupby("dive_ref"):
            first = rows.to_dict("records")[0]
            more = "" if len(rows) == 1 else f", and {len(rows) - 1} more such"
            yield self._at_dive("flowing above static", str(first["job"]), str(dive), self._over(first) + more)

    def _hanger_and_through(self) -> Iterator[Problem]:
        both = self.cuts[self.cuts["hangers"].gt(0) & self.cuts["outcome"].eq("through")]
        for cut in both.to_dict("records"):
            left = f"{cut['hangers']:g} hanger" + ("s" if cut["hangers"] > 1 else "")
            yield self._at_cut("hanger and through", cut, f"{left} left, yet called through")

    def _balance(self) -> Iterator[Problem]:
        dives = self.frames.dives.sort_values("dive_no")
        days = dives["job"] + " " + dives["dive_date"].dt.strftime("%Y-%m-%d")
        first_of_day = dict(zip(days[::-1], dives["dive_ref"][::-1], strict=True))
        for box in rods_balance(self.frames):
            slack = ESTIMATE_SLACK if box.started_basis == "estimated" else 0
            if abs(box.unaccounted or 0) > slack:
                message = f"{box.rod_type or 'rods'}: {box.sentence()}"
                dive = box.dive if box.dive in self.sheets else first_of_day.get(box.dive)
                yield Problem("rods do not balance", box.dive, box.job, dive, box.sheet, None, message)

    def _unusual(self) -> Iterator[Problem]:
        low, high = USUAL_THICKNESS_MM
        outside = self.cuts[self.cuts["thickness_mm"].lt(low) | self.cuts["thickness_mm"].gt(high)]
        for line_ref, rows in outside.groupby("line_ref"):
            cut = rows.to_dict("records")[0]
            thick = show(cut["thickness_mm"], "thickness", self.profile, digits=4)
            message = f"{cut['line']}: {thick} thick; usual is {low:g} to {high:g} mm"
            yield replace(self._at_cut("outside the usual range", cut, message), target=str(line_ref))
        purity = self.frames.banks.set_index("bank")["purity_pct"]
        drawn = self.frames.dives.sort_values(["dive_date", "job", "dive_no"], kind="stable").drop_duplicates("bank")
        low_purity = drawn[drawn["bank"].map(purity) < USUAL_PURITY_PCT]
        for dive in low_purity.to_dict("records"):
            message = f"{dive['bank']}: {purity[dive['bank']]:g} % oxygen; usual is {USUAL_PURITY_PCT:g} % or more"
            found = self._at_dive("outside the usual range", str(dive["job"]), str(dive["dive_ref"]), message)
            yield replace(found, target=str(dive["bank"]))

    def _clocks(self) -> Iterator[Problem]:
        clocked = (self.cuts["stop_at"] - self.cuts["start_at"]).dt.total_seconds()
        differ = (self.cuts["elapsed_s"] - clocked).abs() > CLOCK_SLACK_S
        for cut, seconds in zip(self.cuts[differ].to_dict("records"), clocked[differ], strict=True):
            yield self._at_cut(
                "clocks and elapsed differ",
                cut,
                f"elapsed {cut['elapsed_s'] / 60:.3g} min, clocks say {seconds / 60:.3g} min",
            )

    def _no_log_reference(self) -> Iterator[Problem]:
        dives = self.frames.dives
        wet = dives[dives["log_ref"].isna() & ~dives["setting"].eq("dry practice")]
        for dive in wet.to_dict("records"):
            yield self._at_dive(
                "no reference to the legal log",
                str(dive["job"]),
                str(dive["dive_ref"]),
                "no reference to the legal log",
            )
