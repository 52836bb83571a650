"""The take-off: what is to be cut, item by item, as somebody typed it from drawings.

Lengths come from sections where the section is known, never from a surface perimeter; what was left blank stays
blank and widens the range later. Every bad cell of the file is reported at once and nothing is estimated from a
part of it.
"""

from __future__ import annotations

import difflib
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Any

import pandas as pd

from burnlog import units, vocabulary
from burnlog.errors import CellProblem, InputError, RowErrors
from burnlog.notation import nothing
from burnlog.physics.sections import CutLine, Section, parse_section

__all__ = ["COLUMNS", "CONDITIONS", "Item", "TakeOff", "read_takeoff"]

COLUMNS: Mapping[str, str] = {
    "item": "a name for the item, unique in the file",
    "quantity": "how many of them, a whole number; blank is 1",
    "section": "plate, pipe, h section ..., or a designation such as HP14x117",
    "dims": "dimensions, such as d=14.21in b=14.885in tw=.805in tf=.805in, or od=24in wall=.375in",
    "thickness": "thickness of the steel; needed for plate, else from the section",
    "length_each": "length of one cut line, where it is not computed from the section",
    "position": "how the cut runs; blank is averaged over the history",
    "depth": "depth of the work",
    "visibility": "expected visibility; blank is averaged over the history",
    "current": "expected current; blank is averaged over the history",
    "fouling": "growth or coating; blank is averaged over the history",
    "backing": "what stands behind the steel; blank is averaged over the history",
    "rod_type": "rod type code from the log",
    "family": "exothermic or tubular, where no rod type is named",
    "setting": "open water where blank",
    "diver": "codes of divers who will do it, parted by ;",
    "crew": "label of the crew that will do it",
    "note": "free text",
}
"""The columns of a take-off file, in the order of a blank one, with what goes in each."""

CONDITIONS = ("position", "visibility", "current", "fouling", "backing")
FIELD_KINDS = {"thickness": "thickness", "length_each": "length", "depth": "depth"}
WORD_LISTS = {
    "position": "position",
    "visibility": "visibility",
    "current": "current",
    "fouling": "fouling",
    "backing": "backing",
    "family": "family",
    "setting": "setting",
}
MOST_LINES = 20_000


@dataclass(frozen=True)
class Item:
    """One line of the take-off, understood.

    `length_m` is the cut line of one piece; `segments` its parts as (length in m, thickness in mm). A condition
    that was left blank is None.
    """

    item: str
    row: int
    quantity: int
    section: str
    segments: tuple[tuple[float, float], ...]
    thickness_mm: float
    length_m: float
    length_from: str
    cut_line: CutLine | None = None
    conditions: Mapping[str, str | None] = field(default_factory=dict)
    depth_msw: float | None = None
    rod_type: str | None = None
    family: str | None = None
    setting: str = "open water"
    divers: tuple[str, ...] = ()
    crew: str | None = None
    note: str = ""
    typed: Mapping[str, str] = field(default_factory=dict)

    @property
    def interlocks(self) -> int:
        """Interlocks crossed: those of the section, and one between every two sheets of a wall taken one by one."""
        if self.cut_line is None:
            return 0
        own = self.quantity * self.cut_line.interlocks
        return own + self.quantity - 1 if self.cut_line.kind.endswith("sheet") else own

    @property
    def total_m(self) -> float:
        """Cut line of all pieces of the item [m]."""
        return self.quantity * self.length_m


@dataclass(frozen=True)
class TakeOff:
    """A take-off file, read whole, with what it was read by: so that it can be read the same way again.

    `water` turned feet of depth into pressure, `header_units` are the units of bare numbers by column, and
    `own_sections` the user's section list as it stood.
    """

    source: str
    items: tuple[Item, ...]
    water: str | None = None
    header_units: Mapping[str, str] = field(default_factory=dict)
    own_sections: tuple[Section, ...] = ()

    @property
    def length_m(self) -> float:
        """Cut line of everything [m]."""
        return math.fsum(item.total_m for item in self.items)

    def lines(self) -> pd.DataFrame:
        """One row for each piece of work, with the columns that a rate fit simulates from.

        Returns
        -------
        DataFrame (pieces, ...)
            item, length_m, thickness_mm, position, visibility, current, fouling, backing, rod_type, family.
        """
        rows: list[dict[str, Any]] = []
        for item in self.items:
            row = {
                "item": item.item,
                "length_m": item.length_m,
                "thickness_mm": item.thickness_mm,
                "rod_type": item.rod_type,
                "family": item.family,
                **{name: item.conditions.get(name) for name in CONDITIONS},
            }
            rows.extend([row] * item.quantity)
        frame = pd.DataFrame(rows)
        for name in ("item", "rod_type", "family", *CONDITIONS):
            frame[name] = frame[name].astype("str").where(frame[name].notna(), None).astype("str")
        return frame


