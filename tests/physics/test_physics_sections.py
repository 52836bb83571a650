"""Cut lines against printed perimeters, closed forms and independent integrals."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.special import ellipe

from burnlog.errors import InputError
from burnlog.physics import shapes
from burnlog.physics.sections import BUILT_IN, DIMENSIONS, CutLine, Section, cut_line, parse_section, read_section

INCH = 25.4
FOOT = 304.8
SETTINGS = settings(derandomize=True, max_examples=60, deadline=None)

# Dimensions [in] and printed surface perimeter [in] of bearing piles as two public tables give them (ASTM A6,
# second-hand; HP12x53 from memory). The perimeter was printed there, so it checks the formula and not itself.
PILES = [
    ("HP14x117", 42.370, 86.35),
    ("HP14x89", 41.990, 85.21),
    ("HP14x73", 41.770, 84.55),
    ("HP12x84", 35.500, 72.37),
    ("HP12x74", 35.340, 71.91),
    ("HP12x53", 35.000, 70.87),
]


@pytest.mark.parametrize(("name", "line", "perimeter"), PILES)
def test_R22_bearing_piles(name: str, line: float, perimeter: float) -> None:
    """Cut line and surface perimeter of bearing piles to 0.01 in, the perimeter as printed in public tables."""
    found = parse_section(name)
    assert found.cut_line_mm / INCH == pytest.approx(line, abs=0.005)
    assert found.perimeter_mm is not None
    assert found.perimeter_mm / INCH == pytest.approx(perimeter, abs=0.0051)
    assert found.roots == 2


def test_R22_european_sections() -> None:
    """HE 300 B and A and a UBP to 0.1 mm; painting areas 1.732 and 1.717 m2/m stand in tables (from memory)."""
    b, a, ubp = (parse_section(name) for name in ("HE 300 B", "HE300A", "ubp 305 x 305 x 110"))
    assert b.cut_line_mm == pytest.approx(862.0, abs=0.05)
    assert b.mean_thickness_mm == pytest.approx(16.57, abs=0.005)
    assert b.perimeter_mm == pytest.approx(1731.6, abs=0.1)
    assert b.perimeter_mm == pytest.approx(1732, abs=0.5)
    assert a.cut_line_mm == pytest.approx(862.0, abs=0.05)
    assert a.perimeter_mm == pytest.approx(1716.6, abs=0.1)
    assert a.perimeter_mm == pytest.approx(1717, abs=0.5)
    assert ubp.cut_line_mm == pytest.approx(898.5, abs=0.05)
    assert ubp.perimeter_mm == pytest.approx(1801.9, abs=0.1)


def test_R22_dimensions_as_typed() -> None:
    """The section calculator on typed dimensions: segments by thickness, perimeter and box beside the cut line."""
    found = parse_section("h", "d=14.21in b=14.885in tw=.805in tf=.805in")
    assert found.kind == "h section"
    assert found.cut_line_mm == pytest.approx(1076.2, abs=0.05)
    assert found.cut_line_mm / FOOT == pytest.approx(3.531, abs=0.0005)
    flange, web, other = found.segments
    assert flange == other == pytest.approx((14.885 * INCH, 0.805 * INCH))
    assert web == pytest.approx(((14.21 - 1.61) * INCH, 0.805 * INCH))
    assert found.box_mm == pytest.approx(2 * (14.21 + 14.885) * INCH)
    assert found.formula == "2 b + (d - 2 tf)"
    assert found.source == "dimensions as typed"


@pytest.mark.parametrize(
    ("kind", "dims", "line_in"),
    [
        ("pipe", "nps=12 wall=.375in", 40.055),
        ("NPS 12 STD", "", 40.055),
        ("NPS 24 STD", "", 75.398),
        ("pipe 24 in", "wall=.375in", 75.398),
        ("pipe", "36 x 1/2", 113.097),
        ("pipe", "36in x 1/2in", 113.097),
        ("pipe 610 x 12.5 mm", "", 1916.4 / INCH),
        ("pipe", "od=24in wall=.5in from=inside", math.pi * 23),
        ("pipe", "od=24in wall=.5in from=outside", math.pi * 24),
        ("pipe", "od=24in wall=.5in part=90", math.pi * 6),
        ("pipe", "od=12.75in wall=.375in mitre=30", 43.209),
        ("pipe", "od=12-3/4in wall=.375in mitre=45", 48.708),
    ],
)
def test_R22_R25_pipes(kind: str, dims: str, line_in: float) -> None:
    """Pipes to 0.01 in: round the outside, from inside, part of the way, and along a mitre (recomputed ellipses)."""
    assert parse_section(kind, dims).cut_line_mm / INCH == pytest.approx(line_in, abs=0.005)


@SETTINGS
@given(a=st.floats(1.0, 3000.0), ratio=st.floats(0.25, 4.0))
def test_R25_ellipse_against_the_elliptic_integral(a: float, ratio: float) -> None:
    """The ellipse agrees with 4 a E(m) from scipy to 1e-12, whichever half axis is the longer."""
    b = a * ratio
    major, minor = max(a, b), min(a, b)
    expected = 4 * major * ellipe(1 - (minor / major) ** 2)
    assert shapes.ellipse_perimeter(a, b) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("mitre", [0.001, 15.0, 45.0, 75.0])
def test_R25_mean_wall_along_a_mitre(mitre: float) -> None:
    """The mean thickness along a mitre agrees with an integral over the wall's depth in the plane of the cut."""
    od, wall, f = 323.85, 9.525, math.radians(mitre)

    def speed(x: float) -> float:
        return od / 2 * math.sqrt(1 + (math.tan(f) * math.sin(x)) ** 2)

    def depth(x: float) -> float:
        return wall / math.sqrt(1 - (math.sin(f) * math.cos(x)) ** 2)

    length = quad(speed, 0, 2 * math.pi, limit=200)[0]
    mean = quad(lambda x: speed(x) * depth(x), 0, 2 * math.pi, limit=200)[0] / length
    found = shapes.pipe(od, wall, mitre=mitre)
    assert found.cut_line_mm == pytest.approx(length, rel=1e-9)
    assert found.segments[0][1] == pytest.approx(mean, rel=1e-9)


