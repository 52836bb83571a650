"""A file of gauge readings: one row a look at the gauges, which is what finds sag."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any

from burnlog.errors import ReadError
from burnlog.store.batch import Batch, Known
from burnlog.store.cells import CellReader
from burnlog.store.cutsheet import SheetRow
from burnlog.store.fields import FIELDS, FieldRule, read_field
from burnlog.store.log import Log, Row
from burnlog.store.lookup import nearest
from burnlog.store.plainfile import PlainFile
from burnlog.store.recorded import alike, spoken
from burnlog.store.sheetdive import FLOWING_OVER_STATIC, DiveClock
from burnlog.store.tablefile import TableFile

__all__ = ["READING_COLUMNS", "ReadingImport"]

READING_COLUMNS: Mapping[str, FieldRule] = {
    "job": FieldRule("code", "code", 20),
    "dive": FieldRule("dive_no", "whole"),
    **FIELDS["reading"],
    "read_at": FieldRule("read_at", "text", 40),
    "made_up": FieldRule("made_up", "flag"),
    "why": FieldRule("why", "text", 2000),
}
"""Columns of a readings file, in order."""

_PRESSURES = ("bank_pressure", "static", "flowing")
_DATED = re.compile(r"(\d{4}-\d{2}-\d{2})[ T]+(.+)")
_CLOCK = FieldRule("read_at", "clock")
_DATE = FieldRule("day", "date")


class ReadingImport:
    """Takes the rows of one readings file. Inside a transaction."""

    def __init__(self, log: Log, table: TableFile, batch: Batch, *, keep_good: bool) -> None:
        self.log = log
        self.batch = batch
        self.keep_good = keep_good
        self.known = Known(log)
        self.file = PlainFile(
            table,
            READING_COLUMNS,
            ("job",),
            {name: CellReader(name, rule, table="reading") for name, rule in READING_COLUMNS.items()},
        )
        self.masters: dict[str, list[str]] = {}
        self.skipped = 0
        self._clocks: dict[str, DiveClock] = {}
        self._there: dict[str, dict[tuple[Any, ...], list[Row]]] = {}

    def take(
        self, held: list[SheetRow], progress: Callable[[int, int | None], None] | None
    ) -> tuple[int, int, dict[str, tuple[str, ...]], list[str]]:
        """Take every row; those that are not good go to `held`. Returns rows, skipped, masters made and notes."""
        rows = 0
        for row in self.file.rows(made_up=self.log.made_up):
            rows += 1
            if not row.problems:
                self._take(row)
            if row.bad:
                held.append(row)
            elif not held or self.keep_good:
                self.batch.write_some()
            if progress is not None and rows % 1000 == 0:
                progress(rows, None)
        return rows, self.skipped, {name: tuple(codes) for name, codes in self.masters.items()}, []

    def _take(self, row: SheetRow) -> None:
        job = self.known.masters("job").get(row.get("job").value)
        if job is None:
            near = nearest(str(row.get("job").value), list(self.known.masters("job")))
            self.file.object(row, "job", f"there is no job '{row.get('job').value}' in the log; {near}")
            return
        dive = self._dive(row, job)
        if row.problems:
            return
        if all(row.get(name).value is None for name in _PRESSURES):
            self.file.object(row, "bank_pressure", "no pressure stands in this row; write at least one")
        static, flowing = row.get("static").value, row.get("flowing").value
        if static is not None and flowing is not None and flowing > FLOWING_OVER_STATIC * static:
            message = (
                "stands more than 5 % above the static reading, which gas does not do; correct one, or blank both"
            )
            self.file.object(row, "flowing", message)
        moment = self._moment(row, job, dive)
        if row.problems:
            return
        values = {
            rule.column: row.get(name).value
            for name, rule in FIELDS["reading"].items()
            if name not in ("rig", "bank", "read_at")
        }
        values["read_at"] = moment
        self._add(row, job, dive, values)

    def _dive(self, row: SheetRow, job: Row) -> Row | None:
        number = row.get("dive").value
        if number is None:
            return None
        dive = self.known.dives(job["code"]).get(number)
        if dive is None:
            message = f"dive {number} of {job['code']} is not in the log; import its cut sheet first"
            self.file.object(row, "dive", message)
        return dive

    def _moment(self, row: SheetRow, job: Row, dive: Row | None) -> str | None:
        """When it was read: a date and a clock, or a clock on the dive's date or in the night after it."""
        text = row.get("read_at").value
        if text is None:
            return None
        try:
            if match := _DATED.fullmatch(text):
                day = str(read_field(_DATE, match[1], name="read_at").value)
                clock = read_field(_CLOCK, match[2], name="read_at")
                return DiveClock(day).moment(float(clock.value or 0.0))
            clock = read_field(_CLOCK, text, name="read_at")
        except ReadError as error:
            self.file.object(row, "read_at", str(error))
            return None
        if dive is None:
            message = f"'{text}' of which day? Write the dive, or the date before it: 2026-05-12 0942"
            self.file.object(row, "read_at", message)
            return None
        return self._clock(dive).next_moment(float(clock.value or 0.0))

    def _clock(self, dive: Row) -> DiveClock:
        if dive["id"] not in self._clocks:
            clock = DiveClock(dive["dive_date"])
            first = self.log.rows(
                "SELECT min(start_at) AS first FROM cut WHERE dive_id = ? AND voided_at IS NULL", (dive["id"],)
            )[0]["first"]
            if first is not None:
                clock.begin(first)
            self._clocks[dive["id"]] = clock
        return self._clocks[dive["id"]]

    def _add(self, row: SheetRow, job: Row, dive: Row | None, values: dict[str, Any]) -> None:
        rig, bank = row.get("rig").value, row.get("bank").value
        key = (rig, bank, values["read_at"], values["after_rod"], values["gauge"], values["reason"])
        there = self._recorded(job, dive).setdefault(key, [])
        timed = values["read_at"] is not None or values["after_rod"] is not None
        for stored in there:
            same = all(alike(stored.get(column), values.get(column)) for column in _COMPARED)
            if same and (timed or not stored.get("seen")):
                stored["seen"] = True
                self.skipped += 1
                return
        if timed and values["reason"] != "change-over":
            found = [text for stored in there if not stored.get("new") for text in _contradictions(stored, values)]
            if found:
                message = f"a reading of this moment is in the log already. {'; '.join(found)}"
                row.conflicts.append(self.file.problem(row, "read_at", message))
                return
        values["job_id"] = job["id"]
        values["dive_id"] = dive["id"] if dive else None
        values["rig_id"] = self._master("rig", rig)
        values["bank_id"] = self._master("bank", bank)
        whose = (job["code"], dive["dive_no"] if dive else "", *key, len(there) + 1)
        typed = self.file.typed(row, READING_COLUMNS)
        typed.pop("dive_no", None)
        if (text := row.get("read_at").value) is not None:
            dated = _DATED.fullmatch(text)
            typed["read_at"] = (dated[2] if dated else text, "measured")  # the date stands in the value
        self.batch.add("reading", self.known.new_id("reading", *whose), values, typed)
        there.append({**values, "seen": True, "new": True})

    def _recorded(self, job: Row, dive: Row | None) -> dict[tuple[Any, ...], list[Row]]:
        whose = dive["id"] if dive else job["id"]
        if whose not in self._there:
            where = "x.dive_id = ?" if dive else "x.dive_id IS NULL AND x.job_id = ?"
            found: dict[tuple[Any, ...], list[Row]] = {}
            for row in self.log.rows(
                "SELECT x.*, r.code AS rig, b.code AS bank FROM reading x LEFT JOIN rig r ON r.id = x.rig_id "
                f"LEFT JOIN bank b ON b.id = x.bank_id WHERE {where} AND x.voided_at IS NULL",
                (whose,),
            ):
                key = (row["rig"], row["bank"], row["read_at"], row["after_rod"], row["gauge"], row["reason"])
                found.setdefault(key, []).append(row)
            self._there[whose] = found
        return self._there[whose]

    def _master(self, table: str, code: str | None) -> str | None:
        if code is None:
            return None
        there = self.known.masters(table)
        if code not in there:
            there[code] = {"id": self.known.new_id(table, code), "code": code}
            self.batch.add(table, there[code]["id"], {"code": code})
            self.masters.setdefault(table, []).append(code)
        return str(there[code]["id"])


_COMPARED: Mapping[str, str] = {READING_COLUMNS[name].column: name for name in (*_PRESSURES, "temperature")}


def _contradictions(stored: Row, values: Row) -> list[str]:
    """Where two readings of one moment say different things; what only one of them says is no contradiction."""
    found = []
    for column, name in _COMPARED.items():
        there, here = stored.get(column), values.get(column)
        if there is not None and here is not None and not alike(there, here):
            rule = READING_COLUMNS[name]
            found.append(f"{name}: the log has {spoken(there, rule)}, the file {spoken(here, rule)}")
    return found
