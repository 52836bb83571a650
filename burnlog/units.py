"""Reads what people type into SI: every notation of a wet sheet, and none that has two readings.

A value keeps three things: the number in the one canonical unit of its kind (`KINDS`), the text as typed, and the
basis (measured, estimated, at least ...). What has two honest readings is refused with both of them named: a silent
wrong guess costs more than a question. Values are computed exactly and rounded once.

Depth is a pressure. fsw and msw are pressures by definition; on a salt job a foot is a fsw and a metre a msw, on a
fresh one 1000 kg/m3 stands above [dmath]_. Elevation hangs from a datum and may be above water. Pressures are gauge.

The tables stand in `measures`, the way back to text in `wording`; both are reached from here.

References
----------
.. [dmath] `usn-fsw`, `msw`, `si-brochure`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from fractions import Fraction
from functools import lru_cache
from typing import cast

from burnlog.errors import ReadError
from burnlog.measures import (
    INCH,
    KINDS,
    KPA_PER_FSW,
    KPA_PER_M_FRESH,
    KPA_PER_MSW,
    KPA_PER_PSI,
    LB_PER_FT2_PER_IN,
    LENGTHS,
    MM_PER_IN,
    PRESSURES,
    SECONDS,
    TEMPERATURES,
    BankContents,
    Kind,
    Reading,
)
from burnlog.notation import (
    LONGEST,
    NUMBER,
    Amount,
    Unreadable,
    amount,
    clean,
    missing,
    number,
    split_basis,
    why_not,
)
from burnlog.wording import describe, show

__all__ = [
    "KINDS",
    "KPA_PER_FSW",
    "KPA_PER_MSW",
    "KPA_PER_M_FRESH",
    "KPA_PER_PSI",
    "MM_PER_IN",
    "BankContents",
    "Kind",
    "Reading",
    "check_unit",
    "describe",
    "read",
    "read_bank",
    "show",
    "whole_or_part",
]


def read(text: str, kind: str, *, water: str | None = None, unit: str | None = None) -> Reading:
    """Read one value as typed.

    Parameters
    ----------
    text : str
        What was typed. Blank, `-`, `?` and `nr` are not recorded; `na` does not apply; `0` is zero.
    kind : str
        Entry of `KINDS`; it decides what `0:45` or a bare fraction means.
    water : str, optional
        Water of the job (salt, fresh, brackish, none): turns feet and metres of depth into pressure.
    unit : str, optional
        Unit of bare numbers, from a column header such as ``thickness [mm]`` or the job's profile.

    Returns
    -------
    Reading
        `BankContents` for the kind ``bank``.

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
    >>> round(read("45 ft", "depth", water="fresh").value, 2)
    13.45
    >>> read("7+", "count").basis
    'at least'
    """
    spec = KINDS.get(kind)
    if spec is None:
        raise ReadError(f"no such kind of field: {kind!r}; there are {', '.join(KINDS)}", text=text, kind=kind)
    if len(text) > LONGEST:
        raise _refusal(text[:20] + "...", spec, f"is {len(text)} characters long, and a value has {LONGEST} at most")
    return _read(text, kind, water, unit)


def read_bank(text: str) -> BankContents:
    """Read an oxygen bank; `BankContents.value` is None for a blank.

    Raises
    ------
    ReadError
        Not a bank; or litres of water volume without the pressure that fills them.

    Examples
    --------
    >>> read_bank("12 x 244 cf").cylinders
    12
    >>> read_bank("9 x 50 L 200 bar").label_kpa
    20000.0
    """
    return cast(BankContents, read(text, "bank"))


_WHOLE = frozenset(("all", "all of it", "whole", "full", "the lot"))
_HALF = frozenset(("half", "half of it", "about half", "~half", "~ half", "half est"))


def whole_or_part(text: str) -> float | None:
    """The share of a line that words stand for: `all` is 1, `half` 0.5; None for anything else.

    *Half* is a guess whoever says it: its basis is *estimated*.

    >>> whole_or_part("all"), whole_or_part("~half"), whole_or_part("2 ft")
    (1.0, 0.5, None)
    """
    core = clean(text)
    if core in _WHOLE:
        return 1.0
    return 0.5 if core in _HALF else None


def check_unit(unit: str, kind: str) -> str:
    """The spelling of a header's unit as `read` knows it.

    Raises
    ------
    ReadError
        `kind` is not measured in it.

    Examples
    --------
    >>> check_unit("MPa", "pressure")
    'mpa'
    """
    spec = KINDS[kind]
    word = clean(unit)
    known = word in spec.units and word != ""
    known = known or (kind == "depth" and _is_depth_of_water(word))
    known = known or (kind == "temperature" and word in TEMPERATURES)
    known = known or (spec.units is SECONDS and word in _COLONS)
    if not known:
        wanted = " or ".join(name for name in spec.ask if name) or spec.unit or "no unit at all"
        raise ReadError(f"'{unit}' is no unit of {spec.meaning}; write {wanted}", text=unit, kind=kind)
    return word


@lru_cache(maxsize=65_536)  # a season's sheets hold few different texts
def _read(text: str, kind: str, water: str | None, unit: str | None) -> Reading:
    spec = KINDS[kind]
    typed = text.strip()
    core = clean(text)
    if (absent := missing(core)) is not None:
        return (BankContents if kind == "bank" else Reading)(None, absent, typed, kind)
    if unit is not None:
        unit = check_unit(unit, kind)
    try:
        return _READERS.get(kind, _measured)(core, typed, spec, water, unit)
    except Unreadable as reason:
        raise _refusal(typed, spec, str(reason)) from None


def _refusal(typed: str, spec: Kind, reason: str) -> ReadError:
    first, second = spec.examples
    return ReadError(f"'{typed}' {reason}; for {spec.meaning} try {first} or {second}", text=typed, kind=spec.name)


def _reason(core: str, spec: Kind) -> str:
    return why_not(core) or f"cannot be read as {spec.meaning}"


def _basis(core: str, spec: Kind) -> tuple[str, str]:
    core, basis = split_basis(core)
    if basis != "measured" and (spec.marks == "none" or (spec.marks == "about" and basis != "estimated")):
        raise Unreadable(f"is marked as {basis}, and {spec.meaning} carries no such mark")
    return core, basis


def _checked(exact: Fraction, spec: Kind) -> float:
    """The value, once, as the nearest float; refused where only a slip can have made it."""
    value = float(exact)
    if abs(value) > spec.most:
        raise Unreadable(f"is {value:.6g} {spec.unit}".rstrip() + f", too much for {spec.meaning}")
    if not value and not spec.zero:
        raise Unreadable(f"is zero, which {spec.meaning} cannot be")
    if spec.whole and exact.denominator != 1:
        raise Unreadable("is not a whole number")
    return value


def _measured(core: str, typed: str, spec: Kind, water: str | None, unit: str | None) -> Reading:
    core, basis = _basis(core, spec)
    exact = _length(core, spec, unit) if spec.units is LENGTHS else _scaled(core, spec, unit)
    return Reading(_checked(exact, spec), basis, typed, spec.name)


def _scaled(core: str, spec: Kind, unit: str | None) -> Fraction:
    found = amount(core)
    if found is None:
        raise Unreadable(_reason(core, spec))
    return found.value * _size(found, core, spec, unit)


_UNIT_WORD = re.compile(r"[a-z]+|[\"'%]")


def _size(found: Amount, core: str, spec: Kind, unit: str | None) -> Fraction:
    """Size of the unit behind a number. A bare number takes the column's unit; a bare 0 needs none."""
    word = found.unit
    if not word:
        if found.comma and unit is None:
            raise Unreadable("has a comma and no unit, so it may be a list; write a decimal point")
        if unit is not None:
            return spec.units[unit]
        if found.value == 0 or "" in spec.units:
            return Fraction(1)
        raise Unreadable(_no_unit(core, spec))
    if word in spec.units:
        return spec.units[word]
    if spec.units is PRESSURES and word in ("psia", "bara", "psi a", "bar a"):
        raise Unreadable("is an absolute pressure; write what the gauge shows, which reads against air")
    if reason := why_not(core):
        raise Unreadable(reason)
    words = set(_UNIT_WORD.findall(word))
    if len({spec.units[name] for name in words & spec.units.keys()}) > 1:
        raise Unreadable("has two units that disagree")
    raise Unreadable(f"has '{word}' behind the number, which is no unit of {spec.meaning}")


