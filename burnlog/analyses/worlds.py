"""Invented worlds: what an imagined record comes from, so that an answer can be held against the truth.

Every number here is made up. None was measured on a job, none comes from a published table, and none may be
used to plan work: they only have to be of a size that makes the record as awkward as real ones are.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

__all__ = ["WORLDS", "Conditions", "World", "job_conditions", "line_luck"]

POSITION = ("flat", "horizontal", "vertical down", "vertical up", "overhead", "round a pipe")
VISIBILITY = ("by feel", "under 1 ft", "1-3 ft", "3-10 ft", "over 10 ft")
FOULING = ("bare", "thin paint", "thick coating", "soft growth", "hard growth", "heavy rust")
CURRENT = ("none", "light", "moderate", "strong")
BACKING = ("open water", "mud or soil", "second plate")
FAMILY = ("exothermic", "tubular")
POWER = ("on", "off")
PLATES_MM = (8.0, 9.5, 12.7, 16.0, 19.0, 25.4)
THICKNESS_MM = np.array(PLATES_MM)

_EFFECTS: Mapping[str, tuple[float, ...]] = MappingProxyType(
    {
        "position": (0.0, 0.02, -0.05, 0.10, 0.20, 0.08),
        "visibility": (0.15, 0.08, 0.0, -0.03, -0.05),
        "fouling": (0.0, 0.02, 0.10, 0.04, 0.12, 0.08),
        "current": (0.0, 0.0, 0.06, 0.12),
        "backing": (0.0, 0.06, 0.15),
        "family": (0.0, 0.25),
        "power": (0.0, 0.05),
    }
)
_BLANKS: Mapping[str, float] = MappingProxyType(
    {
        "rods": 0.08,
        "position": 0.08,
        "visibility": 0.10,
        "fouling": 0.12,
        "current": 0.15,
        "backing": 0.10,
        "power": 0.20,
        "material": 0.05,
        "planned_length": 0.10,
        "new_length": 0.02,
        "elapsed": 0.25,
        "flowing": 0.50,
        "edge": 0.20,
    }
)


@dataclass(frozen=True)
class World:
    """The truth behind an invented record; every size is made up.

    Log rods of a line = log rods_per_m + log(length + start_m) + exponent log(t / 12.7 mm) + effects of its
    conditions + job + diver + luck. Spreads are standard deviations on the log scale. `job_sd` is a range:
    each history has its own. `tails_df` is the t distribution of the luck of a line (None: normal), scaled
    to the same standard deviation. A job has a number of lines between the two of `lines`, or one of
    `line_counts` where given, of lengths within `line_bounds_m`, on up to three of the `plates`; `families` are
    the shares of jobs cut with exothermic rods, with tubular ones and with both. `dives` is more than any job of
    the world needs. Blanks are shares of fields nobody filled in. With `one_job_crews` every job has a crew of
    its own; `shared_dives` is the share of dives another crew makes.
    """

    name: str = "base"
    rods_per_m: float = 4.5
    exponent: float = 1.0
    tubular_exponent: float = 0.0
    job_exponent_sd: float = 0.0
    dark_overhead: float = 0.0
    start_m: float = 0.10
    job_sd: tuple[float, float] = (0.15, 0.30)
    job_tails_df: float | None = None
    diver_sd: float = 0.12
    crew_effects: tuple[float, ...] = (0.0, 0.0, 0.0, 0.0)
    line_sd: float = 0.20
    metre_sd: float = 0.25
    tails_df: float | None = None
    effects: Mapping[str, tuple[float, ...]] = field(default_factory=lambda: _EFFECTS)
    effect_scale: float = 1.0
    plates: tuple[float, ...] = PLATES_MM
    plate_weights: tuple[float, ...] | None = None
    families: tuple[float, float, float] = (0.55, 0.25, 0.20)
    lines: tuple[int, int] = (10, 32)
    line_counts: tuple[int, ...] | None = None
    line_median_m: float = 1.0
    line_length_sd: float = 0.8
    line_bounds_m: tuple[float, float] = (0.15, 5.0)
    minutes_per_rod: float = 1.6
    minutes_per_start: float = 1.5
    time_job_sd: float = 0.12
    time_diver_sd: float = 0.10
    time_sd: float = 0.20
    dive_minutes: tuple[float, float] = (18.0, 45.0)
    divers_per_crew: int = 4
    dives: int = 120
    shared_dives: float = 0.3
    one_job_crews: bool = False
    dive_counts: tuple[float, float] = (0.2, 0.8)
    reburn: float = 0.08
    hanger: float = 0.12
    abandon: float = 0.05
    sag: float = 0.0
    typing_errors: float = 0.0
    series: float = 0.3
    gauge_psi: float = 1.0
    blanks: Mapping[str, float] = field(default_factory=lambda: _BLANKS)
    whole_rods: bool = True

    def effect(self, what: str) -> NDArray[np.float64]:
        """Effects of one condition's levels on log rods, in the order of its levels."""
        return self.effect_scale * np.asarray(self.effects[what])

    def blank(self, what: str) -> float:
        """Share of a field nobody filled in."""
        return self.blanks.get(what, 0.0)


