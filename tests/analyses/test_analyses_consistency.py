"""Rules that need no model: contradictions between rows, and values that cannot be."""

from __future__ import annotations

from typing import Any

import pytest
from review_record import record

from burnlog.analyses.consistency import consistency
from burnlog.analyses.physical import far_from_own_rate, physical
from burnlog.analyses.scope import Scope
from burnlog.analyses.slips import slips
from burnlog.analyses.tallies import gather

PSI = 6.894757293168361


def clean() -> list[dict[str, Any]]:
    """Six ordinary cuts in two dives, with every input of every rule written."""
    rows = []
    for place in range(6):
        start, stop = 9 * 60 + 20 * (place % 3), 9 * 60 + 20 * (place % 3) + 15
        rows.append(
            {
                "dive_no": 1 + place // 3,
                "rods": 8 + place % 2,
                "start_at": f"{start // 60:02d}:{start % 60:02d}",
                "stop_at": f"{stop // 60:02d}:{stop % 60:02d}",
                "elapsed_s": 900.0,
                "burn_s": 400.0,
                "bottom_time_s": 4500.0,
                "static_kpa": 620.0,
                "flowing_kpa": 550.0,
                "bank_start_kpa": 2000 * PSI - 4000.0 * (place % 3),
                "bank_end_kpa": 2000 * PSI - 4000.0 * (place % 3) - 3500.0,
            }
        )
    return rows


def flags_of(rows: list[dict[str, Any]]) -> list[tuple[str, str]]:
    """Rule and target of every flag raised without a model, the small-set rule included."""
    frames = record(rows)
    found = consistency(frames) + slips(frames) + physical(frames) + far_from_own_rate(gather(frames, Scope()))
    assert all(flag.kind == "check the sheet" for flag in found.flags)
    assert all("check the sheet" in flag.question for flag in found.flags)
    return [(flag.rule, flag.target) for flag in found.flags]


def test_a_clean_record_raises_nothing() -> None:
    """Six ordinary cuts raise no flag, and every rule says how many rows it judged."""
    assert flags_of(clean()) == []
    frames = record(clean())
    found = consistency(frames) + slips(frames) + physical(frames)
    assert found.judged["burn longer than elapsed"] == 6
    assert found.judged["under 3 scf oxygen per rod"] == 6
    assert found.judged["stop after the next start"] == 4
    assert found.judged["through but short of plan"] == 6
    assert found.judged["length in another unit"] == 6
    assert found.judged["cuts longer than the dive"] == 2


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        # 0.9 of 1 m planned is the floor; 0.3048 is a foot typed as a metre
        ({1: {"new_length_m": 0.3048}}, ("through but short of plan", "J1 L2")),
        ({1: {"line": "L1", "planned_length_m": 2.0, "thickness_mm": 19.05}, 0: {"planned_length_m": 2.0}},
         ("two thicknesses on one line", "J1 L1")),
        ({4: {"thickness_mm": 25.4}}, ("rare thickness for its section", "J1 L5")),
        ({0: {"stop_at": "10:15"}}, ("stop after the next start", "J1 1.1")),
        # 9.163 kg at 15168 kPa: 250 kPa is 0.151 kg, over 8 rods 0.0189 kg = 0.50 scf a rod
        ({2: {"bank_end_kpa": 2000 * PSI - 8250.0}}, ("under 3 scf oxygen per rod", "tally 3 (J1 1.3)")),
        ({2: {"elapsed_s": 100.0, "burn_s": 90.0}}, ("under 20 s elapsed per rod", "tally 3 (J1 1.3)")),
        ({3: {"burn_s": 950.0}}, ("burn longer than elapsed", "J1 2.1")),
        ({3: {"rods": 0}}, ("no rods on a through line", "J1 L4")),
        ({5: {"rods": 45, "bank_start_kpa": float("nan")}}, ("far from the job's own rate", "tally 6 (J1 2.3)")),
        # a zero or two too many do not make the other five look cheap
        ({5: {"rods": 450, "bank_start_kpa": float("nan"), "elapsed_s": float("nan")}},
         ("far from the job's own rate", "tally 6 (J1 2.3)")),
        # 70 min of cutting in 60 of bottom time; 62 are within what two clocks differ by
        ({2: {"elapsed_s": 2400.0}, 0: {"bottom_time_s": 3600.0}}, ("cuts longer than the dive", "J1 1")),
        # 1.85 m and 0.15 m on a line of 2 m, the second typed as 0.15 ft; or the first in feet, 6.07 for 1.85
        ({0: {"new_length_m": 1.85, "planned_length_m": 2.0},
          1: {"line": "L1", "planned_length_m": 2.0, "new_length_m": 0.0457, "rods": 1}},
         ("length in another unit", "J1 L1")),
        ({0: {"new_length_m": 6.07, "planned_length_m": 2.0, "rods": 18},
          1: {"line": "L1", "planned_length_m": 2.0, "new_length_m": 0.15, "rods": 2}},
         ("length in another unit", "J1 L1")),
        ({5: {"rods": 1}}, ("far from the job's own rate", "tally 6 (J1 2.3)")),
        ({5: {"flowing_kpa": 640.0}}, ("flowing above static", "J1 2.3")),
    ],
)  # fmt: skip
def test_R52_one_seeded_row_raises_one_flag(change: dict[int, dict[str, Any]], expected: tuple[str, str]) -> None:
    """One faulty row raises exactly the flag of its rule and no other."""
    rows = clean()
    for place, values in change.items():
        rows[place].update(values)
    assert flags_of(rows) == [expected]


