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
        rows = {}
        for value in set(values):
            among = self.candidates(value)
            row = np.zeros(len(self.levels))
            row[among] = self.mix[among] / self.mix[among].sum() if len(among) else 0.0
            rows[value] = row
        out = np.array([rows[value] for value in values]).reshape(len(values), len(self.levels))
        return out[:, 1:]

    def missing(self, values: Sequence[object]) -> NDArray[np.bool_]:
        """Which values have no term and are not the baseline."""
        return np.array([str(value) not in self.levels for value in values], dtype=bool)


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
    frame = pd.DataFrame(
        {"level": values.to_numpy()[known], "length": length[known], "rods": rods[known], "tally": tally[known]}
    )
    by = frame.groupby("level", sort=True)
    table = pd.DataFrame({"length": by["length"].sum(), "tallies": by["tally"].nunique(), "rods": by["rods"].sum()})
    # the prior leans on the baseline, so a tie is broken by what was cut, not by a name or the order of the rows
    ties = table.round({"length": 6, "rods": 6}).sort_values(
        ["length", "tallies", "rods"], ascending=False, kind="stable"
    )
    table = table.loc[ties.index]
    enough = table[table["tallies"] >= support]
    kept = enough if len(enough) else table.iloc[:1]
    mix = kept["length"].to_numpy(dtype=float)
    return Condition(
        name=name,
        levels=tuple(str(level) for level in kept.index),
        mix=mix / mix.sum() if len(mix) else mix,
        counts=tuple(int(count) for count in kept["tallies"]),
        lengths=tuple(float(metres) for metres in kept["length"]),
        unsupported=tuple(str(level) for level in table.index.difference(kept.index, sort=False)),
    )
