"""What can be measured: the field kinds, the unit words of each, and the shape of a value once it is understood.

Tables only, so that `units` (reading) and `wording` (showing) share one set of numbers. Sizes are exact fractions:
what is typed as 6 in is stored as 152.4 mm and not as its neighbour.

By definition 1 in = 25.4 mm, 1 lb = 0.45359237 kg, g = 9.80665 m/s2, and 1 psi follows from the three [1]_; 1 msw =
10 kPa by definition [2]_, 1 fsw = 3.0643 kPa [3]_. Plate ordered by weight is 40.8 lb/ft2 to the inch [4]_.

References
----------
.. [1] `si-brochure`.
.. [2] `msw`.
.. [3] `usn-fsw`.
.. [4] `plate-by-weight`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

__all__ = [
    "FSW",
    "INCH",
    "KINDS",
    "KPA_PER_FSW",
    "KPA_PER_MSW",
    "KPA_PER_M_FRESH",
    "KPA_PER_PSI",
    "LB_PER_FT2_PER_IN",
    "LENGTHS",
    "MM_PER_IN",
    "PRESSURES",
    "SECONDS",
    "TEMPERATURES",
    "BankContents",
    "Kind",
    "Reading",
]

INCH = Fraction("25.4")
_POUND = Fraction("0.45359237")
_GRAVITY = Fraction("9.80665")
_PSI = _POUND * _GRAVITY / (INCH / 1000) ** 2 / 1000
FSW = Fraction("3.0643")

MM_PER_IN = 25.4
KPA_PER_PSI = float(_PSI)
KPA_PER_FSW = float(FSW)
KPA_PER_MSW = 10.0
KPA_PER_M_FRESH = 9.80665
"""Pressure under a metre of fresh water, 1000 kg/m3 under standard gravity [kPa/m]."""
LB_PER_FT2_PER_IN = Fraction("40.8")
"""Weight of steel plate one inch thick, as plate is ordered by weight (from memory)."""

_ONE = Fraction(1)
LENGTHS: Mapping[str, Fraction] = {
    **dict.fromkeys(("mm", "millimetre", "millimetres", "millimeter", "millimeters"), _ONE),
    **dict.fromkeys(("cm", "centimetre", "centimetres", "centimeter", "centimeters"), Fraction(10)),
    **dict.fromkeys(("m", "metre", "metres", "meter", "meters"), Fraction(1000)),
    **dict.fromkeys(("in", '"', "inch", "inches", "in."), INCH),
    **dict.fromkeys(("ft", "'", "foot", "feet", "ft."), 12 * INCH),
}
_METRES = {word: size / 1000 for word, size in LENGTHS.items()}
PRESSURES: Mapping[str, Fraction] = {
    **dict.fromkeys(("kpa", "kpag"), _ONE),
    **dict.fromkeys(("bar", "barg", "bars"), Fraction(100)),
    **dict.fromkeys(("mpa", "mpag"), Fraction(1000)),
    **dict.fromkeys(("psi", "psig"), _PSI),
}
SECONDS: Mapping[str, Fraction] = {
    **dict.fromkeys(("s", "sec", "secs", "second", "seconds"), _ONE),
    **dict.fromkeys(("min", "mins", "minute", "minutes", "m"), Fraction(60)),
    **dict.fromkeys(("h", "hr", "hrs", "hour", "hours"), Fraction(3600)),
}
_MASSES = {
    **dict.fromkeys(("kg", "kgs", "kilogram", "kilograms"), _ONE),
    "g": Fraction(1, 1000),
    **dict.fromkeys(("lb", "lbs", "pound", "pounds"), _POUND),
}
TEMPERATURES: Mapping[str, str] = {
    **dict.fromkeys(("c", "degc", "deg c", "celsius"), "c"),
    **dict.fromkeys(("f", "degf", "deg f", "fahrenheit"), "f"),
}
_DEPTHS = {"fsw": FSW / 10, "msw": _ONE}
_AMPERES = dict.fromkeys(("", "a", "amp", "amps", "ampere", "amperes"), _ONE)
_DEGREES = dict.fromkeys(("", "deg", "degree", "degrees"), _ONE)
_PERCENTS = dict.fromkeys(("", "%", "percent", "pct", "per cent"), _ONE)
_BARE = {"": _ONE}
_NONE: dict[str, Fraction] = {}


@dataclass(frozen=True)
class Kind:
    """One kind of field.

    Attributes
    ----------
    name, unit : str
        Key of `KINDS`; canonical unit.
    meaning : str
        For messages: "a thickness".
    examples : tuple of str
        Two texts that work.
    units : mapping
        Unit word -> size in the canonical unit. The empty word stands where bare numbers leave no doubt.
    most : float
        Beyond this a value is a slip of the pencil [canonical unit]; the store holds the real ranges.
    ask : tuple of str
        The two units a bare number could be in.
    zero, whole : bool
        Whether zero is possible, and whether fractions are not.
    marks : str
        Which marks it takes: ``all`` (`~7`, `7+`, `<7`), ``about`` (`~7` only) or ``none``.
    colon : str
        What `0:45` means: ``m:ss``, ``h:mm``, or nothing where it has two readings.
    """

    name: str
    unit: str
    meaning: str
    examples: tuple[str, str]
    units: Mapping[str, Fraction]
    most: float
    ask: tuple[str, str] = ("", "")
    zero: bool = True
    whole: bool = False
    marks: str = "all"
    colon: str = ""


_MM_IN = ("mm", "in")
KINDS: Mapping[str, Kind] = {
    kind.name: kind
    for kind in (
        Kind("thickness", "mm", "a thickness", ("12 mm", "1/2 in"), LENGTHS, 1e3, _MM_IN, zero=False),
        Kind("diameter", "mm", "a diameter", ("3/8 in", "610 mm"), LENGTHS, 1e5, _MM_IN, zero=False),
        Kind("length", "mm", "a length", ("1ft 6in", "457 mm"), LENGTHS, 1e7, _MM_IN),
        Kind("depth", "msw", "a depth", ("45 fsw", "14 msw"), _DEPTHS, 1e3, ("fsw", "msw")),
        Kind("elevation", "m", "an elevation", ("+2 ft", "-11.6 m"), _METRES, 1e4, ("ft", "m"), marks="about"),
        Kind("pressure", "kPa", "a gauge pressure", ("90 psi", "6.2 bar"), PRESSURES, 1e5, ("psi", "bar")),
        Kind("bank", "cylinders", "an oxygen bank", ("12 x 244 cf", "9 x 50 L 200 bar"), _NONE, 1e3, marks="none"),
        Kind("burn_time", "s", "a burn time", ("45s", "0:45"), SECONDS, 1e6, ("s", "min"), colon="m:ss"),
        Kind("bottom_time", "s", "a bottom time", ("45 min", "0:45"), SECONDS, 1e6, ("min", "h"), colon="h:mm"),
        Kind("elapsed", "s", "an elapsed time", ("45s", "45min"), SECONDS, 1e6, ("s", "min")),
        Kind("duration", "s", "a duration", ("5 min", "1h05"), SECONDS, 1e6, ("s", "min")),
        Kind("clock", "s", "a time of day", ("0942", "9:42"), _NONE, 86_400.0, marks="about"),
        Kind("rods", "rods", "a rod count", ("7", "7 + 6in"), _BARE, 1e5),
        Kind("count", "", "a count", ("3", "0"), _BARE, 1e6, whole=True),
        Kind("whole", "", "a whole number", ("3", "14"), _BARE, 1e9, whole=True, marks="none"),
        Kind("current", "A", "a current", ("165 A", "200"), _AMPERES, 1e4),
        Kind("temperature", "C", "a temperature", ("8 C", "46 F"), _NONE, 1e3, ("C", "F"), marks="about"),
        Kind("angle", "deg", "an angle", ("45 deg", "30"), _DEGREES, 360.0),
        Kind("mass", "kg", "a mass", ("9.2 kg", "20 lb"), _MASSES, 1e6, ("kg", "lb")),
        Kind("percent", "%", "a percentage", ("99.6 %", "15"), _PERCENTS, 1e4),
        Kind("number", "", "a number", ("1.25", "7"), _BARE, 1e12),
    )
}
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
        Rods only: what was left of each part-burned one [mm]; only the rod type can weigh them.
    stated : bool
        Rods only: a part of a rod was stated (`6.5`), not measured.
    """

    value: float | None
    basis: str
    typed: str
    kind: str
    stubs_mm: tuple[float, ...] = ()
    stated: bool = False

    @property
    def full(self) -> float | None:
        """Rods burned full length, or the equivalents as stated; the same as `value`."""
        return self.value


@dataclass(frozen=True)
class BankContents(Reading):
    """An oxygen bank as typed; `value` is the number of cylinders.

    `route` is a word of the vocabulary list ``contents_route`` and says what `each` is: ``label volume`` scf at 70 F
    and 1 atm, ``water volume real gas`` litres of water, ``weighed`` kg. `label_kpa` is None where no pressure
    was written, and must then be asked for.
    """

    each: float = 0.0
    route: str = ""
    label_kpa: float | None = None

    @property
    def cylinders(self) -> int:
        """Number of cylinders."""
        return int(self.value or 0)
