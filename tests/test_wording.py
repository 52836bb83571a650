"""Values shown again: in the reader's units, so that they read back, and in words.

A value follows from its definition: 1 in = 25.4 mm, 1 ft = 12 in, 1 psi = 6.894757 kPa, 1 msw = 10 kPa; 1 fsw is
3064.3 Pa (US Navy Diving Manual, second-hand).
"""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from burnlog.units import KINDS, describe, read, show

SETTINGS = settings(derandomize=True, max_examples=150, deadline=None)

RANGES = {
    "thickness": (0.5, 300.0),
    "diameter": (1.0, 6000.0),
    "length": (0.0, 200_000.0),
    "depth": (0.0, 300.0),
    "elevation": (-600.0, 30.0),
    "pressure": (0.0, 35_000.0),
    "burn_time": (0.0, 36_000.0),
    "bottom_time": (0.0, 36_000.0),
    "elapsed": (0.0, 36_000.0),
    "duration": (0.0, 36_000.0),
    "rods": (0.0, 2000.0),
    "current": (5.0, 1500.0),
    "temperature": (-30.0, 60.0),
    "angle": (0.0, 360.0),
    "mass": (0.0, 1000.0),
    "percent": (0.0, 100.0),
    "number": (0.0, 1e9),
}


@SETTINGS
@given(data=st.data(), kind=st.sampled_from(sorted(RANGES)), profile=st.sampled_from(["us", "metric"]))
def test_R17_show_then_read_returns_the_value(data: st.DataObject, kind: str, profile: str) -> None:
    """A value shown in either profile reads back to 1e-9 of itself, and the text is ASCII."""
    low, high = RANGES[kind]
    value = data.draw(st.floats(low, high, allow_subnormal=False))
    if 0 < abs(value) < 1e-6:
        value = 0.0  # nobody measures a nanometre; a temperature has no relative error at its zero
    text = show(value, kind, profile)
    assert text.isascii()
    assert read(text, kind).value == pytest.approx(value, rel=1e-9, abs=1e-9 if kind == "temperature" else 0)


@SETTINGS
@given(parts=st.integers(1, 64 * 12 * 40), kind=st.sampled_from(["thickness", "length", "diameter"]))
def test_fractions_of_an_inch_come_back_as_fractions(parts: int, kind: str) -> None:
    """Whole 64ths of an inch are shown as a fraction and read back exactly."""
    value = parts * 25.4 / 64
    text = show(value, kind, "us")
    assert "." not in text
    if value <= KINDS[kind].most:
        assert read(text, kind).value == pytest.approx(value, rel=1e-15)


@SETTINGS
@given(st.integers(0, 86_399))
def test_clock_times_come_back(seconds: int) -> None:
    """Every second of a day is shown and read back."""
    assert read(show(seconds, "clock"), "clock").value == seconds


@pytest.mark.parametrize(
    ("value", "kind", "profile", "text"),
    [
        (15.875, "thickness", "us", "5/8 in"),
        (15.875, "thickness", "metric", "15.875 mm"),
        (31.75, "thickness", "us", "1-1/4 in"),
        (12.0, "thickness", "us", "0.47244094488189 in"),
        (457.2, "length", "us", "1 ft 6 in"),
        (3657.6, "length", "us", "12 ft"),
        (1076.2, "length", "metric", "1.0762 m"),
        (13.78935, "depth", "us", "45 fsw"),
        (0.6096, "elevation", "us", "+2 ft"),
        (620.5281563851526, "pressure", "us", "90 psi"),
        (2700.0, "elapsed", "metric", "45 min"),
        (3750.0, "elapsed", "metric", "1 h 2 min 30 s"),
        (45.0, "burn_time", "us", "45s"),
        (34920.0, "clock", "us", "09:42"),
        (7.0, "rods", "us", "7"),
        (8.0, "temperature", "us", "46.4 F"),
        (None, "rods", "us", "-"),
    ],
)
def test_shown_in_the_readers_units(value: float | None, kind: str, profile: str, text: str) -> None:
    """Each profile sees its own units, fractions where they are exact."""
    assert show(value, kind, profile) == text


def test_fewer_digits_on_request() -> None:
    """Pages may ask for fewer digits; a fraction stays a fraction."""
    assert show(1076.198, "length", "us", digits=3) == "3.53 ft"
    assert show(15.875, "thickness", "us", digits=2) == "5/8 in"
    assert show(0.1 + 0.2, "number") == "0.3"
    assert show(1e-7, "number") == "0.0000001"


@pytest.mark.parametrize(
    ("typed", "kind", "profile", "words"),
    [
        ("0:45", "burn_time", "us", "45 seconds"),
        ("0:45", "bottom_time", "us", "45 minutes"),
        ("1h05", "elapsed", "us", "1 hour 5 minutes"),
        ("1.5 s", "elapsed", "us", "1.5 seconds"),
        ("0", "elapsed", "us", "0 seconds"),
        ("7 + 6in", "rods", "us", "7 full + 1 stub of 6 in"),
        ("7 + 6in,9in", "rods", "metric", "7 full + 2 stubs of 152.4 mm and 228.6 mm"),
        ("6.5", "rods", "us", "about 6.5 rod equivalents"),
        ("7+", "rods", "us", "at least 7 rods"),
        ("5/8", "thickness", "us", "5/8 in"),
        ("45 fsw", "depth", "metric", "13.789 msw"),
        ("?", "rods", "us", "not recorded"),
        ("na", "depth", "us", "does not apply"),
        ("12 x 244 cf", "bank", "us", "12 cylinders, 244 scf at 70 F and 1 atm each; label pressure not given"),
        ("1 x 50 L 200 bar", "bank", "metric", "1 cylinder, 50 L water volume each at 200 bar"),
    ],
)
def test_what_was_understood_in_words(typed: str, kind: str, profile: str, words: str) -> None:
    """The echo says what was understood, with the mark of a guess or a bound."""
    assert describe(read(typed, kind), profile) == words


def test_values_are_rounded_once() -> None:
    """Six inches are 152.4 mm and not the float beside it."""
    assert [read(f"{n} in", "length").value for n in (1, 2, 3, 6, 9)] == [25.4, 50.8, 76.2, 152.4, 228.6]
