"""SI shown as people write it: text that reads back, and sentences that say what was understood.

Nothing here is for arithmetic. `show` gives as many digits as reading back needs, and a fraction of an inch where
the value is exactly that; pages that want fewer digits say so.
"""

from __future__ import annotations

import math
from decimal import Decimal

from burnlog.measures import KINDS, KPA_PER_FSW, KPA_PER_MSW, KPA_PER_PSI, MM_PER_IN, BankContents, Reading

__all__ = ["describe", "number_of", "show"]

_POUND_KG = 0.45359237
_FOOT_M = 0.3048
_TIMES = frozenset(("burn_time", "bottom_time", "elapsed", "duration"))
_PARTS_OF_AN_INCH = 64


def number_of(count: float, one: str, many: str = "") -> str:
    """A count with its noun, by default the plural in s.

    Examples
    --------
    >>> number_of(1, "row"), number_of(2, "row"), number_of(3, "tally", "tallies")
    ('1 row', '2 rows', '3 tallies')
    """
    return f"{count:g} {one if count == 1 else many or f'{one}s'}"


def show(value: float | None, kind: str, profile: str = "metric", *, digits: int = 15) -> str:
    """The value as text that `units.read` reads back to 1e-9: feet, inches and psi for ``us``, else metric. ASCII.

    Parameters
    ----------
    value : float or None
        In the canonical unit of the kind; None is shown as `-`, which reads back as not recorded.
    kind : str
        Entry of `KINDS`; for `bank` use `describe`.
    profile : str
        ``us`` or ``metric``.
    digits : int
        Significant digits at most; under 12 the text is rounded and no longer reads back exactly.

    Examples
    --------
    >>> show(15.875, "thickness", "us"), show(15.875, "thickness")
    ('5/8 in', '15.875 mm')
    >>> show(457.2, "length", "us")
    '1 ft 6 in'
    >>> show(1076.198, "length", "us", digits=3)
    '3.53 ft'
    """
    if value is None:
        return "-"
    us = profile == "us"
    if kind in ("thickness", "diameter"):
        return _inches(value, digits) if us else f"{_plain(value, digits)} mm"
    if kind == "length":
        if us:
            return _feet(value, digits)
        return f"{_plain(value / 1000, digits)} m" if abs(value) >= 1000 else f"{_plain(value, digits)} mm"
    if kind == "depth":
        return f"{_plain(value * KPA_PER_MSW / KPA_PER_FSW, digits)} fsw" if us else f"{_plain(value, digits)} msw"
    if kind == "elevation":
        size = f"{_plain(abs(value) / _FOOT_M, digits)} ft" if us else f"{_plain(abs(value), digits)} m"
        return f"{'-' if value < 0 else '+'}{size}"
    if kind == "pressure":
        return f"{_plain(value / KPA_PER_PSI, digits)} psi" if us else f"{_plain(value / 100, digits)} bar"
    if kind == "temperature":
        return f"{_plain(value * 1.8 + 32.0, digits)} F" if us else f"{_plain(value, digits)} C"
    if kind in _TIMES:
        return _duration(value, digits)
    if kind == "clock":
        return _clock(value)
    if kind == "mass":
        return f"{_plain(value / _POUND_KG, digits)} lb" if us else f"{_plain(value, digits)} kg"
    unit = "" if kind in ("rods", "count", "whole", "number") else KINDS[kind].unit
    return f"{_plain(value, digits)} {unit}".rstrip()


def describe(reading: Reading, profile: str = "metric") -> str:
    """What was understood, in words: the echo of an entry.

    Examples
    --------
    >>> from burnlog.units import read
    >>> describe(read("7 + 6in", "rods"), "us")
    '7 full + 1 stub of 6 in'
    >>> describe(read("0:45", "burn_time")), describe(read("0:45", "bottom_time"))
    ('45 seconds', '45 minutes')
    >>> describe(read("~2 ft", "length"), "us"), describe(read("?", "rods"))
    ('about 2 ft', 'not recorded')
    """
    if reading.value is None:
        return reading.basis
    mark = {"estimated": "about ", "at least": "at least ", "at most": "at most "}.get(reading.basis, "")
    if isinstance(reading, BankContents):
        return _bank(reading, profile)
    if reading.kind == "rods":
        return mark + _rods(reading, profile)
    if reading.kind in _TIMES:
        return mark + _spoken(reading.value)
    if reading.kind == "depth" and profile != "us":
        return f"{mark}{show(reading.value, 'depth', digits=5)}"
    return mark + show(reading.value, reading.kind, profile, digits=6)


