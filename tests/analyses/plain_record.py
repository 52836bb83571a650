"""Small records written by hand, as frames, for the analyses."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields
from typing import Any

import pandas as pd

from burnlog.columns import Frames, empty, shaped

CUT = {
    "job": "J1",
    "dive_no": 1,
    "setting": "open water",
    "record_class": "production",
    "material": "carbon steel",
    "diver": "D1",
    "crew": "A",
    "rig": "R1",
    "rod_type": "X18",
    "family": "exothermic",
    "diameter_mm": 9.5,
    "thickness_mm": 12.7,
    "pass_kind": "first",
    "outcome": "through",
    "stoppage_s": 0.0,
    "dive_date": "2026-01-01",
}


def frames_of(
    cuts: Sequence[Mapping[str, Any]],
    *,
    tallies: Mapping[str, Mapping[str, Any]] | None = None,
    stubs: Mapping[str, Sequence[float]] | None = None,
    **others: Sequence[Mapping[str, Any]],
) -> Frames:
    """Frames of a record given cut by cut.

    A cut names its count by `tally`; without that word it has a count of its own when it has the key `rods`.
    `tallies` holds what a count over several cuts says (its `rods` at least); `stubs` part-burned rods in mm.
    """
    rows, counts, links = [], {}, []
    for number, given in enumerate(cuts, start=1):
        cut = {**CUT, "cut_no": number, "row": number, "line": f"L{number}", **given}
        cut["cut_id"] = cut.get("cut_id", f"c{number}")
        cut["dive_ref"] = f"{cut['job']} {cut['dive_no']}"
        cut["cut_ref"] = f"{cut['dive_ref']}.{cut['row']}"
        cut["line_ref"] = f"{cut['job']} {cut['line']}"
        rows.append(cut)
        named = cut.get("tally", f"t{number}" if "rods" in cut else None)
        for name in [named] if isinstance(named, str) else named or []:
            links.append({"tally_id": name, "cut_id": cut["cut_id"]})
            count = {
                "tally_id": name,
                "tally_no": len(counts) + 1,
                "scope": "cut",
                "rods_basis": cut.get("rods_basis", "measured"),
                "rod_length_mm": 457.2,
                "planned_stub_mm": 76.2,
                "day": cut["dive_date"],
                **{key: cut.get(key) for key in ("job", "dive_ref", "rod_type", "family", "rods")},
                **((tallies or {}).get(name, {})),
            }
            counts.setdefault(name, count)
    table = pd.DataFrame(rows)
    parts = [{"tally_id": t, "stub_mm": stub} for t, lengths in (stubs or {}).items() for stub in lengths]
    dives = table.drop_duplicates("dive_ref").assign(bottom_time_s=None)
    lines = table.drop_duplicates("line_ref")
    jobs = table.drop_duplicates("job")[["job", "record_class"]]
    made = {
        "cuts": table,
        "dives": dives,
        "lines": lines,
        "jobs": jobs,
        "tallies": pd.DataFrame(list(counts.values())) if counts else None,
        "tally_cuts": pd.DataFrame(links) if links else None,
        "rod_parts": pd.DataFrame(parts) if parts else None,
        **{name: pd.DataFrame(list(entries)) for name, entries in others.items()},
    }
    shapes = {
        field.name: shaped(made[field.name], field.name) if made.get(field.name) is not None else empty(field.name)
        for field in fields(Frames)
    }
    return Frames(**shapes).checked()
