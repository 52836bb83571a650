"""From a figure back to the paper: the sheets and the changes behind cuts and counts."""

from __future__ import annotations

from collections.abc import Sequence

from burnlog.store.log import Log, Row

__all__ = ["amendments_of", "sheets_of"]

AT_ONCE = 500


def sheets_of(log: Log, cut_ids: Sequence[str]) -> list[Row]:
    """Cuts with the sheet they were typed from: cut, sheet, row, log_ref."""
    return _each(
        log,
        "SELECT j.code || ' ' || d.dive_no || '.' || c.row AS cut, d.sheet, c.row, d.log_ref FROM cut c "
        "JOIN dive d ON d.id = c.dive_id JOIN job j ON j.id = d.job_id WHERE c.id IN ({}) ORDER BY c.no",
        cut_ids,
    )


def amendments_of(log: Log, row_ids: Sequence[str]) -> list[Row]:
    """Changes of these rows, oldest first."""
    return _each(log, "SELECT * FROM amendment WHERE row_id IN ({}) ORDER BY no", row_ids)


def _each(log: Log, sql: str, ids: Sequence[str]) -> list[Row]:
    out: list[Row] = []
    for start in range(0, len(ids), AT_ONCE):
        some = list(ids[start : start + AT_ONCE])
        out.extend(log.rows(sql.format(", ".join("?" * len(some))), some))
    return out