def _no_unit(core: str, spec: Kind) -> str:
    one, two = spec.ask
    return f"has no unit: {core} {one} or {core} {two}?"


_FEET_INCHES = re.compile(rf"([0-9]+)\s*(?:'|ft\.?|foot|feet)\s*-?\s*({NUMBER})\s*(?:\"|in\.?|inch|inches)?")
_PLATE = re.compile(rf"({NUMBER})\s*lbs?\.? plate")


def _length(core: str, spec: Kind, unit: str | None) -> Fraction:
    """Millimetres (metres for an elevation). A bare fraction is inches; inches may follow feet."""
    found = amount(core)
    inch = spec.units["in"]
    if found is not None and not found.unit and found.fraction:
        if unit is not None and spec.units[unit] != inch:
            raise Unreadable(
                f"is a bare fraction, which is inches, in a column of {unit}; write {core} in or {core} {unit}"
            )
        return found.value * inch
    if found is not None and (not found.unit or found.unit in spec.units):
        return found.value * _size(found, core, spec, unit)
    if match := _FEET_INCHES.fullmatch(core):
        inches = number(match[2])
        if inches >= 12 or "," in match[2]:
            raise Unreadable("has inches behind the feet that are not between 0 and 12")
        return (int(match[1]) * 12 + inches) * inch
    if spec.name == "thickness" and (match := _PLATE.fullmatch(core)):
        return number(match[1]) / LB_PER_FT2_PER_IN * INCH
    if found is None:
        raise Unreadable(_reason(core, spec))
    return _size(found, core, spec, unit)


