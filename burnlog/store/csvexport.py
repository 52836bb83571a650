"""The record as a folder of CSV files that any spreadsheet opens and that import to the same content."""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from burnlog import units
from burnlog.errors import FileError
from burnlog.store.celltext import CellTexts, typed_of
from burnlog.store.cutsheet import COLUMNS
from burnlog.store.fields import FieldRule
from burnlog.store.log import Log, Row
from burnlog.store.masters import MASTER_FILES
from burnlog.store.readings import READING_COLUMNS
from burnlog.store.sheetexport import SheetExport, detail
from burnlog.store.tablefile import harmless

__all__ = ["ExportReport", "export_csv"]


@dataclass(frozen=True)
class ExportReport:
    """What was written.

    Attributes
    ----------
    files : mapping
        Path -> rows, in the order in which they import.
    left_out : mapping
        What these files cannot say, and how often it was met; the JSON bundle holds it all.
    names : bool
        Names of persons were written.
    """

    files: Mapping[Path, int]
    left_out: Mapping[str, int] = field(default_factory=dict)
    names: bool = False


def export_csv(log: Log, folder: Path | str, *, names: bool = False) -> ExportReport:
    """Write the live record as CSV: masters, cut sheet, readings and what has a source; all of it, or no file.

    Parameters
    ----------
    log : Log
    folder : Path
        Made when missing; must be empty, for nothing is overwritten.
    names : bool
        Write the names of persons, which stay out otherwise.

    Returns
    -------
    ExportReport

    Raises
    ------
    FileError
        The folder is not empty or cannot be written, or the log is damaged.
    """
    folder = Path(folder)
    files: dict[Path, int] = {}
    sheet = SheetExport(log)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if any(folder.iterdir()):
            raise FileError(f"{folder} is not empty; name a new folder, for nothing is overwritten.")
        with log.snapshot():
            for name, (columns, rows) in _tables(log, sheet, names=names).items():
                files[folder / name] = 0
                files[folder / name] = _write(folder / name, columns, rows)
            left_out = Counter(sheet.left_out)
            left_out.update(_elsewhere(log))
    except BaseException as error:
        for path in files:
            path.unlink(missing_ok=True)
        if isinstance(error, OSError):
            why = error.strerror or error
            raise FileError(f"{folder} cannot be written ({why}); name another folder.") from error
        raise
    return ExportReport(files, {what: count for what, count in left_out.items() if count}, names)


_MASTERS = {
    "jobs.csv": "jobs",
    "persons.csv": "persons",
    "rod_types.csv": "rod types",
    "rigs.csv": "rigs",
    "banks.csv": "banks",
    "lines.csv": "lines",
}
_VALUES = {"sections.csv": "sections", "rules.csv": "rules of thumb", "prices.csv": "prices"}
_CLOCK = CellTexts({"read_at": FieldRule("read_at", "clock")})
_KINDS = {"sections": "section", "rules of thumb": "rule", "prices": "price"}


def _tables(log: Log, sheet: SheetExport, *, names: bool) -> dict[str, tuple[list[str], Iterator[dict[str, str]]]]:
    """Each file's columns and rows, in the order in which they import."""

    def kept(columns: Iterable[str]) -> list[str]:
        return [column for column in columns if column not in ("made_up", "why")]

    return {
        **{
            name: (kept(MASTER_FILES[kind].columns), _masters(log, kind, names=names))
            for name, kind in _MASTERS.items()
        },
        "cut_sheet.csv": ([column.name for column in COLUMNS if column.name != "why"], sheet.rows()),
        "readings.csv": (kept(READING_COLUMNS), _readings(log)),
        **{name: (kept(MASTER_FILES[kind].columns), _values(log, kind)) for name, kind in _VALUES.items()},
    }


def _write(path: Path, columns: list[str], rows: Iterable[Mapping[str, str]]) -> int:
    """Write a file; returns its rows. One row is held at a time."""
    count = 0
    with path.open("x", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream)
        writer.writerow(columns)
        for row in rows:
            writer.writerow([harmless(row.get(column, "")) for column in columns])
            count += 1
    return count


def _masters(log: Log, kind: str, *, names: bool) -> Iterator[dict[str, str]]:
    spec = MASTER_FILES[kind]
    rules = {name: rule for name, rule in spec.columns.items() if name not in ("made_up", "why")}
    texts = CellTexts({name: _plain_list(rule) for name, rule in rules.items()})
    join = "JOIN job j ON j.id = t.job_id AND j.voided_at IS NULL" if kind == "lines" else ""
    job = ", j.code AS job, j.units_profile" if kind == "lines" else ""
    order = "j.code, t.code" if kind == "lines" else "t.code"
    for row in log.rows(f"SELECT t.*{job} FROM {spec.table} t {join} WHERE t.voided_at IS NULL ORDER BY {order}"):
        typed = typed_of(row)
        profile = row.get("units_profile")
        cells = {
            name: texts.text(name, row[rule.column], typed, profile=profile)
            for name, rule in rules.items()
            if not (kind == "lines" and name == "job")
        }
        if kind == "lines":
            cells["job"] = row["job"]
        if kind == "jobs":
            cells["made_up"] = "yes" if row["made_up"] else ""
        if kind == "banks" and typed.get("contents_kg_each", ("", ""))[1] == "computed":
            cells["contents_each"] = typed["contents_kg_each"][0]  # a volume as typed; it is weighed again
        if kind == "persons" and not names:
            cells["name"] = ""
        yield cells


