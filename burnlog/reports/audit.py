"""The audit pack: one estimate with all it rests on, as CSV and JSON that need no program of ours to read."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from burnlog.analyses.estimate import Estimate

__all__ = ["FIELDS", "audit_pack"]

FIELDS: Mapping[str, str] = {
    "draws.csv": "one row per simulated job: rods, cut_time_s, dives, oxygen_kg, cost; their quantiles are the bid",
    "tallies.csv": "one row per rod count used: rods (equivalents where stubs were typed), new_length_m, elapsed_s",
    "pieces.csv": "one row per cut behind those counts: line, diver, length, steel, conditions",
    "items.csv": "the take-off as typed, row by row",
    "left_out.csv": "rod counts in scope that were not used, with the reason",
    "sheets.csv": "cuts used, with the number of the paper sheet they were typed from and the legal log reference",
    "amendments.csv": "every change of a cut or a count used: old, new, why, by, at",
    "estimate.json": "everything the estimate was made from and what came out, with versions and the seed",
}


def _csv(rows: Iterable[Mapping[Any, Any]], columns: Sequence[str]) -> str:
    out = io.StringIO()
    writer = csv.DictWriter(out, columns, extrasaction="ignore", lineterminator="\n")
    writer.writeheader()
    for row in rows:
        writer.writerow({name: _harmless(row.get(name)) for name in columns})
    return out.getvalue()


def _harmless(value: Any) -> Any:
    """Text that a spreadsheet would run as a formula gets a mark before it."""
    if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t"):
        return "'" + value
    return value


def audit_pack(
    made: Estimate,
    payload: Mapping[str, Any],
    *,
    head: Mapping[str, Any],
    sheets: Sequence[Mapping[str, Any]],
    amendments: Sequence[Mapping[str, Any]],
) -> dict[str, str]:
    """File name to text.

    Parameters
    ----------
    made : Estimate
        The estimate, made again from its payload.
    payload : mapping
        As `burnlog.analyses.frozen.freeze` wrote it.
    head : mapping
        code, state, hash, by, made_on.
    sheets, amendments : sequence of mapping
        From the log: cuts used with their sheets, and changes of what was used.
    """
    draws = {
        "rods": made.rods,
        "cut_time_s": made.cut_time_s,
        "dives": made.dives,
        "oxygen_kg": made.oxygen_kg,
        "cost": made.cost,
    }
    known = {name: values for name, values in draws.items() if values is not None}
    rows = [dict(zip(known, map(float, values), strict=True)) for values in zip(*known.values(), strict=True)]
    tallies = made.basis.tallyset.tallies.reset_index()
    pieces = made.basis.tallyset.pieces
    left = made.basis.tallyset.left_out.items()
    items = [{"row": item.row, **item.typed} for item in made.takeoff.items]
    readme = [
        f"Estimate {head['code']}, {head['state']}. Hash {head['hash']}.",
        "" if head["state"] != "DRAFT" else "DRAFT: not issued.",
        "MADE UP: an invented scenario, not field data." if made.basis.made_up else "",
        "Planning and learning record only; not the legal dive record.",
        *(f"{name}: {meaning}" for name, meaning in FIELDS.items()),
    ]
    return {
        "README.txt": "\n".join(line for line in readme if line) + "\n",
        "draws.csv": _csv(rows, list(known)),
        "tallies.csv": _csv(tallies.to_dict("records"), [str(name) for name in tallies]),
        "pieces.csv": _csv(pieces.to_dict("records"), [str(name) for name in pieces]),
        "items.csv": _csv(items, list(dict.fromkeys(name for item in items for name in item))),
        "left_out.csv": _csv(
            ({"reason": why, "count": ref} for why, refs in left for ref in refs), ["reason", "count"]
        ),
        "sheets.csv": _csv(sheets, ["cut", "sheet", "row", "log_ref"]),
        "amendments.csv": _csv(amendments, ["table_name", "row_id", "field", "old", "new", "why", "by", "at"]),
        "estimate.json": json.dumps({**head, **payload}, indent=1, sort_keys=True, allow_nan=False) + "\n",
        "fields.json": json.dumps(FIELDS, indent=1) + "\n",
    }
