"""Fits and estimates that are kept: a frozen figure repeats from what stands here, whatever is amended later.

A payload is JSON text and comes back to the byte. The file itself refuses to change an issued estimate or a fit.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from burnlog.errors import InputError
from burnlog.store import lookup

if TYPE_CHECKING:
    from burnlog.store.log import Log

__all__ = [
    "KeptEstimate",
    "KeptFit",
    "close_estimate",
    "find_fit_run",
    "issue_estimate",
    "list_estimates",
    "load_estimate",
    "load_fit_run",
    "save_estimate",
    "save_fit_run",
]


@dataclass(frozen=True)
class KeptEstimate:
    """An estimate as it was saved.

    Attributes
    ----------
    code : str
        As people call it: `E7`.
    state : str
        draft, issued or closed.
    title : str
    content_hash : str
    payload : str
        JSON: inputs as typed, results, versions.
    actual : str or None
        JSON: what the job really took, once closed.
    created_at, created_by : str
    """

    code: str
    state: str
    title: str
    content_hash: str
    payload: str
    actual: str | None
    created_at: str
    created_by: str


@dataclass(frozen=True)
class KeptFit:
    """A fit as it was saved; `no` is what people call it."""

    no: int
    kind: str
    data_hash: str
    payload: str
    created_at: str
    created_by: str


def save_estimate(
    log: Log, payload: str, *, content_hash: str, code: str | None = None, title: str | None = None
) -> str:
    """Save a draft under a new code, or save it again under its own; returns the code.

    Raises
    ------
    InputError
        The estimate is issued or closed: a copy can be saved under a new code.
    """
    with log.transaction(why="draft saved again", by=log.by):
        code = code or f"E{log.next_no('estimate')}"
        there = log.one("estimate", code=code)
        if there is None:
            values = {
                "code": code,
                "state": "draft",
                "title": title,
                "content_hash": content_hash,
                "payload": payload,
            }
            log.insert("estimate", values)
        elif there["state"] != "draft":
            raise InputError(
                f"estimate {code} is {there['state']} and stays as it is; leave the code out for a copy."
            )
        else:
            log.connection.execute(
                "UPDATE estimate SET payload = ?, content_hash = ?, title = ? WHERE id = ?",
                (payload, content_hash, title or there["title"], there["id"]),
            )
    return code


def issue_estimate(log: Log, code: str, *, by: str) -> None:
    """Freeze a draft.

    Raises
    ------
    InputError
        There is no such draft.
    """
    there = log.find("estimate", code)
    if there["state"] != "draft":
        raise InputError(f"estimate {code} is {there['state']} already.")
    with log.transaction(why="issued", by=by):
        log.connection.execute("UPDATE estimate SET state = 'issued' WHERE id = ?", (there["id"],))


def close_estimate(log: Log, code: str, actual: str, *, by: str) -> None:
    """Put beside an issued estimate what the job really took.

    Raises
    ------
    InputError
        It is no issued estimate.
    """
    there = log.find("estimate", code)
    if there["state"] != "issued":
        raise InputError(f"estimate {code} is {there['state']}; only an issued one can be closed.")
    with log.transaction(why="closed", by=by):
        log.connection.execute("UPDATE estimate SET state = 'closed', actual = ? WHERE id = ?", (actual, there["id"]))


def load_estimate(log: Log, code: str) -> KeptEstimate:
    """The estimate of this code.

    Raises
    ------
    InputError
        There is none (with the nearest three codes).
    """
    return _estimate(log.find("estimate", code))


def list_estimates(log: Log) -> list[KeptEstimate]:
    """Every estimate, oldest first."""
    return [_estimate(row) for row in log.rows("SELECT * FROM estimate WHERE voided_at IS NULL ORDER BY no")]


def _estimate(row: lookup.Row) -> KeptEstimate:
    return KeptEstimate(
        code=row["code"],
        state=row["state"],
        title=row["title"] or "",
        content_hash=row["content_hash"],
        payload=row["payload"],
        actual=row["actual"],
        created_at=row["created_at"],
        created_by=row["created_by"],
    )


def save_fit_run(log: Log, kind: str, payload: str, *, data_hash: str) -> int:
    """Keep a fit with the frame it used; returns its number."""
    with log.transaction():
        key = log.insert("fit_run", {"kind": kind, "data_hash": data_hash, "payload": payload})
        return int(log.rows("SELECT no FROM fit_run WHERE id = ?", (key,))[0]["no"])


def find_fit_run(log: Log, kind: str, *, data_hash: str) -> str | None:
    """Payload of the oldest fit of this kind and data, None where none was kept."""
    rows = log.rows(
        "SELECT payload FROM fit_run WHERE kind = ? AND data_hash = ? AND voided_at IS NULL ORDER BY no LIMIT 1",
        (kind, data_hash),
    )
    return str(rows[0]["payload"]) if rows else None


def load_fit_run(log: Log, no: int) -> KeptFit:
    """The fit of this number.

    Raises
    ------
    InputError
        There is none.
    """
    row = log.find("fit_run", str(no))
    return KeptFit(row["no"], row["kind"], row["data_hash"], row["payload"], row["created_at"], row["created_by"])
