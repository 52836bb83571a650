"""Oxygen by mass: what a bank holds, what was used, and what temperature does to a gauge.

Mass has no reference state, so kg is kept and cubic feet or metres are printed with theirs. A labelled cylinder is
counted by gauge proportion, which stays within 1.6 scf of the real gas over its whole range; a cylinder known by
its water volume needs the real gas, because the ideal law runs 6 to 7 % low (both recomputed in the tests, from the
equation in `real_gas`). What is used over a window is all of it: hold test, purging, leaks and idle flow.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

from burnlog.errors import InputError, RecordError, RefusedError
from burnlog.measures import BankContents
from burnlog.physics.real_gas import density_kg_m3, gauge_at_density_kpa
from burnlog.wording import show

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

__all__ = [
    "FLOOR_SCF_PER_ROD",
    "KG_PER_SCF",
    "LABEL_TEMPERATURE_C",
    "REFERENCES",
    "Reference",
    "Use",
    "contents_kg",
    "cylinders_needed",
    "from_kg",
    "gauge_at_temperature_kpa",
    "implausibly_low",
    "iron_needs_kg",
    "remaining_kg",
    "remaining_real_kg",
    "usable_kg",
    "used",
    "water_volume_kg",
]

Number = TypeVar("Number", float, "NDArray[np.float64]")

SEVENTY_F_C = (70.0 - 32.0) / 1.8
FT3_M3 = 0.3048**3


@dataclass(frozen=True)
class Reference:
    """A unit of gas volume: its mass, and the state it is counted at."""

    unit: str
    kg: float
    state: str


KG_PER_SCF = density_kg_m3(0.0, SEVENTY_F_C) * FT3_M3
"""One standard cubic foot of oxygen, 70 F and 1 atm [kg]."""
REFERENCES: Mapping[str, Reference] = {
    "scf": Reference("scf", KG_PER_SCF, "70 F, 1 atm"),
    "Nm3": Reference("Nm3", density_kg_m3(0.0, 0.0), "0 C, 1 atm"),
    "Sm3": Reference("Sm3", density_kg_m3(0.0, 15.0), "15 C, 1 atm"),
}
LABEL_TEMPERATURE_C: Mapping[str, float] = {"label volume": SEVENTY_F_C, "water volume real gas": 15.0}
"""What labels are printed for: 70 F in cubic feet, 15 C in litres and bar."""

ABOVE_LABEL = 1.15
"""Readings above this share of the label pressure are asked about: judgement, no source."""
ABOUT_NOTHING = 0.01
"""Share of the contents below which a difference is called nothing: a needle's width, judgement."""
NIGHT_C = 10.0


def from_kg(kg: Number, unit: str) -> Number:
    """Mass as a volume in `REFERENCES[unit]`; print its `state` beside it.

    Examples
    --------
    >>> round(from_kg(9.163, "scf"))
    244
    """
    return kg / REFERENCES[unit].kg


def water_volume_kg(litres: float, gauge_kpa: float, temp_c: float = 15.0) -> float:
    """Mass in a cylinder of `litres` water volume at a gauge pressure and temperature, real gas.

    Examples
    --------
    >>> round(water_volume_kg(50.0, 20_000.0), 3)
    14.414
    """
    if not litres > 0:
        raise InputError(f"water volume {litres:g} L: a cylinder has more than 0")
    return litres / 1000 * density_kg_m3(gauge_kpa, temp_c)


def contents_kg(bank: BankContents, *, label_temp_c: float | None = None) -> float:
    """Mass in one full cylinder of a bank as typed.

    Raises
    ------
    InputError
        Nothing was typed, or a water volume has no pressure.

    Examples
    --------
    >>> from burnlog.units import read_bank
    >>> round(12 * contents_kg(read_bank("12 x 244 cf")), 1)
    110.0
    """
    if bank.value is None:
        raise InputError("contents of the bank are not recorded: type them as 12 x 244 cf or 9 x 50 L 200 bar")
    if bank.route == "label volume":
        return bank.each * KG_PER_SCF
    if bank.route == "weighed":
        return bank.each
    if bank.label_kpa is None:
        raise InputError("a water volume needs the pressure that fills it, as in 9 x 50 L 200 bar")
    usual = LABEL_TEMPERATURE_C["water volume real gas"]
    return water_volume_kg(bank.each, bank.label_kpa, usual if label_temp_c is None else label_temp_c)


