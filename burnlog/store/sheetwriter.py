"""What is new of a dive on its way into the log: the dive, its cuts and counts, and the masters the rows make.

Nothing is held against the log here; that was done before. A master that is there is never changed, only its blanks
are filled.
"""

from __future__ import annotations

from collections import Counter
from typing import Any

from burnlog.store.batch import Batch, Known
from burnlog.store.cells import Cell
from burnlog.store.cutsheet import COLUMNS
from burnlog.store.log import Log, Row, identity
from burnlog.store.recorded import CUT_COLUMNS, RecordedDive
from burnlog.store.sheetcounts import TallyPlan
from burnlog.store.sheetdive import CutPlan, DivePlan
from burnlog.store.survey import LINE_CELLS, ROD_CELLS, Said, Survey

__all__ = ["MASTERS", "SheetWriter"]

_RULES = {column.name: column.rule for column in COLUMNS}
_HEAD_COLUMNS = tuple(column for column in COLUMNS if column.part == "dive")
MASTERS = {"diver": "person", "tender": "person", "supervisor": "person", "rig": "rig", "bank": "bank"}
"""Cells of a dive that name a master, and its table."""

_MARKED = frozenset(("estimated", "at least", "at most"))
_TALLY_COLUMNS = (
    "rods", "rods_basis", "issued", "returned", "lost", "broken_or_wet", "would_not_light", "lot",
)  # fmt: skip


