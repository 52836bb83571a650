"""What the flags find and how often they cry wolf, on invented records with known errors and known sag.

`python -m benchmarks flags` prints the tables; `--histories N` sets the records of each kind (default 40). A floor
is judged by the exact (Clopper-Pearson or Garwood) 95 % interval of what was counted: it holds where the interval
reaches it.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from burnlog.analyses.flags import NOT_SEEN, FlagReview, flags
from burnlog.analyses.invented import WORLDS, History, World, history
from burnlog.analyses.rate_design import design
from burnlog.analyses.record import counted
from burnlog.analyses.residuals import residuals, robust_rate
from burnlog.analyses.sag import sag
from burnlog.analyses.tallies import gather, ratio
from burnlog.columns import Frames
from burnlog.stats.counts import proportion, rate
from burnlog.stats.robust import fit_robust

__all__ = ["Catch", "catch_errors", "catch_sag", "main"]

PSI = 6.894757293168361
JOBS = (3, 6, 12, 20)
ERRORS, SAG = 0.012, 0.05
KINDS = ("rods x10", "digits swapped", "length unit", "thickness slip", "hour slip")
FLOORS = {"all errors": 0.90, "rods x10": 0.90, "hour slip": 0.95, "length unit": 0.95, "thickness slip": 0.50}
CEILINGS = {"all rules": 2.0, "rods residual alone": 0.5}


@dataclass
class Catch:
    """Counts over many records: errors made and found by kind, flags raised on clean tallies."""

    made: dict[str, int] = field(default_factory=dict)
    found: dict[str, int] = field(default_factory=dict)
    by_residual: dict[str, int] = field(default_factory=dict)
    clean: int = 0
    false: int = 0
    false_residual: int = 0
    raised: int = 0
    true_raised: int = 0

    def add(self, kind: str, hit: bool, residual: bool) -> None:
        """One error, found or not, and whether the rods residual alone found it."""
        for name in (kind, "all errors"):
            self.made[name] = self.made.get(name, 0) + 1
            self.found[name] = self.found.get(name, 0) + int(hit)
            self.by_residual[name] = self.by_residual.get(name, 0) + int(residual)


def records(world: World, seed: int, count: int) -> Iterator[History]:
    """Records of 3 to 20 jobs in turn, each from its own seed."""
    for number in range(count):
        yield history(world, jobs=JOBS[number % len(JOBS)], rng=np.random.default_rng([seed, number]))


def catch_errors(world: World, *, seed: int, count: int) -> Catch:
    """Hold every flag against the errors that were typed."""
    total = Catch()
    for made in records(world, seed, count):
        _score(total, made, flags(made.frames))
    return total


def _score(total: Catch, made: History, review: FlagReview) -> None:
    frames = made.frames
    tallies, rows = counted(frames)
    rows = rows[rows["cut_id"].notna()]
    ref = tallies["ref"]
    places = rows.groupby("cut_id")
    names = {
        str(cut): {str(group["cut_ref"].iloc[0]), str(group["line_ref"].iloc[0]), *ref[group["tally_id"]].astype(str)}
        for cut, group in places
    }
    before = _cut_before(frames)
    dive_of = dict(zip(frames.cuts["cut_id"], frames.cuts["dive_ref"], strict=True))
    touched: list[set[str]] = []
    asked = [flag for flag in review.flags if flag.kind != "sag"]
    for error in made.truth.errors.to_dict("records"):
        target = str(error["target"])
        cuts = [target] if target in names else list(rows.loc[rows["tally_id"] == target, "cut_id"])
        about = {str(ref[target])} if target in ref.index else set()
        for cut in cuts:
            about |= names[cut]
            if error["kind"] == "hour slip":
                about |= {dive_of[cut], before.get(cut, "")}
        touched.append(about)
        hits = [flag for flag in asked if flag.target in about]
        total.add(str(error["kind"]), bool(hits), any(flag.kind == "rods" for flag in hits))
    wrong = set().union(*touched) if touched else set()
    sag_dives = set(made.truth.sags["dive_ref"])
    false = [flag for flag in asked if flag.target not in wrong and flag.dive not in sag_dives]
    total.false += len(false)
    total.false_residual += sum(flag.kind == "rods" for flag in false)
    total.raised += len(asked)
    total.true_raised += sum(flag.target in wrong for flag in asked)
    clean = ~ref.isin(wrong) & ~tallies["dive_ref"].isin(sag_dives) & tallies["rods"].notna()
    total.clean += int(clean.sum())


def _cut_before(frames: Frames) -> dict[str, str]:
    """The cut before each one in its dive: a clock out of line may be asked about there, as about the dive."""
    cuts = frames.cuts.sort_values(["dive_ref", "row"])
    same = cuts["dive_ref"].eq(cuts["dive_ref"].shift())
    return dict(zip(cuts.loc[same, "cut_id"], cuts["cut_ref"].shift()[same], strict=True))


def catch_sag(world: World, *, seed: int, count: int, rods_residual: bool = True) -> pd.DataFrame:
    """Every dive of many records: true fall, word, readings, and how much of the fall the readings can show."""
    out = []
    for made in records(world, seed, count):
        held = residuals(gather(made.frames)) if rods_residual else None
        fall = dict(zip(made.truth.sags["dive_ref"], made.truth.sags["fall_psi"], strict=True))
        first = dict(zip(made.truth.sags["dive_ref"], made.truth.sags["first_rod"], strict=True))
        reached = dict(zip(made.truth.sags["dive_ref"], made.truth.sags["read_psi"], strict=True))
        for dive in sag(made.frames, residuals=held).dives:
            after = dive.pressure.after_rod
            rods_after = float(np.nanmax(after) - first.get(dive.dive, 0.0)) if np.isfinite(after).any() else np.nan
            usual = dive.pressure.baseline
            out.append(
                {
                    "true_psi": fall.get(dive.dive, 0.0),
                    "read_psi": reached.get(dive.dive, 0.0),
                    "word": dive.evidence,
                    "alarm": dive.pressure.alarm is not None,
                    "method": dive.pressure.method,
                    "rods_after": rods_after,
                    "readings": dive.readings,
                    "baseline": 0 if usual is None else usual.readings,
                }
            )
    return pd.DataFrame(out)


def masking(seed: int, count: int) -> tuple[int, int, int]:
    """Sag dives in a small job after ten clean readings on its rig: made, found by pressure, by an ordinary residual.

    The ordinary rule is the left-out residual of a least-squares fit with the job and diver effects of planning,
    flagged at a false discovery rate of 5 %.
    """
    made = pressure = residual = 0
    for number in range(count):
        world = replace(WORLDS["base"], series=1.0, sag=0.0)
        frames, dives = _with_sag(history(world, jobs=4, rng=np.random.default_rng([seed, number])).frames)
        words = {dive.dive: dive.evidence for dive in sag(frames).dives}
        rows = design(gather(frames))
        case = rows.case(0.1, 0.3)
        fit = fit_robust(case.y, case.X, rows.effects, case.m, prior_precision=rows.prior_precision, df=np.inf)
        flagged = set(rows.tallies["dive_ref"][fit.flagged(rate=0.05)])
        made += len(dives)
        pressure += sum(words[dive] in ("likely", "possible") for dive in dives)
        residual += sum(dive in flagged for dive in dives)
    return made, pressure, residual


def _with_sag(frames: Frames) -> tuple[Frames, list[str]]:
    """Falls of 25 psi on five dives of the last job, on a rig known from ten readings of one clean dive before."""
    rods = frames.readings.groupby("dive_ref", sort=False)["after_rod"].max()
    last = sorted(frames.jobs["job"])[-1]
    of_last = frames.dives.loc[frames.dives["job"].eq(last), "dive_ref"]
    dives = [str(ref) for ref in rods.index[(rods >= 10) & rods.index.isin(of_last)][:5]]
    before = str(rods.index[(rods >= 10) & ~rods.index.isin(of_last)][0])
    readings, rod = frames.readings, frames.readings["after_rod"]
    own, clean = readings["dive_ref"].isin(dives), readings["dive_ref"].eq(before)
    fall = np.clip((rod - 0.3 * readings["dive_ref"].map(rods)) / 5.0, 0.0, 1.0) * 25.0 * PSI
    readings = readings.assign(
        rig=readings["rig"].mask(own | clean, "RIGX"),
        flowing_kpa=readings["flowing_kpa"] - fall.where(own, 0.0),
    )[~(clean & rod.gt(10))]
    # what a fall of this size costs in rods, as the generator has it
    heavier = np.round(frames.tallies["rods"] * (1.0 + 0.006 * 25.0))
    tallies = frames.tallies.assign(rods=frames.tallies["rods"].mask(frames.tallies["dive_ref"].isin(dives), heavier))
    return replace(frames, readings=readings, tallies=tallies), dives


def doubled(seed: int, count: int) -> tuple[float, float, float]:
    """How far 5 % of tallies made twice as large move the robust, the ordinary and the pooled rate, mean in %."""
    robust, ordinary, pooled = doubled_each(seed, count).mean(axis=0)
    return float(robust), float(ordinary), float(pooled)


def doubled_each(seed: int, count: int) -> NDArray[np.float64]:
    """The same record by record of 6 jobs or more, (records, 3) in %."""
    moved: list[list[float]] = []
    for made in records(replace(WORLDS["base"], sag=0.0), seed, count):
        if made.frames.jobs.shape[0] < 6:
            continue
        rng = np.random.default_rng([seed, len(moved)])
        tallies = made.frames.tallies
        big = np.isin(np.arange(len(tallies)), rng.choice(len(tallies), round(0.05 * len(tallies)), replace=False))
        after = replace(made.frames, tallies=tallies.assign(rods=tallies["rods"].mask(big, 2 * tallies["rods"])))
        sets = gather(made.frames), gather(after)
        moved.append(
            [
                robust_rate(sets[1]) / robust_rate(sets[0]) - 1,
                robust_rate(sets[1], df=np.inf) / robust_rate(sets[0], df=np.inf) - 1,
                ratio(sets[1]).rods_per_m / ratio(sets[0]).rods_per_m - 1,
            ]
        )
    return 100 * np.array(moved)


def _share(found: int, made: int, floor: float | None = None) -> str:
    if made == 0:
        return "none made"
    p = proportion(found, made)
    verdict = "" if floor is None else f"  floor {floor:.2f} {'holds' if p.high >= floor else 'MISSED'}"
    return f"{p.share:.2f} ({found} of {made}, {p.low:.2f}-{p.high:.2f}){verdict}"


def _per_100(count: int, total: int, ceiling: float | None = None) -> str:
    r = rate(count, total / 100)
    verdict = "" if ceiling is None else f"  ceiling {ceiling:g} {'holds' if r.low <= ceiling else 'MISSED'}"
    return f"{r.rate:.2f} per 100 ({count} in {total}, {r.low:.2f}-{r.high:.2f}){verdict}"


def error_lines(total: Catch) -> list[str]:
    """The table of typing errors."""
    lines = [f"{'kind':<16} {'found':<56} rods residual alone"]
    for kind in ("all errors", *KINDS):
        made = total.made.get(kind, 0)
        alone = total.by_residual.get(kind, 0) / made if made else 0.0
        lines.append(f"{kind:<16} {_share(total.found.get(kind, 0), made, FLOORS.get(kind)):<56} {alone:.2f}")
    lines.append(f"false, all rules           {_per_100(total.false, total.clean, CEILINGS['all rules'])}")
    ceiling = CEILINGS["rods residual alone"]
    lines.append(f"false, rods residual alone {_per_100(total.false_residual, total.clean, ceiling)}")
    lines.append(f"precision, all rules       {_share(total.true_raised, total.raised)}")
    return lines


def sag_lines(name: str, dives: pd.DataFrame, floors: Mapping[str, float]) -> list[str]:
    """The table of sag for one reading per cut: by grade, over all sag dives and over falls of 15 psi or more.

    A fall is judged by the size it had when the gauge was read in the dive's last cut: what falls after the last
    reading no reading shows. How many are found of those that grow to 15 psi at any time stands beside it.
    """
    true, clean = dives[dives["true_psi"] > 0], dives[dives["true_psi"] == 0]
    large, grown = true[true["read_psi"] >= 15], true[true["true_psi"] >= 15]
    judged = clean[clean["word"].ne("not judged")]
    blank = int(dives["word"].eq("not judged").sum())
    share = 100 * blank / len(dives)
    lines = [
        f"{name}: {len(true)} sag dives, {len(clean)} clean; {blank} of {len(dives)} dives not judged ({share:.1f} %)"
    ]
    for label, words in (("likely", ("likely",)), ("likely or possible", ("likely", "possible"))):
        named = dives[dives["word"].isin(words)]
        hits, right = int(true["word"].isin(words).sum()), int(named["true_psi"].gt(0).sum())
        seen = int(large["word"].isin(words).sum())
        lines.append(f"  {label}: all sag dives found {_share(hits, len(true))}")
        lines.append(f"    15 psi or more when read {_share(seen, len(large), floors.get(f'{label} large'))}")
        at_all = int(grown["word"].isin(words).sum())
        lines.append(f"    15 psi or more at any time, read or not {_share(at_all, len(grown))}")
        lines.append(f"    precision {_share(right, len(named), floors.get(f'{label} precision'))}")
    false = int(clean["word"].isin(("likely", "possible")).sum())
    lines.append(f"  false on judged clean dives {_per_100(false, len(judged))}")
    return lines


def main(words: list[str] | None = None) -> None:
    """Print every table."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks flags", description=__doc__)
    parser.add_argument("--histories", type=int, default=40)
    parser.add_argument("--seed", type=int, default=2026)
    asked = parser.parse_args(words)
    count, seed = asked.histories, asked.seed
    base = replace(WORLDS["base"], sag=SAG)

    print(
        f"Typing errors in {100 * ERRORS:g} % of rows, sag in {100 * SAG:g} % of dives; {count} records, {JOBS} jobs"
    )
    print("\n".join(error_lines(catch_errors(replace(base, typing_errors=ERRORS), seed=seed, count=count))))
    print("\nThe same with a planned length on every line")
    planned = replace(base, typing_errors=ERRORS, blanks={**base.blanks, "planned_length": 0.0})
    print("\n".join(error_lines(catch_errors(planned, seed=seed + 1, count=count))))

    print("\nSag, one reading per rod, dives with 8 rods or more after the fall began")
    full = {**base.blanks, "flowing": 0.0}
    for gauge, ceiling in ((1.0, 3.0), (5.0, 7.0)):
        world = replace(base, series=1.0, gauge_psi=gauge, dive_minutes=(35.0, 60.0), blanks=full)
        dives = catch_sag(world, seed=seed + 2, count=count)
        long = dives[dives["true_psi"].eq(0) | dives["rods_after"].ge(8)]
        found = long[long["true_psi"] > 0]
        print(f"gauge to {gauge:g} psi: found {_share(int(found['alarm'].sum()), len(found), 0.95)}")
        clean = long[long["true_psi"].eq(0) & long["word"].ne("not judged")]
        print(f"  false alarms {_per_100(int(clean['alarm'].sum()), len(clean), ceiling)}")
    for share, floors in (
        (0.0, {"likely precision": 0.90, "likely or possible large": 0.85}),
        (0.7, {}),
    ):
        world = replace(base, series=0.0, blanks={**base.blanks, "flowing": share})
        name = f"Sag, one reading per cut, flowing blank on {100 * share:g} %"
        print("\n" + "\n".join(sag_lines(name, catch_sag(world, seed=seed + 3, count=count), floors)))

    made, pressure, residual = masking(seed + 4, max(count // 4, 5))
    print("\nMasking: five sag dives in one small job, ten clean readings before")
    print(f"  by pressure {_share(pressure, made)}; by an ordinary residual {_share(residual, made)}")
    each = doubled_each(seed + 5, count)
    robust, ordinary, pooled = each.mean(axis=0)
    off = 1.96 * each[:, 0].std(ddof=1) / np.sqrt(len(each))
    print(f"5 % of tallies made twice as large move the rate, mean of {len(each)} records of 6 jobs or more:")
    print(f"  robust {robust:+.1f} % (+- {off:.1f}), ordinary {ordinary:+.1f} %, pooled as for a bid {pooled:+.1f} %")
    under, more = int((each[:, 0] < 3).sum()), int((each[:, 1] > each[:, 0]).sum())
    print(f"  robust under 3 % in {under} of {len(each)}; ordinary moved more in {more}")
    print(f"Not seen: {' '.join(NOT_SEEN)}")


if __name__ == "__main__":
    main()