@pytest.mark.parametrize(("lean", "factor"), [(15, 1.0353), (30, 1.1547), (45, 1.4142), (60, 2.0)])
def test_R25_a_leaned_torch_makes_plate_thicker(lean: float, factor: float) -> None:
    """Effective thickness is t / cos: 45 degrees turn 1/4 in into 0.354 in (recomputed)."""
    found = parse_section("plate", f"length=3ft t=1/4 lean={lean}")
    assert found.segments[0][1] / (INCH / 4) == pytest.approx(factor, abs=5e-5)
    assert found.cut_line_mm == pytest.approx(3 * FOOT)
    if lean == 45:
        assert found.segments[0][1] / INCH == pytest.approx(0.354, abs=0.0005)


def test_R24_z_sheets() -> None:
    """40 Z sheets of 700 mm are 37.36 m with 39 interlocks; one is 934.1 mm, 0.967 of a coating ratio of 1.38."""
    dims = "w=700mm h=460mm tf=12.2mm tw=12.2mm slope=55.2"
    one, wall = parse_section("z sheet", dims), parse_section("z sheet", dims + " sheets=40")
    assert one.cut_line_mm == pytest.approx(934.1, abs=0.05)
    assert one.cut_line_mm / (1.38 * 700) == pytest.approx(0.967, abs=0.0005)
    assert wall.cut_line_mm / 1000 == pytest.approx(37.36, abs=0.005)
    assert (one.interlocks, wall.interlocks) == (0, 39)
    assert one.notes == ()
    assert any("39 interlocks crossed" in note for note in wall.notes)


