"""What people type, read into SI, and shown again in words that read back.

A value keeps three things: the number in one canonical unit for its kind of field, the text as typed, and the
basis (measured, estimated, at least ...). What has two honest readings is refused with both of them named: a
silent wrong guess costs more than a question. `KINDS` lists the kinds of field; the marks and fractions of a wet
sheet are read by `notation`.

Conversions: 1 in = 25.4 mm, 1 psi = 6.894757 kPa and 1 lb = 0.45359237 kg by definition; 1 msw = 10 kPa by
definition; 1 fsw = 3.0643 kPa (`usn-fsw` in `sources`).
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache

from burnlog.errors import ReadError
from burnlog.notation import LONGEST, NUMBER, Amount, Unreadable, amount, clean, missing, split_basis, why_not

__all__ = ["KINDS", "BankContents", "Kind", "Reading", "read", "read_bank", "show", "whole_or_part"]

MM_PER_IN = 25.4
KPA_PER_PSI = 6.894757293168361
KPA_PER_FSW = 3.0643
KPA_PER_MSW = 10.0
KPA_PER_M_FRESH = 9.80665  # 1000 kg/m3 under standard gravity
LB_PER_FT2_PER_IN = 40.8  # steel plate sold by weight; from memory

_LENGTH = {
    **dict.fromkeys(("mm", "millimetre", "millimetres", "millimeter", "millimeters"), 1.0),
    **dict.fromkeys(("cm",), 10.0),
    **dict.fromkeys(("m", "metre", "metres", "meter", "meters"), 1000.0),
    **dict.fromkeys(("in", "in.", '"', "inch", "inches"), MM_PER_IN),
    **dict.fromkeys(("ft", "ft.", "'", "foot", "feet"), 12 * MM_PER_IN),
}
_PRESSURE = {"kpa": 1.0, "bar": 100.0, "barg": 100.0, "mpa": 1000.0, "psi": KPA_PER_PSI, "psig": KPA_PER_PSI}
_SECONDS = {
    **dict.fromkeys(("s", "sec", "secs", "second", "seconds"), 1.0),
    **dict.fromkeys(("min", "mins", "minute", "minutes", "m"), 60.0),
    **dict.fromkeys(("h", "hr", "hrs", "hour", "hours"), 3600.0),
}
_MASS = {"kg": 1.0, "g": 0.001, "lb": 0.45359237, "lbs": 0.45359237}


@dataclass(frozen=True)
class Kind:
    """One kind of field: its canonical unit, what may stand behind a number, and two texts that work."""

    name: str
    unit: str
    factors: Mapping[str, float]
    examples: tuple[str, str]
    bare: str | None = None
    """Unit of a bare number where the field itself leaves no doubt."""


def _kind(
    name: str, unit: str, factors: Mapping[str, float], examples: tuple[str, str], bare: str | None = None
) -> tuple[str, Kind]:
    return name, Kind(name, unit, factors, examples, bare)


KINDS: Mapping[str, Kind] = dict(
    (
        _kind("thickness", "mm", _LENGTH, ("12 mm", "1/2 in")),
        _kind("length", "mm", _LENGTH, ("1'6\"", "457 mm")),
        _kind("diameter", "mm", _LENGTH, ("3/8 in", "9.5 mm")),
        _kind("depth", "msw", {}, ("45 fsw", "14 msw")),
        _kind("elevation", "m", _LENGTH, ("+2 ft", "below 11.6 m")),
        _kind("pressure", "kPa", _PRESSURE, ("90 psi", "6.2 bar")),
        _kind("burn_time", "s", _SECONDS, ("0:45 (45 seconds)", "45s")),
        _kind("bottom_time", "s", _SECONDS, ("0:45 (45 minutes)", "45 min")),
        _kind("elapsed", "s", _SECONDS, ("45s", "21 min")),
        _kind("duration", "s", _SECONDS, ("45s", "5 min")),
        _kind("clock", "s", {}, ("0942", "9:42")),
        _kind("rods", "rods", {"rod": 1.0, "rods": 1.0}, ("7", "7 + 6in"), "rods"),
        _kind("count", "", {}, ("3", "~3"), ""),
        _kind("whole", "", {}, ("3", "14"), ""),
        _kind(
            "current",
            "A",
            dict.fromkeys(("a", "amp", "amps", "ampere", "amperes"), 1.0),
            ("200 A", "200"),
            "a",
        ),
        _kind("temperature", "C", {"c": 1.0, "degc": 1.0, "f": 1.0, "degf": 1.0}, ("8 C", "46 F")),
        _kind("angle", "deg", dict.fromkeys(("deg", "degree", "degrees"), 1.0), ("45 deg", "30"), "deg"),
        _kind("mass", "kg", _MASS, ("9.2 kg", "20 lb")),
        _kind("percent", "%", {"%": 1.0, "percent": 1.0, "pct": 1.0}, ("15 %", "99.5"), "%"),
        _kind("number", "", {}, ("3", "0.65"), ""),
    )
)
"""Kinds of field by name."""


@dataclass(frozen=True)
class Reading:
    """One value as somebody meant it.

    Attributes
    ----------
    value : float or None
        In the canonical unit of the kind; None where nothing was recorded or it does not apply. For rods: those
        burned full length, or the equivalents as stated.
    basis : str
        Word of the vocabulary list ``basis``.
    typed : str
        The text, trimmed.
    kind : str
        Entry of `KINDS`.
    stubs_mm : tuple of float
        Rods only: what was left of each part-burned one [mm].
    stated : bool
        Rods only: a part of a rod was stated (`6.5`), not measured.
    """

    value: float | None
    basis: str
    typed: str
    kind: str
    stubs_mm: tuple[float, ...] = ()
    stated: bool = False


@dataclass(frozen=True)
class BankContents:
    """An oxygen bank as typed: `route` is ``label volume`` (scf each) or ``water volume real gas`` (litres each)."""

    cylinders: int
    each: float
    route: str
    label_kpa: float | None
    typed: str


def read(text: str, kind: str, *, water: str | None = None, unit: str | None = None) -> Reading:
    """Read one value as typed.

    Parameters
    ----------
    text : str
        What was typed. Blank, `-`, `?` and `nr` are not recorded; `na` does not apply; `0` is zero.
    kind : str
        Entry of `KINDS`.
    water : str, optional
        Water kind of the job (salt, fresh): turns feet and metres of depth into pressure.
    unit : str, optional
        Unit of bare numbers, from a column header such as ``thickness [mm]``.

    Returns
    -------
    Reading

    Raises
    ------
    ReadError
        Nothing, or more than one thing, can be meant; says what would settle it.

    Examples
    --------
    >>> read("5/8 in", "thickness").value
    15.875
    >>> read("1ft6", "length").value
    457.2
    >>> read("7+", "count").basis
    'at least'
    """
    if kind not in KINDS:
        raise ReadError(f"no such kind of field: {kind!r}; there are {', '.join(KINDS)}", text=text, kind=kind)
    if len(text) > LONGEST:
        raise ReadError(
            f"'{text[:20]}...' is {len(text)} characters long and no {kind} is; put it under remark",
            text=text,
            kind=kind,
        )
    return _read(text, kind, water, unit)


@lru_cache(maxsize=65536)  # a season's sheets hold few different texts
def _read(text: str, kind: str, water: str | None, unit: str | None) -> Reading:
    typed = text.strip()
    core = clean(text)
    blank = missing(core)
    if blank is not None:
        return Reading(None, blank, typed, kind)
    try:
        if kind == "rods":
            return _rods(core, typed)
        if kind == "elevation":
            return Reading(_elevation(core), "measured", typed, kind)
        if kind == "clock":
            return Reading(_clock(core), "measured", typed, kind)
        core, basis = split_basis(core)
        if kind == "temperature" and core.startswith("-"):
            return Reading(_value(core[1:].strip(), kind, water, unit, sign=-1.0), basis, typed, kind)
        return Reading(_value(core, kind, water, unit), basis, typed, kind)
    except Unreadable as reason:
        first, second = KINDS[kind].examples
        raise ReadError(f"'{typed}' {reason}; try {first} or {second}", text=text, kind=kind) from None


def _value(core: str, kind: str, water: str | None, unit: str | None, *, sign: float = 1.0) -> float:
    if kind in _TIMES:
        return _duration(core, kind, unit)
    if kind in ("length", "thickness", "diameter") and (feet := _FEET_INCHES.fullmatch(core)):
        return _feet_and_inches(feet[1], feet[2])
    found = amount(core)
    if found is None:
        raise Unreadable(why_not(core) or f"cannot be read as {_NAMES.get(kind, kind)}")
    if kind == "depth":
        return _depth(found, water, unit)
    if kind in ("whole", "count"):
        return _whole(found)
    behind = found.unit
    if kind == "thickness" and behind in ("lb", "lb plate", "lb. plate"):
        return found.value / LB_PER_FT2_PER_IN * MM_PER_IN
    if not behind:
        if kind == "thickness" and found.fraction:
            behind = "in"  # nobody writes a fraction of a millimetre
        elif unit is not None:
            behind = unit.strip().lower()
        elif KINDS[kind].bare is not None:
            behind = KINDS[kind].bare or ""
        else:
            raise Unreadable(_no_unit(core, kind))
    if found.comma and not found.unit and unit is None:
        raise Unreadable("has a decimal comma and no unit behind it")
    if kind == "temperature":
        return _celsius(sign * found.value, behind)
    if behind == "" and KINDS[kind].bare == "":
        return found.value
    factors = KINDS[kind].factors
    if behind not in factors:
        known = ", ".join(dict.fromkeys(name for name in factors if name.isalpha() or name == "%"))
        raise Unreadable(f"has '{behind}' behind the number, which is no unit of {_NAMES.get(kind, kind)} ({known})")
    return found.value * factors[behind]


_NAMES = {
    "burn_time": "burn time",
    "bottom_time": "bottom time",
    "whole": "a whole number",
    "count": "a count",
}
_TIMES = frozenset(("burn_time", "bottom_time", "elapsed", "duration"))
_FEET_INCHES = re.compile(rf"([0-9]+)\s*(?:'|ft\.?|feet|foot)\s*-?\s*({NUMBER})\s*(?:\"|in\.?|inch|inches)?")


def _no_unit(core: str, kind: str) -> str:
    if kind == "pressure":
        return f"has no unit: {core} psi or {core} bar?"
    if kind == "temperature":
        return f"has no unit: {core} C or {core} F?"
    if kind in ("thickness", "length", "diameter"):
        return f"has no unit: {core} what? {core} mm or {core} in"
    return "has no unit"


def _feet_and_inches(feet: str, inches: str) -> float:
    found = amount(inches)
    if found is None or found.value >= 12:
        raise Unreadable("has 12 inches or more behind the feet")
    return (int(feet) * 12 + found.value) * MM_PER_IN


def _whole(found: Amount) -> float:
    if found.unit:
        raise Unreadable(f"has '{found.unit}' behind the number, and a plain count is wanted")
    if found.value != math.floor(found.value):
        raise Unreadable("is not a whole number")
    return found.value


def _celsius(value: float, behind: str) -> float:
    if behind in ("c", "degc", "deg c"):
        return value
    if behind in ("f", "degf", "deg f"):
        return (value - 32.0) / 1.8
    raise Unreadable(f"has '{behind}' behind the number, which is no unit of temperature (C, F)")


def _depth(found: Amount, water: str | None, unit: str | None) -> float:
    behind = found.unit or (unit or "").strip().lower()
    if behind == "fsw":
        return found.value * KPA_PER_FSW / KPA_PER_MSW
    if behind == "msw":
        return found.value
    if behind not in _LENGTH:
        raise Unreadable("has no unit of depth" if not behind else f"has '{behind}', which is no unit of depth")
    metres = found.value * _LENGTH[behind] / 1000.0
    number = f"{found.value:g}"
    if water == "none":
        raise Unreadable("is a depth, and a dry practice has none; leave it blank")
    if water == "fresh":
        return metres * KPA_PER_M_FRESH / KPA_PER_MSW
    if water == "salt":
        feet = _LENGTH[behind] == _LENGTH["ft"]
        return found.value * KPA_PER_FSW / KPA_PER_MSW if feet else metres
    if water == "brackish":
        raise Unreadable(
            f"is a length of brackish water, which has no one density; read the pressure instead: {number} fsw or msw"
        )
    raise Unreadable(
        f"is a length of water, and nobody said which water: {number} fsw for sea water by pressure, or give the "
        "job's water as salt or fresh"
    )


def _elevation(core: str) -> float:
    sign = 1.0
    for word, value in (("above ", 1.0), ("below ", -1.0), ("+", 1.0), ("-", -1.0)):
        if core.startswith(word):
            sign, core = value, core[len(word) :].strip()
            break
    if feet := _FEET_INCHES.fullmatch(core):
        return sign * _feet_and_inches(feet[1], feet[2]) / 1000.0
    found = amount(core)
    if found is None or found.unit not in _LENGTH:
        raise Unreadable(why_not(core) or "is not an elevation with a unit")
    return sign * found.value * _LENGTH[found.unit] / 1000.0


_COLON = re.compile(r"([0-9]{1,3}):([0-5][0-9])")
_THREE = re.compile(r"([0-9]{1,2}):([0-5][0-9]):([0-5][0-9])")
_HOURS = re.compile(r"([0-9]{1,3})\s*h\s*([0-5]?[0-9])\s*(?:min|m)?")
_MINUTES = re.compile(r"([0-9]{1,4})\s*(?:min|m)\s*([0-5]?[0-9])\s*s?")


def _duration(core: str, kind: str, unit: str | None) -> float:
    if match := _THREE.fullmatch(core):
        return int(match[1]) * 3600.0 + int(match[2]) * 60.0 + int(match[3])
    if match := _HOURS.fullmatch(core):
        return int(match[1]) * 3600.0 + int(match[2]) * 60.0
    if match := _MINUTES.fullmatch(core):
        return int(match[1]) * 60.0 + int(match[2])
    if match := _COLON.fullmatch(core):
        large, small = int(match[1]), int(match[2])
        if kind == "burn_time":
            return large * 60.0 + small
        if kind == "bottom_time":
            return large * 3600.0 + small * 60.0
        raise Unreadable(
            f"has two readings: {large} min {small} s or {large} h {small} min; write {large * 60 + small}s, "
            f"{large * 60 + small}min or the clock times"
        )
    found = amount(core)
    if found is None:
        raise Unreadable(why_not(core) or "cannot be read as a time")
    behind = found.unit or (unit or "").strip().lower()
    if not behind:
        raise Unreadable(f"has no unit: {core}s or {core} min?")
    if behind not in _SECONDS:
        raise Unreadable(f"has '{behind}' behind the number, which is no unit of time (s, min, h)")
    return found.value * _SECONDS[behind]


_CLOCK = re.compile(r"([0-9]{1,2}):([0-9]{2})(?::([0-9]{2}))?|([0-9]{1,2})([0-9]{2})h?")


def _clock(core: str) -> float:
    match = _CLOCK.fullmatch(core)
    if match is None:
        raise Unreadable(why_not(core) or "is not a clock time")
    hours, minutes = int(match[1] or match[4]), int(match[2] or match[5])
    seconds = int(match[3] or 0)
    if hours > 23 or minutes > 59 or seconds > 59:
        raise Unreadable("is not a time between 0000 and 2359")
    return hours * 3600.0 + minutes * 60.0 + seconds


_RODS_AND_STUBS = re.compile(r"([0-9]{1,4})\s*(?:rods?|full)?\s*\+\s*(?=[0-9.])(.+)")


def _rods(core: str, typed: str) -> Reading:
    if match := _RODS_AND_STUBS.fullmatch(core):
        stubs = tuple(_stub(part.strip()) for part in re.split(r"[,;&]|\band\b", match[2]))
        return Reading(float(match[1]), "measured", typed, "rods", stubs)
    core, basis = split_basis(core)
    found = amount(core)
    if found is None:
        raise Unreadable(why_not(core) or "cannot be read as a number of rods")
    if found.unit not in ("", "rod", "rods"):
        raise Unreadable(f"has '{found.unit}' behind the number; stubs are written 7 + 6in")
    stated = found.value != math.floor(found.value)
    if stated and basis == "measured":
        basis = "estimated"
    return Reading(found.value, basis, typed, "rods", (), stated)


def _stub(core: str) -> float:
    found = amount(core)
    if found is None:
        raise Unreadable(why_not(core) or f"has a stub '{core}' that is not a length")
    if not found.unit:
        raise Unreadable(f"has a stub '{core}' without a unit: {core}in or {core}mm?")
    if found.unit not in _LENGTH:
        raise Unreadable(f"has a stub '{core}' that is not a length")
    return found.value * _LENGTH[found.unit]


_BANK = re.compile(
    rf"([0-9]{{1,3}})\s*(?:x|of)\s*({NUMBER})\s*(cf|scf|ft3|cuft|cu ft|l|litre|litres|liter|liters)"
    rf"(?:\s*(?:at|@|,)?\s*({NUMBER})\s*(bar|psi|kpa|mpa))?"
)


def read_bank(text: str) -> BankContents:
    """Read an oxygen bank.

    >>> read_bank("12 x 244 cf").cylinders
    12
    >>> read_bank("9 x 50 L 200 bar").label_kpa
    20000.0

    Raises
    ------
    ReadError
        Not a bank; or litres of water volume without the pressure that fills them.
    """
    examples = "try 12 x 244 cf, or 9 x 50 L 200 bar"
    if len(text) > LONGEST:
        raise ReadError(f"'{text[:20]}...' is not an oxygen bank; {examples}", text=text, kind="bank")
    match = _BANK.fullmatch(clean(text))
    if match is None:
        raise ReadError(f"'{text.strip()}' is not an oxygen bank; {examples}", text=text, kind="bank")
    count, each, unit = int(match[1]), amount(match[2]), match[3]
    pressure = amount(match[4]) if match[4] else None
    label = None if pressure is None else pressure.value * _PRESSURE[match[5]]
    if each is None or count < 1 or each.value <= 0:
        raise ReadError(f"'{text.strip()}' is not an oxygen bank; {examples}", text=text, kind="bank")
    water = unit.startswith("l")
    if water and label is None:
        raise ReadError(
            f"'{text.strip()}' gives litres of water volume without the pressure that fills them; "
            "write 9 x 50 L 200 bar",
            text=text,
            kind="bank",
        )
    return BankContents(count, each.value, "water volume real gas" if water else "label volume", label, text.strip())


def whole_or_part(text: str) -> float | None:
    """The share of a line that words stand for: `all` is 1, `half` 0.5; None for anything else.

    >>> whole_or_part("all"), whole_or_part("~half"), whole_or_part("2 ft")
    (1.0, 0.5, None)
    """
    core = clean(text)
    if core in ("all", "all of it", "whole", "full"):
        return 1.0
    if core in ("half", "about half", "~half", "1/2 of it"):
        return 0.5
    return None


def show(value: float, kind: str, profile: str = "metric") -> str:
    """The value as text that `read` reads back to 1e-9: in inches and feet for ``us``, else metric. ASCII.

    Parameters
    ----------
    value : float
        In the canonical unit of the kind.
    kind : str
        Entry of `KINDS`.
    profile : str
        ``us`` or ``metric``.

    Examples
    --------
    >>> show(15.875, "thickness", "us"), show(15.875, "thickness")
    ('5/8 in', '15.875 mm')
    >>> show(457.2, "length", "us")
    '1 ft 6 in'
    """
    us = profile == "us"
    if kind in ("thickness", "diameter"):
        return _inches(value) if us else f"{_plain(value)} mm"
    if kind == "length":
        return _feet(value) if us else (f"{_plain(value / 1000)} m" if value >= 1000 else f"{_plain(value)} mm")
    if kind == "depth":
        return f"{_plain(value * KPA_PER_MSW / KPA_PER_FSW)} fsw" if us else f"{_plain(value)} msw"
    if kind == "elevation":
        sign = "-" if value < 0 else "+"
        return f"{sign}{_plain(abs(value) / 0.3048)} ft" if us else f"{sign}{_plain(abs(value))} m"
    if kind == "pressure":
        return f"{_plain(value / KPA_PER_PSI)} psi" if us else f"{_plain(value / 100)} bar"
    if kind == "temperature":
        return _temperature(value, us)
    if kind in _TIMES:
        return _time(value)
    if kind == "clock":
        total = round(value)
        seconds = f":{total % 60:02d}" if total % 60 else ""
        return f"{total // 3600:02d}:{total // 60 % 60:02d}{seconds}"
    if kind == "mass":
        return f"{_plain(value / 0.45359237)} lb" if us else f"{_plain(value)} kg"
    unit = KINDS[kind].unit if kind not in ("rods", "count", "whole", "number") else ""
    return f"{_plain(value)} {unit}".strip()


def _plain(value: float) -> str:
    """Up to 12 digits, never in powers of ten."""
    text = f"{value:.12g}"
    return format(Decimal(text), "f") if "e" in text else text


def _fraction(inches: float) -> str | None:
    """Inches as a whole number and 64ths, where they are exactly that."""
    parts = inches * 64
    if abs(parts - round(parts)) > 1e-9 * max(1.0, parts):
        return None
    whole, rest = divmod(round(parts), 64)
    if not rest:
        return f"{whole}"
    shared = math.gcd(rest, 64)
    small = f"{rest // shared}/{64 // shared}"
    return f"{whole}-{small}" if whole else small


def _inches(value: float) -> str:
    inches = value / MM_PER_IN
    return f"{_fraction(inches) or _plain(inches)} in"


def _feet(value: float) -> str:
    inches = value / MM_PER_IN
    feet = int(inches // 12)
    rest = _fraction(inches - 12 * feet)
    if rest is None or inches < 12:
        return f"{_plain(inches / 12)} ft" if inches >= 12 else _inches(value)
    return f"{feet} ft" if rest == "0" else f"{feet} ft {rest} in"


def _temperature(value: float, us: bool) -> str:
    shown = value * 1.8 + 32.0 if us else value
    return f"{_plain(shown)} {'F' if us else 'C'}"


def _time(value: float) -> str:
    if value >= 60 and value % 60 == 0:
        return f"{_plain(value / 60)} min"
    return f"{_plain(value)}s"
