"""A rehearsal: invented records shaped like one's own, a new job bid from each, and how often its totals came true.

A record of four jobs cannot show by itself whether its ranges hold: four jobs inside or outside say next to nothing.
What can be tried is the method, on many records that look like this one: as many jobs, lines and dives, the same
plates, the same fields left blank. Their spreads, their luck and the effects of their conditions are made up, and
wider or odder in truth than in the rehearsal they may well be; the answer holds for records of this size, not for
this record.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from burnlog.analyses.invented import WORLDS, History, TakeOff, World, histories, realise, take_off
from burnlog.analyses.rate_design import REFERENCE_MM
from burnlog.analyses.rate_fit import RateFit, Settings, fit_rates
from burnlog.analyses.tallies import Scope, TallySet, decided_out, gather
from burnlog.columns import Frames
from burnlog.errors import FitError, InputError
from burnlog.stats.counts import proportion
from burnlog.stats.threads import one_thread

__all__ = ["RANGES", "Held", "Rehearsal", "Trials", "bids", "rehearse", "shape_of"]

RANGES = {50: (0.25, 0.75), 80: (0.1, 0.9), 95: (0.025, 0.975)}
HISTORIES, DRAWS, REALISED, AT_ONCE = 200, 2000, 100, 10
FEWEST_HISTORIES = 20
MOST_LINES = 80  # of a job: a longer one is rehearsed with these many, for the sake of time
PLATES = 12
PILOTS = 10
QUANTITIES = ("rods", "seconds", "dives")

Array = NDArray[np.float64]


@dataclass
class Trials:
    """Forecasts of one quantity held against what came, over many records.

    `shares` are, by level, each record's share of realised totals inside the range; `once` says of each record
    whether its first realisation was inside the 80 % range; `widths` are ln(P90/P10), `errors` ln(P50 / median of
    the realised totals).
    """

    shares: dict[int, list[float]] = field(default_factory=lambda: {share: [] for share in RANGES})
    once: list[bool] = field(default_factory=list)
    widths: list[float] = field(default_factory=list)
    errors: list[float] = field(default_factory=list)

    def add(self, said: Array, true: Array) -> None:
        """Hold one record's draws against its realised totals."""
        for share, (low, high) in RANGES.items():
            below, above = np.quantile(said, [low, high])
            inside = (true >= below) & (true <= above)
            self.shares[share].append(float(inside.mean()))
            if share == 80:
                self.once.append(bool(inside[0]))
                self.widths.append(float(np.log(above / below)))
        self.errors.append(float(np.log(np.median(said) / np.median(true))))

    def share(self, level: int) -> float:
        """Share of realised totals inside the range, averaged over records."""
        return float(np.mean(self.shares[level]))

    @property
    def band(self) -> tuple[float, float]:
        """Exact 95 % interval of the 80 % range's share, each record counted once."""
        found = proportion(sum(self.once), len(self.once))
        return found.low, found.high

    @property
    def width(self) -> float:
        """Median of ln(P90/P10)."""
        return float(np.median(self.widths))

    @property
    def bias(self) -> float:
        """Median of ln(P50 / true median)."""
        return float(np.median(self.errors))


@dataclass(frozen=True)
class Held:
    """How often one total of a new job fell inside its ranges.

    `c50`, `c80`, `c95` are the shares inside; `c80_low` and `c80_high` the exact 95 % interval of the second, each
    record counted once; `width80` the median of ln(P90/P10); `bias` the median of ln(P50 / true median); `poor` the
    share of records whose own 80 % range held less than 65 %.
    """

    histories: int
    c50: float
    c80: float
    c80_low: float
    c80_high: float
    c95: float
    width80: float
    bias: float
    poor: float

    @classmethod
    def of(cls, trials: Trials) -> Held:
        """Sum up trials."""
        low, high = trials.band
        return cls(
            histories=len(trials.once),
            c50=trials.share(50),
            c80=trials.share(80),
            c80_low=low,
            c80_high=high,
            c95=trials.share(95),
            width80=trials.width,
            bias=trials.bias,
            poor=float(np.mean(np.array(trials.shares[80]) < 0.65)),
        )