def test_R24_u_sheets() -> None:
    """A U sheet of 750 mm is 972.7 mm, 0.975 of the coating ratio 1.33 on a producer's page (second-hand)."""
    one = parse_section("u sheet", "w=750mm h=441mm t=10.5mm slope=54.7")
    assert one.cut_line_mm == pytest.approx(972.7, abs=0.05)
    assert one.cut_line_mm / (1.33 * 750) == pytest.approx(0.975, abs=0.0005)


def test_R24_a_coating_width_wins() -> None:
    """A coating width of 4.48/2 ft makes a sheet 26.9 in, and the note says that it won."""
    found = parse_section("z sheet", "w=18in h=12in t=3/8in coating=2.24ft")
    assert found.cut_line_mm / INCH == pytest.approx(26.9, abs=0.05)
    assert "coating width" in found.formula
    assert any("wins" in note for note in found.notes)
    both = parse_section("z sheet", "w=700mm h=460mm tf=12mm tw=10mm slope=55.2 coating=966mm sheets=3")
    assert both.cut_line_mm == pytest.approx(3 * 966)
    assert {thick for _, thick in both.segments} == {12.0, 10.0}
    assert both.perimeter_mm == pytest.approx(3 * 966)


def test_R24_sheets_taped_tip_to_tip() -> None:
    """Ten sheets taped tip to tip at 720 with system 700: nine overlaps of 20 mm come off the sum."""
    dims = "w=700mm h=460mm t=12.2mm slope=55.2"
    one = parse_section("z sheet", dims).cut_line_mm
    taped = parse_section("z sheet", dims + " sheets=10 tip=720mm")
    assert taped.cut_line_mm == pytest.approx(10 * (one + 20) - 9 * 20)
    assert any("9 overlaps of 20 mm" in note for note in taped.notes)
    flat = parse_section("flat sheet", "w=500mm t=12.7mm sheets=10 tip=520mm")
    assert flat.cut_line_mm == pytest.approx(10 * 520 - 9 * 20)
    assert parse_section("flat sheet", "w=500mm t=12.7mm sheets=10").cut_line_mm == pytest.approx(5000)


@SETTINGS
@given(
    w=st.floats(400, 900),
    h=st.floats(150, 500),
    t=st.floats(6, 20),
    slope=st.floats(45, 90),
    sheets=st.integers(1, 60),
)
def test_web_and_flanges_add_up_to_the_developed_width(
    w: float, h: float, t: float, slope: float, sheets: int
) -> None:
    """Web (h - t)/sin a plus flanges w - (h - t)/tan a make w + (h - t) tan(a/2), for Z and U alike."""
    flange = w - (h - t) / math.tan(math.radians(slope))
    if flange <= 0:
        with pytest.raises(InputError, match="no flange"):
            shapes.z_sheet(w, h=h, tf=t, tw=t, slope=slope)
        return
    expected = sheets * (w + (h - t) * math.tan(math.radians(slope) / 2))
    for make in (shapes.z_sheet, shapes.u_sheet):
        assert make(w, h=h, tf=t, tw=t, slope=slope, sheets=sheets).cut_line_mm == pytest.approx(expected, rel=1e-9)


def test_R56_three_items_of_a_take_off() -> None:
    """24 HP14x117, 6 pipes of 24 in and 40 Z sheets of 700 mm come to 84.7, 37.7 and 122.6 ft."""
    lengths = (
        24 * parse_section("HP14x117").cut_line_mm,
        6 * parse_section("pipe", "od=24in wall=.375in").cut_line_mm,
        parse_section("z sheet", "w=700mm h=460mm t=12.2mm slope=55.2 sheets=40").cut_line_mm,
    )
    assert [round(length / FOOT, 1) for length in lengths] == [84.7, 37.7, 122.6]
    assert [round(length / 1000, 2) for length in lengths] == [25.83, 11.49, 37.36]


