"""Smallest criterion over the variance ratios: active-set Newton with average information.

Why in the ratio itself: in its square root the slope at zero is zero, and a climber started there calls a false
boundary an optimum; in its logarithm zero is infinitely far. In the ratio the slope at zero is finite and says
whether the variance belongs there.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.linalg import lapack
from scipy.optimize import nnls

from burnlog.stats.criterion import Point

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from burnlog.stats.suffstats import SufficientTables

    Vector = NDArray[np.float64]

__all__ = ["Optimum", "floor_ratios", "minimise", "moment_start"]

MOST_EVALUATIONS = 100
ENOUGH = 1e-11  # predicted decrease at which the last step has been taken
NEAR = 0.2  # relative length of a step up to which the slope's change over it says something about the end
WEAK = 1.0  # rise of the criterion from a ratio to zero, by its curvature, below which zero is tried as well
GROWTH = 20.0  # the largest factor a ratio may grow by in one step


@dataclass(frozen=True)
class Optimum:
    """Where the search ended: the point, how many evaluations, and whether it converged.

    `ratios` hold exact zeros where a variance is on the boundary; `inside` says which are not.
    """

    point: Point
    ratios: Vector
    inside: NDArray[np.bool_]
    evaluations: int
    converged: bool


def floor_ratios(tables: SufficientTables) -> Vector:
    """Ratios that stand for zero during the search (K,): a billionth of one over the largest level."""
    return 1e-9 / np.maximum.reduceat(tables.counts, tables.starts)


def moment_start(tables: SufficientTables) -> Vector:
    """Variance ratios from the sums of squares between levels (analysis of variance), clipped (K,).

    Each grouping's sum of squares of least-squares residuals, and the residual sum of squares, are set equal to their
    expectations, which are linear in the variances. In balanced designs this is the restricted optimum itself.
    """
    K, p, q = len(tables.sizes), tables.p, len(tables.counts)
    inverse = np.divide(1.0, tables.counts, out=np.zeros(q), where=tables.counts > 0.0)
    fixed = tables.sums[:, :p]
    # with M the residual maker of X, the cells of Z_k'MZ_l are C_kl - R_k R_l'; their squares are summed by expanding
    by_factor = np.zeros((q, K, p))
    for k in range(K):
        by_factor[tables.block(k), k] = fixed[tables.block(k)]
    across = tables.spread(by_factor.reshape(q, K * p)).reshape(q, K, p)
    left = tables.counts - (fixed**2).sum(axis=1)
    system = np.empty((K + 1, K + 1))
    for k in range(K):
        own = fixed[tables.block(k)]
        both = ((fixed @ (own.T @ own) - 2.0 * across[:, k]) * fixed).sum(axis=1)
        system[:K, k] = tables.squares[:, k] + np.add.reduceat(both * inverse, tables.starts)
    system[:K, K] = np.add.reduceat(left * inverse, tables.starts)
    system[K, :K] = np.add.reduceat(left, tables.starts)
    system[K, K] = tables.n - p
    seen = np.add.reduceat(tables.sums[:, p] ** 2 * inverse, tables.starts)
    total = float(tables.gram[p, p])
    variances = np.linalg.lstsq(system, np.append(seen, total), rcond=None)[0]
    residual = max(float(variances[K]), 1e-3 * total / tables.n)
    return np.asarray(np.clip(variances[:K] / residual, 4e-4, 100.0))


def minimise(tables: SufficientTables, start: Vector, *, restricted: bool, enough: float = ENOUGH) -> Optimum:
    """Search from `start` (K,) for the smallest criterion over ratios of 0 or more.

    Stops when the step to come would win less than `enough`. Where a ratio ends so near to zero that the criterion
    hardly rises towards it, zero is tried too, since with few unequal levels there can be a second optimum there.
    At the end components at the floor become exact zeros and the criterion is evaluated there.
    """
    floor = floor_ratios(tables)
    point = Point(tables, np.maximum(start, floor), restricted=restricted)
    point, evaluations, converged = _descend(point, floor, enough)
    evaluations += 1
    rise = 0.5 * point.ratios**2 * np.diag(point.curvature)
    for k in np.flatnonzero((point.ratios > floor) & (rise < WEAK)):
        ratios = point.ratios.copy()
        ratios[k] = floor[k]
        trial = Point(tables, ratios, restricted=restricted)
        evaluations += 1
        if trial.value < point.value:
            point, more, converged = _descend(trial, floor, enough)
            evaluations += more
    inside = point.ratios > floor
    if not inside.all():
        point = Point(tables, np.where(inside, point.ratios, 0.0), restricted=restricted)
        evaluations += 1
    return Optimum(point, point.ratios, inside, evaluations, converged)


def _descend(point: Point, floor: Vector, enough: float) -> tuple[Point, int, bool]:
    """Newton steps downhill from a point: where they end, evaluations, whether they converged."""
    tables = point.tables
    reach = 1.0 / np.maximum(np.add.reduceat(tables.counts, tables.starts) / tables.sizes, 1.0)
    before: Point | None = None
    damping = 0.0
    for evaluations in range(MOST_EVALUATIONS):
        curvature = _safe_curvature(point)
        if before is not None and (np.abs(point.ratios - before.ratios) <= NEAR * before.ratios).all():
            curvature = _learn(curvature, point.ratios - before.ratios, point.slope - before.slope)
        goal, gain = _step(point.ratios, point.slope, curvature, floor, reach, damping)
        if gain < enough:
            return point, evaluations, True
        trial = Point(tables, goal, restricted=point.restricted)
        if trial.value > point.value + 1e-13 * abs(point.value):
            damping = 0.5 if damping == 0.0 else 8.0 * damping
            continue
        damping = 0.0 if damping <= 0.5 else damping / 8.0
        before, point = point, trial
    return point, MOST_EVALUATIONS, False


def _safe_curvature(point: Point) -> NDArray[np.float64]:
    """Average information, raised to the smallest the expected information can be.

    Far above the optimum the average is too flat and the step overshoots; trace^2 / levels bounds the expected
    second derivative from below and costs nothing. Near the optimum the average is the better of the two.
    """
    curvature = point.curvature
    diagonal = np.diag(curvature)
    bound = point.traces**2 / point.tables.sizes
    flat = diagonal <= 0.0
    far = np.abs(point.slope) > 0.1 * point.traces
    raised = np.sqrt(np.where(far & ~flat, np.maximum(1.0, bound / np.where(flat, 1.0, diagonal)), 1.0))
    curvature = curvature * raised * raised[:, None]
    curvature[flat, flat] = bound[flat]
    return curvature


def _learn(curvature: NDArray[np.float64], moved: Vector, change: Vector) -> NDArray[np.float64]:
    """Correct the curvature so that it explains the change of slope over the last step (one BFGS update).

    With few levels average information is off by the luck of the sample, and Newton with it converges only
    linearly; the correction makes the end superlinear and stays positive.
    """
    pushed = curvature @ moved
    seen, expected = float(change @ moved), float(pushed @ moved)
    if seen <= 1e-3 * expected:
        return curvature
    learnt = curvature - np.outer(pushed, pushed) / expected + np.outer(change, change) / seen
    # nearly equal terms cancel where ratios of very different size move together; what is left is then rounding
    return learnt if (np.diag(learnt) > 0.0).all() else curvature


def _step(
    ratios: Vector, slope: Vector, curvature: NDArray[np.float64], floor: Vector, reach: Vector, damping: float
) -> tuple[Vector, float]:
    """Next ratios and the decrease the quadratic model promises there.

    The model's smallest value over ratios at or above the floor is a non-negative least-squares problem, which finds
    exactly the components that belong on the floor.
    """
    scale = np.sqrt(np.diag(curvature))
    # LAPACK directly: numpy's wrapper costs more than a matrix of three or four rows does
    values, vectors, _ = lapack.dsyevd(curvature / scale / scale[:, None])
    half = np.sqrt(np.maximum(values, 1e-6) + damping)
    root = half[:, None] * vectors.T * scale
    lowest = floor - ratios
    wanted = -(vectors.T @ (slope / scale)) / half - root @ lowest
    above, _ = nnls(root, wanted)
    move = lowest + above
    # the whole step is shortened, not one component of it: so it still goes down
    with np.errstate(divide="ignore"):
        share = min(1.0, float(np.min(((GROWTH - 1.0) * ratios + GROWTH * reach) / np.maximum(move, 0.0))))
    goal = np.where(above == 0.0, floor, ratios + move) if share == 1.0 else ratios + share * move
    along = root @ (share * move)
    return goal, -float(slope @ (share * move) + 0.5 * along @ along)
