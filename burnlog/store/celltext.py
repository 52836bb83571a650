"""Stored values as the text of a cell: what was typed where that still says the value, else text that reads back.

A value may have been changed since it was typed, or never typed at all. So what was typed is read once more before
it is written, and where text of a round unit would lose a last digit, the stored unit is used.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from burnlog import units
from burnlog.errors import InputError, ReadError
from burnlog.store.cells import CellReader, Mention, shown
from burnlog.store.fields import FieldRule
from burnlog.store.log import Row

__all__ = ["CellTexts", "mention_text", "rods_text", "typed_of"]

_MARKS = {"estimated": "~", "at least": ">", "at most": "<"}
_UNITS = {kind: spec.unit for kind, spec in units.KINDS.items()}


def typed_of(row: Row) -> dict[str, tuple[str, str]]:
    """What was typed of a row, by column; an entry that is no pair of texts counts as not there."""
    try:
        found = json.loads(row["as_typed"])
    except ValueError:
        return {}
    if not isinstance(found, dict):
        return {}
    return {
        column: (entry[0], entry[1])
        for column, entry in found.items()
        if isinstance(entry, list) and len(entry) == 2 and all(isinstance(part, str) for part in entry)
    }


class CellTexts:
    """Writes the cells of one table.

    Parameters
    ----------
    rules : mapping
        Cell name -> rule.
    """

    def __init__(self, rules: Mapping[str, FieldRule]) -> None:
        self.rules = rules
        self._readers = {name: CellReader(name, rule) for name, rule in rules.items()}

    def text(
        self,
        name: str,
        value: Any,
        typed: Mapping[str, tuple[str, str]],
        *,
        profile: str | None = None,
        water: str | None = None,
    ) -> str:
        """The cell `name` for a stored value."""
        rule = self.rules[name]
        entry = typed.get(rule.column)
        if entry is not None and self._still_says(name, entry, value, water):
            return entry[0]
        if value is None:
            return "na" if entry is not None and entry[1] == "does not apply" else ""
        if rule.kind == "flag":
            return "yes" if value else "no"
        if rule.kind not in units.KINDS:
            return str(value)
        if rule.kind == "clock":
            return _clock(str(value))
        mark = _MARKS.get(entry[1], "") if entry is not None else ""
        return mark + self._exact(name, value, profile or "metric")

    def _still_says(self, name: str, entry: tuple[str, str], value: Any, water: str | None) -> bool:
        found = self._readers[name].read(entry[0], water)
        if isinstance(found, str) or found.basis != entry[1] or found.share is not None:
            return False
        if self.rules[name].kind == "clock" and value is not None:
            return found.value is not None and _clock(str(value)) == units.show(found.value, "clock")
        return bool(found.value == value)

    def _exact(self, name: str, value: float, profile: str) -> str:
        rule = self.rules[name]
        text = shown(value, rule, profile)
        if self._reads_as(name, text) == value:
            return text
        in_metres = rule.kind == "length" and rule.column.endswith("_m")
        return f"{value!r} {'m' if in_metres else _UNITS[rule.kind]}".strip()

    def _reads_as(self, name: str, text: str) -> Any:
        found = self._readers[name].read(text)
        return None if isinstance(found, str) else found.value


def _clock(moment: str) -> str:
    """The time of day of a local time, as `units.show` writes a clock."""
    return moment[11:16] if moment[17:19] in ("", "00") else moment[11:19]


def rods_text(
    rods: float | None, basis: str, stubs_mm: tuple[float, ...], typed: Mapping[str, tuple[str, str]]
) -> str:
    """A count of rods with its stubs."""
    entry = typed.get("rods")
    if entry is not None:
        try:
            found = units.read(entry[0], "rods")
        except ReadError:
            pass
        else:
            if (found.value, found.basis, found.stubs_mm) == (rods, basis, stubs_mm):
                return entry[0]
    if rods is None:
        return "na" if basis == "does not apply" else ""
    text = units.show(rods, "rods")
    if stubs_mm:
        return f"{text} + {', '.join(f'{stub!r} mm' for stub in stubs_mm)}"
    return _MARKS.get(basis, "") + text


def mention_text(mention: Mention) -> str:
    """One entry of a list cell.

    >>> mention_text(Mention("rod stuck", times=2)), mention_text(Mention("oxygen", seconds=300.0))
    ('rod stuck x2', 'oxygen 5 min')
    """
    if mention.times is not None:
        return f"{mention.word} x{mention.times}"
    for value, kind in ((mention.seconds, "duration"), (mention.clock, "clock")):
        if value is None:
            continue
        try:
            if mention.typed and units.read(mention.typed, kind).value == value:
                return f"{mention.word} {mention.typed}"
        except InputError:
            pass
        text = units.show(value, kind)
        if units.read(text, kind).value != value:
            text = f"{value!r}s"
        return f"{mention.word} {_MARKS.get(mention.basis, '')}{text}"
    return mention.word
