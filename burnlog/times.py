"""Reads durations and times of day.

What a colon means depends on the field: `0:45` is 45 seconds of burning, 45 minutes on the bottom, and nothing at all
where it could be either.
"""

from __future__ import annotations

import re
from fractions import Fraction

from burnlog.measures import Kind, Reading
from burnlog.notation import Unreadable, amount
from burnlog.quantities import basis_of, cannot_read, checked, size_of

__all__ = ["COLONS", "clock", "duration"]

COLONS = frozenset(("m:ss", "mm:ss", "h:mm", "hh:mm"))
_TWO_PARTS = re.compile(r"([0-9]{1,6}):([0-9]{2})")
_THREE_PARTS = re.compile(r"([0-9]{1,4}):([0-9]{2}):([0-9]{2})")
_TIME_WORDS = re.compile(
    r"(?:([0-9]{1,6})\s*(?:h|hr|hrs|hour|hours)\s*)?"
    r"(?:([0-9]{1,6})\s*(?:(?:m|min|mins|minute|minutes)\s*|$))?"  # bare minutes stand last: 1h05
    r"(?:([0-9]{1,6})\s*(?:s|sec|secs|second|seconds))?"
)
_MOST_CLOCK_HOURS = 24


def duration(core: str, typed: str, spec: Kind, water: str | None, unit: str | None) -> Reading:
    core, basis = basis_of(core, spec)
    colon = spec.colon
    if unit in COLONS:
        colon, unit = unit[-4:], None
    return Reading(checked(_seconds(core, spec, unit, colon), spec), basis, typed, spec.name)


def _seconds(core: str, spec: Kind, unit: str | None, colon: str) -> Fraction:
    if match := _TWO_PARTS.fullmatch(core):
        return Fraction(_two_parts(int(match[1]), int(match[2]), colon))
    if match := _THREE_PARTS.fullmatch(core):
        hours, minutes, seconds = (int(part) for part in match.groups())
        if minutes >= 60 or seconds >= 60:
            raise Unreadable("has 60 or more behind a colon")
        return Fraction(hours * 3600 + minutes * 60 + seconds)
    found = amount(core)
    if found is not None and (not found.unit or found.unit in spec.units):
        return found.value * size_of(found, core, spec, unit)
    if match := _TIME_WORDS.fullmatch(core):
        told = [None if part is None else int(part) for part in match.groups()]
        for large, small in ((told[0], told[1]), (told[0], told[2]), (told[1], told[2])):
            if large is not None and small is not None and small >= 60:
                raise Unreadable("has 60 or more behind hours or minutes")
        if told[0] is not None or told[2] is not None:
            return Fraction((told[0] or 0) * 3600 + (told[1] or 0) * 60 + (told[2] or 0))
    if found is None:
        raise Unreadable(cannot_read(core, spec))
    return size_of(found, core, spec, unit)


def _two_parts(first: int, second: int, colon: str) -> int:
    """Seconds of `0:45`, by what the field says a colon means."""
    if second >= 60:
        raise Unreadable("has 60 or more behind the colon")
    if colon == "m:ss":
        return first * 60 + second
    if colon == "h:mm" and first < _MOST_CLOCK_HOURS:
        return first * 3600 + second * 60
    minutes, hours = f"{first}min {second}s", f"{first}h {second}min"
    if colon == "h:mm":
        raise Unreadable(f"would be {first} hours and {second} minutes; write {hours} or {minutes}")
    if first == 0:
        minutes, hours = f"{second}s", f"{second}min"
    raise Unreadable(f"has two readings: write {minutes} or {hours}, or the clock times")


_CLOCK = re.compile(r"([0-9]{1,2}):([0-9]{2})(?::([0-9]{2}))?(?:\s*(am|pm))?|([0-9]{1,2})([0-9]{2})h?")


def clock(core: str, typed: str, spec: Kind, water: str | None, unit: str | None) -> Reading:
    core, basis = basis_of(core, spec)
    match = _CLOCK.fullmatch(core)
    if match is None:
        if len(core) <= 2 and core.isascii() and core.isdigit():
            on_the_hour, past_midnight = f"{int(core):02d}:00", f"00:{int(core):02d}"
            if 0 < int(core) < 24:
                raise Unreadable(f"has two readings: {on_the_hour} or {past_midnight}")
            raise Unreadable(f"is short for a time of day; {past_midnight} has all four digits")
        raise Unreadable(cannot_read(core, spec))
    hour, minute, second = int(match[1] or match[5]), int(match[2] or match[6]), int(match[3] or 0)
    if match[4]:
        if not 1 <= hour <= 12:
            raise Unreadable(f"is no time of day: {hour} with {match[4]}")
        hour = hour % 12 + (12 if match[4] == "pm" else 0)
    if hour > 23 or minute > 59 or second > 59:
        raise Unreadable("is no time of day, which runs from 0000 to 2359")
    return Reading(float(hour * 3600 + minute * 60 + second), basis, typed, spec.name)
