"""Same people, two plates: why rods over length misleads when people were given different steel.

The raw ratio mixes what somebody was given with how it went. Observed over expected holds each against the rods of
the others on the same plates (indirect standardisation).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

__all__ = ["LESSON", "PlateWork", "Standing", "standings"]


@dataclass(frozen=True)
class PlateWork:
    """What one person burned on one plate."""

    person: str
    thickness_mm: float
    length_m: float
    rods: float

    @property
    def rods_per_m(self) -> float:
        """Sum over sum."""
        return self.rods / self.length_m


@dataclass(frozen=True)
class Standing:
    """One person: the raw ratio, and rods over what the others' ratios on the same plates lead one to expect.

    `observed_expected` is None where nobody else cut one of the plates.
    """

    person: str
    raw_per_m: float
    observed_expected: float | None
    work: tuple[PlateWork, ...]


FT = 0.3048
LESSON = (
    PlateWork("A", 12.7, 40 * FT, 60.0),
    PlateWork("A", 25.4, 4 * FT, 12.8),
    PlateWork("B", 12.7, 6 * FT, 8.4),
    PlateWork("B", 25.4, 30 * FT, 90.0),
)
"""MADE UP: A burns mostly half-inch plate, B mostly inch plate, and B takes fewer rods per foot on each."""


def standings(work: Sequence[PlateWork]) -> tuple[Standing, ...]:
    """Raw and adjusted, person by person in code order.

    Parameters
    ----------
    work : sequence of PlateWork
        Lengths above 0.

    Examples
    --------
    >>> stood = standings(LESSON)
    >>> [(it.person, round(it.raw_per_m * 0.3048, 2), round(it.observed_expected or 0.0, 2)) for it in stood]
    [('A', 1.65, 1.07), ('B', 2.73, 0.94)]
    """
    out = []
    for person in sorted({each.person for each in work}):
        mine = tuple(sorted((w for w in work if w.person == person), key=lambda w: w.thickness_mm))
        rods, length = sum(w.rods for w in mine), sum(w.length_m for w in mine)
        rates = [_others(work, person, w.thickness_mm) for w in mine]
        expected = sum(w.length_m * rate for w, rate in zip(mine, rates, strict=True) if rate is not None)
        out.append(Standing(person, rods / length, None if None in rates else rods / expected, mine))
    return tuple(out)


def _others(work: Sequence[PlateWork], person: str, thickness_mm: float) -> float | None:
    """Rods per metre of the others together on one plate."""
    same = [w for w in work if w.thickness_mm == thickness_mm and w.person != person]
    return sum(w.rods for w in same) / sum(w.length_m for w in same) if same else None
