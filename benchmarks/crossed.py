"""Invented crossed data for the speed of fits: jobs, divers, rod types and, where asked for, dives."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Crossed", "draw"]

COLUMNS = 8


@dataclass(frozen=True)
class Crossed:
    """Response, fixed columns, and groupings as text labels with their codes."""

    name: str
    y: NDArray[np.float64]
    X: NDArray[np.float64]
    groups: dict[str, NDArray[np.object_]]
    codes: dict[str, NDArray[np.int32]]


def draw(name: str, n: int, jobs: int, divers: int, rods: int, *, dives: int = 0, seed: int = 1) -> Crossed:
    """Rows of a trade's history: a job sees eight divers, a dive two of them, and any rod type.

    Made up: the spreads are 0.4 between jobs, 0.25 between divers, 0.1 between rod types, 0.3 between dives, residual
    0.5; two columns are normal, five are 0/1 with share 0.3.
    """
    rng = np.random.default_rng([seed, n, dives])
    pool = rng.integers(0, divers, (jobs, 8))
    codes: dict[str, NDArray[np.int32]] = {}
    if dives:
        dive = np.sort(rng.integers(0, dives, n))
        job = np.sort(rng.integers(0, jobs, dives))[dive]
        pair = rng.integers(0, 8, (dives, 2))[dive, rng.integers(0, 2, n)]
        codes["dive"] = dive.astype(np.int32)
    else:
        job = np.sort(rng.integers(0, jobs, n))
        pair = rng.integers(0, 8, n)
    codes["job"] = job.astype(np.int32)
    codes["diver"] = pool[job, pair].astype(np.int32)
    codes["rod_type"] = rng.integers(0, rods, n).astype(np.int32)
    X = np.empty((n, COLUMNS))
    X[:, 0] = 1.0
    X[:, 1:3] = rng.normal(size=(n, 2))
    X[:, 3:] = rng.random((n, COLUMNS - 3)) < 0.3
    y = X @ rng.normal(0.0, 0.3, COLUMNS) + 0.5 * rng.normal(size=n)
    for word, spread in {"job": 0.4, "diver": 0.25, "rod_type": 0.1, "dive": 0.3}.items():
        if word in codes:
            y += spread * rng.normal(size=int(codes[word].max()) + 1)[codes[word]]
    groups = {
        word: np.array([f"{word}{i:06d}" for i in range(int(code.max()) + 1)], dtype=object)[code]
        for word, code in codes.items()
    }
    return Crossed(name, y, X, groups, codes)
