"""The fitted rate: rods over length, and time given rods, integrated over what a plug-in fit would fix.

Both parts share one form: amount = scale x base x exp(conditions + job + diver + luck), where the scale makes
the fit reproduce the recorded total when the record's own work is bid piece by piece (a ratio of sums; without it
the log of a rate whose length the clock cut short reads 4 to 8 % high, and a record counted by the dive reads
higher than the same record counted by the cut).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from burnlog.analyses.rate_design import Design, Settings, design, time_design
from burnlog.analyses.rate_simulation import Simulation, check_lines, simulate_rates
from burnlog.analyses.tallies import TallySet
from burnlog.errors import FitError, InputError
from burnlog.stats.posterior import Posterior, Tables, integrate_tables, tables
from burnlog.stats.threads import one_thread

__all__ = [
    "Model",
    "RateFit",
    "Settings",
    "Simulation",
    "cuts_per_rod",
    "divers_per_job",
    "fit_rates",
    "refuse_few",
]

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Model:
    """One fitted part: its rows, its posterior, and the scale of each case that keeps the recorded total."""

    design: Design
    posterior: Posterior
    scale: Array

    @classmethod
    def of(cls, rows: Design, *, made: Tables | None = None) -> Model:
        """Fit rows; `made` are tables of the same rows with some taken out."""
        with one_thread():
            if made is None:
                effects = rows.planning_effects
                made = tables(rows.cases, effects, prior_precision=rows.prior_precision, names=rows.names)
            posterior = integrate_tables(made)
            return cls(rows, posterior, _scales(rows, posterior, made.kept))

    def levels(self, effect: str) -> tuple[str, ...]:
        """Levels of a group effect, without asking for its posterior; none where it is not in the fit."""
        return next((each.levels for each in self.posterior.tables.effects if each.name == effect), ())

    @cached_property
    def ranges(self) -> Array:
        """P10 and P90 of each coefficient, (2, p)."""
        return self.posterior.coef_quantiles((0.1, 0.9))


def _scales(rows: Design, posterior: Posterior, kept: NDArray[np.bool_]) -> Array:
    """For each case, recorded total over the total of the same work bid piece by piece, on the rows kept."""
    out = []
    for case, found in zip(rows.cases, posterior.per_case(), strict=True):
        effects = np.zeros(rows.n)
        for effect in posterior.tables.effects:
            effects += effect.loadings @ found.effects[effect.name]
        fitted = rows.bid(case, found.coef, effects, found.variance)
        out.append(rows.recorded[kept].sum() / fitted[kept].sum())
    return np.array(out)


@dataclass(frozen=True, eq=False)
class RateFit:
    """Rods over length and, where the history has times, time given rods."""

    tallyset: TallySet
    settings: Settings
    rods: Model
    time: Model | None
    time_refused: str | None
    cuts_per_rod: float = field(repr=False)
    divers_per_job: int = 1

    def simulate(
        self,
        lines: pd.DataFrame,
        *,
        rng: np.random.Generator,
        draws: int = 10_000,
        divers: Sequence[str] | None = None,
        job: str | None = None,
    ) -> Simulation:
        """Draw the rods and the cut time of pieces of work in one job.

        Parameters
        ----------
        lines : DataFrame
            One row per piece of work: `length_m`, `thickness_mm`; where known `planned_m` (the length that
            pays one start; the piece's own otherwise), `family`, `diameter_mm`, `position`, `visibility`,
            `fouling`, `current`, `backing`, `power`, `diver`. A missing condition is drawn from the
            history's mix, one level for all such lines of a draw.
        rng : Generator
        draws : int
        divers : sequence of str or None
            Who will dive, dealt round the lines; None draws as many new people as the median job had.
        job : str or None
            A job of the history: the rest of that job, with its own effect. None is a new job.

        Raises
        ------
        InputError
            A length or thickness is missing or not above 0, or the job is not in the history.
        FitError
            A new job is asked of a history with fewer jobs than `Settings.min_jobs`.
        """
        check_lines(lines)
        jobs = self.rods.levels("job")
        if job is not None and job not in jobs:
            raise InputError(f"job {job!r} is not in the history of this fit. Its jobs: {', '.join(jobs)}.")
        if job is None and len(jobs) < self.settings.min_jobs:
            raise FitError(
                f"{len(jobs)} job{'s' if len(jobs) != 1 else ''} in the history: no range for a new job. "
                f"It needs {self.settings.min_jobs}; the rest of a job already begun can be asked for by its code."
            )
        with one_thread():
            return simulate_rates(
                self.rods,
                self.time,
                lines,
                rng=rng,
                draws=draws,
                divers=divers,
                usual_divers=self.divers_per_job,
                job=job,
                cuts_per_rod=self.cuts_per_rod,
            )


def fit_rates(tallyset: TallySet, *, settings: Settings = Settings()) -> RateFit:  # noqa: B008
    """Fit rods over length, and time given rods, to the tallies of a scope.

    Parameters
    ----------
    tallyset : TallySet
    settings : Settings
        Thresholds, priors and grids.

    Raises
    ------
    FitError
        Fewer tallies or jobs than the settings ask for, or rows that leave nothing to judge a spread by.
    """
    refuse_few(len(tallyset.tallies), tallyset.tallies["job"].nunique(), settings, "counted rods")
    rods = Model.of(design(tallyset, settings))
    timed = tallyset.tallies[tallyset.tallies["elapsed_s"].notna()]
    time, refused = None, None
    try:
        refuse_few(len(timed), timed["job"].nunique(), settings, "a time on every cut")
        time = Model.of(time_design(tallyset, rods.design))
    except FitError as error:
        refused = str(error)
    return RateFit(
        tallyset=tallyset,
        settings=settings,
        rods=rods,
        time=time,
        time_refused=refused,
        cuts_per_rod=cuts_per_rod(tallyset),
        divers_per_job=divers_per_job(tallyset),
    )


def refuse_few(count: int, jobs: int, settings: Settings, what: str) -> None:
    """Raise `FitError` below the thresholds."""
    if count < settings.min_tallies or jobs < settings.min_jobs:
        raise FitError(
            f"{count} tallies with {what} from {jobs} job{'s' if jobs != 1 else ''}: too few for a model, "
            f"which needs {settings.min_tallies} tallies and {settings.min_jobs} jobs. Until then there is the plain "
            "ratio of what was logged, as rates prints it."
        )


def cuts_per_rod(tallyset: TallySet) -> float:
    """Cuts begun anew on a line already begun, per rod: what a line of many rods has beyond its first cut."""
    pieces = tallyset.pieces[tallyset.pieces["new_length_m"] > 0]
    again = len(pieces) - pieces["line_ref"].nunique()
    return float(again / tallyset.tallies["rods"].sum())


def divers_per_job(tallyset: TallySet) -> int:
    """Divers of the median job."""
    by = tallyset.pieces.groupby("job")["diver"].nunique()
    return max(1, int(np.ceil(by.median()))) if len(by) else 1
