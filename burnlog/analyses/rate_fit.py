"""The fitted rate: rods over length, and time given rods, integrated over what a plug-in fit would fix.

Both parts share one form: amount = scale x base x exp(conditions + job + diver + luck), where the scale makes
the fit reproduce the recorded total (a ratio of sums; without it the log of a rate whose length the clock cut
short reads 4 to 8 % high).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from burnlog.analyses.rate_design import (
    REFERENCE_MM,
    Design,
    Settings,
    asked,
    design,
    time_design,
)
from burnlog.analyses.tallies import TallySet
from burnlog.errors import FitError, InputError
from burnlog.stats.posterior import Draws, Posterior, Tables, integrate_tables, tables
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
    """For each case, recorded total over fitted total on the rows kept."""
    out = []
    for case, found in zip(rows.cases, posterior.per_case(), strict=True):
        eta = case.X @ found.coef + 0.5 * found.variance * case.m
        for effect in posterior.tables.effects:
            eta = eta + effect.loadings @ found.effects[effect.name]
        fitted = rows.amounts(case) * np.exp(eta)
        out.append(rows.recorded[kept].sum() / fitted[kept].sum())
    return np.array(out)


@dataclass(frozen=True, eq=False)
class Simulation:
    """Draws of what pieces of work take.

    Attributes
    ----------
    rods : array (draws, lines)
    seconds : array (draws, lines) or None
        Cut time net of stoppages; None where the history has too few times.
    parts : mapping of str to array (draws,)
        The log of the total rods taken apart: job, diver, burn, parameters; they add up to it.
    blanks : mapping of str to int
        Lines whose condition was drawn from the history's mix, by condition.
    unseen : mapping of str to tuple of str
        Levels asked for that the history has no term for; drawn from its mix.
    unknown_divers : tuple of str
        Names the history does not hold; they were drawn as new people.
    """

    rods: Array
    seconds: Array | None
    parts: Mapping[str, Array]
    blanks: Mapping[str, int]
    unseen: Mapping[str, tuple[str, ...]]
    unknown_divers: tuple[str, ...]

    @property
    def drivers(self) -> dict[str, float]:
        """Share of each part in the variance of the log of total rods."""
        variances = {name: float(np.var(values)) for name, values in self.parts.items()}
        total = sum(variances.values())
        return {name: value / total if total > 0 else 0.0 for name, value in variances.items()}


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
        _check_lines(lines)
        with one_thread():
            return self._simulated(lines, rng, draws, divers, job)

    def _simulated(
        self,
        lines: pd.DataFrame,
        rng: np.random.Generator,
        draws: int,
        divers: Sequence[str] | None,
        job: str | None,
    ) -> Simulation:
        jobs = self.rods.levels("job")
        if job is not None and job not in jobs:
            raise InputError(f"job {job!r} is not in the history of this fit. Its jobs: {', '.join(jobs)}.")
        if job is None and len(jobs) < self.settings.min_jobs:
            raise FitError(
                f"{len(jobs)} job{'s' if len(jobs) != 1 else ''} in the history: no range for a new job. "
                f"It needs {self.settings.min_jobs}; the rest of a job already begun can be asked for by its code."
            )
        crew = _Crew.of(lines, divers, self.divers_per_job, self.rods.levels("diver"))
        drawn = self.rods.posterior.draws(draws, rng)
        own = _job_part(self.rods, drawn, job, rng)
        people = crew.effects(self.rods, drawn, rng)
        length = lines["length_m"].to_numpy(dtype=float)
        planned = lines["planned_m"].to_numpy(dtype=float) if "planned_m" in lines else length
        starts = np.array([case.tag["start_m"] for case in self.rods.design.cases])[drawn.case]
        psi = np.array([case.tag["psi_m"] for case in self.rods.design.cases])[drawn.case]
        exposure = length[None, :] * (1.0 + starts[:, None] / planned[None, :])
        log_t = np.log(lines["thickness_mm"].to_numpy(dtype=float) / REFERENCE_MM)
        levels = _Levels.of(self.rods.design, lines, draws, rng)
        eta = np.log(exposure) + log_t + np.log(self.rods.scale[drawn.case])[:, None]
        eta += drawn.coef[:, 0, None] + drawn.coef[:, 1, None] * log_t + levels.effect(self.rods.design, drawn.coef)
        noise = rng.standard_normal(eta.shape) * drawn.sigma[:, None]
        luck = noise * np.sqrt(self.rods.design.noise(psi[:, None], exposure))
        base = _log_sum(eta)
        with_people = _log_sum(eta + people)
        log_rods = eta + people + luck
        total = _log_sum(log_rods)
        rods = np.exp(log_rods + own[:, None])
        return Simulation(
            rods=rods,
            seconds=self._seconds(rods, length, log_t, levels, crew, job, rng),
            parts={"job": own, "diver": with_people - base, "burn": total - with_people, "parameters": base},
            blanks=levels.blanks,
            unseen=levels.unseen,
            unknown_divers=crew.unknown,
        )

    def _seconds(
        self,
        rods: Array,
        length: Array,
        log_t: Array,
        levels: _Levels,
        crew: _Crew,
        job: str | None,
        rng: np.random.Generator,
    ) -> Array | None:
        """Time on the given draws of rods."""
        if self.time is None:
            return None
        drawn = self.time.posterior.draws(len(rods), rng)
        own = _job_part(self.time, drawn, job if job in self.time.levels("job") else None, rng)
        psi = np.array([case.tag["psi_m"] for case in self.time.design.cases])[drawn.case]
        per_cut = np.log(rods / (1.0 + rods * self.cuts_per_rod))
        eta = np.log(60.0 * self.time.scale[drawn.case])[:, None] + np.log(rods) + own[:, None]
        eta += drawn.coef[:, 0, None] + drawn.coef[:, 1, None] * log_t + drawn.coef[:, 2, None] * per_cut
        eta += levels.effect(self.time.design, drawn.coef) + crew.effects(self.time, drawn, rng)
        noise = rng.standard_normal(eta.shape) * drawn.sigma[:, None]
        variance = self.time.design.noise(psi[:, None], length[None, :])
        return np.asarray(np.exp(eta + noise * np.sqrt(variance)), dtype=float)


def _check_lines(lines: pd.DataFrame) -> None:
    """Lengths and thicknesses must be there and above 0."""
    for name in ("length_m", "thickness_mm"):
        if name not in lines:
            raise InputError(f"the lines have no column {name!r}.")
        bad = ~(lines[name].to_numpy(dtype=float) > 0)
        if bad.any():
            raise InputError(f"{name} is missing or not above 0 in line {int(np.flatnonzero(bad)[0]) + 1}.")
    if len(lines) == 0:
        raise InputError("there are no lines to simulate.")


def _log_sum(logs: Array) -> Array:
    """Log of the sum over lines."""
    top = logs.max(axis=1, keepdims=True)
    return np.asarray(top[:, 0] + np.log(np.exp(logs - top).sum(axis=1)))


def _job_part(model: Model, drawn: Draws, job: str | None, rng: np.random.Generator) -> Array:
    """The job's own effect in each draw: a new one, or that of a job in the history."""
    if job is None:
        return np.asarray(drawn.sd["job"] * rng.standard_normal(len(drawn.sigma)))
    return drawn.effects["job"][:, model.levels("job").index(job)]


