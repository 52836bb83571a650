"""Whether the history knows this kind of work: tallies like an item, and the range of steel that was logged."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from burnlog.analyses.takeoff import Item
from burnlog.analyses.tallies import TallySet

__all__ = ["FEWEST_ALIKE", "POSITION_CLASS", "WITHIN", "Support", "support"]

FEWEST_ALIKE = 5
WITHIN = 0.25
TAPE = 1e-6
"""Share of a thickness that is rounding between units, and not outside what was logged."""
POSITION_CLASS = {
    "flat": "flat",
    "horizontal": "upright face",
    "vertical down": "upright face",
    "vertical up": "upright face",
    "overhead": "overhead",
    "round a pipe": "round",
}
"""Positions that vouch for one another; a setting of this program, printed with the support."""


@dataclass(frozen=True)
class Support:
    """What the history holds for one item.

    Attributes
    ----------
    item : str
    alike : int
        Tallies within 25 % of the thickness, of the same family and position class.
    jobs : int
        Jobs they are from.
    low_mm, high_mm : float or None
        Range of thickness logged for the family.
    problems : tuple of str
        Why the item lies outside the history; empty where it does not.
    """

    item: str
    alike: int
    jobs: int
    low_mm: float | None
    high_mm: float | None
    problems: tuple[str, ...]


def support(tallyset: TallySet, items: Sequence[Item]) -> tuple[Support, ...]:
    """Judge every item of a take-off against the tallies used.

    Parameters
    ----------
    tallyset : TallySet
    items : sequence of Item

    Returns
    -------
    tuple of Support
        In the order of the items. An item without a position is matched by any.
    """
    logged = _Logged.of(tallyset)
    return tuple(_support(item, logged) for item in items)


@dataclass(frozen=True)
class _Logged:
    """What an item is held against, one entry a tally: position class of the longest piece, steel, rods, job."""

    family: NDArray[np.object_]
    place: NDArray[np.object_]
    job: NDArray[np.object_]
    thickness: NDArray[np.float64]
    thinnest: NDArray[np.float64]
    thickest: NDArray[np.float64]

    @classmethod
    def of(cls, tallyset: TallySet) -> _Logged:
        tallies, pieces = tallyset.tallies, tallyset.pieces
        longest = pieces.sort_values("new_length_m", kind="stable").groupby("tally_id")["position"].last()
        steel = pieces.groupby("tally_id")["thickness_mm"]
        return cls(
            family=tallies["family"].astype(object).to_numpy(),
            place=longest.map(POSITION_CLASS).reindex(tallies.index).astype(object).to_numpy(),
            job=tallies["job"].astype(object).to_numpy(),
            thickness=tallies["thickness_mm"].to_numpy(dtype=float),
            thinnest=steel.min().reindex(tallies.index).to_numpy(dtype=float),
            thickest=steel.max().reindex(tallies.index).to_numpy(dtype=float),
        )


def _support(item: Item, logged: _Logged) -> Support:
    family = item.family
    same = np.full(len(logged.family), True) if family is None else logged.family == family
    what = family or "any family"
    if not same.any():
        reason = f"no tallies with {what} rods in this history"
        return Support(item.item, 0, 0, None, None, (reason,))
    known = same & np.isfinite(logged.thinnest)
    low, high = (
        float(reach(values[known])) if known.any() else None
        for reach, values in ((np.min, logged.thinnest), (np.max, logged.thickest))
    )
    problems = []
    thin, thick = (f([t for _, t in item.segments]) for f in (min, max))
    if low is None or high is None:
        problems.append(f"no thickness was logged ({what})")
    elif thin < low - TAPE * high or thick > high + TAPE * high:
        problems.append(
            f"{thick if thick > high else thin:.1f} mm lies outside {low:.1f} to {high:.1f} mm logged ({what})"
        )
    steel = item.thickness_mm
    near = same & (logged.thickness >= (1 - WITHIN) * steel) & (logged.thickness <= (1 + WITHIN) * steel)
    place = POSITION_CLASS.get(item.conditions.get("position") or "")
    if place is not None:
        near &= logged.place == place
    alike = int(near.sum())
    if alike < FEWEST_ALIKE:
        where = f", {place}" if place else ""
        problems.append(
            f"{alike} {'tally' if alike == 1 else 'tallies'} like it "
            f"(within {100 * WITHIN:.0f} % of {steel:.1f} mm, {what}{where}); "
            f"{FEWEST_ALIKE} are needed"
        )
    return Support(item.item, alike, len(set(logged.job[near])), low, high, tuple(problems))
