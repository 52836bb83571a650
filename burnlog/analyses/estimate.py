"""The bid: rods, cut time, dives, oxygen and cost of a take-off, as one simulated job after another.

Every simulated job has one job effect, its own divers, a residual for each piece of work, and parameters drawn from
what the history leaves open; rods and time are drawn together. Everything is counted inside the simulation, so that
a P80 of the total is not a sum of P80s. Quantiles are read from the sorted draws.
"""

from __future__ import annotations

import copy
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from burnlog.analyses import order as orders
from burnlog.analyses.basis import Basis
from burnlog.analyses.bid_notes import in_and_out, warnings_of
from burnlog.analyses.cost import cost
from burnlog.analyses.kept_fit import fitted
from burnlog.analyses.plan import Adjustment, Plan
from burnlog.analyses.rate_fit import RateFit, Settings
from burnlog.analyses.support import Support, support
from burnlog.analyses.takeoff import TakeOff
from burnlog.analyses.tallies import Ratio, TallySet, ratio
from burnlog.analyses.thumb import compare_rules
from burnlog.errors import InputError, RefusedError
from burnlog.physics.oxygen import from_kg

__all__ = [
    "QUANTILES",
    "Adjustment",
    "Estimate",
    "Plan",
    "Spread",
    "draft",
    "draw",
    "in_and_out",
    "quantile",
    "spread",
    "spread_of",
]

QUANTILES = {"p2_5": 0.025, "p10": 0.1, "p25": 0.25, "p50": 0.5, "p75": 0.75, "p80": 0.8, "p90": 0.9, "p97_5": 0.975}
CELLS = 4_000_000
"""Draws times pieces held at once: a large take-off is drawn in parts."""

Array = NDArray[np.float64]
Spread = dict[str, float]


@dataclass(frozen=True)
class WithDecided:
    """The same bid with the tallies in that a decision leaves out: their number, and the rods then."""

    tallies: int
    rods: Mapping[str, float]

    def sentence(self, without: Mapping[str, float]) -> str:
        """Both figures, side by side."""
        burns = "1 count is" if self.tallies == 1 else f"{self.tallies} counts are"
        return (
            f"{burns} left out by decision: without, rods P50 {without['p50']:.0f} and P80 {without['p80']:.0f}, as "
            f"above; with, P50 {self.rods['p50']:.0f} and P80 {self.rods['p80']:.0f}"
        )


