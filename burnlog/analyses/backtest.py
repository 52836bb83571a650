"""Each job of the record forecast by the others, as it would have been bid, and scored.

Leaving one job out, the tables of the fit are downdated and the integrated fit is done anew; going forward in time,
only jobs begun earlier are seen. The pieces of work are those recorded, the people are taken as unknown. Scores are
on the scale of the logarithm of total rods. Levels, baselines and the mix for blanks are those of the whole record.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from burnlog.analyses import forecasts
from burnlog.analyses.rate_design import REFERENCE_MM, Design, design
from burnlog.analyses.rate_fit import Model, RateFit, Settings, cuts_per_rod, divers_per_job
from burnlog.analyses.tallies import Scope, TallySet, decided_out, gather
from burnlog.columns import Frames
from burnlog.errors import FitError, InputError
from burnlog.stats.posterior import Tables, tables
from burnlog.stats.scores import coverage, crps_sample, pinball
from burnlog.stats.threads import one_thread

__all__ = ["METHODS", "Backtest", "Forecast", "Score", "backtest"]

METHODS = ("integrated", "plug_in", "pooled", "rule", "job_t")
FEWEST_JOBS = 3
LEVELS = (0.025, 0.1, 0.25, 0.5, 0.75, 0.8, 0.9, 0.975)

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True)
class Forecast:
    """One job forecast from others: its recorded rods and the integrated fit's range."""

    job: str
    actual_rods: float
    p10: float
    p50: float
    p90: float
    tallies_before: int
    jobs_before: int


@dataclass(frozen=True)
class Score:
    """One method over all jobs it could forecast.

    `c50`, `c80`, `c95` are the shares of actual totals inside those ranges, `c80_low` and `c80_high` the exact 95 %
    interval of the second; `width80` the median of ln(P90/P10); `bias` the median of ln(P50/actual); `crps` and
    `pinball80` means on the log scale. Shares and width are None for a rule, which has no range.
    """

    jobs: int
    c50: float | None
    c80: float | None
    c80_low: float | None
    c80_high: float | None
    c95: float | None
    width80: float | None
    bias: float
    crps: float
    pinball80: float


@dataclass(frozen=True, eq=False)
class Backtest:
    """Forecasts and scores; `notes` say why a method has fewer jobs than there are rows."""

    scope: Scope
    forward: bool
    rows: tuple[Forecast, ...]
    methods: Mapping[str, Score]
    notes: tuple[str, ...]
    left_out: dict[str, int]
    seed: int
    draws: int
    made_up: bool

    def as_json(self) -> dict[str, Any]:
        """Keys as documented; SI."""
        return {
            "made_up": self.made_up,
            "filter": self.scope.as_json(),
            "forward": self.forward,
            "seed": self.seed,
            "draws": self.draws,
            "jobs": len(self.rows),
            "methods": {name: asdict(score) for name, score in self.methods.items()},
            "rows": [asdict(row) for row in self.rows],
            "left_out": self.left_out,
            "warnings": list(self.notes),
        }


def backtest(
    frames: Frames,
    scope: Scope = Scope(),  # noqa: B008
    *,
    forward: bool = False,
    rule_per_m: float | None = None,
    settings: Settings = Settings(),  # noqa: B008
    draws: int = 4000,
    seed: int = 1,
    progress: Callable[[int, int], None] | None = None,
) -> Backtest:
    """Forecast each job of the record from the others, and score the ranges.

    Parameters
    ----------
    frames : Frames
    scope : Scope
    forward : bool
        See only jobs begun before the job in hand; otherwise every other job.
    rule_per_m : float or None
        A rule of thumb in rods per metre to score beside the rest.
    settings : Settings
        Of the fit; here two jobs are enough to forecast a third.
    draws, seed : int
        Of the simulation; the same seed gives the same figures.
    progress : callable or None
        Called with jobs done and jobs to do.

    Raises
    ------
    FitError
        Fewer than 3 jobs, or too few tallies: leaving a job out is not possible.
    """
    if draws < 200:
        raise InputError(f"{draws} draws are too few for a 95 % range; give 200 or more.")
    tallyset = gather(frames, scope, leave_out=decided_out(frames))
    jobs = _in_order(tallyset)
    if len(jobs) < FEWEST_JOBS or len(tallyset.tallies) < settings.min_tallies:
        raise FitError(
            f"leaving one job out is not possible: {len(jobs)} job{'s' if len(jobs) != 1 else ''} with "
            f"{len(tallyset.tallies)} tallies; it needs {FEWEST_JOBS} jobs and {settings.min_tallies} tallies."
        )
    runner = _Runner(tallyset, replace(settings, min_jobs=2), rule_per_m, draws)
    rows, forecasts_of, notes = [], [], []
    for number, job in enumerate(jobs):
        seen_jobs = jobs[:number] if forward else [other for other in jobs if other != job]
        seen = runner.labels.isin(seen_jobs).to_numpy()
        if len(seen_jobs) < 2 or seen.sum() < settings.min_tallies:
            notes.append(
                f"job {job}: only {int(seen.sum())} tallies from {len(seen_jobs)} earlier jobs; not forecast"
            )
            continue
        rng = np.random.default_rng([seed, number])
        with one_thread():
            found, why = runner.forecast(job, seen, rng)
        notes.extend(f"job {job}, {name}: {text}" for name, text in why.items())
        q = np.quantile(found["integrated"], [0.1, 0.5, 0.9])
        actual = runner.actual(job)
        rows.append(Forecast(job, actual, float(q[0]), float(q[1]), float(q[2]), int(seen.sum()), len(seen_jobs)))
        forecasts_of.append(found)
        if progress is not None:
            progress(number + 1, len(jobs))
    if not rows:
        raise FitError("no job has enough jobs and tallies before it: a forward test is not possible.")
    actuals = np.array([row.actual_rods for row in rows])
    return Backtest(
        scope=scope,
        forward=forward,
        rows=tuple(rows),
        methods={name: score for name in METHODS if (score := _score(name, forecasts_of, actuals)) is not None},
        notes=tuple(notes),
        left_out=tallyset.left_out_counts(),
        seed=seed,
        draws=draws,
        made_up=bool(frames.jobs["made_up"].any()),
    )


