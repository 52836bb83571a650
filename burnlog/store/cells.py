"""One cell of a file, read by the rule of its column: a value for the log, or the reason why not.

A column is read once for each different text in it, for sheets repeat themselves row after row.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cache
from typing import Any, NamedTuple

from burnlog import units, vocabulary
from burnlog.errors import InputError, ReadError
from burnlog.store.fields import FieldRule, read_field
from burnlog.store.tablefile import Header, restored
from burnlog.store.tables import NUMBERED

__all__ = ["BLANK", "Cell", "CellReader", "Mention", "limits", "shown"]


class Mention(NamedTuple):
    """One entry of a list cell: a word, how often, how long and at what time [s], and the last two as typed."""

    word: str
    times: int | None = None
    seconds: float | None = None
    clock: float | None = None
    typed: str = ""
    basis: str = ""


class Cell(NamedTuple):
    """A cell as understood.

    `typed` and `basis` are empty for words and text. `stubs_mm` belongs to a rod count; `share` stands where a
    length was given as a part of the line; `mentions` where the cell is a list.
    """

    value: Any = None
    typed: str = ""
    basis: str = ""
    stubs_mm: tuple[float, ...] = ()
    share: float | None = None
    mentions: tuple[Mention, ...] = ()

    @property
    def blank(self) -> bool:
        """Nothing is said: not even that it does not apply."""
        return self.value is None and self.share is None and self.basis in ("", "not recorded") and not self.mentions


BLANK = Cell()
_MOST_KNOWN = 10_000
_DATE = re.compile(r"\d{4}-\d{2}-\d{2}")


@cache
def limits(table: str) -> Mapping[str, tuple[float, float]]:
    """The hard range of each number of a table."""
    return {
        field.name: (field.low, field.high)
        for field in NUMBERED[table].fields
        if field.low is not None and field.high is not None
    }


def shown(value: float, rule: FieldRule, profile: str = "metric", *, digits: int = 15) -> str:
    """A stored number as text that reads back, whichever length unit its column keeps."""
    in_metres = rule.kind == "length" and rule.column.endswith("_m")
    return units.show(value * 1000.0 if in_metres else value, rule.kind, profile, digits=digits)


class CellReader:
    """Reads the cells of one column.

    Parameters
    ----------
    name : str
        Column name.
    rule : FieldRule
        Besides the kinds of `fields`, ``list:WORDS`` reads entries parted by `;`.
    table : str, optional
        Table whose range the value must keep.
    header : Header, optional
        Carries the unit of bare numbers.
    unit_kinds : tuple of str
        Kinds of `burnlog.units` whose units the header may carry, where the rule's own kind is none of them.
    """

    def __init__(
        self,
        name: str,
        rule: FieldRule,
        *,
        table: str = "",
        header: Header | None = None,
        unit_kinds: tuple[str, ...] = (),
    ) -> None:
        self.name = name
        self.rule = rule
        self.header = header
        self.unit = header.unit if header else None
        measured = rule.kind in units.KINDS
        self.range = limits(table).get(rule.column) if table and measured else None
        self.unit_kinds = unit_kinds or ((rule.kind,) if measured else ())
        self.known: dict[tuple[str, str | None], Cell | str] = {}

    def unit_problem(self) -> str:
        """What is wrong with the unit in the header; empty where nothing is."""
        if self.unit is None:
            return ""
        why = f"{self.name} is not measured, so [{self.unit}] has no place in its header"
        for kind in self.unit_kinds:
            try:
                units.check_unit(self.unit, kind)
            except ReadError as error:
                why = str(error)
            else:
                return ""
        return why

    def read(self, text: str, water: str | None = None) -> Cell | str:
        """The cell, or the reason why it cannot be read."""
        key = (text, water)
        found = self.known.get(key)
        if found is None:
            if len(self.known) >= _MOST_KNOWN:
                self.known.clear()  # a column of codes or remarks never repeats itself
            found = self.known[key] = self._read(text, water)
        return found

    def _read(self, text: str, water: str | None) -> Cell | str:
        text = restored(text)
        try:
            cell = self._cell(text, water)
        except InputError as error:
            hint = ""
            if _DATE.fullmatch(text) and self.rule.kind in units.KINDS:
                hint = "; a spreadsheet turns 5/8 into a date: format the cell as text and type it again"
            return f"{error}{hint}"
        if self.range and cell.value is not None and not self.range[0] <= cell.value <= self.range[1]:
            low, high = (shown(value, self.rule) for value in self.range)
            return f"'{text}' is outside {low} to {high}; check the unit and the decimal mark"
        return cell

    def _cell(self, text: str, water: str | None) -> Cell:
        kind = self.rule.kind
        if kind.startswith("list:"):
            return Cell(mentions=_mentions(text, kind[5:]))
        if kind == "rods":
            reading = units.read(text, kind)
            return Cell(reading.value, reading.typed, reading.basis, reading.stubs_mm)
        if self.name == "new_length" and (share := units.whole_or_part(text)) is not None:
            return Cell(None, text, "estimated" if share < 1 else "computed", share=share)
        found = read_field(self.rule, text, water=water, unit=self.unit, name=self.name)
        if found.value is None and self.rule.words and text.lower() in ("na", "n/a"):
            return Cell(None, "", "")
        return Cell(found.value, found.typed, found.basis)


_TIMES = re.compile(r"[x×]\s*(\d+)|(\d+)\s*[x×]", re.IGNORECASE)


def _mentions(text: str, words: str) -> tuple[Mention, ...]:
    out = []
    for word, rest in vocabulary.match_many(text, words):
        if not rest:
            out.append(Mention(word))
        elif match := _TIMES.fullmatch(rest):
            count = int(match[1] or match[2])
            if not 1 <= count <= 99:
                raise ReadError(f"'{rest}' behind '{word}': a count is 1 to 99", text=text)
            out.append(Mention(word, times=count))
        elif words == "stoppage":
            reading = units.read(rest, "duration")
            if reading.value is not None and not 1 <= reading.value <= 36_000:
                raise ReadError(f"'{rest}' behind '{word}': a stoppage is 1 s to 10 h", text=text)
            out.append(Mention(word, seconds=reading.value, typed=reading.typed, basis=reading.basis))
        elif words == "event":
            reading = units.read(rest, "clock")
            out.append(Mention(word, clock=reading.value, typed=reading.typed, basis=reading.basis))
        else:
            raise ReadError(f"'{rest}' behind '{word}' is not a count; write {word} x2", text=text)
    return tuple(out)
