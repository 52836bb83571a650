"""Which typed field goes to which column, and how its text is read: one table for import, entry, `add` and `fix`."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from burnlog import units, vocabulary
from burnlog.errors import InputError, ReadError
from burnlog.notation import nothing

__all__ = ["FIELDS", "SOURCED", "FieldRule", "Read", "check_whole", "read_field"]

WHOLE = frozenset(("whole", "count"))
_CODE = re.compile(r"[^\s;,\[\]=+@][^;,\[\]]*")


@dataclass(frozen=True)
class FieldRule:
    """How one typed field is kept.

    `kind` is a kind of `burnlog.units`, ``word:LIST``, ``list:LIST`` (words parted by `;`), ``code``, ``text``,
    ``date`` or ``flag``; `whole` numbers are stored without a fraction; `longest` bounds text.
    """

    column: str
    kind: str
    longest: int = 120

    @property
    def words(self) -> str | None:
        """The word list, where the field takes its words from one."""
        return self.kind[5:] if self.kind.startswith("word:") else None


@dataclass(frozen=True)
class Read:
    """A field as read: the value to store, and the text and basis that go to `as_typed` (empty for plain text)."""

    value: str | float | int | None
    typed: str
    basis: str


def _rules(**rows: str | tuple[str, str] | tuple[str, str, int]) -> dict[str, FieldRule]:
    out = {}
    for name, row in rows.items():
        parts = (row,) if isinstance(row, str) else row
        kind = parts[0]
        column = parts[1] if len(parts) > 1 else name
        out[name] = FieldRule(str(column), str(kind), int(parts[2]) if len(parts) > 2 else 120)
    return out


FIELDS: Mapping[str, Mapping[str, FieldRule]] = {
    "job": _rules(
        job=("code", "code", 20),
        title="text",
        purpose="word:purpose",
        record_class="word:record_class",
        water="word:water",
        place="text",
        time_zone=("text", "time_zone", 64),
        depth_datum="text",
        units_profile="word:units_profile",
        start_date="date",
        end_date="date",
        client_ref=("text", "client_ref", 200),
        note=("text", "note", 2000),
        made_up="flag",
    ),
    "person": _rules(
        person=("code", "code", 12),
        name=("text", "display_name"),
        roles="list:role",
        notice_date="date",
        active="flag",
    ),
    "rod_type": _rules(
        rod_type=("code", "code", 20),
        family="word:family",
        diameter=("diameter", "outer_dia_mm"),
        length=("length", "length_mm"),
        planned_stub=("length", "planned_stub_mm"),
        stub_source=("text", "stub_source", 200),
        pack_count="whole",
    ),
    "rig": _rules(
        rig=("code", "code", 12),
        power_kind="word:power_kind",
        rated_amps=("current", "rated_a"),
        hose_bore=("diameter", "hose_bore_mm"),
        hose_length=("length", "hose_length_m"),
        source=("text", "source", 200),
        cable_size=("text", "cable_size", 40),
        torch=("text", "torch_ref", 60),
        regulator=("text", "regulator_ref", 60),
        static_gauge=("text", "static_gauge_ref", 60),
        flow_gauge=("text", "flow_gauge_ref", 60),
        clamp_meter=("text", "clamp_meter_ref", 60),
        gauge_checked_on="date",
        hose_loss=("pressure", "hose_loss_kpa"),
        hose_loss_source=("text", "hose_loss_source", 200),
    ),
    "bank": _rules(
        bank=("code", "code", 12),
        cylinders="whole",
        contents_each=("mass", "contents_kg_each"),
        label_pressure=("pressure", "label_pressure_kpa"),
        label_temp=("temperature", "label_temp_c"),
        route=("word:contents_route", "contents_route"),
        purity=("percent", "purity_pct"),
        certificate=("text", "certificate_ref", 60),
    ),
    "line": _rules(
        line=("code", "code", 20),
        section=("text", "section", 60),
        section_kind="word:section_kind",
        material="word:material",
        thickness=("thickness", "thickness_mm"),
        thickness_basis="word:basis",
        planned_length=("length", "planned_length_mm"),
        length_basis="word:basis",
        closed_space="word:closed_space",
        interlocks="count",
        roots="count",
        state=("word:line_state", "state_noted"),
        over_length_why=("text", "over_length_why", 300),
        elevation=("elevation", "elevation_m"),
        access="word:access",
        cleaned="word:cleaned",
    ),
    "dive": _rules(
        dive=("whole", "dive_no"),
        dive_date="date",
        sheet=("text", "sheet", 40),
        log_ref="text",
        record_class="word:record_class",
        setting="word:setting",
        water="word:water",
        diver=("code", "diver_id", 12),
        crew=("code", "crew", 12),
        tender=("code", "tender_id", 12),
        supervisor=("code", "supervisor_id", 12),
        rig=("code", "rig_id", 12),
        bank=("code", "bank_id", 12),
        depth=("depth", "depth_msw"),
        visibility="word:visibility",
        current="word:current",
        surge="word:surge",
        water_temp=("temperature", "water_temp_c"),
        bottom_time=("bottom_time", "bottom_time_s"),
        work_time=("bottom_time", "work_time_s"),
        start_up=("duration", "start_up_s"),
        calls_made="count",
        calls_right="count",
        faults="count",
    ),
    "cut": _rules(
        line=("code", "line_id", 20),
        row="whole",
        thickness=("thickness", "thickness_mm"),
        rod_type=("code", "rod_type_id", 20),
        family="word:family",
        start=("clock", "start_at"),
        stop=("clock", "stop_at"),
        elapsed=("elapsed", "elapsed_s"),
        burn_time=("burn_time", "burn_s"),
        hot_time=("burn_time", "hot_s"),
        new_length=("length", "new_length_mm"),
        restarts="count",
        hangers="count",
        hangers_at="word:hangers_at",
        power="word:power",
        set_amps=("current", "set_a"),
        delivered_amps=("current", "delivered_a"),
        regulator_static=("pressure", "static_kpa"),
        regulator_flowing=("pressure", "flowing_kpa"),
        bank_start=("pressure", "bank_start_kpa"),
        bank_end=("pressure", "bank_end_kpa"),
        position="word:position",
        fouling="word:fouling",
        backing="word:backing",
        edge="word:edge",
        outcome="word:outcome",
        technique="list:technique",
        remark=("text", "remark", 500),
        **{"pass": ("word:pass_kind", "pass_kind")},  # a word that Python keeps for itself
    ),
    "tally": _rules(
        rods="rods",
        issued="count",
        returned="count",
        rods_lost=("count", "lost"),
        broken_or_wet="count",
        would_not_light="count",
        lot=("text", "lot", 40),
        count_basis=("text", "count_basis", 60),
    ),
    "reading": _rules(
        rig=("code", "rig_id", 12),
        bank=("code", "bank_id", 12),
        read_at=("clock", "read_at"),
        after_rod="count",
        bank_pressure=("pressure", "bank_kpa"),
        static=("pressure", "static_kpa"),
        flowing=("pressure", "flowing_kpa"),
        temperature=("temperature", "temp_c"),
        gauge=("text", "gauge", 40),
        reason="word:reading_reason",
    ),
}

SOURCED: Mapping[str, Mapping[str, tuple[str, ...]]] = {
    "rod_type": {"stub_source": ("planned_stub", "pack_count")},
    "rig": {"source": ("rated_amps", "hose_bore", "hose_length"), "hose_loss_source": ("hose_loss",)},
}
"""Numbers that people remember: table -> where they come from -> the fields that may stand only with it."""


def check_whole(table: str, values: Mapping[str, Any]) -> None:
    """Rules that span the columns of a row; raises `InputError`."""
    if table == "rod_type":
        stub, length = values.get("planned_stub_mm"), values.get("length_mm")
        if stub is not None and length is not None and stub >= length / 2:
            raise InputError(f"a planned stub of {stub:g} mm is half of the rod ({length:g} mm) or more; correct one")
    if table == "job":
        start, end = values.get("start_date"), values.get("end_date")
        if start is not None and end is not None and end < start:
            raise InputError(f"the job ends ({end}) before it starts ({start})")


def read_field(
    rule: FieldRule, text: str, *, water: str | None = None, unit: str | None = None, name: str = ""
) -> Read:
    """Read one field by its rule.

    Parameters
    ----------
    rule : FieldRule
    text : str
        As typed.
    water, unit : str, optional
        As for `burnlog.units.read`.
    name : str
        Name of the field, for messages.

    Raises
    ------
    ReadError
        The text does not fit the field.
    """
    kind = rule.kind
    if rule.words:
        return Read(vocabulary.match(text, rule.words), "", "")
    if kind.startswith("list:"):
        found_words = vocabulary.match_many(text, kind[5:])
        for word, rest in found_words:
            if rest:
                raise ReadError(
                    f"'{rest}' behind '{word}' has no meaning here; part words by ;", text=text, kind=kind
                )
        return Read("; ".join(dict.fromkeys(word for word, _ in found_words)) or None, "", "")
    core = text.strip()
    if kind in ("code", "text", "date", "flag"):
        if nothing(core):
            return Read(0 if kind == "flag" else None, "", "")
        if kind == "date":
            return Read(_date(core), "", "")
        if kind == "flag":
            return Read(_flag(core, name), "", "")
        if len(core) > rule.longest:
            raise ReadError(
                f"{name} is {len(core)} characters long and holds {rule.longest}; nothing is cut off, shorten it",
                text=core[:40],
                kind=kind,
            )
        if kind == "code" and not _CODE.fullmatch(core):
            raise ReadError(
                f"'{core}' is not a code: letters, digits, dash, space; no ; , [ ] and not beginning with = + @",
                text=core,
                kind=kind,
            )
        return Read(core, "", "")
    found = units.read(text, kind, water=water, unit=unit)
    value: float | int | None = found.value
    if value is not None and kind in WHOLE:
        value = round(value)
    if value is not None and kind == "length" and rule.column.endswith("_m"):
        value = value / 1000.0  # lengths are read in mm; a hose is kept in m
    typed = found.typed
    if typed and unit and found.value is not None and typed.replace(".", "").replace(",", "").isdigit():
        typed = f"{typed} {unit}"  # the header's unit is part of what was written
    return Read(value, typed, found.basis)


def _date(core: str) -> str:
    try:
        return dt.date.fromisoformat(core[:10] if core[10:] in ("", " 00:00:00", "T00:00:00") else core).isoformat()
    except ValueError:
        raise ReadError(f"'{core}' is not a date; write 2026-05-12", text=core, kind="date") from None


def _flag(core: str, name: str) -> int:
    word = core.lower()
    if word in ("yes", "y", "1", "true"):
        return 1
    if word in ("no", "n", "0", "false"):
        return 0
    raise InputError(f"{name}: '{core}' is neither yes nor no")
