"""What simpler methods say of a job's rods, beside the integrated fit: the baselines of a backtest.

Each takes the rows of a fit, a mask of those it may see, and the pieces of work of the job asked for, and gives
draws of the job's total rods. None of them is used for a bid: they show what the integrated fit is worth.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from burnlog.analyses.rate_design import REFERENCE_MM, Design, asked
from burnlog.errors import FitError
from burnlog.stats.mixed import fit_mixed

__all__ = ["JobRatios", "job_ratios", "job_t", "least_squares", "plug_in", "pooled", "rule"]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

START_M, PSI_M = 0.1, 0.5  # held in the fit without spreads; its job errors hardly notice


def columns(rows: Design, lines: pd.DataFrame) -> tuple[Array, Array]:
    """Covariates (lines, p) and the log of length times thickness (lines,), a blank being the history's mix."""
    thickness = lines["thickness_mm"].to_numpy(dtype=float)
    log_t = np.log(thickness / REFERENCE_MM)
    shares = [condition.shares(asked(condition, lines)) for condition in rows.conditions]
    X = np.column_stack([np.ones(len(lines)), log_t, *shares])
    return X, np.log(lines["length_m"].to_numpy(dtype=float)) + log_t


def pooled(rows: Design, seen: Mask, lines: pd.DataFrame, *, draws: int, rng: np.random.Generator) -> Array:
    """Ratio of sums with tallies drawn anew, one for each line: as if burn luck were all there is."""
    rods = rows.recorded[seen]
    length = rows.exposure(0.0)[seen]
    pick = rng.integers(0, len(rods), size=(draws, len(lines)))
    return np.asarray(rods[pick].sum(axis=1) / length[pick].sum(axis=1) * float(lines["length_m"].sum()))


def rule(rods_per_m: float, lines: pd.DataFrame, *, draws: int) -> Array:
    """A rule of thumb: one number, no range."""
    return np.full(draws, rods_per_m * float(lines["length_m"].sum()))


def least_squares(rows: Design, seen: Mask, lines: pd.DataFrame, *, draws: int, rng: np.random.Generator) -> Array:
    """Log rods per metre by least squares, every line with luck of its own and no job."""
    return _regression(rows, seen, lines, {}, draws, rng)


def plug_in(rows: Design, seen: Mask, lines: pd.DataFrame, *, draws: int, rng: np.random.Generator) -> Array:
    """The mixed model with job and diver, its fitted spreads taken as if they were known."""
    diver = np.array(next(effect.loadings.argmax(axis=1) for effect in rows.effects if effect.name == "diver"))
    return _regression(rows, seen, lines, {"job": rows.tallies["job"].to_numpy(), "diver": diver}, draws, rng)


def _regression(
    rows: Design,
    seen: Mask,
    lines: pd.DataFrame,
    groups: dict[str, NDArray[np.generic]],
    draws: int,
    rng: np.random.Generator,
) -> Array:
    case = rows.case(0.0, 0.0)
    own = {name: labels[seen] for name, labels in groups.items() if len(set(labels[seen].tolist())) > 1}
    fit = fit_mixed(case.y[seen], case.X[seen], own, names=rows.names)
    X, offset = columns(rows, lines)
    kept = [k for k, name in enumerate(rows.names) if name not in fit.dropped]
    coef = rng.multivariate_normal(fit.coef.to_numpy(), fit.coef_cov.to_numpy(), size=draws, method="eigh")
    log_rods = coef @ X[:, kept].T + offset + fit.sigma * rng.standard_normal((draws, len(lines)))
    if "job" in fit.group_sd:
        log_rods += fit.group_sd["job"] * rng.standard_normal((draws, 1))
    if "diver" in fit.group_sd:
        seats = min(4, len(lines))
        people = fit.group_sd["diver"] * rng.standard_normal((draws, seats))
        log_rods += people[:, np.arange(len(lines)) % seats]
    return np.asarray(np.exp(log_rods).sum(axis=1))


