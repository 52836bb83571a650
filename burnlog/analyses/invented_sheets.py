"""Invented work as it would be written on sheets: rounded, blank in places, counted by cut or by dive."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from burnlog.analyses.divework import FIRST, HANGER, DiveDraws, Work
from burnlog.analyses.worlds import BACKING, CURRENT, FAMILY, FOULING, POSITION, POWER, VISIBILITY, Conditions, World

__all__ = ["ROD_TYPES", "Columns", "Pen", "cuts", "dives", "lines", "numbered", "readings", "tallies"]

KPA_PER_PSI = 6.894757
RIGS = 3
PASS = np.array(["first", "re-burn", "hanger"], dtype=object)
OUTCOME = np.array(["part way", "through", "through with hangers", "abandoned"], dtype=object)
EDGE = np.array(["clean", "rough", "ragged"], dtype=object)
ROD_TYPES = pd.DataFrame(
    {
        "rod_type": ["EXO", "TUB"],
        "family": list(FAMILY),
        "diameter_mm": [9.5, 8.0],
        "length_mm": [457.2, 355.6],
        "planned_stub_mm": [76.2, 76.2],
        "stub_source": ["made up", "made up"],
        "pack_count": [25.0, 50.0],
    }
)
Columns = dict[str, Any]


def _words(levels: tuple[str, ...] | NDArray[np.object_], codes: NDArray[np.int64]) -> NDArray[np.object_]:
    return np.asarray(levels, dtype=object)[codes]


class Pen:
    """Leaves fields blank at random."""

    def __init__(self, world: World, rng: np.random.Generator) -> None:
        self.world, self.rng = world, rng

    def blank(self, what: str, values: NDArray[Any], share: float | None = None) -> NDArray[Any]:
        """The values with some missing."""
        gone = self.rng.random(len(values)) < (self.world.blank(what) if share is None else share)
        if values.dtype == object:
            out = values.copy()
            out[gone] = None
            return out
        return np.where(gone, np.nan, values)


def numbered(prefix: str, numbers: NDArray[np.int64], width: int) -> NDArray[np.object_]:
    names = np.array([f"{prefix}{n:0{width}d}" for n in range(int(numbers.max(initial=0)) + 1)], dtype=object)
    return np.asarray(names[numbers], dtype=object)


def dives(
    world: World,
    conditions: Conditions,
    dives: DiveDraws,
    key: NDArray[np.int64],
    person: NDArray[np.int64],
    crew_of: NDArray[np.int64],
    jobs: int,
    pen: Pen,
) -> Columns:
    run, number = np.divmod(key, dives.rods.shape[1])
    rng = pen.rng
    who = person[run, number]
    # what a rig loses at the regulator is its own; which rig a dive has is not tied to who dives
    rig = (run + rng.integers(0, 2, size=len(run))) % RIGS
    job = numbered("J", run % jobs + 1, 2)
    day = np.datetime64("2023-01-02", "us") + ((run % jobs) * 60 + number // 4).astype("timedelta64[D]")
    ref = job + " " + (number + 1).astype(str).astype(object)
    return {
        "run": run,
        "number": number,
        "dive_ref": ref,
        "job": job,
        "dive_no": number + 1,
        "dive_date": day,
        "record_class": np.full(len(run), "production", dtype=object),
        "setting": np.full(len(run), "open water", dtype=object),
        "water": np.full(len(run), "salt", dtype=object),
        "diver": numbered("D", who + 1, 2),
        "crew": numbered("CREW", crew_of[who] + 1, 1),
        "rig": numbered("RIG", rig + 1, 1),
        "bank": numbered("BANK", rig + 1, 1),
        "depth_msw": np.round(rng.uniform(5.0, 40.0, size=len(conditions.count))[run], 1),
        "visibility": pen.blank("visibility", _words(VISIBILITY, dives.visibility[run, number])),
        "current": pen.blank("current", _words(CURRENT, dives.current[run, number])),
        "bottom_time_s": 60.0 * np.round(dives.minutes[run, number] / 0.65 + 15.0),
        "start_up_s": np.full(len(run), 900.0),
        "fall_psi": dives.fall_psi[run, number],
        "sag_share": rng.uniform(0.2, 0.5, size=len(run)),
        "by_dive": rng.random(len(run)) < rng.uniform(*world.dive_counts, size=len(conditions.count))[run],
    }


def lines(world: World, conditions: Conditions, key: NDArray[np.int64], jobs: int, pen: Pen) -> Columns:
    run, number = np.divmod(key, conditions.length_m.shape[1])
    job = numbered("J", run % jobs + 1, 2)
    name = numbered("L", number + 1, 2)
    size = len(run)
    return {
        "run": run,
        "number": number,
        "line_ref": job + " " + name,
        "job": job,
        "line": name,
        "section": job + " plate " + conditions.thickness_mm[run, number].astype(str).astype(object) + " mm",
        "section_kind": np.full(size, "plate", dtype=object),
        "material": pen.blank("material", np.full(size, "carbon steel", dtype=object)),
        "thickness_mm": conditions.thickness_mm[run, number],
        "thickness_basis": np.full(size, "measured", dtype=object),
        "planned_length_m": pen.blank("planned_length", conditions.length_m[run, number]),
        "true_length_m": conditions.length_m[run, number],
        "position": pen.blank("position", _words(POSITION, conditions.position[run, number])),
        "fouling": pen.blank("fouling", _words(FOULING, conditions.fouling[run, number])),
        "backing": pen.blank("backing", _words(BACKING, conditions.backing[run, number])),
        "power": pen.blank("power", _words(POWER, conditions.power[run, number])),
        "family_code": conditions.family[run, number],
    }


def cuts(
    world: World,
    conditions: Conditions,
    done: Work,
    d: Columns,
    dive_of: NDArray[np.int64],
    line: Columns,
    line_of: NDArray[np.int64],
    pen: Pen,
) -> Columns:
    rng, size = pen.rng, len(done.job)
    first_row = np.r_[True, dive_of[1:] != dive_of[:-1]]
    start_of_dive = np.maximum.accumulate(np.where(first_row, np.arange(size), 0))
    row = np.arange(size) - start_of_dive + 1
    family = line["family_code"][line_of]
    length = np.where(done.kind == FIRST, np.maximum(np.round(done.metres, 2), 0.0), 0.0)
    whole = (done.kind == FIRST) & (np.abs(done.metres - line["true_length_m"][line_of]) < 1e-9)
    length = np.where(whole, line["true_length_m"][line_of], length)
    stopped = rng.random(size) < 0.08
    waits = np.where(stopped, 60.0 * rng.integers(3, 20, size=size), 0.0)
    net = 60.0 * np.maximum(1.0, np.round(done.minutes))
    untimed = (rng.random(len(d["run"])) < world.blank("elapsed"))[dive_of]
    before = np.cumsum(net + waits) - (net + waits)
    clock = before - before[start_of_dive] + 120.0 * (row - 1)
    start = d["dive_date"][dive_of] + ((8 * 3600 + 7200 * (d["number"][dive_of] % 4) + clock) * 1e6).astype(
        "timedelta64[us]"
    )
    sagging = d["fall_psi"][dive_of] > 0
    ragged = rng.random(size) < np.where(sagging & (row > 1), 0.55, 0.08)
    edge = np.where(ragged, 2, (rng.random(size) < 0.35).astype(np.int64))
    outcome = _words(OUTCOME, done.outcome)
    dive_words = (
        "job",
        "dive_ref",
        "dive_no",
        "dive_date",
        "record_class",
        "setting",
        "diver",
        "crew",
        "rig",
        "bank",
    )
    line_words = ("line_ref", "line", "section", "section_kind", "material", "thickness_mm", "position", "fouling")
    columns: Columns = {
        "cut_id": np.array([f"c{n}" for n in range(size)], dtype=object),
        "cut_ref": d["dive_ref"][dive_of] + "." + row.astype(str).astype(object),
        "cut_no": np.arange(1, size + 1),
        "row": row,
        **{name: d[name][dive_of] for name in (*dive_words, "depth_msw", "visibility", "current")},
        **{name: line[name][line_of] for name in (*line_words, "backing", "power", "planned_length_m")},
        "rod_type": ROD_TYPES["rod_type"].to_numpy(dtype=object)[family],
        "family": _words(FAMILY, family),
        "diameter_mm": ROD_TYPES["diameter_mm"].to_numpy()[family],
        "pass_kind": PASS[done.kind],
        "new_length_m": np.where(done.kind == FIRST, pen.blank("new_length", length), 0.0),
        "start_at": np.where(untimed, np.datetime64("NaT", "us"), start),
        "stop_at": np.where(
            untimed, np.datetime64("NaT", "us"), start + ((net + waits) * 1e6).astype("timedelta64[us]")
        ),
        "elapsed_s": np.where(untimed, np.nan, net + waits),
        "stoppage_s": waits,
        "restarts": rng.poisson(0.4, size=size).astype(float),
        "hangers": np.where(done.outcome == 2, rng.integers(1, 3, size=size), 0).astype(float),
        "edge": pen.blank("edge", EDGE[edge]),
        "outcome": outcome,
    }
    columns["hangers"] = np.where(done.kind == HANGER, 0.0, columns["hangers"])
    # gauges: what a dive's regulator loses, one reading a cut
    rods_before = np.cumsum(done.rods) - done.rods
    rods_before = rods_before - rods_before[start_of_dive]
    dive_rods = np.bincount(dive_of, weights=done.rods)
    d["sag_rod"] = d["sag_share"] * dive_rods
    d["sag_rods"] = rng.uniform(5.0, 11.0, size=len(dive_rods))
    static = rng.normal(90.0, 1.0, size=len(dive_rods))[dive_of]
    read_after = rods_before + 0.5 * done.rods
    drop = _drop(world, d, dive_of, read_after, rng)
    d["read_psi"] = np.zeros(len(dive_rods))
    np.maximum.at(d["read_psi"], dive_of, d["fall_psi"][dive_of] * _fallen(d, dive_of, read_after))
    step = world.gauge_psi
    columns["static_kpa"] = KPA_PER_PSI * np.round(static / step) * step
    flowing = KPA_PER_PSI * np.round((static - drop) / step) * step
    columns["flowing_kpa"] = pen.blank("flowing", flowing)
    return columns


def _fallen(d: Columns, dive_of: NDArray[np.int64], after: NDArray[np.float64]) -> NDArray[np.float64]:
    """Share of its dive's fall reached after so many rods of the dive."""
    return np.asarray(np.clip((after - d["sag_rod"][dive_of]) / d["sag_rods"][dive_of], 0.0, 1.0))


