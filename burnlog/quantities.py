"""Reads quantities: a number and its unit, lengths in feet and inches, depths, elevations, temperatures.

Each reader takes the cleaned text, the text as typed, its kind, the job's water and the column's unit, and gives a
`Reading` or raises `Unreadable` with the reason. `units` chooses the reader and puts the reason into a sentence.
"""

from __future__ import annotations

import re
from fractions import Fraction

from burnlog.measures import INCH, KINDS, LB_PER_FT2_PER_IN, LENGTHS, PRESSURES, TEMPERATURES, Kind, Reading
from burnlog.notation import NUMBER, Amount, Unreadable, amount, number, split_basis, why_not

__all__ = [
    "basis_of",
    "cannot_read",
    "checked",
    "depth",
    "elevation",
    "is_depth_of_water",
    "length",
    "measured",
    "scaled",
    "size_of",
    "temperature",
]


def cannot_read(core: str, spec: Kind) -> str:
    return why_not(core) or f"cannot be read as {spec.meaning}"


def basis_of(core: str, spec: Kind) -> tuple[str, str]:
    core, basis = split_basis(core)
    if basis != "measured" and (spec.marks == "none" or (spec.marks == "about" and basis != "estimated")):
        raise Unreadable(f"is marked as {basis}, and {spec.meaning} carries no such mark")
    return core, basis


def checked(exact: Fraction, spec: Kind) -> float:
    """The value, once, as the nearest float; refused where only a slip can have made it."""
    value = float(exact)
    if abs(value) > spec.most:
        raise Unreadable(f"is {value:.6g} {spec.unit}".rstrip() + f", too much for {spec.meaning}")
    if not value and not spec.zero:
        raise Unreadable(f"is zero, which {spec.meaning} cannot be")
    if spec.whole and exact.denominator != 1:
        raise Unreadable("is not a whole number")
    return value


def measured(core: str, typed: str, spec: Kind, water: str | None, unit: str | None) -> Reading:
    core, basis = basis_of(core, spec)
    exact = length(core, spec, unit) if spec.units is LENGTHS else scaled(core, spec, unit)
    return Reading(checked(exact, spec), basis, typed, spec.name)


def scaled(core: str, spec: Kind, unit: str | None) -> Fraction:
    found = amount(core)
    if found is None:
        raise Unreadable(cannot_read(core, spec))
    return found.value * size_of(found, core, spec, unit)


_UNIT_WORD = re.compile(r"[a-z]+|[\"'%]")


def size_of(found: Amount, core: str, spec: Kind, unit: str | None) -> Fraction:
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


def length(core: str, spec: Kind, unit: str | None) -> Fraction:
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
        return found.value * size_of(found, core, spec, unit)
    if match := _FEET_INCHES.fullmatch(core):
        inches = number(match[2])
        if inches >= 12 or "," in match[2]:
            raise Unreadable("has inches behind the feet that are not between 0 and 12")
        return (int(match[1]) * 12 + inches) * inch
    if spec.name == "thickness" and (match := _PLATE.fullmatch(core)):
        return number(match[1]) / LB_PER_FT2_PER_IN * INCH
    if found is None:
        raise Unreadable(cannot_read(core, spec))
    return size_of(found, core, spec, unit)


_OF_WATER = re.compile(r"(.+?)\s+(salt|fresh)(?:\s*water)?")


def is_depth_of_water(word: str) -> bool:
    return LENGTHS.get(word) in (LENGTHS["ft"], LENGTHS["m"])


def depth(core: str, typed: str, spec: Kind, water: str | None, unit: str | None) -> Reading:
    if water == "none":
        raise Unreadable("is a depth, and a dry practice burn has none; leave it blank or write na")
    core, basis = basis_of(core, spec)
    if match := _OF_WATER.fullmatch(core):
        core, water = match[1], match[2]
    found = amount(core)
    if found is not None and not found.unit and unit is not None:
        found = found._replace(unit=unit)
        core = f"{core} {unit}"
    if found is not None and (not found.unit or found.unit in spec.units):
        exact = found.value * size_of(found, core, spec, None)
    elif _FEET_INCHES.fullmatch(core):
        exact = _water_column(core, length(core, KINDS["length"], None), feet=True, water=water)
    elif found is not None and is_depth_of_water(found.unit):
        feet = LENGTHS[found.unit] == LENGTHS["ft"]
        exact = _water_column(core, found.value * LENGTHS[found.unit], feet=feet, water=water)
    elif found is not None:
        raise Unreadable(why_not(core) or f"has '{found.unit}' behind the number; depth is in fsw, msw, ft or m")
    else:
        raise Unreadable(cannot_read(core, spec))
    return Reading(checked(exact, spec), basis, typed, spec.name)


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


def elevation(core: str, typed: str, spec: Kind, water: str | None, unit: str | None) -> Reading:
    core, basis = basis_of(core, spec)
    match = _LEVEL.fullmatch(core)
    size = length(match[2] if match else core, spec, unit)
    if size and match is None:
        raise Unreadable(f"does not say above or below the datum: +{core} or -{core}?")
    below = match is not None and match[1] in ("-", "below")
    return Reading(checked(-size if below else size, spec), basis, typed, spec.name)


_SIGNED = re.compile(r"([+-]?)\s*([0-9.].*)")


def temperature(core: str, typed: str, spec: Kind, water: str | None, unit: str | None) -> Reading:
    core, basis = basis_of(core, spec)
    match = _SIGNED.fullmatch(core)
    found = amount(match[2]) if match else None
    if match is None or found is None:
        raise Unreadable(cannot_read(core, spec))
    word = found.unit or unit
    if not word:
        raise Unreadable(_no_unit(core, spec))
    if word not in TEMPERATURES:
        raise Unreadable(why_not(core) or f"has '{word}' behind the number; temperature is in C or F")
    degrees = -found.value if match[1] == "-" else found.value
    celsius = degrees if TEMPERATURES[word] == "c" else (degrees - 32) * 5 / 9
    if celsius < _ABSOLUTE_ZERO_C:
        raise Unreadable("is colder than anything")
    return Reading(checked(celsius, spec), basis, typed, spec.name)


_ABSOLUTE_ZERO_C = Fraction("-273.15")
