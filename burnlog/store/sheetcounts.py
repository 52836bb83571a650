"""Counts of rods as a sheet gives them: by cut, over a dive, and of the box.

Rods are counted where they were counted: what stands for a dive is one count over all its cuts with that rod type,
and is never shared out. A blank makes a count without a number, so that blanks can be counted.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from burnlog import units
from burnlog.store.cutsheet import COLUMNS, CutSheet, SheetRow
from burnlog.store.sheetdive import Context, CutPlan, DivePlan, Typed

__all__ = ["BOX", "TallyPlan", "make_tallies"]

BOX = tuple(column.name for column in COLUMNS if column.part == "box")
"""Columns that count the box, not the burns."""

LONGEST_LOT = 40


@dataclass
class TallyPlan:
    """A count of rods and the cuts it covers; `carrier` is the row it stands on."""

    scope: str
    rod_type: str | None
    carrier: SheetRow
    cuts: list[CutPlan]
    values: dict[str, Any] = field(default_factory=dict)
    typed: Typed = field(default_factory=dict)
    stubs_mm: tuple[float, ...] = ()


def make_tallies(sheet: CutSheet, context: Context, plan: DivePlan) -> list[TallyPlan]:
    """The counts of a dive. What is wrong with them is added to the problems of the row that carries them."""
    tallies: list[TallyPlan] = []
    by_type: dict[str | None, list[CutPlan]] = {}
    for cut in plan.cuts:
        by_type.setdefault(cut.rod_type, []).append(cut)
    scopes = {rod_type: _scope(sheet, cuts) for rod_type, cuts in by_type.items()}
    _settle_nameless(sheet, by_type, scopes)
    for rod_type, cuts in by_type.items():
        box = _box(sheet, rod_type, cuts)
        if scopes[rod_type] == "dive":
            tally = _dive_tally(sheet, rod_type, cuts)
            if box is not None:
                tally.values.update(box.values)
                tally.typed.update(box.typed)
            tallies.append(tally)
            continue
        for cut in cuts:
            tally = TallyPlan("cut", rod_type, cut.row, [cut])
            _count(sheet, tally, cut.row)
            tallies.append(tally)
        if box is not None:
            tallies.append(box)
    for tally in tallies:
        _check_count(sheet, context, tally)
    return tallies


def _scope(sheet: CutSheet, cuts: Sequence[CutPlan]) -> str:
    said: tuple[str, SheetRow] | None = None
    for cut in cuts:
        word = cut.row.get("rods_scope").value
        if word is None:
            continue
        if word not in ("cut", "dive"):
            message = "in a file a count of rods covers a cut or the dive; write cut or dive"
            cut.row.problems.append(sheet.problem(cut.row, "rods_scope", message))
        elif said is None:
            said = (word, cut.row)
        elif word != said[0]:
            message = (
                f"'{word}' here and '{said[0]}' in row {said[1].number} for one rod type of one dive; were the rods "
                "counted by cut or over the dive?"
            )
            cut.row.problems.append(sheet.problem(cut.row, "rods_scope", message))
    return said[0] if said else "cut"


def _settle_nameless(
    sheet: CutSheet, by_type: dict[str | None, list[CutPlan]], scopes: dict[str | None, str]
) -> None:
    """Rows without a rod type or a count: they belong to the dive's count where the dive has a single one."""
    whole = [rod_type for rod_type, scope in scopes.items() if scope == "dive" and rod_type is not None]
    if None not in by_type or scopes[None] == "dive" or not whole:
        return
    own: list[CutPlan] = []
    loose: list[CutPlan] = []
    for cut in by_type[None]:
        said = any(not cut.row.get(name).blank for name in ("rods", "rods_scope", *BOX))
        (own if said else loose).append(cut)
    if len(whole) == 1:
        by_type[whole[0]].extend(loose)
        by_type[whole[0]].sort(key=lambda cut: cut.row.number)
        by_type[None] = own
        return
    for cut in loose:
        cut.row.problems.append(
            sheet.problem(
                cut.row,
                "rod_type",
                f"the rods of this dive were counted over the dive for {' and '.join(map(str, whole))}, and this row "
                "names neither; write the rod type it used",
            )
        )