def _plain(value: float, digits: int) -> str:
    """Significant digits, never in powers of ten, never a negative zero.

    Fewer than 16 digits are asked for, so that 0.1 + 0.2 is shown as 0.3.
    """
    text = f"{value:.{digits}g}"
    if "e" in text:
        text = format(Decimal(text), "f")
    return "0" if text in ("-0", "0") else text


def _sixtyfourths(inches: float) -> int | None:
    """Inches in 64ths, where they are exactly that many."""
    parts = inches * _PARTS_OF_AN_INCH
    return round(parts) if abs(parts - round(parts)) <= 1e-11 * abs(parts) else None


def _mixed(parts: int) -> str:
    """64ths of an inch as `5/8` or `1-1/4`."""
    whole, rest = divmod(parts, _PARTS_OF_AN_INCH)
    if not rest:
        return f"{whole}"
    shared = math.gcd(rest, _PARTS_OF_AN_INCH)
    small = f"{rest // shared}/{_PARTS_OF_AN_INCH // shared}"
    return f"{whole}-{small}" if whole else small


def _inches(value: float, digits: int) -> str:
    inches = value / MM_PER_IN
    parts = _sixtyfourths(inches)
    return f"{_plain(inches, digits) if parts is None else _mixed(parts)} in"


def _feet(value: float, digits: int) -> str:
    inches = value / MM_PER_IN
    parts = _sixtyfourths(inches)
    if inches < 12:
        return _inches(value, digits)
    if parts is None:
        return f"{_plain(inches / 12, digits)} ft"
    feet, rest = divmod(parts, 12 * _PARTS_OF_AN_INCH)
    return f"{feet} ft {_mixed(rest)} in" if rest else f"{feet} ft"


def _clock(value: float) -> str:
    total = round(value)
    seconds = f":{total % 60:02d}" if total % 60 else ""
    return f"{total // 3600:02d}:{total // 60 % 60:02d}{seconds}"


def _duration(value: float, digits: int) -> str:
    if value >= 60 and value == int(value):
        return _parts(int(value), (("h", ""), ("min", ""), ("s", "")), "")
    return f"{_plain(value, digits)}s"


def _spoken(value: float) -> str:
    if value != int(value):
        return f"{_plain(value, 6)} seconds"
    return _parts(int(value), (("hour", "s"), ("minute", "s"), ("second", "s")), "s")


def _parts(seconds: int, names: tuple[tuple[str, str], ...], plural: str) -> str:
    """Hours, minutes and seconds, leaving out what is none of them."""
    amounts = (seconds // 3600, seconds // 60 % 60, seconds % 60)
    told = [
        f"{number} {name}{ending if plural and number != 1 else ''}"
        for number, (name, ending) in zip(amounts, names, strict=True)
        if number
    ]
    return " ".join(told) or f"0 {names[-1][0]}{names[-1][1]}"


def _rods(reading: Reading, profile: str) -> str:
    value = reading.value or 0.0
    if not reading.stubs_mm:
        return f"{_plain(value, 6)} rod equivalents" if reading.stated else f"{_plain(value, 6)} rods"
    lengths = [show(stub, "diameter", profile, digits=6) for stub in reading.stubs_mm]
    word = "stub" if len(lengths) == 1 else "stubs"
    return f"{_plain(value, 6)} full + {len(lengths)} {word} of {' and '.join(lengths)}"


_EACH = {
    "label volume": "scf at 70 F and 1 atm",
    "water volume real gas": "L water volume",
    "weighed": "kg",
}


def _bank(bank: BankContents, profile: str) -> str:
    word = "cylinder" if bank.cylinders == 1 else "cylinders"
    head = f"{bank.cylinders} {word}, {_plain(bank.each, 6)} {_EACH[bank.route]} each"
    if bank.label_kpa is None:
        return f"{head}; label pressure not given"
    return f"{head} at {show(bank.label_kpa, 'pressure', profile, digits=6)}"
