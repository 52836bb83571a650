"""A large invented log for benchmarks, written through the log's own front door."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from burnlog.analyses.invented import WORLDS, history
from burnlog.columns import Frames
from burnlog.store.log import Log

__all__ = ["write_log"]

_DIVE = (
    "record_class",
    "setting",
    "water",
    "crew",
    "depth_msw",
    "visibility",
    "current",
    "bottom_time_s",
    "start_up_s",
)
_CUT = ("row", "thickness_mm", "family", "pass_kind", "elapsed_s", "position", "fouling", "backing", "power", "edge")
_TALLY = ("scope", "rods", "rods_basis", "issued", "returned", "lost")
_WHOLE = frozenset({"row", "issued", "returned", "lost", "restarts", "hangers"})


def write_log(path: Path, *, jobs: int, lines: tuple[int, int], seed: int) -> None:
    """Write the record of an invented contractor, MADE UP, of some jobs of `lines` lines each."""
    frames = history(replace(WORLDS["base"], lines=lines), jobs=jobs, rng=np.random.default_rng(seed)).frames
    with Log.create(path, by="bench", now=_then, made_up=True) as log, log.transaction():
        for table, rows in _tables(frames):
            log.insert_many(table, ((key, values, {}) for key, values in rows))


def _then() -> dt.datetime:
    return dt.datetime(2026, 5, 20, tzinfo=dt.UTC)


def _values(row: Mapping[Any, Any], names: tuple[str, ...], **more: Any) -> dict[str, Any]:
    """The cells of a row that hold something, and what else is known of it."""
    held = {name: row[name] for name in names if not pd.isna(row[name])}
    return {**{name: int(value) if name in _WHOLE else value for name, value in held.items()}, **more}


def _tables(frames: Frames) -> Iterator[tuple[str, list[tuple[str, dict[str, Any]]]]]:
    """Tables of the log with their rows as (id, values), parents first; a frame's own name of a row is its id."""
    lines, dives, cuts, tallies = (
        frame.to_dict("records") for frame in (frames.lines, frames.dives, frames.cuts, frames.tallies)
    )
    yield (
        "job",
        [
            (job, {"code": job, "water": "salt", "record_class": "production", "made_up": 1})
            for job in frames.jobs["job"]
        ],
    )
    yield "person", [(f"p {code}", {"code": code}) for code in sorted(frames.dives["diver"].unique())]
    yield (
        "rod_type",
        [
            (
                f"r {row['rod_type']}",
                {
                    "code": row["rod_type"],
                    "outer_dia_mm": row["diameter_mm"],
                    "pack_count": int(row["pack_count"]),
                    **_values(row, ("family", "length_mm", "planned_stub_mm", "stub_source")),
                },
            )
            for row in frames.rod_types.to_dict("records")
        ],
    )
    yield (
        "line",
        [
            (
                row["line_ref"],
                _values(
                    row,
                    ("section", "section_kind", "material", "thickness_mm", "thickness_basis"),
                    job_id=row["job"],
                    code=row["line"],
                    over_length_why="MADE UP: lengths are as the invented tape read them",
                    **_millimetres(row, "planned_length"),
                ),
            )
            for row in lines
        ],
    )
    yield (
        "dive",
        [
            (
                row["dive_ref"],
                _values(
                    row,
                    _DIVE,
                    job_id=row["job"],
                    dive_no=int(row["dive_no"]),
                    dive_date=row["dive_date"].date().isoformat(),
                    diver_id=f"p {row['diver']}",
                ),
            )
            for row in dives
        ],
    )
    yield (
        "cut",
        [
            (
                row["cut_id"],
                _values(
                    row,
                    (*_CUT, "outcome"),
                    dive_id=row["dive_ref"],
                    line_id=row["line_ref"],
                    rod_type_id=f"r {row['rod_type']}",
                    **_millimetres(row, "new_length"),
                ),
            )
            for row in cuts
        ],
    )
    yield (
        "tally",
        [
            (
                row["tally_id"],
                _values(row, _TALLY, job_id=row["job"], dive_id=row["dive_ref"], rod_type_id=f"r {row['rod_type']}"),
            )
            for row in tallies
        ],
    )
    single = set(frames.tallies["tally_id"][frames.tallies["scope"] == "cut"])
    yield (
        "tally_cut",
        [
            (f"{row['tally_id']} {row['cut_id']}", {"tally_id": row["tally_id"], "cut_id": row["cut_id"]})
            for row in frames.tally_cuts.to_dict("records")
            if row["tally_id"] in single
        ],
    )


def _millimetres(row: Mapping[Any, Any], name: str) -> dict[str, float]:
    """A length of a frame, in m, as the log holds it."""
    metres = row[f"{name}_m"]
    return {} if pd.isna(metres) else {f"{name}_mm": 1000.0 * metres}