@dataclass(frozen=True)
class Rehearsal:
    """What invented records like this one say of the ranges.

    Attributes
    ----------
    scope : Scope
    jobs, tallies : int
        Of the record itself.
    world : World
        What the invented records came from.
    held : mapping of str to Held
        ``rods``, ``seconds``, ``dives``; a quantity no invented record could forecast is absent.
    refused : int
        Invented records too small for a model.
    seed, histories : int
    """

    scope: Scope
    jobs: int
    tallies: int
    world: World
    held: dict[str, Held]
    refused: int
    histories: int
    seed: int

    def as_json(self) -> dict[str, Any]:
        """Keys as documented."""
        world = self.world
        return {
            "invented": True,
            "filter": self.scope.as_json(),
            "jobs": self.jobs,
            "tallies": self.tallies,
            "histories": self.histories,
            "refused": self.refused,
            "seed": self.seed,
            "held": {name: asdict(one) for name, one in self.held.items()},
            "shape": {
                "lines_per_job": list(world.line_counts or ()),
                "line_median_m": world.line_median_m,
                "line_length_sd": world.line_length_sd,
                "plates_mm": list(world.plates),
                "plate_shares": list(world.plate_weights or ()),
                "dive_cutting_min": list(world.dive_minutes),
                "counted_by_dive": world.dive_counts[0],
                "divers_per_job": world.divers_per_crew,
                "dives_by_another_crew": world.shared_dives,
                "blank": dict(world.blanks),
                "job_sd": list(world.job_sd),
            },
        }


def shape_of(frames: Frames, tallyset: TallySet, *, seed: int = 1) -> World:
    """A world whose records look like this one: its size, its steel, its dives and its blanks.

    Parameters
    ----------
    frames : Frames
    tallyset : TallySet
        Its counts in scope. What it cannot show (spreads, luck, effects of conditions) is that of the hardest
        invented world.
    seed : int
        Of the few records by which the level of the rods is set.
    """
    world = _shaped(frames, tallyset)
    jobs = int(tallyset.tallies["job"].nunique())
    tried = histories(world, jobs=jobs, count=PILOTS, rng=np.random.default_rng([seed, PILOTS]))
    pilots = [gather(made.frames) for made in tried]
    pieces, tallies = (pd.concat([getattr(each, name) for each in pilots]) for name in ("pieces", "tallies"))
    if tallies.empty:  # so many blanks that nothing was counted; every invented record will say so
        return world
    level = _rods_per_weighed_m(tallyset.pieces, tallyset.tallies) / _rods_per_weighed_m(pieces, tallies)
    return replace(world, rods_per_m=world.rods_per_m * level)


def _rods_per_weighed_m(pieces: pd.DataFrame, tallies: pd.DataFrame) -> float:
    """Rods over metres of half-inch steel."""
    weight = pieces["new_length_m"] * (pieces["thickness_mm"].fillna(REFERENCE_MM) / REFERENCE_MM)
    return float(tallies["rods"].sum() / weight.sum())