def _drop(
    world: World, d: Columns, dive_of: NDArray[np.int64], after: NDArray[np.float64], rng: np.random.Generator
) -> NDArray[np.float64]:
    """Static less flowing, psi, after so many rods of the dive."""
    rig = np.array([int(name[3:]) for name in d["rig"]])[dive_of]
    fallen = _fallen(d, dive_of, after)
    return np.asarray(10.0 + 2.0 * rig + rng.normal(0.0, 1.5, size=len(after)) + d["fall_psi"][dive_of] * fallen)


def tallies(
    world: World,
    done: Work,
    d: Columns,
    dive_of: NDArray[np.int64],
    cuts: Columns,
    pen: Pen,
) -> tuple[Columns, Columns]:
    rng, size = pen.rng, len(done.job)
    by_dive = d["by_dive"][dive_of]
    family = (cuts["rod_type"] == "TUB").astype(np.int64)
    # a count is a cut, or a dive and rod type
    key = np.where(by_dive, 2 * dive_of + family, 2 * len(d["run"]) + np.arange(size))
    _, head, of = np.unique(key, return_index=True, return_inverse=True)
    rank = np.argsort(np.argsort(head, kind="stable"))
    of, head = rank[of], np.sort(head)
    rods = np.bincount(of, weights=done.rods)
    written = np.maximum(1.0, np.round(rods)) if world.whole_rods else rods
    fate = rng.random(len(head))
    basis = np.where(fate < 0.02, "at least", np.where(fate < 0.10, "estimated", "measured")).astype(object)
    written = pen.blank("rods", written)
    basis[np.isnan(written)] = "not recorded"
    names = np.array([f"t{n}" for n in range(len(head))], dtype=object)
    run = done.job[head]
    spare = rng.poisson(0.03 * np.nan_to_num(written, nan=5.0))
    columns: Columns = {
        "tally_id": names,
        "tally_no": np.arange(1, len(head) + 1),
        "job": cuts["job"][head],
        "scope": np.where(by_dive[head], "dive", "cut").astype(object),
        "dive_ref": cuts["dive_ref"][head],
        "day": cuts["dive_date"][head],
        "rod_type": cuts["rod_type"][head],
        "family": cuts["family"][head],
        "rod_length_mm": ROD_TYPES["length_mm"].to_numpy()[family[head]],
        "planned_stub_mm": ROD_TYPES["planned_stub_mm"].to_numpy()[family[head]],
        "rods": written,
        "rods_basis": basis,
        "issued": written + spare,
        "returned": np.zeros(len(head)),
        "lost": spare.astype(float),
        "run": run,
    }
    return columns, {"tally_id": names[of], "cut_id": cuts["cut_id"], "of": of}


