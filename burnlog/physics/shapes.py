"""The line a rod has to travel: length by thickness, for every shape that gets cut.

Three lengths have three names. The *cut line* is what is burned; only it feeds rods and time. The *surface
perimeter* is what is cleaned or touched, for an H-pile about twice the cut line, because it counts both faces of
everything. The *box* is a strap round the piece. Thickness comes by segment: a rod does not know the name of the
section.

All lengths are in mm, angles in degrees. Dimensions off a drawing are not the corroded pile. A sheet pile's width is
from centre of interlock to centre of interlock [1]_; the mid-line formulas stay within 5 % of producers' coating
areas [2]_.

References
----------
.. [1] `en-10248`.
.. [2] `sheet-pile-page`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from burnlog.errors import InputError
from burnlog.wording import show

__all__ = [
    "MOST_LEAN_DEG",
    "MOST_MITRE_DEG",
    "CutLine",
    "angle",
    "box",
    "channel",
    "ellipse_perimeter",
    "flat_sheet",
    "h_section",
    "hole",
    "pipe",
    "plate",
    "u_sheet",
    "window",
    "z_sheet",
]

MOST_LEAN_DEG = 70.0
MOST_MITRE_DEG = 75.0
SLOPE_DEG = (20.0, 90.0)
MOST_SHEETS = 10_000


@dataclass(frozen=True)
class CutLine:
    """What one cut through a piece burns.

    Attributes
    ----------
    kind : str
        Word of the vocabulary list ``section_kind``.
    designation : str
        Name on the drawing; empty where only dimensions were given.
    cut_line_mm : float
        Length that is burned [mm].
    segments : tuple of (float, float)
        (length, thickness), both [mm]; the lengths add up to `cut_line_mm`.
    perimeter_mm : float or None
        Surface perimeter [mm]: what is cleaned, never what is burned. None where the shape has none.
    box_mm : float or None
        Strap round the piece [mm].
    formula : str
        How the cut line was computed.
    source : str
        Where the dimensions come from.
    interlocks : int
        Sheet-pile interlocks crossed, where the steel is two or three thicknesses deep.
    roots : int
        Spots where web meets flange, locally thicker: a count, never a longer line.
    notes : tuple of str
        What a reader of the figure has to know.
    """

    kind: str
    designation: str
    cut_line_mm: float
    segments: tuple[tuple[float, float], ...]
    perimeter_mm: float | None
    box_mm: float | None
    formula: str
    source: str = "dimensions as typed"
    interlocks: int = 0
    roots: int = 0
    notes: tuple[str, ...] = ()

    @property
    def mean_thickness_mm(self) -> float:
        """Thickness averaged along the cut line [mm]."""
        return math.fsum(length * thick for length, thick in self.segments) / self.cut_line_mm


def _mm(value: float) -> str:
    """A dimension in both systems: nobody said which one it was typed in."""
    return f"{value:.6g} mm ({show(value, 'diameter', 'us', digits=5)})"


def _positive(**dimensions: float) -> None:
    for name, value in dimensions.items():
        if not math.isfinite(value) or value <= 0:
            raise InputError(f"{name} = {value:g} mm: a dimension is above 0, and finite")


def _within(name: str, value: float, low: float, high: float) -> None:
    if not low <= value <= high:
        raise InputError(f"{name} = {value:g} degrees: it lies between {low:g} and {high:g}")


def _less(small_name: str, small: float, large_name: str, large: float) -> None:
    if small >= large:
        raise InputError(
            f"{small_name} = {_mm(small)} does not fit: it must be less than {large_name} = {_mm(large)}"
        )


def _radius(name: str, radius: float, most: float) -> None:
    if not 0 <= radius <= most:
        raise InputError(f"{name} = {_mm(radius)}: this radius lies between 0 and {_mm(most)}")


_ROUNDING = 8 - 2 * math.pi
"""What four corners of radius 1 take off a sharp outline."""


def plate(length: float, t: float, *, lean: float = 0.0) -> CutLine:
    """A straight cut through plate, the torch leaned `lean` degrees from square along or across the line.

    Examples
    --------
    >>> round(plate(1000.0, 6.35, lean=45.0).segments[0][1] / 25.4, 3)
    0.354
    """
    _positive(length=length, t=t)
    _within("lean", lean, 0.0, MOST_LEAN_DEG)
    deep = t / math.cos(math.radians(lean))
    formula = "length as measured along the line" + (", thickness t / cos(lean)" if lean else "")
    return CutLine("plate", "", length, ((length, deep),), None, None, formula)


def hole(dia: float, t: float) -> CutLine:
    """A round hole of diameter `dia` in plate."""
    _positive(dia=dia, t=t)
    line = math.pi * dia
    return CutLine("plate", "", line, ((line, t),), None, None, "pi dia")


def window(a: float, b: float, t: float, *, r: float = 0.0) -> CutLine:
    """A window a x b with corners of radius r in plate."""
    _positive(a=a, b=b, t=t)
    _radius("r", r, min(a, b) / 2)
    line = 2 * (a + b) - _ROUNDING * r
    return CutLine("plate", "", line, ((line, t),), None, None, "2 (a + b) - (8 - 2 pi) r")


def pipe(od: float, wall: float, *, inside: bool = False, part: float = 360.0, mitre: float = 0.0) -> CutLine:
    """A pipe cut square, part of the way round, from inside, or along a plane `mitre` degrees from square.

    The tape goes round the outside, and so does the torch: the line is pi OD, or pi (OD - 2 wall) from inside.
    Along a mitre the wall stands oblique to the cut and its depth goes from `wall` to wall / cos(mitre); the mean
    along the ellipse is exactly pi OD wall / (cos(mitre) x ellipse).

    Examples
    --------
    >>> round(pipe(12.75 * 25.4, 9.525, mitre=45.0).cut_line_mm / 25.4, 3)
    48.708
    """
    _positive(od=od, wall=wall)
    _less("wall", wall, "half of od", od / 2)
    _within("mitre", mitre, 0.0, MOST_MITRE_DEG)
    if not 0 < part <= 360:
        raise InputError(f"part = {part:g} degrees: it lies above 0 and up to 360")
    if mitre and part < 360:
        raise InputError("mitre and part together have no formula here; give the taped length as plate")
    side = od - 2 * wall if inside else od
    name = "(od - 2 wall)" if inside else "od"
    deep, line, formula = wall, math.pi * side, f"pi {name}"
    if mitre:
        cosine = math.cos(math.radians(mitre))
        line = ellipse_perimeter(side / 2, side / (2 * cosine))
        deep = wall * math.pi * side / (cosine * line)
        formula = f"ellipse with half axes {name}/2 and {name}/(2 cos mitre); mean thickness along it"
    elif part < 360:
        line *= part / 360
        formula += " part / 360"
    around = math.pi * od
    return CutLine("pipe", "", line, ((line, deep),), around, around, formula)


def ellipse_perimeter(a: float, b: float) -> float:
    """Perimeter of an ellipse with half axes `a` and `b`, by the arithmetic-geometric mean, to machine accuracy.

    Notes
    -----
    2 pi (x0^2 - sum 2^(n-1) c_n^2) / M(a, b), c_n^2 = x_n^2 - y_n^2 [1]_.

    References
    ----------
    .. [1] `dlmf-19`, 19.8.6 and 19.30.5.

    Examples
    --------
    >>> round(ellipse_perimeter(3.0, 3.0), 12) == round(6 * math.pi, 12)
    True
    """
    x, y = (a, b) if a >= b else (b, a)
    total, weight = x * x, 0.5
    while True:
        gap = (x - y) * (x + y)
        total -= weight * gap
        if gap <= 1e-10 * x * x:  # the next gap is its square
            return 4 * math.pi * total / (x + y)
        x, y = (x + y) / 2, math.sqrt(x * y)
        weight *= 2


def h_section(d: float, b: float, tw: float, tf: float, *, r: float = 0.0) -> CutLine:
    """H, I, W or HP: two flanges and the web between them.

    A flange is burned through once, from one face; the perimeter counts both faces of everything.

    Examples
    --------
    >>> pile = h_section(14.21 * 25.4, 14.885 * 25.4, 0.805 * 25.4, 0.805 * 25.4)
    >>> round(pile.cut_line_mm / 25.4, 2), round(pile.perimeter_mm / 25.4, 2)
    (42.37, 86.35)
    """
    _positive(d=d, b=b, tw=tw, tf=tf)
    _less("2 tf", 2 * tf, "d", d)
    _less("tw", tw, "b", b)
    web = d - 2 * tf
    _radius("r", r, min(web, b - tw) / 2)
    return CutLine(
        "h section",
        "",
        2 * b + web,
        ((b, tf), (web, tw), (b, tf)),
        2 * d + 4 * b - 2 * tw - _ROUNDING * r,
        2 * (d + b),
        "2 b + (d - 2 tf)",
        roots=2,
        notes=("thicker at 2 roots where web meets flange: counted, not added to the length",),
    )


def channel(d: float, b: float, tw: float, tf: float) -> CutLine:
    """A channel: the web over its whole depth, and two flanges out from it. Perimeter with sharp corners."""
    _positive(d=d, b=b, tw=tw, tf=tf)
    _less("2 tf", 2 * tf, "d", d)
    _less("tw", tw, "b", b)
    out = b - tw
    segments = ((out, tf), (d, tw), (out, tf))
    return CutLine("channel", "", d + 2 * out, segments, 2 * d + 4 * b - 2 * tw, 2 * (d + b), "d + 2 (b - tw)")


def angle(a: float, b: float, t: float) -> CutLine:
    """An angle with legs a and b. Perimeter with sharp corners."""
    _positive(a=a, b=b, t=t)
    _less("t", t, "the shorter leg", min(a, b))
    line = a + b - t
    return CutLine("angle", "", line, ((line, t),), 2 * (a + b), 2 * (a + b), "a + b - t")


def box(b: float, h: float, t: float, *, r: float = 0.0) -> CutLine:
    """A rectangular hollow section b x h, along mid-wall; `r` is the outer corner radius."""
    _positive(b=b, h=h, t=t)
    _less("2 t", 2 * t, "the shorter side", min(b, h))
    _radius("r", r, min(b, h) / 2)
    line = 2 * (b + h) - 4 * t
    outline = 2 * (b + h)
    return CutLine("box", "", line, ((line, t),), outline - _ROUNDING * r, outline, "2 (b + h) - 4 t, along mid-wall")


def _sheets(sheets: float, w: float, tip: float | None) -> tuple[int, float]:
    """Number of sheets, and how much farther they reach when they were taped tip to tip [mm]."""
    if sheets != int(sheets) or not 1 <= sheets <= MOST_SHEETS:
        raise InputError(f"sheets = {sheets:g}: a whole number from 1 to {MOST_SHEETS} is needed")
    if tip is None:
        return int(sheets), 0.0
    _positive(tip=tip)
    if tip < w:
        raise InputError(f"tip = {_mm(tip)} is less than w = {_mm(w)}: tip to tip is never under the system width")
    return int(sheets), tip - w


def _wall_notes(sheets: int, overlap: float) -> tuple[str, ...]:
    notes = []
    if sheets > 1:
        notes.append(f"{sheets - 1} interlocks crossed, two or three thicknesses deep: counted, not added")
    if overlap:
        notes.append(f"taped tip to tip: {sheets - 1} overlaps of {_mm(overlap)} taken off the sum")
    return tuple(notes)


def flat_sheet(w: float, t: float, *, sheets: float = 1, tip: float | None = None) -> CutLine:
    """A wall of straight-web sheets: `w` from centre of interlock to centre of interlock, `tip` from tip to tip."""
    _positive(w=w, t=t)
    number, overlap = _sheets(sheets, w, tip)
    line = number * (w + overlap) - (number - 1) * overlap
    formula = "sheets w" if tip is None else "sheets tip - (sheets - 1) (tip - w)"
    return CutLine(
        "flat sheet",
        "",
        line,
        ((line, t),),
        None,
        None,
        formula,
        interlocks=number - 1,
        notes=_wall_notes(number, overlap),
    )


def z_sheet(
    w: float,
    *,
    h: float | None = None,
    tf: float,
    tw: float,
    slope: float | None = None,
    coating: float | None = None,
    sheets: float = 1,
    tip: float | None = None,
) -> CutLine:
    """A wall of Z sheets: `h` the depth of the wall, `slope` of the web from the wall's plane, all along mid-line.

    A producer's coating width for one side of one sheet wins over the formula, which runs 2 to 4 % below it.

    Examples
    --------
    >>> round(z_sheet(700.0, h=460.0, tf=12.2, tw=12.2, slope=55.2).cut_line_mm, 1)
    934.1
    """
    return _folded("z sheet", w, h, tf, tw, slope, coating, sheets, tip)


def u_sheet(
    w: float,
    *,
    h: float | None = None,
    tf: float,
    tw: float,
    slope: float | None = None,
    coating: float | None = None,
    sheets: float = 1,
    tip: float | None = None,
) -> CutLine:
    """A wall of U sheets: `h` the full depth of the wall, two half-depth webs to each sheet.

    Examples
    --------
    >>> round(u_sheet(750.0, h=441.0, tf=10.5, tw=10.5, slope=54.7).cut_line_mm, 1)
    972.7
    """
    return _folded("u sheet", w, h, tf, tw, slope, coating, sheets, tip)


def _folded(
    kind: str,
    w: float,
    h: float | None,
    tf: float,
    tw: float,
    slope: float | None,
    coating: float | None,
    sheets: float,
    tip: float | None,
) -> CutLine:
    _positive(w=w, tf=tf, tw=tw)
    number, overlap = _sheets(sheets, w, tip)
    if coating is not None:
        _positive(coating=coating)
        if coating < w:
            raise InputError(
                f"coating = {_mm(coating)} is less than w = {_mm(w)}: the surface is never under the width"
            )
    shape = None if h is None or slope is None else _web_and_flange(w, h, tf, slope)
    if shape is None and coating is None:
        missing = " and ".join(name for name, value in (("h", h), ("slope", slope)) if value is None)
        raise InputError(f"{missing} missing: a {kind} needs h and slope, or the producer's coating width")
    if shape is None and tf != tw:
        raise InputError("tf and tw differ: h and slope are needed to say how much of the line is web")
    web, flange = shape or (0.0, w)
    sheet = web + flange if coating is None else coating
    scale = sheet / (web + flange)
    parts = [(number * flange * scale + overlap, tf), (number * web * scale, tw)]
    notes = _wall_notes(number, overlap)
    if coating is None:
        formula = "sheets (w + (h - tf) tan(slope / 2))"
    else:
        formula = "sheets x coating width"
        notes = ("coating width as typed wins over the mid-line formula", *notes)
    if tip is not None:
        formula += ", one overlap (tip - w) more: sheets tip-to-tip widths less (sheets - 1) overlaps"
    return CutLine(
        kind,
        "",
        math.fsum(length for length, _ in parts),
        tuple(part for part in parts if part[0] > 0),
        None if coating is None else number * coating,
        None,
        formula,
        interlocks=number - 1,
        notes=notes,
    )


def _web_and_flange(w: float, h: float, tf: float, slope: float) -> tuple[float, float]:
    """Web and flange lengths of one sheet along mid-line [mm]; their sum is w + (h - tf) tan(slope / 2)."""
    _positive(h=h)
    _within("slope", slope, *SLOPE_DEG)
    _less("tf", tf, "h", h)
    alpha = math.radians(slope)
    web = (h - tf) / math.sin(alpha)
    flange = w - (h - tf) * math.cos(alpha) / math.sin(alpha)
    if flange <= 0:
        raise InputError(f"slope = {slope:g} degrees: webs this shallow leave no flange within w = {_mm(w)}")
    return web, flange
