"""A bid that repeats: what is kept of an issued estimate, how it is made again, and how good the last ones were."""

from __future__ import annotations

import hashlib
import json
import math
import platform
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from importlib.metadata import version
from typing import Any

from burnlog.analyses.basis import Basis
from burnlog.analyses.estimate import Adjustment, Estimate, Plan, draft
from burnlog.analyses.rate_fit import Settings
from burnlog.analyses.takeoff import TakeOff, read_takeoff
from burnlog.physics.sections import Section
from burnlog.stats.counts import proportion

__all__ = ["Closed", "Score", "content_hash", "differences", "freeze", "score", "thaw", "versions"]

LIBRARIES = ("burnlog", "numpy", "scipy", "pandas", "statsmodels")
SIX_DIGITS = 1e-6
PERCENT_FROM = 5
"""Closed bids below which no percentage is shown."""


def versions() -> dict[str, str]:
    """Versions that a frozen figure was made with."""
    return {"python": platform.python_version(), **{name: version(name) for name in LIBRARIES}}


def content_hash(payload: Mapping[str, Any]) -> str:
    """SHA-256 of a payload in its canonical form."""
    return hashlib.sha256(json.dumps(payload, sort_keys=True, allow_nan=False).encode()).hexdigest()


def freeze(made: Estimate) -> dict[str, Any]:
    """Everything an estimate was made from and what came out, as plain values."""
    return {
        "takeoff": {
            "source": made.takeoff.source,
            "water": made.takeoff.water,
            "header_units": dict(made.takeoff.header_units),
            "own_sections": [asdict(section) for section in made.takeoff.own_sections],
            "rows": [[item.row, dict(item.typed)] for item in made.takeoff.items],
        },
        "plan": asdict(made.plan),
        "settings": asdict(made.fit.settings),
        "basis": made.basis.as_json(),
        "versions": versions(),
        "result": made.as_json(),
    }


def thaw(payload: Mapping[str, Any]) -> Estimate:
    """Make a frozen estimate again from what it was made from, and from nothing that stands in the log today."""
    basis = Basis.from_json(payload["basis"])
    plan = dict(payload["plan"])
    plan["adjustments"] = tuple(Adjustment(**row) for row in plan["adjustments"])
    plan["divers"] = tuple(plan["divers"])
    settings: dict[str, Any] = {
        key: tuple(value) if isinstance(value, list) else value for key, value in payload["settings"].items()
    }
    return draft(basis, _takeoff(payload["takeoff"], basis), Plan(**plan), settings=Settings(**settings))


def _takeoff(kept: Mapping[str, Any], basis: Basis) -> TakeOff:
    """The take-off from its rows as typed, read as it was read then."""
    units = kept["header_units"]
    columns = sorted({column for _, cells in kept["rows"] for column in cells})
    headers = {column: f"{column} [{units[column]}]" if column in units else column for column in columns}
    rows = [
        (int(number), {header: cells.get(column, "") for column, header in headers.items()})
        for number, cells in kept["rows"]
    ]
    return read_takeoff(
        rows,
        source=str(kept["source"]),
        own_sections=[Section(**section) for section in kept["own_sections"]],
        rod_types={code: row.get("family") for code, row in basis.rod_types.items()},
        water=kept["water"],
    )


def differences(before: Any, after: Any, path: str = "") -> list[str]:
    """Where two results differ by more than 6 digits, as key paths; empty where they agree."""
    if isinstance(before, Mapping) and isinstance(after, Mapping):
        keys = sorted({*before, *after})
        return [found for key in keys for found in differences(before.get(key), after.get(key), f"{path}.{key}")]
    if isinstance(before, list) and isinstance(after, list) and len(before) == len(after):
        pairs = enumerate(zip(before, after, strict=True))
        return [found for place, (a, b) in pairs for found in differences(a, b, f"{path}[{place}]")]
    if isinstance(before, int | float) and isinstance(after, int | float):
        return [] if math.isclose(before, after, rel_tol=SIX_DIGITS, abs_tol=1e-9) else [path.lstrip(".")]
    return [] if before == after else [path.lstrip(".")]


@dataclass(frozen=True)
class Closed:
    """One closed estimate: what it said of rods and what was drawn."""

    code: str
    p10: float
    p50: float
    p90: float
    actual: float | None
    scope_changed: str | None

    @property
    def inside(self) -> bool | None:
        """Whether the actual lay in the 80 % range; None where it is not known."""
        return None if self.actual is None else self.p10 <= self.actual <= self.p90


@dataclass(frozen=True)
class Score:
    """How good the last bids were. Bids whose scope changed are scored apart, those without actuals not at all."""

    rows: tuple[Closed, ...]
    inside: int
    scored: int
    low: float | None
    high: float | None
    changed_inside: int
    changed: int
    not_closed: tuple[str, ...]

    @property
    def sentence(self) -> str:
        """The finding, with its n."""
        if not self.scored:
            return "no estimate was closed with its actual rods yet"
        assert self.low is not None
        assert self.high is not None
        if self.scored < PERCENT_FROM:
            few = f"fewer than {PERCENT_FROM}, so no percentage"
            return f"{self.inside} of {self.scored} actuals inside the 80 % range ({few})"
        share = 100 * self.inside / self.scored
        return (
            f"{self.inside} of {self.scored} ({share:.0f} %, could be {100 * self.low:.0f}-{100 * self.high:.0f} %) "
            "actuals inside the 80 % range"
        )

    def as_json(self) -> dict[str, Any]:
        """Stable keys."""
        return {
            **{key: value for key, value in asdict(self).items() if key != "rows"},
            "not_closed": list(self.not_closed),
            "sentence": self.sentence,
            "rows": [{**asdict(row), "inside": row.inside} for row in self.rows],
        }


def score(rows: Sequence[Closed], not_closed: Sequence[str] = ()) -> Score:
    """Count how often the 80 % range held, with the exact 95 % interval of that share."""
    known = [row for row in rows if row.actual is not None]
    plain = [row for row in known if not row.scope_changed]
    moved = [row for row in known if row.scope_changed]
    inside = sum(bool(row.inside) for row in plain)
    share = proportion(inside, len(plain)) if plain else None
    return Score(
        rows=tuple(rows),
        inside=inside,
        scored=len(plain),
        low=share.low if share else None,
        high=share.high if share else None,
        changed_inside=sum(bool(row.inside) for row in moved),
        changed=len(moved),
        not_closed=(*not_closed, *(row.code for row in rows if row.actual is None)),
    )
