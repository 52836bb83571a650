"""Invented work written down: rounded, blank in places, wrong in others, and cut into frames."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import fields
from functools import cache
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from burnlog.analyses import invented_sheets as sheets
from burnlog.analyses.divework import DiveDraws, Work
from burnlog.analyses.worlds import THICKNESS_MM, Conditions, World
from burnlog.columns import GLOSSARY, Frames, empty

__all__ = ["made_frames"]

Made = tuple[Frames, pd.DataFrame, pd.DataFrame]


@cache
def _blank(name: str) -> pd.DataFrame:
    return empty(name)


@cache
def _rod_types() -> pd.DataFrame:
    return sheets.ROD_TYPES.astype(_blank("rod_types").dtypes.to_dict())


def made_frames(
    world: World,
    conditions: Conditions,
    dives: DiveDraws,
    done: Work,
    person: NDArray[np.int64],
    crew_of: NDArray[np.int64],
    jobs: int,
    rng: np.random.Generator,
) -> Iterator[Made]:
    """Write the work of many records down, then part it record by record.

    Parameters
    ----------
    person : (H, J, D) int
        Who made each dive.
    crew_of : (people,) int
    jobs : int
        Jobs in a record; the runs of `done` are record by record.

    Yields
    ------
    frames, sags, errors
    """
    pen = sheets.Pen(world, rng)
    runs = len(conditions.count)
    record = done.job // jobs
    dive_key, dive_of = np.unique(done.job * dives.rods.shape[1] + done.dive, return_inverse=True)
    line_key, line_of = np.unique(done.job * conditions.length_m.shape[1] + done.line, return_inverse=True)
    d = sheets.dives(world, conditions, dives, dive_key, person.reshape(runs, -1), crew_of, jobs, pen)
    line = sheets.lines(world, conditions, line_key, jobs, pen)
    cuts = sheets.cuts(world, conditions, done, d, dive_of, line, line_of, pen)
    tallies, links = sheets.tallies(world, done, d, dive_of, cuts, pen)
    errors = _typing_errors(world, cuts, tallies, links, record, rng)
    readings = sheets.readings(world, d, dive_of, done, rng)
    sag = dives.fall_psi.reshape(-1)[dive_key]
    sags = {
        "dive_ref": d["dive_ref"][sag > 0],
        "fall_psi": sag[sag > 0],
        "first_rod": d["sag_rod"][sag > 0],
        "read_psi": d["read_psi"][sag > 0],
    }
    record_of = {
        "dives": d["run"] // jobs,
        "lines": line["run"] // jobs,
        "cuts": record,
        "tallies": tallies["run"] // jobs,
        "tally_cuts": record,
        "readings": (d["run"] // jobs)[readings["dive"]],
    }
    tables = {"dives": d, "lines": line, "cuts": cuts, "tallies": tallies, "tally_cuts": links, "readings": readings}
    whole = {name: _typed(name, tables[name]) for name in tables}
    edges = {name: np.searchsorted(record_of[name], np.arange(runs // jobs + 1)) for name in tables}
    sag_record = (d["run"] // jobs)[sag > 0]
    job_frame = _jobs(jobs)
    for h in range(runs // jobs):
        parts = {
            name: pd.DataFrame({c: v[edges[name][h] : edges[name][h + 1]] for c, v in columns.items()})
            for name, columns in whole.items()
        }
        frames = {"jobs": job_frame, "rod_types": _rod_types(), **parts}
        full = Frames(**{f.name: frames[f.name] if f.name in frames else _blank(f.name) for f in fields(Frames)})
        own = sag_record == h
        yield (
            full,
            pd.DataFrame({name: values[own] for name, values in sags.items()}),
            pd.DataFrame({n: v[errors["record"] == h] for n, v in errors.items() if n != "record"}),
        )


def _typed(name: str, columns: Mapping[str, Any]) -> dict[str, Any]:
    """Columns of a glossary entry as arrays of the right kind, the absent ones missing."""
    like = _blank(name)
    size = len(next(iter(columns.values())))
    out: dict[str, Any] = {}
    for column in GLOSSARY[name]:
        dtype = like[column.name].dtype
        if column.name in columns:
            values: Any = columns[column.name]
            out[column.name] = pd.array(values, dtype=str(dtype)) if column.kind == "text" else values
        elif column.kind == "text":
            out[column.name] = pd.Series([None] * size, dtype=dtype).array
        elif column.kind == "time":
            out[column.name] = np.full(size, np.datetime64("NaT", "us"))
        elif column.kind == "flag":
            out[column.name] = np.ones(size, dtype=bool)
        else:
            out[column.name] = np.full(size, np.nan)
    return out


def _jobs(jobs: int) -> pd.DataFrame:
    codes = [f"J{j + 1:02d}" for j in range(jobs)]
    columns = {
        "job": np.array(codes, dtype=object),
        "title": np.array([f"Made-up job {j + 1}" for j in range(jobs)], dtype=object),
        "record_class": np.full(jobs, "production", dtype=object),
        "water": np.full(jobs, "salt", dtype=object),
    }
    return pd.DataFrame(_typed("jobs", columns))


def _typing_errors(
    world: World,
    cuts: sheets.Columns,
    tallies: sheets.Columns,
    links: sheets.Columns,
    record: NDArray[np.int64],
    rng: np.random.Generator,
) -> sheets.Columns:
    """Wrong keys pressed on some rows, in place; what was true is returned."""
    size = len(cuts["cut_id"])
    hit = np.flatnonzero((rng.random(size) < world.typing_errors) & (cuts["pass_kind"] == "first"))
    kinds = rng.choice(("rods x10", "digits swapped", "length unit", "thickness slip", "hour slip"), size=len(hit))
    kept: list[tuple[int, str, str, str, float, float]] = []
    for row, kind in zip(hit.tolist(), kinds.tolist(), strict=True):
        tally = int(links["of"][row])
        target, column, place, table = str(cuts["cut_id"][row]), "", row, cuts
        if kind in ("rods x10", "digits swapped"):
            target, column, place, table = str(tallies["tally_id"][tally]), "rods", tally, tallies
            true = float(tallies["rods"][tally])
            swapped = 10 * (true % 10) + true // 10
            wrong = 10 * true if kind == "rods x10" or not 12 <= true <= 98 or swapped in (0, true) else swapped
            kind = "rods x10" if wrong == 10 * true else kind
        elif kind == "length unit":
            column, true = "new_length_m", float(cuts["new_length_m"][row])
            wrong = true * 0.3048
        elif kind == "thickness slip":
            column, true = "thickness_mm", float(cuts["thickness_mm"][row])
            wrong = float(THICKNESS_MM[(np.searchsorted(THICKNESS_MM, true) + 2) % len(THICKNESS_MM)])
        else:
            column, true = "elapsed_s", float(cuts["elapsed_s"][row])
            wrong = true + 3600.0
        if not np.isfinite(true) or true == wrong:
            continue
        table[column][place] = wrong
        if column == "elapsed_s":
            cuts["stop_at"][row] += np.timedelta64(3600, "s")
        kept.append((int(record[row]), kind, target, column, true, wrong))
    names = ("record", "kind", "target", "column", "true", "typed")
    kinds_of = (np.int64, object, object, object, np.float64, np.float64)
    return {
        name: np.array([entry[k] for entry in kept], dtype=kind)
        for k, (name, kind) in enumerate(zip(names, kinds_of, strict=True))
    }
