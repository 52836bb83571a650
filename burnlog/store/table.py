"""What a column and a table of the log are: enough to make their SQL, and to hold a foreign value against it."""

from __future__ import annotations

import datetime as dt
import json
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from burnlog.vocabulary import LISTS

__all__ = ["HEAD", "TAIL", "Field", "Table"]


@dataclass(frozen=True)
class Field:
    """One column.

    Attributes
    ----------
    name, kind : str
        Column name and SQLite type (TEXT, REAL, INTEGER).
    needed : bool
        NULL is refused.
    parent : str
        Table it points at.
    low, high : float, optional
        Hard range of a number.
    longest : int
        Characters of a text; 0 is unbounded.
    words : str
        Word list of `burnlog.vocabulary`; `many` allows several parted by ``; ``.
    among : tuple of str
        A closed set that is no vocabulary, such as the states of an estimate.
    shape : str
        ``date``, ``time`` (local, to the second, without zone), ``json`` or ``flag``.
    default : str
        SQL literal.
    """

    name: str
    kind: str
    needed: bool = False
    parent: str = ""
    low: float | None = None
    high: float | None = None
    longest: int = 0
    words: str = ""
    many: bool = False
    among: tuple[str, ...] = ()
    shape: str = ""
    default: str = ""

    def sentence(self) -> str:
        """What the column holds, as messages and constraint names say it."""
        if self.low is not None:
            return f"{self.name} lies between {self.low:g} and {self.high:g}"
        if self.words:
            return f"{self.name} holds words of the list {self.words}"
        if self.among:
            return f"{self.name} is {', '.join(self.among[:-1])} or {self.among[-1]}"
        shapes = {
            "date": "is a day as 2026-05-12",
            "time": "is a time as 2026-05-12T09:42:00",
            "json": "holds JSON",
            "flag": "is 0 or 1",
        }
        if self.shape:
            return f"{self.name} {shapes[self.shape]}"
        return f"{self.name} holds {'1 to' if self.needed else 'at most'} {self.longest} characters"

    def problem(self, value: object) -> str:
        """Why a value cannot stand in this column; empty when it can."""
        if value is None:
            return f"{self.name} is needed" if self.needed and not self.default else ""
        if _KINDS[self.kind](value) and self._within(value):
            return ""
        shown = str(value)[:40]
        return f"{self.sentence()}, not '{shown}'"

    def _within(self, value: Any) -> bool:
        if self.low is not None and self.high is not None:
            return bool(self.low <= value <= self.high)
        if self.words:
            found = LISTS[self.words]
            spoken = value.split("; ") if self.many else [value]
            whole = len(set(spoken)) == len(spoken)
            return whole and all(word in found or (found.open and _is_other(word)) for word in spoken)
        if self.among:
            return value in self.among
        if self.shape:
            return _SHAPES[self.shape](value)
        if self.kind != "TEXT" or self.parent:
            return True
        return (len(value.strip()) > 0 or not self.needed) and (not self.longest or len(value) <= self.longest)


def _is_text(value: object) -> bool:
    if not isinstance(value, str) or "\x00" in value:
        return False
    try:
        value.encode()
    except UnicodeEncodeError:  # half a character: no file can hold it
        return False
    return True


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _is_whole(value: object) -> bool:
    return isinstance(value, int) or (isinstance(value, float) and value.is_integer())


def _is_other(word: str) -> bool:
    return word.startswith("other: ") and len(word) > len("other: ")


def _is_date(value: Any) -> bool:
    try:
        return bool(dt.date.fromisoformat(value).isoformat() == value)
    except ValueError:
        return False


def _is_time(value: Any) -> bool:
    try:
        return bool(dt.datetime.fromisoformat(value).isoformat(timespec="seconds") == value and len(value) == 19)
    except ValueError:
        return False


def _is_json(value: Any) -> bool:
    try:
        json.loads(value, parse_constant=_no_constant)
    except ValueError:
        return False
    return True


def _no_constant(text: str) -> None:
    raise ValueError(f"{text} is not JSON")


_KINDS: Mapping[str, Callable[[object], bool]] = {"TEXT": _is_text, "REAL": _is_number, "INTEGER": _is_whole}
_SHAPES: Mapping[str, Callable[[Any], bool]] = {
    "date": _is_date,
    "time": _is_time,
    "json": _is_json,
    "flag": lambda value: value in (0, 1),
}


@dataclass(frozen=True)
class Table:
    """One table: what a row is, its columns, its natural keys and the rules that span columns.

    Attributes
    ----------
    keys : tuple of tuple of str
        Columns that name one live row.
    rules : tuple of (str, str)
        A sentence and the SQL condition that holds it.
    secret : tuple of str
        Columns whose change the trail records without the values: personal names, and payloads too big to keep twice.
    """

    name: str
    about: str
    fields: tuple[Field, ...]
    keys: tuple[tuple[str, ...], ...] = ()
    rules: tuple[tuple[str, str], ...] = ()
    secret: tuple[str, ...] = ()

    @property
    def spoken(self) -> str:
        """The table's name as messages say it."""
        return self.name.replace("_", " ")

    def columns(self) -> tuple[str, ...]:
        """Every column, in the order of the file."""
        return tuple(field.name for field in (*HEAD, *self.fields, *TAIL))

    def field(self, name: str) -> Field:
        """The column of this name; raises `KeyError`."""
        for field in (*HEAD, *self.fields, *TAIL):
            if field.name == name:
                return field
        raise KeyError(name)

    def problems(self, values: Mapping[str, Any]) -> list[str]:
        """Everything that keeps these values from standing in one row, column by column.

        The rules that span columns are the file's to hold; this is what can be said of each value alone.
        """
        known = {field.name for field in (*HEAD, *self.fields, *TAIL)}
        found = [f"there is no column {name}" for name in values if name not in known]
        found.extend(problem for field in self.fields if (problem := field.problem(values.get(field.name))))
        return found


HEAD = (Field("no", "INTEGER"), Field("id", "TEXT", needed=True, longest=64))
TAIL = (
    Field("as_typed", "TEXT", needed=True, shape="json", default="'{}'"),
    Field("created_at", "TEXT", needed=True, longest=40),
    Field("created_by", "TEXT", needed=True, longest=120),
    Field("voided_at", "TEXT", longest=40),
)
