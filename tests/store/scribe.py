"""A scribe who knows the order in which rows go into a log; the tests of the store write through it."""

from __future__ import annotations

import datetime as dt
from typing import Any

from burnlog.store.log import Log, identity

DAY = dt.datetime(2026, 5, 12, 18, 30, tzinfo=dt.timezone(dt.timedelta(hours=-5)))


def clock() -> dt.datetime:
    """A clock that stands still."""
    return DAY


class Scribe:
    """Writes rows by the names people use."""

    def __init__(self, log: Log, job: str = "PIER7") -> None:
        self.log = log
        self.job = job
        log.connection.execute("PRAGMA synchronous = OFF")  # no test pulls the plug: do not wait for the disk
        with log.transaction():
            self.job_id = self._master("job", job, record_class="production", water="salt")
            self.diver_id = self._master("person", "D3")
            self.rod_id = self._master("rod_type", "EXO", family="exothermic", length_mm=457.2)

    def _master(self, table: str, code: str, **values: Any) -> str:
        there = self.log.one(table, code=code)
        if there:
            return str(there["id"])
        return self.log.insert(table, {"code": code, **values}, id=identity(table, code))

    def line(self, code: str, planned_mm: float | None = None, **values: Any) -> str:
        values = {"job_id": self.job_id, "code": code, "planned_length_mm": planned_mm, **values}
        return self.log.insert("line", values, id=identity("line", self.job, code))

    def dive(self, number: int, **values: Any) -> str:
        values = {
            "job_id": self.job_id,
            "dive_no": number,
            "dive_date": "2026-05-12",
            "diver_id": self.diver_id,
            "setting": "open water",
            **values,
        }
        return self.log.insert("dive", values, id=identity("dive", self.job, number))

    def cut(self, dive: int, row: int, line: str, **values: Any) -> str:
        typed = values.pop("typed", None)
        values = {
            "dive_id": identity("dive", self.job, dive),
            "line_id": identity("line", self.job, line),
            "row": row,
            "rod_type_id": self.rod_id,
            "pass_kind": "first",
            "outcome": "through",
            **values,
        }
        key = self.log.fresh_identity("cut", self.job, dive, row)
        return self.log.insert("cut", values, id=key, typed=typed)

    def tally(
        self,
        dive: int,
        rods: float | None,
        *cuts: str,
        scope: str = "cut",
        basis: str = "measured",
        stubs_mm: tuple[float, ...] = (),
        **values: Any,
    ) -> str:
        values = {
            "job_id": self.job_id,
            "dive_id": identity("dive", self.job, dive),
            "rod_type_id": self.rod_id,
            "scope": scope,
            "rods": rods,
            "rods_basis": "not recorded" if rods is None else basis,
            **values,
        }
        with self.log.transaction():
            parts = (scope, self.job, dive, *cuts)
            key = self.log.insert("tally", values, id=self.log.fresh_identity("tally", *parts))
            for seq, stub in enumerate(stubs_mm, 1):
                part = {"tally_id": key, "seq": seq, "stub_mm": stub}
                self.log.insert("rod_part", part, id=identity("rod_part", key, seq))
            for cut in cuts:
                link = {"tally_id": key, "cut_id": cut}
                self.log.insert("tally_cut", link, id=identity("tally_cut", key, cut))
        return key
