"""Oxygen: the real gas against published values, label arithmetic, temperature, and what iron takes."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from burnlog.errors import InputError, RecordError, RefusedError
from burnlog.physics.oxygen import (
    FLOOR_SCF_PER_ROD,
    KG_PER_SCF,
    LABEL_TEMPERATURE_C,
    REFERENCES,
    contents_kg,
    cylinders_needed,
    from_kg,
    gauge_at_temperature_kpa,
    implausibly_low,
    iron_needs_kg,
    remaining_kg,
    remaining_real_kg,
    usable_kg,
    used,
    water_volume_kg,
)
from burnlog.physics.real_gas import MOLAR_MASS_KG, compressibility, density_kg_m3, gauge_at_density_kpa
from burnlog.units import KPA_PER_PSI, BankContents, read_bank

SEVENTY_F = LABEL_TEMPERATURE_C["label volume"]
LITRES_244 = 244 * KG_PER_SCF / density_kg_m3(2200 * KPA_PER_PSI, SEVENTY_F) * 1000

# CoolProp 8.0.0, oxygen (Schmidt and Wagner 1985): gauge [kPa], temperature [C], density [kg/m3], Z, as printed.
STATES = [
    (0.0, 0.0, 1.42903, 0.999031),
    (0.0, 15.0, 1.35436, 0.999237),
    (100.0 - 101.325, 15.0, 1.33664, 0.999247),
    (0.0, SEVENTY_F, 1.32614, 0.999310),
    (1000 * KPA_PER_PSI, SEVENTY_F, 95.375, 0.95939),
    (1500 * KPA_PER_PSI, SEVENTY_F, 144.348, 0.94625),
    (2000 * KPA_PER_PSI, SEVENTY_F, 193.514, 0.93884),
    (2200 * KPA_PER_PSI, SEVENTY_F, 213.009, 0.93758),
    (2400 * KPA_PER_PSI, SEVENTY_F, 232.311, 0.93732),
    (2640 * KPA_PER_PSI, SEVENTY_F, 255.130, 0.93831),
    (3000 * KPA_PER_PSI, SEVENTY_F, 288.466, 0.94241),
    (4500 * KPA_PER_PSI, SEVENTY_F, 411.779, 0.98868),
    (15_000.0, 15.0, 217.123, 0.92896),
    (20_000.0, 15.0, 288.274, 0.93134),
    (30_000.0, 15.0, 412.848, 0.97383),
    (20_000.0, 20.0, 280.960, 0.93928),
]


@pytest.mark.parametrize(("gauge", "temp_c", "density", "z"), STATES)
def test_density_of_oxygen(gauge: float, temp_c: float, density: float, z: float) -> None:
    """Density and Z to the last digit that CoolProp 8.0.0 prints for the same equation of state."""
    digits = 5 if density < 10 else 3
    assert density_kg_m3(gauge, temp_c) == pytest.approx(density, abs=0.6 * 10**-digits)
    assert compressibility(gauge, temp_c) == pytest.approx(z, abs=6e-6 if z < 0.99 else 6e-7)


@settings(derandomize=True, max_examples=80, deadline=None)
@given(gauge=st.floats(0.0, 45_000.0), temp_c=st.floats(-40.0, 70.0))
def test_pressure_and_density_are_each_others_inverse(gauge: float, temp_c: float) -> None:
    """The gauge at the density at a gauge is that gauge, over the whole range."""
    assert gauge_at_density_kpa(density_kg_m3(gauge, temp_c), temp_c) == pytest.approx(gauge, rel=1e-9, abs=1e-7)


@pytest.mark.parametrize(
    ("gauge", "temp_c", "words"),
    [(-50.0, 15.0, "pressure -50"), (46_000.0, 15.0, "pressure 46000"), (0.0, 80.0, "80 C")],
)
def test_R33_outside_the_range_is_refused(gauge: float, temp_c: float, words: str) -> None:
    """A pressure or temperature no cylinder has is refused with its value."""
    with pytest.raises(InputError, match=words):
        density_kg_m3(gauge, temp_c)
    with pytest.raises(InputError, match="nan"):
        density_kg_m3(float("nan"), 15.0)


def test_reference_states() -> None:
    """1 scf is 0.037552 kg (CoolProp); in Nm3 and Sm3 it is the ideal 0.026285 and 0.027729 to 0.03 %, by mass."""
    assert pytest.approx(0.037552, abs=5e-7) == KG_PER_SCF
    ideal = {unit: 0.3048**3 * kelvin / 294.2611 for unit, kelvin in (("Nm3", 273.15), ("Sm3", 288.15))}
    assert ideal == pytest.approx({"Nm3": 0.026285, "Sm3": 0.027729}, abs=1e-6)
    for unit, volume in ideal.items():
        assert from_kg(KG_PER_SCF, unit) == pytest.approx(volume, rel=3e-4)
    assert from_kg(np.array([KG_PER_SCF, np.nan]), "scf")[0] == pytest.approx(1.0)
    assert [reference.state for reference in REFERENCES.values()] == ["70 F, 1 atm", "0 C, 1 atm", "15 C, 1 atm"]


def test_cylinders_by_water_volume() -> None:
    """50 L at 200 bar and 15 C hold 14.414 kg, 10.642 m3 (1 atm) or 10.784 m3 (1 bar); 7 % over the ideal gas law."""
    full = water_volume_kg(50.0, 20_000.0)
    assert full == pytest.approx(14.414, abs=0.0005)
    assert from_kg(full, "Sm3") == pytest.approx(10.642, abs=0.001)
    assert full / density_kg_m3(-1.325, 15.0) == pytest.approx(10.784, abs=0.001)
    ideal = 50e-3 * 20_101.325e3 * MOLAR_MASS_KG / (8.31434 * 288.15)
    assert from_kg(full, "Sm3") / 9.919 == pytest.approx(full / ideal, rel=2e-3)
    assert from_kg(water_volume_kg(50.0, 30_000.0), "Sm3") == pytest.approx(15.241, abs=0.001)
    assert from_kg(water_volume_kg(40.0, 15_000.0), "Sm3") == pytest.approx(6.413, abs=0.001)
    with pytest.raises(InputError, match="water volume 0 L"):
        water_volume_kg(0.0, 20_000.0)


def test_contents_of_a_bank_as_typed() -> None:
    """12 x 244 cf are 110.0 kg, 9 x 50 L 200 bar 14.414 kg each, a weighed cylinder what it weighs."""
    assert 12 * contents_kg(read_bank("12 x 244 cf")) == pytest.approx(110.0, abs=0.05)
    assert contents_kg(read_bank("244 cf")) == pytest.approx(9.163, abs=0.0005)
    assert contents_kg(read_bank("9 x 50 L 200 bar")) == pytest.approx(14.414, abs=0.0005)
    assert contents_kg(read_bank("9 x 50 L 200 bar"), label_temp_c=20.0) == pytest.approx(50e-3 * 280.960, abs=1e-4)
    assert contents_kg(read_bank("2 x 9.1 kg")) == pytest.approx(9.1)
    with pytest.raises(InputError, match="not recorded"):
        contents_kg(read_bank("?"))
    with pytest.raises(InputError, match="needs the pressure"):
        contents_kg(BankContents(1.0, "measured", "50 L", "bank", each=50.0, route="water volume real gas"))


@pytest.mark.parametrize(
    ("psi", "real", "proportion"),
    [
        (2000, 221.7, 221.8),
        (1500, 165.4, 166.4),
        (1100, 120.4, 122.0),
        (1000, 109.3, 110.9),
        (500, 54.4, 55.5),
        (300, 33.0, 33.3),
        (200, 22.4, 22.2),
    ],
)
def test_gauge_proportion_is_near_the_real_gas(psi: float, real: float, proportion: float) -> None:
    """What is left in a 244 scf cylinder by gauge proportion and by real gas (recomputed with CoolProp), in scf."""
    label, gauge = 2200 * KPA_PER_PSI, psi * KPA_PER_PSI
    assert remaining_kg(244.0, label, gauge) == pytest.approx(proportion, abs=0.06)
    assert remaining_real_kg(244.0, label, gauge) == pytest.approx(real, abs=0.06)


@settings(derandomize=True, max_examples=60, deadline=None)
@given(st.floats(0.0, 2200.0))
def test_gauge_proportion_is_never_far_off(psi: float) -> None:
    """Over the whole range of a 244 scf cylinder the proportion is within 1.7 scf of the real gas."""
    label, gauge = 2200 * KPA_PER_PSI, psi * KPA_PER_PSI
    assert abs(remaining_kg(244.0, label, gauge) - remaining_real_kg(244.0, label, gauge)) < 1.7


def test_the_ideal_gas_law_would_run_low() -> None:
    """244 scf at 2200 psi and 70 F imply 43.02 L; the ideal gas law would find 6.2 % less in them."""
    assert pytest.approx(43.02, abs=0.005) == LITRES_244
    assert compressibility(0.0, SEVENTY_F) / compressibility(2200 * KPA_PER_PSI, SEVENTY_F) == pytest.approx(
        1.066, abs=5e-4
    )


@pytest.mark.parametrize(("fahrenheit", "psi"), [(32, 1974), (50, 2081), (90, 2318), (120, 2495)])
def test_R33_a_full_cylinder_in_cold_and_heat(fahrenheit: float, psi: float) -> None:
    """A cylinder full at 2200 psi and 70 F reads so at other temperatures (recomputed with CoolProp)."""
    found = gauge_at_temperature_kpa(2200 * KPA_PER_PSI, SEVENTY_F, (fahrenheit - 32) / 1.8)
    assert found / KPA_PER_PSI == pytest.approx(psi, abs=0.5)


def test_R32_used_by_gauge_proportion() -> None:
    """244 scf at 2200 psi from 2000 to 500 psi are 166.4 scf, 6.25 kg; over 30 rods 5.5 scf a rod."""
    label = 2200 * KPA_PER_PSI
    found = used(244 * KG_PER_SCF, label, 2000 * KPA_PER_PSI, 500 * KPA_PER_PSI)
    assert found.kg == pytest.approx(6.25, abs=0.005)
    assert found.scf == pytest.approx(166.4, abs=0.05)
    assert found.scf / 30 == pytest.approx(5.5, abs=0.05)
    assert not found.at_one_temperature
    assert found.notes == ()
    twelve = used(244 * KG_PER_SCF, label, 2000 * KPA_PER_PSI, 500 * KPA_PER_PSI, cylinders=12)
    assert twelve.kg == pytest.approx(12 * found.kg)


def test_R32_a_rise_without_a_change_over_has_no_figure() -> None:
    """A bank that rises ends with exit code 4 and no figure; a reading above label + 15 % is asked about."""
    label = 2200 * KPA_PER_PSI
    with pytest.raises(RecordError, match="no change-over is recorded") as caught:
        used(9.163, label, 500 * KPA_PER_PSI, 2000 * KPA_PER_PSI)
    assert caught.value.exit_code == 4
    with pytest.raises(InputError, match="more than 15 % above its label of 2200 psi"):
        used(9.163, label, 2531 * KPA_PER_PSI, 2000 * KPA_PER_PSI)
    assert used(9.163, label, 2529 * KPA_PER_PSI, 2000 * KPA_PER_PSI).kg > 0
    with pytest.raises(InputError, match="below zero"):
        used(9.163, label, 100.0, -1.0)
    with pytest.raises(InputError, match="nan"):
        used(9.163, label, float("nan"), 1.0)


def test_R33_cooling_alone() -> None:
    """2200 psi at 70 F, then 1974 psi at 32 F with no burning: about 0 used, cooling alone gives this drop."""
    label = 2200 * KPA_PER_PSI
    found = used(9.163, label, label, 1974 * KPA_PER_PSI, start_c=SEVENTY_F, end_c=0.0)
    assert found.at_one_temperature
    assert abs(found.scf) < 0.1
    assert "about 0 used; cooling alone gives this drop" in found.notes[0]
    warmed = used(9.163, label, 1974 * KPA_PER_PSI, label, start_c=0.0, end_c=SEVENTY_F)
    assert warmed.kg == pytest.approx(0.0, abs=0.005)
    assert "warming alone gives this rise" in warmed.notes[0]


def test_R33_without_temperatures_a_night_is_named() -> None:
    """Without temperatures the phantom 25 scf stand, and the note says what a night does."""
    label = 2200 * KPA_PER_PSI
    found = used(244 * KG_PER_SCF, label, label, 1974 * KPA_PER_PSI, night_between=True)
    assert found.scf == pytest.approx(25, abs=0.5)
    assert "no temperature was written" in found.notes[0]
    assert used(244 * KG_PER_SCF, label, label, 1974 * KPA_PER_PSI, start_c=21.0).notes == ()


def test_R33_burning_through_a_cold_night() -> None:
    """Readings at two temperatures are compared at the label's: warmer arithmetic than the bare difference."""
    label, bare = 2200 * KPA_PER_PSI, (2200 - 1000) / 2200 * 244
    found = used(244 * KG_PER_SCF, label, label, 1000 * KPA_PER_PSI, start_c=SEVENTY_F, end_c=0.0)
    assert found.scf < bare - 5
    assert found.notes == ()
    with pytest.raises(InputError, match="temperature 80 C"):
        used(9.163, label, label, 1000.0, start_c=80.0, end_c=0.0)


