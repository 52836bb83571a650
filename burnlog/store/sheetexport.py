"""The cuts of a log as rows of a cut sheet that imports to the same content."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator, Mapping
from typing import Any

from burnlog import units
from burnlog.store.cells import Mention
from burnlog.store.celltext import CellTexts, mention_text, rods_text, typed_of
from burnlog.store.cutsheet import COLUMNS
from burnlog.store.log import Log, Row
from burnlog.store.sheetcounts import BOX

__all__ = ["SheetExport"]

_RULES = {column.name: column.rule for column in COLUMNS}
_HEAD = tuple(column.name for column in COLUMNS if column.part == "dive")
_CODES = {"diver": "diver", "tender": "tender", "supervisor": "supervisor", "rig": "rig", "bank": "bank"}
_CUT = tuple(
    column.name
    for column in COLUMNS
    if column.part == "cut" and column.name not in ("stoppages", "defects", "events")
)
_LINE = ("section", "material", "closed_space", "planned_length")
_LISTS = {"stoppage": "stoppages", "defect": "defects", "event": "events"}

_CUTS = """
SELECT c.*, d.dive_no, d.no AS dive_order, l.code AS line, r.code AS rod_type, r.family AS type_family,
  r.length_mm AS rod_length_mm, r.as_typed AS type_typed, l.section, l.material, l.closed_space, l.planned_length_mm,
  l.as_typed AS line_typed
