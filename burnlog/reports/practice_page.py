"""The page of practice: calls and faults first, then stubs and restarts, then rods and time; settings apart."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from burnlog.analyses.exposure import Exposed
from burnlog.analyses.practice import Panel, PracticeReview
from burnlog.analyses.practice_pressure import PressureStrip
from burnlog.analyses.two_plates import LESSON, Standing, standings
from burnlog.charts.amounts import length_unit
from burnlog.charts.practice import (
    attempts_finding,
    calls_finding,
    key_of,
    practice_charts,
    road_finding,
    split_finding,
)
from burnlog.charts.practice_beside import plates_chart, plates_finding, pressure_chart, pressure_finding
from burnlog.reports.cautions import cautions
from burnlog.reports.page import Head, Page, Table, counted_words, page_of
from burnlog.units import show

__all__ = ["practice_page"]


def practice_page(
    review: PracticeReview, strips: Sequence[PressureStrip], head: Head, *, profile: str = "metric"
) -> Page:
    """The page of practice.

    Parameters
    ----------
    review : PracticeReview
    strips : sequence of PressureStrip
        From `burnlog.analyses.practice_pressure`: the flowing pressure of each setting.
    head : Head
    profile : str
        ``us`` or ``metric``.
    """
    charts = practice_charts(review, profile=profile)
    pressures = {strip.setting: strip for strip in strips}
    for strip in strips:
        if strip.written:
            charts[_pressure_name(strip.setting)] = pressure_chart(strip, profile=profile)
    lesson = standings(LESSON)
    charts["two_plates"] = plates_chart(lesson, profile=profile)
    counted = sum(a.rods_per_m is not None for panel in review.panels for a in panel.attempts)
    whole = sum(len(panel.attempts) for panel in review.panels)
    days = sorted({a.day for panel in review.panels for a in panel.attempts})
    out: dict[str, int] = {}
    for panel in review.panels:
        for reason, n in panel.left_out.items():
            out[reason] = out.get(reason, 0) + n
    return page_of(
        "practice.html",
        head,
        charts=charts,
        cautions=cautions("variation", closed_space=head.closed_space),
        used=f"{counted} attempts with rods per length of {whole}",
        left_out=out,
        answer=" ".join(_answer(panel, charts, profile) for panel in review.panels),
        days=f"{days[0]} to {days[-1]}" if days else "no day recorded",
        panels=[
            {**_panel(panel, charts, profile), **_pressure(pressures.get(panel.setting), profile)}
            for panel in review.panels
        ],
        lesson_finding=plates_finding(lesson, profile),
        lesson=_lesson(lesson, profile),
        dry=any(panel.setting == "dry practice" for panel in review.panels),
        remarks=review.remarks,
        notes_=review.notes,
    )


def _pressure_name(setting: str) -> str:
    return f"pressure_{setting.replace(' ', '_')}"


def _pressure(strip: PressureStrip | None, profile: str) -> dict[str, Any]:
    """The strip of one setting: chart, finding, table by edge."""
    if strip is None or not strip.written:
        said = "" if strip is None else pressure_finding(strip, profile)
        return {"pressure_name": "", "pressure_finding": said, "pressure": None}
    rows = []
    for edge in dict.fromkeys(cut.edge for cut in sorted(strip.written, key=lambda cut: cut.edge)):
        mine = sorted(cut.flowing_kpa for cut in strip.written if cut.edge == edge)
        ends = (mine[0], mine[len(mine) // 2], mine[-1])
        rows.append((edge, str(len(mine)), *(show(value, "pressure", profile, digits=3) for value in ends)))
    return {
        "pressure_name": _pressure_name(strip.setting),
        "pressure_finding": pressure_finding(strip, profile),
        "pressure": Table.of(
            "Flowing pressure by the edge left; the regulator as logged on these cuts",
            ("edge", "cuts", "least", "middle", "most"),
            rows,
            numeric=(1, 2, 3, 4),
        ),
    }


def _lesson(found: Sequence[Standing], profile: str) -> Table:
    per, unit = length_unit(profile)
    rows = []
    for it in found:
        expected = "-" if it.observed_expected is None else f"{it.observed_expected:.2f}"
        plates = [(show(w.thickness_mm, "thickness", profile, digits=3), w) for w in it.work]
        work = "; ".join(f"{steel}: {w.length_m / per:.3g} {unit}, {w.rods:g} rods" for steel, w in plates)
        rows.append((it.person, work, f"{it.raw_per_m * per:.2f}", expected))
    return Table.of(
        "MADE UP: two people, two plates",
        ("person", "burned", f"raw rods per {unit}", "rods over expected"),
        rows,
        numeric=(2, 3),
    )


def _answer(panel: Panel, charts: dict[str, Any], profile: str) -> str:
    """Calls first, then the rods, of one setting in a sentence."""
    rods = f" {attempts_finding(panel, profile)}" if f"attempts_{key_of(panel)}" in charts else ""
    return f"{panel.setting.capitalize()}: {calls_finding(panel)}{rods}"


def _panel(panel: Panel, charts: dict[str, Any], profile: str) -> dict[str, Any]:
    key = key_of(panel)
    steel = ", ".join(show(t, "thickness", profile, digits=3) for t in panel.thickness_mm) or "not recorded"
    words = counted_words(panel.technique) or "none"
    return {
        "setting": panel.setting,
        "head": f"{len(panel.people)} people, {len(panel.attempts)} attempts, {panel.cuts} cuts; plate {steel}.",
        "calls_name": f"calls_{key}" if f"calls_{key}" in charts else "",
        "calls_finding": calls_finding(panel),
        "calls": _calls(panel),
        "stubs": _stubs(panel, profile),
        "no_stubs": f"No stub was measured and no restart written on {len(panel.attempts)} attempts.",
        "technique": f"Words on technique were written on {panel.technique_cuts} of {panel.cuts} cuts: {words}.",
        "attempts_name": f"attempts_{key}" if f"attempts_{key}" in charts else "",
        "attempts_finding": attempts_finding(panel, profile) if f"attempts_{key}" in charts else "",
        "attempts": _attempts(panel, profile),
        "split_name": f"split_{key}" if f"split_{key}" in charts else "",
        "split_finding": split_finding(panel),
        "split": _split(panel),
        "road_name": f"road_{key}" if f"road_{key}" in charts else "",
        "road_finding": road_finding(panel),
        "trends": [trend.sentence() for trend in panel.trends if trend.rate is not None],
        "blanks": [f"{n}: {reason}" for reason, n in (*panel.left_out.items(), *panel.blanks.items())],
    }


def _calls(panel: Panel) -> Table:
    rows = [
        (person.code, str(person.dives), *_figure(person.calls), *_figure(person.faults)) for person in panel.people
    ]
    return Table.of(
        "In code order. Exact 95 % intervals in brackets; none recorded is not none happened.",
        ("code", "dives", "calls right", "share", "safety faults", "a dive"),
        rows,
        numeric=(1, 2, 3, 4, 5),
    )


def _figure(it: Exposed) -> tuple[str, str]:
    """How often of how much, and the rate with its interval."""
    if it.rate is None or it.low is None or it.high is None:
        return "not recorded", "-"
    if it.per == 0:
        return f"{it.count} of {it.exposure:g}", f"{100 * it.rate:.0f} % ({100 * it.low:.0f} - {100 * it.high:.0f} %)"
    unit = it.unit.removesuffix("s") if it.exposure == 1 else it.unit
    return f"{it.count} in {it.exposure:g} {unit}", f"{it.rate:.2g} ({it.low:.2g} - {it.high:.2g})"


def _stubs(panel: Panel, profile: str) -> Table | None:
    """Stubs and restarts by code; None where nobody wrote any."""
    if not any(person.stubs or person.restarts.exposure for person in panel.people):
        return None
    rows = [
        (
            person.code,
            str(person.stubs) if person.stubs else "none measured",
            "-" if person.stub_mm is None else show(person.stub_mm, "length", profile, digits=3),
            str(person.short_stubs) if person.stubs else "-",
            *_figure(person.restarts),
        )
        for person in panel.people
    ]
    return Table.of(
        "In code order. Exact 95 % intervals in brackets; none recorded is not none happened.",
        ("code", "stubs", "middle stub", "under the planned stub", "restarts", "an attempt"),
        rows,
        numeric=(1, 2, 3, 4, 5),
    )


def _attempts(panel: Panel, profile: str) -> Table:
    per, unit = length_unit(profile)
    rows = []
    for person in panel.people:
        mine = [attempt for attempt in panel.attempts if attempt.person == person.code]
        rods = ", ".join("-" if a.rods_per_m is None else f"{a.rods_per_m * per:.2f}" for a in mine)
        time = ", ".join("-" if a.s_per_m is None else f"{a.s_per_m * per / 60:.1f}" for a in mine)
        edges = ", ".join(a.edge or "-" for a in mine)
        rows.append((person.code, rods or "-", time or "-", edges or "-"))
    return Table.of(
        "Attempt by attempt, in code order; - is not recorded or not computed, never 0",
        ("code", f"rods per {unit}", f"min per {unit}", "edge"),
        rows,
    )


def _split(panel: Panel) -> Table | None:
    split = panel.split
    if split is None:
        return None
    return Table.of(
        "Spread on the log scale: 0.20 is about 20 % up or down",
        ("spread", "figure"),
        [
            ("between people", f"{split.between_sd:.2f}"),
            ("within a person", f"{split.within_sd:.2f}"),
            (
                "share between people",
                f"{100 * split.between_share:.0f} % ({100 * split.share_low:.0f} - {100 * split.share_high:.0f} %)",
            ),
        ],
    )