def readings(world: World, d: Columns, dive_of: NDArray[np.int64], done: Work, rng: np.random.Generator) -> Columns:
    """A gauge reading after every rod, on the dives where somebody stood at the gauge."""
    rods = np.round(np.bincount(dive_of, weights=done.rods)).astype(np.int64)
    watched = np.flatnonzero((rng.random(len(rods)) < world.series) & (rods > 0))
    of = np.repeat(watched, rods[watched])
    starts = np.cumsum(rods[watched]) - rods[watched]
    after = np.arange(len(of)) - np.repeat(starts, rods[watched]) + 1
    static = rng.normal(90.0, 1.0, size=len(rods))[of]
    drop = _drop(world, d, of, after.astype(float), rng)
    step = world.gauge_psi
    size = len(of)
    return {
        "dive": of,
        "job": d["job"][of],
        "dive_ref": d["dive_ref"][of],
        "rig": d["rig"][of],
        "bank": d["bank"][of],
        "after_rod": after.astype(float),
        "static_kpa": KPA_PER_PSI * np.round(static / step) * step,
        "flowing_kpa": KPA_PER_PSI * np.round((static - drop) / step) * step,
        "flowing_typed_psi": np.ones(size, dtype=bool),
        "reason": np.full(size, "series", dtype=object),
    }
