"""The rows of one dive, put together: its head, its cuts, and everything that cannot be.

Nothing here looks at the log. What a row means may hang on things said elsewhere (the planned length behind `all`,
the water behind `45 ft`); those come in as `Context`.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any, NamedTuple, Protocol

from burnlog.store.cells import Cell, Mention
from burnlog.store.cutsheet import COLUMNS, CutSheet, SheetRow

__all__ = [
    "FLOWING_OVER_STATIC",
    "LONGEST_NIGHT_S",
    "Context",
    "CutPlan",
    "DiveClock",
    "DivePlan",
    "Happening",
    "put_together",
]

DAY_S = 86_400
LONGEST_NIGHT_S = 4 * 3600
"""A clock that runs backwards has passed midnight when that leaves less than this [s]."""

FLOWING_OVER_STATIC = 1.05
"""A flowing reading this many times the static one was misread, for gas does not do that (judgement, no source)."""

_HEAD = tuple(column.name for column in COLUMNS if column.part == "dive")
_PLAIN = tuple(
    (column.name, column.rule.column)
    for column in COLUMNS
    if column.part == "cut"
    and not column.rule.kind.startswith("list:")
    and column.name not in ("pass", "new_length", "start", "stop", "outcome")
)
_HAPPENINGS = {"stoppages": "stoppage", "defects": "defect", "events": "event"}
Typed = dict[str, tuple[str, str]]


class Context(Protocol):
    """What the rows of a dive need to know of things beyond it."""

    made_up: bool

    def water(self, job: str, dive: int) -> str | None: ...
    def record_class(self, job: str, dive: int) -> str | None: ...
    def setting(self, job: str, dive: int) -> str | None: ...
    def last_moment(self, job: str, dive: int, row: int) -> str | None: ...
    def planned_length_mm(self, job: str, line: str) -> float | None: ...
    def rod_length_mm(self, rod_type: str) -> float | None: ...


class Happening(NamedTuple):
    """A stoppage, defect or event of a cut; `at` is a local time."""

    kind: str
    mention: Mention
    at: str | None


@dataclass
class CutPlan:
    """A cut as its row says it, without the ids of what it points at."""

    row: SheetRow
    number: int
    line: str
    rod_type: str | None
    values: dict[str, Any] = field(default_factory=dict)
    typed: Typed = field(default_factory=dict)
    happenings: list[Happening] = field(default_factory=list)


@dataclass
class DivePlan:
    """A dive of the file. `head` holds each cell of the dive that is not blank, and the row that says it."""

    job: str
    dive_no: int
    rows: list[SheetRow]
    head: dict[str, tuple[Cell, SheetRow]] = field(default_factory=dict)
    cuts: list[CutPlan] = field(default_factory=list)
    headless: bool = False
    """Something is wrong with the dive itself, so that none of its rows can go in."""

    def said(self, name: str) -> Any:
        """The value of a cell of the dive; None when blank."""
        return self.head[name][0].value if name in self.head else None


def put_together(sheet: CutSheet, context: Context, job: str, dive: int, rows: list[SheetRow]) -> DivePlan:
    """Make one dive of its rows. What is wrong is added to the rows' problems."""
    plan = DivePlan(job, dive, rows)
    before = sum(len(row.problems) for row in rows)
    _gather_head(sheet, context, plan)
    _check_head(sheet, context, plan)
    found = sum(len(row.problems) for row in rows) > before
    plan.headless = found or any(_unread(sheet, plan, name) for name in _HEAD)
    _check_made_up(sheet, context, rows)
    _make_cuts(sheet, context, plan)
    _check_twice(sheet, plan)
    return plan


def _gather_head(sheet: CutSheet, context: Context, plan: DivePlan) -> None:
    named = next((row.get("water").value for row in plan.rows if row.get("water").value), None)
    water = named or context.water(plan.job, plan.dive_no)
    for row in plan.rows:
        sheet.read_depth(row, water)
    for name in _HEAD:
        for row in plan.rows:
            cell = row.cells.get(name)
            if cell is None or (cell.value is None and cell.basis != "does not apply"):
                continue
            if name not in plan.head:
                plan.head[name] = (cell, row)
                continue
            first, where = plan.head[name]
            if first.value != cell.value:
                here, there = _as_written(sheet, row, name), _as_written(sheet, where, name)
                row.problems.append(
                    sheet.problem(
                        row,
                        name,
                        f"dive {plan.dive_no} has '{there}' in row {where.number} and '{here}' here; "
                        "leave it blank on all rows but one, or correct one of them",
                    )
                )