@dataclass(frozen=True)
class _Crew:
    """Who makes each line: a seat for each, and the name in each seat where there is one."""

    seat: NDArray[np.intp]
    names: tuple[str | None, ...]
    unknown: tuple[str, ...]

    @classmethod
    def of(cls, lines: pd.DataFrame, divers: Sequence[str] | None, usual: int, known: tuple[str, ...]) -> _Crew:
        seats: list[str | None] = list(dict.fromkeys(divers)) if divers else [None] * max(1, usual)
        seat = np.arange(len(lines)) % len(seats)
        if "diver" in lines:
            for row, name in enumerate(lines["diver"].to_list()):
                if pd.notna(name):
                    if name not in seats:
                        seats.append(str(name))
                    seat[row] = seats.index(str(name))
        unknown = tuple(name for name in seats if name is not None and name not in known)
        return cls(seat, tuple(seats), unknown)

    def effects(self, model: Model, drawn: Draws, rng: np.random.Generator) -> Array:
        """Effect of who makes each line, (draws, lines): their own where the history knows them."""
        if "diver" not in drawn.sd:  # what divers add is then in the spread between jobs
            return np.zeros((len(drawn.sigma), len(self.seat)))
        new = rng.standard_normal((len(drawn.sigma), len(self.names))) * drawn.sd["diver"][:, None]
        levels = model.levels("diver")
        for k, name in enumerate(self.names):
            if name in levels:
                new[:, k] = drawn.effects["diver"][:, levels.index(name)]
        return np.asarray(new[:, self.seat])