def _plain_list(rule: FieldRule) -> FieldRule:
    """Lists are stored as the text of their cell."""
    return FieldRule(rule.column, "text", 300) if rule.kind.startswith("list:") else rule


def _readings(log: Log) -> Iterator[dict[str, str]]:
    texts = CellTexts(READING_COLUMNS)
    for row in log.rows(
        "SELECT x.*, j.code AS job, j.units_profile, d.dive_no, r.code AS rig, b.code AS bank FROM reading x "
        "JOIN job j ON j.id = x.job_id LEFT JOIN dive d ON d.id = x.dive_id LEFT JOIN rig r ON r.id = x.rig_id "
        "LEFT JOIN bank b ON b.id = x.bank_id "
        "WHERE x.voided_at IS NULL AND d.voided_at IS NULL AND j.voided_at IS NULL ORDER BY j.code, d.dive_no, x.no"
    ):
        typed = typed_of(row)
        cells = {
            name: texts.text(name, row[rule.column], typed, profile=row["units_profile"])
            for name, rule in READING_COLUMNS.items()
            if name not in ("job", "dive", "rig", "bank", "read_at", "made_up", "why")
        }
        yield {
            **cells,
            "job": row["job"],
            "dive": str(row["dive_no"] or ""),
            "rig": row["rig"] or "",
            "bank": row["bank"] or "",
            "read_at": _dated(row["read_at"], typed),
        }


def _dated(moment: str | None, typed: Mapping[str, tuple[str, str]]) -> str:
    """Date and clock of a reading, the clock as typed where it still says so."""
    if moment is None:
        return ""
    clock = _CLOCK.text("read_at", moment, typed)
    return f"{moment[:10]} {clock}"


def _values(log: Log, kind: str) -> Iterator[dict[str, str]]:
    writer = {"sections": _section, "rules of thumb": _rule, "prices": _price}[kind]
    for row in log.rows(
        "SELECT * FROM sourced_value WHERE kind = ? AND voided_at IS NULL ORDER BY name, detail", (_KINDS[kind],)
    ):
        yield {**writer(row, detail(row)), "source": row["source"]}


def _section(row: Row, found: Mapping[str, Any]) -> dict[str, str]:
    cells = {"designation": row["name"], "kind": str(found.get("kind") or "")}
    for name, size in (found.get("dims") or {}).items():
        cells[name] = f"{size!r} {'deg' if name == 'slope' else 'mm'}"
    return cells


def _rule(row: Row, found: Mapping[str, Any]) -> dict[str, str]:
    """As typed where the text has both parts, else in the unit it is kept in."""
    text, _, per = typed_of(row).get("value", ("", ""))[0].rpartition(" per ")
    kept, _, kept_per = str(row["unit"] or "").partition("/")
    if not text:
        text, per = f"{row['value']!r} {'' if kept == 'rods' else kept}".strip(), kept_per
    cells = {"rule": row["name"], "value": text, "per": per, "family": str(found.get("family") or "")}
    for name in ("thickness_from", "thickness_to"):
        size = found.get(f"{name}_mm")
        cells[name] = "" if size is None else f"{size!r} mm"
    return cells


def _price(row: Row, found: Mapping[str, Any]) -> dict[str, str]:
    return {
        "what": row["name"],
        "price": units.show(row["value"], "number"),
        "currency": str(found.get("currency") or ""),
        "per": str(found.get("per") or ""),
    }


def _elsewhere(log: Log) -> dict[str, int]:
    """What has no CSV file of its own."""
    live = "WHERE voided_at IS NULL"
    found = {}
    for what, query in (
        ("voided cuts", "SELECT count(*) FROM cut WHERE voided_at IS NOT NULL"),
        ("voided dives", "SELECT count(*) FROM dive WHERE voided_at IS NOT NULL"),
        ("voided tallies", "SELECT count(*) FROM tally WHERE voided_at IS NOT NULL"),
        ("amendments", "SELECT count(*) FROM amendment"),
        ("segments of lines", f"SELECT count(*) FROM segment {live}"),
        ("dimensions of lines", f"SELECT count(*) FROM line {live} AND dims IS NOT NULL"),
        ("flag decisions", f"SELECT count(*) FROM flag_decision {live}"),
        ("kept fits", f"SELECT count(*) FROM fit_run {live}"),
        ("estimates", f"SELECT count(*) FROM estimate {live}"),
    ):
        found[what] = int(log.connection.execute(query).fetchone()[0] or 0)
    return found
