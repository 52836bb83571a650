"""The reader: every notation it takes, and everything it refuses."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from burnlog.errors import ReadError
from burnlog.units import (
    KINDS,
    KPA_PER_PSI,
    BankContents,
    Reading,
    check_unit,
    read,
    read_bank,
    whole_or_part,
)

SETTINGS = settings(derandomize=True, max_examples=150, deadline=None)

# Values follow from 1 in = 25.4 mm, 1 ft = 12 in, 1 psi = 6.894757 kPa, 1 msw = 10 kPa (definitions), 1 fsw =
# 3064.3 Pa (US Navy Diving Manual, second-hand) and 1000 kg/m3 under 9.80665 m/s2 for fresh water.
ACCEPTED: list[tuple[str, str, dict[str, str], float | None, str]] = [
    ("5/8", "thickness", {}, 15.875, "measured"),
    ("5/8 in", "thickness", {}, 15.875, "measured"),
    ('5/8"', "thickness", {}, 15.875, "measured"),
    ("5/8\u201d", "thickness", {}, 15.875, "measured"),
    ("5/8\u2033", "thickness", {}, 15.875, "measured"),
    ("5/8 inch", "thickness", {}, 15.875, "measured"),
    ("\u215d", "thickness", {}, 15.875, "measured"),
    ("5\u20448 in", "thickness", {}, 15.875, "measured"),
    ("1-1/4 in", "thickness", {}, 31.75, "measured"),
    ("1\u20131/4 in", "thickness", {}, 31.75, "measured"),
    ("1 1/4", "thickness", {}, 31.75, "measured"),
    ('1\u00bc"', "thickness", {}, 31.75, "measured"),
    ("1-\u00bc in", "thickness", {}, 31.75, "measured"),
    ("12 mm", "thickness", {}, 12.0, "measured"),
    ("12mm", "thickness", {}, 12.0, "measured"),
    ("12\u00a0MM", "thickness", {}, 12.0, "measured"),
    ("1.2 cm", "thickness", {}, 12.0, "measured"),
    ("12,5 mm", "thickness", {}, 12.5, "measured"),
    (".375 in", "thickness", {}, 9.525, "measured"),
    ('0.375"', "thickness", {}, 9.525, "measured"),
    ("20.4 lb plate", "thickness", {}, 12.7, "measured"),
    ("12", "thickness", {"unit": "mm"}, 12.0, "measured"),
    ("12,5", "thickness", {"unit": "mm"}, 12.5, "measured"),
    (".5", "thickness", {"unit": "in"}, 12.7, "measured"),
    ("1'6\"", "length", {}, 457.2, "measured"),
    ("1' 6\"", "length", {}, 457.2, "measured"),
    ("1'-6\"", "length", {}, 457.2, "measured"),
    ("1\u20326\u2033", "length", {}, 457.2, "measured"),
    ("1'6''", "length", {}, 457.2, "measured"),
    ("1ft 6in", "length", {}, 457.2, "measured"),
    ("1 ft. 6 in.", "length", {}, 457.2, "measured"),
    ("1ft6", "length", {}, 457.2, "measured"),
    ("1'6", "length", {}, 457.2, "measured"),
    ("1'6-1/2\"", "length", {}, 469.9, "measured"),
    ("1'6\u00bd\"", "length", {}, 469.9, "measured"),
    ("1' 1/2\"", "length", {}, 317.5, "measured"),
    ("18 in", "length", {}, 457.2, "measured"),
    ("18in", "length", {}, 457.2, "measured"),
    ("457 mm", "length", {}, 457.0, "measured"),
    ("0.457 m", "length", {}, 457.0, "measured"),
    ("1.5 ft", "length", {}, 457.2, "measured"),
    ("~2ft", "length", {}, 609.6, "estimated"),
    ("2 ft+", "length", {}, 609.6, "at least"),
    ("2+ ft", "length", {}, 609.6, "at least"),
    ("0", "length", {}, 0.0, "measured"),
    ("45 fsw", "depth", {}, 13.78935, "measured"),
    ("14 msw", "depth", {}, 14.0, "measured"),
    ("14 m", "depth", {"water": "salt"}, 14.0, "measured"),
    ("14 m", "depth", {"water": "fresh"}, 13.72931, "measured"),
    ("45 ft", "depth", {"water": "salt"}, 13.78935, "measured"),
    ("45 ft", "depth", {"water": "fresh"}, 13.45080114, "measured"),
    ("45 ft fresh", "depth", {}, 13.45080114, "measured"),
    ("45'", "depth", {"water": "fresh"}, 13.45080114, "measured"),
    ("45'6\"", "depth", {"water": "salt"}, 13.942565, "measured"),
    ("45", "depth", {"unit": "fsw"}, 13.78935, "measured"),
    ("45", "depth", {"unit": "ft", "water": "fresh"}, 13.45080114, "measured"),
    ("+2 ft", "elevation", {}, 0.6096, "measured"),
    ("above 2 ft", "elevation", {}, 0.6096, "measured"),
    ("-11.6 m", "elevation", {}, -11.6, "measured"),
    ("\u221211.6 m", "elevation", {}, -11.6, "measured"),
    ("below 38 ft", "elevation", {}, -11.5824, "measured"),
    ("-38", "elevation", {"unit": "ft"}, -11.5824, "measured"),
    ("0", "elevation", {}, 0.0, "measured"),
    ("90 psi", "pressure", {}, 90 * KPA_PER_PSI, "measured"),
    ("90 psig", "pressure", {}, 90 * KPA_PER_PSI, "measured"),
    ("2200 psi", "pressure", {}, 2200 * KPA_PER_PSI, "measured"),
    ("6.2 bar", "pressure", {}, 620.0, "measured"),
    ("0.62 MPa", "pressure", {}, 620.0, "measured"),
    ("620 kPa", "pressure", {}, 620.0, "measured"),
    ("0:45", "burn_time", {}, 45.0, "measured"),
    ("90:00", "burn_time", {}, 5400.0, "measured"),
    ("0:45", "bottom_time", {}, 2700.0, "measured"),
    ("1:05", "bottom_time", {}, 3900.0, "measured"),
    ("45s", "elapsed", {}, 45.0, "measured"),
    ("45 sec", "elapsed", {}, 45.0, "measured"),
    ("45 min", "elapsed", {}, 2700.0, "measured"),
    ("1h05", "elapsed", {}, 3900.0, "measured"),
    ("1h 30s", "elapsed", {}, 3630.0, "measured"),
    ("1h 12min 30s", "elapsed", {}, 4350.0, "measured"),
    ("12 min 5 s", "elapsed", {}, 725.0, "measured"),
    ("1 h 5 min", "duration", {}, 3900.0, "measured"),
    ("1.5 h", "duration", {}, 5400.0, "measured"),
    ("2m30s", "elapsed", {}, 150.0, "measured"),
    ("1:02:30", "elapsed", {}, 3750.0, "measured"),
    ("20+ min", "elapsed", {}, 1200.0, "at least"),
    ("> 20 min", "elapsed", {}, 1200.0, "at least"),
    ("<20 min", "elapsed", {}, 1200.0, "at most"),
    ("21", "elapsed", {"unit": "min"}, 1260.0, "measured"),
    ("0:45", "elapsed", {"unit": "m:ss"}, 45.0, "measured"),
    ("0:45", "elapsed", {"unit": "hh:mm"}, 2700.0, "measured"),
    ("0942", "clock", {}, 34920.0, "measured"),
    ("942", "clock", {}, 34920.0, "measured"),
    ("9:42", "clock", {}, 34920.0, "measured"),
    ("09:42", "clock", {}, 34920.0, "measured"),
    ("09:42:30", "clock", {}, 34950.0, "measured"),
    ("9:42 pm", "clock", {}, 78120.0, "measured"),
    ("12:05 am", "clock", {}, 300.0, "measured"),
    ("~0942", "clock", {}, 34920.0, "estimated"),
    ("7", "rods", {}, 7.0, "measured"),
    ("7 rods", "rods", {}, 7.0, "measured"),
    ("6.5", "rods", {}, 6.5, "estimated"),
    ("6 1/2", "rods", {}, 6.5, "estimated"),
    ("6\u00bd", "rods", {}, 6.5, "estimated"),
    ("~7", "rods", {}, 7.0, "estimated"),
    ("7 est", "rods", {}, 7.0, "estimated"),
    ("7 est.", "rods", {}, 7.0, "estimated"),
    ("about 7", "rods", {}, 7.0, "estimated"),
    ("7+", "rods", {}, 7.0, "at least"),
    (">7", "rods", {}, 7.0, "at least"),
    ("at least 7", "rods", {}, 7.0, "at least"),
    ("0", "rods", {}, 0.0, "measured"),
    ("~3", "count", {}, 3.0, "estimated"),
    ("3.0", "count", {}, 3.0, "measured"),
    ("14", "whole", {}, 14.0, "measured"),
    ("165 A", "current", {}, 165.0, "measured"),
    ("200", "current", {}, 200.0, "measured"),
    ("8 C", "temperature", {}, 8.0, "measured"),
    ("-2 C", "temperature", {}, -2.0, "measured"),
    ("32 F", "temperature", {}, 0.0, "measured"),
    ("46\u00b0F", "temperature", {}, 70 / 9, "measured"),
    ("~8 degC", "temperature", {}, 8.0, "estimated"),
    ("46", "temperature", {"unit": "F"}, 70 / 9, "measured"),
    ("45", "angle", {}, 45.0, "measured"),
    ("45 deg", "angle", {}, 45.0, "measured"),
    ("610 mm", "diameter", {}, 610.0, "measured"),
    ("3/8", "diameter", {}, 9.525, "measured"),
    ("20 lb", "mass", {}, 9.0718474, "measured"),
    ("99.6 %", "percent", {}, 99.6, "measured"),
    ("1.25", "number", {}, 1.25, "measured"),
]


@pytest.mark.parametrize(("typed", "kind", "options", "value", "basis"), ACCEPTED)
def test_R17_R20_accepted_notation(typed: str, kind: str, options: dict[str, Any], value: float, basis: str) -> None:
    """A notation of the trade is read into the canonical unit, with its basis and the text as typed."""
    found = read(f"  {typed} ", kind, **options)
    assert found == Reading(pytest.approx(value, rel=1e-14, abs=1e-14), basis, typed, kind, stated=found.stated)
    assert found.stated == (kind == "rods" and value != int(value))


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(
    ("typed", "basis"),
    [
        ("", "not recorded"),
        ("   ", "not recorded"),
        ("-", "not recorded"),
        ("\u2014", "not recorded"),
        ("?", "not recorded"),
        ("nr", "not recorded"),
        ("NR", "not recorded"),
        ("na", "does not apply"),
        ("n/a", "does not apply"),
    ],
)
def test_R03_blank_is_not_zero(typed: str, basis: str, kind: str) -> None:
    """A blank of any field is no number: not recorded, or does not apply."""
    found = read(typed, kind)
    assert found.value is None
    assert found.basis == basis


REFUSED: list[tuple[str, str, dict[str, str], tuple[str, ...]]] = [
    ("12", "thickness", {}, ("has no unit", "12 mm", "12 in", "try 12 mm or 1/2 in")),
    ("nan", "thickness", {}, ("not a number",)),
    ("inf", "pressure", {}, ("not a number",)),
    ("-Infinity mm", "thickness", {}, ("not a number",)),
    ("1_000", "length", {}, ("underscore",)),
    ("1_000 mm", "length", {}, ("underscore",)),
    ("1e3", "length", {}, ("powers of ten",)),
    ("1e3 mm", "length", {}, ("powers of ten",)),
    ("1E-3", "rods", {}, ("powers of ten",)),
    ("5/", "thickness", {}, ("lower half",)),
    ("5/ in", "thickness", {}, ("lower half",)),
    ("/8 in", "thickness", {}, ("upper half",)),
    ("5/0", "thickness", {}, ("divides by zero",)),
    ("1-5/0 in", "thickness", {}, ("divides by zero",)),
    ("1-9/8 in", "thickness", {}, ("under 1",)),
    ("5/88", "thickness", {}, ("parts of 88",)),
    ("\u00b20", "clock", {}, ()),
    ("3-4", "thickness", {}, ("range",)),
    ("3-4 mm", "thickness", {}, ("range",)),
    ("3 to 4 mm", "thickness", {}, ("range",)),
    ("1/2-3/4 in", "thickness", {}, ("range",)),
    ("3-4", "rods", {}, ("range",)),
    ("-5 mm", "thickness", {}, ("negative",)),
    ("-3", "rods", {}, ("negative",)),
    ("-1", "count", {}, ("negative",)),
    ("1,250 mm", "thickness", {}, ("two readings", "1250", "1.250")),
    ("1,250", "length", {"unit": "mm"}, ("two readings",)),
    ("1.234,5 mm", "length", {}, ("thousands",)),
    ("1,2,3 mm", "length", {}, ("more than one decimal mark",)),
    ("1.2.3 mm", "length", {}, ("more than one decimal mark",)),
    ("1 000 mm", "length", {}, ("space inside",)),
    ("12,5", "number", {}, ("comma",)),
    ("5 mm in", "thickness", {}, ("two units that disagree",)),
    ("12 furlong", "length", {}, ("'furlong'",)),
    ("5/8", "thickness", {"unit": "mm"}, ("bare fraction", "5/8 in", "5/8 mm")),
    ("0", "thickness", {}, ("zero",)),
    ("0 mm", "diameter", {}, ("zero",)),
    ("9000 mm", "thickness", {}, ("too much",)),
    ("1'13\"", "length", {}, ("between 0 and 12",)),
    ("1'6,5\"", "length", {}, ("between 0 and 12",)),
    ("1'-2'", "length", {}, ()),
    ("\u00bd2 in", "length", {}, ()),
    ("5\u00bd/8 in", "length", {}, ()),
    ("20 lb", "thickness", {}, ("'lb'",)),
    ("45", "depth", {}, ("has no unit", "45 fsw", "45 msw")),
    ("45 ft", "depth", {}, ("nobody said which water", "13.79 msw", "13.45 msw", "45 ft salt", "45 ft fresh")),
    ("14 m", "depth", {}, ("nobody said which water",)),
    ("45 ft", "depth", {"water": "brackish"}, ("brackish", "fsw or msw")),
    ("45 fsw", "depth", {"water": "none"}, ("dry practice",)),
    ("540 in", "depth", {}, ("fsw, msw, ft or m",)),
    ("2 ft", "elevation", {}, ("+2 ft", "-2 ft")),
    ("+2", "elevation", {}, ("has no unit",)),
    ("90", "pressure", {}, ("has no unit", "90 psi", "90 bar")),
    ("90 psia", "pressure", {}, ("absolute",)),
    ("0:45", "elapsed", {}, ("two readings", "45s", "45min", "clock")),
    ("1:20", "elapsed", {}, ("1min 20s", "1h 20min")),
    ("0:45", "duration", {}, ("two readings",)),
    ("45", "elapsed", {}, ("has no unit", "45 s", "45 min")),
    ("0:75", "burn_time", {}, ("60 or more",)),
    ("1:02:75", "elapsed", {}, ("60 or more",)),
    ("2 min 90 s", "elapsed", {}, ("60 or more",)),
    ("90:00", "bottom_time", {}, ("90 hours", "90min")),
    ("12", "clock", {}, ("12:00", "00:12")),
    ("0", "clock", {}, ("short for a time of day", "00:00")),
    ("45", "clock", {}, ("short for a time of day", "00:45")),
    ("2400", "clock", {}, ("0000 to 2359",)),
    ("9:75", "clock", {}, ("0000 to 2359",)),
    ("13:00 pm", "clock", {}, ("no time of day",)),
    (">0942", "clock", {}, ("at least",)),
    ("~", "rods", {}, ("without a number",)),
    ("+", "rods", {}, ("without a number",)),
    ("+7", "rods", {}, ("begins with a plus", "7+")),
    ("7+-", "rods", {}, ()),
    ("~7+", "rods", {}, ("two marks",)),
    ("~20+ min", "elapsed", {}, ("two marks",)),
    ("7 + 6", "rods", {}, ("stub '6'", "6 in", "6 mm")),
    ("7 + -6in", "rods", {}, ("negative",)),
    ("7 + ,6in", "rods", {}, ("no stub",)),
    ("6.5 + 3in", "rods", {}, ("twice",)),
    ("6,5", "rods", {}, ("comma",)),
    ("seven", "rods", {}, ("cannot be read", "try 7 or 7 + 6in")),
    ("2.5", "count", {}, ("not a whole number",)),
    ("~14", "whole", {}, ("no such mark",)),
    ("3 V", "current", {}, ("'v'",)),
    ("8", "temperature", {}, ("8 C", "8 F")),
    ("-300 C", "temperature", {}, ("colder",)),
    ("8 K", "temperature", {}, ("C or F",)),
    ("6", "mass", {}, ("6 kg", "6 lb")),
    (".", "rods", {}, ("same as the row above",)),
    ("12 x", "bank", {}, ("'x'",)),
    ("a dozen", "bank", {}, ("cannot be read",)),
    ("9 x 50 L", "bank", {}, ("without the pressure",)),
    ("0 x 244 cf", "bank", {}, ("zero",)),
    ("3 x 10 m3", "bank", {}, ("0 C", "15 C")),
    ("3 x 10 gallons", "bank", {}, ("'gallons'",)),
    ("5\u00b2 mm", "thickness", {}, ()),
    ("\u0665 mm", "thickness", {}, ()),
    ("1h 75s", "elapsed", {}, ("60 or more behind hours",)),
    ("1h 5 30s", "elapsed", {}, ()),
    ("0:45", "elapsed", {}, ("write 45s or 45min",)),
    ("13:00 pm", "clock", {}, ("13 with pm",)),
    ("9" * 25 + " mm", "length", {}, ("more digits",)),
    ("9" * 200, "length", {}, ("200 characters",)),
]


@pytest.mark.parametrize(("typed", "kind", "options", "words"), REFUSED)
def test_R18_refused_notation(typed: str, kind: str, options: dict[str, Any], words: tuple[str, ...]) -> None:
    """What has two readings, or none, is refused: the text, the reason, and two examples that work."""
    with pytest.raises(ReadError) as caught:
        read(typed, kind, **options)
    message = str(caught.value)
    assert typed[:20] in message
    assert caught.value.exit_code == 2
    assert caught.value.kind == kind
    for word in (*words, *KINDS[kind].examples):
        assert word in message


@pytest.mark.parametrize("kind", KINDS)
def test_examples_in_messages_work(kind: str) -> None:
    """The two examples every refusal names are themselves readable in that field."""
    for text in KINDS[kind].examples:
        assert read(text, kind).value is not None


@pytest.mark.parametrize(
    ("typed", "full", "stubs"),
    [
        ("7 + 6in", 7, (152.4,)),
        ("7+6in", 7, (152.4,)),
        ("7 + 6in,9in", 7, (152.4, 228.6)),
        ("7 + 6 in + 9 in", 7, (152.4, 228.6)),
        ("7 + 6in and 9in", 7, (152.4, 228.6)),
        ("7 + 152,4 mm", 7, (152.4,)),
        ("0 + 150mm", 0, (150.0,)),
        ("7 + 3-1/2 in", 7, (88.9,)),
    ],
)
def test_R28_rods_with_stubs(typed: str, full: float, stubs: tuple[float, ...]) -> None:
    """Full-length rods and the stubs left of the others are kept apart."""
    found = read(typed, "rods")
    assert (found.full, found.value, found.stubs_mm, found.stated) == (full, full, stubs, False)


def test_a_mark_counts_for_rods_with_stubs_too() -> None:
    """`~7 + 6in` is an estimated count."""
    assert read("~7 + 6in", "rods").basis == "estimated"


@pytest.mark.parametrize(
    ("typed", "cylinders", "each", "route", "label_kpa"),
    [
        ("12 x 244 cf", 12, 244.0, "label volume", None),
        ("12x244cf 2200 psi", 12, 244.0, "label volume", 2200 * KPA_PER_PSI),
        ("12 \u00d7 244 ft\u00b3 @ 2200 psi", 12, 244.0, "label volume", 2200 * KPA_PER_PSI),
        ("9 x 50 L 200 bar", 9, 50.0, "water volume real gas", 20_000.0),
        ("12 x 9.163 kg", 12, 9.163, "weighed", None),
        ("244 cf", 1, 244.0, "label volume", None),
    ],
)
def test_bank_contents(typed: str, cylinders: int, each: float, route: str, label_kpa: float | None) -> None:
    """A bank is cylinders, contents of each by one of three routes, and the label's pressure where it was written."""
    bank = read_bank(typed)
    assert isinstance(bank, BankContents)
    assert (bank.cylinders, bank.route) == (cylinders, route)
    assert bank.each == pytest.approx(each, rel=1e-14)
    assert bank.label_kpa == (None if label_kpa is None else pytest.approx(label_kpa, rel=1e-14))


