"""Counts on one line share its luck: found, and taken into account."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest
from review_record import record
from scipy import sparse

from burnlog.analyses.crew_model import fit_groups, standing
from burnlog.analyses.line_luck import line_ratio, line_shares, turn
from burnlog.analyses.rate_design import design
from burnlog.analyses.tallies import gather
from burnlog.stats.posterior import Case


def twice_counted(seed: int, *, lines: int = 60, shared: bool = True) -> list[dict[str, Any]]:
    """Two crews far apart on three jobs; each line is cut in two goes by one crew, and both have the line's luck."""
    luck = np.random.default_rng(seed)
    rows: list[dict[str, Any]] = []
    for line in range(lines):
        crew = "AB"[line % 2]
        whole = luck.standard_normal()
        for _ in range(2):
            common = whole if shared else luck.standard_normal()
            rods = 8.0 * np.exp(0.7 * (crew == "B") + 0.22 * common + 0.12 * luck.standard_normal())
            rows.append(
                {
                    "job": f"J{1 + line % 3}",
                    "dive_no": 1 + len(rows),
                    "line": f"L{line}",
                    "crew": crew,
                    "diver": f"D{line // 2 % 3}",
                    "new_length_m": 1.0,
                    "planned_length_m": 2.0,
                    "rods": float(np.round(rods, 3)),
                }
            )
    return rows


def test_the_turned_rows_are_independent_and_turn_back() -> None:
    """The root times itself is I + ratio K with a mean diagonal of 1, and its inverse undoes it."""
    shares = sparse.csr_array(
        np.array([[1.0, 0, 0], [0.5, 0.5, 0], [0, 1.0, 0], [0, 0, 1.0], [0, 0, 1.0], [0.3, 0.7, 0]])
    )
    turned = turn(shares, 0.7)
    together = np.eye(6) + 0.7 * (shares @ shares.T).toarray()
    together /= np.trace(together) / 6
    np.testing.assert_allclose((turned.root @ turned.root.T).toarray(), together, atol=1e-12)
    np.testing.assert_allclose((turned.inverse @ turned.root).toarray(), np.eye(6), atol=1e-12)
    assert turned.root[3, 0] == 0.0
    m = np.linspace(0.5, 2.0, 6)
    covariance = turned.root.toarray() @ np.diag(m) @ turned.root.toarray().T
    assert turned.mean_variance(m) == pytest.approx(covariance.sum() / 6, rel=1e-12)
    rows = np.array([True, True, False, False, True, False])
    drawn, variance = turned.noise(m, rows, 60_000, np.random.default_rng(3))
    np.testing.assert_allclose(variance, np.diag(covariance)[rows], rtol=1e-12)
    np.testing.assert_allclose(np.cov(drawn.T), covariance[np.ix_(rows, rows)], atol=0.05)


def test_a_turned_case_gives_the_generalised_least_squares_of_statsmodels() -> None:
    """Ordinary least squares on turned rows are statsmodels' GLS with the covariance that was meant."""
    import statsmodels.api as sm

    luck = np.random.default_rng(8)
    shares = sparse.csr_array(np.kron(np.eye(15), np.ones((2, 1))))
    X = np.column_stack([np.ones(30), luck.standard_normal(30)])
    y = X @ [1.0, 0.5] + luck.standard_normal(30)
    case = turn(shares, 1.3).case(Case(y=y, X=X, m=np.ones(30)))
    ours, *_ = np.linalg.lstsq(case.X, case.y, rcond=None)
    peer = sm.GLS(y, X, sigma=np.eye(30) + 1.3 * (shares @ shares.T).toarray()).fit()
    np.testing.assert_allclose(ours, peer.params, rtol=1e-10)


def test_shares_are_by_length_and_a_line_without_a_name_is_its_own() -> None:
    """A count over two lines is shared by length; counts without a line are joined to nothing."""
    rows = twice_counted(1, lines=2)
    tallyset = gather(record(rows))
    shares = line_shares(tallyset, tallyset.tallies.index)
    np.testing.assert_allclose(np.asarray(shares.sum(axis=1)).ravel(), 1.0)
    assert shares.shape == (4, 2)
    nameless = type(tallyset)(
        **{**vars(tallyset), "pieces": tallyset.pieces.assign(line_ref=pd.Series(None, dtype=object))}
    )
    assert line_shares(nameless, tallyset.tallies.index).shape == (4, 4)


def test_few_pairs_are_no_ground_and_no_pairs_are_none() -> None:
    """Without two counts on a line the ratio is 0; two pairs that agree fully say little; opposed pairs say 0."""
    assert line_ratio(np.ones(5), sparse.eye_array(5).tocsr()) == 0.0
    pairs = sparse.csr_array(np.kron(np.eye(2), np.ones((2, 1))))
    assert 0.0 < line_ratio(np.ones(4), pairs) < 0.25
    assert line_ratio(np.array([1.0, -1.0, 1.0, -1.0]), pairs) == 0.0


@pytest.mark.slow
def test_counting_a_line_twice_is_not_two_looks_at_a_crew() -> None:
    """Each line in two goes with one luck: the interval of two crews far apart grows, by less than the root of two;
    where the goes are independent it hardly changes."""
    growth: dict[bool, list[float]] = {True: [], False: []}
    for shared in growth:
        for seed in range(6):
            tallyset = gather(record(twice_counted(seed, shared=shared)))
            rows = design(tallyset)
            widths = []
            for lines in (None, line_shares(tallyset, rows.tallies.index)):
                fit = fit_groups(rows, "crew", rng=np.random.default_rng(seed), lines=lines)
                held = standing(fit, "A", ["B"])
                widths.append(float(np.log(held.high90 / held.low90)))
            growth[shared].append(widths[1] / widths[0])
    assert 1.10 < np.median(growth[True]) < np.sqrt(2)
    assert 0.95 < np.median(growth[False]) < 1.05
