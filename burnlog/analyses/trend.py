"""One person's own learning curve: Crawford's unit curve, on one plate in one setting, or why there is none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from burnlog.errors import FitError
from burnlog.stats.curves import FEWEST_ATTEMPTS, fit_power_law

if TYPE_CHECKING:
    from burnlog.analyses.practice import Attempt

__all__ = ["Trend", "own_trends"]

LEVEL = 0.80


@dataclass(frozen=True)
class Trend:
    """A person's rods per metre against the number of the attempt, on one thickness.

    `rate` is the factor at each doubling of the attempts (Crawford: the effort of the single attempt falls by it;
    0.8 is an "80 % curve"), with its 80 % interval; None with the reason in `why`.
    """

    person: str
    thickness_mm: float | None
    attempts: int
    rate: float | None
    low: float | None
    high: float | None
    first_per_m: float | None
    why: str

    def sentence(self) -> str:
        """The trend in words, with its model's name."""
        if self.rate is None or self.low is None or self.high is None:
            return f"{self.person}: no trend, {self.why}"
        return (
            f"{self.person}: Crawford unit curve {100 * self.rate:.0f} % (80 % interval {100 * self.low:.0f}-"
            f"{100 * self.high:.0f} %) over {self.attempts} attempts"
        )


def own_trends(attempts: Sequence[Attempt]) -> tuple[Trend, ...]:
    """A trend for each person, on the thickness that person burned most often, in code order.

    Attempts keep their own numbers; one without a rod count is a gap, not a nought.
    """
    return tuple(
        _trend(code, [a for a in attempts if a.person == code]) for code in sorted({a.person for a in attempts})
    )


def _trend(code: str, mine: Sequence[Attempt]) -> Trend:
    known = [a for a in mine if a.rods_per_m is not None and a.thickness_mm is not None]
    plates: dict[float, int] = {}
    for attempt in known:
        plates[attempt.thickness_mm or 0.0] = plates.get(attempt.thickness_mm or 0.0, 0) + 1
    plate = max(plates, key=lambda t: (plates[t], t)) if plates else None
    used = [a for a in known if a.thickness_mm == plate]
    n = len(used)
    if n < FEWEST_ATTEMPTS:
        why = f"{n} attempts with a rod count on one plate; {FEWEST_ATTEMPTS} are needed"
        return Trend(code, plate, n, None, None, None, None, why)
    try:
        law = fit_power_law([a.number for a in used], [a.rods_per_m or 0.0 for a in used], level=LEVEL)
    except FitError as error:
        return Trend(code, plate, n, None, None, None, None, str(error))
    return Trend(code, plate, n, 2.0**law.exponent, 2.0**law.low, 2.0**law.high, law.factor, "")
