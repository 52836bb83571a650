"""One row of a table from fields as typed: the way in for jobs, dives, lines, tallies and masters."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from burnlog.errors import InputError, ReadError
from burnlog.store.fields import FIELDS, SOURCED, check_whole, read_field
from burnlog.store.log import Log, identity
from burnlog.store.schema import MASTERS

__all__ = ["add_row"]

_POINTERS = {
    "diver": "person",
    "tender": "person",
    "supervisor": "person",
    "rig": "rig",
    "bank": "bank",
    "rod_type": "rod_type",
}


def add_row(log: Log, table: str, fields: Mapping[str, str]) -> str:
    """Add one row and say what was added.

    Parameters
    ----------
    log : Log
        Open for writing.
    table : str
        ``job``, ``person``, ``rod_type``, ``rig``, ``bank``, ``line``, ``dive`` or ``tally``.
    fields : mapping of field name to text
        Names as on a sheet or in a master file; a dive or a line also names its `job`, a tally its `dive`.

    Raises
    ------
    InputError
        An unknown field, a text that cannot be read, something it belongs to is missing, or it exists already.
    """
    given = dict(fields)
    with log.transaction():
        values: dict[str, Any] = {}
        job = None
        if table in ("line", "dive", "tally") and "job" in given:
            job = log.find("job", given.pop("job"))
        if table == "tally":
            values.update(_tally_place(log, given, job))
        elif table in ("line", "dive"):
            if job is None:
                raise InputError(f"a {table} belongs to a job: give job=CODE.")
            values["job_id"] = job["id"]
        water = str(job["water"]) if job is not None and job["water"] else None
        typed: dict[str, tuple[str, str]] = {}
        stubs: tuple[float, ...] = ()
        for name, text in given.items():
            if table == "tally" and name == "rods":
                stubs = _rods(text, values, typed)
            elif table == "tally" and name == "rod_type":
                values["rod_type_id"] = log.find("rod_type", text)["id"]
            else:
                _read(log, table, name, text, values, typed, water)
        for source, sourced in SOURCED.get(table, {}).items():
            needs = [name for name in sourced if values.get(FIELDS[table][name].column) is not None]
            if needs and not values.get(FIELDS[table][source].column):
                raise InputError(f"{' and '.join(needs)} must say where it comes from: give {source}='house rule'.")
        check_whole(table, values)
        if table == "job":
            values["made_up"] = int(log.made_up)
        if table == "tally":
            values.setdefault("rods_basis", "not recorded")
        names = {
            "job": str(job["code"]) if job is not None else "",
            "whose": f"{values.get('dive_id') or values.get('day')} {fields.get('rod_type', '')}",
        }
        key = _identity(log, table, values, names)
        log.insert(table, values, typed=typed, id=key)
        if stubs:
            log.insert_many(
                "rod_part",
                [
                    (identity("rod_part", key, place), {"tally_id": key, "seq": place, "stub_mm": stub}, {})
                    for place, stub in enumerate(stubs, 1)
                ],
            )
    code = values.get("code") or values.get("dive_no") or ""
    return f"{table.replace('_', ' ')} {code} added".replace("  ", " ")


def _read(
    log: Log,
    table: str,
    name: str,
    text: str,
    values: dict[str, Any],
    typed: dict[str, tuple[str, str]],
    water: str | None,
) -> None:
    rule = FIELDS[table].get(name)
    if rule is None:
        raise InputError(f"a {table.replace('_', ' ')} has no field '{name}'; it has {', '.join(FIELDS[table])}.")
    try:
        found = read_field(rule, text, water=water, name=name)
    except ReadError as error:
        raise InputError(f"{name}: {error}") from error
    if found.value is None:
        return
    if name in _POINTERS and rule.column.endswith("_id"):
        values[rule.column] = _pointed(log, table, name, str(found.value))
        return
    values[rule.column] = found.value
    if found.typed:
        typed[rule.column] = (found.typed, found.basis)


def _pointed(log: Log, table: str, name: str, code: str) -> str:
    """The id of a master. A sheet makes those it names; a single word at the prompt may be a slip of the pen."""
    master = _POINTERS[name]
    try:
        return str(log.find(master, code)["id"])
    except InputError as error:
        word = master.replace("_", "-")
        raise InputError(f"{name}: {error} If it is new: burnlog add {word} {master}={code}") from error


def _rods(text: str, values: dict[str, Any], typed: dict[str, tuple[str, str]]) -> tuple[float, ...]:
    from burnlog import units

    try:
        found = units.read(text, "rods")
    except ReadError as error:
        raise InputError(f"rods: {error}") from error
    values["rods"], values["rods_basis"] = found.value, found.basis
    typed["rods"] = (found.typed, found.basis)
    return found.stubs_mm


def _tally_place(log: Log, given: dict[str, str], job: Mapping[str, Any] | None) -> dict[str, Any]:
    """Where a count was made: a dive, or a day of a job."""
    if "dive" in given:
        dive = log.find("dive", given.pop("dive"), job=str(job["code"]) if job else None)
        return {"job_id": dive["job_id"], "dive_id": dive["id"], "day": dive["dive_date"], "scope": "dive"}
    if "day" in given and job is not None:
        return {"job_id": job["id"], "day": given.pop("day"), "scope": "day"}
    raise InputError("a tally names its dive (dive='PIER7 14'), or its job and day (job=PIER7 day=2026-05-12).")


def _identity(log: Log, table: str, values: Mapping[str, Any], names: Mapping[str, str]) -> str:
    """The same id that a sheet naming the same thing would make."""
    if table in MASTERS:
        if not values.get("code"):
            raise InputError(f"a {table.replace('_', ' ')} needs its code: {table}=CODE.")
        return log.fresh_identity(table, values["code"])
    if table == "line":
        return log.fresh_identity("line", names["job"], values.get("code"))
    if table == "dive":
        return log.fresh_identity("dive", names["job"], values.get("dive_no"))
    place = () if values["scope"] == "dive" else (values["job_id"],)
    return log.fresh_identity("tally", values["scope"], *place, names["whose"])