@pytest.mark.parametrize(("depth_fsw", "real"), [(30, 226.5), (60, 225.1), (100, 223.3), (150, 220.9)])
def test_usable_contents(depth_fsw: float, real: float) -> None:
    """Usable scf down to (90 + 0.445 D) + 50 psi: real gas as recomputed with CoolProp, proportion within 1.6 scf."""
    label, needed = 2200 * KPA_PER_PSI, (90 + 0.445 * depth_fsw) * KPA_PER_PSI
    stop = needed + 50 * KPA_PER_PSI
    assert 244 - remaining_real_kg(244.0, label, stop) == pytest.approx(real, abs=0.07)
    found = usable_kg(244.0, label, needed, 50 * KPA_PER_PSI)
    assert found == pytest.approx(244 - 244 * stop / label)
    assert found == pytest.approx(real, abs=1.6)


def test_nothing_usable_is_refused() -> None:
    """Where the needed pressure plus margin reaches the label, no cylinder count is made up."""
    label = 2200 * KPA_PER_PSI
    with pytest.raises(RefusedError, match="none of it is usable"):
        usable_kg(9.163, label, 2000 * KPA_PER_PSI, 200 * KPA_PER_PSI)
    with pytest.raises(InputError, match="0 or more"):
        usable_kg(9.163, label, -1.0, 0.0)


