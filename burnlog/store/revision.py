"""New values for a row that stands in the log, from typed text: what each field means, and where it really stands."""

from __future__ import annotations

import datetime as dt
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from burnlog import units, vocabulary
from burnlog.errors import InputError, ReadError
from burnlog.notation import nothing
from burnlog.store import lookup
from burnlog.store.fields import FIELDS, FieldRule, check_whole, read_field
from burnlog.store.sheetdive import LONGEST_NIGHT_S
from burnlog.store.table import Field
from burnlog.store.tables import NUMBERED

if TYPE_CHECKING:
    from burnlog.store.log import Log

__all__ = ["Revision", "revise"]

Row = dict[str, Any]
_MENDABLE = frozenset(("person", "rig", "bank", "rod_type"))
"""What a row points at that may be put right; the job and the dive of a count stay."""
_DATED = re.compile(r"([0-9]{4}-[0-9]{2}-[0-9]{2})[T ]+(.+)")
_BASIS_COLUMN = {("line", "thickness_mm"): "thickness_basis", ("line", "planned_length_mm"): "length_basis"}


@dataclass(frozen=True)
class Revision:
    """One value before and after, and as typed."""

    field: str
    old: Any
    new: Any
    old_typed: str
    new_typed: str


def revise(log: Log, table: str, row: Row, texts: Mapping[str, str]) -> tuple[str, Row, list[Revision]]:
    """Give a row new values, read from text. Inside a signed transaction.

    Returns
    -------
    tuple
        Table and row that were changed (the tally, for a rod count typed at its cut), and each change.

    Raises
    ------
    InputError
        An unknown field, one that stands in another table, a text that cannot be read, or no change.
    """
    if table == "cut" and any(name in FIELDS["tally"] for name in texts):
        return _revise_count(log, row, texts)
    values: dict[str, Any] = {}
    typed: dict[str, tuple[str, str]] = {}
    stubs: tuple[float, ...] | None = None
    for name, text in texts.items():
        column, rule = _rule(table, name)
        try:
            if rule.kind == "rods":
                stubs = _read_rods(text, values, typed)
            elif rule.kind == "clock":
                values[column], typed[column] = _read_clock(log, row, column, text)
            else:
                _read(log, table, row, column, rule, name, text, values, typed)
        except ReadError as error:
            raise ReadError(f"{name}: {error}. Nothing was changed.", text=error.text, kind=error.kind) from error
    _order_clocks(table, row, values)
    check_whole(table, {**row, **values})
    of_stubs = [] if stubs is None else _write_stubs(log, row["id"], stubs)  # first: 0 rods need a part to cut with
    changes = [*_write(log, table, row, values, typed), *of_stubs]
    if table == "cut" and "rod_type_id" in values:
        for tally in _own_count(log, row):
            if tally["rod_type_id"] == row["rod_type_id"]:  # the count was of the rods that the cut was said to burn
                _write(log, "tally", tally, {"rod_type_id": values["rod_type_id"]}, {})
    if not changes:
        told = ", ".join(texts)
        raise InputError(f"{told}: that is what the log holds already. Nothing was changed.")
    return table, row, changes


def _rule(table: str, name: str) -> tuple[str, FieldRule]:
    """The column a field goes to, and how its text is read."""
    rules = FIELDS.get(table, {})
    by_column = {rule.column: rule for rule in rules.values()}
    rule = rules.get(name) or by_column.get(name)
    if rule is not None:
        if rule.column in ("code", "dive_no", "row") or (table == "cut" and rule.column == "dive_id"):
            raise InputError(
                f"{name} is what this {NUMBERED[table].spoken} is known by and stays; void it and enter it anew."
            )
        return rule.column, rule
    found = next((field for field in NUMBERED[table].fields if field.name == name), None)
    if found is not None and (made := _plain_rule(found)) is not None:
        return found.name, made
    pointer = next((field for field in NUMBERED[table].fields if field.name == f"{name}_id"), None)
    if pointer is not None and pointer.parent in _MENDABLE:
        return pointer.name, FieldRule(pointer.name, "code")
    for other, others in FIELDS.items():
        if name in others and other in ("dive", "line", "tally", "cut", "rod_type", "job"):
            raise InputError(f"{name} belongs to the {NUMBERED[other].spoken}; write: burnlog fix {other} ...")
    names = [*rules, *(field.name for field in NUMBERED[table].fields)]
    raise InputError(f"{NUMBERED[table].spoken} has no field '{name}'; {lookup.nearest(name, names)}.")


