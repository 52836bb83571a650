"""What the estimator typed beside the take-off: times, people, pressures, judgement, seed."""

from __future__ import annotations

from dataclasses import dataclass

from burnlog.errors import InputError

__all__ = ["Adjustment", "Plan"]

FEWEST_DRAWS = 2000


@dataclass(frozen=True)
class Adjustment:
    """A judgement on the record: a share added to one figure, on its own line, never blended in."""

    what: str
    share: float
    why: str


@dataclass(frozen=True)
class Plan:
    """What the estimator typed beside the take-off. Nothing here has a default that is a number of the trade.

    Attributes
    ----------
    bottom_time_s, start_up_s : float or None
        From the tables the supervisor uses; without both no dives are estimated.
    dives_per_day : float or None
    cutting_share : float or None
        Typed in place of the history's own.
    bank, needed_kpa, margin_kpa : str or None, float or None
        Which bank is ordered from, the pressure it must still hold, and the margin above it.
    adjustments : tuple of Adjustment
    allow_outside : str or None
        Reason for going beyond what was logged.
    divers : tuple of str
    job : str or None
        The rest of a job in the history, with its own effect.
    standby_days : float or None
        Days of standby to be paid for; what a day costs stands in the price list.
    seed, draws : int
    """

    bottom_time_s: float | None = None
    start_up_s: float | None = None
    dives_per_day: float | None = None
    cutting_share: float | None = None
    bank: str | None = None
    needed_kpa: float | None = None
    margin_kpa: float | None = None
    adjustments: tuple[Adjustment, ...] = ()
    allow_outside: str | None = None
    divers: tuple[str, ...] = ()
    job: str | None = None
    standby_days: float | None = None
    seed: int = 1
    draws: int = 10_000

    def checked(self) -> Plan:
        """Self, or `InputError` naming what cannot be."""
        if self.draws < FEWEST_DRAWS:
            raise InputError(f"{self.draws} draws are too few for a P90; at least {FEWEST_DRAWS}.")
        if self.bottom_time_s is not None and self.start_up_s is not None and self.start_up_s >= self.bottom_time_s:
            raise InputError(
                f"start-up of {self.start_up_s / 60:g} min leaves nothing of the bottom time, "
                f"{self.bottom_time_s / 60:g} min."
            )
        if self.cutting_share is not None and not 0 < self.cutting_share <= 1:
            raise InputError(f"a cutting share of {self.cutting_share:g} cannot be; it lies above 0 and up to 1.")
        if self.dives_per_day is not None and not self.dives_per_day > 0:
            raise InputError("dives per day must be above 0.")
        if self.standby_days is not None and not self.standby_days >= 0:
            raise InputError("standby days cannot be below 0.")
        if self.allow_outside is not None and len(self.allow_outside.strip()) < 3:
            raise InputError("going outside the logged range needs a reason, in words.")
        for adjustment in self.adjustments:
            if not adjustment.why.strip():
                raise InputError(f"the adjustment of {adjustment.what} needs a reason (--why).")
        return self
