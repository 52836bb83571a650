"""How much there was to happen in: lines, rods and rod changes, the denominators of every rate of events."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import pandas as pd

from burnlog.columns import Frames
from burnlog.stats.counts import proportion, rate

__all__ = ["Exposed", "of_rods", "per_exposure", "share_of"]

PER_RODS = 100.0


@dataclass(frozen=True)
class Exposed:
    """A count over its exposure, with an exact 95 % interval.

    Attributes
    ----------
    what : str
        What was counted.
    count : int
        How often.
    exposure : float
        How much there was: `unit` says of what.
    unit : str
        ``lines``, ``rods``, ``rod changes``, ``cuts``, ``dives`` ...
    per : float
        The rate is for this many of them; 0 for a share of them.
    rate, low, high : float or None
        None where no exposure was recorded.
    blank : int
        Rows that could not be counted because the sheet does not say.
    """

    what: str
    count: int
    exposure: float
    unit: str
    per: float
    rate: float | None
    low: float | None
    high: float | None
    blank: int = 0

    def sentence(self) -> str:
        """The figure in words; nothing recorded is never shortened to nothing happened."""
        if self.rate is None or self.low is None or self.high is None:
            return f"{self.what}: {self.count} recorded, exposure not recorded, no rate"
        n = f"{self.exposure:g} {self.unit.removesuffix('s') if self.exposure == 1 else self.unit}"
        if self.per == 0:
            if self.count == 0:
                return f"{self.what}: none recorded in {n}; up to {100 * self.high:.1f} % cannot be ruled out"
            low, high = 100 * self.low, 100 * self.high
            return f"{self.what}: {self.count} of {n} ({100 * self.rate:.0f} %, could be {low:.0f}-{high:.0f} %)"
        each = f"per {self.per:g} {self.unit}" if self.per != 1 else f"per {self.unit.removesuffix('s')}"
        if self.count == 0:
            return f"{self.what}: none recorded in {n}; up to {self.high:.2g} {each} cannot be ruled out"
        return f"{self.what}: {self.count} in {n}, {self.rate:.2g} {each} (could be {self.low:.2g}-{self.high:.2g})"

    def as_json(self) -> dict[str, Any]:
        """Stable keys."""
        return {**asdict(self), "sentence": self.sentence()}


def per_exposure(what: str, count: float, exposure: float, unit: str, *, per: float = 1.0, blank: int = 0) -> Exposed:
    """A rate of events with Garwood's exact interval.

    Examples
    --------
    >>> per_exposure("blow-back", 0, 120, "rods", per=100).sentence()
    'blow-back: none recorded in 120 rods; up to 3.1 per 100 rods cannot be ruled out'
    """
    if not exposure > 0:
        return Exposed(what, int(count), 0.0, unit, per, None, None, None, blank)
    found = rate(int(count), exposure)
    return Exposed(
        what, found.events, exposure, unit, per, found.rate * per, found.low * per, found.high * per, blank
    )


def share_of(what: str, count: int, total: int, unit: str, *, blank: int = 0) -> Exposed:
    """A share with Clopper and Pearson's exact interval.

    Examples
    --------
    >>> share_of("lines with a hanger", 0, 10, "lines").sentence()
    'lines with a hanger: none recorded in 10 lines; up to 30.8 % cannot be ruled out'
    """
    if total == 0:
        return Exposed(what, count, 0.0, unit, 0.0, None, None, None, blank)
    found = proportion(count, total)
    return Exposed(what, count, float(total), unit, 0.0, found.share, found.low, found.high, blank)


def of_rods(frames: Frames, dives: Sequence[str]) -> pd.Series[float]:
    """Rods lit in each dive, whole ones plus part-burned ones; NaN where any count of the dive is missing."""
    parts = frames.rod_parts["tally_id"].value_counts()
    tallies = frames.tallies[frames.tallies["scope"].ne("box") & frames.tallies["dive_ref"].isin(dives)]
    started = tallies["rods"] + tallies["tally_id"].map(parts).fillna(0.0)
    return started.groupby(tallies["dive_ref"]).agg(lambda s: s.sum(skipna=False)).reindex(list(dives))
