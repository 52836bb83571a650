"""Take-offs and histories for the tests of bids, known by their making."""

from __future__ import annotations

import math

import numpy as np
from plain_record import frames_of

from burnlog.analyses.basis import Basis, basis_of
from burnlog.analyses.takeoff import TakeOff, read_takeoff


def take_off(*rows: dict[str, str]) -> TakeOff:
    """A take-off as if it stood in a file, blank cells included."""
    names = {name for row in rows for name in row} | {"item"}
    cells = [{name: row.get(name, "") for name in names} for row in rows]
    return read_takeoff(enumerate(cells, 2), source="t.csv")


def plates(count: int = 10, **more: str) -> TakeOff:
    """Equal plates of half an inch, one metre of cut line each."""
    row = {"item": "plates", "quantity": str(count), "section": "plate", "thickness": "1/2 in", "length_each": "1 m"}
    return take_off({**row, **more})


def history(*, jobs: int = 8, per_job: int = 12, seed: int = 3, sd: float = 0.3) -> Basis:
    """Cuts of one metre with a job effect of 0.2 and their own luck."""
    rng = np.random.default_rng(seed)
    cuts = []
    for job in range(jobs):
        effect = 0.2 * rng.standard_normal()
        for number in range(per_job):
            cuts.append(
                {
                    "job": f"J{job}",
                    "dive_no": number + 1,
                    "line": f"L{job}-{number}",
                    "new_length_m": 1.0,
                    "planned_length_m": 1.0,
                    "diver": f"D{number % 3}",
                    "visibility": ("by feel", "1-3 ft")[number % 2],
                    "position": "flat",
                    "rods": math.exp(1.2 + effect + sd * rng.standard_normal()),
                    "elapsed_s": 600.0 * math.exp(0.2 * rng.standard_normal()),
                    "dive_date": f"202{job % 5}-03-0{1 + number % 9}",
                }
            )
    return basis_of(frames_of(cuts))
