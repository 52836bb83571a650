"""The blank burn sheet: one landscape page, laid out in millimetres, for a pencil and wet hands.

Positions are figures here, not left to a browser, so that every box can be held against the margin of the paper.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from burnlog import vocabulary
from burnlog.errors import InputError
from burnlog.reports.cautions import MADE_UP, cautions
from burnlog.reports.page import page

__all__ = ["MARGIN_MM", "MOST_SHEETS", "PAPERS", "ROWS", "Box", "Paper", "layout", "sheet_page", "shortened"]

MARGIN_MM = 10.0
MOST_SHEETS = 50
ROWS = 12
REVISION = "1"
RULE = (
    "Blank = not recorded. Write 0 only if you looked and it was nought. ~ = estimate. 7+ = at least seven. "
    "Rods counted only per dive? Leave the rod column blank and fill the head."
)
_LINE_MM = 0.2
_TITLE_MM, _HEAD_MM, _NAMES_MM, _ROW_MM, _FOOT_MM = 8.0, 8.0, 12.0, 8.0, 28.0
_MM_PER_CHARACTER = 1.8
"""A character of 9 pt in the sheet's letters, on average and rounded up."""


@dataclass(frozen=True)
class Paper:
    """A sheet of paper lying on its long side [mm]."""

    name: str
    width_mm: float
    height_mm: float


PAPERS = {"a4": Paper("A4", 297.0, 210.0), "letter": Paper("Letter", 279.4, 215.9)}
"""ISO 216 A4 and the 11 x 8.5 in of ANSI Letter, landscape."""


@dataclass(frozen=True)
class Box:
    """One box of the sheet, from the top left corner of the paper [mm].

    `ticks` are words with a square before each, to the right where `room` is kept for a figure; `value` is printed
    in; `lines` are sentences.
    """

    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float
    kind: str
    label: str = ""
    ticks: tuple[str, ...] = ()
    value: str = ""
    lines: tuple[str, ...] = ()
    room: bool = False


@dataclass(frozen=True)
class _Cell:
    width: float
    label: str
    ticks: tuple[str, ...] = ()
    value: str = ""


_VISIBILITY = ("by feel", "under 1", "1-3", "3-10", "over 10 ft")
_SPELLED = {
    "us": {"depth": "fsw", "temp": "F", "thickness": "5/8 in", "length": "ft in", "pressure": "psi"},
    "metric": {"depth": "msw", "temp": "C", "thickness": "mm", "length": "mm or m", "pressure": "bar"},
}


def _head(job: str, units: str) -> tuple[tuple[_Cell, ...], ...]:
    unit = _SPELLED[units]
    other = {"fsw": "msw", "msw": "fsw"}[unit["depth"]]
    return (
        (
            _Cell(58, "job", value=job), _Cell(24, "date"), _Cell(14, "dive no."), _Cell(32, "legal log ref"),
            _Cell(20, "diver"), _Cell(20, "tender"), _Cell(22, "supervisor"), _Cell(18, "crew"),
            _Cell(18, "bottom time"), _Cell(16, "work time"), _Cell(16, "start-up"),
        ),
        (
            _Cell(44, "setting", ("open water", "tank", "dry")), _Cell(34, "depth", (unit["depth"], other)),
            _Cell(70, "visibility", _VISIBILITY),
            _Cell(54, "current", ("none", "light", "moderate", "strong")),
            _Cell(34, "surge", ("none", "some", "hard")), _Cell(22, f"water temp, {unit['temp']}"),
        ),
        (
            _Cell(25, "rod type"), _Cell(22, "rod lot"), _Cell(18, "planned stub"), _Cell(16, "rig"),
            _Cell(26, "material"), _Cell(26, "fouling"), _Cell(26, "backing"),
            _Cell(37, "power while burning", ("on", "off", "mixed")), _Cell(16, "set amps"),
            _Cell(23, "clamp-meter A"), _Cell(25, "gauge nos."),
        ),
        (
            _Cell(19, "oxygen bank"), _Cell(15, "cylinders"), _Cell(21, f"bank start, {unit['pressure']}"),
            _Cell(21, f"bank end, {unit['pressure']}"), _Cell(21, f"reg. static, {unit['pressure']}"),
            _Cell(21, f"reg. flow, {unit['pressure']}"), _Cell(14, "purity %"),
            _Cell(27, "RODS, whole dive"), _Cell(16, "issued"), _Cell(21, "back unused"), _Cell(14, "lost"),
            _Cell(23, "broken or wet"), _Cell(25, "would not light"),
        ),
    )  # fmt: skip


def _columns(units: str) -> tuple[_Cell, ...]:
    unit = _SPELLED[units]
    return (
        _Cell(22, "line or piece"), _Cell(24, f"steel: section, thickness ({unit['thickness']})"),
        _Cell(13, "posi-\ntion"), _Cell(16, f"planned length, {unit['length']}"),
        _Cell(16, "new length cut through"), _Cell(13, "pass: first again hanger"), _Cell(15, "start (clock)"),
        _Cell(15, "stop (clock)"), _Cell(14, "burn time (m:ss)"), _Cell(12, "full rods"), _Cell(20, "stubs left"),
        _Cell(11, "re-\nstarts"), _Cell(11, "hang-\ners"), _Cell(13, "through yes part no"),
        _Cell(14, f"lowest oxygen ({unit['pressure']})"), _Cell(29, "what went wrong"),
    )  # fmt: skip