_OF_WATER = re.compile(r"(.+?)\s+(salt|fresh)(?:\s*water)?")


def _is_depth_of_water(word: str) -> bool:
    return LENGTHS.get(word) in (LENGTHS["ft"], LENGTHS["m"])


def _depth(core: str, typed: str, spec: Kind, water: str | None, unit: str | None) -> Reading:
    if water == "none":
        raise Unreadable("is a depth, and a dry practice burn has none; leave it blank or write na")
    core, basis = _basis(core, spec)
    if match := _OF_WATER.fullmatch(core):
        core, water = match[1], match[2]
    found = amount(core)
    if found is not None and not found.unit and unit is not None:
        found = found._replace(unit=unit)
        core = f"{core} {unit}"
    if found is not None and (not found.unit or found.unit in spec.units):
        exact = found.value * _size(found, core, spec, None)
    elif _FEET_INCHES.fullmatch(core):
        exact = _water_column(core, _length(core, KINDS["length"], None), feet=True, water=water)
    elif found is not None and _is_depth_of_water(found.unit):
        feet = LENGTHS[found.unit] == LENGTHS["ft"]
        exact = _water_column(core, found.value * LENGTHS[found.unit], feet=feet, water=water)
    elif found is not None:
        raise Unreadable(why_not(core) or f"has '{found.unit}' behind the number; depth is in fsw, msw, ft or m")
    else:
        raise Unreadable(_reason(core, spec))
    return Reading(_checked(exact, spec), basis, typed, spec.name)


def _water_column(core: str, length_mm: Fraction, *, feet: bool, water: str | None) -> Fraction:
    """msw that a length of this water weighs."""
    salt = length_mm / LENGTHS["ft"] * KINDS["depth"].units["fsw"] if feet else length_mm / 1000
    fresh = length_mm / 1000 * _FRESH_MSW_PER_M
    if water == "salt":
        return salt
    if water == "fresh":
        return fresh
    both = f"{core} salt is {float(salt):.4g} msw, {core} fresh is {float(fresh):.4g} msw"
    if water == "brackish":
        raise Unreadable(f"is a length of brackish water, which has no one density ({both}); write it in fsw or msw")
    raise Unreadable(f"is a length of water, and nobody said which water: {both}; write one of them, or fsw or msw")


_FRESH_MSW_PER_M = Fraction("0.980665")
_LEVEL = re.compile(r"(above|below|\+|-)\s*(.*)")


