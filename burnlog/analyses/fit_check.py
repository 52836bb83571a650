"""Does the fit deserve trust: each tally against what the others lead one to expect, and each job against the rest.

Residuals are left out and robust (`burnlog.analyses.residuals`): in spreads, a tally of the usual size having one.
Job and diver are part of the fit, so their residuals stand about 0 by its making, steel and size do not; whole
jobs are judged by forecasts that never saw them (`burnlog.analyses.backtest`).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import stdtrit

from burnlog.analyses.backtest import Forecast, backtest
from burnlog.analyses.rates import Rates
from burnlog.analyses.residuals import residuals
from burnlog.columns import Frames
from burnlog.errors import FitError

__all__ = ["Band", "Checked", "FitCheck", "fit_check"]

BANDS = 5
WITHIN = 2.0
FEWEST = 3


@dataclass(frozen=True)
class Checked:
    """One tally: rods written and expected, and how many spreads lie between them; None where not recorded."""

    ref: str
    job: str
    diver: str | None
    thickness_mm: float | None
    rods: float
    expected: float
    spreads: float


@dataclass(frozen=True)
class Band:
    """The mean residual of some of the tallies, in spreads.

    `mean` plus and minus `reach` is its 95 % t interval, None below three tallies; `clear` where that leaves out 0.
    """

    by: str
    name: str
    low: float | None
    high: float | None
    tallies: int
    mean: float
    reach: float | None

    @property
    def clear(self) -> bool:
        """The mean lies on one side of 0, as a band without a lean would by chance in 1 of 20."""
        return self.reach is not None and abs(self.mean) > self.reach


@dataclass(frozen=True)
class FitCheck:
    """What the residuals and the jobs left out say of a fit.

    Attributes
    ----------
    rows : tuple of Checked
        Empty where there is no model; `why_no_rows` says why.
    bands : tuple of Band
        By expected rods, thickness, job and diver.
    within : float or None
        Share of tallies within two spreads of what was expected; 0.95 if burns were normal.
    jobs : tuple of Forecast
        Each job forecast by the others; `why_no_jobs` says why there is none.
    inside : int
        Jobs inside their 80 % range.
    error : float or None
        Median over the jobs of how far the middle forecast lay from what was burned, as a factor.
    """

    rows: tuple[Checked, ...]
    why_no_rows: str
    bands: tuple[Band, ...]
    within: float | None
    jobs: tuple[Forecast, ...]
    why_no_jobs: str
    inside: int
    error: float | None

    def of(self, by: str) -> tuple[Band, ...]:
        """The bands by one thing."""
        return tuple(band for band in self.bands if band.by == by)


def fit_check(frames: Frames, found: Rates) -> FitCheck:
    """Check the fit behind rates.

    Parameters
    ----------
    frames : Frames
        The record the rates came from.
    found : Rates
    """
    rows, why = _rows(found)
    table = pd.DataFrame([vars(row) for row in rows])
    try:
        jobs, why_no_jobs = backtest(frames, found.scope, settings=found.settings).rows, ""
    except FitError as error:
        jobs, why_no_jobs = (), str(error)
    off = [abs(np.log(job.p50 / job.actual_rods)) for job in jobs]
    return FitCheck(
        rows=rows,
        why_no_rows=why,
        bands=tuple(_bands(table)) if rows else (),
        within=float(table["spreads"].abs().le(WITHIN).mean()) if rows else None,
        jobs=jobs,
        why_no_jobs=why_no_jobs,
        inside=sum(job.p10 <= job.actual_rods <= job.p90 for job in jobs),
        error=float(np.exp(np.median(off))) if off else None,
    )


def _rows(found: Rates) -> tuple[tuple[Checked, ...], str]:
    if found.fit is None:
        return (), found.why_no_fit
    judged = residuals(found.fit.tallyset, found.settings)
    if judged.rods is None:
        return (), judged.why_no_rods
    it = judged.rods
    expected = np.sqrt(it.low * it.high)  # the interval is even on the log scale
    by = found.fit.tallyset.pieces.groupby("tally_id")["diver"]
    alone = by.first().where(by.nunique(dropna=False).eq(1))
    rows = it.design.tallies.assign(expected=expected, seen=it.seen, spreads=it.fit.left_out_t)
    rows["diver"] = alone.reindex(rows.index)
    return (
        tuple(
            Checked(
                ref=str(row["ref"]),
                job=str(row["job"]),
                diver=row["diver"] if isinstance(row["diver"], str) else None,
                thickness_mm=None if pd.isna(row["thickness_mm"]) else float(row["thickness_mm"]),
                rods=float(row["seen"]),
                expected=float(row["expected"]),
                spreads=float(row["spreads"]),
            )
            for row in rows.to_dict("records")
        ),
        "",
    )


def _bands(table: pd.DataFrame) -> Iterable[Band]:
    for by, column in (("expected rods", "expected"), ("thickness", "thickness_mm")):
        known = table[table[column].notna()].astype({column: float})
        groups = pd.qcut(known[column], BANDS, duplicates="drop") if known[column].nunique() > 1 else None
        for _, mine in known.groupby(groups, observed=True) if groups is not None else ():
            low, high = float(mine[column].min()), float(mine[column].max())
            yield _band(by, "", low, high, mine["spreads"])
    for by in ("job", "diver"):
        for name, mine in table.dropna(subset=[by]).groupby(by, sort=True):
            yield _band(by, str(name), None, None, mine["spreads"])


def _band(by: str, name: str, low: float | None, high: float | None, spreads: pd.Series[float]) -> Band:
    n = len(spreads)
    # By t: of three tallies without a lean the mean is beyond two of its standard errors in 18 of 100.
    reach = float(stdtrit(n - 1, 0.975) * spreads.std(ddof=1) / np.sqrt(n)) if n >= FEWEST else None
    return Band(by, name, low, high, n, float(spreads.mean()), reach)
