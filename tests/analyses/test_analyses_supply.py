"""How many more rods a bank may hold out: a range from its own stretches, put as a question."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from review_record import record
from scipy import stats

from burnlog.analyses.supply import BankAhead, Window, bank_windows, banks_ahead, forecast_supply
from burnlog.errors import RefusedError
from burnlog.reports.text_review import supply_text


def test_even_stretches_give_one_number_and_the_question() -> None:
    """40 kPa a rod without any spread: 2000 kPa last 50 rods, asked and not granted."""
    forecast = forecast_supply([Window(10, 400), Window(5, 200), Window(8, 320)], 3000, 1000, rods_to_burn=60)
    assert (forecast.rods_low, forecast.rods_mid, forecast.rods_high) == pytest.approx((50, 50, 50))
    assert forecast.to_burn_stands == "above the range"
    text = supply_text(BankAhead("B1", forecast), profile="us")
    assert "change over before?" in " ".join(text.split())
    assert "approved" not in text
    assert text.isascii()


@pytest.mark.slow
def test_the_range_holds_the_true_number_four_times_in_five() -> None:
    """On 1,500 invented banks the 80 % range holds the rod at which the pressure was reached."""
    rng = np.random.default_rng(9)
    inside = 0
    for _ in range(1500):
        rods = rng.integers(4, 12, size=8).astype(float)
        fall = 40 * rods + 15 * np.sqrt(rods) * rng.standard_normal(8)
        forecast = forecast_supply([Window(n, f) for n, f in zip(rods, fall, strict=True)], 2000.0, 1000.0)
        used = np.cumsum(40 + 15 * rng.standard_normal(400))
        rod = int(np.argmax(used >= 1000.0))
        reached = rod + (1000.0 - used[rod - 1]) / (used[rod] - used[rod - 1])  # between rods, read off the line
        assert forecast.rods_high is not None
        inside += forecast.rods_low <= reached <= forecast.rods_high
    low, high = stats.binom.interval(0.999, 1500, 0.80)
    assert low <= inside <= high


def test_few_stretches_are_refused() -> None:
    """Two stretches are no ground for a range, and the message says what would be."""
    with pytest.raises(RefusedError, match="2 stretches"):
        forecast_supply([Window(10, 400), Window(5, 200)], 3000, 1000)
    with pytest.raises(RefusedError, match="does not fall"):
        forecast_supply([Window(10, 0.0)] * 3, 3000, 1000)


def test_stretches_that_differ_widely_leave_no_upper_end() -> None:
    """Where the spread outgrows the fall the upper end is not known, and is said so."""
    forecast = forecast_supply([Window(1, 200), Window(1, 2), Window(1, 5)], 3000, 1000)
    assert forecast.rods_high is None
    assert "no upper end" in forecast.question()


def test_stretches_come_from_counts_and_start_anew_after_a_change() -> None:
    """A count between two readings of the bank is a stretch; a bank filled or changed starts anew."""
    rows = [
        {"dive_no": 1, "rods": 8, "bank_start_kpa": 9000.0, "bank_end_kpa": 8600.0},
        {"dive_no": 2, "rods": 10, "bank_start_kpa": 15000.0, "bank_end_kpa": 14500.0},
        {"dive_no": 3, "rods": 6, "bank_start_kpa": 14500.0, "bank_end_kpa": 14200.0},
        {"dive_no": 4, "rods": 5, "bank_start_kpa": 14200.0},
    ]
    windows, last = bank_windows(record(rows), "B1")
    assert windows == (Window(10, 500), Window(6, 300))
    assert last == 14200.0
    log = [
        {"job": "J1", "dive_ref": "J1 4", "bank": "B1", "after_rod": k, "bank_kpa": 14200.0 - 45.0 * k}
        for k in (0, 2, 5)
    ]
    windows, last = bank_windows(record(rows, readings=log), "B1")
    assert [w.rods for w in windows] == [10, 6, 2, 3]
    assert [w.fall_kpa for w in windows] == pytest.approx([500, 300, 90, 135])
    assert last == pytest.approx(14200 - 225)


def test_each_bank_has_its_forecast_or_a_reason() -> None:
    """A bank with enough stretches is asked about with the rods left to burn; another says what it lacks."""
    rows = [
        {"dive_no": n, "dive_date": f"2026-05-0{n}", "rods": 10, "bank_start_kpa": 15500.0 - 500 * n,
         "bank_end_kpa": 15000.0 - 500 * n}
        for n in (1, 2, 3, 4)
    ]  # fmt: skip
    frames = record(rows)
    known, blank = banks_ahead(frames, {"B1": None, "B9": None}, 3000.0, rods_to_burn=120)
    assert known.forecast is not None
    # by hand: 50 kPa a rod from 13,000 down to 3,000
    assert known.forecast.rods_mid == pytest.approx(200)
    assert "about 120 rods left to burn, below the range" in known.forecast.question()
    assert (blank.forecast, blank.why) == (None, "no pressure of it is known")
    assert supply_text(blank) == "B9: no forecast: no pressure of it is known"
    (early,) = banks_ahead(frames, {"B1": None}, 3000.0, until=pd.Timestamp("2026-05-03"))
    assert early.forecast is not None
    assert (early.forecast.windows, early.forecast.bank_kpa) == (3, 13500.0)


@settings(derandomize=True, max_examples=50, deadline=None)
@given(
    st.lists(st.tuples(st.integers(1, 20), st.floats(10, 80)), min_size=3, max_size=8),
    st.floats(100, 5000),
    st.floats(1.0, 3.0),
)
def test_more_pressure_lasts_longer_and_the_range_holds_its_middle(
    stretches: list[tuple[int, float]], left: float, more: float
) -> None:
    """Low, middle and high stand in order, and none shrinks when the bank holds more."""
    windows = [Window(float(n), n * each) for n, each in stretches]
    one = forecast_supply(windows, 1000 + left, 1000.0)
    two = forecast_supply(windows, 1000 + left * more, 1000.0)
    assert one.rods_low <= one.rods_mid * (1 + 1e-9)
    assert one.rods_high is None or one.rods_high >= one.rods_mid * (1 - 1e-9)
    assert two.rods_low >= one.rods_low * (1 - 1e-9)
