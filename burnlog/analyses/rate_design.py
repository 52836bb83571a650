"""Tallies as rows of a regression: exposure with a start allowance for each line, and exposure-weighted conditions.

    E_i(delta) = sum_c L_c (1 + delta / P_c)         L_c new length of cut c, P_c planned length of its line
    x_i        = sum_c w_c x_c,   w_c = share of cut c in E_i
    y_i        = log(rods_i) - log(E_i) - log(t / 12.7 mm)_i
    var e_i    = sigma^2 (1 + psi / E_i) / (1 + psi / E_0)        E_0 the median exposure: sigma is a usual tally's

Each line pays one start worth `delta` metres, shared out over its cuts; never one start per cut, for dives end
by the clock and hard going makes short cuts. A condition nobody wrote down is the history's length-weighted
mix of that condition.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from itertools import product
from typing import TypeVar

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import erf

from burnlog.analyses.conditions import CONDITIONS, Condition, asked, condition_of, rod_levels
from burnlog.analyses.tallies import TallySet
from burnlog.stats.posterior import Case, Effect

__all__ = [
    "CONDITIONS",
    "REFERENCE_MM",
    "Condition",
    "Design",
    "Settings",
    "asked",
    "design",
    "rod_levels",
    "time_design",
]

REFERENCE_MM = 12.7
TIME_CONDITIONS = ("family", "visibility")
UNNAMED = "(not recorded) "
INTERCEPT, THICKNESS, RODS_PER_CUT = "intercept", "thickness", "rods per cut"

Array = NDArray[np.float64]
Kind = TypeVar("Kind", bound="Design")


@dataclass(frozen=True)
class Settings:
    """Choices behind a fit; all of them are printed with it.

    Parameters
    ----------
    min_tallies, min_jobs : int
        Below these there is no model, only the ratio and the list.
    percent_from : int
        Tallies below which no percentage is shown.
    support : int
        Tallies a level of a condition needs for a term of its own; below, it counts as not written down.
    start_m, psi_m : tuple of float
        Grids of the start allowance and of the length below which a tally is noisier, both in m.
    start_scale_m : float
        Half-normal scale of the start allowance. A point of its grid stands for all allowances nearer to it than to
        any other and has their share of the prior; with the bare density at the points a grid that is dense near 0
        would lean on no start at all (prior mean 0.09 m where the stated half-normal has 0.16 m).
    exponent_scale : float
        Prior sd of the thickness exponent about 1, in sigmas.
    contrast_scale : float
        Prior sd of a condition's effect about 0, in sigmas.
    job_scale, diver_scale : float
        Half-normal scales of the spread between jobs and between divers, in sigmas.
    job_grid, diver_grid : (low, high, points)
        Grids of those spreads.
    """

    min_tallies: int = 10
    min_jobs: int = 3
    percent_from: int = 5
    support: int = 3
    start_m: tuple[float, ...] = (0.0, 0.03, 0.07, 0.12, 0.2, 0.35)
    psi_m: tuple[float, ...] = (0.0, 0.15, 0.5, 1.2, 2.5)
    start_scale_m: float = 0.2
    exponent_scale: float = 3.3
    contrast_scale: float = 1.0
    job_scale: float = 1.67
    diver_scale: float = 1.0
    job_grid: tuple[float, float, int] = (0.06, 4.0, 11)
    diver_grid: tuple[float, float, int] = (0.06, 2.0, 6)

    def start_share(self, start_m: float) -> float:
        """Share of the half-normal prior that a point of the start grid stands for.

        Examples
        --------
        >>> settings = Settings()
        >>> [round(settings.start_share(start), 2) for start in settings.start_m]
        [0.06, 0.14, 0.17, 0.21, 0.25, 0.17]
        """
        below = max((point for point in self.start_m if point < start_m), default=None)
        above = min((point for point in self.start_m if point > start_m), default=None)
        low = 0.0 if below is None else 0.5 * (below + start_m)
        high = np.inf if above is None else 0.5 * (start_m + above)
        reach = self.start_scale_m * np.sqrt(2.0)
        return float(erf(high / reach) - erf(low / reach))


@dataclass(frozen=True, eq=False)
class Design:
    """Rows and columns of a fit, for any start allowance and psi.

    Attributes
    ----------
    tallies : DataFrame
        The tallies of the rows, in order.
    conditions : tuple of Condition
    names : tuple of str
        Column names: intercept, thickness, then ``condition: level``.
    prior_precision : array (p,)
        In units of 1/sigma^2; 0 is flat.
    mean_log_t : float
        What stands in for an unrecorded thickness: the length-weighted mean of log(t / 12.7 mm).
    notes : mapping of str to int
        What was filled in, counted.
    """

    tallies: pd.DataFrame
    conditions: tuple[Condition, ...]
    names: tuple[str, ...]
    prior_precision: Array
    mean_log_t: float
    notes: Mapping[str, int]
    settings: Settings
    piece_tally: NDArray[np.int64] = field(repr=False)
    length: Array = field(repr=False)
    planned: Array = field(repr=False)
    log_t: Array = field(repr=False)
    columns: Array = field(repr=False)
    diver: NDArray[np.object_] = field(repr=False)

    @property
    def n(self) -> int:
        """Rows."""
        return len(self.tallies)

    def exposure(self, start_m: float) -> Array:
        """Metres with the start allowance, (n,)."""
        return self._sums(self.length * (1.0 + start_m / self.planned))

    def _sums(self, of_pieces: Array) -> Array:
        return np.bincount(self.piece_tally, weights=of_pieces, minlength=self.n).astype(float)

    def _weighted(self, start_m: float) -> tuple[Array, Array, Array]:
        """Exposure, mean log thickness and condition columns of the tallies."""
        weight = self.length * (1.0 + start_m / self.planned)
        total = self._sums(weight)
        log_t = self._sums(weight * self.log_t) / total
        conditions = [self._sums(weight * column) / total for column in self.columns.T]
        return total, log_t, np.column_stack([np.empty((self.n, 0)), *conditions])

    @cached_property
    def usual_m(self) -> float:
        """Median new length of a tally: where the residual variance is sigma^2, whatever psi.

        The priors are in sigmas. Were sigma that of an endless tally, they would shrink as psi grows.
        """
        return float(np.median(self.exposure(0.0)))

    def noise(self, psi_m: float | Array, exposure: Array) -> Array:
        """Residual variance of tallies of some exposure, relative to sigma^2."""
        return np.asarray((1.0 + psi_m / exposure) / (1.0 + psi_m / self.usual_m), dtype=float)

    def case(self, start_m: float, psi_m: float) -> Case:
        """The rows at one start allowance and psi, with the log prior of both."""
        exposure, log_t, conditions = self._weighted(start_m)
        y = np.log(self.tallies["rods"].to_numpy(dtype=float)) - np.log(exposure) - log_t
        return Case(
            y=y,
            X=np.column_stack([np.ones(self.n), log_t, conditions]),
            m=self.noise(psi_m, exposure),
            log_prior=float(np.log(self.settings.start_share(start_m))),
            tag={"start_m": start_m, "psi_m": psi_m},
        )

    @cached_property
    def cases(self) -> tuple[Case, ...]:
        """The rows at every point of the grid of start allowance and psi."""
        return tuple(self.case(start, psi) for start, psi in product(self.settings.start_m, self.settings.psi_m))

    def amounts(self, case: Case) -> Array:
        """What the exponent of a case's linear predictor multiplies to give the count, (n,)."""
        rods = self.tallies["rods"].to_numpy(dtype=float)
        return np.asarray(rods / np.exp(case.y), dtype=float)

    def bid(self, case: Case, coef: Array, effects: Array, variance: float) -> Array:
        """What the pieces of each tally come to in the mean when they are bid one by one, (n,).

        A bid sums over lines, each with its own steel and its own luck, where a tally of many lines has a mean of
        its steels and one luck; the sum of a spread is more than its middle.

        Parameters
        ----------
        case : Case
            One of `cases`.
        coef : array (p,)
        effects : array (n,)
            Sum of the group effects of each tally.
        variance : float
            Residual variance of a usual tally, sigma^2.
        """
        start = case.tag["start_m"]
        line = self.log_t * (1.0 + coef[1]) + self.columns @ coef[2:]
        line += 0.5 * variance * self.noise(case.tag["psi_m"], self.planned + start)
        total = self._sums(self.length * (1.0 + start / self.planned) * np.exp(line))
        return np.asarray(total * np.exp(coef[0] + effects), dtype=float)

    @property
    def recorded(self) -> Array:
        """The counts the fit has to reproduce in sum, (n,)."""
        return self.tallies["rods"].to_numpy(dtype=float)

    def effect(self, name: str, scale: float, grid: tuple[float, float, int]) -> Effect:
        """A grouping of the rows: ``job``, ``crew`` or another column of the tallies, or ``diver`` by length."""
        if name == "diver":
            return self._diver_effect(scale, grid)
        labels = self.tallies[name]
        if labels.isna().any():
            own = UNNAMED + self.tallies["job"].astype(str)
            labels = labels.fillna(own)
        return Effect.from_labels(name, labels.to_list(), scale=scale, grid=grid)

    def _diver_effect(self, scale: float, grid: tuple[float, float, int]) -> Effect:
        levels = sorted(set(self.diver.tolist()))
        column = {level: k for k, level in enumerate(levels)}
        at = np.array([column[name] for name in self.diver], dtype=int)
        loadings = np.zeros((self.n, len(levels)))
        np.add.at(loadings, (self.piece_tally, at), self.length)
        loadings /= loadings.sum(axis=1, keepdims=True)
        return Effect("diver", loadings, tuple(levels), scale, grid)

    def tallies_with(self, term: int) -> int:
        """Tallies with a cut whose condition is written down as that of a term, numbered over all conditions."""
        return len(np.unique(self.piece_tally[self.columns[:, term] == 1.0]))

    @property
    def named_divers(self) -> int:
        """Divers whose code was written down."""
        return len({name for name in self.diver.tolist() if not str(name).startswith(UNNAMED)})

    @property
    def planning_effects(self) -> tuple[Effect, ...]:
        """Job and diver; job alone where fewer than two divers are named, for then nobody can be told apart."""
        return self.effects if self.named_divers > 1 else self.effects[:1]

    @property
    def effects(self) -> tuple[Effect, ...]:
        """Job and diver."""
        s = self.settings
        return (self.effect("job", s.job_scale, s.job_grid), self.effect("diver", s.diver_scale, s.diver_grid))


