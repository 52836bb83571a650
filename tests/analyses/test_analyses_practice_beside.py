"""What stands beside the attempts of a class: two plates, and the pressure with its edges."""

from __future__ import annotations

import pytest
from review_record import record

from burnlog.analyses.practice_pressure import practice_pressure
from burnlog.analyses.scope import Scope
from burnlog.analyses.two_plates import LESSON, PlateWork, standings
from burnlog.charts.practice_beside import plates_chart, plates_finding, pressure_chart, pressure_finding
from burnlog.columns import Frames

FT = 0.3048


def test_g2_raw_ratios_mislead_and_equal_steel_does_not() -> None:
    """A 72.8 rods over 44 ft, B 98.4 over 36 ft: raw 1.65 and 2.73, over what the other would need 1.07 and 0.94."""
    a, b = standings(LESSON)
    assert (a.raw_per_m * FT, b.raw_per_m * FT) == pytest.approx((72.8 / 44, 98.4 / 36))
    # A would have needed 40 x 1.4 + 4 x 3 = 68 at B's rates, B 6 x 1.5 + 30 x 3.2 = 105 at A's
    assert (a.observed_expected, b.observed_expected) == pytest.approx((72.8 / 68, 98.4 / 105))
    said = plates_finding((a, b), "us")
    for figure in ("2.73", "1.65", "65 % more", "A 1.07", "B 0.94"):
        assert figure in said


def test_a_plate_that_nobody_else_cut_gives_no_figure() -> None:
    """Where one of the plates was cut by one person alone there is nothing to expect from."""
    work = (*LESSON, PlateWork("A", 38.1, 1.0, 9.0))
    a, b = standings(work)
    assert a.observed_expected is None
    assert b.observed_expected == pytest.approx(98.4 / 105)


def test_the_lesson_draws_each_plate_for_each_person() -> None:
    """Three rows, two people in each, told apart by shape and letter."""
    spec = plates_chart(standings(LESSON), profile="us").to_dict()
    rows = next(iter(spec["datasets"].values()))
    assert [(row["row"], row["person"]) for row in rows if row["person"] == "A"] == [
        ("both plates together", "A"),
        ("plate 0.5 in only", "A"),
        ("plate 1 in only", "A"),
    ]
    assert spec["layer"][0]["encoding"]["shape"]["scale"]["range"] == ["circle", "square"]


def tank() -> Frames:
    """Six tank cuts: pressures falling by 10 kPa a cut, one blank, the last two ragged; one dry cut."""
    rows = [
        {
            "record_class": "training",
            "setting": "test tank",
            "job": "C",
            "diver": f"T{n}",
            "dive_no": n,
            "dive_date": f"2026-03-0{n}",
            "static_kpa": 620.0,
            "flowing_kpa": None if n == 2 else 600.0 - 10 * n,
            "edge": "ragged" if n > 4 else "clean",
        }
        for n in range(1, 7)
    ]
    dry = {"record_class": "training", "setting": "dry practice", "job": "C", "diver": "T1", "dive_no": 9}
    paid = {"job": "P", "dive_no": 1, "flowing_kpa": 500.0}
    return record([*rows, dry, paid])


def test_pressure_stands_cut_by_cut_with_the_edge_and_the_blanks_counted() -> None:
    """Five of six tank cuts have a pressure, in order, the blank keeping its place; paid work is not there."""
    dry, wet = practice_pressure(tank(), Scope())
    assert (dry.setting, dry.cuts, dry.written) == ("dry practice", 1, ())
    assert pressure_finding(dry, "metric") == "Flowing pressure is written on 0 of 1 cuts: no strip."
    assert [cut.place for cut in wet.written] == [1, 3, 4, 5, 6]
    assert [cut.flowing_kpa for cut in wet.written] == [590.0, 570.0, 560.0, 550.0, 540.0]
    assert wet.middle_kpa == 560.0
    assert wet.ragged(low=True) == (2, 2)
    assert wet.ragged(low=False) == (0, 3)
    assert "written on 5 of 6 cuts" in pressure_finding(wet, "us")


def test_the_strip_draws_every_pressure_above_its_edge() -> None:
    """Both parts of the strip hold a mark for each cut with a pressure, and the edge is a shape."""
    strip = practice_pressure(tank(), Scope())[1]
    spec = pressure_chart(strip).to_dict()
    assert all(len(rows) == 5 for rows in spec["datasets"].values())
    under = spec["vconcat"][1]["encoding"]
    assert under["shape"]["scale"] == {"domain": ["clean", "ragged"], "range": ["circle", "triangle-up"]}
    assert under["y"]["sort"] == ["clean", "ragged"]


def test_scope_bounds_the_strip() -> None:
    """A diver and days named leave only their cuts."""
    from datetime import date

    frames = tank()
    (strip,) = practice_pressure(frames, Scope(divers=("T3", "T4"), since=date(2026, 3, 4)))
    assert [cut.person for cut in strip.written] == ["T4"]