@pytest.mark.parametrize(
    ("kind", "dims", "line", "perimeter", "box"),
    [
        ("hole", "dia=1ft t=12mm", math.pi * FOOT, None, None),
        ("window", "a=600mm b=300mm t=12mm", 1800.0, None, None),
        ("window", "a=600mm b=600mm r=300mm t=12mm", 600 * math.pi, None, None),
        ("channel", "d=200mm b=75mm tw=8mm tf=11mm", 334.0, 684.0, 550.0),
        ("angle", "a=100mm b=75mm t=12mm", 163.0, 350.0, 350.0),
        ("box", "b=200mm h=100mm t=10mm", 560.0, 600.0, 600.0),
        ("box", "b=200mm h=200mm t=10mm r=100mm", 760.0, 200 * math.pi, 800.0),
        ("plate", "length=2m t=12mm", 2000.0, None, None),
    ],
)
def test_R22_other_shapes(kind: str, dims: str, line: float, perimeter: float | None, box: float | None) -> None:
    """Closed forms of the remaining shapes; a window of four quarter circles is a circle."""
    found = parse_section(kind, dims)
    assert found.cut_line_mm == pytest.approx(line)
    assert found.perimeter_mm == (None if perimeter is None else pytest.approx(perimeter))
    assert found.box_mm == (None if box is None else pytest.approx(box))


ONE_OF_EACH = {
    "plate": "length=2m t=12mm",
    "hole": "dia=300mm t=12mm",
    "window": "a=600mm b=300mm t=12mm r=50mm",
    "pipe": "od=610mm wall=12.5mm",
    "h section": "d=300mm b=300mm tw=11mm tf=19mm r=27mm",
    "channel": "d=200mm b=75mm tw=8mm tf=11mm",
    "angle": "a=100mm b=75mm t=12mm",
    "box": "b=200mm h=100mm t=10mm r=15mm",
    "flat sheet": "w=500mm t=12.7mm sheets=4",
    "z sheet": "w=700mm h=460mm t=12mm slope=55 sheets=4",
    "u sheet": "w=750mm h=441mm t=10mm slope=55 sheets=4 tip=770mm",
}


@pytest.mark.parametrize("kind", DIMENSIONS)
def test_every_kind_says_what_it_did(kind: str) -> None:
    """Segments add up to the cut line, every number is above zero, and formula and source are there."""
    found = parse_section(kind, ONE_OF_EACH[kind])
    assert math.fsum(length for length, _ in found.segments) == pytest.approx(found.cut_line_mm, rel=1e-12)
    assert all(length > 0 and thick > 0 for length, thick in found.segments)
    assert found.formula.isascii()
    assert found.source
    thicknesses = [thick for _, thick in found.segments]
    assert min(thicknesses) - 1e-9 <= found.mean_thickness_mm <= max(thicknesses) + 1e-9
    if found.perimeter_mm is not None and found.box_mm is not None and kind in ("h section", "channel"):
        assert found.perimeter_mm > found.cut_line_mm