@dataclass(frozen=True, eq=False)
class TimeDesign(Design):
    """Minutes per rod given the rods: the same rows where every cut has a time, and rods per cut beside."""

    def case(self, start_m: float, psi_m: float) -> Case:
        """The rows at one psi; a start allowance has no part in it."""
        exposure, log_t, conditions = self._weighted(0.0)
        rods = self.recorded_rods
        y = np.log(self.recorded / 60.0) - np.log(rods)
        per_cut = np.log(rods / self.cuts)
        return Case(
            y=y,
            X=np.column_stack([np.ones(self.n), log_t, per_cut, conditions]),
            m=self.noise(psi_m, exposure),
            tag={"psi_m": psi_m},
        )

    @cached_property
    def cases(self) -> tuple[Case, ...]:
        """The rows at every psi."""
        return tuple(self.case(0.0, psi) for psi in self.settings.psi_m)

    def amounts(self, case: Case) -> Array:
        """Seconds that one minute per rod would make, (n,)."""
        return 60.0 * self.recorded_rods

    def bid(self, case: Case, coef: Array, effects: Array, variance: float) -> Array:
        """Seconds the rods of each tally come to in the mean, line by line with a luck of its own, (n,)."""
        luck = self.length * np.exp(0.5 * variance * self.noise(case.tag["psi_m"], self.planned))
        usual = self.amounts(case) * np.exp(case.X @ coef + effects)
        return np.asarray(usual * self._sums(luck) / self._sums(self.length), dtype=float)

    @property
    def recorded(self) -> Array:
        """Seconds net of stoppages, (n,)."""
        return self.tallies["elapsed_s"].to_numpy(dtype=float)

    @property
    def recorded_rods(self) -> Array:
        """Rods of the timed tallies, (n,)."""
        return self.tallies["rods"].to_numpy(dtype=float)

    @cached_property
    def cuts(self) -> Array:
        """First-pass cuts of each tally that made length, (n,)."""
        return self._sums(np.ones(len(self.length)))