@pytest.mark.parametrize(
    ("typed", "share"), [("all", 1.0), ("All of it", 1.0), ("half", 0.5), ("~half", 0.5), ("~2ft", None), ("", None)]
)
def test_words_for_new_length(typed: str, share: float | None) -> None:
    """*all* and *half* are shares of a line; a length is not."""
    assert whole_or_part(typed) == share


def test_a_unit_that_does_not_belong_to_the_field_is_refused() -> None:
    """A header's unit must be one the field is measured in."""
    assert check_unit("MPa", "pressure") == "mpa"
    assert check_unit("FSW", "depth") == "fsw"
    for unit, kind in (("kg", "thickness"), ("mm", "depth"), ("psi", "rods"), ("", "length"), ("m:ss", "length")):
        with pytest.raises(ReadError, match="is no unit of"):
            check_unit(unit, kind)
    with pytest.raises(ReadError, match="is no unit of"):
        read("12", "thickness", unit="kg")


def test_an_unknown_kind_is_named() -> None:
    """A kind that does not exist is refused with the list of those that do."""
    with pytest.raises(ReadError, match=r"'colour'.*thickness"):
        read("red", "colour")


ALPHABET = st.text(
    alphabet="0123456789.,/-+~<>' \"inftmspsbarhckgx:_e?%\u00bd\u215d\u2033\u2013\u00d7\u00a0", max_size=24
)


@SETTINGS
@given(text=st.one_of(ALPHABET, st.text(max_size=100)), kind=st.sampled_from(sorted(KINDS)))
@example(text="\x00", kind="length")
@example(text="1/" + "9" * 70, kind="length")
@example(text="1'" * 40, kind="length")
@example(text="\ud800", kind="rods")
def test_any_text_is_read_or_refused(text: str, kind: str) -> None:
    """No text of any script makes the reader fail in any way but its own, and no value it gives is infinite."""
    try:
        found = read(text, kind, water="salt")
    except ReadError:
        return
    assert found.typed == text.strip()
    assert found.value is None or (math.isfinite(found.value) and abs(found.value) <= KINDS[kind].most)
