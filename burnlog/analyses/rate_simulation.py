"""Draws of what pieces of work take in one job: rods, and the cut time on those rods.

    rods    = scale x base x exp(conditions + job + diver + luck)
    seconds = scale x rods x exp(conditions + rods per cut + job + diver + luck)

Pieces of one kind (length, steel, conditions) share everything but who makes them and their luck, so what they share
is drawn once for the kind.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from burnlog.analyses.rate_design import REFERENCE_MM, Design, asked
from burnlog.errors import InputError

if TYPE_CHECKING:
    from burnlog.analyses.rate_fit import Model
    from burnlog.stats.posterior import Draws

__all__ = ["Simulation", "check_lines", "simulate_rates"]

Array = NDArray[np.float64]
BLOCK = 200_000
"""Cells worked on at a time: what fits in the cache of a small machine."""


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


def simulate_rates(
    rods: Model,
    time: Model | None,
    lines: pd.DataFrame,
    *,
    rng: np.random.Generator,
    draws: int,
    divers: Sequence[str] | None,
    usual_divers: int,
    job: str | None,
    cuts_per_rod: float,
) -> Simulation:
    """Draw rods and time of pieces of work; `burnlog.analyses.rate_fit.RateFit.simulate` says of what.

    Parameters
    ----------
    rods, time : Model
        The two fitted parts.
    lines : DataFrame
        One row per piece of work, lengths and thicknesses above 0.
    usual_divers : int
        How many new people dive where nobody is named.
    cuts_per_rod : float
        Cuts begun anew on a line already begun, per rod.
    """
    crew = _Crew.of(lines, divers, usual_divers, rods.levels("diver"))
    drawn = rods.posterior.draws(draws, rng, effects=_named(job))
    own = _job_part(rods, drawn, job, rng)
    people = crew.effects(rods, drawn, rng)
    levels = _Levels.of(rods.design, lines, draws, rng)
    kinds = _Kinds.of(lines, levels)
    starts, psi = (_tag(rods, name) for name in ("start_m", "psi_m"))
    exposure = kinds.length * (1.0 + starts / kinds.planned)
    known = np.log(exposure) + kinds.log_t + np.log(rods.scale)[:, None]
    shared = known[drawn.case] + levels.effect(rods.design, drawn.coef, kinds)
    luck_sd = np.sqrt(rods.design.noise(psi, exposure))[drawn.case] * drawn.sigma[:, None]
    base, seats = np.exp(shared), np.exp(people)
    logs = np.empty((draws, len(lines)))
    amounts = np.empty_like(logs)
    whose = people + own[:, None]
    for part in _blocks(draws, len(lines)):
        row = rng.standard_normal(out=logs[part])
        row *= np.take(luck_sd[part], kinds.of_line, axis=1)
        row += np.take(shared[part], kinds.of_line, axis=1)
        row += np.take(whose[part], crew.seat, axis=1)
        np.exp(row, out=amounts[part])
    usual = np.log(base @ kinds.count)
    with_people = np.log(np.einsum("ds,ds->d", base @ kinds.by_seat(crew.seat, seats.shape[1]), seats))
    total = np.log(amounts.sum(axis=1)) - own
    seconds = None
    if time is not None:
        seconds = _seconds(time, logs, amounts, kinds, levels, crew, job, cuts_per_rod, rng)
    return Simulation(
        rods=amounts,
        seconds=seconds,
        parts={"job": own, "diver": with_people - usual, "burn": total - with_people, "parameters": usual},
        blanks=levels.blanks,
        unseen=levels.unseen,
        unknown_divers=crew.unknown,
    )


def _seconds(
    time: Model,
    log_rods: Array,
    rods: Array,
    kinds: _Kinds,
    levels: _Levels,
    crew: _Crew,
    job: str | None,
    cuts_per_rod: float,
    rng: np.random.Generator,
) -> Array:
    """Time on the given draws of rods, whose logarithms are used up."""
    drawn = time.posterior.draws(len(rods), rng, effects=_named(job))
    own = _job_part(time, drawn, job if job in time.levels("job") else None, rng)
    shared = (np.log(60.0 * time.scale[drawn.case]) + own)[:, None] + levels.effect(time.design, drawn.coef, kinds)
    people = crew.effects(time, drawn, rng)
    slope = drawn.coef[:, 2, None]
    noise = time.design.noise(_tag(time, "psi_m"), kinds.length)
    luck_sd = np.sqrt(noise)[drawn.case] * drawn.sigma[:, None]
    seconds = np.empty_like(rods)
    for part in _blocks(*rods.shape):
        row = rng.standard_normal(out=seconds[part])
        row *= np.take(luck_sd[part], kinds.of_line, axis=1)
        row += (1.0 + slope[part]) * log_rods[part]
        per_cut = rods[part] * cuts_per_rod
        per_cut += 1.0
        row -= slope[part] * np.log(per_cut, out=per_cut)
        row += np.take(shared[part], kinds.of_line, axis=1)
        row += np.take(people[part], crew.seat, axis=1)
        np.exp(row, out=row)
    return seconds


def _blocks(draws: int, lines: int) -> list[slice]:
    """Draws in turn, some at a time."""
    step = max(1, BLOCK // max(1, lines))
    return [slice(start, start + step) for start in range(0, draws, step)]


def _named(job: str | None) -> tuple[str, ...]:
    """Effects whose levels are asked for: a new job has none of the old jobs' effects."""
    return ("diver",) if job is None else ("job", "diver")


