"""Master files: rod types, persons, rigs, banks, jobs, lines; and what the user brings with a source to it.

A row that is there already must not be contradicted; its blanks are filled, through the trail. Numbers that people
remember come in with a source or not at all.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Protocol

from burnlog import units
from burnlog.errors import InputError, ReadError
from burnlog.measures import BankContents
from burnlog.store.batch import Batch, Known
from burnlog.store.cells import CellReader
from burnlog.store.cutsheet import SheetRow
from burnlog.store.fields import FIELDS, SOURCED, FieldRule, check_whole
from burnlog.store.log import Log, Row
from burnlog.store.lookup import nearest
from burnlog.store.plainfile import PlainFile
from burnlog.store.recorded import alike, spoken
from burnlog.store.sourcedvalues import DIMS, CheckSection, sourced_value
from burnlog.store.survey import same
from burnlog.store.tablefile import TableFile

__all__ = ["MASTER_FILES", "MasterFile", "MasterImport", "Weigh"]


class Weigh(Protocol):
    """kg of oxygen in one cylinder of a bank as typed."""

    def __call__(self, bank: BankContents, *, label_temp_c: float | None = None) -> float: ...


@dataclass(frozen=True)
class MasterFile:
    """One kind of master file; with `always_sourced` every row says where it comes from."""

    table: str
    columns: Mapping[str, FieldRule]
    required: tuple[str, ...]
    always_sourced: bool = False


_FILE = {"made_up": FieldRule("made_up", "flag"), "why": FieldRule("why", "text", 2000)}
_TEXT = FieldRule("name", "text", 120)

MASTER_FILES: Mapping[str, MasterFile] = {
    "rod types": MasterFile(
        "rod_type",
        {**FIELDS["rod_type"], **_FILE},
        ("rod_type",),
    ),
    "persons": MasterFile("person", {**FIELDS["person"], **_FILE}, ("person",)),
    "rigs": MasterFile(
        "rig",
        {**FIELDS["rig"], **_FILE},
        ("rig",),
    ),
    "banks": MasterFile("bank", {**FIELDS["bank"], **_FILE}, ("bank",)),
    "sections": MasterFile(
        "sourced_value",
        {
            "designation": _TEXT,
            "kind": FieldRule("kind", "text", 40),
            **{name: FieldRule(name, "text", 40) for name in DIMS},
            "source": FieldRule("source", "text", 200),
            **_FILE,
        },
        ("designation", "kind"),
        always_sourced=True,
    ),
    "rules of thumb": MasterFile(
        "sourced_value",
        {
            "rule": _TEXT,
            "value": FieldRule("value", "text", 40),
            "per": FieldRule("per", "text", 40),
            "thickness_from": FieldRule("thickness_from_mm", "thickness"),
            "thickness_to": FieldRule("thickness_to_mm", "thickness"),
            "family": FieldRule("family", "word:family"),
            "source": FieldRule("source", "text", 200),
            **_FILE,
        },
        ("rule", "value", "per"),
        always_sourced=True,
    ),
    "prices": MasterFile(
        "sourced_value",
        {
            "what": _TEXT,
            "price": FieldRule("value", "number"),
            "currency": FieldRule("currency", "text", 10),
            "per": FieldRule("per", "text", 40),
            "source": FieldRule("source", "text", 200),
            **_FILE,
        },
        ("what", "price", "currency"),
    ),
    "jobs": MasterFile("job", {**FIELDS["job"], "why": _FILE["why"]}, ("job",)),
    "lines": MasterFile(
        "line",
        {"job": FieldRule("job_id", "code", 20), **FIELDS["line"], **_FILE},
        ("job", "line"),
    ),
}
"""Kinds of master file by name, in the order in which a header is tried."""


_UNITS: Mapping[tuple[str, str], tuple[str, ...]] = {
    ("bank", "contents_each"): ("mass",),
    ("sourced_value", "value"): ("length", "duration", "mass"),
    **{("sourced_value", dim): ("angle",) if dim == "slope" else ("length",) for dim in DIMS},
}
"""Units that a header may carry over cells which are read as text first."""


class MasterImport:
    """Takes the rows of one master file. Inside a transaction."""

    def __init__(
        self,
        log: Log,
        table: TableFile,
        spec: MasterFile,
        batch: Batch,
        *,
        check_section: CheckSection | None,
        weigh: Weigh | None,
    ) -> None:
        self.log = log
        self.spec = spec
        self.batch = batch
        self.check_section = check_section
        self.weigh = weigh
        self.known = Known(log)
        columns = dict(spec.columns)
        if spec.table == "bank":
            columns["contents_each"] = FieldRule("contents_kg_each", "text", 40)
        self.columns = columns
        ranged = "" if spec.table == "sourced_value" else spec.table
        readers = {
            name: CellReader(name, rule, table=ranged, unit_kinds=_UNITS.get((spec.table, name), ()))
            for name, rule in columns.items()
        }
        self.file = PlainFile(table, columns, spec.required, readers)
        self.skipped = 0
        self.notes: list[str] = []
        self._values: dict[tuple[str, str], list[Row]] | None = None

    def take(
        self, held: list[SheetRow], progress: Callable[[int, int | None], None] | None
    ) -> tuple[int, int, dict[str, tuple[str, ...]], list[str]]:
        """Take every row; those that are not good go to `held`. Returns rows, skipped, masters made and notes."""
        rows = 0
        for row in self.file.rows(made_up=self.log.made_up):
            rows += 1
            if not row.problems:
                self._check_source(row)
            if not row.problems:
                self._take(row)
            if row.bad:
                held.append(row)
            if progress is not None and rows % 1000 == 0:
                progress(rows, None)
        return rows, self.skipped, {}, self.notes

    def _check_source(self, row: SheetRow) -> None:
        wanted = {"source": ()} if self.spec.always_sourced else SOURCED.get(self.spec.table, {})
        for source, names in wanted.items():
            needs = [name for name in names if row.get(name).value is not None]
            if (needs or not names) and not row.get(source).value:
                what = " and ".join(needs) or "the row"
                message = f"is blank: {what} must say where it comes from (a drawing, a label, a house rule)"
                self.file.object(row, source, message)

    def _take(self, row: SheetRow) -> None:
        table = self.spec.table
        if table == "sourced_value":
            self._take_value(row)
            return
        values = {
            rule.column: row.get(name).value
            for name, rule in self.columns.items()
            if name in row.cells and name not in ("why", "roles", "job" if table == "line" else "")
        }
        if table != "job":
            values.pop("made_up", None)
        typed = self.file.typed(row, self.columns)
        if mentions := row.get("roles").mentions:
            values["roles"] = "; ".join(dict.fromkeys(mention.word for mention in mentions))
        typed.pop("display_name", None)
        try:
            if table == "bank":
                self._weigh(row, values, typed)
            check_whole(table, values)
        except InputError as error:
            self.file.object(row, self.spec.required[0], str(error))
            return
        if table == "line":
            self._put_line(row, values, typed)
        else:
            if table == "job" and self.log.made_up:
                values["made_up"] = 1
            self._put(row, self.known.masters(table), values["code"], (values["code"],), values, typed)

    def _put_line(self, row: SheetRow, values: dict[str, Any], typed: dict[str, tuple[str, str]]) -> None:
        code = row.get("job").value
        job = self.known.masters("job").get(code)
        if job is None:
            near = nearest(code, list(self.known.masters("job")))
            self.file.object(row, "job", f"there is no job '{code}' in the log; {near}")
            return
        values["job_id"] = job["id"]
        self._put(row, self.known.lines(code), values["code"], (code, values["code"]), values, typed)

    def _put(
        self,
        row: SheetRow,
        there: dict[str, Row],
        code: str,
        names: tuple[str, ...],
        values: dict[str, Any],
        typed: dict[str, tuple[str, str]],
    ) -> None:
        """Add a master, or hold it against the one that is there and fill that one's blanks."""
        table = self.spec.table
        stored = there.get(code)
        if stored is None:
            if table == "person":
                values.setdefault("active", 1)
            id = self.known.new_id(table, *names)
            there[code] = {
                **dict.fromkeys(rule.column for rule in self.columns.values()),
                **values,
                "id": id,
                "new": True,
            }
            self.batch.add(table, id, values, typed)
            return
        blanks = {}
        for name, rule in self.columns.items():
            column = rule.column
            if column not in values or values[column] is None or name == "made_up":
                continue
            if stored.get(column) is None:
                blanks[column] = values[column]
            elif not (same(name, stored[column], values[column]) or alike(stored[column], values[column])):
                where = "an earlier row has" if stored.get("new") else "the log has"
                told = "another name" if column == "display_name" else spoken(stored[column], rule)
                message = f"{' '.join(names)}: {where} {told}; correct the file, or change the log with `burnlog fix`"
                row.conflicts.append(self.file.problem(row, name, message))
        if row.conflicts:
            return
        try:
            check_whole(table, {**stored, **blanks})
        except InputError as error:
            self.file.object(row, self.spec.required[0], str(error))
            return
        if not blanks:
            self.skipped += 1
        elif stored.get("new"):
            message = f"{' '.join(names)} stands in an earlier row; put what it says into one row"
            self.file.object(row, self.spec.required[-1], message)
        else:
            stored.update(blanks)
            self.batch.fill(table, stored["id"], blanks, {k: v for k, v in typed.items() if k in blanks})

    def _weigh(self, row: SheetRow, values: dict[str, Any], typed: dict[str, tuple[str, str]]) -> None:
        """Contents of a cylinder: kg as typed, or a volume that somebody above can weigh."""
        text = row.get("contents_each").value
        if text is None:
            return
        try:
            reading = units.read(text, "mass", unit=self.file.headers["contents_each"].unit)
            kg, basis = reading.value, reading.basis
        except ReadError as no_mass:
            if self.weigh is None:
                raise
            kg, basis = self._weighed(row, values, text, no_mass), "computed"
        low, high = 0.5, 40.0
        if kg is not None and not low <= kg <= high:
            raise InputError(f"contents_each '{text}' is {kg:.3g} kg, outside {low} to {high:g} kg a cylinder")
        values["contents_kg_each"] = kg
        typed["contents_kg_each"] = (text, basis)

    def _weighed(self, row: SheetRow, values: dict[str, Any], text: str, no_mass: ReadError) -> float:
        count = row.get("cylinders").value or 1
        label = row.get("label_pressure").value
        try:
            bank = units.read_bank(f"{count} x {text}")
        except ReadError:
            if label is None:
                raise no_mass from None
            try:
                bank = units.read_bank(f"{count} x {text} {label:g} kPa")
            except ReadError:
                raise no_mass from None
        assert self.weigh is not None
        if values.get("contents_route") not in (None, bank.route):
            raise InputError(f"route {values['contents_route']}, but '{text}' is a {bank.route}; correct one of them")
        values["contents_route"] = bank.route
        if label is None and bank.label_kpa is not None:
            values["label_pressure_kpa"] = bank.label_kpa
        return self.weigh(bank, label_temp_c=values.get("label_temp_c"))

    # what the user brings with a source

    def _take_value(self, row: SheetRow) -> None:
        first = self.spec.required[0]
        source = row.get("source").value or f"typed in {self.file.table.path.name}"[:200]
        try:
            found = sourced_value(row, source, self.file.headers, check=self.check_section)
        except InputError as error:
            self.file.object(row, self.spec.required[min(1, len(self.spec.required) - 1)], str(error))
            return
        kind, name, value, unit = found.kind, found.name, found.value, found.unit
        text = json.dumps(found.detail, sort_keys=True, ensure_ascii=False)
        for stored in self._recorded().get((kind, name), []):
            if kind != "section" and stored["detail"] != text:
                continue
            if stored["detail"] == text and alike(stored["value"], value) and stored["unit"] == unit:
                self.skipped += 1
            else:
                message = f"{name} is there already with other values; void it in the log first, or correct the file"
                row.conflicts.append(self.file.problem(row, first, message))
            return
        values = {"kind": kind, "name": name, "value": value, "unit": unit, "detail": text, "source": source}
        said = [row.raw[self.file.headers[column].place] for column in ("value", "per")] if kind == "rule" else []
        typed = {"value": (" per ".join(said), "measured")} if said else {}
        self.batch.add("sourced_value", self.known.new_id("sourced_value", kind, name, text), values, typed)
        self._recorded().setdefault((kind, name), []).append(values)

    def _recorded(self) -> dict[tuple[str, str], list[Row]]:
        if self._values is None:
            self._values = {}
            for row in self.log.rows(
                "SELECT kind, name, value, unit, detail FROM sourced_value WHERE voided_at IS NULL"
            ):
                self._values.setdefault((row["kind"], row["name"]), []).append(row)
        return self._values
