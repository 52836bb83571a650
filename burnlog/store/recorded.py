"""One dive as the log holds it, laid beside the same dive in a file: the same, or where they differ."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from typing import Any

from burnlog import units
from burnlog.store.cells import shown
from burnlog.store.cutsheet import COLUMNS
from burnlog.store.fields import FieldRule
from burnlog.store.log import Log, Row
from burnlog.store.sheetcounts import TallyPlan
from burnlog.store.sheetdive import CutPlan

__all__ = ["CUT_COLUMNS", "RecordedDive", "alike", "differences", "spoken"]

CUT_COLUMNS: Mapping[str, tuple[str, FieldRule]] = {
    column.rule.column: (column.name, column.rule)
    for column in COLUMNS
    if column.part == "cut" and column.name not in ("stoppages", "defects", "events")
}
"""Column of the log -> its name on the sheet, and its rule."""

_BOX: Mapping[str, tuple[str, FieldRule]] = {
    column.rule.column: (column.name, column.rule) for column in COLUMNS if column.part == "box"
}


def alike(one: Any, other: Any) -> bool:
    """Whether two stored values are the same, but for the last digits of a float."""
    if isinstance(one, float | int) and isinstance(other, float | int):
        return abs(one - other) <= 1e-9 * max(1.0, abs(one), abs(other))
    return bool(one == other)


def spoken(value: Any, rule: FieldRule) -> str:
    """A stored value as a person would say it; *nothing* where none is stored."""
    if value is None:
        return "nothing"
    if rule.kind in ("rods", "count", "whole", "number"):
        return f"{value:g}"
    if rule.kind == "clock":
        return str(value)[11:16]
    return shown(value, rule, digits=6) if rule.kind in units.KINDS else f"'{value}'"


def differences(
    stored: Mapping[str, Any], said: Mapping[str, Any], columns: Mapping[str, tuple[str, FieldRule]]
) -> list[str]:
    """Each column in which a stored row and one of a file differ, with both values."""
    found = []
    for column, (name, rule) in columns.items():
        there, here = stored.get(column), said.get(column)
        if not alike(there, here):
            found.append(f"{name}: the log has {spoken(there, rule)}, the file {spoken(here, rule)}")
    return found


class RecordedDive:
    """What the log holds of one dive.

    Attributes
    ----------
    cuts : dict
        Live cuts by row.
    void : dict
        Voided cuts by row, where no live one took the row again.
    """

    def __init__(self, log: Log, dive_id: str, void: Iterable[Row] = ()) -> None:
        rows = log.rows(
            "SELECT c.*, l.code AS line FROM cut c JOIN line l ON l.id = c.line_id "
            "WHERE c.dive_id = ? AND c.voided_at IS NULL",
            (dive_id,),
        )
        self.cuts = {row["row"]: row for row in rows}
        self.void = {row["row"]: row for row in void if row["row"] not in self.cuts}
        self._rod_types = {row["id"]: row["code"] for row in log.rows("SELECT id, code FROM rod_type")}
        self._counts = self._load_counts(log, dive_id)
        self._happenings: dict[str, Counter[tuple[Any, ...]]] = {}
        for row in log.rows(
            "SELECT cut_id, kind, word, count, seconds, at FROM happening WHERE dive_id = ? AND voided_at IS NULL",
            (dive_id,),
        ):
            key = (row["kind"], row["word"], row["count"], row["seconds"], row["at"])
            self._happenings.setdefault(row["cut_id"], Counter())[key] += 1

    def _load_counts(self, log: Log, dive_id: str) -> dict[tuple[str, str | None], Row]:
        """Live tallies: by cut for those of one cut, by rod type code for those of the dive or the box."""
        stubs: dict[str, list[float]] = {}
        for row in log.rows(
            "SELECT p.tally_id, p.stub_mm FROM rod_part p JOIN tally t ON t.id = p.tally_id "
            "WHERE t.dive_id = ? AND p.voided_at IS NULL ORDER BY p.seq",
            (dive_id,),
        ):
            stubs.setdefault(row["tally_id"], []).append(row["stub_mm"])
        found = {}
        for row in log.rows(
            "SELECT t.*, tc.cut_id FROM tally t "
            "LEFT JOIN tally_cut tc ON tc.tally_id = t.id AND tc.voided_at IS NULL AND t.scope = 'cut' "
            "WHERE t.dive_id = ? AND t.voided_at IS NULL",
            (dive_id,),
        ):
            row["stubs"] = tuple(stubs.get(row["id"], ()))
            whose = row["cut_id"] if row["scope"] == "cut" else self._rod_types.get(row["rod_type_id"])
            found[row["scope"], whose] = row
        return found

    def cut_differences(self, stored: Row, cut: CutPlan, tally: TallyPlan | None) -> list[str]:
        """Where a cut of the log and one of a file differ; `tally` is the count of that cut alone, if it has one."""
        found = differences(stored, cut.values, CUT_COLUMNS)
        for name, there, here in (
            ("line", stored["line"], cut.line),
            ("rod_type", self._rod_types.get(stored["rod_type_id"]), cut.rod_type),
        ):
            if there != here:
                found.append(f"{name}: the log has {there or 'nothing'}, the file {here or 'nothing'}")
        if tally is not None:
            found.extend(self._count_differences(self._counts.get(("cut", stored["id"])), tally))
        said = Counter((h.kind, h.mention.word, h.mention.times, h.mention.seconds, h.at) for h in cut.happenings)
        there_ = self._happenings.get(stored["id"], Counter())
        if said != there_:
            found.append(f"what happened: the log has {_words(there_)}, the file {_words(said)}")
        return found

    def tally_differences(self, tally: TallyPlan) -> list[str]:
        """Where a count over the dive, or of the box, differs from the log's."""
        there = self._counts.get((tally.scope, tally.rod_type))
        if tally.scope == "box":
            return differences(there or {}, tally.values, _BOX)
        return [*self._count_differences(there, tally), *differences(there or {}, tally.values, _BOX)]

    def has_tally(self, tally: TallyPlan) -> bool:
        """The log has a count of this scope and rod type."""
        return (tally.scope, tally.rod_type) in self._counts

    def awaits(self, tally: TallyPlan) -> bool:
        """The log says nothing yet of these rods: no count of them, and no cut of the dive that may have burned any.

        So it is where a dive was added by itself, ahead of its sheet.
        """
        burned = {self._rod_types.get(cut["rod_type_id"]) for cut in self.cuts.values()}
        return not self.has_tally(tally) and not burned & {tally.rod_type, None}

    def counts_whole(self, tally: TallyPlan) -> bool:
        """The log has a count over the dive for the rod type of this tally."""
        return ("dive", tally.rod_type) in self._counts

    @staticmethod
    def _count_differences(there: Row | None, tally: TallyPlan) -> list[str]:
        stored = there or {"rods": None, "rods_basis": "not recorded", "lot": None, "stubs": ()}
        found = []
        same = alike(stored["rods"], tally.values["rods"]) and stored["rods_basis"] == tally.values["rods_basis"]
        if not same or not _same_stubs(stored["stubs"], tally.stubs_mm):
            one = _rods(stored["rods"], stored["rods_basis"], stored["stubs"])
            other = _rods(tally.values["rods"], tally.values["rods_basis"], tally.stubs_mm)
            found.append(f"rods: the log has {one}, the file {other}")
        if stored["lot"] != tally.values.get("lot"):
            found.append(
                f"lot: the log has {stored['lot'] or 'nothing'}, the file {tally.values.get('lot') or 'nothing'}"
            )
        return found


def _same_stubs(one: tuple[float, ...], other: tuple[float, ...]) -> bool:
    return len(one) == len(other) and all(alike(a, b) for a, b in zip(one, other, strict=True))


def _rods(value: float | None, basis: str, stubs: tuple[float, ...]) -> str:
    if value is None:
        return basis
    mark = {"estimated": "about ", "at least": "at least ", "at most": "at most "}.get(basis, "")
    tail = f" and {len(stubs)} stub{'s' if len(stubs) != 1 else ''}" if stubs else ""
    return f"{mark}{value:g}{tail}"


def _words(found: Counter[tuple[Any, ...]]) -> str:
    return ", ".join(sorted(f"{key[0]} {key[1]}" for key in found.elements())) or "nothing"
