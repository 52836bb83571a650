"""Finding the row a person means: by code, by short number, by job, dive and row (`PIER7 14.3`), or by its sheet."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from burnlog.errors import InputError
from burnlog.store.tables import NUMBERED

if TYPE_CHECKING:
    from burnlog.store.log import Log

__all__ = ["cut_ref", "dive_ref", "find", "name_of", "nearest", "refuse_twice", "spoken"]

Row = dict[str, Any]
_LIVE_FIRST = "ORDER BY voided_at IS NOT NULL"


def find(log: Log, table: str, ref: str, *, job: str | None = None) -> Row:
    """The row of a table that people call `ref`; a live row before a voided one of the same name.

    Parameters
    ----------
    log : Log
    table : str
        Name of a table.
    ref : str
        A code; a short number (letters before it, as in `T61`, are allowed where the table has no codes);
        `PIER7 14` for a dive, `PIER7 14.3` for a cut, `PIER7 L14` for a line; or, as `check` names a cut,
        sheet and row, `PIER7-0014 row 3`.
    job : str, optional
        Code of the job, where `ref` leaves it out.

    Raises
    ------
    InputError
        No such row (with the nearest three names), or several.
    """
    ref = " ".join(ref.split())
    if table == "dive":
        return _dive(log, ref, job)
    if table == "cut":
        return _cut(log, ref, job)
    if table == "line":
        return _line(log, ref, job)
    spoken = NUMBERED[table].spoken
    if any(field.name == "code" for field in NUMBERED[table].fields):
        row = log.one(table, code=ref)
        if row is not None:
            return row
        codes = [str(found["code"]) for found in log.rows(f"SELECT code FROM {table} WHERE voided_at IS NULL")]
        raise InputError(f"there is no {spoken} '{ref}'; {nearest(ref, codes)}.")
    number = ref.lstrip("#").lstrip("TtHhRr")
    row = log.one(table, no=int(number)) if _is_number(number) else None
    if row is None:
        raise InputError(f"there is no {spoken} '{ref}'; give the number that `burnlog list` shows.")
    return row


def _is_number(text: str) -> bool:
    return text.isascii() and text.isdigit() and len(text) < 16


def _dive(log: Log, ref: str, job: str | None) -> Row:
    code, _, number = ref.rpartition(" ")
    code = code or job or ""
    if not _is_number(number):
        raise InputError(f"'{ref}' is not a dive; write job and number, as in PIER7 14.")
    found = log.rows(
        "SELECT d.* FROM dive d JOIN job j ON j.id = d.job_id WHERE d.dive_no = ? AND (? = '' OR j.code = ?) "
        "ORDER BY d.voided_at IS NOT NULL",
        (int(number), code, code),
    )
    if not found and code:
        find(log, "job", code)  # an unknown job is the better complaint
    return _only(log, found, f"dive {ref}", "job_id")


def _cut(log: Log, ref: str, job: str | None) -> Row:
    head, mark, row = ref.rpartition(" row ")
    of_sheet = bool(mark)
    if not mark:
        head, mark, row = ref.rpartition(".")
    if mark:
        if not _is_number(row):
            raise InputError(f"'{ref}' is not a cut; write job, dive and row, as in PIER7 14.3.")
        dive = _sheet(log, head, job) if of_sheet else _dive(log, head, job)
        found = log.rows(f"SELECT * FROM cut WHERE dive_id = ? AND row = ? {_LIVE_FIRST}", (dive["id"], int(row)))
        return _only(log, found, f"cut {ref}", "dive_id")
    if not _is_number(ref):
        raise InputError(f"'{ref}' is not a cut; write its number, or job, dive and row as in PIER7 14.3.")
    return _only(log, log.rows("SELECT * FROM cut WHERE no = ?", (int(ref),)), f"cut {ref}", "id")


def _sheet(log: Log, ref: str, job: str | None) -> Row:
    """The dive on the sheet of that number; a sheet without one goes by job and dive."""
    dives = {row["id"]: row for row in log.rows("SELECT * FROM dive WHERE sheet = ? AND voided_at IS NULL", (ref,))}
    try:
        row = _dive(log, ref, job)
        dives[row["id"]] = row
    except InputError:
        if not dives:
            raise
    if len(dives) > 1:
        raise InputError(f"several dives answer to '{ref}'; write job, dive and row, as in PIER7 14.3.")
    return next(iter(dives.values()))


def _line(log: Log, ref: str, job: str | None) -> Row:
    found = log.rows(
        "SELECT l.* FROM line l JOIN job j ON j.id = l.job_id "
        "WHERE (l.code = :ref OR j.code || ' ' || l.code = :ref) AND (:job IS NULL OR j.code = :job) "
        "ORDER BY l.voided_at IS NOT NULL",
        {"ref": ref, "job": job},
    )
    if not found:
        names = log.rows(
            "SELECT DISTINCT l.code FROM line l JOIN job j ON j.id = l.job_id "
            "WHERE l.voided_at IS NULL AND (:job IS NULL OR j.code = :job)",
            {"job": job},
        )
        raise InputError(f"there is no line '{ref}'; {nearest(ref, [str(row['code']) for row in names])}.")
    return _only(log, found, f"line {ref}", "job_id")


def _only(log: Log, found: list[Row], what: str, apart: str) -> Row:
    """The first row, unless rows of several parents answer to the name."""
    if not found:
        raise InputError(f"there is no {what} in {log.path}; `burnlog list {what.partition(' ')[0]}s` shows what is.")
    live = [row for row in found if row["voided_at"] is None]
    if len({row[apart] for row in live or found}) > 1:
        raise InputError(f"{what} stands in several jobs; put the job's code before it.")
    return (live or found)[0]


def nearest(ref: str, names: Sequence[str]) -> str:
    """The three names most like a text, as a clause of a message.

    Examples
    --------
    >>> nearest("L41", ["L14", "L40", "M2", "L4"])
    'the nearest are L4, L40, L14'
    """
    folded = {name.lower(): name for name in names}
    near = difflib.get_close_matches(ref.lower(), folded, n=3, cutoff=0.0)
    return f"the nearest are {', '.join(folded[name] for name in near)}" if near else "there is none yet"


def dive_ref(log: Log, dive_id: str) -> str:
    """How people name a dive: `PIER7 14`."""
    row = log.connection.execute(
        "SELECT j.code || ' ' || d.dive_no FROM dive d JOIN job j ON j.id = d.job_id WHERE d.id = ?", (dive_id,)
    ).fetchone()
    return str(row[0])


def cut_ref(log: Log, cut_id: str) -> str:
    """How people name a cut: `PIER7 14.3`."""
    row = log.connection.execute(
        "SELECT j.code || ' ' || d.dive_no || '.' || c.row FROM cut c JOIN dive d ON d.id = c.dive_id "
        "JOIN job j ON j.id = d.job_id WHERE c.id = ?",
        (cut_id,),
    ).fetchone()
    return str(row[0])


def name_of(log: Log, table: str, row: Row) -> str:
    """What people call a row."""
    if table == "cut":
        return cut_ref(log, row["id"])
    if table == "dive":
        return dive_ref(log, row["id"])
    return str(row.get("code") or row["no"])


def spoken(log: Log, table: str, column: str, value: Any) -> Any:
    """A value of a column as it stands, but what people call the row where it points at one."""
    parent = next((field.parent for field in NUMBERED[table].fields if field.name == column), "")
    if value is None or not parent:
        return value
    row = log.one(parent, id=value)
    return name_of(log, parent, row) if row else value


def refuse_twice(
    log: Log,
    dive_id: str,
    row: int,
    *,
    line_id: str | None = None,
    start_at: str | None = None,
    stop_at: str | None = None,
    really: str | None = None,
) -> None:
    """Refuse what looks like one cut typed twice, and show the cut that is there.

    The same row of the same dive is refused always; the same line, start and stop in the dive unless `really` gives
    a reason, which the caller keeps in `twice_why`.

    Raises
    ------
    InputError
        It is there already.
    """
    same = (
        "SELECT c.no, c.row, l.code AS line, c.start_at, c.stop_at, c.created_by, c.created_at, d.sheet "
        "FROM cut c JOIN line l ON l.id = c.line_id JOIN dive d ON d.id = c.dive_id "
        "WHERE c.dive_id = :dive AND c.voided_at IS NULL AND "
    )
    values = {"dive": dive_id, "row": row, "line": line_id, "start": start_at, "stop": stop_at}
    found = log.rows(same + "c.row = :row", values)
    if found:
        raise InputError(
            f"row {row} is in the log already as {_shown(log, dive_id, found[0])}. Give another cut another row; "
            f"to change this one: burnlog fix cut {found[0]['no']}. Nothing was written."
        )
    if really or not (line_id and start_at and stop_at):
        return
    found = log.rows(same + "c.line_id = :line AND c.start_at = :start AND c.stop_at = :stop", values)
    if found:
        raise InputError(
            f"the same line, start and stop are in the log already as {_shown(log, dive_id, found[0])}. "
            'If this is a true second cut, add --really "the reason". Nothing was written.'
        )


def _shown(log: Log, dive_id: str, row: Row) -> str:
    sheet = f" of sheet {row['sheet']}" if row["sheet"] else ""
    clock = f", {row['start_at'][11:16]} to {row['stop_at'][11:16]}" if row["start_at"] and row["stop_at"] else ""
    return (
        f"cut {row['no']} ({dive_ref(log, dive_id)}.{row['row']}{sheet}, line {row['line']}{clock}; "
        f"typed by {row['created_by']} {row['created_at'][:16].replace('T', ' ')})"
    )