def _as_written(sheet: CutSheet, row: SheetRow, name: str) -> str:
    return row.raw[sheet.headers[name].place]


def _check_head(sheet: CutSheet, context: Context, plan: DivePlan) -> None:
    first = plan.rows[0]
    known = any(name in row.cells for name in ("dive_date", "diver") for row in plan.rows)
    for name in ("dive_date", "diver"):
        if name not in plan.head and not _unread(sheet, plan, name):
            what = "a date" if name == "dive_date" else "a diver"
            rest = "" if known else "; it needs to stand once per dive"
            first.problems.append(
                sheet.problem(first, name, f"dive {plan.dive_no} of {plan.job} has no {name}: write {what}{rest}")
            )
    setting = plan.said("setting") or context.setting(plan.job, plan.dive_no)
    record_class = plan.said("record_class") or context.record_class(plan.job, plan.dive_no)
    if record_class == "training" and setting is None and not _unread(sheet, plan, "setting"):
        first.problems.append(
            sheet.problem(
                first,
                "setting",
                f"dive {plan.dive_no} of {plan.job} is training and has no setting: write open water, test tank or "
                "dry practice",
            )
        )
    if setting == "dry practice" and plan.said("depth") is not None:
        row = plan.head["depth"][1]
        row.problems.append(
            sheet.problem(row, "depth", "a dry practice has no depth; leave it blank, or correct the setting")
        )


def _unread(sheet: CutSheet, plan: DivePlan, name: str) -> bool:
    header = sheet.headers.get(name)
    return header is not None and any(p.column == header.typed for row in plan.rows for p in row.problems)


def _check_made_up(sheet: CutSheet, context: Context, rows: Iterable[SheetRow]) -> None:
    for row in rows:
        says = row.get("made_up").value == 1
        if says and not context.made_up:
            message = "is made up, and this log holds real work; import it into a log of its own (`init --made-up`)"
        elif context.made_up and not says:
            if "made_up" not in sheet.headers:
                continue  # said once, of the header
            message = "is not marked as made up, and this log holds invented work only; write yes if it is invented"
        else:
            continue
        row.problems.append(sheet.problem(row, "made_up", message))


def _make_cuts(sheet: CutSheet, context: Context, plan: DivePlan) -> None:
    number = 0
    numbers: dict[int, int] = {}
    clock = DiveClock(plan.said("dive_date"))
    for row in plan.rows:
        typed = row.get("row").value
        number = typed if typed is not None else number + 1
        if number in numbers:
            row.problems.append(
                sheet.problem(
                    row,
                    "row",
                    f"row {number} of dive {plan.dive_no} stands in row {numbers[number]} of the file already; "
                    "give each cut its own row number",
                )
            )
        numbers.setdefault(number, row.number)
        row.sheet_row = number
        if clock.last is None and (before := context.last_moment(plan.job, plan.dive_no, number)) is not None:
            clock.begin(before)
        line = row.get("line").value or f"unnamed-{plan.dive_no}.{number}"
        cut = CutPlan(row, number, line, row.get("rod_type").value)
        _fill_cut(sheet, context, plan, cut)
        clock.set_times(sheet, cut)
        for name, kind in _HAPPENINGS.items():
            for mention in row.get(name).mentions:
                cut.happenings.append(Happening(kind, mention, clock.moment(mention.clock)))
        plan.cuts.append(cut)


def _fill_cut(sheet: CutSheet, context: Context, plan: DivePlan, cut: CutPlan) -> None:
    row, values = cut.row, cut.values
    for name, column in _PLAIN:
        cell = row.cells.get(name)
        if cell is not None:
            values[column] = cell.value
            if cell.typed:
                cut.typed[column] = (cell.typed, cell.basis)
    values["row"] = cut.number
    values["pass_kind"] = row.get("pass").value or "first"
    values["outcome"] = row.get("outcome").value or "unknown"
    if mentions := row.get("technique").mentions:
        values["technique"] = "; ".join(dict.fromkeys(mention.word for mention in mentions))
    _set_length(sheet, context, plan, cut)
    static, flowing = values.get("static_kpa"), values.get("flowing_kpa")
    if static is not None and flowing is not None and flowing > FLOWING_OVER_STATIC * static:
        there = _as_written(sheet, row, "regulator_static")
        row.problems.append(
            sheet.problem(
                row,
                "regulator_flowing",
                f"stands more than 5 % above the static reading ({there}), which gas does not do; correct the "
                "one that was misread, or leave both blank",
            )
        )


