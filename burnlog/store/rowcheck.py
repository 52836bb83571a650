"""Rows that somebody else wrote, or that lay on a disk for years, held one by one against the tables."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterable, Iterator
from typing import Any

from burnlog.store.table import Table
from burnlog.store.tables import NUMBERED

__all__ = ["row_problems", "trail_problems"]

Row = dict[str, Any]
LONGEST_TYPED = 65_536


def row_problems(table: Table, row: Row) -> Iterator[str]:
    """Everything that keeps a row from standing in its table, column by column."""
    yield from table.problems(row)
    for name in ("id", "created_by"):
        if problem := table.field(name).problem(row.get(name)):
            yield problem
    for name in ("created_at", "voided_at"):
        stamp = row.get(name)
        if not (_is_stamp(stamp) or (stamp is None and name == "voided_at")):
            yield f"{name} is a time with its offset, not '{str(stamp)[:40]}'"
    typed = row.get("as_typed", "{}")
    if not isinstance(typed, str) or len(typed) > LONGEST_TYPED or not _is_typed(typed, table):
        yield "as_typed does not hold what was typed, column by column, and its basis"


def _is_stamp(value: object) -> bool:
    try:
        return isinstance(value, str) and len(value) <= 40 and dt.datetime.fromisoformat(value).tzinfo is not None
    except ValueError:
        return False


def _is_typed(text: str, table: Table) -> bool:
    """Column -> [text, basis], and no name of a person."""
    try:
        found = json.loads(text)
    except (ValueError, RecursionError):
        return False
    return isinstance(found, dict) and all(
        name not in table.secret
        and isinstance(pair, list)
        and len(pair) == 2
        and all(isinstance(part, str) for part in pair)
        for name, pair in found.items()
    )


def trail_problems(rows: Iterable[Row]) -> Iterator[str]:
    """What is no entry of a trail."""
    texts = ("id", "row_id", "field", "why", "by", "at")
    for row in rows:
        table = NUMBERED.get(str(row.get("table_name")))
        if table is None or any(not isinstance(row.get(name), str) or not row[name] for name in texts):
            yield f"trail {str(row.get('id'))[:40]}: not an amendment"
        elif row["field"] not in table.columns():
            yield f"trail {row['id'][:40]}: {table.name} has no column {row['field'][:40]}"
        elif row["field"] in table.secret and (row.get("old"), row.get("new")) != ("changed", "changed"):
            yield f"trail {row['id'][:40]}: {row['field']} is recorded without its values"
        elif max(len(str(row.get(name) or "")) for name in ("old", "new", *texts)) > LONGEST_TYPED:
            yield f"trail {row['id'][:40]}: too long"
