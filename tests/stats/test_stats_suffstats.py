"""The tables: what they hold, how they shrink, dense and sparse alike."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest

import burnlog.stats.cross as cross
import burnlog.stats.suffstats as suffstats
from burnlog.errors import FrameError
from burnlog.stats.mixed import fit_at, fit_tables
from burnlog.stats.suffstats import SufficientTables, tabulate

SIZES = {"big": 30, "mid": 7, "small": 3}


def data(seed: int = 0, n: int = 150, *, weighted: bool = True, nested: bool = False) -> dict[str, Any]:
    rng = np.random.default_rng([7, seed])
    groups = {name: rng.integers(0, size, n) for name, size in SIZES.items()}
    if nested:  # every level of the largest grouping lies in one level of the next
        groups["mid"] = rng.integers(0, SIZES["mid"], SIZES["big"])[groups["big"]]
    X = np.column_stack([np.ones(n), rng.normal(5.0, 2.0, n), rng.random(n) < 0.3])
    y = X @ [3.0, 0.5, -1.0] + rng.normal(size=n)
    for size, codes in zip(SIZES.values(), groups.values(), strict=True):
        y = y + 0.7 * rng.normal(size=size)[codes]
    return {"y": y, "X": X, "groups": groups, "weights": rng.gamma(4, 0.25, n) + 0.1 if weighted else None}


def subset(case: dict[str, Any], keep: np.ndarray) -> dict[str, Any]:
    return {
        "y": case["y"][keep],
        "X": case["X"][keep],
        "groups": {name: codes[keep] for name, codes in case["groups"].items()},
        "weights": None if case["weights"] is None else case["weights"][keep],
    }


def made(case: dict[str, Any]) -> SufficientTables:
    return tabulate(case["y"], case["X"], case["groups"], weights=case["weights"])


def indicators(codes: np.ndarray) -> np.ndarray:
    return (codes[:, None] == np.unique(codes)).astype(float)


@pytest.fixture
def always_sparse(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(suffstats, "_pays_sparse", lambda factors, n: len(factors) > 1)


@pytest.fixture
def split_tables(monkeypatch: pytest.MonkeyPatch) -> None:
    """Columns of the middle grouping sparse, those of the smallest, which fill more cells, dense."""
    monkeypatch.setattr(cross, "LARGE", 0.0)
    monkeypatch.setattr(cross, "FILLED", 0.7)


@pytest.mark.parametrize("weighted", [False, True])
def test_tables_are_the_cross_products(weighted: bool) -> None:
    """Counts, sums and cross tables equal the products of the indicator matrices, weights included."""
    case = data(weighted=weighted)
    tables = made(case)
    w = np.ones(150) if case["weights"] is None else case["weights"]
    Z = np.column_stack([indicators(case["groups"][factor.name]) for factor in tables.factors])
    W = tables.design.rows @ tables.design.to_basis / np.sqrt(w)[:, None]
    np.testing.assert_allclose(tables.gram, (W.T * w) @ W, atol=1e-12)
    np.testing.assert_allclose(tables.gram, np.eye(4), atol=1e-12)
    np.testing.assert_allclose(tables.counts, w @ Z, rtol=1e-12)
    np.testing.assert_allclose(tables.sums, (Z.T * w) @ W, atol=1e-12)
    values = np.random.default_rng(1).normal(size=(Z.shape[1], 2))
    np.testing.assert_allclose(tables.spread(values), (Z.T * w) @ Z @ values, rtol=1e-10, atol=1e-10)


def test_factors_stand_largest_first_with_sorted_levels() -> None:
    """The grouping with most levels comes first, and levels are in sorted order."""
    case = data()
    case["groups"] = {"small": case["groups"]["small"], "big": [f"L{c:02d}" for c in case["groups"]["big"]]}
    tables = made(case)
    assert [factor.name for factor in tables.factors] == ["big", "small"]
    assert list(tables.factors[0].levels) == sorted(f"L{c:02d}" for c in range(30))
    assert tables.position("small") == 1
    with pytest.raises(FrameError, match="no grouping named 'middle'; there are big, small"):
        tables.position("middle")


@pytest.mark.parametrize("nested", [False, True])
@pytest.mark.parametrize("weighted", [False, True])
def test_sparse_tables_give_the_same_fit(always_sparse: None, weighted: bool, nested: bool) -> None:
    """Sparse tables, with and without a second grouping that contains the first, give the dense fit."""
    case = data(3, weighted=weighted, nested=nested)
    sparse = made(case)
    assert sparse.lead is not None
    assert (sparse.cross_first.shape[0] > 0) == nested
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(suffstats, "_pays_sparse", lambda factors, n: False)
        dense = made(case)
    assert dense.lead is None
    one, other = fit_tables(sparse), fit_tables(dense)
    assert one.criterion == pytest.approx(other.criterion, rel=1e-12)
    for name in SIZES:
        assert one.group_sd[name] == pytest.approx(other.group_sd[name], rel=1e-6, abs=1e-12)
        np.testing.assert_allclose(one.effects[name], other.effects[name], atol=1e-7)
    np.testing.assert_allclose(one.coef_se, other.coef_se, rtol=1e-6)
    np.testing.assert_allclose(sparse.squares, dense.squares[np.ix_(*[order(sparse, dense)] * 2)], rtol=1e-12)


def order(one: SufficientTables, other: SufficientTables) -> list[int]:
    return [other.position(factor.name) for factor in one.factors]


def assert_same(left: SufficientTables, fresh: SufficientTables) -> None:
    """Both tables give one optimum, and at given ratios the same estimates to ten digits."""
    assert left.n == fresh.n
    assert fit_tables(left).criterion == pytest.approx(fit_tables(fresh).criterion, rel=1e-11)
    held = {"big": 0.8, "mid": 0.3, "small": 1.7}
    one, other = fit_at(left, held), fit_at(fresh, held)
    assert one.criterion == pytest.approx(other.criterion, rel=1e-12)
    np.testing.assert_allclose(one.coef, other.coef, rtol=1e-10)
    np.testing.assert_allclose(one.coef_se, other.coef_se, rtol=1e-10)
    for name in SIZES:
        pd.testing.assert_series_equal(one.effects[name], other.effects[name], rtol=1e-9, atol=1e-12)


@pytest.mark.parametrize("factor", list(SIZES))
@pytest.mark.parametrize("weighted", [False, True])
def test_without_a_level_equals_a_fresh_count(factor: str, weighted: bool) -> None:
    """Tables less one level are those of the remaining rows, whichever grouping the level belongs to."""
    case = data(5, weighted=weighted)
    assert_same(made(case).without(1, factor=factor), made(subset(case, case["groups"][factor] != 1)))


@pytest.mark.parametrize("nested", [False, True])
@pytest.mark.parametrize("factor", list(SIZES))
def test_sparse_without_a_level_equals_a_fresh_count(always_sparse: None, factor: str, nested: bool) -> None:
    """Sparse tables less one level are those of the rest, whether whole levels of the first vanish or parts."""
    case = data(6, nested=nested)
    assert_same(made(case).without(2, factor=factor), made(subset(case, case["groups"][factor] != 2)))


@pytest.mark.parametrize("weighted", [False, True])
def test_half_sparse_tables_give_the_same_fit(weighted: bool) -> None:
    """A cross table whose first columns are sparse gives the tables, the fit and the moments of a dense one."""
    case = data(9, weighted=weighted)
    dense = made(case)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(cross, "LARGE", 0.0)
        patch.setattr(cross, "FILLED", 0.7)
        half = made(case)
    assert (dense.cross_first.columns, half.cross_first.columns) == (0, SIZES["mid"])
    assert half.cross_first.shape == dense.cross_first.shape
    np.testing.assert_array_equal(half.cross_first.toarray(), dense.cross_first.toarray())
    np.testing.assert_allclose(half.squares, dense.squares, rtol=1e-13)
    one, other = fit_tables(half), fit_tables(dense)
    assert one.criterion == pytest.approx(other.criterion, rel=1e-13)
    for name in SIZES:
        assert one.group_sd[name] == pytest.approx(other.group_sd[name], rel=1e-7, abs=1e-12)
        np.testing.assert_allclose(one.effects[name], other.effects[name], atol=1e-8)
    np.testing.assert_allclose(one.point.slope, other.point.slope, atol=1e-6)
    np.testing.assert_allclose(one.point.curvature, other.point.curvature, rtol=1e-6)


@pytest.mark.parametrize("factor", list(SIZES))
@pytest.mark.parametrize("weighted", [False, True])
def test_half_sparse_without_a_level_equals_a_fresh_count(split_tables: None, factor: str, weighted: bool) -> None:
    """Half-sparse tables less one level are those of the remaining rows, and a level that went leaves no cell."""
    case = data(5, weighted=weighted)
    left = made(case).without(1, factor=factor)
    assert left.cross_first.columns == SIZES["mid"]
    assert_same(left, made(subset(case, case["groups"][factor] != 1)))
    if factor == "big":
        assert not left.cross_first.toarray()[1].any()


def test_few_filled_cells_are_kept_sparse() -> None:
    """A job that sees 8 of 400 divers and every rod type: the divers' columns are sparse, the rod types' are not."""
    rng = np.random.default_rng(12)
    n, jobs = 20_000, 600
    job = rng.integers(0, jobs, n)
    diver = rng.integers(0, 400, (jobs, 8))[job, rng.integers(0, 8, n)]
    groups = {"job": job, "diver": diver, "rod": rng.integers(0, 60, n)}
    table = tabulate(rng.normal(size=n), np.ones((n, 1)), groups).cross_first
    assert (table.columns, table.shape) == (400, (600, 460))
    assert table.sparse is not None
    assert table.sparse.nnz <= 8 * jobs


def test_levels_can_go_one_after_the_other() -> None:
    """Two levels taken out in turn, rows shared between them counted once, leave what neither holds."""
    case = data(8)
    left = made(case).without(0, factor="big").without(1, factor="small")
    keep = (case["groups"]["big"] != 0) & (case["groups"]["small"] != 1)
    fresh = made(subset(case, keep))
    assert left.n == fresh.n == int(keep.sum())
    assert fit_tables(left).criterion == pytest.approx(fit_tables(fresh).criterion, rel=1e-11)


def test_unknown_level_is_named() -> None:
    """Leaving out a level that does not exist says so."""
    with pytest.raises(FrameError, match="'big' has no level 99"):
        made(data()).without(99, factor="big")


def test_sparse_is_chosen_where_it_pays() -> None:
    """Thousands of small levels make sparse tables; tens of levels do not."""
    rng = np.random.default_rng(2)
    n = 6000
    X, y = np.ones((n, 1)), rng.normal(size=n)
    many = {"event": np.arange(n) // 4, "place": np.arange(n) // 60, "person": rng.integers(0, 200, n)}
    few = {"place": np.arange(n) // 300, "person": rng.integers(0, 20, n)}
    assert tabulate(y, X, many).lead is not None
    assert [factor.name for factor in tabulate(y, X, many).factors[:2]] == ["event", "place"]
    assert tabulate(y, X, few).lead is None
