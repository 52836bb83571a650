"""Rules of thumb the user typed, held against the history's own rate on the same steel with the same rods."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from scipy.special import stdtrit

from burnlog.analyses.basis import Basis, JobRatio
from burnlog.analyses.takeoff import TakeOff

__all__ = ["Compared", "compare_rules"]

PER_LENGTH = "rods/m"


@dataclass(frozen=True)
class Compared:
    """One rule beside the record.

    Attributes
    ----------
    name, source : str
    low_per_m, high_per_m : float
        What the rule says, in its own unit over metres; equal where it gives one value.
    unit : str
    own_per_m : float or None
        Sum over sum of the history on that steel with those rods; None where `why_not` says why.
    own_low, own_high : float or None
        P10 and P90 of the next job's ratio, Student's t on jobs - 1 about it; None below three jobs.
    tallies, jobs : int
    times : float or None
        Own rate over the middle of the rule.
    why_not : str or None
    """

    name: str
    source: str
    low_per_m: float
    high_per_m: float
    unit: str
    own_per_m: float | None = None
    own_low: float | None = None
    own_high: float | None = None
    tallies: int = 0
    jobs: int = 0
    times: float | None = None
    why_not: str | None = None

    def as_json(self) -> dict[str, Any]:
        """Stable keys, SI."""
        return asdict(self)


def compare_rules(basis: Basis, takeoff: TakeOff) -> tuple[Compared, ...]:
    """Every rule of the log beside the history of a bid, or why the two are not compared.

    Parameters
    ----------
    basis : Basis
    takeoff : TakeOff
        A rule that speaks of none of its steel and rods is not compared.
    """
    return tuple(_compared(rule, basis, takeoff) for rule in basis.rules)


def _compared(rule: Mapping[str, Any], basis: Basis, takeoff: TakeOff) -> Compared:
    detail = json.loads(str(rule["detail"] or "{}"))
    value = float(rule["value"])
    said = Compared(
        name=str(rule["name"]),
        source=str(rule["source"]),
        low_per_m=float(detail.get("low", value)),
        high_per_m=float(detail.get("high", value)),
        unit=str(rule["unit"]),
    )
    if said.unit != PER_LENGTH:
        return _because(said, f"given in {said.unit}, the history in rods over length")
    low, high = detail.get("thickness_from_mm", 0.0), detail.get("thickness_to_mm", math.inf)
    family = detail.get("family")
    asked = any(
        (family is None or item.family in (None, family)) and low <= item.thickness_mm <= high
        for item in takeoff.items
    )
    if not asked:
        return _because(said, "this bid asks for other steel or other rods")
    tallies = basis.tallyset.tallies
    same = tallies[tallies["thickness_mm"].between(low, high)]
    if family is not None:
        same = same[same["family"] == family]
    if same.empty:
        return _because(said, "no tallies on that steel with those rods")
    own = float(same["rods"].sum() / same["new_length_m"].sum())
    reach = _next_job(JobRatio.of(same, "rods", "new_length_m"))
    return Compared(
        **{
            **asdict(said),
            "own_per_m": own,
            "own_low": reach[0],
            "own_high": reach[1],
            "tallies": len(same),
            "jobs": int(same["job"].nunique()),
            "times": own / (0.5 * (said.low_per_m + said.high_per_m)),
        }
    )


def _because(said: Compared, why: str) -> Compared:
    return Compared(**{**asdict(said), "why_not": why})


def _next_job(ratio: JobRatio | None) -> tuple[float | None, float | None]:
    """P10 and P90 of the distribution that `JobRatio.draw` draws from."""
    if ratio is None:
        return None, None
    logs = np.log(np.array(ratio.over) / np.array(ratio.under))
    half = float(stdtrit(len(logs) - 1, 0.9) * np.std(logs, ddof=1) * math.sqrt(1 + 1 / len(logs)))
    return ratio.pooled * math.exp(-half), ratio.pooled * math.exp(half)
