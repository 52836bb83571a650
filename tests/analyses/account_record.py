"""Small records written dive by dive, for the tests of accounts, checks and hand-over."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import pandas as pd

from burnlog.columns import GLOSSARY, Frames, empty, shaped

Row = Mapping[str, Any]

DIVE = {
    "job": "J1",
    "dive_date": "2026-05-12",
    "record_class": "production",
    "setting": "open water",
    "diver": "D1",
    "crew": "A",
    "rig": "R1",
    "bank": "B1",
    "log_ref": "log 1 p.1",
}
CUT = {
    "pass_kind": "first",
    "outcome": "through",
    "edge": "clean",
    "material": "carbon steel",
    "thickness_mm": 12.7,
    "planned_length_m": 1.0,
    "new_length_m": 1.0,
    "rod_type": "X18",
    "family": "exothermic",
    "stoppage_s": 0.0,
}
BANK = {"bank": "B1", "cylinders": 1.0, "contents_kg_each": 9.163, "label_kpa": 15168.0, "label_temp_c": 21.11}
CLOCKS = ("start_at", "stop_at")


def dive(number: int, *cuts: Row, **said: Any) -> dict[str, Any]:
    """One dive: `cuts` with what differs from `CUT`, `said` with what differs from `DIVE`.

    `box` gives issued, returned, lost ... of the dive; `rods` with `box` a count over the whole dive. A cut with
    `rods` has a count of its own; `stubs` are part-burned rods [mm].
    """
    return {**DIVE, "dive_no": number, "sheet": f"S{number}", **said, "cuts": cuts}


def record(*dives: Row, planned: Iterable[Row] = (), **others: Sequence[Row]) -> Frames:
    """Frames of dives made by `dive`; `planned` names lines nobody has cut, `others` whole frames as rows."""
    made: dict[str, list[dict[str, Any]]] = {name: [] for name in GLOSSARY}
    lines: dict[str, dict[str, Any]] = {}
    for given in dives:
        ref = f"{given['job']} {given['dive_no']}"
        head = {key: value for key, value in given.items() if key != "cuts"} | {"dive_ref": ref}
        made["dives"].append(head)
        ids = []
        for number, said in enumerate(given["cuts"], start=1):
            cut = {**{k: v for k, v in head.items() if k != "rods"}, **CUT, "row": number, **said}
            cut["cut_no"] = len(made["cuts"]) + 1
            cut.setdefault("line", f"L{cut['cut_no']}")
            cut["cut_id"], cut["cut_ref"] = f"c{cut['cut_no']}", f"{ref}.{cut['row']}"
            cut["line_ref"] = f"{head['job']} {cut['line']}"
            for clock in CLOCKS:
                if cut.get(clock):
                    cut[clock] = f"{head['dive_date']} {cut[clock]}"
            if {"start_at", "stop_at"} <= cut.keys() and "elapsed_s" not in cut:
                cut["elapsed_s"] = (pd.Timestamp(cut["stop_at"]) - pd.Timestamp(cut["start_at"])).total_seconds()
            lines.setdefault(cut["line_ref"], {k: cut.get(k) for k in _names("lines")} | {"job": head["job"]})
            ids.append(cut["cut_id"])
            if "rods" in said or "stubs" in said:
                _count(made, head, "cut", said, [cut["cut_id"]])
            made["cuts"].append(cut)
        if "rods" in given:
            _count(made, head, "dive", given, ids)
        elif "issued" in given:
            _count(made, head, "box", {**given, "rods": None, "rods_basis": "not recorded"}, ids)
    made["lines"] = [*lines.values(), *({"job": "J1", "line_ref": f"J1 {row['line']}", **row} for row in planned)]
    made["jobs"] = [{"job": job} for job in dict.fromkeys(row["job"] for row in made["dives"] + made["lines"])]
    made["banks"] = [BANK]
    for name, rows in others.items():
        made[name] = [_reading(row) if name == "readings" else dict(row) for row in rows]
    frames = {name: shaped(pd.DataFrame(rows), name) if rows else empty(name) for name, rows in made.items()}
    return Frames(**frames).checked()


def _names(frame: str) -> list[str]:
    return [column.name for column in GLOSSARY[frame]]


def _count(made: dict[str, list[dict[str, Any]]], head: Row, scope: str, said: Row, ids: Sequence[str]) -> None:
    number = len(made["tallies"]) + 1
    box = {k: head.get(k) for k in ("issued", "returned", "lost", "broken_or_wet")} if scope != "cut" else {}
    made["tallies"].append(
        {
            "tally_id": f"t{number}",
            "tally_no": number,
            "job": head["job"],
            "scope": scope,
            "dive_ref": head["dive_ref"],
            "day": head["dive_date"],
            "rod_type": said.get("rod_type", "X18"),
            "family": "exothermic",
            "rod_length_mm": 457.2,
            "planned_stub_mm": said.get("planned_stub_mm", 76.2),
            "rods": said.get("rods", 0.0),
            "rods_basis": said.get("rods_basis", "measured" if said.get("rods", 0) is not None else "not recorded"),
            **box,
        }
    )
    made["tally_cuts"] += [{"tally_id": f"t{number}", "cut_id": cut_id} for cut_id in ids]
    made["rod_parts"] += [{"tally_id": f"t{number}", "stub_mm": stub} for stub in said.get("stubs", ())]


def _reading(row: Row) -> dict[str, Any]:
    out = {"job": "J1", "rig": "R1", "bank": "B1", "reason": "spot", **row}
    if out.get("read_at"):
        out["read_at"] = f"{out.get('day', DIVE['dive_date'])} {out['read_at']}"
    return out
