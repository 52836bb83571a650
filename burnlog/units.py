"""Reads what people type into SI: every notation of a wet sheet, and none that has two readings.

A value keeps three things: the number in the one canonical unit of its kind (`KINDS`), the text as typed, and the
basis (measured, estimated, at least ...). What has two honest readings is refused with both of them named: a silent
wrong guess costs more than a question. Values are computed exactly and rounded once.

Depth is a pressure. fsw and msw are pressures by definition; on a salt job a foot is a fsw and a metre a msw, on a
fresh one 1000 kg/m3 stands above [dmath]_. Elevation hangs from a datum and may be above water. Pressures are gauge.

Rods and banks are read here, the rest in `quantities` and `times`; the tables stand in
`measures`, the way back to text in `wording`. What others need of them is reached from here.

References
----------
.. [dmath] `usn-fsw`, `msw`, `si-brochure`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from functools import lru_cache
from typing import cast

from burnlog.errors import ReadError
from burnlog.measures import (
    KINDS,
    KPA_PER_FSW,
    KPA_PER_M_FRESH,
    KPA_PER_MSW,
    KPA_PER_PSI,
    LENGTHS,
    MM_PER_IN,
    PRESSURES,
    SECONDS,
    TEMPERATURES,
    BankContents,
    Kind,
    Reading,
)
from burnlog.notation import LONGEST, NUMBER, Unreadable, clean, missing, number
from burnlog.quantities import (
    basis_of,
    cannot_read,
    checked,
    depth,
    elevation,
    is_depth_of_water,
    length,
    measured,
    temperature,
)
from burnlog.times import COLONS, clock, duration
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
    known = known or (kind == "depth" and is_depth_of_water(word))
    known = known or (kind == "temperature" and word in TEMPERATURES)
    known = known or (spec.units is SECONDS and word in COLONS)
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
        return _READERS.get(kind, measured)(core, typed, spec, water, unit)
    except Unreadable as reason:
        raise _refusal(typed, spec, str(reason)) from None


def _refusal(typed: str, spec: Kind, reason: str) -> ReadError:
    first, second = spec.examples
    return ReadError(f"'{typed}' {reason}; for {spec.meaning} try {first} or {second}", text=typed, kind=spec.name)


_RODS = re.compile(rf"({NUMBER})(?:\s*(?:rods?|full|whole))*(?:\s*\+\s*(.+))?")
_BETWEEN_STUBS = re.compile(r"\s*(?:[,;+&]|\band\b)\s*")
_STUB = Kind("stub", "mm", "a stub", ("6in", "150 mm"), LENGTHS, 1e4, ("in", "mm"))


def _rods(core: str, typed: str, spec: Kind, water: str | None, unit: str | None) -> Reading:
    core, basis = basis_of(core, spec)
    match = _RODS.fullmatch(core)
    if match is None:
        raise Unreadable(cannot_read(core, spec))
    if "," in match[1]:
        raise Unreadable("has a comma, so it may be a list; six and a half is written 6.5")
    exact = number(match[1])
    full, stated = checked(exact, spec), exact.denominator != 1
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
            stubs.append(checked(length(part, _STUB, None), _STUB))
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
        raise Unreadable(cannot_read(basis_of(core, spec)[0], spec))
    cylinders, each, word = int(match[1] or 1), number(match[2]), match[3]
    pressure = number(match[4]) * PRESSURES[match[5]] if match[4] else None
    if not cylinders or not each or pressure == 0:
        raise Unreadable("has a zero, and a bank has cylinders with something in them")
    if pressure is not None:
        checked(pressure, KINDS["pressure"])
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
        each=checked(each, spec),
        route=route,
        label_kpa=None if pressure is None else float(pressure),
    )


_Reader = Callable[[str, str, Kind, str | None, str | None], Reading]
_READERS: Mapping[str, _Reader] = {
    "depth": depth,
    "elevation": elevation,
    "temperature": temperature,
    **dict.fromkeys(("burn_time", "bottom_time", "elapsed", "duration"), duration),
    "clock": clock,
    "rods": _rods,
    "bank": _bank,
}
