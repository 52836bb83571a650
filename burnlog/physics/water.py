"""Water over the work: depth as a pressure, and what a deck gauge leaves at the tip.

fsw and msw are pressures by definition; a length of fresh water becomes one through its density [1]_ [2]_. Elevation
hangs from a datum: it says nothing of depth until somebody says where the water stands.

References
----------
.. [1] `usn-fsw`.
.. [2] `msw`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, TypeVar

from burnlog.errors import InputError
from burnlog.measures import KPA_PER_FSW, KPA_PER_M_FRESH, KPA_PER_MSW

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

__all__ = [
    "KPA_PER_M",
    "OVER_BOTTOM",
    "column_kpa",
    "depth_of_level_msw",
    "fsw_to_msw",
    "msw_to_fsw",
    "over_bottom_kpa",
]

Number = TypeVar("Number", float, "NDArray[np.float64]")

KPA_PER_M: Mapping[str, float] = {"salt": KPA_PER_MSW, "fresh": KPA_PER_M_FRESH}
"""Pressure under one metre of water [kPa/m]; brackish water has no one density and none here."""

OVER_BOTTOM = "over bottom (hose loss not included)"
"""How a derived over-bottom pressure is named wherever it is printed: gauge minus water column."""


def fsw_to_msw(fsw: Number) -> Number:
    """Feet of sea water to metres of sea water, both pressures.

    Examples
    --------
    >>> round(fsw_to_msw(45.0), 3)
    13.789
    """
    return fsw * KPA_PER_FSW / KPA_PER_MSW


def msw_to_fsw(msw: Number) -> Number:
    """Metres of sea water to feet of sea water, both pressures."""
    return msw * KPA_PER_MSW / KPA_PER_FSW


def column_kpa(depth_msw: Number) -> Number:
    """Pressure of the water over the work [kPa]; floats or arrays, NaN stays NaN."""
    return depth_msw * KPA_PER_MSW


def over_bottom_kpa(gauge_kpa: Number, depth_msw: Number) -> Number:
    """Gauge minus water column [kPa]: what a deck gauge leaves above the water at the tip, hose loss not included.

    The gauge reads against air, the tip burns against water. While gas flows the hose takes its own part, so this is
    an upper bound; negative where the column is the heavier. Print it as `OVER_BOTTOM`.

    Parameters
    ----------
    gauge_kpa : float or array (n,)
        Regulator reading on deck [kPa gauge].
    depth_msw : float or array (n,)
        Depth of the tip [msw].

    Examples
    --------
    >>> psi = 6.894757293168361
    >>> round(over_bottom_kpa(116.7 * psi, fsw_to_msw(60.0)) / psi, 1)
    90.0
    """
    return gauge_kpa - depth_msw * KPA_PER_MSW


def depth_of_level_msw(elevation_m: float, water_level_m: float, water: str) -> float | None:
    """Depth of a level under the water surface, both told from one datum.

    Parameters
    ----------
    elevation_m, water_level_m : float
        Above the datum [m].
    water : {"salt", "fresh"}

    Returns
    -------
    float or None
        [msw]; None for a level above the water, to which a depth does not apply.

    Raises
    ------
    InputError
        The water has no one density.

    Examples
    --------
    >>> depth_of_level_msw(-11.6, 0.4, "salt")
    12.0
    >>> depth_of_level_msw(0.6096, 0.0, "salt") is None
    True
    """
    if water not in KPA_PER_M:
        raise InputError(f"water '{water}' has no one density: a level in it cannot be turned into a pressure")
    below = water_level_m - elevation_m
    return None if below < 0 else below * KPA_PER_M[water] / KPA_PER_MSW
