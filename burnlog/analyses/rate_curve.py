"""The rate over thickness, rod by rod: what one usual line would take in a new job, with its 80 % range.

A curve ends where the record of its rods ends. Conditions are the history's own mix, the line is of the usual
length, the diver is nobody in particular; the tallies behind each point are those within an eighth of its thickness.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from burnlog.analyses.rate_design import rod_levels
from burnlog.analyses.rate_fit import RateFit
from burnlog.errors import FitError

__all__ = ["CurvePoint", "rate_curve"]

NEAR = 0.125
POINTS = 9
DRAWS = 4000
SEED = 1


@dataclass(frozen=True)
class CurvePoint:
    """The rate of one rod on one thickness.

    Attributes
    ----------
    rods : str
        The rods, as the fit names them.
    thickness_mm : float
    middle, low, high : float
        Median and 80 % range of rods per metre of one usual line in a new job.
    tallies, jobs : int
        Counts with these rods within an eighth of the thickness.
    """

    rods: str
    thickness_mm: float
    middle: float
    low: float
    high: float
    tallies: int
    jobs: int


def rate_curve(fit: RateFit, *, draws: int = DRAWS, rng: np.random.Generator | None = None) -> tuple[CurvePoint, ...]:
    """Points of the rate curve, for every rod with tallies of known thickness.

    Parameters
    ----------
    fit : RateFit
    draws : int
    rng : Generator, optional
        A fixed seed by default, so that a page repeats.

    Returns
    -------
    tuple of CurvePoint
        Empty where the history has too few jobs for a new one.
    """
    tallies = fit.tallyset.tallies
    known = tallies.assign(level=rod_levels(fit.tallyset))
    known = known[known["thickness_mm"].notna() & known["level"].notna()]
    pieces = fit.tallyset.pieces
    usual = float(pieces.loc[pieces["planned_m"] > 0, "planned_m"].median())
    rows = []
    for level, mine in known.groupby("level"):
        low, high = float(mine["thickness_mm"].min()), float(mine["thickness_mm"].max())
        steps = np.geomspace(low, high, POINTS) if high > 1.01 * low else np.array([low])
        rows += [
            {
                "level": str(level),
                "family": mine["family"].iloc[0],
                "diameter_mm": mine["diameter_mm"].iloc[0],
                "length_m": usual,
                "thickness_mm": float(step),
            }
            for step in steps
        ]
    if not rows or not usual > 0:
        return ()
    lines = pd.DataFrame(rows)
    try:
        made = fit.simulate(
            lines.drop(columns="level"), rng=np.random.default_rng(SEED) if rng is None else rng, draws=draws
        )
    except FitError:  # fewer jobs than a new job asks for: the curve is not drawn, the tallies are
        return ()
    low_, middle, high_ = np.quantile(made.rods, [0.1, 0.5, 0.9], axis=0) / usual
    out = []
    for place, row in enumerate(rows):
        same = known[known["level"].eq(row["level"])]
        near = same[(same["thickness_mm"] / row["thickness_mm"] - 1).abs() <= NEAR]
        out.append(
            CurvePoint(
                rods=row["level"],
                thickness_mm=row["thickness_mm"],
                middle=float(middle[place]),
                low=float(low_[place]),
                high=float(high_[place]),
                tallies=len(near),
                jobs=int(near["job"].nunique()),
            )
        )
    return tuple(out)