def read_takeoff(
    rows: Iterable[tuple[int, Mapping[str, str]]],
    *,
    source: str,
    own_sections: Sequence[Section] = (),
    rod_types: Mapping[str, str | None] | None = None,
    water: str | None = None,
    address: Callable[[int, str], str] | None = None,
) -> TakeOff:
    """Read the rows of a take-off file.

    Parameters
    ----------
    rows : iterable of (row number as a spreadsheet shows it, column -> text)
        Headers may carry a unit in square brackets, ``thickness [mm]``; bare numbers are then read in it.
    source : str
        Name of the file, for messages.
    own_sections : sequence
        The user's own section list, as `burnlog.physics.sections` takes it.
    rod_types : mapping, optional
        Code -> family of the rod types in the log; a code that is not among them is a problem.
    water : str, optional
        Water kind of the prospect: turns feet of depth into pressure.
    address : callable, optional
        (row, column) -> cell address, for spreadsheets.

    Returns
    -------
    TakeOff

    Raises
    ------
    RowErrors
        Every bad cell, with what would settle it.
    """
    items: list[Item] = []
    problems: list[CellProblem] = []
    seen: dict[str, int] = {}
    headers: dict[str, tuple[str, str | None]] = {}

    def note(row: int, column: str, message: str, text: str = "") -> None:
        cell = address(row, column) if address and column else ""
        problems.append(CellProblem(row, column, message, text, cell))

    for number, cells in rows:
        if not headers:
            headers = _headers(cells, note)
            if problems:
                break
        if not any(str(text).strip() for text in cells.values()):
            continue
        row = {headers[name][0]: str(text).strip() for name, text in cells.items() if name in headers}
        unit = {column: unit for column, unit in headers.values() if unit}
        before = len(problems)
        item = _item(number, row, unit, own_sections, rod_types, water, note)
        if item is None or len(problems) > before:
            continue
        if item.item in seen:
            note(
                number,
                "item",
                f"'{item.item}' stands in row {seen[item.item]} too; give each item its own name",
            )
        seen.setdefault(item.item, number)
        items.append(item)
    if not headers and not problems:
        note(1, "", "no items; the columns are " + ", ".join(COLUMNS))
    elif not items and not problems:
        note(2, "", "no items below the header")
    if sum(item.quantity for item in items) > MOST_LINES:
        note(
            1,
            "quantity",
            f"more than {MOST_LINES} pieces in all; split the bid or join pieces into longer lines",
        )
    if problems:
        raise RowErrors(source, problems)
    header_units = {column: unit for column, unit in headers.values() if unit}
    return TakeOff(source, tuple(items), water, header_units, tuple(own_sections))


def _headers(cells: Mapping[str, str], note: Callable[..., None]) -> dict[str, tuple[str, str | None]]:
    """Which column each header means, and the unit in its square brackets."""
    out: dict[str, tuple[str, str | None]] = {}
    for header in cells:
        name, _, rest = header.strip().partition("[")
        column = name.strip().lower()
        unit = rest.rstrip("] ").strip() or None
        if "perimeter" in column:
            note(
                1,
                column,
                "a surface perimeter is what is cleaned, not what is burned: for an H-pile it is about twice the "
                "cut line. Give section and dims, or the cut line itself as length_each",
            )
        elif column not in COLUMNS:
            near = ", ".join(difflib.get_close_matches(column, COLUMNS, n=3, cutoff=0.0))
            note(1, column, f"no column of a take-off has this name; the nearest are {near}", header)
        elif column in {known for known, _ in out.values()}:
            note(1, column, "stands twice in the header", header)
        elif unit and column not in FIELD_KINDS:
            note(1, column, f"takes no unit, but the header says [{unit}]", header)
        else:
            out[header] = (column, unit)
    if "item" not in {known for known, _ in out.values()}:
        note(1, "item", "this column is needed")
    return out


