"""One BLAS thread inside a fit, and the pools as they were afterwards."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.linalg
from threadpoolctl import threadpool_info, threadpool_limits

from burnlog.stats.mixed import fit_mixed
from burnlog.stats.newton import Point
from burnlog.stats.threads import one_thread


def blas_threads() -> list[int]:
    """Threads of every BLAS pool loaded: numpy's and scipy's."""
    assert scipy.linalg.blas is not None
    return [pool["num_threads"] for pool in threadpool_info() if pool["user_api"] == "blas"]


def test_pools_go_to_one_and_back() -> None:
    """Inside the context every BLAS pool has one thread; afterwards each has what it had."""
    with threadpool_limits(2, user_api="blas"):
        before = blas_threads()
        with one_thread():
            assert set(blas_threads()) == {1}
        assert blas_threads() == before == [2] * len(before)


def test_a_fit_runs_on_one_thread(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every evaluation of the criterion sees one thread, whatever the caller had set."""
    seen: list[list[int]] = []
    evaluate = Point.__init__

    def watched(self: Point, *words: object, **options: object) -> None:
        seen.append(blas_threads())
        evaluate(self, *words, **options)  # type: ignore[arg-type]

    monkeypatch.setattr(Point, "__init__", watched)
    rng = np.random.default_rng(0)
    group = np.repeat(np.arange(5), 6)
    with threadpool_limits(2, user_api="blas"):
        fit_mixed(rng.normal(size=5)[group] + rng.normal(size=30), np.ones((30, 1)), {"g": group})
    assert seen
    assert all(set(threads) == {1} for threads in seen)