def _tag(model: Model, name: str) -> Array:
    """A setting of every case, (cases, 1)."""
    return np.array([[case.tag[name]] for case in model.posterior.tables.cases])


def _job_part(model: Model, drawn: Draws, job: str | None, rng: np.random.Generator) -> Array:
    """The job's own effect in each draw: a new one, or that of a job in the history."""
    if job is None:
        return np.asarray(drawn.sd["job"] * rng.standard_normal(len(drawn.sigma)))
    return drawn.effects["job"][:, model.levels("job").index(job)]


@dataclass(frozen=True, eq=False)
class _Kinds:
    """Distinct pieces of work: what each is, which line is of which kind, and how many there are."""

    of_line: NDArray[np.intp]
    first: NDArray[np.intp]
    length: Array
    planned: Array
    log_t: Array

    @classmethod
    def of(cls, lines: pd.DataFrame, levels: _Levels) -> _Kinds:
        length = lines["length_m"].to_numpy(dtype=float)
        planned = lines["planned_m"].to_numpy(dtype=float) if "planned_m" in lines else length
        thickness = lines["thickness_mm"].to_numpy(dtype=float)
        columns = [length, planned, thickness, *levels.group.values()]
        _, first, of_line = np.unique(np.column_stack(columns), axis=0, return_index=True, return_inverse=True)
        return cls(of_line.ravel(), first, length[first], planned[first], np.log(thickness[first] / REFERENCE_MM))

    @property
    def count(self) -> Array:
        """Lines of each kind, (kinds,)."""
        return np.bincount(self.of_line, minlength=len(self.first)).astype(float)

    def by_seat(self, seat: NDArray[np.intp], seats: int) -> Array:
        """Lines of each kind made by each seat, (kinds, seats)."""
        out = np.zeros((len(self.first), seats))
        np.add.at(out, (self.of_line, seat), 1.0)
        return out


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
        """Effect of who sits in each seat, (draws, seats): their own where the history knows them."""
        if "diver" not in drawn.sd:  # what divers add is then in the spread between jobs
            return np.zeros((len(drawn.sigma), len(self.names)))
        new = rng.standard_normal((len(drawn.sigma), len(self.names))) * drawn.sd["diver"][:, None]
        levels = model.levels("diver")
        for k, name in enumerate(self.names):
            if name in levels:
                new[:, k] = drawn.effects["diver"][:, levels.index(name)]
        return np.asarray(new, dtype=float)


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

    def effect(self, rows: Design, coef: Array, kinds: _Kinds) -> Array:
        """What level, thickness and conditions say of each kind, (draws, kinds)."""
        columns = [coef[:, 0], coef[:, 1]]
        marks = [np.ones(len(kinds.first)), kinds.log_t]
        at = coef.shape[1] - sum(len(condition.terms) for condition in rows.conditions)
        for condition in rows.conditions:
            effects = np.column_stack([np.zeros(len(coef)), coef[:, at : at + len(condition.terms)]])
            at += len(condition.terms)
            for k, levels in enumerate(self.chosen[condition.name] if condition.terms else ()):
                columns.append(effects[:, levels[0]] if len(levels) == 1 else effects[np.arange(len(coef)), levels])
                marks.append(self.group[condition.name][kinds.first] == k)
        return np.asarray(np.column_stack(columns) @ np.array(marks, dtype=float), dtype=float)


def _picked(levels: NDArray[np.intp], mix: Array, draws: int, rng: np.random.Generator) -> NDArray[np.intp]:
    """One of some levels for each draw, by the history's mix."""
    return levels[rng.choice(len(levels), size=draws, p=mix[levels] / mix[levels].sum())]


def check_lines(lines: pd.DataFrame) -> None:
    """Raise `InputError` where there are no lines, or one without a length or a thickness above 0."""
    for name in ("length_m", "thickness_mm"):
        if name not in lines:
            raise InputError(f"the lines have no column {name!r}.")
        bad = ~(lines[name].to_numpy(dtype=float) > 0)
        if bad.any():
            raise InputError(f"{name} is missing or not above 0 in line {int(np.flatnonzero(bad)[0]) + 1}.")
    if len(lines) == 0:
        raise InputError("there are no lines to simulate.")