def _elevation(core: str, typed: str, spec: Kind, water: str | None, unit: str | None) -> Reading:
    core, basis = _basis(core, spec)
    match = _LEVEL.fullmatch(core)
    size = _length(match[2] if match else core, spec, unit)
    if size and match is None:
        raise Unreadable(f"does not say above or below the datum: +{core} or -{core}?")
    below = match is not None and match[1] in ("-", "below")
    return Reading(_checked(-size if below else size, spec), basis, typed, spec.name)


_SIGNED = re.compile(r"([+-]?)\s*([0-9.].*)")


def _temperature(core: str, typed: str, spec: Kind, water: str | None, unit: str | None) -> Reading:
    core, basis = _basis(core, spec)
    match = _SIGNED.fullmatch(core)
    found = amount(match[2]) if match else None
    if match is None or found is None:
        raise Unreadable(_reason(core, spec))
    word = found.unit or unit
    if not word:
        raise Unreadable(_no_unit(core, spec))
    if word not in TEMPERATURES:
        raise Unreadable(why_not(core) or f"has '{word}' behind the number; temperature is in C or F")
    degrees = -found.value if match[1] == "-" else found.value
    celsius = degrees if TEMPERATURES[word] == "c" else (degrees - 32) * 5 / 9
    if celsius < _ABSOLUTE_ZERO_C:
        raise Unreadable("is colder than anything")
    return Reading(_checked(celsius, spec), basis, typed, spec.name)


_ABSOLUTE_ZERO_C = Fraction("-273.15")
_COLONS = frozenset(("m:ss", "mm:ss", "h:mm", "hh:mm"))
_TWO_PARTS = re.compile(r"([0-9]{1,6}):([0-9]{2})")
_THREE_PARTS = re.compile(r"([0-9]{1,4}):([0-9]{2}):([0-9]{2})")
_TIME_WORDS = re.compile(
    r"(?:([0-9]{1,6})\s*(?:h|hr|hrs|hour|hours)\s*)?"
    r"(?:([0-9]{1,6})\s*(?:m|min|mins|minute|minutes)?\s*)?"
    r"(?:([0-9]{1,6})\s*(?:s|sec|secs|second|seconds))?"
)
_MOST_CLOCK_HOURS = 24


def _duration(core: str, typed: str, spec: Kind, water: str | None, unit: str | None) -> Reading:
    core, basis = _basis(core, spec)
    colon = spec.colon
    if unit in _COLONS:
        colon, unit = unit[-4:], None
    return Reading(_checked(_seconds(core, spec, unit, colon), spec), basis, typed, spec.name)


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
        return found.value * _size(found, core, spec, unit)
    if match := _TIME_WORDS.fullmatch(core):
        told = [None if part is None else int(part) for part in match.groups()]
        for large, small in ((told[0], told[1]), (told[0], told[2]), (told[1], told[2])):
            if large is not None and small is not None and small >= 60:
                raise Unreadable("has 60 or more behind hours or minutes")
        if told[0] is not None or told[2] is not None:
            return Fraction((told[0] or 0) * 3600 + (told[1] or 0) * 60 + (told[2] or 0))
    if found is None:
        raise Unreadable(_reason(core, spec))
    return _size(found, core, spec, unit)


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


def _clock(core: str, typed: str, spec: Kind, water: str | None, unit: str | None) -> Reading:
    core, basis = _basis(core, spec)
    match = _CLOCK.fullmatch(core)
    if match is None:
        if len(core) <= 2 and core.isascii() and core.isdigit():
            raise Unreadable(f"has two readings: {int(core):02d}:00 or 00:{int(core):02d}")
        raise Unreadable(_reason(core, spec))
    hour, minute, second = int(match[1] or match[5]), int(match[2] or match[6]), int(match[3] or 0)
    if match[4]:
        if not 1 <= hour <= 12:
            raise Unreadable(f"is no time of day: {hour} with {match[4]}")
        hour = hour % 12 + (12 if match[4] == "pm" else 0)
    if hour > 23 or minute > 59 or second > 59:
        raise Unreadable("is no time of day, which runs from 0000 to 2359")
    return Reading(float(hour * 3600 + minute * 60 + second), basis, typed, spec.name)


