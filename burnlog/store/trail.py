"""Changing what stands in the log, and seeing what was changed: nothing is overwritten, nothing deleted.

`fix` reads typed text by the same rules as entry and signs the change; `void` takes a row, and what hangs from it,
out of every figure and leaves it in the file; `trail` shows both, and what other programs did.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from burnlog.errors import InputError
from burnlog.store import lookup
from burnlog.store.revision import Revision, revise
from burnlog.store.tables import NUMBERED, TABLES

if TYPE_CHECKING:
    from burnlog.store.log import Log

__all__ = ["Amendment", "Fixed", "fix", "trail", "void"]

Row = dict[str, Any]
SHORTEST_WHY, LONGEST_WHY = 3, 300

_HANGS_FROM: Mapping[str, tuple[tuple[str, str], ...]] = {
    "dive": (("cut", "dive_id"), ("tally", "dive_id"), ("reading", "dive_id"), ("happening", "dive_id")),
    "cut": (("happening", "cut_id"), ("tally_cut", "cut_id")),
    "tally": (("tally_cut", "tally_id"), ("rod_part", "tally_id")),
    "line": (("segment", "line_id"),),
}
"""What goes when a row goes; whatever else points at a row keeps it in the log."""


@dataclass(frozen=True)
class Fixed:
    """What a `fix` did.

    Attributes
    ----------
    table, ref : str
        The row that was changed: for a rod count typed at a cut, its tally.
    changes : tuple of Revision
        With codes for people and things, as in `Amendment`.
    """

    table: str
    ref: str
    changes: tuple[Revision, ...]


@dataclass(frozen=True)
class Amendment:
    """One value that was changed.

    Attributes
    ----------
    at, by, why : str
    kind : str
        ``fix``, ``void``, or ``outside`` for what another program did.
    table, field : str
    old, new : object
        Values in the units of the column; codes stand for people and things.
    old_typed, new_typed : str
        As typed; empty where nothing was kept.
    """

    at: str
    by: str
    why: str
    kind: str
    table: str
    field: str
    old: Any
    new: Any
    old_typed: str = ""
    new_typed: str = ""


def _signed(why: str | None, by: str | None, what: str) -> tuple[str, str]:
    why, by = (why or "").strip(), (by or "").strip()
    if not by:
        raise InputError(f"{what} needs a name: put --by NAME before the command. Nothing was changed.")
    if not why:
        raise InputError(f'{what} needs a reason: --why "box counted twice". Nothing was changed.')
    if not SHORTEST_WHY <= len(why) <= LONGEST_WHY:
        raise InputError(
            f"a reason has {SHORTEST_WHY} to {LONGEST_WHY} characters, this has {len(why)}. Nothing was changed."
        )
    return why, by


def fix(
    log: Log,
    table: str,
    ref: str,
    changes: Mapping[str, str],
    *,
    why: str | None,
    by: str | None,
    job: str | None = None,
) -> Fixed:
    """Change values of one row; the old ones stay in the trail.

    Parameters
    ----------
    log : Log
        Open for writing.
    table, ref : str
        As for `burnlog.store.lookup.find`.
    changes : Mapping of str to str
        Field as it is called on the sheet, or its column -> text as one would type it; blank is *not recorded*.
    why, by : str
        Both are needed.
    job : str, optional
        Code of the job, where `ref` leaves it out.

    Raises
    ------
    InputError
        No reason or no name, an unknown row or field, a text that cannot be read, a voided row, no change at all, or
        a value that the file refuses.
    """
    why, by = _signed(why, by, "fix")
    if not changes:
        raise InputError(f"fix {table} {ref}: what shall it be? Write a field and its value, as in rods=7.")
    row = log.find(table, ref, job=job)
    if row["voided_at"]:
        raise InputError(f"{NUMBERED[table].spoken} {ref} was voided {row['voided_at'][:10]} and stays as it is.")
    with log.transaction(why=why, by=by):
        table, row, done = revise(log, table, row, changes)
    said = [
        replace(each, **{side: lookup.spoken(log, table, each.field, getattr(each, side)) for side in ("old", "new")})
        for each in done
    ]
    return Fixed(table, lookup.name_of(log, table, row), tuple(said))


def void(
    log: Log, table: str, ref: str, *, why: str | None, by: str | None, job: str | None = None
) -> dict[str, int]:
    """Take a row, and what hangs from it, out of every figure; all of it stays in the file.

    A dive takes its cuts, counts, readings and happenings with it, a cut its own count.

    Returns
    -------
    dict of str to int
        Rows voided by table.

    Raises
    ------
    InputError
        No reason or no name, an unknown or voided row, or live rows that need this one.
    """
    why, by = _signed(why, by, "void")
    row = log.find(table, ref, job=job)
    spoken = NUMBERED[table].spoken
    if row["voided_at"]:
        raise InputError(f"{spoken} {ref} was voided already, {row['voided_at'][:10]}.")
    gone: dict[str, list[str]] = {}
    with log.transaction(why=why, by=by):
        _gather(log, table, [row["id"]], gone)
        _refuse_needed(log, table, ref, gone)
        stamp = log.stamp()
        for name, ids in gone.items():
            log.connection.executemany(f"UPDATE {name} SET voided_at = ? WHERE id = ?", [(stamp, id) for id in ids])
    return {name: len(ids) for name, ids in gone.items()}


def _gather(log: Log, table: str, ids: Sequence[str], gone: dict[str, list[str]]) -> None:
    """The live rows that go together, each once."""
    known = set(gone.get(table, ()))
    fresh = [id for id in ids if id not in known]
    gone.setdefault(table, []).extend(fresh)
    for id in fresh:
        for child, column in _HANGS_FROM.get(table, ()):
            found = log.rows(f"SELECT id FROM {child} WHERE {column} = ? AND voided_at IS NULL", (id,))
            if found:
                _gather(log, child, [row["id"] for row in found], gone)
        if table == "cut":
            own = log.rows(
                "SELECT t.id FROM tally t JOIN tally_cut tc ON tc.tally_id = t.id "
                "WHERE tc.cut_id = ? AND t.scope = 'cut' AND t.voided_at IS NULL AND tc.voided_at IS NULL",
                (id,),
            )
            if own:
                _gather(log, "tally", [row["id"] for row in own], gone)


def _refuse_needed(log: Log, table: str, ref: str, gone: Mapping[str, Sequence[str]]) -> None:
    """A row that live rows point at stays, unless they go with it."""
    for parent, ids in gone.items():
        for child in TABLES:
            for field in child.fields:
                if field.parent != parent:
                    continue
                for id in ids:
                    needing = log.rows(
                        f'SELECT id FROM {child.name} WHERE "{field.name}" = ? AND voided_at IS NULL', (id,)
                    )
                    left = [row for row in needing if row["id"] not in gone.get(child.name, ())]
                    if left:
                        raise InputError(
                            f"{NUMBERED[table].spoken} {ref} is still needed by {len(left)} "
                            f"{child.spoken} row{'s' if len(left) > 1 else ''}; void those first."
                        )


def trail(log: Log, table: str, ref: str, *, job: str | None = None) -> list[Amendment]:
    """Every change of a row, oldest first; a cut's own rod count is part of it.

    Raises
    ------
    InputError
        An unknown row.
    """
    row = log.find(table, ref, job=job)
    wanted = [(table, row["id"])]
    if table == "cut":
        own = log.rows(
            "SELECT t.id FROM tally t JOIN tally_cut tc ON tc.tally_id = t.id "
            "WHERE tc.cut_id = ? AND t.scope = 'cut'",
            (row["id"],),
        )
        wanted.extend(("tally", found["id"]) for found in own)
    for name, id in list(wanted):
        if name == "tally":
            parts = log.rows("SELECT id FROM rod_part WHERE tally_id = ?", (id,))
            wanted.extend(("rod_part", found["id"]) for found in parts)
    found = [
        row
        for name, id in wanted
        for row in log.rows("SELECT * FROM amendment WHERE table_name = ? AND row_id = ?", (name, id))
    ]
    return _as_amendments(log, sorted(found, key=lambda row: row["no"]))


def _as_amendments(log: Log, rows: Sequence[Row]) -> list[Amendment]:
    typed: dict[tuple[str, ...], dict[str, tuple[str, str]]] = {}
    for row in rows:
        if row["field"] == "as_typed":
            typed.setdefault(_change_of(row), {}).update(_typed_changes(row["old"], row["new"]))
    out = []
    for row in rows:
        if row["field"] == "as_typed":
            continue
        old_typed, new_typed = typed.get(_change_of(row), {}).pop(row["field"], ("", ""))
        out.append(_amendment(log, row, row["field"], row["old"], row["new"], old_typed, new_typed))
    for row in rows:
        if row["field"] == "as_typed":  # the same value written another way
            for field, (old_typed, new_typed) in typed.get(_change_of(row), {}).items():
                out.append(_amendment(log, row, field, None, None, old_typed, new_typed))
            typed.pop(_change_of(row), None)
    return out


def _change_of(row: Row) -> tuple[str, ...]:
    return (row["table_name"], row["row_id"], row["at"], row["by"], row["why"])


def _typed_changes(old: str, new: str) -> dict[str, tuple[str, str]]:
    before, after = (_parsed(text) for text in (old, new))
    return {
        field: (before.get(field, ""), after.get(field, ""))
        for field in {**before, **after}
        if before.get(field) != after.get(field)
    }


def _parsed(text: str) -> dict[str, str]:
    """Field -> typed text; what another program broke, or what is kept secret, has none."""
    try:
        found = json.loads(text)
    except ValueError:
        return {}
    if not isinstance(found, dict):
        return {}
    return {str(field): str(pair[0]) for field, pair in found.items() if isinstance(pair, list) and pair}


def _amendment(log: Log, row: Row, field: str, old: Any, new: Any, old_typed: str, new_typed: str) -> Amendment:
    kind = "void" if field == "voided_at" else "fix"
    if row["by"] == "unknown" and row["why"] == "changed outside burnlog":
        kind = "outside"
    old, new = (lookup.spoken(log, row["table_name"], field, value) for value in (old, new))
    return Amendment(row["at"], row["by"], row["why"], kind, row["table_name"], field, old, new, old_typed, new_typed)
