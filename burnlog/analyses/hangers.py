"""Hangers on steel, position and rod changes: regressions of counts, clustered by job, or why there are none.

Two fits by statsmodels: whether a cut left any hanger (binomial, odds ratios) and how many (Poisson over the
length cut, rate ratios). Only cuts with a rod count of their own can say how often the rod was changed on them.
Ratios are associations in this record; cuts that went badly may have been changed more often because they did.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from burnlog.columns import Frames
from burnlog.errors import FitError
from burnlog.stats.count_models import CountFit, fit_binomial, fit_poisson

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["HangerModel", "HangerTerm", "hanger_model"]

REFERENCE_MM = 12.7
FEWEST_PER_LEVEL = 5
STEEL_TERMS = 3
"""Level, thickness and rod changes: the first columns."""
POSITION_CLASS = {
    "flat": "flat",
    "horizontal": "upright or level",
    "vertical down": "upright or level",
    "vertical up": "upright or level",
    "overhead": "overhead",
    "round a pipe": "round a pipe",
}


@dataclass(frozen=True)
class HangerTerm:
    """One term of one fit: a ratio with its 95 % interval."""

    fit: str
    name: str
    ratio: float
    low: float
    high: float


@dataclass(frozen=True)
class HangerModel:
    """The fits, or why there are none.

    `cuts` counts the rows that carried all of it: hangers, thickness, position, family, length and rods.
    """

    terms: tuple[HangerTerm, ...]
    cuts: int
    hangers: int
    jobs: int
    without: int
    why: tuple[str, ...]

    def sentence(self) -> str:
        """What the fits rest on, and what is missing."""
        base = f"Hangers against steel and rod changes: {self.cuts} cuts, {self.hangers} hangers, {self.jobs} jobs"
        missing = f" ({self.without} cuts lack one of the fields)" if self.without else ""
        if not self.terms:
            return f"{base}{missing}. No fit: {'; '.join(self.why)}"
        left = f" {'; '.join(self.why)}." if self.why else ""
        return f"{base}{missing}. Ratios with 95 % intervals, clustered by job; association, not proof.{left}"

    def as_json(self) -> dict[str, Any]:
        """Stable keys."""
        return {**asdict(self), "sentence": self.sentence()}


def hanger_model(frames: Frames, cuts: pd.DataFrame) -> HangerModel:
    """Fit whether, and how often, hangers were left.

    Parameters
    ----------
    frames : Frames
        For the rods of each cut.
    cuts : DataFrame
        Cuts of one setting and record class.

    Returns
    -------
    HangerModel
    """
    first = cuts[cuts["pass_kind"].eq("first")].copy()
    first["rods"] = first["cut_id"].map(_rods_of_cuts(frames))
    first["position"] = first["position"].map(POSITION_CLASS)
    whole = (
        first[["hangers", "thickness_mm", "position", "family", "rods"]].notna().all(axis=1)
        & first["new_length_m"].gt(0)
        & first["rods"].gt(0)
    )
    rows = first[whole]
    counts = {
        "cuts": len(rows),
        "hangers": int(rows["hangers"].sum()),
        "jobs": int(rows["job"].nunique()),
        "without": len(first) - len(rows),
    }
    if rows.empty:
        return HangerModel((), why=("no cut has all of the fields",), **counts)
    jobs = rows["job"].to_numpy(dtype=object)
    left, metres = rows["hangers"].to_numpy(dtype=float), rows["new_length_m"].to_numpy(dtype=float)
    X, names = _columns(rows)
    terms: list[HangerTerm] = []
    why: list[str] = []
    for label in ("any hanger", "hangers over length"):
        # where hangers are few, thickness and rod changes are asked about alone before giving up
        for width in (len(names), STEEL_TERMS):
            few, words = X[:, :width], names[:width]
            try:
                if label == "any hanger":
                    fit = fit_binomial(left > 0, np.ones(len(rows)), few, names=words, groups=jobs)
                else:
                    fit = fit_poisson(left, metres, few, names=words, groups=jobs)
            except FitError as error:
                full = width > STEEL_TERMS
                why.append(f"{label}: position and family left out, too few" if full else f"{label}: {error}")
            else:
                terms += _terms(label, fit)
                break
    return HangerModel(tuple(terms), why=tuple(why), **counts)


def _rods_of_cuts(frames: Frames) -> pd.Series[float]:
    """Rods lit on each cut that has a count of its own."""
    single = frames.tallies[frames.tallies["scope"].eq("cut")]
    parts = frames.rod_parts["tally_id"].value_counts()
    rods = single["rods"] + single["tally_id"].map(parts).fillna(0.0)
    of = pd.Series(rods.to_numpy(), index=single["tally_id"])
    links = frames.tally_cuts[frames.tally_cuts["tally_id"].isin(of.index)]
    return of.reindex(links["tally_id"]).set_axis(links["cut_id"]).groupby(level=0).sum(min_count=1)


def _columns(rows: pd.DataFrame) -> tuple[NDArray[np.float64], Sequence[str]]:
    """Thickness and rod changes as logarithms, position and family against their commonest level."""
    changes = np.log1p((rows["rods"] - 1.0).clip(lower=0.0))
    columns = [
        np.ones(len(rows)),
        np.log2(rows["thickness_mm"].to_numpy(dtype=float) / REFERENCE_MM),
        (changes / np.log(2.0)).to_numpy(dtype=float),
    ]
    names = ["level", "twice the thickness", "rod changes + 1, doubled"]
    for column in ("position", "family"):
        sizes = rows[column].value_counts().sort_index().sort_values(ascending=False, kind="stable")
        for level in [word for word in sizes.index[1:] if sizes[word] >= FEWEST_PER_LEVEL]:
            columns.append(rows[column].eq(level).to_numpy(dtype=float))
            names.append(f"{level} against {sizes.index[0]}")
    return np.column_stack(columns), names


def _terms(label: str, fit: CountFit) -> list[HangerTerm]:
    return [
        HangerTerm(label, name, float(fit.factor[k]), float(fit.low[k]), float(fit.high[k]))
        for k, name in enumerate(fit.names)
        if name != "level"
    ]
