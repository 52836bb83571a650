"""Water columns against published gradients."""

from __future__ import annotations

import numpy as np
import pytest

from burnlog.errors import InputError
from burnlog.physics.water import (
    KPA_PER_M,
    OVER_BOTTOM,
    column_kpa,
    depth_of_level_msw,
    fsw_to_msw,
    msw_to_fsw,
    over_bottom_kpa,
)
from burnlog.units import KPA_PER_FSW, KPA_PER_PSI, read

FOOT_M = 0.3048


def test_gradients_as_published() -> None:
    """64/144 psi to a foot of sea water (US Navy Diving Manual, second-hand), 0.444 in TM 55-1915-200 (read)."""
    psi_per_fsw = KPA_PER_FSW / KPA_PER_PSI
    assert psi_per_fsw == pytest.approx(64 / 144, abs=6e-6)
    assert round(psi_per_fsw, 3) == 0.444
    assert msw_to_fsw(1.0) == pytest.approx(3.26339, abs=5e-6)
    assert column_kpa(1.0) / KPA_PER_PSI == pytest.approx(1.450377, abs=5e-7)
    assert KPA_PER_M["fresh"] * FOOT_M / KPA_PER_PSI == pytest.approx(0.43353, abs=5e-6)


def test_R20_depths() -> None:
    """45 fsw is 13.789 msw; 45 ft of fresh water is 13.45 msw."""
    assert fsw_to_msw(45.0) == pytest.approx(13.789, abs=0.0005)
    assert read("45 ft", "depth", water="fresh").value == pytest.approx(45 * FOOT_M * KPA_PER_M["fresh"] / 10)


@pytest.mark.parametrize("depth_fsw", [0, 33, 60, 66, 99, 100, 130, 165, 200, 300])
def test_R21_over_bottom_by_either_constant(depth_fsw: float) -> None:
    """A gauge set for 90 psi over bottom reads back as 90: to 0.02 psi at 64/144, to 0.17 psi at 0.445 psi/ft."""
    for gradient, tolerance in ((64 / 144, 0.02), (0.445, 0.17)):
        gauge = (90 + gradient * depth_fsw) * KPA_PER_PSI
        found = over_bottom_kpa(gauge, fsw_to_msw(float(depth_fsw))) / KPA_PER_PSI
        assert found == pytest.approx(90.0, abs=tolerance)


def test_R21_gauge_minus_column() -> None:
    """116.7 psi at 60 fsw is 90.0 psi over bottom, and the name says what is not in it."""
    assert round(over_bottom_kpa(116.7 * KPA_PER_PSI, fsw_to_msw(60.0)) / KPA_PER_PSI, 1) == 90.0
    assert OVER_BOTTOM == "over bottom (hose loss not included)"


def test_arrays_and_missing_values() -> None:
    """Columns work on arrays, and what is missing stays missing."""
    depth = np.array([0.0, 10.0, np.nan])
    assert column_kpa(depth)[:2] == pytest.approx([0.0, 100.0])
    left = over_bottom_kpa(np.array([500.0, 50.0, 500.0]), depth)
    assert left[:2] == pytest.approx([500.0, -50.0])
    assert np.isnan(left[2])


def test_R20_elevation_is_not_depth() -> None:
    """A level becomes a depth only with a water level, in water of one density, and not above the surface."""
    assert depth_of_level_msw(-11.6, 0.4, "salt") == pytest.approx(12.0)
    assert depth_of_level_msw(-13.716, 0.0, "fresh") == pytest.approx(13.4508, abs=5e-5)
    assert depth_of_level_msw(0.6096, 0.0, "salt") is None
    with pytest.raises(InputError, match="no one density"):
        depth_of_level_msw(-1.0, 0.0, "brackish")
