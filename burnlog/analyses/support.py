"""Whether the history knows this kind of work: tallies like an item, and the range of steel that was logged."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from burnlog.analyses.takeoff import Item
from burnlog.analyses.tallies import TallySet

__all__ = ["FEWEST_ALIKE", "POSITION_CLASS", "WITHIN", "Support", "support"]

FEWEST_ALIKE = 5
WITHIN = 0.25
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
    tallies = tallyset.tallies
    pieces = tallyset.pieces
    longest = pieces.sort_values("new_length_m", kind="stable").groupby("tally_id").last()
    classes = longest["position"].map(POSITION_CLASS).reindex(tallies.index)
    steel = pieces.groupby("tally_id")["thickness_mm"].agg(["min", "max"]).reindex(tallies.index)
    return tuple(_support(item, tallies, classes, steel) for item in items)


def _support(item: Item, tallies: pd.DataFrame, classes: pd.Series[str], steel: pd.DataFrame) -> Support:
    same = pd.Series(True, index=tallies.index)
    family = item.family
    if family is not None:
        same = tallies["family"] == family
    what = family or "any family"
    if not same.any():
        reason = f"no tallies with {what} rods in this history"
        return Support(item.item, 0, 0, None, None, (reason,))
    low, high = float(steel.loc[same, "min"].min()), float(steel.loc[same, "max"].max())
    problems = []
    thin, thick = (f([t for _, t in item.segments]) for f in (min, max))
    tape = 1e-6 * high
    if thin < low - tape or thick > high + tape:
        problems.append(
            f"{thick if thick > high else thin:.1f} mm lies outside {low:.1f} to {high:.1f} mm logged ({what})"
        )
    near = same & tallies["thickness_mm"].between((1 - WITHIN) * item.thickness_mm, (1 + WITHIN) * item.thickness_mm)
    place = POSITION_CLASS.get(item.conditions.get("position") or "")
    if place is not None:
        near &= classes == place
    alike = int(near.sum())
    if alike < FEWEST_ALIKE:
        where = f", {place}" if place else ""
        problems.append(
            f"{alike} tallies like it (within 25 % of {item.thickness_mm:.1f} mm, {what}{where}); 5 are needed"
        )
    return Support(item.item, alike, int(tallies.loc[near, "job"].nunique()), low, high, tuple(problems))
