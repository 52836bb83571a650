"""Ranges for a new job hold on invented histories, judged by the exact interval of what was counted."""

from __future__ import annotations

import pytest

from benchmarks.coverage import Table, tried
from burnlog.analyses.invented import WORLDS
from burnlog.stats.counts import proportion


def _overlaps(band: tuple[float, float], low: float, high: float) -> bool:
    return band[0] <= high and band[1] >= low


@pytest.mark.slow
@pytest.mark.parametrize(
    ("world", "jobs", "count", "low", "high"),
    [
        ("base", 3, 80, 0.78, 0.92),
        ("base", 6, 80, 0.74, 0.86),
        ("heavy tails", 12, 30, 0.74, 0.86),
        ("one-job crews", 5, 30, 0.78, 0.92),
    ],
)
def test_R43_the_range_for_a_new_job_holds(world: str, jobs: int, count: int, low: float, high: float) -> None:
    """Rods, cut time and dives of a new job fall inside the 80 % range as often as the demanded share allows; a
    pooled ratio in the same histories does not come near.
    """
    table: Table
    table, refused = tried(WORLDS[world], jobs, count=count, seed=4711, pieces=("",))
    assert refused == 0
    for quantity in ("rods", "seconds", "dives"):
        cell = table["integrated", quantity]
        assert len(cell.once) >= 0.9 * count
        assert _overlaps(cell.band, low, high), (quantity, cell.band)
        wide = proportion(round(cell.share(95) * count), count)
        assert wide.high >= 0.92, quantity
    pooled = table["pooled ratio", "rods"]
    assert not _overlaps(pooled.band, low, high)
