"""Invented work under the clock: lines cut in turn by dives that end when their minutes are up.

Because the clock ends a dive, hard going makes short cuts. Many jobs run side by side in one set of arrays.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from burnlog.analyses.worlds import Conditions, World, line_luck

__all__ = ["DiveDraws", "Work", "dive_draws", "work"]

FIRST, REBURN, HANGER = 0, 1, 2
PART_WAY, THROUGH, WITH_HANGERS, ABANDONED = 0, 1, 2, 3
_OVER = 2.0  # minutes a diver stays to finish a line
_UNDER = 3.0  # minutes under which no new line is begun

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class DiveDraws:
    """What each dive of B jobs brings: arrays (B, D)."""

    rods: Floats
    time: Floats
    minutes: Floats
    visibility: Ints
    current: Ints
    fall_psi: Floats


@dataclass(frozen=True)
class Work:
    """Cuts in the order made: flat arrays. `job`, `line` and `dive` number from 0 within the jobs given."""

    job: Ints
    line: Ints
    dive: Ints
    kind: Ints
    outcome: Ints
    metres: Floats
    rods: Floats
    minutes: Floats

    def totals(self, jobs: int) -> tuple[Floats, Floats, Floats]:
        """Rods, minutes and dives of each job."""
        dives = np.zeros(jobs)
        np.maximum.at(dives, self.job, self.dive + 1.0)
        rods = np.bincount(self.job, weights=self.rods, minlength=jobs).astype(float)
        minutes = np.bincount(self.job, weights=self.minutes, minlength=jobs).astype(float)
        return rods, minutes, dives


def dive_draws(
    world: World,
    conditions: Conditions,
    people_rods: Floats,
    people_time: Floats,
    rng: np.random.Generator,
) -> DiveDraws:
    """Draw the dives of each job; `people_*` (B, D) are the effects of who dives, crew included."""
    shape = people_rods.shape
    step = rng.choice((-1, 0, 1), p=(0.2, 0.6, 0.2), size=shape)
    visibility = np.clip(conditions.band[:, None] + step, 0, len(world.effects["visibility"]) - 1)
    drift = rng.choice((-1, 0, 1), p=(0.15, 0.7, 0.15), size=shape)
    current = np.clip(conditions.still[:, None] + drift, 0, len(world.effects["current"]) - 1)
    sag = rng.random(shape) < world.sag
    fall = np.where(sag, rng.uniform(10.0, 40.0, size=shape), 0.0)
    return DiveDraws(
        rods=people_rods
        + world.effect("visibility")[visibility]
        + world.effect("current")[current]
        + np.log1p(0.006 * fall),
        time=people_time + 0.5 * world.effect("visibility")[visibility],
        minutes=np.maximum(8.0, conditions.dive_minutes[:, None] * np.exp(rng.normal(0.0, 0.1, size=shape))),
        visibility=visibility,
        current=current,
        fall_psi=fall,
    )


def _line_rates(
    world: World, conditions: Conditions, job_effect: Floats, job_exponent: Floats, rng: np.random.Generator
) -> tuple[Floats, Floats]:
    """Log rods per metre and the luck in them, for each line, before diver and dive."""
    log_t = np.log(conditions.thickness_mm / 12.7)
    exponent = world.exponent + job_exponent[:, None] + world.tubular_exponent * conditions.family
    jobs, columns = conditions.length_m.shape
    luck = line_luck(world, jobs, columns, rng)
    rate = np.log(world.rods_per_m) + exponent * log_t + job_effect[:, None] + luck
    for what in ("position", "fouling", "backing", "family", "power"):
        rate = rate + world.effect(what)[getattr(conditions, what)]
    dark = (conditions.band[:, None] == 0) & (conditions.position == 4)
    return rate + world.dark_overhead * dark, luck


def work(
    world: World,
    conditions: Conditions,
    dives: DiveDraws,
    job_effect: Floats,
    job_exponent: Floats,
    job_time: Floats,
    rng: np.random.Generator,
    *,
    abandon: bool = True,
) -> Work:
    """Cut every line of every job, dive by dive; `job_*` (B,) are the jobs' own effects.

    With `abandon` a line left at the end of a dive may never be taken up again, the hard ones sooner.
    """
    jobs = len(conditions.count)
    rate, luck = _line_rates(world, conditions, job_effect, job_exponent, rng)
    per_rod = np.log(world.minutes_per_rod) + 0.15 * np.log(conditions.thickness_mm / 12.7)
    per_rod = per_rod + 0.15 * conditions.family + job_time[:, None]
    line, dive = np.zeros(jobs, dtype=np.int64), np.zeros(jobs, dtype=np.int64)
    left, begun, used = conditions.length_m[:, 0].copy(), np.zeros(jobs, dtype=bool), np.zeros(jobs)
    kept: list[tuple[NDArray[np.generic], ...]] = []
    last_dive = dives.rods.shape[1] - 1
    at = np.arange(jobs)
    while len(at):
        z, chance = rng.standard_normal((2, len(at))), rng.random((4, len(at)))
        ln, dv, rest = line[at], dive[at], left[at]
        start = np.where(begun[at], 0.0, world.start_m)
        noise = z[0] * world.metre_sd / np.sqrt(np.clip(rest, 0.3, None))
        need = (rest + start) * np.exp(rate[at, ln] + dives.rods[at, dv] + noise)
        pace = np.exp(per_rod[at, ln] + dives.time[at, dv] + world.time_sd * z[1])
        minutes = world.minutes_per_start + need * pace
        room = dives.minutes[at, dv] - used[at]
        skip = (room < _UNDER) & (used[at] > 0) & (dv < last_dive)
        whole = ~skip & ((minutes <= room + _OVER) | (dv >= last_dive))
        share = np.where(whole, 1.0, np.clip((room - world.minutes_per_start) / (need * pace), 0.02, 0.98))
        metres = np.where(whole, rest, np.clip(share * (rest + start) - start, 0.0, rest - 0.01))
        rods = need * share
        spent = world.minutes_per_start + rods * pace
        given_up = abandon & ~whole & ~skip & (chance[0] < world.abandon * np.exp(2.0 * luck[at, ln]))
        hung = whole & (chance[1] < world.hanger)
        outcome = np.select([given_up, hung, whole], [ABANDONED, WITH_HANGERS, THROUGH], PART_WAY)
        did = ~skip
        kept.append(_cuts(at, ln, dv, did, FIRST, outcome, metres, rods, spent))
        bits = 0.4 + 1.6 * chance[2]
        kept.append(_cuts(at, ln, dv, hung, HANGER, THROUGH, 0.0, bits, 1.0 + bits * pace))
        again = whole & (chance[3] < world.reburn)
        extra = (0.15 + 0.25 * chance[2]) * need
        kept.append(_cuts(at, ln, dv, again, REBURN, THROUGH, 0.0, extra, 1.0 + extra * pace))
        used[at] += np.where(did, spent, 0.0)
        used[at] += np.where(hung, 1.0 + bits * pace, 0.0) + np.where(again, 1.0 + extra * pace, 0.0)
        up = skip | (did & ~whole)
        dive[at] = np.where(up, dv + 1, dv)
        used[at] = np.where(up, 0.0, used[at])
        over = whole | given_up
        line[at] = np.where(over, ln + 1, ln)
        begun[at] = np.where(over, False, begun[at] | did)
        left[at] = np.where(over, 0.0, rest - np.where(did, metres, 0.0))
        at = at[line[at] < conditions.count[at]]
        fresh = at[left[at] == 0.0]
        left[fresh] = conditions.length_m[fresh, line[fresh]]
    columns = [np.concatenate([np.asarray(part[k]) for part in kept]) for k in range(8)]
    order = np.lexsort((np.arange(len(columns[0])), columns[0]))
    job, line_of, dive_of, kind, result = (columns[k][order].astype(np.int64) for k in range(5))
    return Work(job, line_of, dive_of, kind, result, *(columns[k][order].astype(float) for k in (5, 6, 7)))


def _cuts(
    at: Ints,
    line: Ints,
    dive: Ints,
    mask: NDArray[np.bool_],
    kind: int,
    outcome: Ints | int,
    metres: Floats | float,
    rods: Floats,
    minutes: Floats,
) -> tuple[NDArray[np.generic], ...]:
    """The cuts one step made, as columns."""
    size = int(mask.sum())
    ended = outcome[mask] if isinstance(outcome, np.ndarray) else np.full(size, outcome)
    length = metres[mask] if isinstance(metres, np.ndarray) else np.full(size, metres)
    return (at[mask], line[mask], dive[mask], np.full(size, kind), ended, length, rods[mask], minutes[mask])