@pytest.mark.parametrize(
    ("kg", "each", "count"), [(0.0, 8.5, 0), (8.5, 8.5, 1), (8.5001, 8.5, 2), (31.2, 8.5, 4), (0.3 * 3, 0.3, 3)]
)
def test_R59_whole_cylinders_once(kg: float, each: float, count: int) -> None:
    """Cylinders are rounded up once, on the total, and rounding noise buys none."""
    assert cylinders_needed(kg, each) == count


def test_cylinders_need_usable_contents() -> None:
    """A negative mass, or cylinders that give nothing, are refused."""
    for kg, each in ((-1.0, 8.5), (1.0, 0.0)):
        with pytest.raises(InputError, match="above 0"):
            cylinders_needed(kg, each)


@pytest.mark.parametrize(
    ("oxide", "litres", "scf_per_lb"), [("FeO", 200.5, 3.461), ("Fe3O4", 267.3, 4.614), ("Fe2O3", 300.7, 5.191)]
)
def test_oxygen_that_burns_iron(oxide: str, litres: float, scf_per_lb: float) -> None:
    """1 kg of iron takes 200.5 / 267.3 / 300.7 L at 0 C; a pound 3.461 / 4.614 / 5.191 scf (recomputed)."""
    assert from_kg(iron_needs_kg(1.0, oxide), "Nm3") * 1000 == pytest.approx(litres, abs=0.06)
    assert from_kg(iron_needs_kg(0.45359237, oxide), "scf") == pytest.approx(scf_per_lb, abs=0.0006)


def test_R52_the_floor_per_rod_is_what_the_iron_takes() -> None:
    """9 in of 1/2 in plate in a 3/8 in kerf and a rod of 0.4 lb, all to FeO, take just over 3 scf."""
    steel_lb = 9 * 0.5 * 0.375 * 0.2836  # in3 of steel at 0.2836 lb/in3
    assert steel_lb == pytest.approx(0.479, abs=0.0005)
    plate, rod = (from_kg(iron_needs_kg(lb * 0.45359237, "FeO"), "scf") for lb in (steel_lb, 0.4))
    assert plate == pytest.approx(1.66, abs=0.005)
    assert rod == pytest.approx(1.4, abs=0.05)
    assert FLOOR_SCF_PER_ROD <= plate + rod < 1.05 * FLOOR_SCF_PER_ROD


def test_R52_implausibly_low_use() -> None:
    """Under 3 scf a rod is implausible, 3 is not; no rods, no judgement."""
    assert implausibly_low(29.0 * KG_PER_SCF, 10)
    assert not implausibly_low(30.1 * KG_PER_SCF, 10)
    assert not implausibly_low(0.0, 0)
