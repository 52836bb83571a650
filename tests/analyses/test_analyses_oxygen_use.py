"""Oxygen by dive: the fall of the bank, and the reasons for which there is no figure."""

from __future__ import annotations

from typing import Any

import pytest
from account_record import dive, record

from burnlog.analyses.oxygen_use import oxygen_use

PSI = 6.894757293168361
SCF_KG = 0.037552  # 1 scf of oxygen at 70 F and 1 atm [kg]; recomputed in the tests of physics.oxygen
CLOCKED: dict[str, Any] = {"start_at": "09:00", "stop_at": "09:20"}


def _bank(start_psi: float, end_psi: float, **more: Any) -> dict[str, Any]:
    return {"bank_start_kpa": start_psi * PSI, "bank_end_kpa": end_psi * PSI, **CLOCKED, **more}


def test_R32_a_labelled_cylinder_from_2000_to_500_psi() -> None:
    """244 scf at 2200 psi: from 2000 to 500 psi is 244 x 1500/2200 = 166.4 scf = 6.25 kg, 5.5 scf a rod over 30."""
    (use,) = oxygen_use(record(dive(1, _bank(2000, 500), rods=30))).dives
    assert use.used_kg == pytest.approx(244 * 1500 / 2200 * SCF_KG, rel=1e-3)
    assert use.used_kg == pytest.approx(6.25, abs=0.005)
    assert use.kg_per_rod is not None
    assert use.kg_per_rod / SCF_KG == pytest.approx(5.5, abs=0.05)


def test_R32_start_on_the_first_row_and_end_on_the_last() -> None:
    """A dive whose head holds both readings is one window over all its cuts."""
    cuts = ({"bank_start_kpa": 2000 * PSI, **CLOCKED}, {"start_at": "09:25", "stop_at": "09:40"})
    last = {"start_at": "09:45", "stop_at": "09:50", "bank_end_kpa": 1780 * PSI}
    (use,) = oxygen_use(record(dive(1, *cuts, last, rods=10))).dives
    assert use.used_kg == pytest.approx(9.163 * 220 / 2200, rel=1e-3)


def test_R32_clocks_nobody_wrote_do_not_matter() -> None:
    """Rows give the order where clocks are blank."""
    cuts = ({"bank_start_kpa": 2000 * PSI}, {}, {"bank_end_kpa": 1780 * PSI})
    (use,) = oxygen_use(record(dive(1, *cuts, rods=10))).dives
    assert use.used_kg == pytest.approx(0.9163, rel=1e-3)


def test_R32_a_rise_without_a_change_over_has_no_figure() -> None:
    """A bank that reads more after the dive than before gives no figure and one fault, in the dive or before it."""
    found = oxygen_use(record(dive(1, _bank(1000, 2100), rods=10)))
    assert found.dives[0].used_kg is None
    assert found.dives[0].why == "pressure rises without a change-over"
    (fault,) = found.faults
    assert (fault.dive, fault.after_dive) == ("J1 1", None)
    between = oxygen_use(
        record(dive(1, _bank(2000, 800)), dive(2, _bank(2100, 1500, start_at="11:00", stop_at="11:20")))
    )
    (fault,) = between.faults
    assert (fault.dive, fault.after_dive) == ("J1 2", "J1 1")
    assert all(use.used_kg is not None for use in between.dives)


def test_R32_a_change_over_without_a_reading() -> None:
    """An event says the bank was changed and nobody read it: no figure, and no fault."""
    event = [{"kind": "event", "word": "bank change-over", "job": "J1", "dive_ref": "J1 1"}]
    found = oxygen_use(record(dive(1, _bank(1000, 2100), rods=10), happenings=event))
    assert found.dives[0].why == "change-over without a reading"
    assert found.faults == ()
    falling = oxygen_use(record(dive(1, _bank(2100, 1000), rods=10), happenings=event))
    assert falling.dives[0].why == "change-over without a reading"


def test_R32_a_change_over_read_on_both_banks() -> None:
    """Old bank 1000 to 400, new bank 2200 to 1900: 900 psi together."""
    looks = [
        {"dive_ref": "J1 1", "read_at": "09:10", "bank_kpa": 400 * PSI, "reason": "change-over"},
        {"dive_ref": "J1 1", "read_at": "09:10", "bank_kpa": 2200 * PSI, "reason": "change-over"},
    ]
    (use,) = oxygen_use(record(dive(1, _bank(1000, 1900), rods=10), readings=looks)).dives
    assert use.used_kg == pytest.approx(9.163 * 900 / 2200, rel=1e-3)


