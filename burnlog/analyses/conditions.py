"""Conditions of the work as terms of a fit: levels with support, a baseline, and the mix that stands for a blank."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from burnlog.analyses.tallies import TallySet

__all__ = ["CONDITIONS", "Condition", "asked", "condition_of", "rod_levels"]

CONDITIONS = ("family", "position", "visibility", "fouling", "current", "backing", "power")

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Condition:
    """One condition: its levels with a term, the first of them the baseline, and the history's mix over them.

    `counts` holds the tallies behind each level, `lengths` the metres; `unsupported` the levels that are too
    rare for a term and stand as not written down.
    """

    name: str
    levels: tuple[str, ...]
    mix: Array
    counts: tuple[int, ...]
    lengths: tuple[float, ...]
    unsupported: tuple[str, ...] = ()

    @property
    def terms(self) -> tuple[tuple[str, str], ...]:
        """(condition, level) of each column: every level but the baseline."""
        return tuple((self.name, level) for level in self.levels[1:])

    def candidates(self, value: object) -> NDArray[np.intp]:
        """Levels a value may stand for: its own; those of its rod family; all where it says nothing."""
        text = str(value)
        if text in self.levels:
            return np.array([self.levels.index(text)], dtype=np.intp)
        wider = [k for k, level in enumerate(self.levels) if level.startswith(text + " ")]
        return np.array(wider if self.name == "family" and wider else range(len(self.levels)), dtype=np.intp)

    def shares(self, values: Sequence[object]) -> Array:
        """Columns for values, (n, levels - 1): 0/1 where known, the mix where not."""
        place = {value: k for k, value in enumerate(dict.fromkeys(values))}
        rows = np.zeros((len(place), len(self.levels)))
        for value, k in place.items():
            among = self.candidates(value)
            if len(among):
                rows[k, among] = self.mix[among] / self.mix[among].sum()
        return rows[[place[value] for value in values], 1:]

    def missing(self, values: Sequence[object]) -> NDArray[np.bool_]:
        """Which values have no term and are not the baseline."""
        lost = {value: str(value) not in self.levels for value in set(values)}
        return np.array([lost[value] for value in values], dtype=bool)


def rod_levels(tallyset: TallySet) -> pd.Series:
    """Rod of each tally as a level: the family, with the diameter where a family comes in several."""
    family, diameter = tallyset.tallies["family"], tallyset.tallies["diameter_mm"]
    known = pd.DataFrame({"family": family, "diameter": diameter}).dropna().drop_duplicates()
    several = known["family"][known["family"].duplicated()]
    return family.where(~family.isin(several) | diameter.isna(), _with_diameter(family, diameter))


def _with_diameter(family: pd.Series, diameter: pd.Series) -> pd.Series:
    return family + " " + diameter.map(lambda mm: f"{mm:g} mm", na_action="ignore").astype("str")


def asked(condition: Condition, lines: pd.DataFrame) -> list[object]:
    """Values of one condition in lines to be cut, None where they have none; rods named as the levels are."""
    if condition.name not in lines:
        return [None] * len(lines)
    values = lines[condition.name]
    if condition.name == "family" and "diameter_mm" in lines:
        full = _with_diameter(values, lines["diameter_mm"])
        values = full.where(full.isin(condition.levels), values)
    return [None if pd.isna(value) else str(value) for value in values]


def condition_of(
    name: str, values: pd.Series, length: Array, rods: Array, tally: NDArray[np.int64], support: int
) -> Condition:
    """Levels with support; the baseline is the one with most metres, whatever it is called."""
    known = values.notna().to_numpy()
    if name == "family":  # a family without its diameter is no level where others of it have one
        named = values[known].unique()
        bare = [v for v in named if any(w.startswith(v + " ") for w in named)]
        known = known & ~values.isin(bare).to_numpy()
    codes, labels = pd.factorize(values.to_numpy()[known], sort=True)
    size = len(labels)
    metres = np.bincount(codes, length[known], minlength=size).astype(float)
    used = np.bincount(codes, rods[known], minlength=size)
    pairs = np.unique(tally[known] * max(size, 1) + codes)  # every level once for each of its tallies
    tallies = np.bincount(pairs % max(size, 1), minlength=size)
    # the prior leans on the baseline, so a tie is broken by what was cut, not by a name or the order of the rows
    order = np.lexsort((-used.round(6), -tallies, -metres.round(6)))
    enough = order[tallies[order] >= support]
    kept = enough if len(enough) else order[:1]
    mix = metres[kept]
    return Condition(
        name=name,
        levels=tuple(str(labels[k]) for k in kept),
        mix=mix / mix.sum() if len(mix) else mix,
        counts=tuple(int(count) for count in tallies[kept]),
        lengths=tuple(float(metre) for metre in mix),
        unsupported=tuple(str(labels[k]) for k in order if k not in kept),
    )