def _item(
    number: int,
    row: Mapping[str, str],
    unit: Mapping[str, str],
    own_sections: Sequence[Section],
    rod_types: Mapping[str, str | None] | None,
    water: str | None,
    note: Callable[..., None],
) -> Item | None:
    """One row understood, or None with its problems noted."""

    def cell(column: str) -> str:
        return row.get(column, "")

    unread: set[str] = set()

    def attempt(column: str, action: Callable[[], Any]) -> Any:
        try:
            return action()
        except InputError as error:
            note(number, column, str(error), cell(column))
            unread.add(column)
            return None

    name = cell("item")
    if nothing(name):
        note(number, "item", "a name is needed, so that pages can point at it")
    quantity = 1
    if cell("quantity"):
        reading = attempt("quantity", lambda: units.read(cell("quantity"), "whole"))
        quantity = int(reading.value) if reading is not None and reading.value is not None else 1
        if reading is not None and quantity < 1:
            note(number, "quantity", "at least 1 is needed", cell("quantity"))
    values: dict[str, float | None] = {}
    for column, kind in FIELD_KINDS.items():
        reading = attempt(column, partial(units.read, cell(column), kind, water=water, unit=unit.get(column)))
        values[column] = None if reading is None else reading.value
    words = {
        column: attempt(column, partial(vocabulary.match, cell(column), kind)) for column, kind in WORD_LISTS.items()
    }
    rod_type = cell("rod_type") or None
    if rod_type and rod_types is not None and rod_type not in rod_types:
        known = ", ".join(sorted(rod_types)) or "none yet"
        note(number, "rod_type", f"'{rod_type}' is not in the log; rod types there: {known}", rod_type)
    family = words["family"] or (rod_types or {}).get(rod_type or "")

    cut_line: CutLine | None = None
    section, dims = cell("section"), cell("dims")
    if section:
        column = "dims" if dims else "section"
        if not (section.lower() == "plate" and not dims):
            cut_line = attempt(column, lambda: parse_section(section, dims, own_sections))
            if cut_line is None:
                return None
    elif dims:
        note(number, "section", "dims without a section: say plate, pipe, h section ...")
        return None
    if unread & {"thickness", "length_each"}:
        return None  # what is wrong with it is noted; that it is missing would be said of the same cell
    segments = _segments(number, values, cut_line, note)
    if segments is None:
        return None
    length = math.fsum(part for part, _ in segments)
    return Item(
        item=name,
        row=number,
        quantity=quantity,
        section=section or "plate",
        segments=segments,
        thickness_mm=math.fsum(part * t for part, t in segments) / length,
        length_m=length,
        length_from="typed" if values["length_each"] is not None else "computed from the section",
        cut_line=cut_line,
        conditions={name: words[name] for name in CONDITIONS},
        depth_msw=values["depth"],
        rod_type=rod_type,
        family=family,
        setting=words["setting"] or "open water",
        divers=tuple(code.strip() for code in cell("diver").split(";") if code.strip()),
        crew=cell("crew") or None,
        note=cell("note"),
        typed={column: text for column, text in row.items() if text},
    )


def _segments(
    number: int, values: Mapping[str, float | None], cut_line: CutLine | None, note: Callable[..., None]
) -> tuple[tuple[float, float], ...] | None:
    """The parts of one cut line as (m, mm): the section's, or the typed length at the typed thickness."""
    length_mm, thickness = values["length_each"], values["thickness"]
    parts = () if cut_line is None else tuple((float(a), float(b)) for a, b in cut_line.segments)
    if length_mm is None and not parts:
        note(number, "length_each", "a length is needed: type length_each, or a section with its dims")
        return None
    if thickness is None and not parts:
        note(number, "thickness", "a thickness is needed, such as 5/8 in or 16 mm")
        return None
    if length_mm is not None and length_mm <= 0:
        note(number, "length_each", "a length above 0 is needed")
        return None
    computed = math.fsum(part for part, _ in parts)
    scale = 1.0 if length_mm is None or not parts else length_mm / computed
    if thickness is not None:  # gauged steel is not always what the table says
        return (((length_mm if length_mm is not None else computed) / 1000, thickness),)
    return tuple((part * scale / 1000, t) for part, t in parts)