def remaining_kg(full_kg: Number, label_kpa: Number, gauge_kpa: Number) -> Number:
    """What a labelled cylinder still holds, by gauge proportion; arrays or floats, NaN stays NaN.

    Examples
    --------
    >>> round(remaining_kg(244.0, 2200.0, 1500.0), 1)
    166.4
    """
    return full_kg * gauge_kpa / label_kpa


def remaining_real_kg(full_kg: float, label_kpa: float, gauge_kpa: float, *, temp_c: float = SEVENTY_F_C) -> float:
    """The same by real gas: densities at the gauge and at the label pressure, both at `temp_c`."""
    return full_kg * density_kg_m3(gauge_kpa, temp_c) / density_kg_m3(label_kpa, temp_c)


@dataclass(frozen=True)
class Use:
    """Oxygen used between two readings of one bank.

    `at_one_temperature` is True where both readings were brought to the label's temperature first; `notes` say what
    a reader has to know.
    """

    kg: float
    at_one_temperature: bool
    notes: tuple[str, ...] = ()

    @property
    def scf(self) -> float:
        """Standard cubic feet, 70 F and 1 atm."""
        return from_kg(self.kg, "scf")


def used(
    full_kg: float,
    label_kpa: float,
    start_kpa: float,
    end_kpa: float,
    *,
    cylinders: int = 1,
    start_c: float | None = None,
    end_c: float | None = None,
    label_c: float = SEVENTY_F_C,
    night_between: bool = False,
) -> Use:
    """Oxygen used between two bank readings with no change-over between them.

    Parameters
    ----------
    full_kg : float
        Contents of one full cylinder [kg].
    label_kpa : float
        Pressure the label speaks of [kPa gauge].
    start_kpa, end_kpa : float
        Bank readings [kPa gauge].
    cylinders : int
        Cylinders on the bank.
    start_c, end_c : float, optional
        Temperatures of the readings [C]; with both, the readings are compared at one temperature.
    label_c : float
        Temperature the label speaks of [C].
    night_between : bool
        Says so in the notes where a temperature is missing.

    Returns
    -------
    Use

    Raises
    ------
    InputError
        A reading is negative or more than 15 % above the label, or a temperature cannot be.
    RecordError
        Pressure rose although no change-over is on record: this window has no figure.

    Examples
    --------
    >>> round(used(9.163, 2200.0, 2000.0, 500.0).kg, 2)
    6.25
    """
    for name, value in (("start", start_kpa), ("end", end_kpa)):
        if not value >= 0:
            raise InputError(f"bank at {name}: {value:g} is below zero")
        if value > ABOVE_LABEL * label_kpa:
            raise InputError(
                f"bank at {name} reads {_both(value)}, more than 15 % above its label of {_both(label_kpa)}: "
                "check the gauge, the unit and the bank"
            )
    notes: list[str] = []
    corrected = start_c is not None and end_c is not None
    if start_c is not None and end_c is not None:
        cooled_kpa = gauge_at_temperature_kpa(start_kpa, start_c, end_c)
        first = gauge_at_temperature_kpa(start_kpa, start_c, label_c)
        last = gauge_at_temperature_kpa(end_kpa, end_c, label_c)
        if abs(first - last) <= ABOUT_NOTHING * label_kpa:
            if abs(start_kpa - end_kpa) > ABOUT_NOTHING * label_kpa:
                word = "cooling" if end_c < start_c else "warming"
                notes.append(
                    f"about 0 used; {word} alone gives this {'drop' if end_c < start_c else 'rise'} "
                    f"({_both(start_kpa)} at {start_c:.0f} C is {_both(cooled_kpa)} at {end_c:.0f} C)"
                )
            first = max(first, last)  # inside a needle's width a rise is not a change-over
    else:
        first, last = start_kpa, end_kpa
        if night_between:
            notes.append(
                "a night lies between these readings and no temperature was written: cooling by "
                f"{NIGHT_C:.0f} C alone lowers a gauge by about {100 * _cooling_share(start_kpa):.0f} %"
            )
    if last > first:
        raise RecordError(
            f"the bank rose from {_both(start_kpa)} to {_both(end_kpa)} and no change-over is recorded: no oxygen "
            "figure for this window; record the change-over, or put the reading right"
        )
    return Use(cylinders * remaining_kg(full_kg, label_kpa, first - last), corrected, tuple(notes))