def _foot() -> tuple[tuple[float, tuple[_Cell, ...]], ...]:
    """Rows of the foot: height [mm] and boxes."""
    stoppage = _Cell(25, "stoppage, min")
    events = tuple(word for word in vocabulary.words("event") if word not in _RARE)
    return (
        (9.2, (_Cell(158, "defects (and row)", vocabulary.words("defect")), *(stoppage,) * 4)),
        (9.2, (_Cell(208, "events (write the time)", events), _Cell(50, "still attached"))),
        (
            9.6,
            (
                _Cell(40, "thickness from", ("drawing", "gauged", "guess")),
                _Cell(48, "closed, or could hold gas", ("no", "yes, which", "not known")),
                _Cell(96, "remarks"),
                _Cell(26, "calls made / right"),
                _Cell(22, "counted by"),
                _Cell(26, "typed in by / date"),
            ),
        ),
    )


_RARE = frozenset(("arrestor clogged", "bubbles along cable", "oil or grease near oxygen"))
"""Written by hand under remarks: the page has room for the others."""


def shortened(text: str, width_mm: float) -> str:
    """Text that fits a width on paper; what is cut off is marked, and stays whole in the file.

    Examples
    --------
    >>> shortened("PIER7 fender piles", 20.0), shortened("PIER7", 20.0)
    ('PIER7 f...', 'PIER7')
    """
    room = max(4, int((width_mm - 2.0) / _MM_PER_CHARACTER))
    return text if len(text) <= room else f"{text[: room - 3].rstrip()}..."


def layout(paper: str, units: str, *, number: str, job: str = "", made_up: bool = False) -> tuple[Box, ...]:
    """Every box of one sheet.

    Parameters
    ----------
    paper : str
        Key of `PAPERS`.
    units : str
        ``us`` or ``metric``: the units the heads name.
    number : str
        Sheet number, printed in.
    job : str
        Code and title of the job; shortened where it is long.
    made_up : bool
        The log holds invented work only, and the page says so.

    Returns
    -------
    tuple of Box

    Raises
    ------
    InputError
        An unknown paper or units.
    """
    size = PAPERS.get(paper)
    if size is None:
        raise InputError(f"--paper {paper}: expected a4 or letter.")
    if units not in _SPELLED:
        raise InputError(f"--units {units}: expected us or metric.")
    width = size.width_mm - 2 * MARGIN_MM
    y = MARGIN_MM
    boxes = []
    title = [
        _Cell(70, "", value="BURN SHEET" + (f" - {MADE_UP.split(':')[0]}" if made_up else "")),
        _Cell(46, "sheet no.", value=number),
        _Cell(54, "record", ("production", "training", "trial")),
        _Cell(40, "water", ("salt", "fresh", "brackish")),
        _Cell(18, "revision", value=REVISION),
        _Cell(30, "page            of"),
    ]
    boxes += _across(title, y, _TITLE_MM, "title", width)
    y += _TITLE_MM
    for cells in _head(job, units):
        boxes += _across(cells, y, _HEAD_MM, "head", width)
        y += _HEAD_MM
    columns = _columns(units)
    boxes += _across(columns, y, _NAMES_MM, "names", width)
    y += _NAMES_MM
    for row in range(1, ROWS + 1):
        cells = (_Cell(columns[0].width, str(row)), *(_Cell(column.width, "") for column in columns[1:]))
        boxes += _across(cells, y, _ROW_MM, "row", width)
        y += _ROW_MM
    for height, cells in _foot():
        boxes += _across(cells, y, height, "foot", width)
        y += height
    y += 0.8
    bottom = size.height_mm - MARGIN_MM
    lines = (RULE, *reversed(cautions("sheet")))
    boxes.append(Box(MARGIN_MM, y, width, bottom - y, "words", lines=lines))
    return tuple(boxes)


def _across(cells: Sequence[_Cell], y: float, height: float, kind: str, width: float) -> list[Box]:
    """Boxes side by side over the whole width; each reaches under the line of its neighbours."""
    scale = (width - _LINE_MM) / sum(cell.width for cell in cells)
    boxes, x = [], MARGIN_MM
    for cell in cells:
        value = shortened(cell.value, cell.width * scale) if cell.value else ""
        boxes.append(
            Box(
                round(x, 3),
                round(y, 3),
                round(cell.width * scale + _LINE_MM, 3),
                round(height + _LINE_MM, 3),
                kind,
                cell.label,
                cell.ticks,
                value,
                room=cell.label == "depth",
            )
        )
        x += cell.width * scale
    return boxes


def sheet_page(
    numbers: Sequence[str], *, paper: str = "a4", units: str = "metric", job: str = "", made_up: bool = False
) -> str:
    """Blank sheets as one HTML file, a page each.

    Parameters
    ----------
    numbers : sequence of str
        Sheet numbers, 1 to 50 of them, each once.
    paper, units, job, made_up
        As for `layout`.

    Returns
    -------
    str

    Raises
    ------
    InputError
        No sheet, more than 50, or a number twice.
    """
    if not 1 <= len(numbers) <= MOST_SHEETS:
        raise InputError(f"{len(numbers)} sheets: 1 to {MOST_SHEETS} are printed at a time.")
    if len(set(numbers)) < len(numbers):
        raise InputError("two sheets would bear the same number.")
    sheets = [(number, layout(paper, units, number=number, job=job, made_up=made_up)) for number in numbers]
    size = PAPERS[paper]
    return page("sheet.html", charts={}, sheets=sheets, paper=size, rule_mm=_LINE_MM, job=job)