def _count(sheet: CutSheet, tally: TallyPlan, row: SheetRow) -> None:
    """The count as it stands on a row; a blank makes a tally too, so that blanks can be counted."""
    cell = row.get("rods")
    tally.values["rods"] = cell.value
    tally.values["rods_basis"] = cell.basis or "not recorded"
    tally.stubs_mm = cell.stubs_mm
    if cell.typed:
        tally.typed["rods"] = (cell.typed, cell.basis)
    if (lot := row.get("lot").value) is not None:
        tally.values["lot"] = lot


def _dive_tally(sheet: CutSheet, rod_type: str | None, cuts: list[CutPlan]) -> TallyPlan:
    counted = [cut.row for cut in cuts if not cut.row.get("rods").blank]
    for row in counted[1:]:
        row.problems.append(
            sheet.problem(
                row,
                "rods",
                f"the rods of this dive were counted over the dive, in row {counted[0].number}; leave it blank "
                "here, or write rods_scope cut",
            )
        )
    carrier = counted[0] if counted else cuts[0].row
    tally = TallyPlan("dive", rod_type, carrier, cuts)
    _count(sheet, tally, carrier)
    lots = list(dict.fromkeys(lot for cut in cuts if (lot := cut.row.get("lot").value)))
    if lots:
        tally.values["lot"] = "; ".join(lots)
        if len(tally.values["lot"]) > LONGEST_LOT:
            carrier.problems.append(sheet.problem(carrier, "lot", "the lots of this dive are too long together"))
    return tally


def _box(sheet: CutSheet, rod_type: str | None, cuts: Sequence[CutPlan]) -> TallyPlan | None:
    """The count of the box: rods out and back, lost, wet, not lit."""
    carriers = [cut.row for cut in cuts if any(not cut.row.get(name).blank for name in BOX)]
    if not carriers:
        return None
    for row in carriers[1:]:
        name = next(name for name in BOX if not row.get(name).blank)
        row.problems.append(
            sheet.problem(
                row,
                name,
                f"the box of this dive and rod type was counted in row {carriers[0].number}; write it there only",
            )
        )
    row = carriers[0]
    tally = TallyPlan("box", rod_type, row, [])
    for column in COLUMNS:
        cell = row.cells.get(column.name)
        if column.part == "box" and cell is not None:
            tally.values[column.rule.column] = cell.value
            if cell.typed:
                tally.typed[column.rule.column] = (cell.typed, cell.basis)
    issued, returned = tally.values.get("issued"), tally.values.get("returned")
    if issued is not None and returned is not None and returned > issued:
        message = f"more rods came back ({returned:g}) than went out ({issued:g}); correct one, or leave it blank"
        row.problems.append(sheet.problem(row, "returned", message))
    return tally


def _check_count(sheet: CutSheet, context: Context, tally: TallyPlan) -> None:
    row = tally.carrier
    if tally.scope == "box":
        tally.values.update(rods=None, rods_basis="not recorded")
        return
    length = sum(cut.values.get("new_length_mm") or 0.0 for cut in tally.cuts)
    if tally.values["rods"] == 0 and not tally.stubs_mm and length > 0:
        shown = units.show(length, "length")
        row.problems.append(sheet.problem(row, "rods", f"0 rods cut {shown}? Leave it blank if nobody counted"))
    if tally.stubs_mm and tally.rod_type is not None:
        new = context.rod_length_mm(tally.rod_type)
        if new is not None and max(tally.stubs_mm) > new + 0.05:
            row.problems.append(
                sheet.problem(
                    row,
                    "rods",
                    f"a stub of {units.show(max(tally.stubs_mm), 'length')} is longer than the rod "
                    f"({units.show(new, 'length')}); correct the stub",
                )
            )