def _set_length(sheet: CutSheet, context: Context, plan: DivePlan, cut: CutPlan) -> None:
    cell = cut.row.cells.get("new_length")
    if cell is None:
        return
    value = cell.value
    if cell.share is not None:
        whole = context.planned_length_mm(plan.job, cut.line)
        if whole is None:
            cut.row.problems.append(
                sheet.problem(
                    cut.row,
                    "new_length",
                    f"'{cell.typed}' of what? Line {cut.line} has no planned_length; write it, or the length cut",
                )
            )
            return
        value = cell.share * whole
    if value and cut.values["pass_kind"] != "first":
        cut.row.problems.append(
            sheet.problem(
                cut.row,
                "new_length",
                f"a {cut.values['pass_kind']} pass makes no new length, for a line is severed once; leave it "
                "blank or write 0, or call the pass first",
            )
        )
        return
    cut.values["new_length_mm"] = value
    if cell.typed:
        cut.typed["new_length_mm"] = (cell.typed, cell.basis)


class DiveClock:
    """Times of day of one dive, laid on its date and over midnight."""

    def __init__(self, day: str | None) -> None:
        self.midnight = None if day is None else dt.datetime.fromisoformat(day)
        self.last: float | None = None

    def moment(self, clock: float | None) -> str | None:
        """A clock time as a local time; None where the clock or the date is missing."""
        if clock is None or self.midnight is None:
            return None
        return (self.midnight + dt.timedelta(seconds=self._placed(clock))).isoformat(timespec="seconds")

    def _placed(self, clock: float) -> float:
        """Seconds after the dive's own midnight: the next day's where the clock has just run over."""
        if self.last is None:
            return clock
        placed = clock + DAY_S * (self.last // DAY_S)
        return placed + DAY_S if placed < self.last and placed + DAY_S - self.last < LONGEST_NIGHT_S else placed

    def begin(self, moment: str) -> None:
        """Go on from a local time of this dive that is known."""
        if self.midnight is not None:
            self.last = (dt.datetime.fromisoformat(moment) - self.midnight).total_seconds()

    def next_moment(self, clock: float) -> str | None:
        """A clock time as a local time; the next one is taken to follow it."""
        moment = self.moment(clock)
        self.last = self._placed(clock)
        return moment

    def set_times(self, sheet: CutSheet, cut: CutPlan) -> None:
        """Put start and stop of a cut on the calendar."""
        started = None
        for name in ("start", "stop"):
            cell = cut.row.cells.get(name)
            if cell is None:
                continue
            column = f"{name}_at"
            if cell.typed:
                cut.typed[column] = (cell.typed, cell.basis)
            if cell.value is None:
                continue
            if name == "stop" and started is not None:
                placed = cell.value + DAY_S * (started // DAY_S)
                if placed < started:
                    placed += DAY_S
                if placed == started or (placed - started >= LONGEST_NIGHT_S and cell.value < started % DAY_S):
                    cut.row.problems.append(self._backwards(sheet, cut, placed == started))
                    return
            else:
                placed = self._placed(cell.value)
            started = placed if name == "start" else started
            self.last = placed
            if self.midnight is not None:
                moment = self.midnight + dt.timedelta(seconds=placed)
                cut.values[column] = moment.isoformat(timespec="seconds")

    def _backwards(self, sheet: CutSheet, cut: CutPlan, equal: bool) -> Any:
        start = _as_written(sheet, cut.row, "start")
        what = (
            f"is the same as the start ({start}); write the time it took under elapsed and leave stop blank"
            if equal
            else f"is before the start ({start}), and past midnight it would be 4 hours or more; correct one of them"
        )
        return sheet.problem(cut.row, "stop", what)


def _check_twice(sheet: CutSheet, plan: DivePlan) -> None:
    seen: dict[tuple[Any, ...], SheetRow] = {}
    for cut in plan.cuts:
        start, stop = cut.values.get("start_at"), cut.values.get("stop_at")
        if not (start and stop and "line" in cut.row.cells):
            continue
        key = (cut.line, start, stop)
        if key in seen:
            cut.row.problems.append(
                sheet.problem(
                    cut.row,
                    "start",
                    f"line {cut.line} has the same start and stop in row {seen[key].number}: one cut typed twice? "
                    "Take one row out, or correct its clock",
                )
            )
        seen.setdefault(key, cut.row)