@dataclass(frozen=True, eq=False)
class Estimate:
    """One bid, drawn.

    Attributes
    ----------
    takeoff, plan, basis, fit
        What it was made from.
    equivalents, rods, cut_time_s, dives, days, oxygen_kg, cost : array (draws,) or None
        Totals of each simulated job. `rods` are rods drawn from the box where `rods_unit` says so.
    item_rods, item_time_s : array (draws, items) or None
    drivers : mapping
        Shares of the variance of log total rods.
    supports : tuple of Support
    ratio : Ratio
        The history's own rods over length.
    unfinished_share : float
        Share of the tallies used that hold an unfinished line.
    order : orders.Order
    with_decided : WithDecided or None
        The rods with the burns in that somebody decided to leave out; None where nobody did.
    """

    takeoff: TakeOff
    plan: Plan
    basis: Basis
    fit: RateFit
    equivalents: Array
    rods: Array
    rods_unit: str
    cut_time_s: Array | None
    share: Array | None
    dives: Array | None
    days: Array | None
    oxygen_kg: Array | None
    cost: Array | None
    item_rods: Array
    item_time_s: Array | None
    drivers: Mapping[str, float]
    supports: tuple[Support, ...]
    ratio: Ratio
    unfinished_share: float
    order: orders.Order
    warnings: tuple[str, ...] = field(default=())
    with_decided: WithDecided | None = None

    @property
    def outside_history(self) -> bool:
        """Some item lies outside what was logged."""
        return any(found.problems for found in self.supports)

    @property
    def jobs(self) -> int:
        """Jobs behind the estimate."""
        return self.ratio.jobs

    def as_json(self) -> dict[str, Any]:
        """Keys as documented; SI; n beside each figure; NaN never."""
        return copy.deepcopy(self._result)

    @cached_property
    def _result(self) -> dict[str, Any]:
        plan, fit = self.plan, self.fit
        tallies = self.basis.tallyset.tallies
        days = pd.to_datetime(tallies["day"]).dropna()
        inside, outside = in_and_out(self)
        return {
            "made_up": self.basis.made_up,
            "db_id": self.basis.db_id,
            "seed": plan.seed,
            "draws": plan.draws,
            "length_m": self.takeoff.length_m,
            "rods": spread(self.rods),
            "rods_unit": self.rods_unit,
            "rod_equivalents": spread(self.equivalents),
            "cut_time_s": spread(self.cut_time_s),
            "dives": spread(self.dives),
            "days": spread(self.days),
            "oxygen_kg": spread(self.oxygen_kg),
            "packs": spread(self.order.packs_drawn),
            "cost": None if self.cost is None else {**spread_of(self.cost), "currency": self.order.currency},
            "items": [self._item(place) for place in range(len(self.takeoff.items))],
            "order": self.order.as_json(),
            "basis": {
                "tallies": self.ratio.tallies,
                "cuts": self.ratio.cuts,
                "lines": self.ratio.lines,
                "jobs": self.ratio.jobs,
                "crews": int(self.basis.tallyset.pieces["crew"].nunique()),
                "divers": self.ratio.divers,
                "from": days.min().date().isoformat() if len(days) else None,
                "to": days.max().date().isoformat() if len(days) else None,
                "left_out": self.basis.tallyset.left_out_counts(),
                "rods_per_m": self.ratio.rods_per_m,
                "time_tallies": self.ratio.time_tallies,
            },
            "drivers": dict(self.drivers),
            "fit": {
                "thickness_exponent": float(1 + fit.rods.posterior.coef[1]),
                "start_m": fit.rods.posterior.tag_means["start_m"],
                "group_sd": {name: float(value) for name, value in fit.rods.posterior.group_sd.items()},
                "sigma": float(fit.rods.posterior.sigma),
                "khat": None,
            },
            "rules": [rule.as_json() for rule in compare_rules(self.basis, self.takeoff)],
            "adjustments": [self._adjusted(adjustment) for adjustment in plan.adjustments],
            "outside_history": self.outside_history,
            "allow_outside": plan.allow_outside,
            "bottom_time_s": plan.bottom_time_s,
            "start_up_s": plan.start_up_s,
            "cutting_share": None if self.share is None else spread(self.share),
            "cutting_share_from": orders.share_from(self.plan.cutting_share, self.basis),
            "with_decided": None if self.with_decided is None else asdict(self.with_decided),
            "warnings": list(self.warnings),
            "in": list(inside),
            "not_in": list(outside),
        }

    def _item(self, place: int) -> dict[str, Any]:
        item, found = self.takeoff.items[place], self.supports[place]
        out: dict[str, Any] = {
            "item": item.item,
            "quantity": item.quantity,
            "section": item.section,
            "length_m": item.total_m,
            "thickness_mm": item.thickness_mm,
            "rods": spread(self.item_rods[:, place]),
            "cut_time_s": None if self.item_time_s is None else spread(self.item_time_s[:, place]),
            "support": found.alike,
            "support_jobs": found.jobs,
            "conditions": dict(item.conditions),
            "warnings": list(found.problems),
        }
        if len({round(thick, 6) for _, thick in item.segments}) > 1:
            out["segments"] = [{"length_m": length, "thickness_mm": thick} for length, thick in item.segments]
        if item.interlocks:
            out["interlocks"] = item.interlocks
        return out

    def _adjusted(self, adjustment: Adjustment) -> dict[str, Any]:
        drawn = {"rods": self.rods, "time": self.cut_time_s, "dives": self.dives, "oxygen": self.oxygen_kg}
        values = drawn.get(adjustment.what)
        if adjustment.what not in drawn:
            raise InputError(f"--adjust {adjustment.what}: expected one of {', '.join(drawn)}.")
        base = None if values is None else quantile(values, 0.8)
        return {
            "what": adjustment.what,
            "share": adjustment.share,
            "why": adjustment.why,
            "p80": base,
            "adds": None if base is None else base * adjustment.share,
        }


