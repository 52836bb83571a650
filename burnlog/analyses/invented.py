"""Invented records with known truth, drawn from a seed: frames like a log's, and what the next job would take.

Everything this module makes is made up and says so: effect sizes, spreads, conditions, errors. It exists to
hold the analyses against a truth that real records never show.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from burnlog.analyses.divework import DiveDraws, Work, dive_draws, work
from burnlog.analyses.invented_frames import made_frames
from burnlog.analyses.worlds import (
    BACKING,
    CURRENT,
    FAMILY,
    FOULING,
    POSITION,
    POWER,
    VISIBILITY,
    WORLDS,
    Conditions,
    World,
    job_conditions,
)
from burnlog.columns import Frames

__all__ = [
    "WORLDS",
    "History",
    "Realised",
    "TakeOff",
    "Truth",
    "World",
    "histories",
    "history",
    "realise",
    "take_off",
]


@dataclass(frozen=True, eq=False)
class Truth:
    """What an invented record came from.

    `jobs` (job, effect), `people` (diver, crew, effect; the crew's own effect is in `crews`), `sags` (dive_ref,
    fall_psi, first_rod, and read_psi: the fall reached when the gauge was read in the dive's last cut), `errors`
    (kind, target: a tally_id or cut_id, column, true, typed).
    """

    world: World
    job_sd: float
    jobs: pd.DataFrame
    people: pd.DataFrame
    crews: pd.DataFrame
    sags: pd.DataFrame
    errors: pd.DataFrame


@dataclass(frozen=True, eq=False)
class History:
    """An invented record and its truth."""

    frames: Frames
    truth: Truth


@dataclass(frozen=True, eq=False)
class TakeOff:
    """A job to be bid: one row per line in `lines`, and the cutting minutes a dive of it holds.

    `lines`: length_m, thickness_mm, family, position, visibility, fouling, current, backing, power, as an
    estimator would write them: visibility and current are the job's usual ones.
    """

    lines: pd.DataFrame
    dive_minutes: float
    conditions: Conditions


@dataclass(frozen=True)
class Realised:
    """True totals of a job, one per imagined repetition: rods, seconds and dives, arrays (draws,)."""

    rods: NDArray[np.float64]
    seconds: NDArray[np.float64]
    dives: NDArray[np.float64]


def _job_effects(world: World, sd: NDArray[np.float64], rng: np.random.Generator) -> NDArray[np.float64]:
    """One effect per entry of `sd`."""
    if world.job_tails_df is None:
        return sd * rng.standard_normal(len(sd))
    scale = np.sqrt(world.job_tails_df / (world.job_tails_df - 2.0))
    return np.asarray(sd / scale * rng.standard_t(world.job_tails_df, size=len(sd)))


@dataclass(frozen=True)
class _Crewing:
    """Who dives: numbers (H, J, D) into the people of each history, and their effects (H, people)."""

    person: NDArray[np.int64]
    crew_of: NDArray[np.int64]
    rods: NDArray[np.float64]
    time: NDArray[np.float64]


def _crewing(world: World, count: int, jobs: int, rng: np.random.Generator) -> _Crewing:
    crews = jobs if world.one_job_crews else len(world.crew_effects)
    size = world.divers_per_crew
    crew_of = np.repeat(np.arange(crews), size)
    person_rods = rng.normal(0.0, world.diver_sd, size=(count, crews * size))
    person_time = rng.normal(0.0, world.time_diver_sd, size=(count, crews * size))
    shape = (count, jobs, world.dives)
    if world.one_job_crews:
        first = np.broadcast_to(np.arange(jobs)[None, :, None], (count, jobs, 1))
    else:
        first = rng.integers(0, crews, size=(count, jobs, 1))
    crew = np.broadcast_to(first, shape)
    if world.shared_dives > 0:
        second = (first + rng.integers(1, max(crews, 2), size=(count, jobs, 1))) % crews
        crew = np.where(rng.random(shape) < world.shared_dives, second, first)
    person = crew * size + rng.integers(0, size, size=shape)
    return _Crewing(person, crew_of, person_rods, person_time)


def histories(world: World, *, jobs: int, count: int, rng: np.random.Generator) -> list[History]:
    """Draw `count` records of `jobs` jobs each.

    Parameters
    ----------
    world : World
        One of `WORLDS`, or your own.
    jobs : int
        Jobs in each record.
    count : int
        How many records; drawn side by side, so many cost little more than one.
    rng : Generator
    """
    sd = rng.uniform(*world.job_sd, size=count)
    runs = count * jobs
    conditions = job_conditions(world, runs, rng)
    crewing = _crewing(world, count, jobs, rng)
    at = np.arange(count)[:, None, None]
    crew_effect = np.resize(np.asarray(world.crew_effects), crewing.crew_of.max() + 1)
    if world.one_job_crews:
        crew_effect = np.zeros(crewing.crew_of.max() + 1)
    who_rods = (crewing.rods[at, crewing.person] + crew_effect[crewing.crew_of][crewing.person]).reshape(runs, -1)
    who_time = crewing.time[at, crewing.person].reshape(runs, -1)
    job_effect = _job_effects(world, np.repeat(sd, jobs), rng)
    dives = dive_draws(world, conditions, who_rods, who_time, rng)
    done = _worked(world, conditions, dives, job_effect, rng, abandon=True)
    made = made_frames(world, conditions, dives, done, crewing.person, crewing.crew_of, jobs, rng)
    out = []
    for h, (frames, sags, errors) in enumerate(made):
        effect = job_effect[h * jobs : (h + 1) * jobs]
        people = pd.DataFrame(
            {
                "diver": [f"D{p + 1:02d}" for p in range(len(crewing.crew_of))],
                "crew": [f"CREW{c + 1}" for c in crewing.crew_of],
                "effect": crewing.rods[h],
            }
        )
        truth = Truth(
            world=world,
            job_sd=float(sd[h]),
            jobs=pd.DataFrame({"job": [f"J{j + 1:02d}" for j in range(jobs)], "effect": effect}),
            people=people,
            crews=pd.DataFrame({"crew": [f"CREW{c + 1}" for c in range(len(crew_effect))], "effect": crew_effect}),
            sags=sags,
            errors=errors,
        )
        out.append(History(frames, truth))
    return out


def history(world: World = WORLDS["base"], *, jobs: int, rng: np.random.Generator) -> History:
    """Draw one record; see `histories`."""
    return histories(world, jobs=jobs, count=1, rng=rng)[0]


def _worked(
    world: World,
    conditions: Conditions,
    dives: DiveDraws,
    job_effect: NDArray[np.float64],
    rng: np.random.Generator,
    *,
    abandon: bool,
) -> Work:
    jobs = len(job_effect)
    exponent = rng.normal(0.0, world.job_exponent_sd, size=jobs)
    pace = rng.normal(0.0, world.time_job_sd, size=jobs)
    return work(world, conditions, dives, job_effect, exponent, pace, rng, abandon=abandon)


def take_off(world: World, *, rng: np.random.Generator, pieces: tuple[float, float] | None = None) -> TakeOff:
    """Draw a job to be bid; `pieces` bounds its line lengths in m, None makes them like the record's."""
    c = job_conditions(world, 1, rng, pieces=pieces)
    n = int(c.count[0])
    words = {"family": FAMILY, "position": POSITION, "fouling": FOULING, "backing": BACKING, "power": POWER}
    lines = pd.DataFrame(
        {
            "length_m": c.length_m[0, :n],
            "thickness_mm": c.thickness_mm[0, :n],
            **{name: np.asarray(levels)[getattr(c, name)[0, :n]] for name, levels in words.items()},
            "visibility": VISIBILITY[int(c.band[0])],
            "current": CURRENT[int(c.still[0])],
        }
    )
    return TakeOff(lines, float(c.dive_minutes[0]), c)


def realise(truth: Truth, job: TakeOff, *, draws: int, rng: np.random.Generator, crew: str | None = None) -> Realised:
    """True totals of a new job, `draws` times over: a new job effect, new people, new luck each time.

    Parameters
    ----------
    truth : Truth
        Its world and its spread between jobs.
    job : TakeOff
    draws : int
        Repetitions.
    rng : Generator
    crew : str or None
        Send this crew of the record's instead of new people.
    """
    world = truth.world
    conditions = job.conditions.repeated(draws)
    size = world.divers_per_crew
    seat = rng.integers(0, size, size=(draws, world.dives))
    people_rods = np.take_along_axis(rng.normal(0.0, world.diver_sd, size=(draws, size)), seat, axis=1)
    people_time = np.take_along_axis(rng.normal(0.0, world.time_diver_sd, size=(draws, size)), seat, axis=1)
    if crew is not None:
        known = truth.people.loc[truth.people["crew"].eq(crew), "effect"].to_numpy()
        own = float(truth.crews.loc[truth.crews["crew"].eq(crew), "effect"].iloc[0])
        people_rods = known[seat] + own
    job_effect = _job_effects(world, np.full(draws, truth.job_sd), rng)
    dives = dive_draws(world, conditions, people_rods, people_time, rng)
    done = _worked(world, conditions, dives, job_effect, rng, abandon=False)
    rods, minutes, count = done.totals(draws)
    return Realised(rods, 60.0 * minutes, count)
