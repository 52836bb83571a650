"""Will the rods in the box last: a range at this job's own rate, or a refusal."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from account_record import dive, record

from burnlog.analyses.stock import own_rate_reach, stock_for
from burnlog.errors import InputError, RefusedError
from burnlog.reports.text_record import stock_text


def _counted(*rods: float, left: float = 5.0) -> Any:
    cuts = [{"line": f"P{n}", "rods": number} for n, number in enumerate(rods)]
    return record(dive(1, *cuts), planned=[{"line": "Q1", "planned_length_m": left, "thickness_mm": 12.7}])


def test_R12_two_tallies_are_refused() -> None:
    """With two counts on the job no rate is used, not even another job's."""
    with pytest.raises(RefusedError, match="2 usable rod counts"):
        stock_for(_counted(4, 5), "J1", rods_in_box=60)


def test_R12_three_tallies_give_a_range() -> None:
    """With three counts the answer is a range of length beside what is left, never one number."""
    stock = stock_for(_counted(4, 5, 6), "J1", rods_in_box=60)
    assert stock.high_m is not None
    assert stock.low_m < 60 / 5 < stock.high_m
    assert stock.rods_per_m == pytest.approx(5.0)
    assert stock.rate_low < 5 < stock.rate_high
    assert stock.left_m == pytest.approx(5.0)
    text = stock_text(stock, "us")
    assert "enough for about" in text
    assert " to " in text.splitlines()[0]
    assert "3 tallies" in text
    assert all(line.isascii() and len(line) <= 80 for line in text.splitlines())


def test_R12_closed_form_of_the_range() -> None:
    """At both ends R L -+ t s sqrt(L + L^2 / sum L) is the rods in the box, for 4, 5 and 6 rods on 1 m each."""
    stock = stock_for(_counted(4, 5, 6), "J1", rods_in_box=60)
    t, s = 1.885618083, 1.0  # t 0.90 at 2 degrees of freedom (any table); s^2 = (1 + 0 + 1) / 2
    assert stock.high_m is not None
    for length, side in ((stock.low_m, 1), (stock.high_m, -1)):
        assert 5 * length + side * t * s * math.sqrt(length + length**2 / 3) == pytest.approx(60, rel=1e-6)


def test_R12_the_range_holds_about_eight_times_in_ten() -> None:
    """Where rods scatter as assumed, 80 % of boxes run out inside the range."""
    rng = np.random.default_rng(12)
    inside, jobs, step = 0, 1500, 0.05
    for _ in range(jobs):
        lengths = rng.uniform(0.4, 2.0, 8)
        rods = rng.normal(6 * lengths, 1.2 * np.sqrt(lengths))
        reach = own_rate_reach(rods, lengths, 40)
        used = np.cumsum(rng.normal(6 * step, 1.2 * math.sqrt(step), 600))
        length = step * (int(np.argmax(used >= 40)) + 1)
        assert reach.high is not None
        inside += reach.low <= length <= reach.high
    assert 0.77 <= inside / jobs <= 0.83  # binomial: 0.80 -+ 3 standard errors of 0.0103


def test_R12_equal_counts_still_give_a_range() -> None:
    """Three counts of exactly the same rate leave what whole rods leave open, and no single number."""
    reach = own_rate_reach(np.array([5.0, 5.0, 5.0]), np.ones(3), 60)
    assert reach.high is not None
    assert reach.high - reach.low > 0.5


def test_R12_notes_and_unknown_lines() -> None:
    """Lines without a length are counted, and lines of other steel than the counts are said."""
    frames = record(
        dive(1, *[{"line": f"P{n}", "rods": 4 + n} for n in range(3)], {"line": "P9", "new_length_m": None}),
        planned=[{"line": "Q1", "planned_length_m": 5.0, "thickness_mm": 30.0}, {"line": "Q2"}],
    )
    stock = stock_for(frames, "J1", rods_in_box=0)
    assert (stock.lines_left, stock.lines_unknown) == (1, 2)
    assert stock.low_m == stock.high_m == 0
    assert "thinner or thicker" in stock.notes[0]
    with pytest.raises(InputError):
        stock_for(frames, "J1", rods_in_box=-1)


def test_R12_counts_that_differ_too_much_have_no_upper_end() -> None:
    """Wildly scattered counts leave the upper end open instead of inventing one."""
    stock = stock_for(_counted(1, 1, 28), "J1", rods_in_box=60)
    assert stock.high_m is None
    assert "or more of" in stock_text(stock)
    assert stock.as_json()["high_m"] is None