@dataclass(frozen=True)
class JobRatios:
    """Each job's rods over what a fit of the others would have said, for the jobs seen.

    `spread` is the root mean square of their logs; the next job's 80 % range is its middle times `low` to `high`,
    by a t on jobs - 1.
    """

    jobs: int
    spread: float
    low: float
    high: float


class _Ridge:
    """Fits without any job effect, from cross products kept job by job, so that jobs come and go cheaply."""

    def __init__(self, rows: Design, seen: Mask) -> None:
        case = rows.case(START_M, PSI_M)
        self.rows, self.case = rows, case
        self.labels = rows.tallies["job"].to_numpy(dtype=object)
        self.jobs = list(dict.fromkeys(self.labels[seen]))
        self.of = {job: np.flatnonzero(seen & (self.labels == job)) for job in self.jobs}
        self.gram, self.cross = {}, {}
        for job, at in self.of.items():
            weighted = case.X[at] / case.m[at, None]
            self.gram[job], self.cross[job] = weighted.T @ case.X[at], weighted.T @ case.y[at]
        self.amounts = rows.amounts(case)

    def coef(self, jobs: list[str]) -> tuple[Array, float]:
        """Coefficients from some jobs, and the log of the scale that keeps their recorded total."""
        gram = sum((self.gram[job] for job in jobs), np.diag(self.rows.prior_precision))
        cross = sum((self.cross[job] for job in jobs), np.zeros(len(gram)))
        b = np.asarray(np.linalg.solve(gram, cross), dtype=float)
        at = np.concatenate([self.of[job] for job in jobs])
        fitted = float((self.amounts[at] * np.exp(self.case.X[at] @ b)).sum())
        return b, float(np.log(self.rows.recorded[at].sum() / fitted))

    def errors(self) -> Array:
        """Log of actual over predicted for each job, from the others."""
        out = []
        for job in self.jobs:
            b, log_scale = self.coef([other for other in self.jobs if other != job])
            at = self.of[job]
            predicted = float((self.amounts[at] * np.exp(self.case.X[at] @ b)).sum())
            out.append(np.log(self.rows.recorded[at].sum() / predicted) - log_scale)
        return np.array(out)


def job_ratios(rows: Design, seen: Mask | None = None, *, level: float = 0.8) -> JobRatios | None:
    """Leave each job out and say its total from the rest; None below 3 jobs.

    Parameters
    ----------
    rows : Design
    seen : bool array (n,)
        Tallies that may be used; all where None.
    level : float
        Of the range.
    """
    ridge = _Ridge(rows, np.ones(rows.n, dtype=bool) if seen is None else seen)
    if len(ridge.jobs) < 3:
        return None
    errors = ridge.errors()
    spread = float(np.sqrt(np.mean(errors**2)))
    reach = float(stats.t.ppf(0.5 + level / 2.0, len(errors) - 1)) * spread
    return JobRatios(len(errors), spread, float(np.exp(-reach)), float(np.exp(reach)))


def job_t(rows: Design, seen: Mask, lines: pd.DataFrame, *, draws: int, rng: np.random.Generator) -> Array:
    """The middle of a fit without spreads, times a t on jobs - 1 of the jobs' own errors.

    Raises
    ------
    FitError
        Fewer than 3 jobs.
    """
    ridge = _Ridge(rows, seen)
    found = job_ratios(rows, seen)
    if found is None:
        raise FitError(f"{len(ridge.jobs)} jobs: a range from job to job needs 3.")
    b, log_scale = ridge.coef(ridge.jobs)
    X, offset = columns(rows, lines)
    planned = lines["planned_m"].to_numpy(dtype=float) if "planned_m" in lines else lines["length_m"].to_numpy(float)
    middle = float(np.exp(X @ b + offset + np.log1p(START_M / planned) + log_scale).sum())
    return np.asarray(middle * np.exp(found.spread * rng.standard_t(found.jobs - 1, size=draws)))
