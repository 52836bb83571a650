"""Cost from a typed price list, in the same simulated jobs as what it pays for. No price is built in."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from burnlog.errors import InputError

__all__ = ["Cost", "cost"]

Array = NDArray[np.float64]
SAME = {"rod": "rods", "dives": "dive", "day": "dive day", "dive days": "dive day", "standby day": "standby"}
"""Other names of what is priced."""


@dataclass(frozen=True, eq=False)
class Cost:
    """Cost of each simulated job.

    Attributes
    ----------
    total : array (draws,) or None
        None where no price was typed for anything that was estimated.
    parts, missing : tuple of str
        What is in it, and what is not: prices of the list without a quantity here.
    currency : str or None
    """

    total: Array | None
    parts: tuple[str, ...]
    missing: tuple[str, ...]
    currency: str | None


def cost(prices: Sequence[Mapping[str, Any]], amounts: Mapping[str, Mapping[str, Array | None]]) -> Cost:
    """Price what was drawn.

    Parameters
    ----------
    prices : sequence of mapping
        name, value, and unit as ``USD/rod``.
    amounts : mapping of name to mapping of unit to array (draws,)
        What can be priced, in each unit a price may be given per; None where it was not estimated. The first unit
        stands where a price names none.

    Raises
    ------
    InputError
        Prices in more than one currency, two for one thing, or one per something its thing is not counted in.

    Examples
    --------
    >>> listed = [{"name": "rods", "value": 7.5, "unit": "USD/rod"}]
    >>> cost(listed, {"rods": {"rod": np.array([10.0, 20.0])}}).total.tolist()
    [75.0, 150.0]
    """
    total: Array | None = None
    parts, missing, currencies = [], [], set()
    for price in prices:
        typed = str(price["name"]).strip()
        name = SAME.get(typed.lower(), typed.lower())
        if name in parts:
            raise InputError(f"the price list names {typed} twice, as '{name}' or in another word for it; keep one.")
        if name not in amounts or price["value"] is None:
            missing.append(typed)
            continue
        currency, _, per = str(price["unit"]).partition("/")
        units = amounts[name]
        unit = per.strip().lower() or next(iter(units))
        if unit not in units:
            raise InputError(f"{typed} is priced per {per}; here it is counted per {' or '.join(units)}.")
        values = units[unit]
        if values is None:
            missing.append(f"{typed} (not estimated)")
            continue
        currencies.add(currency)
        parts.append(name)
        total = values * float(price["value"]) + (0.0 if total is None else total)
    if len(currencies) > 1:
        raise InputError(f"prices in {' and '.join(sorted(currencies))}: one currency to a price list.")
    return Cost(total, tuple(parts), tuple(missing), next(iter(currencies), None))