def _in_order(tallyset: TallySet) -> list[str]:
    """Jobs by their first day, then by code."""
    first = tallyset.tallies.groupby("job")["day"].min().reset_index()
    return [str(job) for job in first.sort_values(["day", "job"], kind="stable")["job"]]


class _Runner:
    """The whole record laid out once; each job's forecast downdates from it."""

    def __init__(self, tallyset: TallySet, settings: Settings, rule_per_m: float | None, draws: int) -> None:
        self.tallyset, self.settings, self.rule_per_m, self.draws = tallyset, settings, rule_per_m, draws
        self.rows: Design = design(tallyset, settings)
        self.labels = tallyset.tallies["job"]
        self.tables: Tables = tables(
            self.rows.cases,
            self.rows.planning_effects,
            prior_precision=self.rows.prior_precision,
            names=self.rows.names,
        )

    def actual(self, job: str) -> float:
        """Recorded rods of a job."""
        return float(self.tallyset.tallies.loc[self.labels == job, "rods"].sum())

    def forecast(self, job: str, seen: Mask, rng: np.random.Generator) -> tuple[dict[str, Array], dict[str, str]]:
        """Draws of the job's total by each method, and why a method has none."""
        lines = job_lines(self.tallyset, job, self.rows.mean_log_t)
        fit = RateFit(
            tallyset=self.tallyset,
            settings=self.settings,
            rods=Model.of(self.rows, made=self.tables.without(~seen)),
            time=None,
            time_refused=None,
            cuts_per_rod=cuts_per_rod(self.tallyset),
            divers_per_job=divers_per_job(self.tallyset),
        )
        found = {"integrated": fit.simulate(lines, rng=rng, draws=self.draws).rods.sum(axis=1)}
        why = {}
        for name, method in (
            ("plug_in", forecasts.plug_in),
            ("pooled", forecasts.pooled),
            ("job_t", forecasts.job_t),
        ):
            try:
                found[name] = method(self.rows, seen, lines, draws=self.draws, rng=rng)
            except FitError as error:
                why[name] = str(error)
        if self.rule_per_m is not None:
            found["rule"] = forecasts.rule(self.rule_per_m, lines, draws=self.draws)
        return found, why


def job_lines(tallyset: TallySet, job: str, mean_log_t: float) -> pd.DataFrame:
    """The counted work of a job as pieces to be bid, an unrecorded thickness being the record's mean."""
    pieces = tallyset.pieces[(tallyset.pieces["job"] == job) & (tallyset.pieces["new_length_m"] > 0)]
    of = tallyset.tallies.loc[pieces["tally_id"]]
    return pd.DataFrame(
        {
            "length_m": pieces["new_length_m"].to_numpy(),
            "planned_m": pieces["planned_m"].to_numpy(),
            "thickness_mm": pieces["thickness_mm"].fillna(REFERENCE_MM * float(np.exp(mean_log_t))).to_numpy(),
            "family": of["family"].to_numpy(),
            "diameter_mm": of["diameter_mm"].to_numpy(),
            **{
                name: pieces[name].to_numpy()
                for name in ("position", "visibility", "fouling", "current", "backing", "power")
            },
        }
    )


def _score(name: str, found: list[dict[str, Array]], actuals: Array) -> Score | None:
    """Scores of one method over the jobs it has draws for."""
    at = [k for k, draws in enumerate(found) if name in draws]
    if not at:
        return None
    logs = np.log(np.column_stack([found[k][name] for k in at]))
    y = np.log(actuals[at])
    q = dict(zip(LEVELS, np.quantile(logs, LEVELS, axis=0), strict=True))
    inside = {share: coverage(y, q[low], q[high]) for share, low, high in _RANGES}
    ranged = name != "rule"
    return Score(
        jobs=len(at),
        c50=inside[50].share if ranged else None,
        c80=inside[80].share if ranged else None,
        c80_low=inside[80].low if ranged else None,
        c80_high=inside[80].high if ranged else None,
        c95=inside[95].share if ranged else None,
        width80=float(np.median(q[0.9] - q[0.1])) if ranged else None,
        bias=float(np.median(q[0.5] - y)),
        crps=float(np.mean(crps_sample(y, logs))),
        pinball80=float(np.mean(pinball(y, q[0.8], probability=0.8))),
    )


_RANGES = ((50, 0.25, 0.75), (80, 0.1, 0.9), (95, 0.025, 0.975))
