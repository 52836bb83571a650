"""Each tally against what the others lead one to expect: rods on this steel, and minutes a rod.

The fit is robust (Student-t weights) and each tally is judged with itself left out, so that a row typed wrong
neither hides itself nor its neighbours. What such residuals cannot see is said with the flags: a length in the
wrong unit hides in the start allowance and the job, and sag is visible in about one count of fifty.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from burnlog.analyses.rate_design import Design, Settings, TimeDesign, design, time_design
from burnlog.analyses.tallies import TallySet
from burnlog.errors import FitError
from burnlog.stats.posterior import Case, integrate
from burnlog.stats.robust import RobustFit, fit_robust

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Judged", "Residuals", "residuals", "robust_rate"]

MINUTES_LIMIT = 4.0
FALSE_SHARE = 0.05
LEVEL = 0.95


@dataclass(frozen=True, eq=False)
class Judged:
    """Rows of one fit: seen and expected, in rods or in seconds a rod, with the left-out t of each.

    `flagged` is the rule of the fit: false discovery at 5 % for rods, |t| above 4 for minutes a rod.
    """

    design: Design
    case: Case
    fit: RobustFit
    seen: NDArray[np.float64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    flagged: NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Residuals:
    """Robust residuals of a set of tallies.

    Attributes
    ----------
    rods, time : Judged or None
        None where the set does not carry such a fit; `why_no_rods` and `why_no_time` say why.
    by_dive : mapping of dive to tuple of float
        Left-out t of the rods counts made in that dive alone.
    """

    rods: Judged | None
    time: Judged | None
    why_no_rods: str
    why_no_time: str
    by_dive: Mapping[str, tuple[float, ...]]


def residuals(tallyset: TallySet, settings: Settings = Settings()) -> Residuals:  # noqa: B008
    """Judge every tally by the others, where the set is large enough for a model.

    Parameters
    ----------
    tallyset : TallySet
    settings : Settings
        Thresholds and priors of the rates fit; both fits here take them over.
    """
    rows = design(tallyset, settings)
    rods, why_no_rods = _judged(rows, settings)
    time, why_no_time = _judged(time_design(tallyset, rows), settings)
    by_dive: dict[str, list[float]] = {}
    if rods is not None:
        for dive, t in zip(rods.design.tallies["dive_ref"], rods.fit.left_out_t, strict=True):
            if isinstance(dive, str):
                by_dive.setdefault(dive, []).append(float(t))
    return Residuals(rods, time, why_no_rods, why_no_time, {dive: tuple(ts) for dive, ts in by_dive.items()})


def robust_rate(
    tallyset: TallySet,
    settings: Settings = Settings(),  # noqa: B008
    *,
    df: float = 2.0,
) -> float:
    """Rods per metre of the middle burn on this work, as a fit has it; `df` infinite is the ordinary fit.

    For showing how far odd burns move an ordinary fit; 2 degrees of freedom pull harder than the 4 of the flags,
    for here the middle is wanted and nothing is judged by it. It is no rate to plan with: bad days must be paid for.
    """
    rows = design(tallyset, settings)
    case = _case(rows)
    fit = fit_robust(
        case.y, case.X, rows.effects, case.m, prior_precision=rows.prior_precision, df=df, names=rows.names
    )
    line = case.X @ fit.coef + sum(effect.loadings @ fit.effects[effect.name] for effect in rows.effects)
    return float((rows.amounts(case) * np.exp(line)).sum() / tallyset.tallies["new_length_m"].sum())


def _case(rows: Design) -> Case:
    """The rows at the mean start allowance and psi of the ordinary integrated fit."""
    tags = integrate(rows.cases, rows.effects, prior_precision=rows.prior_precision, names=rows.names).tag_means
    return rows.case(tags.get("start_m", 0.0), tags["psi_m"])


def _judged(rows: Design, settings: Settings) -> tuple[Judged | None, str]:
    jobs = rows.tallies["job"].nunique()
    if rows.n < settings.min_tallies or jobs < settings.min_jobs:
        return None, (f"{rows.n} tallies on {jobs} jobs; a model needs {settings.min_tallies} on {settings.min_jobs}")
    try:
        case = _case(rows)
        fit = fit_robust(
            case.y,
            case.X,
            rows.effects,
            case.m,
            prior_precision=rows.prior_precision,
            level=LEVEL,
            names=rows.names,
        )
    except FitError as error:
        return None, str(error)
    if isinstance(rows, TimeDesign):
        unit = 60.0 * np.ones(rows.n)
        seen = rows.recorded / rows.recorded_rods
        flagged = np.abs(fit.left_out_t) > MINUTES_LIMIT
    else:
        unit = rows.amounts(case)
        seen = rows.recorded
        flagged = fit.flagged(rate=FALSE_SHARE)
    low, high = unit * np.exp(fit.expected_low), unit * np.exp(fit.expected_high)
    return Judged(rows, case, fit, seen, low, high, flagged), ""
