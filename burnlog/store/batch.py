"""Rows on their way into the log, written parents first; and what the log holds of the things a file names."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Mapping
from typing import Any

from burnlog.store.log import Log, Row, identity

__all__ = ["Batch", "Known"]

_ORDER = (
    "job", "person", "rod_type", "rig", "bank", "line", "dive", "cut", "tally", "rod_part", "tally_cut",
    "happening", "reading", "sourced_value", "import_batch",
)  # fmt: skip
_HELD = 2000
Typed = Mapping[str, tuple[str, str]]


class Batch:
    """Collects rows and blanks to fill, and writes them a few thousand at a time. Inside a transaction.

    Attributes
    ----------
    added : Counter
        Rows by table.
    filled : int
        Blanks of rows already in the log that a file could fill; each goes through the trail.
    """

    def __init__(self, log: Log) -> None:
        self.log = log
        self.added: Counter[str] = Counter()
        self.filled = 0
        self._rows: dict[str, list[tuple[str, Mapping[str, Any], Typed]]] = {name: [] for name in _ORDER}
        self._stopped = False
        self._fills: list[tuple[str, str, Mapping[str, Any], Typed]] = []

    def add(self, table: str, id: str, values: Mapping[str, Any], typed: Typed | None = None) -> str:
        """One more row; returns its id."""
        if not self._stopped:
            self._rows[table].append((id, values, typed or {}))
        return id

    def fill(self, table: str, id: str, values: Mapping[str, Any], typed: Typed) -> None:
        """Values for blanks of a row that stands in the log."""
        if not self._stopped:
            self._fills.append((table, id, values, typed))

    def stop(self) -> None:
        """Take no more: the file will be refused, and is only read on for what else is wrong with it."""
        self._stopped = True
        for rows in self._rows.values():
            rows.clear()
        self._fills.clear()

    def write_some(self) -> None:
        """Write what has gathered, once it is worth the while."""
        if len(self._rows["cut"]) >= _HELD or len(self._rows["reading"]) >= _HELD:
            self.write()

    def write(self) -> None:
        """Write everything that has gathered."""
        for table, rows in self._rows.items():
            if rows:
                self.log.insert_many(table, rows)
                self.added[table] += len(rows)
                rows.clear()
            if table == "line":  # the plan of a line must stand before the cuts that are held against it
                self._write_fills()

    def _write_fills(self) -> None:
        for table, id, values, typed in self._fills:
            (row,) = self.log.rows(f"SELECT as_typed FROM {table} WHERE id = ?", (id,))
            changed = dict(values)
            if typed:
                changed["as_typed"] = json.dumps({**json.loads(row["as_typed"]), **typed})
            names = ", ".join(f'"{name}" = ?' for name in changed)
            self.log.connection.execute(f"UPDATE {table} SET {names} WHERE id = ?", (*changed.values(), id))
            self.filled += len(values)
        self._fills.clear()


class Known:
    """Masters, lines and dives by the names people use: those of the log, and those about to be written."""

    def __init__(self, log: Log) -> None:
        self.log = log
        self._masters: dict[str, dict[str, Row]] = {}
        self._lines: dict[str, dict[str, Row]] = {}
        self._dives: dict[str, dict[int, Row]] = {}
        self._sums: dict[str, dict[str, float]] = {}
        self._void: dict[str, set[str]] = {}
        self._void_cuts: dict[str, list[Row]] | None = None

    def masters(self, table: str) -> dict[str, Row]:
        """Rows of a master table by code."""
        if table not in self._masters:
            rows = self.log.rows(f"SELECT * FROM {table} WHERE voided_at IS NULL")
            self._masters[table] = {row["code"]: row for row in rows}
        return self._masters[table]

    def lines(self, job: str) -> dict[str, Row]:
        """Lines of a job by code."""
        return self._of_job(self._lines, job, "line", "code")

    def dives(self, job: str) -> dict[int, Row]:
        """Dives of a job by number."""
        return self._of_job(self._dives, job, "dive", "dive_no")

    def severed(self, job: str) -> dict[str, float]:
        """New length so far [mm] by line code."""
        if job not in self._sums:
            there = self.masters("job").get(job)
            rows = []
            if there and not there.get("new"):
                rows = self.log.rows(
                    "SELECT l.code, sum(c.new_length_mm) AS mm FROM line l JOIN cut c ON c.line_id = l.id "
                    "WHERE l.job_id = ? AND l.voided_at IS NULL AND c.voided_at IS NULL AND c.new_length_mm > 0 "
                    "GROUP BY l.code",
                    (there["id"],),
                )
            self._sums[job] = {row["code"]: row["mm"] for row in rows}
        return self._sums[job]

    def void_cuts(self, dive_id: str) -> list[Row]:
        """Voided cuts of a dive; there are few, and no index leads to them, so all are fetched once."""
        if self._void_cuts is None:
            self._void_cuts = {}
            for row in self.log.rows(
                "SELECT c.*, l.code AS line FROM cut c JOIN line l ON l.id = c.line_id WHERE c.voided_at IS NOT NULL"
            ):
                self._void_cuts.setdefault(row["dive_id"], []).append(row)
        return self._void_cuts.get(dive_id, [])

    def forget(self) -> None:
        """Let go of lines, dives and lengths; what is not yet written must not be asked for again."""
        for held in (self._lines, self._dives, self._sums):
            held.clear()

    def new_id(self, table: str, *parts: object) -> str:
        """The id a thing gets by its name; another one where a void row bears that id already."""
        if table not in self._void:
            below = " OR dive_id IN (SELECT id FROM dive WHERE voided_at IS NOT NULL)" if table == "cut" else ""
            rows = self.log.rows(f"SELECT id FROM {table} WHERE voided_at IS NOT NULL{below}")
            self._void[table] = {row["id"] for row in rows}
        found, again = identity(table, *parts), 1
        while found in self._void[table]:
            again += 1
            found = identity(table, *parts, f"again {again}")
        return found

    def _of_job(self, held: dict[str, dict[Any, Row]], job: str, table: str, key: str) -> dict[Any, Row]:
        if job not in held:
            there = self.masters("job").get(job)
            rows = []
            if there and not there.get("new"):
                rows = self.log.rows(f"SELECT * FROM {table} WHERE job_id = ? AND voided_at IS NULL", (there["id"],))
            held[job] = {row[key]: row for row in rows}
        return held[job]