def _plain_rule(field: Field) -> FieldRule | None:
    """A rule for a column that no sheet carries."""
    if field.parent or field.among:
        return None
    if field.words:
        return FieldRule(field.name, f"word:{field.words}")
    if field.shape in ("date", "flag"):
        return FieldRule(field.name, field.shape)
    if field.kind == "TEXT" and not field.shape:
        return FieldRule(field.name, "text", field.longest)
    if field.kind == "INTEGER":
        return FieldRule(field.name, "count")
    endings = {
        "_m": "elevation",
        "_mm": "length",
        "_kpa": "pressure",
        "_deg": "angle",
        "_s": "duration",
        "_pct": "percent",
    }
    kind = next((kind for ending, kind in endings.items() if field.name.endswith(ending)), "number")
    return FieldRule(field.name, kind)


def _read(
    log: Log,
    table: str,
    row: Row,
    column: str,
    rule: FieldRule,
    name: str,
    text: str,
    values: dict[str, Any],
    typed: dict[str, tuple[str, str]],
) -> None:
    field = NUMBERED[table].field(column)
    if field.parent:
        values[column] = _parent(log, table, row, field, text)
        return
    if field.many:
        words = vocabulary.match_many(text, field.words)
        values[column] = "; ".join(word for word, _ in words) or None
        return
    if column == "new_length_mm" and (share := units.whole_or_part(text)) is not None:
        planned = log.rows("SELECT planned_length_mm FROM line WHERE id = ?", (row["line_id"],))[0][
            "planned_length_mm"
        ]
        if planned is None:
            raise InputError(f"'{text}' of what? The line has no planned length; write the length cut.")
        values[column], typed[column] = share * planned, (text, "estimated" if share < 1 else "computed")
        return
    found = read_field(rule, text, water=_water(log, table, row), name=name)
    values[column] = found.value
    if found.basis:
        typed[column] = (found.typed, found.basis)
        basis = _BASIS_COLUMN.get((table, column))
        if basis and basis not in values:
            values[basis] = found.basis


def _parent(log: Log, table: str, row: Row, field: Field, text: str) -> str | None:
    if nothing(text):
        return None
    job = _job(log, table, row)["code"] if field.parent in ("line", "dive") else None
    return str(log.find(field.parent, text, job=job)["id"])


def _job(log: Log, table: str, row: Row) -> Row:
    if table == "job":
        return row
    if "job_id" in row:
        return log.rows("SELECT * FROM job WHERE id = ?", (row["job_id"],))[0]
    sql = "SELECT j.* FROM job j JOIN dive d ON d.job_id = j.id WHERE d.id = ?"
    return log.rows(sql, (row["dive_id"],))[0]


def _water(log: Log, table: str, row: Row) -> str | None:
    if table != "dive":
        return None
    water: str | None = row["water"] or _job(log, table, row)["water"]
    return water


def _read_rods(text: str, values: dict[str, Any], typed: dict[str, tuple[str, str]]) -> tuple[float, ...]:
    reading = units.read(text, "rods")
    values["rods"], values["rods_basis"] = reading.value, reading.basis
    typed["rods"] = (reading.typed, reading.basis)
    return reading.stubs_mm


def _read_clock(log: Log, row: Row, column: str, text: str) -> tuple[str | None, tuple[str, str]]:
    """A clock time on the day typed before it, else on the day it is nearest to: the old value's, else the dive's."""
    dated = _DATED.fullmatch(text.strip())
    reading = units.read(dated[2] if dated else text, "clock")
    if reading.value is None:
        return None, (reading.typed, reading.basis)
    dive_id = row.get("dive_id")
    if dive_id is None:
        raise InputError(f"{column}: a clock time needs a dive to tell the day.")
    day = log.rows("SELECT dive_date FROM dive WHERE id = ?", (dive_id,))[0]["dive_date"]
    if dated and dated[1] not in (day, f"{dt.date.fromisoformat(day) + dt.timedelta(days=1)}"):
        raise InputError(f"{column}: the dive was on {day}; a clock time of it is of that day or the next.")
    moment = dt.datetime.fromisoformat(dated[1] if dated else day) + dt.timedelta(seconds=reading.value)
    if row[column] and not dated:
        old = dt.datetime.fromisoformat(row[column])
        moment = min((moment, moment + dt.timedelta(days=1)), key=lambda found: abs(found - old))
    return moment.isoformat(timespec="seconds"), (reading.typed, reading.basis)


