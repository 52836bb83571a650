"""Small records written as rows, for the tests of the reviews."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import pandas as pd

from burnlog.columns import GLOSSARY, Frames, empty, shaped

Row = Mapping[str, Any]

CUT = {
    "job": "J1",
    "dive_no": 1,
    "section": "PL12",
    "section_kind": "plate",
    "dive_date": "2026-05-01",
    "record_class": "production",
    "setting": "open water",
    "diver": "D1",
    "crew": "A",
    "rig": "R1",
    "bank": "B1",
    "visibility": "1-3 ft",
    "material": "carbon steel",
    "thickness_mm": 12.7,
    "planned_length_m": 1.0,
    "position": "flat",
    "fouling": "bare",
    "backing": "open water",
    "power": "on",
    "rod_type": "EXO",
    "family": "exothermic",
    "diameter_mm": 9.525,
    "pass_kind": "first",
    "new_length_m": 1.0,
    "stoppage_s": 0.0,
    "edge": "clean",
    "outcome": "through",
}
BANK = {"bank": "B1", "cylinders": 1.0, "contents_kg_each": 9.163, "label_kpa": 15168.0}


def record(
    cuts: Iterable[Row],
    *,
    tallies: Iterable[Row] | None = None,
    tally_cuts: Iterable[tuple[str, str]] | None = None,
    **others: Iterable[Row],
) -> Frames:
    """Frames from rows of cuts (`rods` in a cut makes a count over it) and whatever other frames are named.

    A cut's row number, line and references follow from its place unless given; dives follow from the cuts.
    """
    rows = []
    seen: dict[str, int] = {}
    for number, given in enumerate(cuts, start=1):
        row = {**CUT, **given}
        row["dive_ref"] = f"{row['job']} {row['dive_no']}"
        seen[row["dive_ref"]] = row.setdefault("row", seen.get(row["dive_ref"], 0) + 1)
        row.setdefault("line", f"L{number}")
        row["line_ref"] = f"{row['job']} {row['line']}"
        row["cut_id"] = f"c{number}"
        row["cut_no"] = number
        row["cut_ref"] = f"{row['dive_ref']}.{row['row']}"
        for clock in ("start_at", "stop_at"):
            if row.get(clock):
                row[clock] = f"{row['dive_date']} {row[clock]}"
        rows.append(row)
    table = pd.DataFrame(rows)
    if tallies is None:
        tallies = [
            {"tally_id": f"t{row['cut_no']}", "tally_no": row["cut_no"], "job": row["job"], "scope": "cut"}
            | {"dive_ref": row["dive_ref"], "day": row["dive_date"], "rods": row["rods"], "rods_basis": "measured"}
            | {"rod_type": row["rod_type"], "family": row["family"]}
            for row in rows
            if "rods" in row
        ]
        tally_cuts = [(f"t{row['cut_no']}", row["cut_id"]) for row in rows if "rods" in row]
    frames = {name: empty(name) for name in GLOSSARY}
    frames["cuts"] = shaped(table, "cuts")
    dive_rows = table.drop_duplicates("dive_ref")
    frames["dives"] = shaped(dive_rows.reset_index(drop=True), "dives")
    frames["lines"] = shaped(table.drop_duplicates("line_ref").reset_index(drop=True), "lines")
    frames["jobs"] = shaped(table.drop_duplicates("job").reset_index(drop=True), "jobs")
    tally_rows = list(tallies)
    if tally_rows:
        frames["tallies"] = shaped(pd.DataFrame(tally_rows), "tallies")
        pairs = pd.DataFrame(list(tally_cuts or ()), columns=["tally_id", "cut_id"])
        frames["tally_cuts"] = shaped(pairs, "tally_cuts")
    frames["banks"] = shaped(pd.DataFrame([BANK]), "banks")
    for name, given_rows in others.items():
        given_list = list(given_rows)
        if given_list:
            frames[name] = shaped(pd.DataFrame(given_list), name)
    return Frames(**frames).checked()
