"""The review model: jobs, crews and divers at once, integrated over their spreads.

What is reported for a group is its own effect with that of whoever came with it, against the mean of the other
groups it can be compared with, shrunken as the data allow; two counts on one line are not two looks at whoever cut
it. Beside it stands observed over expected, fitted without the group: a description whose own interval would be too
short.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from burnlog.analyses.line_luck import Turned, line_ratio, turn
from burnlog.analyses.rate_design import Design
from burnlog.errors import FitError
from burnlog.stats.posterior import Effect, Posterior, Tables, integrate, integrate_tables
from burnlog.stats.posterior import tables as tables_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["GroupFit", "Standing", "fit_groups", "luck_band", "observed_over_expected", "plain_tables", "standing"]

GROUPS = ("crew", "diver", "rod_type", "rig")
CREW_SCALE, ROD_TYPE_SCALE = 0.5, 1.0
GROUP_GRID = (0.06, 1.5, 5)
UNNAMED = "(not recorded)"


@dataclass(frozen=True, eq=False)
class GroupFit:
    """The integrated fit and draws of each group's standing on the log scale.

    Attributes
    ----------
    totals : mapping of code to (draws,) array
        Effect of the group and of whoever came with it.
    sigma : float
        Spread of one usual tally; `m` its growth in variance for shorter ones, one value a row.
    turned : Turned or None
        How rows on one line lean on each other; None where none do.
    """

    by: str
    design: Design
    posterior: Posterior
    totals: Mapping[str, NDArray[np.float64]]
    sigma: float
    m: NDArray[np.float64]
    turned: Turned | None = None

    @property
    def tally_sd(self) -> float:
        """Spread of the mean of many tallies, times the root of their number: what one of them is worth."""
        one = float(np.mean(self.m)) if self.turned is None else self.turned.mean_variance(self.m)
        return self.sigma * float(np.sqrt(one))

    @cached_property
    def plain(self) -> Tables:
        """Cross products for `observed_over_expected`."""
        return plain_tables(self.design, self.posterior.tag_means["psi_m"])


@dataclass(frozen=True)
class Standing:
    """A group against the mean of the others, as ratios of rods on equal steel.

    `prob_more` is the probability that it needs more rods than they do.
    """

    effect: float
    low: float
    high: float
    low90: float
    high90: float
    prob_more: float

    @property
    def different(self) -> bool:
        """Whether the 90 % interval leaves out 1."""
        return self.low90 > 1.0 or self.high90 < 1.0

    @property
    def would_not_show_percent(self) -> float:
        """A difference under this many percent would not show in this record."""
        return 100.0 * (float(np.sqrt(self.high90 / self.low90)) - 1.0)


def fit_groups(
    design: Design, by: str, *, rng: np.random.Generator, draws: int = 4000, lines: Any = None
) -> GroupFit:
    """Fit jobs, crews and divers, with the group asked for among them.

    Parameters
    ----------
    design : Design
        Rows of the rods fit.
    by : str
        ``crew``, ``diver``, ``rod_type`` or ``rig``. For a rod type the terms of its family are taken out of the
        fixed part, so that all of the difference lies in the type.
    lines : (n, lines) sparse, optional
        Share of each row on each line, from `burnlog.analyses.line_luck`: rows on one line are then no longer
        taken as so many looks at whoever cut it. Without it every row stands for itself.
    """
    s = design.settings
    rows = _without_family(design) if by == "rod_type" else design
    effects = [*rows.effects]
    if by in ("crew", "diver"):
        effects.append(rows.effect("crew", CREW_SCALE, GROUP_GRID))
    else:
        scale = ROD_TYPE_SCALE if by == "rod_type" else CREW_SCALE
        effects.append(rows.effect(by, scale, GROUP_GRID))
    turned = None if lines is None else _turned(rows, effects, lines)
    cases = rows.cases if turned is None else [turned.case(case) for case in rows.cases]
    seen = effects if turned is None else [turned.effect(effect) for effect in effects]
    posterior = integrate(cases, seen, prior_precision=rows.prior_precision, names=rows.names)
    drawn = posterior.draws(draws, rng)
    by_name = {effect.name: effect for effect in effects}
    psi = posterior.tag_means.get("psi_m", 0.0)
    m = rows.noise(psi, rows.exposure(posterior.tag_means.get("start_m", s.start_m[0])))
    return GroupFit(
        by, rows, posterior, _totals(by, by_name, drawn.effects, rows.exposure(0.0)), posterior.sigma, m, turned
    )


def _turned(rows: Design, effects: Sequence[Effect], lines: Any) -> Turned | None:
    """How alike rows on one line go, from a first fit in which every row stands for itself."""
    s = rows.settings
    case = rows.case(s.start_m[len(s.start_m) // 2 - 1], s.psi_m[len(s.psi_m) // 2])
    first = integrate([case], effects, prior_precision=rows.prior_precision, names=rows.names)
    line = case.X @ first.coef + sum(effect.loadings @ first.effects[effect.name].mean for effect in effects)
    ratio = line_ratio((case.y - line) / (first.sigma * np.sqrt(case.m)), lines)
    return turn(lines, ratio) if ratio > 0 else None


def standing(fit: GroupFit, code: str, others: Sequence[str]) -> Standing:
    """A group against the mean of the others it can be compared with."""
    drawn = fit.totals[code] - np.mean([fit.totals[other] for other in others], axis=0)
    q = np.exp(np.quantile(drawn, [0.05, 0.10, 0.50, 0.90, 0.95]))
    return Standing(float(q[2]), float(q[1]), float(q[3]), float(q[0]), float(q[4]), float((drawn > 0).mean()))


def observed_over_expected(tables: Tables, design: Design, rows: NDArray[np.bool_]) -> float | None:
    """Rods used over rods expected from the others' rods per metre on the same steel, not shrunken.

    Conditions and the jobs' own levels come from the fit without these rows. Level and thickness slope are then
    set so that the others' rods come out in sum, and in sum weighted by log thickness (a Poisson regression's
    equations): on two plates the others' rates on each are met exactly, and the figure can be checked by hand.

    Parameters
    ----------
    tables : Tables
        Cross products of `design` over plain length; see `plain_tables`.
    rows : (n,) bool
        Rows of the group.

    Returns
    -------
    float or None
        None where too few rows remain to fit.
    """
    import statsmodels.api as sm

    try:
        fit = integrate_tables(tables.without(rows))
    except FitError:
        return None
    case = tables.cases[0]
    job = design.effects[0]
    line = case.X[:, 2:] @ fit.coef[2:] + job.loadings @ fit.effects["job"].mean
    offset = np.log(design.amounts(case)) + line
    log_t = case.X[:, 1]
    terms = [np.ones(design.n)] if np.ptp(log_t[~rows]) < 1e-9 else [np.ones(design.n), log_t]
    X = np.column_stack(terms)
    others = sm.GLM(design.recorded[~rows], X[~rows], family=sm.families.Poisson(), offset=offset[~rows]).fit()
    expected = np.exp(offset[rows] + X[rows] @ others.params)
    return float(design.recorded[rows].sum() / expected.sum())


def plain_tables(design: Design, psi_m: float) -> Tables:
    """Cross products of jobs and divers over plain length, from which a group's rows can be taken out."""
    case = design.case(0.0, psi_m)
    return tables_of((case,), design.effects, prior_precision=design.prior_precision, names=design.names)