BAD = [
    ("h", "d=1in b=10in tw=.5in tf=.5in", "2 tf = 25.4 mm .1 in."),
    ("h", "d=10in b=10in tw=11in tf=.5in", "tw = .*11 in"),
    ("h", "d=14.21in b=-3in tw=.805in tf=.805in", "b: '-3in' is negative"),
    ("h", "d=14.21in b=0 tw=.805in tf=.805in", "b = 0 mm"),
    ("h", "d=300mm b=300mm tw=11mm tf=19mm r=200mm", "r = 200 mm"),
    ("h", "d=14.21in b=14.885in", "tw and tf missing"),
    ("h", "d=14 b=14in tw=1in tf=1in", "d: '14' has no unit"),
    ("h", "d=14in b=14in tw=1in tf=1in wall=1in", "wall: not a dimension of an h section"),
    ("h", "d=14in d=15in b=14in tw=1in tf=1in", "d stands twice"),
    ("h", "14in", "has no name"),
    ("z sheet", "w=700mm t=12mm tf=10mm coating=966mm", "tf stands twice"),
    ("h", "d=? b=14in tw=1in tf=1in", "d is blank"),
    ("channel", "d=100mm b=50mm tw=60mm tf=8mm", "tw = 60 mm"),
    ("channel", "d=100mm b=50mm tw=6mm tf=50mm", "2 tf = 100 mm"),
    ("angle", "a=100mm b=50mm t=50mm", "t = 50 mm"),
    ("box", "b=100mm h=50mm t=25mm", "2 t = 50 mm"),
    ("box", "b=100mm h=50mm t=5mm r=26mm", "r = 26 mm"),
    ("window", "a=100mm b=50mm t=5mm r=26mm", "r = 26 mm"),
    ("pipe", "od=100mm wall=50mm", "wall = 50 mm"),
    ("pipe", "od=100mm wall=5mm mitre=76", "mitre = 76"),
    ("pipe", "od=100mm wall=5mm part=0", "part = 0"),
    ("pipe", "od=100mm wall=5mm part=90 mitre=10", "mitre and part"),
    ("pipe", "od=100mm wall=5mm from=below", "inside or from outside"),
    ("pipe", "od=100mm", "wall missing"),
    ("pipe", "nps=13 wall=.5in", "no such nominal size"),
    ("pipe", "dn=123 wall=5mm", "no such nominal size"),
    ("plate", "length=1m t=10mm lean=71", "lean = 71"),
    ("z sheet", "w=700mm h=460mm t=12mm slope=19", "slope = 19"),
    ("z sheet", "w=700mm h=460mm t=12mm slope=91", "slope = 91"),
    ("z sheet", "w=700mm h=460mm t=12mm slope=25", "no flange"),
    ("z sheet", "w=700mm h=10mm t=12mm slope=55", "tf = 12 mm"),
    ("z sheet", "w=700mm t=12mm", "h and slope missing"),
    ("z sheet", "w=700mm h=460mm t=12mm", "slope missing"),
    ("z sheet", "w=700mm tf=12mm tw=10mm coating=966mm", "tf and tw differ"),
    ("z sheet", "w=700mm h=460mm t=12mm slope=55 tip=690mm", "tip = 690 mm .* is less than w"),
    ("z sheet", "w=700mm h=460mm t=12mm slope=55 coating=690mm", "coating = 690 mm .* is less than w"),
    ("flat sheet", "w=500mm t=12mm tip=490mm", "tip = 490 mm"),
    ("flat sheet", "w=500mm t=12mm sheets=0", "sheets = 0"),
    ("flat sheet", "w=500mm t=12mm sheets=2.5", "sheets: '2.5' is not a whole number"),
    ("bar", "dia=50mm", "a bar has no formula"),
    ("", "", "section missing"),
    ("HP14x102", "", "neither a kind .* HP14x117"),
]


@pytest.mark.parametrize(("kind", "dims", "words"), BAD)
def test_R22_impossible_dimensions_are_named(kind: str, dims: str, words: str) -> None:
    """What cannot be is refused, exit code 2, with the dimension and both systems of units."""
    with pytest.raises(InputError, match=words) as caught:
        parse_section(kind, dims)
    assert caught.value.exit_code == 2