def test_R32_a_change_over_between_dives_explains_the_rise() -> None:
    """A change-over reading before the second dive: no fault, and a figure for both dives."""
    looks = [{"dive_ref": "J1 2", "read_at": "10:50", "bank_kpa": 2100 * PSI, "reason": "change-over"}]
    second = _bank(2100, 1500, start_at="11:00", stop_at="11:20")
    found = oxygen_use(record(dive(1, _bank(2000, 800)), dive(2, second), readings=looks))
    assert found.faults == ()
    assert [use.why for use in found.dives] == [None, None]


def test_R32_two_torches_on_one_bank() -> None:
    """Two dives at the same time on one bank share one figure over the rods of both."""
    one = dive(1, _bank(2000, 1400), rods=10)
    two = dive(2, _bank(2000, 1400, start_at="09:05", stop_at="09:30"), rods=20, diver="D2", rig="R2")
    found = oxygen_use(record(one, two))
    first, second = found.dives
    assert first.shared_with == ("J1 2",)
    assert second.shared_with == ("J1 1",)
    assert first.used_kg == second.used_kg == pytest.approx(9.163 * 600 / 2200, rel=1e-3)
    assert first.rods == 30
    assert len(found.per_rod()) == 1


def test_R32_without_clocks_pressures_tell_two_torches() -> None:
    """Without clocks two dives whose readings overlap drew at once; those that follow on do not."""

    def pair(second: tuple[float, float]) -> tuple[str, ...]:
        cuts = [
            {"bank_start_kpa": start * PSI, "bank_end_kpa": end * PSI} for start, end in ((2000.0, 1400.0), second)
        ]
        return oxygen_use(record(dive(1, cuts[0]), dive(2, cuts[1]))).dives[0].shared_with

    assert pair((1900.0, 1300.0)) == ("J1 2",)
    assert pair((1400.0, 900.0)) == ()


@pytest.mark.parametrize(
    ("cut", "said", "why"),
    [
        ({}, {}, "bank pressure not recorded"),
        ({"bank_start_kpa": 14000.0, **CLOCKED}, {}, "no bank reading after the burning"),
        ({"bank_end_kpa": 9000.0, **CLOCKED}, {}, "no bank reading before the burning"),
        ({"bank_start_kpa": 14000.0, "bank_end_kpa": 9000.0}, {"bank": None}, "no bank named"),
        ({"bank_start_kpa": 14000.0, "bank_end_kpa": 9000.0}, {"bank": "B9"}, "contents of the bank not recorded"),
    ],
)
def test_R32_reasons_for_no_figure(cut: dict[str, Any], said: dict[str, Any], why: str) -> None:
    """Each thing that is missing is named."""
    found = oxygen_use(record(dive(1, cut, rods=5, **said)))
    assert found.dives[0].used_kg is None
    assert found.dives[0].why == why
    assert found.why_not == {why: 1}


def test_oxygen_without_rods_has_no_rate() -> None:
    """Oxygen used stands without a rod count; the figure per rod does not, nor on a bound."""
    (use,) = oxygen_use(record(dive(1, _bank(2000, 1400)))).dives
    assert use.used_kg is not None
    assert (use.kg_per_rod, use.why_no_rate) == (None, "rods not counted")
    (use,) = oxygen_use(record(dive(1, _bank(2000, 1400), rods=5, rods_basis="at least"))).dives
    assert use.why_no_rate == "rods are only a bound"


def _night(first: float | None, second: float | None) -> Any:
    """A dive that leaves the bank at 2200 psi, and one next morning that finds it at 1974 psi."""
    looks = [
        {"dive_ref": "J1 1", "read_at": "09:30", "bank_kpa": 2200 * PSI, "reason": "end", "temp_c": first},
        {"dive_ref": "J1 2", "day": "2026-05-13", "read_at": "08:00", "bank_kpa": 1974 * PSI, "reason": "start",
         "temp_c": second},
    ]  # fmt: skip
    bank = {"bank": "B1", "cylinders": 1.0, "contents_kg_each": 9.163, "label_kpa": 2200 * PSI, "label_temp_c": 21.11}
    return oxygen_use(
        record(dive(1, CLOCKED), dive(2, CLOCKED, dive_date="2026-05-13"), readings=looks, banks=[bank])
    ).idle


def test_R33_cooling_alone_gives_this_drop() -> None:
    """2200 psi at 70 F then 1974 psi at 32 F with no burning is about nothing used, by the real gas."""
    (fall,) = _night(21.11, 0.0)
    assert fall.used_kg == pytest.approx(0.0, abs=0.05)
    assert "cooling alone gives this drop" in fall.notes[0]


def test_R33_a_night_without_a_temperature_says_so() -> None:
    """Without temperatures the fall is read by the gauge, and the note says that a night lies between."""
    (fall,) = _night(None, None)
    assert fall.used_kg == pytest.approx(9.163 * 226 / 2200, rel=1e-3)
    assert not fall.at_one_temperature
    assert "a night lies between these readings" in fall.notes[0]