class SheetWriter:
    """Queues the rows of the log that a sheet makes. Inside a transaction.

    `twice_why` is the reason for a cut that has line, start and stop of another.

    Attributes
    ----------
    masters : dict
        Table -> codes made.
    counts : Counter
        Rod counts by basis.
    unnamed : int
        Cuts without a line name, which got a line of their own.
    unweighed : int
        Counts with stubs whose rod type has no planned stub.
    """

    def __init__(self, log: Log, survey: Survey, batch: Batch, known: Known, twice_why: str | None) -> None:
        self.survey = survey
        self.batch = batch
        self.known = known
        self.twice_why = twice_why
        self.made_up = log.made_up
        self.masters: dict[str, list[str]] = {}
        self.unnamed = 0
        self.unweighed = 0
        self.counts: Counter[str] = Counter()

    def of_job(self, job: str, name: str) -> str | None:
        """A word of the job: the log's, or what all its dives in the file agree on."""
        stored = (self.known.masters("job").get(job) or {}).get(name)
        if stored is not None:
            return str(stored)
        said = self.survey.jobs.get(job)
        return said.agreed(name) if said is not None else None

    def write(
        self, plan: DivePlan, good: list[CutPlan], tallies: list[TallyPlan], recorded: RecordedDive | None
    ) -> None:
        """Queue a dive and those of its cuts that are new and good."""
        job_id = self._job(plan.job)
        dive_id = self._dive(plan, job_id)
        cut_ids = {id(cut): self._cut(plan, cut, job_id, dive_id) for cut in good}
        severed = self.known.severed(plan.job)
        for cut in good:
            severed[cut.line] = severed.get(cut.line, 0.0) + (cut.values.get("new_length_mm") or 0.0)
        for tally in tallies:
            if tally.scope == "cut":
                counted = recorded is not None and recorded.counts_whole(tally)
                if id(tally.cuts[0]) in cut_ids and not (counted and tally.carrier.get("rods").blank):
                    self._tally(plan, tally, job_id, dive_id, cut_ids[id(tally.cuts[0])])
            elif recorded is None or not recorded.has_tally(tally):
                self._tally(plan, tally, job_id, dive_id, None)
        self.batch.write_some()

    def _job(self, job: str) -> str:
        return self._made(
            "job",
            job,
            lambda: {
                "code": job,
                "record_class": self.of_job(job, "record_class"),
                "water": self.of_job(job, "water"),
                "made_up": int(self.made_up),
            },
        )

    def _made(self, table: str, code: str, values: Any, typed: dict[str, tuple[str, str]] | None = None) -> str:
        """Id of a master, made when it is missing."""
        there = self.known.masters(table)
        if code not in there:
            made = {**values(), "id": self.known.new_id(table, code), "new": True}
            there[code] = made
            self.masters.setdefault(table, []).append(code)
            self.batch.add(table, made["id"], {k: v for k, v in made.items() if k not in ("id", "new")}, typed)
        return str(there[code]["id"])

    def _rod_type(self, code: str) -> str:
        said = self.survey.rod_types.get(code, {})
        values, typed = _stored(said, ROD_CELLS)
        stored = self.known.masters("rod_type").get(code)
        if stored is not None:
            self._fill("rod_type", stored, values, typed)
        return self._made("rod_type", code, lambda: {"code": code, **values}, typed)

    def _line(self, job: str, cut: CutPlan, job_id: str) -> str:
        said = self.survey.lines.get((job, cut.line), {})
        if cut.line not in self.known.lines(job) and cut.row.get("line").value is None:
            self.unnamed += 1
            said = {name: (cut.row.cells[name], cut.row.number) for name in LINE_CELLS if name in cut.row.cells}
        values, typed = _stored(said, LINE_CELLS)
        for name, column in (("thickness", "thickness_basis"), ("planned_length", "length_basis")):
            if name in said and said[name][0].basis in _MARKED:
                values[column] = said[name][0].basis
        lines = self.known.lines(job)
        stored = lines.get(cut.line)
        if stored is None:
            made = {"job_id": job_id, "code": cut.line, **values}
            stored = {**made, "id": self.known.new_id("line", job, cut.line), "new": True}
            lines[cut.line] = stored
            self.batch.add("line", stored["id"], made, typed)
        else:
            self._fill("line", stored, values, typed)
        return str(stored["id"])

    def _fill(self, table: str, stored: Row, values: dict[str, Any], typed: dict[str, tuple[str, str]]) -> None:
        """Fill the blanks of a row of the log with what the file says."""
        if stored.get("new"):
            return
        blanks = {
            column: value for column, value in values.items() if stored.get(column) is None and value is not None
        }
        if blanks:
            stored.update(blanks)
            self.batch.fill(table, stored["id"], blanks, {k: v for k, v in typed.items() if k in blanks})

    def _dive(self, plan: DivePlan, job_id: str) -> str:
        dives = self.known.dives(plan.job)
        if plan.dive_no in dives:
            return str(dives[plan.dive_no]["id"])
        values: dict[str, Any] = {"job_id": job_id, "dive_no": plan.dive_no}
        typed = {}
        for column in _HEAD_COLUMNS:
            if column.name not in plan.head:
                continue
            cell, _ = plan.head[column.name]
            if column.name in MASTERS:
                values[column.rule.column] = self._person_or_gear(MASTERS[column.name], cell)
            else:
                values[column.rule.column] = cell.value
            if cell.typed:
                typed[column.rule.column] = (cell.typed, cell.basis)
        id = self.known.new_id("dive", plan.job, plan.dive_no)
        dives[plan.dive_no] = {
            **dict.fromkeys(c.rule.column for c in _HEAD_COLUMNS),
            **values,
            "id": id,
            "new": True,
        }
        return self.batch.add("dive", id, values, typed)

    def _person_or_gear(self, table: str, cell: Cell) -> str:
        extra = {"active": 1} if table == "person" else {}
        return self._made(table, cell.value, lambda: {"code": cell.value, **extra})

    def _cut(self, plan: DivePlan, cut: CutPlan, job_id: str, dive_id: str) -> str:
        values = {
            "dive_id": dive_id,
            "line_id": self._line(plan.job, cut, job_id),
            "rod_type_id": self._rod_type(cut.rod_type) if cut.rod_type is not None else None,
            **{column: cut.values.get(column) for column in CUT_COLUMNS},
            "row": cut.number,
            "twice_why": self.twice_why,
        }
        id = self.known.new_id("cut", plan.job, plan.dive_no, cut.number)
        self.batch.add("cut", id, values, cut.typed)
        for seq, happening in enumerate(cut.happenings, start=1):
            mention = happening.mention
            self.batch.add(
                "happening",
                identity("happening", id, happening.kind, seq),
                {
                    "kind": happening.kind,
                    "word": mention.word,
                    "job_id": job_id,
                    "dive_id": dive_id,
                    "cut_id": id,
                    "count": mention.times,
                    "seconds": mention.seconds,
                    "at": happening.at,
                },
                {"at" if mention.clock is not None else "seconds": (mention.typed, mention.basis)}
                if mention.typed
                else None,
            )
        return id

    def _tally(self, plan: DivePlan, tally: TallyPlan, job_id: str, dive_id: str, cut_id: str | None) -> None:
        whose = cut_id if cut_id is not None else f"{dive_id} {tally.rod_type or ''}"
        id = self.known.new_id("tally", tally.scope, whose)
        values = {
            "job_id": job_id,
            "dive_id": dive_id,
            "scope": tally.scope,
            "rod_type_id": self._rod_type(tally.rod_type) if tally.rod_type is not None else None,
            **{name: tally.values.get(name) for name in _TALLY_COLUMNS},
        }
        self.batch.add("tally", id, values, tally.typed)
        for seq, stub in enumerate(tally.stubs_mm, start=1):
            part = {"tally_id": id, "seq": seq, "stub_mm": stub}
            self.batch.add("rod_part", identity("rod_part", id, seq), part)
        if cut_id is not None:
            self.batch.add("tally_cut", identity("tally_cut", id, cut_id), {"tally_id": id, "cut_id": cut_id})
        if tally.scope != "box":
            self.counts[tally.values["rods_basis"]] += 1
            if tally.stubs_mm:
                planned = (self.known.masters("rod_type").get(tally.rod_type or "") or {}).get("planned_stub_mm")
                self.unweighed += planned is None


def _stored(said: Said, names: tuple[str, ...]) -> tuple[dict[str, Any], dict[str, tuple[str, str]]]:
    """What a file says of a master, by the log's columns."""
    values, typed = {}, {}
    for name in names:
        if name in said:
            cell = said[name][0]
            column = _RULES[name].column
            values[column] = cell.value
            if cell.typed:
                typed[column] = (cell.typed, cell.basis)
    return values, typed