def test_R22_a_nominal_pipe_size_is_asked_about() -> None:
    """`pipe 12 in` may be 12-3/4 in or 12.00 in; from nominal 14 on the size is the diameter."""
    for kind, dims in (("pipe 12 in", "wall=.375in"), ("pipe", "12in wall=.375in"), ("pipe 12 x .375 in", "")):
        with pytest.raises(InputError, match=r"12-3/4 in OD \(nominal 12\) or 12\.00 in OD\? Write nps=12 or od="):
            parse_section(kind, dims)
    assert parse_section("pipe", "od=12in wall=.375in").cut_line_mm / INCH == pytest.approx(12 * math.pi)
    assert parse_section("pipe 14 in", "wall=.375in").cut_line_mm / INCH == pytest.approx(14 * math.pi)
    with pytest.raises(InputError, match=r"323\.8 mm OD \(nominal DN 300\) or 300 mm OD"):
        parse_section("pipe 300 mm", "wall=10mm")
    assert parse_section("pipe", "dn=300 wall=10mm").cut_line_mm == pytest.approx(math.pi * 12.75 * INCH)
    assert parse_section("pipe", "dn=300 wall=10mm from=inside").perimeter_mm == pytest.approx(math.pi * 12.75 * INCH)


# DN beside NPS as pipe lists print them, from memory; from NPS 14 (DN 350) on, NPS is the diameter in inches and
# DN 25 times it
SMALL_PIPES = {
    15: "1/2", 20: "3/4", 25: "1", 32: "1-1/4", 40: "1-1/2", 50: "2", 65: "2-1/2", 80: "3", 90: "3-1/2", 100: "4",
    125: "5", 150: "6", 200: "8", 250: "10", 300: "12",
}  # fmt: skip


def test_R22_nominal_sizes_in_mm_and_in_inches_are_the_same_pipes() -> None:
    """Each DN is its NPS; large ones are the diameter itself."""
    for dn, nps in SMALL_PIPES.items():
        metric, inches = (parse_section("pipe", f"{size} wall=2mm") for size in (f"dn={dn}", f"nps={nps}"))
        assert metric.cut_line_mm == inches.cut_line_mm
    for nps in range(14, 37, 2):
        for size in (f"dn={25 * nps}", f"nps={nps}"):
            found = parse_section("pipe", f"{size} wall=10mm")
            assert found.cut_line_mm / INCH == pytest.approx(nps * math.pi)
    assert parse_section("pipe", "nps=80 wall=10mm").cut_line_mm / INCH == pytest.approx(80 * math.pi)
    with pytest.raises(InputError, match="no such nominal size"):
        parse_section("pipe", "nps=81 wall=10mm")


@pytest.mark.parametrize(("kind", "dims"), [("h", "perimeter=86.35in"), ("surface perimeter", "86.35in")])
def test_R23_a_perimeter_is_refused_with_the_reason(kind: str, dims: str) -> None:
    """A perimeter never stands for a cut line: the message says why it would double the bid."""
    with pytest.raises(InputError, match=r"not what is burned.*twice the cut line"):
        parse_section(kind, dims)


def test_R23_the_perimeter_of_a_pile_is_twice_its_cut_line() -> None:
    """For bearing piles the surface perimeter is 2.02 to 2.04 times the cut line."""
    for name, _, _ in PILES:
        pile = parse_section(name)
        assert pile.perimeter_mm is not None
        assert 2.02 < pile.perimeter_mm / pile.cut_line_mm < 2.05


def test_R26_own_section_list_comes_first() -> None:
    """A section of the user's own is found whatever its spacing and case, before the built-in one of that name."""
    own = (
        read_section(
            "Pile A", "h section", {"d": "360 mm", "b": "370 mm", "tw": "20 mm", "tf": "20 mm", "r": ""}, "S-12"
        ),
        Section("HP14x117", "h section", {"d": 300.0, "b": 300.0, "tw": 10.0, "tf": 10.0}, "own table"),
        read_section(
            "Z-700", "z sheet", {"w": "700mm", "h": "460mm", "tf": "12.2mm", "tw": "12.2mm", "slope": "55.2"}, "page"
        ),
    )
    assert parse_section("PILE  a", own_list=own).cut_line_mm == pytest.approx(2 * 370 + 320)
    assert parse_section("hp 14x117", own_list=own).source == "own table"
    wall = parse_section("Z 700", "sheets=40", own)
    assert (round(wall.cut_line_mm / 1000, 2), wall.interlocks, wall.designation) == (37.36, 39, "Z-700")
    assert parse_section("pile a", "tf=25mm", own).segments[0][1] == 25.0