def quantile(values: Array, level: float) -> float:
    """The smallest draw that at least `level` of the draws do not exceed: no interpolation."""
    return float(np.sort(values)[max(0, math.ceil(level * len(values)) - 1)])


def spread_of(values: Array) -> Spread:
    """Mean and quantiles of draws, under the documented keys."""
    ordered = np.sort(values)
    last = len(ordered)
    return {
        "mean": float(ordered.mean()),
        **{name: float(ordered[max(0, math.ceil(level * last) - 1)]) for name, level in QUANTILES.items()},
    }


def spread(values: Array | None) -> Spread | None:
    """`spread_of`, or None where nothing was estimated."""
    return None if values is None else spread_of(values)


def draft(
    basis: Basis,
    takeoff: TakeOff,
    plan: Plan = Plan(),  # noqa: B008
    *,
    settings: Settings = Settings(),  # noqa: B008
    fit_by: Callable[[TallySet, Settings], RateFit] = fitted,
) -> Estimate:
    """Estimate a take-off from a history.

    Parameters
    ----------
    basis : Basis
    takeoff : TakeOff
    plan : Plan
    settings : Settings
        Of the rate fit.
    fit_by : callable
        What fits the tallies, such as one that reads back the fits it made before.

    Returns
    -------
    Estimate

    Raises
    ------
    InputError
        The plan holds what cannot be.
    RefusedError
        The history does not know this work, and no reason was given for going outside it; or it is too small.
    """
    plan = plan.checked()
    for item in takeoff.items:
        if item.setting != basis.tallyset.scope.setting:
            blank = "" if item.typed.get("setting") else " (as a blank setting means)"
            raise RefusedError(
                f"item {item.item} is for {item.setting}{blank}, the history in use is "
                f"{basis.tallyset.scope.setting}; they are never pooled. Type the setting in the take-off, and bid "
                "it on a history of that setting."
            )
    made = draw(basis, takeoff, plan, fit_by(basis.tallyset, settings))
    kept = basis.with_decided
    if kept is None:
        return made
    other = draw(replace(basis, tallyset=kept, with_decided=None), takeoff, plan, fit_by(kept, settings))
    both = WithDecided(len(kept.tallies) - len(basis.tallyset.tallies), spread_of(other.rods))
    return replace(made, with_decided=both, warnings=(both.sentence(spread_of(made.rods)), *made.warnings))


