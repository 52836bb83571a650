"""Predictions: published intervals, dense algebra, known and unknown levels."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from burnlog.errors import FitError, FrameError
from burnlog.stats.mixed import MixedFit, fit_mixed
from burnlog.stats.predict import joint_covariance, predict

REFERENCE = Path(__file__).parents[1] / "reference"
RNG = np.random.default_rng(33)
N = 80
G, H = RNG.integers(0, 6, N), RNG.integers(0, 4, N)
X = pd.DataFrame({"one": 1.0, "x": RNG.normal(10.0, 2.0, N)})
W = RNG.gamma(4, 0.25, N) + 0.1
Y = X.to_numpy() @ [2.0, 0.5] + RNG.normal(size=6)[G] + 0.8 * RNG.normal(size=4)[H] + RNG.normal(size=N)


@pytest.fixture(scope="module")
def fit() -> MixedFit:
    return fit_mixed(Y, X, {"g": G, "h": H}, weights=W)


# cars, dist on speed: interval at 10 read in R's output; at 15 and 21 recomputed
CARS = [
    (10.0, 21.744993, (15.461917, 28.028068), (-9.809601, 53.299586)),
    (15.0, 41.407036, (37.021152, 45.792921), (10.174821, 72.639252)),
    (21.0, 65.001489, (58.597384, 71.405594), (33.422574, 96.580404)),
]


@pytest.mark.parametrize(("speed", "mean", "confidence", "new"), CARS)
def test_intervals_of_a_line(
    speed: float, mean: float, confidence: tuple[float, float], new: tuple[float, float]
) -> None:
    """Least squares on cars gives R's 95 % intervals for the mean and for a new observation, to its digits."""
    cars = pd.read_csv(REFERENCE / "cars.csv", comment="#")
    line = fit_mixed(cars.dist_ft, np.column_stack([np.ones(50), cars.speed_mph]), {})
    answer = predict(line, [[1.0, speed]], {}, level=0.95)
    assert answer.mean[0] == pytest.approx(mean, abs=6e-7)
    assert (answer.low[0], answer.high[0]) == pytest.approx(confidence, abs=6e-7)
    assert (answer.new_low[0], answer.new_high[0]) == pytest.approx(new, abs=6e-7)


def dense_covariance(fit: MixedFit, x: np.ndarray, zg: np.ndarray, zh: np.ndarray) -> np.ndarray:
    """Error covariance of predictions from the inverse of Henderson's mixed-model equations."""
    Zs = [(codes[:, None] == np.arange(size)).astype(float) for codes, size in ((G, 6), (H, 4))]
    T = np.column_stack([X.to_numpy(), *Zs])
    C = (T.T * W) @ T
    spread = [fit.group_sd["g"]] * 6 + [fit.group_sd["h"]] * 4
    C[2:, 2:] += np.diag((fit.sigma / np.array(spread)) ** 2)
    k = np.column_stack([x, zg, zh])
    return fit.sigma**2 * k @ np.linalg.inv(C) @ k.T


def test_joint_covariance_is_henderson_s_inverse(fit: MixedFit) -> None:
    """Means and covariances of known levels are those of the mixed-model equations, all errors joint."""
    rng = np.random.default_rng(4)
    x = np.column_stack([np.ones(7), rng.normal(10, 2, 7)])
    g, h = rng.integers(0, 6, 7), rng.integers(0, 4, 7)
    labels = {"g": g, "h": h}
    expected = dense_covariance(fit, x, np.eye(6)[g], np.eye(4)[h])
    np.testing.assert_allclose(joint_covariance(fit, x, labels), expected, rtol=1e-9)
    answer = predict(fit, x, labels)
    np.testing.assert_allclose(answer.se, np.sqrt(np.diag(expected)), rtol=1e-9)
    mean = x @ fit.coef.to_numpy() + fit.effects["g"].to_numpy()[g] + fit.effects["h"].to_numpy()[h]
    np.testing.assert_allclose(answer.mean, mean, rtol=1e-12)


def test_unknown_levels_add_their_spread(fit: MixedFit) -> None:
    """An unknown level counts as the average one, with the spread between levels added, and is marked unknown."""
    x = np.array([[1.0, 9.0]])
    for missing in ({"g": ["new"], "h": [1]}, {"g": [None], "h": [1]}, {"h": [1]}):
        answer = predict(fit, x, missing)
        expected = dense_covariance(fit, x, np.zeros((1, 6)), np.eye(4)[[1]])[0, 0] + fit.group_sd["g"] ** 2
        assert answer.se[0] == pytest.approx(np.sqrt(expected), rel=1e-9)
        assert answer.mean[0] == pytest.approx(float(x[0] @ fit.coef.to_numpy()) + fit.effects["h"][1], rel=1e-12)
        assert answer.known.iloc[0].to_dict() == {"g": False, "h": True}


