"""The day as a message over a bad line."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from account_record import dive, record

from burnlog.analyses.day import day_of
from burnlog.errors import InputError
from burnlog.reports.text_record import day_text

DAY = dt.date(2026, 5, 12)
LATER = dt.date(2026, 5, 20)


def _busy_day() -> Any:
    cuts = [{"line": f"P{n}", "start_at": f"{8 + n}:00", "stop_at": f"{8 + n}:20", "hangers": None} for n in range(4)]
    happened = [
        {"kind": "stoppage", "word": word, "job": "J1", "dive_ref": "J1 1", "seconds": 60.0 * minutes}
        for minutes, word in enumerate(
            ("crane or rigging", "current or tide", "other traffic", "work inspection", "change of diver"), start=3
        )
    ] + [
        {"kind": "event", "word": word, "job": "J1", "dive_ref": "J1 1", "count": 1.0}
        for word in ("pop or bang", "gas found in a closed space", "oil or grease near oxygen", "voice lost")
    ]
    return record(
        dive(
            1,
            {**cuts[0], "bank_start_kpa": 14000.0},
            {**cuts[1], "bank_end_kpa": 9000.0},
            rods=18,
            issued=25,
            returned=5,
        ),
        dive(
            2,
            {**cuts[2], "outcome": "through with hangers"},
            {**cuts[3], "outcome": "part way", "new_length_m": None},
        ),
        happenings=happened,
    )


def test_R11_a_day_in_twelve_lines() -> None:
    """Dives, lines, rods, oxygen, waits, events and blanks in at most 12 ASCII lines of at most 72 bytes."""
    day = day_of(_busy_day(), DAY, today=LATER)
    assert (day.dives, day.lines_through, day.lines_hanging, day.lines_part) == (2, 2, 1, 1)
    assert (day.drawn, day.drawn_dives, day.back) == (20, 1, 5)
    assert day.unaccounted == 2
    assert (day.new_length_m, day.length_blank) == (3.0, 1)
    assert day.oxygen_kg == pytest.approx(9.163 * 5000 / 15168)
    assert day.blanks > 0
    for profile in ("us", "metric"):
        lines = day_text(day, profile).splitlines()
        assert 8 <= len(lines) <= 12
        assert all(line.isascii() and len(line.encode()) <= 72 for line in lines)
        text = "\n".join(lines)
        assert "drawn 20, back 5 (1 of 2 dives), unaccounted 2" in text
        assert "change of diver 7min" in text
        assert text.count("...") == 2  # waits and events do not fit and say so


def test_a_typed_pressure_asks_when_each_bank_may_reach_it() -> None:
    """One line asks whether to change over before, from the stretches up to that day; the message stays short."""
    rows = [
        dive(n, {"line": f"L{n}", "bank_start_kpa": 14000.0 - 500.0 * (n - 1), "bank_end_kpa": 14000.0 - 500.0 * n},
             rods=10)
        for n in (1, 2, 3)
    ]  # fmt: skip
    frames = record(*rows)
    assert day_of(frames, DAY, today=LATER).ahead == ()
    day = day_of(frames, DAY, today=LATER, needed_kpa=2500.0)
    # by hand: 500 kPa for 10 rods every time, 10,000 kPa left
    (ahead,) = day.ahead
    assert ahead.forecast is not None
    assert (ahead.forecast.rods_low, ahead.forecast.rods_high) == pytest.approx((200, 200))
    lines = day_text(day).splitlines()
    assert len(lines) <= 12
    assert all(line.isascii() and len(line.encode()) <= 72 for line in lines)
    assert "change over before? B1 may reach 25 bar after 200-200 rods" in lines
    few = day_of(record(*rows[:2]), DAY, today=LATER, needed_kpa=2500.0)
    assert few.ahead[0].forecast is None
    assert "2 stretches" in few.ahead[0].why
    assert "change over before? B1 no forecast" in day_text(few).splitlines()


def test_R11_a_day_without_dives_is_one_line() -> None:
    """Nothing recorded says so in one line, and never that nothing happened."""
    text = day_text(day_of(_busy_day(), dt.date(2026, 5, 13), today=LATER))
    assert text == "2026-05-13: no dives recorded"


def test_R11_a_day_to_come_is_refused() -> None:
    """Tomorrow cannot be summed up today."""
    with pytest.raises(InputError, match="still to come"):
        day_of(_busy_day(), LATER, today=DAY)


def test_R11_one_job_of_several() -> None:
    """With a job named only its dives are in the message; made-up dives say so."""
    frames = record(dive(1, {}, made_up=True), dive(1, {}, {}, job="J2", made_up=True))
    day = day_of(frames, DAY, today=LATER, job="j2")
    assert (day.jobs, day.dives) == (("J2",), 1)
    assert day_text(day).startswith("MADE UP 2026-05-12 J2")
    assert day_of(frames, DAY, today=LATER).jobs == ("J1", "J2")