def _cooling_share(gauge_kpa: float) -> float:
    colder = gauge_at_temperature_kpa(gauge_kpa, SEVENTY_F_C, SEVENTY_F_C - NIGHT_C)
    return 1 - colder / gauge_kpa if gauge_kpa else 0.0


def _both(kpa: float) -> str:
    return f"{show(kpa, 'pressure', 'us', digits=4)} ({show(kpa, 'pressure', digits=4)})"


def gauge_at_temperature_kpa(gauge_kpa: float, from_c: float, to_c: float) -> float:
    """What a gauge shows when a closed cylinder goes from one temperature to another [kPa gauge].

    Examples
    --------
    >>> psi = 6.894757293168361
    >>> round(gauge_at_temperature_kpa(2200 * psi, SEVENTY_F_C, 0.0) / psi)
    1974
    """
    return gauge_at_density_kpa(density_kg_m3(gauge_kpa, from_c), to_c)


def usable_kg(full_kg: float, label_kpa: float, needed_kpa: float, margin_kpa: float) -> float:
    """What one cylinder gives until the bank falls to the pressure needed at the regulator plus a margin.

    Both are the user's: nothing here says what a regulator needs.

    Raises
    ------
    RefusedError
        Needed pressure plus margin is not below the label pressure.
    """
    if needed_kpa < 0 or margin_kpa < 0:
        raise InputError("needed pressure and margin are 0 or more")
    stop = needed_kpa + margin_kpa
    if stop >= label_kpa:
        raise RefusedError(
            f"a full cylinder at {_both(label_kpa)} is not above {_both(stop)}, the pressure needed plus the margin: "
            "none of it is usable"
        )
    return remaining_kg(full_kg, label_kpa, label_kpa - stop)


def cylinders_needed(kg: float, usable_each_kg: float) -> int:
    """Whole cylinders that give a mass, once, on the total.

    Examples
    --------
    >>> cylinders_needed(31.2, 8.5)
    4
    """
    if kg < 0 or not usable_each_kg > 0:
        raise InputError("a mass of 0 or more and usable contents above 0 are needed")
    return math.ceil(kg / usable_each_kg - 1e-9)


FLOOR_SCF_PER_ROD = 3.0
"""Oxygen below which a use per rod is implausible: what the iron alone takes, recomputed in the tests."""
IRON_KG_PER_MOL = 0.055845
OXYGEN_KG_PER_MOL = 0.015999
_OXYGEN_PER_IRON = {"FeO": 1.0, "Fe3O4": 4 / 3, "Fe2O3": 1.5}


def iron_needs_kg(iron_kg: float, oxide: str) -> float:
    """Oxygen that burns a mass of iron to an oxide (`FeO`, `Fe3O4`, `Fe2O3`) [kg].

    References
    ----------
    .. [1] `iupac-atomic-weights`.

    Examples
    --------
    >>> round(from_kg(iron_needs_kg(1.0, "FeO"), "Nm3") * 1000, 1)
    200.5
    """
    return iron_kg / IRON_KG_PER_MOL * _OXYGEN_PER_IRON[oxide] * OXYGEN_KG_PER_MOL


def implausibly_low(kg: float, rods: float) -> bool:
    """Whether a use of oxygen is less than the iron of that many rods alone would take."""
    return rods > 0 and kg < rods * FLOOR_SCF_PER_ROD * KG_PER_SCF