def test_R52_blank_inputs_are_not_counted_as_passed() -> None:
    """A rule whose inputs are blank judges no row and says how many it could not judge."""
    bare = [{"new_length_m": 1.0, "thickness_mm": 12.7, "planned_length_m": float("nan")} for _ in range(4)]
    frames = record(bare)
    found = consistency(frames) + physical(frames)
    assert found.flags == ()
    for rule in ("burn longer than elapsed", "flowing above static", "through but short of plan"):
        assert found.judged[rule] == 0
        assert found.blank[rule] == 4
    assert found.judged["under 3 scf oxygen per rod"] == 0
    assert found.judged["no rods on a through line"] == 0


def test_a_line_short_because_of_a_blank_length_is_not_judged() -> None:
    """A blank length is not nought: the line cannot be called short of its plan."""
    rows = clean()
    rows[0]["planned_length_m"] = rows[1]["planned_length_m"] = 2.0
    rows[1].update({"line": "L1", "new_length_m": float("nan")})
    assert flags_of(rows) == []


def test_flange_and_web_are_not_two_thicknesses() -> None:
    """An H section cut over flange and web keeps both thicknesses, line by line."""
    rows = []
    for place in range(10):
        steel = {"section": "HP14x117", "section_kind": "h section", "line": f"P{place // 2}"}
        rows.append({**steel, "thickness_mm": 20.4 if place % 2 else 14.2, "planned_length_m": 2.0, "rods": 9})
    assert flags_of(rows) == []


def test_imported_sections_say_their_shape_by_name() -> None:
    """A sheet that names HP14x117 and no shape is still known to have flanges and web."""
    rows = []
    for place in range(10):
        steel = {"section": "HP14x117", "section_kind": None, "line": f"P{place // 2}"}
        rows.append({**steel, "thickness_mm": 20.4 if place % 2 else 14.2, "planned_length_m": 2.0, "rods": 9})
    assert flags_of(rows) == []
    for row in rows:
        row["section"] = "PL20"
    assert {rule for rule, _ in flags_of(rows)} == {"two thicknesses on one line"}


@pytest.mark.parametrize("name", ["plate", "pipe", "scrap plate", "Coupon"])
def test_a_shape_without_a_size_goes_with_any_thickness(name: str) -> None:
    """Lines all called plate are no rolled section: one of another thickness is not rare, and none was judged."""
    rows = clean()
    for row in rows:
        row["section"] = name
    rows[4]["thickness_mm"] = 25.4
    assert flags_of(rows) == []
    found = consistency(record(rows))
    assert found.judged["rare thickness for its section"] == 0
    assert found.blank["rare thickness for its section"] == 6


def test_a_line_off_its_plan_that_no_unit_explains_raises_nothing() -> None:
    """Five per cent short with no row that another unit would put right is a line cut short."""
    rows = clean()
    rows[0].update(new_length_m=0.65)
    rows[1].update(line="L1", new_length_m=0.3)
    assert flags_of(rows) == []


def test_a_gauge_too_coarse_for_the_count_is_not_judged() -> None:
    """Two rods on a bank read to 100 psi say nothing of oxygen per rod, and the rule does not run."""
    rows = [{"rods": 2, "bank_start_kpa": 2000 * PSI, "bank_end_kpa": 2000 * PSI, "dive_no": n} for n in (1, 2, 3)]
    found = physical(record(rows))
    assert found.flags == ()
    assert found.judged["under 3 scf oxygen per rod"] == 0


def test_a_change_of_bank_leaves_no_oxygen_figure() -> None:
    """A dive with a change of bank written in it has no oxygen per rod."""
    rows = clean()
    rows[2]["bank_end_kpa"] = 2000 * PSI - 8100.0
    frames = record(rows, happenings=[{"kind": "event", "word": "bank change-over", "job": "J1", "dive_ref": "J1 1"}])
    found = physical(frames)
    assert found.judged["under 3 scf oxygen per rod"] == 3
    assert found.flags == ()


def test_readings_of_a_dive_raise_one_flag_for_flowing_above_static() -> None:
    """Three impossible gauge readings in one dive are one question, not three."""
    readings = [
        {"job": "J1", "dive_ref": "J1 1", "rig": "R1", "after_rod": k, "static_kpa": 600.0, "flowing_kpa": 610.0 + k}
        for k in (1, 2, 3)
    ]
    found = physical(record([{"rods": 8}], readings=readings))
    assert [(flag.rule, flag.target, flag.seen) for flag in found.flags] == [("flowing above static", "J1 1", 613.0)]