def design(tallyset: TallySet, settings: Settings = Settings()) -> Design:
    """Rows for rods over length.

    Parameters
    ----------
    tallyset : TallySet
    settings : Settings
    """
    return _laid_out(Design, tallyset, tallyset.tallies, settings, (), None)


def time_design(tallyset: TallySet, like: Design) -> TimeDesign:
    """Rows for minutes per rod given the rods, from the tallies where every cut has a time.

    Parameters
    ----------
    tallyset : TallySet
    like : Design
        The rows for rods: levels, baselines and mixes are theirs, so that both parts speak of the same level.
    """
    timed = tallyset.tallies[tallyset.tallies["elapsed_s"].notna()]
    conditions = tuple(condition for condition in like.conditions if condition.name in TIME_CONDITIONS)
    return _laid_out(TimeDesign, tallyset, timed, like.settings, (RODS_PER_CUT,), conditions)


def _laid_out(
    kind: type[Kind],
    tallyset: TallySet,
    tallies: pd.DataFrame,
    settings: Settings,
    more: tuple[str, ...],
    conditions: tuple[Condition, ...] | None,
) -> Kind:
    cut = tallyset.pieces["new_length_m"] > 0  # a cut that severed nothing has no part in any mean
    pieces = tallyset.pieces[cut & tallyset.pieces["tally_id"].isin(tallies.index)]
    of = tallies.index.get_indexer(pd.Index(pieces["tally_id"])).astype(np.int64)
    length = pieces["new_length_m"].to_numpy(dtype=float)
    thickness = pieces["thickness_mm"].to_numpy(dtype=float)
    log_t = np.log(thickness / REFERENCE_MM)
    thin = ~np.isfinite(log_t)
    weight = np.where(thin, 0.0, length)
    mean_log_t = float(weight @ np.where(thin, 0.0, log_t) / weight.sum()) if weight.sum() > 0 else 0.0
    values = {name: pieces[name] for name in CONDITIONS if name != "family"}
    rods = rod_levels(tallyset).reindex(tallies.index)
    values["family"] = pd.Series(rods.to_numpy()[of], index=pieces.index)
    rods_of = tallies["rods"].to_numpy(dtype=float)[of]
    if conditions is None:
        conditions = tuple(
            condition_of(name, values[name], length, rods_of, of, settings.support) for name in CONDITIONS
        )
    blocks, notes = [], {}
    for condition in conditions:
        asked_for = values[condition.name].to_list()
        blocks.append(condition.shares(asked_for))
        if condition.terms:
            blank = condition.missing(asked_for)
            notes[f"{condition.name} not recorded, or too rare for a term"] = len(np.unique(of[blank]))
    notes["thickness not recorded"] = len(np.unique(of[thin]))
    terms = tuple(f"{name}: {level}" for condition in conditions for name, level in condition.terms)
    slope = 1.0 / settings.exponent_scale**2
    contrast = 1.0 / settings.contrast_scale**2
    diver = pieces["diver"].astype(object).to_numpy()
    unnamed = pd.isna(diver)
    diver = np.where(unnamed, UNNAMED + pieces["job"].astype(object).to_numpy(), diver)
    return kind(
        tallies=tallies,
        conditions=conditions,
        names=(INTERCEPT, THICKNESS, *more, *terms),
        prior_precision=np.array([0.0, slope, *[slope] * len(more), *[contrast] * len(terms)]),
        mean_log_t=mean_log_t,
        notes={name: number for name, number in notes.items() if number},
        settings=settings,
        piece_tally=of,
        length=length,
        planned=pieces["planned_m"].to_numpy(dtype=float),
        log_t=np.where(thin, mean_log_t, log_t),
        columns=np.column_stack([np.empty((len(pieces), 0)), *blocks]),
        diver=diver,
    )
