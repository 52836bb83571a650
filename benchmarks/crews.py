"""Whether crews are compared fairly, on invented records with known crews.

`python -m benchmarks crews` prints the table; `--histories N` sets the records of each cell (default 200), `--kinds`
and `--sizes` which cells. Four crews of four divers, three in ten dives of a job by a second crew. *Equal*: crews and
divers alike; how often a crew is called different. *Ordinary*: crews spread by 8 % and divers by 12 %; how often the
80 % interval holds the true ratio. *Dearer*: one crew needs 15 % more; how often that one is called different, also
where fewer dives are shared. A floor is judged by the exact 95 % interval of what was counted: it holds where the
interval reaches it. The crews of one record lean on each other, so these bands are somewhat too narrow.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from burnlog.analyses.crews import crews
from burnlog.analyses.invented import WORLDS, History, World, history
from burnlog.analyses.tallies import TallySet, gather
from burnlog.columns import Frames
from burnlog.stats.counts import proportion

__all__ = ["Told", "equal_world", "main", "ordinary_world", "tell"]

SIZES = (6, 12, 24, 40)
LESS_SHARED = (0.03, 0.1)  # beside the world's own 0.3; past one half the second crew is the first
CREW_SD, DIVER_SD, DEARER = 0.08, 0.12, 0.15


@dataclass
class Told:
    """Crews over many records: with a figure, called different, 80 and 90 % intervals that hold the truth."""

    crews: int = 0
    judged: int = 0
    different: int = 0
    covers80: int = 0
    covers90: int = 0
    dearer: int = 0
    dearer_seen: int = 0
    log_error: float = 0.0
    raw_far: int = 0
    oe_log_error: float = 0.0


def equal_world() -> World:
    """Crews and divers alike."""
    return replace(WORLDS["base"], name="equal crews", diver_sd=0.0, crew_effects=(0.0,) * 4)


def ordinary_world(rng: np.random.Generator) -> World:
    """Crews and divers that differ as people do."""
    effects = tuple(float(e) for e in CREW_SD * rng.standard_normal(4))
    return replace(WORLDS["base"], name="ordinary crews", diver_sd=DIVER_SD, crew_effects=effects)


def dearer_world(shared: float) -> World:
    """Crews and divers alike but for one crew that needs 15 % more; `shared` dives go to a second crew."""
    effects = (float(np.log1p(DEARER)), 0.0, 0.0, 0.0)
    return replace(equal_world(), name="one dearer", crew_effects=effects, shared_dives=shared)


def tell(kind: str, jobs: int, *, seed: int, count: int, shared: float = 0.3) -> Told:
    """Compare the crews of `count` records of `jobs` jobs each."""
    total = Told()
    for number in range(count):
        rng = np.random.default_rng([seed, jobs, number])
        if kind == "ordinary":
            world = ordinary_world(rng)
        else:
            world = equal_world() if kind == "equal" else dearer_world(shared)
        _add(total, kind, history(world, jobs=jobs, rng=rng), rng)
    return total


def _add(total: Told, kind: str, made: History, rng: np.random.Generator) -> None:
    review = crews(_untimed(made.frames), rng=rng)
    tallyset = gather(made.frames)
    tallies = tallyset.tallies
    truth = _true_effects(made, tallyset, list(review.work.part))
    mean_raw = float(np.log(tallies["rods"].sum() / tallies["new_length_m"].sum()))
    for row in review.rows:
        total.crews += 1
        if row.effect is None or row.raw_per_m is None or row.observed_expected is None:
            continue
        true = truth[row.code] - float(np.mean([truth[other] for other in review.work.beside(row.code)]))
        total.judged += 1
        total.different += row.different
        total.covers80 += np.log(row.low) <= true <= np.log(row.high)
        total.covers90 += np.log(row.low90) <= true <= np.log(row.high90)
        total.log_error += (np.log(row.effect) - true) ** 2
        total.oe_log_error += (np.log(row.observed_expected) - true) ** 2
        total.raw_far += abs(np.log(row.raw_per_m) - mean_raw - true) > np.log(1.15)
        if kind == "dearer" and row.code == "CREW1":
            total.dearer += 1
            total.dearer_seen += row.different and row.effect > 1


def _untimed(frames: Frames) -> Frames:
    """The record without times: the fit of minutes stands apart from that of rods and would double the cost."""
    return replace(frames, cuts=frames.cuts.assign(elapsed_s=np.nan))


def _true_effects(made: History, tallyset: TallySet, codes: Sequence[str]) -> dict[str, float]:
    """Each crew's own effect with its divers' by the length each cut for it."""
    people = made.truth.people.set_index("diver")["effect"]
    own = made.truth.crews.set_index("crew")["effect"]
    cut = tallyset.pieces[tallyset.pieces["new_length_m"] > 0]
    out = {}
    for code in codes:
        mine = cut[cut["crew"] == code]
        weight = mine["new_length_m"] / mine["new_length_m"].sum()
        out[str(code)] = float(own[code] + (weight * mine["diver"].map(people)).sum())
    return out


def _share(found: int, made: int) -> str:
    if made == 0:
        return "none"
    p = proportion(found, made)
    return f"{p.share:.3f} ({p.low:.3f}-{p.high:.3f}, n {made})"


def lines(kind: str, jobs: int, told: Told, *, shared: float = 0.3) -> list[str]:
    """One cell of the table, with its floor where it has one."""
    n = max(told.judged, 1)
    out = [f"{kind}, {jobs} jobs: figure for {told.judged} of {told.crews} crews"]
    if kind == "equal":
        p = proportion(told.different, told.judged)
        verdict = "holds" if p.low <= 0.05 else "MISSED"
        out.append(f"  called different {_share(told.different, told.judged)}  ceiling 0.05 {verdict}")
    elif kind == "ordinary":
        p = proportion(told.covers80, told.judged)
        verdict = "holds" if p.high >= 0.74 and p.low <= 0.88 else "MISSED"
        out.append(f"  80 % interval holds the truth {_share(told.covers80, told.judged)}  floor 0.74-0.88 {verdict}")
    else:
        out[0] += f", {100 * shared:.0f} % of dives by a second crew"
        seen = _share(told.dearer_seen, told.dearer)
        out.append(f"  15 % dearer crew called different {seen}")
    error, oe = np.sqrt(told.log_error / n), np.sqrt(told.oe_log_error / n)
    out.append(f"  90 % interval holds {told.covers90 / n:.3f}; error of the ratio {error:.3f}, of O/E {oe:.3f}")
    out.append(f"  raw ratio off by over 15 % for {told.raw_far / n:.2f} of the crews")
    return out


def main(words: list[str] | None = None) -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks crews", description=__doc__)
    parser.add_argument("--histories", type=int, default=200)
    parser.add_argument("--sizes", default=",".join(map(str, SIZES)), help="jobs in the records")
    parser.add_argument("--kinds", default="equal,ordinary,dearer")
    parser.add_argument("--seed", type=int, default=2026)
    asked = parser.parse_args(words)
    sizes = [int(size) for size in asked.sizes.split(",")]
    kinds = asked.kinds.split(",")
    for kind in kinds:
        for jobs in sizes:
            told = tell(kind, jobs, seed=asked.seed, count=asked.histories)
            print("\n".join(lines(kind, jobs, told)), flush=True)
    if "dearer" not in kinds:
        return
    for jobs in [size for size in sizes if size in (12, 24)]:
        for shared in LESS_SHARED:
            told = tell("dearer", jobs, seed=asked.seed + 1, count=asked.histories, shared=shared)
            print("\n".join(lines("dearer", jobs, told, shared=shared)), flush=True)


if __name__ == "__main__":
    main()