def test_known_levels_are_narrower_than_unknown(fit: MixedFit) -> None:
    """A known level is predicted more closely than an unknown one, and a wider level of probability is wider."""
    x = np.tile([1.0, 10.0], (6, 1))
    known = predict(fit, x, {"g": np.arange(6), "h": np.arange(6) % 4})
    unknown = predict(fit, x, {})
    assert (known.se < unknown.se).all()
    assert (known.new_se < unknown.new_se).all()
    assert (known.new_se > known.se).all()
    wide = predict(fit, x, {"g": np.arange(6), "h": np.arange(6) % 4}, level=0.99)
    assert (wide.high - wide.low > known.high - known.low).all()


def test_rows_of_one_unknown_level_share_its_draw(fit: MixedFit) -> None:
    """Two rows of one new level share its variance; rows of two new levels, or of missing labels, do not."""
    x = np.tile([1.0, 10.0], (2, 1))
    fixed = dense_covariance(fit, x, np.zeros((2, 6)), np.eye(4)[[0, 0]])[0, 1]
    shared = joint_covariance(fit, x, {"g": ["new", "new"], "h": [0, 0]})[0, 1]
    apart = joint_covariance(fit, x, {"g": ["new", "newer"], "h": [0, 0]})[0, 1]
    blank = joint_covariance(fit, x, {"g": [None, None], "h": [0, 0]})[0, 1]
    assert shared == pytest.approx(fixed + fit.group_sd["g"] ** 2, rel=1e-9)
    assert apart == pytest.approx(fixed, rel=1e-9)
    assert blank == pytest.approx(fixed, rel=1e-9)


def test_new_observations_carry_their_weight(fit: MixedFit) -> None:
    """A new observation of weight 4 has a quarter of the residual variance."""
    x = [[1.0, 10.0]]
    plain, heavy = predict(fit, x, {}), predict(fit, x, {}, weights=[4.0])
    assert plain.new_se[0] ** 2 - plain.se[0] ** 2 == pytest.approx(fit.sigma**2, rel=1e-10)
    assert heavy.new_se[0] ** 2 - heavy.se[0] ** 2 == pytest.approx(fit.sigma**2 / 4, rel=1e-10)
    joint = joint_covariance(fit, x, {}, new=True, weights=[4.0])
    assert joint[0, 0] == pytest.approx(heavy.new_se[0] ** 2, rel=1e-10)


def test_columns_by_name_or_by_position(fit: MixedFit) -> None:
    """A frame is read by the names of the fit, whatever its order; an array by position."""
    frame = pd.DataFrame({"note": ["?", "?"], "x": [8.0, 12.0], "one": 1.0})
    by_name = predict(fit, frame, {"g": [0, 1], "h": [0, 1]})
    by_place = predict(fit, [[1.0, 8.0], [1.0, 12.0]], {"g": [0, 1], "h": [0, 1]})
    np.testing.assert_array_equal(by_name.mean, by_place.mean)


def test_dropped_columns_are_passed_over() -> None:
    """New rows bring the columns that were given; those the fit dropped are not used."""
    double = np.column_stack([np.ones(N), X["x"], 2 * X["x"]])
    full = fit_mixed(Y, double, {"g": G})
    bare = fit_mixed(Y, double[:, :2], {"g": G})
    assert full.dropped == ("x2",)
    one = predict(full, [[1.0, 9.0, 18.0]], {"g": [2]})
    other = predict(bare, [[1.0, 9.0]], {"g": [2]})
    assert one.mean[0] == pytest.approx(other.mean[0], rel=1e-12)
    assert one.se[0] == pytest.approx(other.se[0], rel=1e-6)


def test_zero_spread_predicts_like_least_squares() -> None:
    """With a spread on the boundary, known and unknown levels are predicted alike."""
    y = 3.0 + np.tile([-1.0, 1.0], 12) + np.repeat([0.01, -0.01], 12)
    flat = fit_mixed(y, np.ones((24, 1)), {"g": np.repeat(np.arange(6), 4)})
    assert flat.group_sd["g"] == 0.0
    answer = predict(flat, [[1.0], [1.0]], {"g": [2, 77]})
    assert answer.se[0] == pytest.approx(answer.se[1], rel=1e-12)
    assert answer.se[0] == pytest.approx(flat.sigma / np.sqrt(24), rel=1e-12)


def test_calls_that_do_not_fit(fit: MixedFit) -> None:
    """Missing columns, unknown groupings, wrong lengths and missing values are refused with a sentence."""
    with pytest.raises(FrameError, match="lacks the columns x of the fit"):
        predict(fit, pd.DataFrame({"one": [1.0]}), {})
    with pytest.raises(FrameError, match="has 3 columns; the fit had 2"):
        predict(fit, np.ones((1, 3)), {})
    with pytest.raises(FrameError, match="no grouping named 'k'"):
        predict(fit, np.ones((1, 2)), {"k": [1]})
    with pytest.raises(FrameError, match="'g' has 2 labels for 1 rows"):
        predict(fit, np.ones((1, 2)), {"g": [1, 2]})
    with pytest.raises(FitError, match="X is missing or not finite in row 1"):
        predict(fit, [[1.0, 1.0], [1.0, np.nan]], {})
    with pytest.raises(FitError, match="above 0"):
        predict(fit, [[1.0, 1.0]], {}, weights=[0.0])
    with pytest.raises(ValueError, match="between 0 and 1"):
        predict(fit, [[1.0, 1.0]], {}, level=90)