def _shaped(frames: Frames, tallyset: TallySet) -> World:
    pieces, tallies = tallyset.pieces, tallyset.tallies
    jobs = sorted(set(tallies["job"]))
    cuts = frames.cuts[frames.cuts["job"].isin(jobs)]
    firsts = cuts[cuts["pass_kind"].fillna("first").eq("first")]
    lines = pieces.drop_duplicates("line_ref")
    length = np.log(lines["planned_m"][lines["planned_m"] > 0].to_numpy(dtype=float))
    plates, weights = _plates(pieces)
    by_job = pieces.groupby("job")
    counts = tuple(int(n) for n in by_job["line_ref"].nunique().clip(1, MOST_LINES))
    dives = int(max(pieces.groupby("job")["dive_ref"].nunique().max(), 1))
    by_dive = float(pieces["tally_id"].map(tallies["cuts"]).gt(1).mean())
    return replace(
        WORLDS["all at once"],
        name="like this record",
        rods_per_m=_rods_per_weighed_m(pieces, tallies),
        plates=plates,
        plate_weights=weights,
        families=_families(tallies),
        line_counts=counts,
        line_median_m=float(np.exp(np.median(length))),
        line_length_sd=float(np.clip(np.std(length), 0.05, 1.2)),
        line_bounds_m=(float(np.exp(length.min())), float(np.exp(length.max()))),
        dive_minutes=_dive_minutes(firsts),
        minutes_per_rod=_minutes_per_rod(tallies),
        divers_per_crew=max(1, int(by_job["diver"].nunique().median())),
        dives=max(120, 4 * dives),
        dive_counts=(by_dive, by_dive),
        **_crews(pieces),
        blanks=_blanks(frames, cuts, firsts, jobs),
    )


def _plates(pieces: pd.DataFrame) -> tuple[tuple[float, ...], tuple[float, ...] | None]:
    """Thicknesses with their share of the length, the thinly used ones apart from the first dozen left out."""
    length = pieces[pieces["thickness_mm"].notna()].groupby("thickness_mm")["new_length_m"].sum()
    length = length[length > 0].nlargest(PLATES).sort_index()
    if length.empty:
        return WORLDS["base"].plates, None
    shares = length / length.sum()
    return tuple(float(mm) for mm in shares.index), tuple(float(share) for share in shares)


def _families(tallies: pd.DataFrame) -> tuple[float, float, float]:
    """Shares of jobs with exothermic rods, with tubular ones, and with both."""
    used = tallies[tallies["family"].notna()].groupby("job")["family"].unique()
    if used.empty:
        return WORLDS["base"].families
    both = sum(len(names) > 1 for names in used) / len(used)
    tubular = sum(list(names) == ["tubular"] for names in used) / len(used)
    return 1.0 - tubular - both, tubular, both


def _dive_minutes(firsts: pd.DataFrame) -> tuple[float, float]:
    """Cutting minutes of a dive, low and high, where every cut of it was timed."""
    whole = firsts.groupby("dive_ref")["elapsed_s"].agg(lambda s: s.sum(skipna=False)).dropna() / 60.0
    if len(whole) < 5:
        return WORLDS["base"].dive_minutes
    low, high = np.quantile(whole, [0.25, 0.9])
    return float(max(low, 10.0)), float(max(high, 12.0))


def _minutes_per_rod(tallies: pd.DataFrame) -> float:
    timed = tallies[tallies["elapsed_s"].notna()]
    if timed.empty:
        return WORLDS["base"].minutes_per_rod
    return float(np.clip(timed["elapsed_s"].sum() / 60.0 / timed["rods"].sum(), 0.3, 10.0))


def _crews(pieces: pd.DataFrame) -> dict[str, Any]:
    """Crews and how much they mix: dives by another than the job's usual crew, and whether crews change jobs."""
    named = pieces[pieces["crew"].notna()].drop_duplicates(["job", "dive_ref"])
    crews = int(named["crew"].nunique())
    if crews < 2:
        return {"one_job_crews": False, "crew_effects": (0.0,), "shared_dives": 0.0}
    usual = named.groupby("job")["crew"].agg(lambda crew: crew.value_counts(normalize=True).iloc[0])
    alone = bool(named.groupby("crew")["job"].nunique().max() == 1)
    return {
        "one_job_crews": alone,
        "crew_effects": (0.0,) * crews,
        "shared_dives": float(np.clip(1.0 - usual.mean(), 0.0, 0.5)),
    }