def luck_band(
    fit: GroupFit, rows: NDArray[np.bool_], *, rng: np.random.Generator, draws: int = 4000
) -> tuple[float, float]:
    """Where observed over expected would lie for a group with these rows and no effect at all, 80 % of the time."""
    rods = fit.design.recorded[rows]
    if fit.turned is None:
        variance = fit.m[rows]
        drawn = np.sqrt(variance) * rng.standard_normal((draws, len(rods)))
    else:
        drawn, variance = fit.turned.noise(fit.m, rows, draws, rng)
    luck = np.exp(fit.sigma * drawn - fit.sigma**2 * variance / 2)
    ratio = luck @ rods / rods.sum()
    low, high = np.quantile(ratio, [0.1, 0.9])
    return float(low), float(high)


def _totals(
    by: str,
    effects: Mapping[str, Effect],
    drawn: Mapping[str, NDArray[np.float64]],
    length: NDArray[np.float64],
) -> dict[str, NDArray[np.float64]]:
    """Each group's own effect, with its divers' by their share of its length, or a diver's with his crew's."""
    own = effects[by]
    with_them = {"crew": "diver", "diver": "crew"}.get(by)
    totals = drawn[by].copy()
    if with_them is not None:
        other = effects[with_them]
        shared = own.loadings.T @ (length[:, None] * other.loadings)
        weight = shared.sum(axis=1, keepdims=True)
        totals = totals + drawn[with_them] @ (shared / np.where(weight > 0, weight, 1.0)).T
    return {level: totals[:, place] for place, level in enumerate(own.levels) if not level.startswith(UNNAMED)}


def _without_family(design: Design) -> Design:
    keep = [place for place, name in enumerate(design.names) if not name.startswith("family: ")]
    gone = len(design.names) - len(keep)
    if gone == 0:
        return design
    fixed = len(design.names) - design.columns.shape[1]
    return replace(
        design,
        conditions=tuple(c for c in design.conditions if c.name != "family"),
        names=tuple(design.names[place] for place in keep),
        prior_precision=design.prior_precision[keep],
        columns=design.columns[:, [place - fixed for place in keep if place >= fixed]],
    )
