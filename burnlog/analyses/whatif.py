"""What if: the same bid with one thing changed, on the same fit and seed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from burnlog.analyses.estimate import Estimate, Plan, draw
from burnlog.analyses.rate_fit import RateFit
from burnlog.analyses.takeoff import CONDITIONS
from burnlog.errors import InputError, RefusedError

__all__ = ["vary"]


def vary(made: Estimate, what: str, levels: Sequence[Any]) -> list[tuple[str, Estimate | None]]:
    """The same bid with one thing changed, level by level, on the same fit and seed.

    Parameters
    ----------
    made : Estimate
    what : str
        ``bottom_time_s``, ``start_up_s``, or a condition of the take-off.
    levels : sequence
        Values, or words of the condition.

    Returns
    -------
    list of (level as text, Estimate or None)
        None where the history holds nothing at that level.
    """
    out: list[tuple[str, Estimate | None]] = []
    for level in levels:
        if what in CONDITIONS:
            if level not in _levels_known(made.fit, what):
                out.append((str(level), None))
                continue
            items = tuple(replace(item, conditions={**item.conditions, what: level}) for item in made.takeoff.items)
            changed, plan = replace(made.takeoff, items=items), made.plan
        elif what in ("bottom_time_s", "start_up_s"):
            plan, changed = _planned(made.plan, what, float(level)).checked(), made.takeoff
        else:
            raise InputError(f"--vary {what}: expected bottom-time, start-up or one of {', '.join(CONDITIONS)}.")
        try:
            out.append((str(level), draw(made.basis, changed, plan, made.fit)))
        except RefusedError:
            out.append((str(level), None))
    return out


def _levels_known(fit: RateFit, what: str) -> tuple[str, ...]:
    """Levels of a condition that have a term, or are the baseline, in the fit."""
    for condition in fit.rods.design.conditions:
        if condition.name == what:
            return condition.levels
    return ()


def _planned(plan: Plan, what: str, seconds: float) -> Plan:
    if what == "bottom_time_s":
        return replace(plan, bottom_time_s=seconds)
    return replace(plan, start_up_s=seconds)