@dataclass(frozen=True)
class _Levels:
    """Levels of every condition of the lines: fixed where typed, drawn from the history's mix where not.

    `group` numbers the distinct values of a condition, line by line; `chosen` holds for each group the level it
    stands for, or one level a draw.
    """

    group: Mapping[str, NDArray[np.intp]]
    chosen: Mapping[str, tuple[NDArray[np.intp], ...]]
    blanks: Mapping[str, int]
    unseen: Mapping[str, tuple[str, ...]]

    @classmethod
    def of(cls, rows: Design, lines: pd.DataFrame, draws: int, rng: np.random.Generator) -> _Levels:
        group, chosen, blanks, unseen = {}, {}, {}, {}
        for condition in rows.conditions:
            values = asked(condition, lines)
            distinct = sorted(set(values), key=str)
            group[condition.name] = np.array([distinct.index(value) for value in values], dtype=np.intp)
            among = [condition.candidates(value) for value in distinct]
            missing = [str(v) for v, a in zip(distinct, among, strict=True) if v is not None and len(a) != 1]
            if missing:
                unseen[condition.name] = tuple(missing)
            if condition.terms:
                open_groups = {k for k, levels in enumerate(among) if len(levels) > 1}
                number = sum(int((group[condition.name] == k).sum()) for k in open_groups)
                if number:
                    blanks[condition.name] = number
            chosen[condition.name] = tuple(
                levels if len(levels) < 2 else _picked(levels, condition.mix, draws, rng) for levels in among
            )
        return cls(group, chosen, blanks, unseen)

    def effect(self, rows: Design, coef: Array) -> Array:
        """Sum of the condition effects, (draws, lines)."""
        out = np.zeros((len(coef), len(next(iter(self.group.values())))))
        column = coef.shape[1] - sum(len(condition.terms) for condition in rows.conditions)
        for condition in rows.conditions:
            size = len(condition.terms)
            effects = np.column_stack([np.zeros(len(coef)), coef[:, column : column + size]])
            for k, levels in enumerate(self.chosen[condition.name]):
                if size:
                    value = effects[:, levels[0]] if len(levels) == 1 else effects[np.arange(len(coef)), levels]
                    out[:, self.group[condition.name] == k] += value[:, None]
            column += size
        return out


def _picked(levels: NDArray[np.intp], mix: Array, draws: int, rng: np.random.Generator) -> NDArray[np.intp]:
    """One of some levels for each draw, by the history's mix."""
    return levels[rng.choice(len(levels), size=draws, p=mix[levels] / mix[levels].sum())]


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
            f"which needs {settings.min_tallies} tallies and {settings.min_jobs} jobs."
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
