"""What `fit_mixed` refuses before fitting, each with a sentence that names the trouble."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

from burnlog.errors import FitError, FrameError
from burnlog.stats.mixed import criterion_at, fit_at, fit_mixed, fit_tables
from burnlog.stats.suffstats import tabulate

N = 24
RNG = np.random.default_rng(12)
Y = RNG.normal(size=N)
ONE = np.ones((N, 1))
GROUP = np.repeat(list("abcd"), 6)
OTHER = np.tile(list("uvw"), 8)


def spoiled(values: np.ndarray, at: int, value: float) -> np.ndarray:
    out = np.array(values, dtype=float)
    out[at] = value
    return out


REFUSED: dict[str, tuple[Callable[[], object], str]] = {
    "missing y": (lambda: fit_mixed(spoiled(Y, 3, np.nan), ONE, {"g": GROUP}), r"y is missing .* row 3"),
    "infinite y": (lambda: fit_mixed(spoiled(Y, 5, np.inf), ONE, {"g": GROUP}), r"y is missing .* row 5"),
    "missing X": (lambda: fit_mixed(Y, spoiled(ONE, 7, np.nan), {"g": GROUP}), r"X is missing .* row 7"),
    "missing nullable y": (
        lambda: fit_mixed(pd.Series(Y, dtype="Float64").where(np.arange(N) != 6), ONE, {}),
        r"y is missing .* row 6",
    ),
    "missing nullable X": (
        lambda: fit_mixed(Y, pd.DataFrame({"a": pd.Series(Y, dtype="Float64").where(np.arange(N) != 8)}), {}),
        r"X is missing .* row 8",
    ),
    "missing label": (
        lambda: fit_mixed(Y, ONE, {"g": pd.Series(GROUP).where(np.arange(N) != 4)}),
        r"'g' has no label in row 4",
    ),
    "missing weight": (lambda: fit_mixed(Y, ONE, {}, weights=spoiled(np.ones(N), 2, np.nan)), r"weight .* row 2"),
    "zero weight": (lambda: fit_mixed(Y, ONE, {}, weights=spoiled(np.ones(N), 2, 0.0)), r"weight of row 2 .* is 0"),
    "negative weight": (lambda: fit_mixed(Y, ONE, {}, weights=spoiled(np.ones(N), 9, -1.0)), r"row 9 .* is -1"),
    "one level": (lambda: fit_mixed(Y, ONE, {"g": ["a"] * N}), r"'g' has one level"),
    "a level for each row": (lambda: fit_mixed(Y, ONE, {"g": np.arange(N)}), r"'g' has a level for each of the 24"),
    "inside the span": (
        lambda: fit_mixed(Y, (GROUP[:, None] == np.array(list("abcd"))).astype(float), {"g": GROUP}),
        r"columns of X already hold every level of grouping 'g'",
    ),
    "identical": (
        lambda: fit_mixed(Y, ONE, {"g": GROUP, "h": pd.Series(GROUP).str.upper(), "k": OTHER}),
        r"'g' and 'h' divide the rows in the same way, so only the sum",
    ),
    "no degree of freedom": (
        lambda: fit_mixed(Y[:3], np.column_stack([np.ones(3), RNG.normal(size=(3, 2))]), {}),
        r"3 rows leave no degree of freedom after 3 columns",
    ),
    "too large": (lambda: fit_mixed(Y * 1e200, ONE, {}), r"too large to be squared"),
    "no rows": (lambda: fit_mixed([], np.zeros((0, 1)), {}), r"no rows"),
    "perfect fit": (lambda: fit_mixed(2 * Y + 1, np.column_stack([np.ones(N), Y]), {}), r"reproduce y exactly"),
    "constant y": (lambda: fit_mixed(np.full(N, 4.0), ONE, {"g": GROUP}), r"reproduce y exactly"),
    "levels reproduce y": (
        lambda: fit_mixed(np.repeat([1.0, 2.5, 3.0, 7.0], 6), ONE, {"g": GROUP}),
        r"levels reproduce y exactly",
    ),
}


@pytest.mark.parametrize("what", REFUSED)
def test_refused_with_a_sentence(what: str) -> None:
    """Data that cannot be fitted are refused with a FitError that says what is wrong and where."""
    call, words = REFUSED[what]
    with pytest.raises(FitError, match=words) as caught:
        call()
    assert str(caught.value).endswith(".")
    assert caught.value.exit_code == 3


MISSHAPEN: dict[str, tuple[Callable[[], object], str]] = {
    "short y": (lambda: fit_mixed(Y[:-1], ONE, {}), r"y has shape \(23,\)"),
    "flat X": (lambda: fit_mixed(Y, np.ones(N), {}), r"X has 1 dimensions"),
    "short labels": (lambda: fit_mixed(Y, ONE, {"g": GROUP[:-1]}), r"'g' has 23 labels for 24 rows"),
    "short weights": (lambda: fit_mixed(Y, ONE, {}, weights=np.ones(5)), r"weights have shape \(5,\)"),
    "words in y": (lambda: fit_mixed(["a"] * N, ONE, {}), r"y holds values that are not numbers"),
    "words in X": (lambda: fit_mixed(Y, pd.DataFrame({"a": 1.0, "b": GROUP}), {}), r"not numbers: b"),
    "names": (lambda: fit_mixed(Y, ONE, {}, names=["a", "b"]), r"2 names for 1 columns"),
    "ratios of other groupings": (lambda: criterion_at(Y, ONE, {"g": GROUP}, {"h": 1.0}), r"the groupings are"),
    "negative ratio": (lambda: fit_at(tabulate(Y, ONE, {"g": GROUP}), {"g": -1.0}), r"0 or more"),
}


@pytest.mark.parametrize("what", MISSHAPEN)
def test_shapes_that_do_not_fit(what: str) -> None:
    """Shapes and kinds that do not fit together are a FrameError that gives both."""
    call, words = MISSHAPEN[what]
    with pytest.raises(FrameError, match=words):
        call()


def test_unknown_method() -> None:
    """Any method but REML and ML is a wrong call."""
    with pytest.raises(ValueError, match="'REML' or 'ML'"):
        fit_mixed(Y, ONE, {}, method="MAP")  # type: ignore[arg-type]


def test_nested_is_not_identical() -> None:
    """A grouping nested in another, even all but identical, is fitted."""
    inner = GROUP.copy().astype("<U2")
    inner[0] = "a2"
    fit = fit_mixed(Y, ONE, {"g": GROUP, "inner": inner})
    assert set(fit.group_sd) == {"g", "inner"}


def test_what_is_left_without_a_level_can_be_too_little() -> None:
    """Tables less one level are refused like a record of those rows: too few of them, or a column that went along."""
    own = np.array([1.0, 1.0, 1.0, 0.0, 0.0, 0.0])
    X = np.column_stack([np.ones(6), own])
    y = [1.0, 2.0, 4.0, 3.0, 5.0, 4.5]
    tables = tabulate(y, X, {"batch": [1, 1, 1, 2, 2, 3], "part": [1, 2, 1, 2, 1, 2]})
    with pytest.raises(FitError, match="cannot tell the columns and groupings apart"):
        fit_tables(tables.without(1, factor="batch"))
    wide = tabulate(y, np.column_stack([X, [0, 1, 2, 0, 2, 1.0]]), {"batch": [1, 1, 1, 2, 2, 3]})
    with pytest.raises(FitError, match="3 rows leave no degree of freedom after 3 columns"):
        fit_tables(wide.without(1, factor="batch"))
