"""Units of the reader."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from burnlog import units
from burnlog.charts.amounts import cut_length, length_unit, pressure_unit, rods_named, steel_unit


@pytest.mark.parametrize(
    ("label", "said"),
    [
        ("exothermic 6.35 mm", "exothermic 1/4 in"),  # 1 in is 25.4 mm by definition
        ("exothermic 9.525 mm", "exothermic 3/8 in"),
        ("tubular 7.9375 mm", "tubular 5/16 in"),
        ("tubular 8 mm", "tubular 0.315 in"),  # 8 / 25.4 = 0.31496
        ("exothermic", "exothermic"),
        ("1-3 ft", "1-3 ft"),
    ],
)
def test_rods_are_named_in_the_readers_unit(label: str, said: str) -> None:
    """A diameter is shown in inches to who reads inches, and every other word stays as it is."""
    assert rods_named(label, "us") == said
    assert rods_named(label, "metric") == label


@settings(derandomize=True, max_examples=60)
@given(st.integers(min_value=1, max_value=64))
def test_a_diameter_in_64ths_reads_back(parts: int) -> None:
    """Rods of any 64th of an inch keep their diameter when their name is shown in inches."""
    millimetres = parts * 25.4 / 64
    said = rods_named(f"exothermic {millimetres!r} mm", "us").removeprefix("exothermic ")
    assert units.read(said, "diameter").value == pytest.approx(millimetres, rel=1e-9)


def test_units_of_the_reader() -> None:
    """The foot, the inch and the psi are what they are by definition; who reads metric gets m, mm and bar."""
    assert length_unit("us") == (0.3048, "ft")
    assert steel_unit("us") == (25.4, "in")
    assert pressure_unit("us").size == pytest.approx(0.45359237 * 9.80665 / 0.0254**2 / 1000, rel=1e-12)
    assert [unit("metric").name for unit in (length_unit, steel_unit, pressure_unit)] == ["m", "mm", "bar"]
    assert cut_length(82.296, "us") == "270.0 ft"
    assert cut_length(82.296, "metric") == "82.30 m"