def _order_clocks(table: str, row: Row, values: dict[str, Any]) -> None:
    """A stop that comes before its start is past midnight when that leaves under 4 hours."""
    if table != "cut" or not {"start_at", "stop_at"} & set(values):
        return
    start, stop = (values.get(name, row[name]) for name in ("start_at", "stop_at"))
    if start is None or stop is None or stop > start:
        return
    begun, ended = dt.datetime.fromisoformat(start), dt.datetime.fromisoformat(stop)
    later = ended + dt.timedelta(days=1)
    if stop == start or (later - begun).total_seconds() >= LONGEST_NIGHT_S:
        raise InputError(
            f"the stop ({ended:%H:%M}) does not come after the start ({begun:%H:%M}), and past midnight it would be "
            "4 hours or more. Nothing was changed."
        )
    values["stop_at"] = later.isoformat(timespec="seconds")


def _write(
    log: Log, table: str, row: Row, values: Mapping[str, Any], typed: Mapping[str, tuple[str, str]]
) -> list[Revision]:
    found = NUMBERED[table]
    problems = [problem for name, value in values.items() if (problem := found.field(name).problem(value))]
    if problems:
        raise InputError(f"{found.spoken}: {'; '.join(problems)}. Nothing was changed.")
    before = json.loads(row["as_typed"])
    after = {**before, **{name: list(pair) for name, pair in typed.items()}}
    for name in values:
        if name not in typed and name in after:
            del after[name]
    changes = [
        Revision(name, row[name], value, _text(before, name), _text(after, name))
        for name, value in values.items()
        if value != row[name] or _text(before, name) != _text(after, name)
    ]
    if changes:
        new = {change.field: change.new for change in changes}
        if after != before:
            new["as_typed"] = json.dumps(after, ensure_ascii=False)
        sets = ", ".join(f'"{name}" = ?' for name in new)
        log.connection.execute(f"UPDATE {table} SET {sets} WHERE id = ?", (*new.values(), row["id"]))
    return changes


def _text(typed: Mapping[str, Any], name: str) -> str:
    pair = typed.get(name)
    return str(pair[0]) if pair else ""


def _write_stubs(log: Log, tally_id: str, stubs_mm: tuple[float, ...]) -> list[Revision]:
    """The stubs of a count as one change: old ones are voided, new ones added."""
    parts = log.rows(
        "SELECT id, stub_mm FROM rod_part WHERE tally_id = ? AND voided_at IS NULL ORDER BY seq", (tally_id,)
    )
    old = tuple(part["stub_mm"] for part in parts)
    if old == stubs_mm:
        return []
    stamp = log.stamp()
    for part in parts:
        log.connection.execute("UPDATE rod_part SET voided_at = ? WHERE id = ?", (stamp, part["id"]))
    for seq, stub in enumerate(stubs_mm, 1):
        log.insert(
            "rod_part",
            {"tally_id": tally_id, "seq": seq, "stub_mm": stub},
            id=log.fresh_identity("rod_part", tally_id, seq),
        )
    return [Revision("stubs_mm", list(old), list(stubs_mm), "", "")]


def _counts(log: Log, cut: Row) -> list[Row]:
    """Rod counts that cover a cut, counts of the box aside."""
    return log.rows(
        "SELECT t.* FROM tally t JOIN covered v ON v.tally_id = t.id WHERE v.cut_id = ? AND t.scope <> 'box'",
        (cut["id"],),
    )


def _own_count(log: Log, cut: Row) -> list[Row]:
    """The rod count of a cut alone, where it has one."""
    return [tally for tally in _counts(log, cut) if tally["scope"] == "cut"]


def _revise_count(log: Log, cut: Row, texts: Mapping[str, str]) -> tuple[str, Row, list[Revision]]:
    """A rod count typed at a cut goes to the cut's own tally, and nowhere else."""
    mixed = [name for name in texts if name not in FIELDS["tally"]]
    if mixed:
        raise InputError(f"{', '.join(mixed)} and the rod count are two changes; fix them one after the other.")
    found, own = _counts(log, cut), _own_count(log, cut)
    if len(own) == 1:
        return revise(log, "tally", own[0], texts)
    if found:
        wide = ", ".join(f"{tally['no']} (over a {tally['scope']})" for tally in found)
        raise InputError(f"these rods were not counted for this cut alone; write burnlog fix tally N ...: {wide}.")
    raise InputError("this cut has no rod count; add one: burnlog add tally ...")
