"""Density of oxygen as a real gas, from the published equation of state.

Cylinder pressures are where the ideal gas law fails: a 50 L cylinder at 200 bar holds 7 % more than it says. Pressure
comes from the residual part of the Helmholtz energy, density from pressure by Newton's method.

References
----------
.. [1] `schmidt-wagner-1985`, with the coefficients as `coolprop` distributes them.
"""

from __future__ import annotations

import math
from functools import lru_cache

from burnlog.errors import InputError

__all__ = [
    "ATMOSPHERE_KPA",
    "MOLAR_MASS_KG",
    "check_temperature",
    "compressibility",
    "density_kg_m3",
    "gauge_at_density_kpa",
]

ATMOSPHERE_KPA = 101.325
"""Standard atmosphere: what a gauge reading stands on."""
MOLAR_MASS_KG = 0.0319988
GAS_CONSTANT = 8.31434
"""The value the equation was fitted with, not today's."""
ZERO_C_K = 273.15
CRITICAL_TEMPERATURE_K = 154.581
CRITICAL_DENSITY_MOL_M3 = 13_630.0
TEMPERATURES_C = (-40.0, 70.0)
GAUGE_KPA = (-2.0, 45_000.0)
"""Just under zero, so that volumes counted at 1 bar absolute are within."""

_TERMS: tuple[tuple[float, int, float, int], ...] = (
    (0.3983768749, 1, 0.0, 0),
    (-1.846157454, 1, 1.5, 0),
    (0.4183473197, 1, 2.5, 0),
    (0.02370620711, 2, -0.5, 0),
    (0.09771730573, 2, 1.5, 0),
    (0.03017891294, 2, 2.0, 0),
    (0.02273353212, 3, 0.0, 0),
    (0.01357254086, 3, 1.0, 0),
    (-0.04052698943, 3, 2.5, 0),
    (0.0005454628515, 6, 0.0, 0),
    (0.0005113182277, 7, 2.0, 0),
    (2.953466883e-07, 7, 5.0, 0),
    (-8.687645072e-05, 8, 2.0, 0),
    (-0.2127082589, 1, 5.0, 2),
    (0.08735941958, 1, 6.0, 2),
    (0.127550919, 2, 3.5, 2),
    (-0.09067701064, 2, 5.5, 2),
    (-0.03540084206, 3, 3.0, 2),
    (-0.03623278059, 3, 7.0, 2),
    (0.0132769929, 5, 6.0, 2),
    (-0.0003254111865, 6, 8.5, 2),
    (-0.008313582932, 7, 4.0, 2),
    (0.002124570559, 8, 6.5, 2),
    (-0.0008325206232, 10, 5.5, 2),
    (-2.626173276e-05, 2, 22.0, 4),
    (0.002599581482, 3, 11.0, 4),
    (0.009984649663, 3, 18.0, 4),
    (0.002199923153, 4, 11.0, 4),
    (-0.02591350486, 4, 23.0, 4),
    (-0.1259630848, 5, 17.0, 4),
    (0.1478355637, 5, 18.0, 4),
    (-0.01011251078, 5, 23.0, 4),
)
"""(n, d, t, l): n delta^d tau^t exp(-delta^l), the exponential only where l > 0."""


def check_temperature(temp_c: float) -> None:
    """Refuse a temperature no cylinder on deck has; raises `InputError`."""
    low, high = TEMPERATURES_C
    if not low <= temp_c <= high:
        raise InputError(f"temperature {temp_c:g} C: oxygen on deck lies between {low:g} and {high:g} C")


@lru_cache(maxsize=4096)
def density_kg_m3(gauge_kpa: float, temp_c: float) -> float:
    """Density of oxygen at a gauge pressure.

    Parameters
    ----------
    gauge_kpa : float
        [kPa gauge], 0 to 45,000; down to 1 bar absolute.
    temp_c : float
        [C], -40 to 70.

    Returns
    -------
    float
        [kg/m3]

    Raises
    ------
    InputError
        Outside these ranges.

    Examples
    --------
    >>> round(density_kg_m3(20_000.0, 15.0), 3)
    288.274
    """
    check_temperature(temp_c)
    low, high = GAUGE_KPA
    if not low <= gauge_kpa <= high:
        raise InputError(f"pressure {gauge_kpa:g} kPa: oxygen density is known from 0 to {high:g} kPa gauge")
    target = gauge_kpa + ATMOSPHERE_KPA
    tau = CRITICAL_TEMPERATURE_K / (temp_c + ZERO_C_K)
    delta = target / _ideal_kpa(temp_c)
    for _ in range(50):
        pressure, slope = _pressure(delta, tau)
        step = (pressure * _ideal_kpa(temp_c) - target) / (slope * _ideal_kpa(temp_c))
        delta -= step
        if abs(step) <= 1e-14 * delta:
            break
    return delta * CRITICAL_DENSITY_MOL_M3 * MOLAR_MASS_KG


def compressibility(gauge_kpa: float, temp_c: float) -> float:
    """Z, pressure over what the ideal gas law gives at the same density.

    Examples
    --------
    >>> round(compressibility(20_000.0, 15.0), 5)
    0.93134
    """
    delta = density_kg_m3(gauge_kpa, temp_c) / (CRITICAL_DENSITY_MOL_M3 * MOLAR_MASS_KG)
    return (gauge_kpa + ATMOSPHERE_KPA) / (delta * _ideal_kpa(temp_c))


def gauge_at_density_kpa(density: float, temp_c: float) -> float:
    """What a gauge shows when oxygen of a density [kg/m3] stands at a temperature [kPa gauge]."""
    check_temperature(temp_c)
    delta = density / (CRITICAL_DENSITY_MOL_M3 * MOLAR_MASS_KG)
    pressure, _ = _pressure(delta, CRITICAL_TEMPERATURE_K / (temp_c + ZERO_C_K))
    return pressure * _ideal_kpa(temp_c) - ATMOSPHERE_KPA


def _ideal_kpa(temp_c: float) -> float:
    """Pressure of an ideal gas at the critical density."""
    return CRITICAL_DENSITY_MOL_M3 * GAS_CONSTANT * (temp_c + ZERO_C_K) / 1000


def _pressure(delta: float, tau: float) -> tuple[float, float]:
    """delta (1 + delta d(alpha)/d(delta)), the pressure in units of `_ideal_kpa`, and its slope in delta."""
    first = second = 0.0
    for n, d, t, power in _TERMS:
        term = n * delta**d * tau**t
        if power:
            reach = delta**power
            term *= math.exp(-reach)
            inner = d - power * reach
            first += term * inner
            second += term * (inner * (inner - 1) - power * power * reach)
        else:
            first += term * d
            second += term * d * (d - 1)
    return delta * (1 + first), 1 + 2 * first + second