def _blanks(frames: Frames, cuts: pd.DataFrame, firsts: pd.DataFrame, jobs: list[str]) -> dict[str, float]:
    """Share of each field nobody filled in; where nothing was left blank, nothing is."""
    out = {
        name: float(cuts[name].isna().mean())
        for name in ("position", "visibility", "fouling", "current", "backing", "power", "material", "edge")
    }
    counted = frames.tallies[frames.tallies["job"].isin(jobs) & frames.tallies["scope"].ne("box").fillna(True)]
    out["rods"] = float(counted["rods"].isna().mean()) if len(counted) else 0.0
    out["planned_length"] = float(firsts["planned_length_m"].isna().mean())
    out["new_length"] = float(firsts["new_length_m"].isna().mean())
    out["elapsed"] = float(firsts["elapsed_s"].isna().mean())
    out["flowing"] = float(cuts["flowing_kpa"].isna().mean())
    return out


def rehearse(
    frames: Frames,
    scope: Scope = Scope(),  # noqa: B008
    *,
    count: int = HISTORIES,
    seed: int = 1,
    settings: Settings = Settings(),  # noqa: B008
    progress: Callable[[int, int], None] | None = None,
) -> Rehearsal:
    """Invent records like this one, bid a new job from each, and say how often its totals fell inside.

    Parameters
    ----------
    frames : Frames
    scope : Scope
    count : int
        Invented records, 20 or more.
    seed : int
        The same seed gives the same figures.
    settings : Settings
        Of the fit.
    progress : callable or None
        Called with records done and records to do.

    Raises
    ------
    FitError
        The record has too few jobs or tallies for a range, so there is nothing to rehearse.
    """
    if count < FEWEST_HISTORIES:
        raise InputError(f"{count} invented records are too few to say a share; give {FEWEST_HISTORIES} or more.")
    tallyset = gather(frames, scope, leave_out=decided_out(frames))
    jobs = int(tallyset.tallies["job"].nunique())
    if jobs < settings.min_jobs or len(tallyset.tallies) < settings.min_tallies:
        raise FitError(
            f"no range to rehearse: {jobs} job{'s' if jobs != 1 else ''} with {len(tallyset.tallies)} tallies; it "
            f"needs {settings.min_jobs} jobs and {settings.min_tallies} tallies."
        )
    world = shape_of(frames, tallyset, seed=seed)
    found: dict[str, Trials] = {}
    refused = 0
    for block in range(0, count, AT_ONCE):
        rng = np.random.default_rng([seed, block])
        for number, made in enumerate(histories(world, jobs=jobs, count=min(AT_ONCE, count - block), rng=rng)):
            try:
                with one_thread():
                    _one(made, found, rng, settings)
            except FitError:
                refused += 1
            if progress is not None:
                progress(block + number + 1, count)
    if not found:
        raise FitError(f"none of {count} invented records like this one carries a model: too few counted rods.")
    return Rehearsal(
        scope=scope,
        jobs=jobs,
        tallies=len(tallyset.tallies),
        world=world,
        held={name: Held.of(found[name]) for name in QUANTITIES if name in found},
        refused=refused,
        histories=count,
        seed=seed,
    )


def _one(made: History, found: dict[str, Trials], rng: np.random.Generator, settings: Settings) -> None:
    fit = fit_rates(gather(made.frames), settings=settings)
    job = take_off(made.truth.world, rng=rng)
    truth = realise(made.truth, job, draws=REALISED, rng=rng)
    for quantity, values in bids(fit, job, draws=DRAWS, rng=rng).items():
        found.setdefault(quantity, Trials()).add(values, getattr(truth, quantity))


def bids(fit: RateFit, job: TakeOff, *, draws: int, rng: np.random.Generator) -> dict[str, Array]:
    """Draws of a job's totals: rods, and where the fit knows times, seconds and dives."""
    drawn = fit.simulate(job.lines, rng=rng, draws=draws)
    said = {"rods": drawn.rods.sum(axis=1)}
    if drawn.seconds is not None:
        said["seconds"] = drawn.seconds.sum(axis=1)
        said["dives"] = np.ceil(said["seconds"] / 60.0 / job.dive_minutes)
    return said