def draw(basis: Basis, takeoff: TakeOff, plan: Plan, fit: RateFit) -> Estimate:
    """Estimate a take-off on a fit that is at hand; as `draft` otherwise."""
    supports = support(basis.tallyset, takeoff.items)
    _refuse_outside(supports, plan)
    rng = np.random.default_rng(plan.seed)
    lines = _lines(takeoff, basis)
    place = lines["place"].to_numpy()
    item_rods, item_time, parts, blanks, unseen, unknown = _simulated(
        fit, lines, place, len(takeoff.items), plan, rng
    )
    variances = {name: float(np.var(values)) for name, values in parts.items()}
    whole = sum(variances.values())
    equivalents = item_rods.sum(axis=1)
    drawn = None if basis.drawn is None else basis.drawn.draw(plan.draws, rng)
    scale = np.ones(plan.draws) if drawn is None else drawn
    rods = equivalents * scale
    cut_time = None if item_time is None else item_time.sum(axis=1)
    share = orders.share_draws(plan.cutting_share, basis, plan.draws, rng)
    dives = orders.dives(cut_time, share, plan.bottom_time_s, plan.start_up_s)
    days = None if dives is None or plan.dives_per_day is None else np.ceil(dives / plan.dives_per_day)
    oxygen = None if basis.oxygen is None else equivalents * basis.oxygen.draw(plan.draws, rng)
    by_type = orders.by_type(takeoff, item_rods * scale[:, None])
    order = orders.order(by_type, oxygen, basis, plan.bank, plan.needed_kpa, plan.margin_kpa)
    priced = cost(
        basis.prices,
        {
            "rods": {"rod": rods, "pack": order.packs_drawn},
            "oxygen": {"kg": oxygen, "scf": None if oxygen is None else from_kg(oxygen, "scf")},
            "dive": {"dive": dives},
            "dive day": {"day": days},
            "standby": {"day": None if plan.standby_days is None else np.full(plan.draws, plan.standby_days)},
        },
    )
    tallies = basis.tallyset.tallies
    made = Estimate(
        takeoff=takeoff,
        plan=plan,
        basis=basis,
        fit=fit,
        equivalents=equivalents,
        rods=rods,
        rods_unit="equivalents" if drawn is None else "drawn",
        cut_time_s=cut_time,
        share=share,
        dives=dives,
        days=days,
        oxygen_kg=oxygen,
        cost=priced.total,
        item_rods=item_rods * scale[:, None],
        item_time_s=item_time,
        drivers={name: value / whole if whole > 0 else 0.0 for name, value in variances.items()},
        supports=supports,
        ratio=ratio(basis.tallyset),
        unfinished_share=float((~tallies["finished"].astype(bool)).mean()),
        order=replace(order, currency=priced.currency, cost_parts=priced.parts, cost_missing=priced.missing),
    )
    return replace(made, warnings=warnings_of(made, blanks, unseen, unknown))


def _refuse_outside(supports: Sequence[Support], plan: Plan) -> None:
    bad = [f"{found.item}: {problem}" for found in supports for problem in found.problems]
    if bad and plan.allow_outside is None:
        raise RefusedError(
            "the history does not hold this work:\n  "
            + "\n  ".join(bad)
            + "\nLeave these items out, or give a reason with --allow-outside; every page is then marked."
        )


def _lines(takeoff: TakeOff, basis: Basis) -> pd.DataFrame:
    lines = takeoff.lines()
    diameter = {code: row.get("diameter_mm") for code, row in basis.rod_types.items()}
    lines["diameter_mm"] = lines["rod_type"].map(diameter).astype(float)
    order = {item.item: place for place, item in enumerate(takeoff.items)}
    lines["place"] = lines["item"].map(order).astype(int)
    divers = [item.divers for item in takeoff.items for _ in range(item.quantity)]
    if any(divers):
        lines["diver"] = pd.Series(
            [names[k % len(names)] if names else None for k, names in enumerate(divers)],
            index=lines.index,
            dtype="str",
        )
    return lines


def _simulated(
    fit: RateFit, lines: pd.DataFrame, place: NDArray[np.int64], items: int, plan: Plan, rng: np.random.Generator
) -> tuple[Array, Array | None, dict[str, Array], dict[str, int], dict[str, tuple[str, ...]], tuple[str, ...]]:
    """Rods and time by item, drawn in parts that fit in memory."""
    step = max(500, CELLS // max(1, len(lines)))
    to_item = (place[:, None] == np.arange(items)[None, :]).astype(float)
    rods, times, parts = [], [], []
    simulation = None
    for start in range(0, plan.draws, step):
        simulation = fit.simulate(
            lines,
            rng=rng,
            draws=min(step, plan.draws - start),
            divers=plan.divers or None,
            job=plan.job,
        )
        rods.append(simulation.rods @ to_item)
        if simulation.seconds is not None:
            times.append(simulation.seconds @ to_item)
        parts.append(simulation.parts)
    assert simulation is not None
    return (
        np.concatenate(rods),
        np.concatenate(times) if times else None,
        {name: np.concatenate([part[name] for part in parts]) for name in parts[0]},
        dict(simulation.blanks),
        dict(simulation.unseen),
        simulation.unknown_divers,
    )
