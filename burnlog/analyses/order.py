"""What goes on the truck: dives from cut time, whole packs, oxygen and cylinders."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from burnlog.analyses.basis import Basis
from burnlog.analyses.takeoff import TakeOff
from burnlog.errors import InputError
from burnlog.physics.oxygen import cylinders_needed, usable_kg

__all__ = ["Order", "by_type", "dives", "order", "share_draws", "share_from", "why_no_dives"]

Array = NDArray[np.float64]
UNNAMED = "rods of no named type"


@dataclass(frozen=True, eq=False)
class Order:
    """The order list at P80.

    Attributes
    ----------
    rods : mapping of rod type to float
        P80 of the rods of each type, on its own.
    packs : mapping of rod type to int
        Whole packs for that, where the pack size is known.
    packs_drawn : array (draws,) or None
        Packs of each simulated job, all types; None where a pack size is missing.
    oxygen_kg, cylinders, usable_kg_each : float, int, float, each or None
    notes : tuple of str
        Why something could not be had.
    """

    rods: Mapping[str, float]
    packs: Mapping[str, int]
    packs_drawn: Array | None
    oxygen_kg: float | None
    cylinders: int | None
    usable_kg_each: float | None
    needed_kpa: float | None
    margin_kpa: float | None
    notes: tuple[str, ...] = ()
    currency: str | None = None
    cost_parts: tuple[str, ...] = field(default=())
    cost_missing: tuple[str, ...] = field(default=())

    def as_json(self) -> dict[str, Any]:
        """Stable keys; rods and packs by type, packs as one whole number."""
        return {
            "rods_p80": dict(self.rods),
            "packs_by_type": dict(self.packs),
            "packs": sum(self.packs.values()) if self.packs_drawn is not None else None,
            "oxygen_kg_p80": self.oxygen_kg,
            "cylinders": self.cylinders,
            "usable_kg_each": self.usable_kg_each,
            "needed_kpa": self.needed_kpa,
            "margin_kpa": self.margin_kpa,
            "cost_of": list(self.cost_parts),
            "cost_not_of": list(self.cost_missing),
        }


def share_draws(typed: float | None, basis: Basis, draws: int, rng: np.random.Generator) -> Array | None:
    """Share of the time on the bottom after start-up that is spent cutting, (draws,): typed, or the history's."""
    if typed is not None:
        return np.full(draws, typed)
    if basis.share is None:
        return None
    return np.clip(basis.share.draw(draws, rng), 0.01, 1.0)


def share_from(typed: float | None, basis: Basis) -> str | None:
    """Where the share comes from, with n."""
    if typed is not None:
        return "typed"
    if basis.share is None:
        return None
    return f"own history: {basis.share.rows} dives on {len(basis.share.jobs)} jobs"


def dives(
    cut_time_s: Array | None, share: Array | None, bottom_s: float | None, start_up_s: float | None
) -> Array | None:
    """Whole dives to hold the cut time of each simulated job, (draws,); None where something is missing.

    Parameters
    ----------
    cut_time_s, share : array (draws,)
    bottom_s, start_up_s : float
        As typed [s].

    Examples
    --------
    >>> float(dives(np.array([36000.0]), np.array([0.65]), 2400.0, 900.0)[0])
    37.0
    """
    if cut_time_s is None or share is None or bottom_s is None or start_up_s is None:
        return None
    return np.asarray(np.ceil(cut_time_s / ((bottom_s - start_up_s) * share) - 1e-9))


def why_no_dives(bottom_s: float | None, start_up_s: float | None) -> str:
    """The sentence for a bid without dives."""
    if bottom_s is None or start_up_s is None:
        return "dives not estimated: type the bottom time and the start-up time (--bottom-time, --start-up)"
    return "dives not estimated: the history holds no share of cutting time on 3 jobs; type it with --cutting-share"


def by_type(takeoff: TakeOff, item_rods: Array) -> dict[str, Array]:
    """Rods of each rod type, (draws,), from rods by item."""
    out: dict[str, Array] = {}
    for place, item in enumerate(takeoff.items):
        name = item.rod_type or UNNAMED
        out[name] = out.get(name, 0.0) + item_rods[:, place]
    return out


def _p80(values: Array) -> float:
    return float(np.sort(values)[max(0, math.ceil(0.8 * len(values)) - 1)])


def order(
    rods: Mapping[str, Array],
    oxygen_kg: Array | None,
    basis: Basis,
    bank: str | None,
    needed_kpa: float | None,
    margin_kpa: float | None,
) -> Order:
    """The order list at P80: packs rounded up once on the total of a type, cylinders by usable contents.

    Raises
    ------
    InputError
        The bank is not in the log, or holds nothing above the pressure needed and the margin.
    """
    notes: list[str] = []
    known = {name: (basis.rod_types.get(name) or {}).get("pack_count") for name in rods}
    missing = [name for name, size in known.items() if not size]
    sizes = {name: float(size) for name, size in known.items() if size}
    if missing:
        notes.append(f"no pack size for {', '.join(missing)}: rods alone, no packs")
    packs = {name: math.ceil(_p80(values) / sizes[name] - 1e-9) for name, values in rods.items() if name in sizes}
    drawn = None
    if not missing:
        drawn = np.asarray(sum(np.ceil(values / sizes[name] - 1e-9) for name, values in rods.items()))
    oxygen = None if oxygen_kg is None else _p80(oxygen_kg)
    cylinders, usable = None, None
    if oxygen is not None:
        cylinders, usable, note = _cylinders(oxygen, basis, bank, needed_kpa, margin_kpa)
        notes.extend(note)
    return Order(
        rods={name: _p80(values) for name, values in rods.items()},
        packs=packs,
        packs_drawn=drawn,
        oxygen_kg=oxygen,
        cylinders=cylinders,
        usable_kg_each=usable,
        needed_kpa=needed_kpa,
        margin_kpa=margin_kpa,
        notes=tuple(notes),
    )


def _cylinders(
    kg: float, basis: Basis, bank: str | None, needed_kpa: float | None, margin_kpa: float | None
) -> tuple[int | None, float | None, list[str]]:
    if bank is None or needed_kpa is None or margin_kpa is None:
        return None, None, ["cylinders not counted: type the bank, the pressure it must still hold and the margin"]
    found = basis.banks.get(bank)
    if found is None:
        raise InputError(
            f"there is no bank '{bank}' in the log; banks there: {', '.join(sorted(basis.banks)) or 'none'}."
        )
    full, label = found.get("contents_kg_each"), found.get("label_kpa")
    if not full or not label:
        return None, None, [f"cylinders not counted: the log holds no contents or label pressure of {bank}"]
    usable = usable_kg(float(full), float(label), needed_kpa, margin_kpa)
    if usable <= 0:
        raise InputError(f"{bank} holds nothing above the pressure needed and the margin; type other figures.")
    return cylinders_needed(kg, usable), usable, []