_RODS = re.compile(rf"({NUMBER})(?:\s*(?:rods?|full|whole))*(?:\s*\+\s*(.+))?")
_BETWEEN_STUBS = re.compile(r"\s*(?:[,;+&]|\band\b)\s*")
_STUB = Kind("stub", "mm", "a stub", ("6in", "150 mm"), LENGTHS, 1e4, ("in", "mm"))


def _rods(core: str, typed: str, spec: Kind, water: str | None, unit: str | None) -> Reading:
    core, basis = _basis(core, spec)
    match = _RODS.fullmatch(core)
    if match is None:
        raise Unreadable(_reason(core, spec))
    if "," in match[1]:
        raise Unreadable("has a comma, so it may be a list; six and a half is written 6.5")
    exact = number(match[1])
    full, stated = _checked(exact, spec), exact.denominator != 1
    if stated and match[2]:
        raise Unreadable("tells part rods twice, in the number and as stubs; write whole rods + stubs")
    if stated and basis == "measured":
        basis = "estimated"
    stubs = _stubs(match[2]) if match[2] else ()
    return Reading(full, basis, typed, spec.name, stubs, stated)


def _stubs(text: str) -> tuple[float, ...]:
    """Stub lengths [mm]: `6in,9in` are two, `6,5 in` is one with a decimal comma."""
    parts = _BETWEEN_STUBS.split(text)
    if len(parts) == 2 and parts[0].isascii() and parts[0].isdigit() and "," in text:
        parts = [text]
    stubs = []
    for part in parts:
        try:
            stubs.append(_checked(_length(part, _STUB, None), _STUB))
        except Unreadable as reason:
            raise Unreadable(
                f"has a stub '{part}' that {reason}" if part else "has no stub behind the plus"
            ) from None
    return tuple(stubs)


_BANK = re.compile(
    rf"(?:([0-9]{{1,3}})\s*(?:x|\*|of)\s*)?({NUMBER})\s*([a-z][a-z0-9. ]*?)"
    rf"(?:\s*(?:at|@|,)?\s*({NUMBER})\s*({'|'.join(PRESSURES)}))?"
)
_CUBIC_FEET = frozenset(("cf", "scf", "ft3", "cu ft", "cuft", "cu. ft.", "cu.ft."))
_LITRES = frozenset(("l", "litre", "litres", "liter", "liters"))
_CUBIC_METRES = frozenset(("m3", "nm3", "sm3"))


def _bank(core: str, typed: str, spec: Kind, water: str | None, unit: str | None) -> Reading:
    match = _BANK.fullmatch(core)
    if match is None:
        raise Unreadable(_reason(_basis(core, spec)[0], spec))
    cylinders, each, word = int(match[1] or 1), number(match[2]), match[3]
    pressure = number(match[4]) * PRESSURES[match[5]] if match[4] else None
    if not cylinders or not each or pressure == 0:
        raise Unreadable("has a zero, and a bank has cylinders with something in them")
    if pressure is not None:
        _checked(pressure, KINDS["pressure"])
    if word in _CUBIC_FEET:
        route = "label volume"
    elif word in _LITRES:
        route = "water volume real gas"
        if pressure is None:
            raise Unreadable("gives litres of water volume without the pressure that fills them")
    elif word in KINDS["mass"].units:
        route, each = "weighed", each * KINDS["mass"].units[word]
    elif word in _CUBIC_METRES:
        raise Unreadable(
            "gives cubic metres, which one label means at 0 C and another at 15 C; write cf, kg, or the litres of "
            "water volume with their pressure"
        )
    else:
        raise Unreadable(f"has '{word}' behind the number; a cylinder is told in cf, L with a pressure, or kg")
    return BankContents(
        float(cylinders),
        "measured",
        typed,
        spec.name,
        each=_checked(each, spec),
        route=route,
        label_kpa=None if pressure is None else float(pressure),
    )


_Reader = Callable[[str, str, Kind, str | None, str | None], Reading]
_READERS: Mapping[str, _Reader] = {
    "depth": _depth,
    "elevation": _elevation,
    "temperature": _temperature,
    **dict.fromkeys(("burn_time", "bottom_time", "elapsed", "duration"), _duration),
    "clock": _clock,
    "rods": _rods,
    "bank": _bank,
}