@pytest.mark.parametrize(
    ("name", "kind", "dims", "source", "words"),
    [
        ("A", "pipe", {"od": "610 mm", "wall": "12 mm"}, "  ", "A: source missing"),
        ("", "pipe", {"od": "610 mm", "wall": "12 mm"}, "x", "designation missing"),
        ("A", "girder", {"d": "610 mm"}, "x", "no kind of section"),
        ("A", "pipe", {"od": "610 mm", "wall": "400 mm"}, "x", "wall = 400 mm"),
        ("A", "pipe", {"od": "610", "wall": "12 mm"}, "x", "od: '610' has no unit"),
        ("A", "h section", {"perimeter": "86 in"}, "x", "not what is burned"),
    ],
)
def test_R26_own_rows_are_checked(name: str, kind: str, dims: dict[str, str], source: str, words: str) -> None:
    """A row without a source, or with dimensions that cannot be, does not enter the list."""
    with pytest.raises(InputError, match=words):
        read_section(name, kind, dims, source)


def test_one_header_serves_every_kind_of_section() -> None:
    """Columns d, b, tw, tf are read for angles, boxes and sheets too; `t` is both thicknesses of a sheet."""
    leg = read_section("L", "angle", {"d": "100 mm", "b": "75 mm", "tw": "12 mm"}, "table")
    assert leg.dims == {"a": 100.0, "b": 75.0, "t": 12.0}
    hollow = read_section("R", "box", {"d": "100 mm", "b": "200 mm", "wall": "10 mm"}, "table")
    assert hollow.dims == {"h": 100.0, "b": 200.0, "t": 10.0}
    sheet = read_section("Z", "z sheet", {"b": "700 mm", "t": "12 mm", "coating": "966 mm"}, "page")
    assert sheet.dims == {"w": 700.0, "tf": 12.0, "tw": 12.0, "coating": 966.0}


def test_bare_lengths_take_the_unit_given() -> None:
    """With a profile's unit, bare lengths are read in it; angles and counts need none."""
    found = parse_section("z sheet", "w=700 h=460 t=12.2 slope=55.2 sheets=2", unit="mm")
    assert found.cut_line_mm == pytest.approx(2 * 934.1, abs=0.1)
    assert parse_section("pipe 610", "wall=12", unit="mm").segments[0][1] == 12.0


def test_built_in_sizes_carry_their_source() -> None:
    """Every built-in section computes, and says where its dimensions come from and how they were seen."""
    for section in BUILT_IN:
        found = parse_section(section.designation)
        assert isinstance(found, CutLine)
        assert "second-hand" in found.source or "from memory" in found.source or "read" in found.source


def test_cut_line_by_numbers() -> None:
    """The same by numbers; an unknown kind is named."""
    assert cut_line("pipe", {"od": 610.0, "wall": 12.5}).cut_line_mm == pytest.approx(np.pi * 610)
    assert cut_line("pipe", {"od": 610.0, "wall": 12.5, "inside": 1.0}).cut_line_mm == pytest.approx(np.pi * 585)
    with pytest.raises(InputError, match="no kind of section"):
        cut_line("girder", {})
    with pytest.raises(InputError, match="finite"):
        cut_line("pipe", {"od": math.nan, "wall": 12.5})


@SETTINGS
@given(st.text(max_size=40), st.text(alphabet="abdhlnoprstwxz=.,/0123456789 inm'\"-", max_size=50))
def test_any_text_is_a_section_or_refused(kind: str, dims: str) -> None:
    """No text makes the section reader fail in any way but its own."""
    for words in (kind, "pipe", "z sheet", "h"):
        try:
            found = parse_section(words, dims)
        except InputError:
            continue
        assert found.cut_line_mm > 0
