"""What is ordered and paid for: dives and days inside the simulation, packs, and cost from typed prices."""

from __future__ import annotations

import math

import numpy as np
import pytest
from bid_record import plates

from burnlog.analyses import order as orders
from burnlog.analyses.basis import Basis
from burnlog.analyses.estimate import Estimate, Plan, draft
from burnlog.errors import InputError


@pytest.mark.parametrize(("minutes", "dives"), [(60, 21), (45, 31), (40, 37), (30, 62), (25, 93), (20, 185)])
def test_R58_dives_follow_the_typed_bottom_time(minutes: float, dives: int) -> None:
    """600 cut minutes, 15 min start-up, share 0.65: halving the bottom time trebles the dives (recomputed)."""
    found = orders.dives(np.array([36_000.0]), np.array([0.65]), 60.0 * minutes, 900.0)
    assert found is not None
    assert found[0] == dives == math.ceil(600 / ((minutes - 15) * 0.65))


def test_R58_start_up_as_long_as_the_dive_is_refused() -> None:
    """Nothing is left of the bottom time."""
    with pytest.raises(InputError, match="leaves nothing"):
        Plan(bottom_time_s=900.0, start_up_s=900.0).checked()


def test_R59_packs_are_rounded_up_once_on_the_total(made: Estimate) -> None:
    """Three items of 10.4 rods of one type in packs of 25 are 2 packs, not 3."""
    rods = {"X18": np.full(2000, 31.2)}
    with_size = Basis(**{**made.basis.__dict__, "rod_types": {"X18": {"pack_count": 25}}})
    found = orders.order(rods, None, with_size, None, None, None)
    assert found.packs == {"X18": 2}


def test_R59_no_pack_size_no_oxygen_history_no_guess(made: Estimate) -> None:
    """What the history and the log do not hold is said, not guessed."""
    assert made.order.packs_drawn is None
    assert made.oxygen_kg is None
    text = " ".join(made.warnings)
    assert "no pack size" in text
    assert "oxygen not estimated" in text


def test_cost_is_a_range_with_a_line_in_and_a_line_out(basis: Basis) -> None:
    """Typed prices make a range; standby counts only the days typed, and what is not priced has its line out."""
    listed = (
        {"name": "rods", "value": 8.0, "unit": "USD/rod"},
        {"name": "standby", "value": 5000.0, "unit": "USD/day"},
    )
    priced = Basis(**{**basis.__dict__, "prices": listed})
    plain = draft(priced, plates(), Plan(draws=2000)).as_json()
    assert plain["cost"]["p10"] < plain["cost"]["p90"]
    assert plain["cost"]["p80"] == pytest.approx(8.0 * plain["rods"]["p80"])
    assert any(text.startswith("cost of rods at") for text in plain["in"])
    assert any("standby (not estimated)" in text for text in plain["not_in"])
    waiting = draft(priced, plates(), Plan(draws=2000, standby_days=2.0)).as_json()
    assert waiting["cost"]["p50"] == pytest.approx(plain["cost"]["p50"] + 10_000.0)
    assert any(text.startswith("cost of rods, standby at") for text in waiting["in"])
    assert "standby beyond the days typed" in " ".join(waiting["not_in"])
    unpriced = Basis(**{**basis.__dict__, "prices": listed[:1]})
    silent = draft(unpriced, plates(), Plan(draws=2000, standby_days=2.0)).as_json()
    assert silent["cost"]["p50"] == plain["cost"]["p50"]
    assert "decompression and standby" in silent["not_in"]
    assert any("no standby: they are not in the cost" in text for text in silent["warnings"])
    with pytest.raises(InputError, match="below 0"):
        Plan(standby_days=-1.0).checked()


def test_R58_dives_and_days_are_whole_and_counted_inside_the_simulation(made: Estimate) -> None:
    """Each draw's dives are its own cut time packed into dives, rounded up; days are dives over those typed a day."""
    assert made.cut_time_s is not None
    assert made.dives is not None
    expected = np.ceil(made.cut_time_s / ((2400.0 - 900.0) * 0.65) - 1e-9)
    assert np.array_equal(made.dives, expected)
    with_days = draft(
        made.basis,
        plates(),
        Plan(bottom_time_s=2400.0, start_up_s=900.0, cutting_share=0.65, dives_per_day=3.0, draws=4000),
    )
    assert with_days.days is not None
    assert np.array_equal(with_days.days, np.ceil(made.dives / 3.0))


def test_R58_without_a_share_it_must_be_typed_and_is_marked(basis: Basis) -> None:
    """A history without shares of cutting time gives no dives until one is typed; then it says typed."""
    plan = Plan(bottom_time_s=2400.0, start_up_s=900.0, draws=2000)
    silent = draft(basis, plates(), plan)
    assert silent.dives is None
    assert any("--cutting-share" in text for text in silent.warnings)
    typed = draft(basis, plates(), Plan(bottom_time_s=2400.0, start_up_s=900.0, cutting_share=0.6, draws=2000))
    assert typed.as_json()["cutting_share_from"] == "typed"
