"""Units of the reader, for charts, pages and texts alike: feet or metres, inches or millimetres, psi or bar.

It stands with the charts because they may import no page. Nothing here is for arithmetic on the record.
"""

from __future__ import annotations

import re
from typing import NamedTuple

from burnlog.measures import KPA_PER_PSI, MM_PER_IN
from burnlog.wording import show

__all__ = ["Unit", "cut_length", "length_unit", "pressure_unit", "rods_named", "steel_unit"]

M_PER_FT = 0.3048


class Unit(NamedTuple):
    """A unit: how much of the SI one it is, and its name. Amounts are divided by the size, rates over it multiplied.

    Examples
    --------
    >>> size, name = length_unit("us")
    >>> f"{3.2808 * size:.2f} rods/{name}, {12.192 / size:.0f} {name}"
    '1.00 rods/ft, 40 ft'
    """

    size: float
    name: str


def length_unit(profile: str) -> Unit:
    """Of a cut line [m]: the foot for ``us``, else the metre."""
    return Unit(M_PER_FT, "ft") if profile == "us" else Unit(1.0, "m")


def steel_unit(profile: str) -> Unit:
    """Of a thickness [mm]: the inch for ``us``, else the millimetre."""
    return Unit(MM_PER_IN, "in") if profile == "us" else Unit(1.0, "mm")


def pressure_unit(profile: str) -> Unit:
    """Of a gauge pressure [kPa]: the psi for ``us``, else the bar."""
    return Unit(KPA_PER_PSI, "psi") if profile == "us" else Unit(100.0, "bar")


def cut_length(metres: float, profile: str) -> str:
    """A length to be burned as a bid says it: feet to a tenth for ``us``, else metres to the centimetre.

    Examples
    --------
    >>> cut_length(12.5, "us"), cut_length(12.5, "metric")
    ('41.0 ft', '12.50 m')
    """
    size, name = length_unit(profile)
    return f"{metres / size:.{1 if profile == 'us' else 2}f} {name}"


def rods_named(level: str, profile: str) -> str:
    """Rods as the analyses name them, the diameter in the reader's unit; any other words as they are.

    Parameters
    ----------
    level : str
        A family, with the diameter [mm] where the family comes in several: `exothermic 6.35 mm`.
    profile : str
        ``us`` or ``metric``.

    Examples
    --------
    >>> rods_named("exothermic 6.35 mm", "us"), rods_named("exothermic 6.35 mm", "metric")
    ('exothermic 1/4 in', 'exothermic 6.35 mm')
    >>> rods_named("tubular 8 mm", "us"), rods_named("heavy rust", "us")
    ('tubular 0.315 in', 'heavy rust')
    """
    found = re.fullmatch(r"(.+) (\d+(?:\.\d+)?) mm", level)
    if found is None or profile != "us":
        return level
    return f"{found[1]} {show(float(found[2]), 'diameter', profile, digits=3)}"