_BASE = World()
WORLDS: Mapping[str, World] = MappingProxyType(
    {
        world.name: world
        for world in (
            _BASE,
            replace(_BASE, name="heavy tails", tails_df=3.0),
            replace(_BASE, name="sag", sag=0.12),
            replace(_BASE, name="one-job crews", one_job_crews=True, shared_dives=0.0),
            replace(_BASE, name="missed terms", tubular_exponent=0.25, job_exponent_sd=0.10, dark_overhead=0.25),
            replace(_BASE, name="typing errors", typing_errors=0.01),
            replace(_BASE, name="job tails", job_tails_df=4.0),
            replace(_BASE, name="large effects", effect_scale=2.5),
            replace(
                _BASE,
                name="all at once",
                tails_df=3.0,
                sag=0.12,
                typing_errors=0.01,
                one_job_crews=True,
                shared_dives=0.1,
            ),
        )
    }
)


@dataclass(frozen=True)
class Conditions:
    """What is to be cut in each of B jobs: arrays (B, L), the first `count` columns of each job in use.

    Conditions are level numbers; `band` is each job's usual visibility and `still` its usual current (B,).
    """

    count: NDArray[np.int64]
    length_m: NDArray[np.float64]
    thickness_mm: NDArray[np.float64]
    family: NDArray[np.int64]
    position: NDArray[np.int64]
    fouling: NDArray[np.int64]
    backing: NDArray[np.int64]
    power: NDArray[np.int64]
    band: NDArray[np.int64]
    still: NDArray[np.int64]
    dive_minutes: NDArray[np.float64]

    def repeated(self, times: int) -> Conditions:
        """The same jobs `times` over."""
        return Conditions(**{name: np.repeat(value, times, axis=0) for name, value in vars(self).items()})


def _picks(rng: np.random.Generator, weights: NDArray[np.float64], columns: int) -> NDArray[np.int64]:
    """Level numbers (B, columns) by each job's own weights (B, levels)."""
    edges = np.cumsum(weights, axis=1) / weights.sum(axis=1, keepdims=True)
    drawn = rng.random((len(weights), columns))
    picked: NDArray[np.int64] = (drawn[:, :, None] > edges[:, None, :]).sum(axis=2)
    last = np.int64(weights.shape[1] - 1)
    return np.asarray(np.minimum(picked, last), dtype=np.int64)


def job_conditions(
    world: World, jobs: int, rng: np.random.Generator, *, pieces: tuple[float, float] | None = None
) -> Conditions:
    """Draw what `jobs` jobs have to cut; `pieces` bounds the line lengths in m instead of the world's own."""
    if world.line_counts is None:
        count = rng.integers(world.lines[0], world.lines[1], size=jobs, endpoint=True)
        columns = int(world.lines[1])
    else:
        count = rng.choice(np.array(world.line_counts), size=jobs)
        columns = max(world.line_counts)
    shape = (jobs, columns)
    if pieces is None:
        spread = rng.normal(0.0, 0.25, size=(jobs, 1)) + rng.normal(0.0, world.line_length_sd, size=shape)
        length = np.clip(world.line_median_m * np.exp(spread), *world.line_bounds_m)
    else:
        length = rng.uniform(*pieces, size=shape)
    if world.plate_weights is None:
        plates = rng.integers(0, len(world.plates), size=(jobs, 3))
    else:
        plates = rng.choice(len(world.plates), p=world.plate_weights, size=(jobs, 3))
    thickness = np.array(world.plates)[np.take_along_axis(plates, rng.integers(0, 3, size=shape), axis=1)]
    kind = rng.choice(3, p=world.families, size=(jobs, 1))
    switch = rng.random((jobs, 1)) * count[:, None]
    late = np.arange(columns)[None, :] >= switch
    family = np.where(kind == 2, late, kind == 1).astype(np.int64)

    def habit(levels: int, strength: float) -> NDArray[np.int64]:
        return _picks(rng, rng.dirichlet(np.full(levels, strength), size=jobs) + 1e-3, columns)

    return Conditions(
        count=count,
        length_m=np.round(length, 3),
        thickness_mm=thickness,
        family=family,
        position=habit(len(POSITION), 0.7),
        fouling=habit(len(FOULING), 0.5),
        backing=habit(len(BACKING), 0.5),
        power=np.where(family == 0, habit(2, 0.6), 0),
        band=rng.choice(len(VISIBILITY), p=(0.25, 0.25, 0.25, 0.15, 0.10), size=jobs),
        still=rng.choice(len(CURRENT), p=(0.35, 0.35, 0.2, 0.1), size=jobs),
        dive_minutes=np.round(rng.uniform(*world.dive_minutes, size=jobs)),
    )


def line_luck(world: World, jobs: int, columns: int, rng: np.random.Generator) -> NDArray[np.float64]:
    """Luck of each line on the log scale, (jobs, columns)."""
    if world.tails_df is None:
        return rng.normal(0.0, world.line_sd, size=(jobs, columns))
    scale = world.line_sd / np.sqrt(world.tails_df / (world.tails_df - 2.0))
    return np.asarray(scale * rng.standard_t(world.tails_df, size=(jobs, columns)))