FROM cut c JOIN dive d ON d.id = c.dive_id JOIN line l ON l.id = c.line_id
LEFT JOIN rod_type r ON r.id = c.rod_type_id
WHERE d.job_id = ? AND c.voided_at IS NULL AND d.voided_at IS NULL AND l.voided_at IS NULL
ORDER BY d.dive_no, c.row"""
_DIVES = """
SELECT d.*, p.code AS diver, t.code AS tender, s.code AS supervisor, r.code AS rig, b.code AS bank
FROM dive d JOIN person p ON p.id = d.diver_id LEFT JOIN person t ON t.id = d.tender_id
LEFT JOIN person s ON s.id = d.supervisor_id LEFT JOIN rig r ON r.id = d.rig_id LEFT JOIN bank b ON b.id = d.bank_id
WHERE d.job_id = ? AND d.voided_at IS NULL"""
_TALLIES = """
SELECT t.*, r.code AS rod_type FROM tally t LEFT JOIN rod_type r ON r.id = t.rod_type_id
WHERE t.job_id = ? AND t.voided_at IS NULL ORDER BY t.no"""


class SheetExport:
    """Rows of a cut sheet, job by job.

    Attributes
    ----------
    left_out : Counter
        What a cut sheet cannot say, and how often it was met.
    """

    def __init__(self, log: Log) -> None:
        self.log = log
        self.left_out: Counter[str] = Counter()
        self._texts = CellTexts(_RULES)

    def rows(self, job: str | None = None) -> Iterator[dict[str, str]]:
        """Every live cut, in the order of job, dive and row; those of one job where its code is given."""
        for found in self.log.rows(
            "SELECT * FROM job WHERE voided_at IS NULL AND (? IS NULL OR code = ?) ORDER BY code", (job, job)
        ):
            yield from self._job(found)

    def _job(self, job: Row) -> Iterator[dict[str, str]]:
        dives = {row["id"]: row for row in self.log.rows(_DIVES, (job["id"],))}
        happenings = self._happenings(job["id"])
        counts = _Counts(self.log, job["id"], dives)
        empty = set(dives)
        for cut in self.log.rows(_CUTS, (job["id"],)):
            dive = dives[cut["dive_id"]]
            empty.discard(dive["id"])
            row = {"job": job["code"], "dive": str(dive["dive_no"]), "row": str(cut["row"])}
            row.update(self._head(job, dive))
            row.update(self._steel_and_rod(job, cut))
            row.update(self._cut(job, cut))
            row.update(counts.cells(cut, self._texts))
            row.update(happenings.get(cut["id"], {}))
            if self.log.made_up or job["made_up"]:
                row["made_up"] = "yes"
            yield row
        self.left_out["dives without a cut"] += len(empty)
        self.left_out.update(counts.left_out())

    def _head(self, job: Row, dive: Row) -> dict[str, str]:
        typed = typed_of(dive)
        water = dive["water"] or job["water"]
        return {
            name: dive[name] or ""
            if name in _CODES
            else self._texts.text(name, dive[_RULES[name].column], typed, profile=job["units_profile"], water=water)
            for name in _HEAD
        }

    def _steel_and_rod(self, job: Row, cut: Row) -> dict[str, str]:
        profile = job["units_profile"]
        line, rod = typed_of({"as_typed": cut["line_typed"]}), typed_of({"as_typed": cut["type_typed"] or "{}"})
        row = {"line": cut["line"], "rod_type": cut["rod_type"] or ""}
        for name in _LINE:
            row[name] = self._texts.text(name, cut[_RULES[name].column], line, profile=profile)
        row["family"] = cut["family"] or ""
        if cut["rod_type"] is not None:
            row["rod_length"] = self._texts.text("rod_length", cut["rod_length_mm"], rod, profile=profile)
        return row

    def _cut(self, job: Row, cut: Row) -> dict[str, str]:
        typed, profile = typed_of(cut), job["units_profile"]
        row = {name: self._texts.text(name, cut[_RULES[name].column], typed, profile=profile) for name in _CUT}
        entry, planned = typed.get("new_length_mm"), cut["planned_length_mm"]
        share = units.whole_or_part(entry[0]) if entry is not None else None
        if (
            entry is not None
            and share is not None
            and planned is not None
            and cut["new_length_mm"] == share * planned
        ):
            row["new_length"] = entry[0]
        if cut["burned_length_mm"] is not None or cut["over_bottom_kpa"] is not None or cut["lean_deg"] is not None:
            self.left_out["burned length, over-bottom pressure or lean of a cut"] += 1
        if cut["twice_why"] is not None:
            self.left_out["reason for a second cut at the same time"] += 1
        return row

    def _happenings(self, job_id: str) -> dict[str, dict[str, str]]:
        """List cells by cut."""
        found: dict[str, dict[str, list[str]]] = {}
        for row in self.log.rows(
            "SELECT * FROM happening WHERE job_id = ? AND voided_at IS NULL ORDER BY no", (job_id,)
        ):
            other = row["word"].startswith("other:") and (row["count"] or row["seconds"] or row["at"])
            if row["cut_id"] is None or other:
                self.left_out["stoppages, defects or events that a list cell cannot say"] += 1
                continue
            if row["outcome"] or row["text"] or row["report_ref"] or row["place"]:
                self.left_out["outcome, place, report or text of an event"] += 1
            typed, basis = next(iter(typed_of(row).values()), ("", ""))
            clock = _seconds(row["at"]) if row["at"] else None
            mention = Mention(row["word"], row["count"], row["seconds"], clock, typed, basis)
            cells = found.setdefault(row["cut_id"], {})
            cells.setdefault(_LISTS[row["kind"]], []).append(mention_text(mention))
        return {cut: {name: "; ".join(parts) for name, parts in cells.items()} for cut, cells in found.items()}


class _Counts:
    """The tallies of a job, each put on the row that carries it."""

    def __init__(self, log: Log, job_id: str, dives: Mapping[str, Row]) -> None:
        self._stubs: dict[str, list[float]] = {}
        for row in log.rows(
            "SELECT p.tally_id, p.stub_mm FROM rod_part p JOIN tally t ON t.id = p.tally_id "
            "WHERE t.job_id = ? AND p.voided_at IS NULL ORDER BY p.seq",
            (job_id,),
        ):
            self._stubs.setdefault(row["tally_id"], []).append(row["stub_mm"])
        covers: dict[str, list[str]] = {}
        for row in log.rows(
            "SELECT tc.tally_id, tc.cut_id FROM tally_cut tc JOIN tally t ON t.id = tc.tally_id "
            "WHERE t.job_id = ? AND tc.voided_at IS NULL",
            (job_id,),
        ):
            covers.setdefault(row["tally_id"], []).append(row["cut_id"])
        self._own: dict[str, Row] = {}
        self._whole: dict[tuple[str, str | None], dict[str, Row]] = {}
        self._strange = 0
        for row in log.rows(_TALLIES, (job_id,)):
            cuts = covers.get(row["id"], [])
            if row["scope"] == "cut" and len(cuts) == 1 and cuts[0] not in self._own:
                self._own[cuts[0]] = row
                continue
            place = self._whole.setdefault((row["dive_id"], row["rod_type"]), {})
            if row["scope"] in ("dive", "box") and row["dive_id"] in dives and row["scope"] not in place:
                place[row["scope"]] = row
            else:
                self._strange += 1
        self._carried: set[str] = set()

    def cells(self, cut: Row, texts: CellTexts) -> dict[str, str]:
        """Count, scope and box of a row; what covers the dive stands on its first row with that rod type."""
        row: dict[str, str] = {}
        own = self._own.get(cut["id"])
        if own is not None:
            row.update(self._count(own))
        for scope, tally in self._whole.get((cut["dive_id"], cut["rod_type"]), {}).items():
            if scope == "dive" and own is None:
                row["rods_scope"] = "dive"
            if tally["id"] in self._carried or (scope == "dive" and own is not None):
                continue
            self._carried.add(tally["id"])
            if scope == "dive":
                row.update(self._count(tally))
            typed = typed_of(tally)
            row.update({name: texts.text(name, tally[_RULES[name].column], typed) for name in BOX})
        return row

    def _count(self, tally: Row) -> dict[str, str]:
        stubs = tuple(self._stubs.get(tally["id"], ()))
        return {
            "rods": rods_text(tally["rods"], tally["rods_basis"], stubs, typed_of(tally)),
            "lot": tally["lot"] or "",
        }

    def left_out(self) -> Counter[str]:
        """Counts that no row could carry."""
        lost = sum(tally["id"] not in self._carried for place in self._whole.values() for tally in place.values())
        return Counter({"counts of several cuts or of a day, or of rods no cut names": self._strange + lost})


def _seconds(moment: str) -> float:
    hours, minutes, seconds = (int(part) for part in moment[11:19].split(":"))
    return hours * 3600.0 + minutes * 60.0 + seconds


def detail(row: Row) -> dict[str, Any]:
    """The detail of a sourced value; empty where another program broke it."""
    try:
        found = json.loads(row["detail"])
    except ValueError:
        return {}
    return found if isinstance(found, dict) else {}
