"""A cut sheet on its way into the log: each dive held against what the log has, and written if nothing is wrong.

A dive that is there already must say the same; a cut that is there already is skipped when it is the same and
shown, both versions, when it is not. Masters are made of what the rows say; one that is there is never changed,
only its blanks are filled, through the trail.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import Any

from burnlog.errors import InputError
from burnlog.store.batch import Batch, Known
from burnlog.store.cutsheet import COLUMNS, CutSheet, SheetRow
from burnlog.store.log import Log, Row
from burnlog.store.lookup import refuse_twice
from burnlog.store.recorded import RecordedDive, alike, spoken
from burnlog.store.sheetcounts import BOX, TallyPlan, make_tallies
from burnlog.store.sheetdive import CutPlan, DivePlan, put_together
from burnlog.store.sheetwriter import MASTERS, SheetWriter
from burnlog.store.survey import LINE_CELLS, ROD_CELLS, Said, Survey, same

__all__ = ["SheetImport"]

_RULES = {column.name: column.rule for column in COLUMNS}
_HEAD_COLUMNS = tuple(column for column in COLUMNS if column.part == "dive")
_SLIP = 1.02
"""Share of the plan that a tape laid under water may come out long; our judgement, no source."""
_ROUNDING_MM = 0.5
"""What is lost where plan and cut were rounded to their own units [mm]."""


class SheetImport:
    """Takes the dives of one file, one after the other. Inside a transaction.

    With `all_new` a row that is there already is refused, not skipped; `twice_why` is the reason for a cut that has
    line, start and stop of another.

    Attributes
    ----------
    skipped, void : int
        Rows that were there already, and those of them that stand voided.
    writer : SheetWriter
        Takes what is new; knows what was made and counted.
    """

    def __init__(
        self,
        log: Log,
        sheet: CutSheet,
        survey: Survey,
        batch: Batch,
        *,
        keep_good: bool = False,
        all_new: bool = False,
        twice_why: str | None = None,
    ) -> None:
        self.log = log
        self.sheet = sheet
        self.survey = survey
        self.batch = batch
        self.keep_good = keep_good
        self.all_new = all_new
        self.twice_why = twice_why
        self.known = Known(log)
        self.made_up = log.made_up
        self.skipped = 0
        self.void = 0
        self.writer = SheetWriter(log, survey, batch, self.known, twice_why)
        self._sheets: dict[str, dict[str, dict[int, int]]] = {}

    # what the rows of a dive need to know

    def water(self, job: str, dive: int) -> str | None:
        """Kind of water of a dive: the log's, or what the file says of the job."""
        stored = self.known.dives(job).get(dive) or {}
        return stored.get("water") or self.writer.of_job(job, "water")

    def record_class(self, job: str, dive: int) -> str | None:
        """Record class of a dive that does not say it itself."""
        stored = self.known.dives(job).get(dive) or {}
        return stored.get("record_class") or self.writer.of_job(job, "record_class")

    def setting(self, job: str, dive: int) -> str | None:
        """Setting of a dive that is in the log."""
        return (self.known.dives(job).get(dive) or {}).get("setting")

    def last_moment(self, job: str, dive: int, row: int) -> str | None:
        """The last clock time of a dive in the log, from the rows before one."""
        stored = self.known.dives(job).get(dive) or {}
        if "id" not in stored or row < 2:
            return None
        latest = self.log.rows(
            "SELECT max(max(coalesce(start_at, ''), coalesce(stop_at, ''))) AS last FROM cut "
            "WHERE dive_id = ? AND row < ? AND voided_at IS NULL",
            (stored["id"], row),
        )[0]["last"]
        return latest or None

    def planned_length_mm(self, job: str, line: str) -> float | None:
        """Planned length of a line."""
        stored = (self.known.lines(job).get(line) or {}).get("planned_length_mm")
        return _number(stored if stored is not None else _first(self.survey.lines.get((job, line)), "planned_length"))

    def rod_length_mm(self, rod_type: str) -> float | None:
        """Length of a new rod."""
        stored = (self.known.masters("rod_type").get(rod_type) or {}).get("length_mm")
        return _number(stored if stored is not None else _first(self.survey.rod_types.get(rod_type), "rod_length"))

    def forget(self) -> None:
        """Let go of lines and dives: those of the jobs so far will not be named again."""
        self.known.forget()
        self._sheets.clear()

    # taking a dive

    def take(self, job: str, dive: int, rows: list[SheetRow]) -> None:
        """Hold one dive against the log and queue what is new of it; problems stand on the rows afterwards."""
        plan = put_together(self.sheet, self, job, dive, rows)
        tallies = make_tallies(self.sheet, self, plan)
        for row in rows:
            row.problems.extend(self.survey.clashes.get(row.number, ()))
            self._check_masters(job, row)
        stored = self.known.dives(job).get(dive)
        recorded = (
            RecordedDive(self.log, stored["id"], self.known.void_cuts(stored["id"]))
            if stored and not stored.get("new")
            else None
        )
        if stored is not None:
            self._check_head(plan, stored)
        fresh = list(self._fresh_cuts(plan, tallies, recorded))
        self._check_sheet_rows(plan, fresh)
        self._check_length(plan, fresh)
        whole = [tally for tally in tallies if tally.scope != "cut"]
        if recorded is not None:
            self._check_counts(plan, whole, recorded)
        if any(row.bad for row in rows):
            if not self.keep_good:
                return
            self._hold_back(plan, whole, rows)
        good = [cut for cut in fresh if not cut.row.bad]
        if not good:
            return
        self.writer.write(plan, good, tallies, recorded)

    def take_head(self, job: str, dive: int, row: SheetRow) -> None:
        """Queue a dive without its cuts: what its head says, and the counts over all of it."""
        plan = put_together(self.sheet, self, job, dive, [row])
        whole = [tally for tally in make_tallies(self.sheet, self, plan) if tally.scope != "cut"]
        row.problems.extend(self.survey.clashes.get(row.number, ()))
        self._check_masters(job, row)
        stored = self.known.dives(job).get(dive)
        if stored is not None:
            self._check_head(plan, stored)
            self._check_counts(plan, whole, RecordedDive(self.log, stored["id"]))
        elif not row.bad:
            self.writer.write(plan, [], whole, None)

    def _hold_back(self, plan: DivePlan, whole: list[TallyPlan], rows: list[SheetRow]) -> None:
        """Rows that cannot go in without their bad neighbours get that as their reason."""
        bad = [row for row in rows if row.bad]
        counted = any(row.bad and not row.get(name).blank for row in rows for name in ("rods_scope", *BOX))
        together = any(tally.scope == "dive" for tally in whole)
        if not (plan.headless or counted or together):
            return
        why = "the dive itself" if plan.headless else "a count that covers more than one row"
        for row in rows:
            if not row.bad:
                message = f"held back with row {bad[0].number}, for {why} is not settled there"
                row.problems.append(self.sheet.problem(row, "dive", message))

    def _check_masters(self, job: str, row: SheetRow) -> None:
        line, rod_type = row.get("line").value, row.get("rod_type").value
        if line is not None:
            stored = self.known.lines(job).get(line)
            self._contradictions(row, stored, [name for name in LINE_CELLS if name != "thickness"], f"line {line}")
        if rod_type is not None:
            stored = self.known.masters("rod_type").get(rod_type)
            self._contradictions(row, stored, list(ROD_CELLS), f"rod type {rod_type}")

    def _contradictions(self, row: SheetRow, stored: Row | None, names: list[str], what: str) -> None:
        if stored is None or stored.get("new"):
            return
        for name in names:
            there, here = stored[_RULES[name].column], row.get(name).value
            if there is not None and here is not None and not same(name, there, here):
                message = (
                    f"{what} has {spoken(there, _RULES[name])} in the log; leave it blank here, or change the log "
                    "with `burnlog fix`"
                )
                row.problems.append(self.sheet.problem(row, name, message))

    def _check_head(self, plan: DivePlan, stored: Row) -> None:
        """A dive that is there already must not be told otherwise."""
        for column in _HEAD_COLUMNS:
            if column.name not in plan.head:
                continue
            cell, row = plan.head[column.name]
            there = stored[column.rule.column]
            if column.name in MASTERS:
                codes = self.known.masters(MASTERS[column.name])
                there = next((code for code, found in codes.items() if found["id"] == there), None)
            if not alike(there, cell.value):
                message = (
                    f"dive {plan.job} {plan.dive_no} is in the log with {spoken(there, column.rule)}, and this says "
                    f"{spoken(cell.value, column.rule)}; change the file, or the log with `burnlog fix`"
                )
                row.conflicts.append(self.sheet.problem(row, column.name, message))
                plan.headless = True

    def _fresh_cuts(
        self, plan: DivePlan, tallies: list[TallyPlan], recorded: RecordedDive | None
    ) -> Iterator[CutPlan]:
        """The cuts that are not in the log; those that are, and differ, become conflicts."""
        if recorded is None:
            yield from plan.cuts
            return
        own = {id(tally.cuts[0]): tally for tally in tallies if tally.scope == "cut"}
        for cut in plan.cuts:
            stored, tally = recorded.cuts.get(cut.number), own.get(id(cut))
            if stored is not None:
                if self.all_new:
                    self._refuse_known(plan, cut, stored)
                    continue
                found = recorded.cut_differences(stored, cut, tally)
                if found and not cut.row.problems:
                    message = f"cut {plan.job} {plan.dive_no}.{cut.number} is in the log. {'; '.join(found)}"
                    cut.row.conflicts.append(self.sheet.problem(cut.row, "row", message))
                elif not cut.row.bad:
                    self.skipped += 1
                continue
            voided = recorded.void.get(cut.number)
            if voided is not None and not recorded.cut_differences(voided, cut, None):
                self.skipped += 1
                self.void += 1
                continue
            if self.twice_why is None:
                self._check_same_clock(plan, cut, recorded)
            yield cut

    def _refuse_known(self, plan: DivePlan, cut: CutPlan, stored: Row) -> None:
        try:
            refuse_twice(self.log, stored["dive_id"], cut.number)
        except InputError as error:
            cut.row.problems.append(self.sheet.problem(cut.row, "row", str(error)))

    def _check_same_clock(self, plan: DivePlan, cut: CutPlan, recorded: RecordedDive) -> None:
        start, stop = cut.values.get("start_at"), cut.values.get("stop_at")
        for number, stored in recorded.cuts.items():
            if start and stop and (stored["start_at"], stored["stop_at"]) == (start, stop):
                line = self.known.lines(plan.job).get(cut.line)
                if line is not None and line["id"] == stored["line_id"]:
                    message = (
                        f"cut {plan.job} {plan.dive_no}.{number} in the log has the same line, start and stop: one "
                        "cut typed twice? Correct the row number or the clock; a true second cut goes in with "
                        '`burnlog add cut --really "why"`'
                    )
                    cut.row.problems.append(self.sheet.problem(cut.row, "start", message))

    def _check_sheet_rows(self, plan: DivePlan, fresh: list[CutPlan]) -> None:
        """One row of one paper sheet is typed once, whatever dive it was put under."""
        name = plan.said("sheet")
        if name is None:
            return
        typed = self._typed_rows(plan.job).setdefault(str(name), {})
        for cut in fresh:
            if cut.row.get("row").value is None:
                continue
            other = typed.setdefault(cut.number, plan.dive_no)
            if other != plan.dive_no:
                message = (
                    f"row {cut.number} of sheet {name} is dive {other}'s; correct the sheet, the row or the dive"
                )
                cut.row.problems.append(self.sheet.problem(cut.row, "sheet", message))

    def _typed_rows(self, job: str) -> dict[str, dict[int, int]]:
        if job not in self._sheets:
            found: dict[str, dict[int, int]] = {}
            there = self.known.masters("job").get(job)
            if there is not None and not there.get("new"):
                for row in self.log.rows(
                    "SELECT d.sheet, d.dive_no, c.row FROM dive d JOIN cut c ON c.dive_id = d.id "
                    "WHERE d.job_id = ? AND d.sheet IS NOT NULL AND c.voided_at IS NULL AND d.voided_at IS NULL",
                    (there["id"],),
                ):
                    found.setdefault(row["sheet"], {})[row["row"]] = row["dive_no"]
            self._sheets[job] = found
        return self._sheets[job]

    def _check_length(self, plan: DivePlan, fresh: list[CutPlan]) -> None:
        """New length beyond what the line is long, tape error apart."""
        before = self.known.severed(plan.job)
        here: Counter[str] = Counter()
        for cut in fresh:
            length = cut.values.get("new_length_mm")
            if not length or cut.row.bad:
                continue
            stored = self.known.lines(plan.job).get(cut.line) or {}
            planned = self.planned_length_mm(plan.job, cut.line)
            total = before.get(cut.line, 0.0) + here[cut.line] + length
            if planned is None or stored.get("over_length_why") or total <= planned * _SLIP + _ROUNDING_MM:
                here[cut.line] += length
                continue
            rule = _RULES["new_length"]
            message = (
                f"makes line {cut.line} {spoken(total, rule)} of {spoken(planned, rule)} planned "
                f"({100 * total / planned:.0f} %); correct the length or the plan, or give the line a reason first "
                "(over_length_why in a file of lines)"
            )
            cut.row.problems.append(self.sheet.problem(cut.row, "new_length", message))

    def _check_counts(self, plan: DivePlan, whole: list[TallyPlan], recorded: RecordedDive) -> None:
        for tally in whole:
            said = not tally.carrier.get("rods").blank or any(not tally.carrier.get(name).blank for name in BOX)
            found = recorded.tally_differences(tally) if said and not recorded.awaits(tally) else []
            if found:
                what = "the box of" if tally.scope == "box" else "the count over"
                message = f"{what} dive {plan.job} {plan.dive_no} is in the log otherwise. {'; '.join(found)}"
                tally.carrier.conflicts.append(self.sheet.problem(tally.carrier, "rods", message))


def _first(said: Said | None, name: str) -> Any:
    return said[name][0].value if said and name in said else None


def _number(value: Any) -> float | None:
    return None if value is None else float(value)
