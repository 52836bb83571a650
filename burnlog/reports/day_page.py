"""The page of a day: the sums, its dives with their place in the legal log, what still hangs."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from burnlog.analyses.attached import Left
from burnlog.analyses.day import Day
from burnlog.analyses.oxygen_use import in_scf
from burnlog.charts.day import day_charts, lines_finding, waits_finding
from burnlog.columns import Frames
from burnlog.reports.cautions import cautions
from burnlog.reports.page import Head, Page, Table, page_of
from burnlog.units import show
from burnlog.wording import number_of

__all__ = ["day_page"]


def day_page(day: Day, frames: Frames, left: Sequence[Left], head: Head, *, profile: str = "metric") -> Page:
    """The page of a day.

    Parameters
    ----------
    day : Day
    frames : Frames
        The record: the day's dives.
    left : sequence of Left
        What still hangs on each job of the day, as the record stands now.
    head : Head
    profile : str
        ``us`` or ``metric``.
    """
    charts = day_charts(day)
    return page_of(
        "day.html",
        head,
        charts=charts,
        cautions=cautions("day", closed_space=head.closed_space),
        used=f"{number_of(day.dives, 'dive')}, {day.blanks_of - day.blanks} of {day.blanks_of} fields filled in",
        left_out={"dives without rods drawn": day.dives - day.drawn_dives} if day.dives > day.drawn_dives else {},
        day=day.day.isoformat(),
        answer=_answer(day, profile),
        lines_finding=lines_finding(day) if "lines" in charts else "",
        waits_finding=waits_finding(day) if "waits" in charts else "",
        lines=_lines(day),
        waits=_waits(day),
        sums=_sums(day, profile),
        dives=_dives(day, frames),
        left=[(each.first_line, _left(each, profile)) for each in left],
    )


def _length(metres: float, profile: str) -> str:
    return show(1000 * metres, "length", profile, digits=3)


def _answer(day: Day, profile: str) -> str:
    if not day.dives:
        return f"{day.day.isoformat()}: no dives recorded."
    who = f"{number_of(day.dives, 'dive')} by {number_of(day.divers, 'diver')}"
    return (
        f"{', '.join(day.jobs)}: {who}, {_length(day.new_length_m, profile)} of new cut, "
        f"{number_of(day.lines_through, 'line')} through, {day.lines_hanging} hanging, {day.lines_part} not done."
    )


def _sums(day: Day, profile: str) -> Table:
    of = f"of {number_of(day.dives, 'dive')}"
    kg = f"{day.oxygen_kg:.1f} kg"
    if profile == "us":
        kg = f"{in_scf(day.oxygen_kg):.0f} scf ({kg})"
    rows = [
        ("new cut", _length(day.new_length_m, profile), f"{day.length_blank} cuts without a length"),
        (
            "rods drawn, back, unaccounted",
            f"{day.drawn:g}, {day.back:g}, {day.unaccounted:g}" if day.drawn_dives else "not recorded",
            f"{day.drawn_dives} {of}",
        ),
        (
            "rods lit",
            f"{day.started:g}" if day.started_dives else "not recorded",
            f"{day.started_dives} boxes with a count",
        ),
        ("oxygen used", kg if day.oxygen_dives else "not known", f"{day.oxygen_dives} {of}"),
    ]
    for bank in day.banks:
        level = "not recorded" if bank.kpa is None else show(bank.kpa, "pressure", profile, digits=4)
        rows.append((f"bank {bank.bank}, last read", level, f"{number_of(bank.dives_without, 'dive')} without a use"))
    for ahead in day.ahead:
        question = f"no forecast: {ahead.why}" if ahead.forecast is None else ahead.forecast.question()
        rows.append((f"bank {ahead.bank}, ahead", question, "stretches between bank readings up to this day"))
    said = ", ".join(f"{word} x{count}" if count > 1 else word for word, count in day.events)
    rows.append(("events", said or "none recorded", "as written on the sheets"))
    rows.append(("fields left blank", str(day.blanks), f"of {day.blanks_of} that could have been filled in"))
    return Table.of("Sums are over what was recorded", ("what", "figure", "from"), rows)


def _lines(day: Day) -> Table:
    rows = [
        ("through", str(day.lines_through)),
        ("through with hangers", str(day.lines_hanging)),
        ("not done or not known", str(day.lines_part)),
    ]
    return Table.of("Lines by the end of their last cut of the day", ("state", "lines"), rows, numeric=(1,))


def _waits(day: Day) -> Table:
    rows = [(word, str(count), f"{seconds / 60:.0f}") for word, count, seconds in day.stoppages]
    return Table.of("Waits, the longest first", ("cause", "times", "minutes"), rows, numeric=(1, 2))


def _dives(day: Day, frames: Frames) -> Table:
    dives = frames.dives[frames.dives["dive_date"].eq(pd.Timestamp(day.day)) & frames.dives["job"].isin(day.jobs)]
    cuts = frames.cuts.groupby("dive_ref").size()
    rows = [
        (
            str(row["dive_ref"]),
            *("-" if pd.isna(row[name]) else str(row[name]) for name in ("log_ref", "sheet", "diver", "crew", "rig")),
            str(int(cuts.get(row["dive_ref"], 0))),
        )
        for row in dives.sort_values(["job", "dive_no"]).to_dict("records")
    ]
    return Table.of(
        "The dives; the legal record is where its reference says",
        ("dive", "legal log ref", "sheet", "diver", "crew", "rig", "cuts"),
        rows,
        numeric=(6,),
    )


def _left(left: Left, profile: str) -> Table:
    rows = [
        (
            line.line,
            line.state,
            "-" if line.severed_m is None else _length(line.severed_m, profile),
            "-" if line.planned_m is None else _length(line.planned_m, profile),
            line.last_dive or "-",
            line.note,
        )
        for line in left.lines
    ]
    return Table.of(
        f"{left.job}: {number_of(len(rows), 'line')} open; {left.through} called through, "
        f"on {left.unseen} of them no edge recorded",
        ("line", "state", "cut", "planned", "last dive", "note"),
        rows,
    )
