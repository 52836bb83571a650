"""From a section as somebody writes it to the line that is burned.

`parse_section` takes a kind with dimensions (`pipe`, ``od=24in wall=.375in``) or a designation from the user's own
list or the short built-in one. A pipe below nominal 14 is asked about, because its nominal size is not its diameter
[b36]_; the built-in sizes are few, and each says how its dimensions were seen [a6]_ [en]_. Formulas stand in
`shapes`.

References
----------
.. [b36] `asme-b36-10m`.
.. [a6] `astm-a6`.
.. [en] `en-10365`.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from burnlog import units
from burnlog.errors import InputError, ReadError
from burnlog.measures import MM_PER_IN
from burnlog.notation import clean, missing
from burnlog.physics import shapes
from burnlog.physics.shapes import CutLine

__all__ = ["BUILT_IN", "DIMENSIONS", "CutLine", "Section", "cut_line", "parse_section", "read_section"]


@dataclass(frozen=True)
class Section:
    """A section with a name: dimensions in mm (slopes in degrees), and where they come from."""

    designation: str
    kind: str
    dims: Mapping[str, float] = field(default_factory=dict)
    source: str = ""


def _inches(designation: str, source: str, **dims: float) -> Section:
    kind = "pipe" if "od" in dims else "h section"
    return Section(designation, kind, {name: size * MM_PER_IN for name, size in dims.items()}, source)


_A6 = "ASTM A6 bearing pile, from two public tables, second-hand"
BUILT_IN: tuple[Section, ...] = (
    _inches("HP14x117", _A6, d=14.21, b=14.885, tw=0.805, tf=0.805),
    _inches("HP14x89", _A6, d=13.83, b=14.695, tw=0.615, tf=0.615),
    _inches("HP14x73", _A6, d=13.61, b=14.585, tw=0.505, tf=0.505),
    _inches("HP12x84", _A6, d=12.28, b=12.295, tw=0.685, tf=0.685),
    _inches("HP12x74", _A6, d=12.13, b=12.215, tw=0.605, tf=0.610),
    _inches("HP12x53", "ASTM A6 bearing pile, from memory", d=11.78, b=12.045, tw=0.435, tf=0.435),
    Section("HE 300 B", "h section", {"d": 300, "b": 300, "tw": 11, "tf": 19, "r": 27}, "EN 10365, from memory"),
    Section("HE 300 A", "h section", {"d": 290, "b": 300, "tw": 8.5, "tf": 14, "r": 27}, "EN 10365, from memory"),
    Section(
        "UBP 305x305x110",
        "h section",
        {"d": 307.9, "b": 310.7, "tw": 15.3, "tf": 15.4, "r": 15.2},
        "EN 10365, from memory",
    ),
    _inches("NPS 12 STD", "ASME B36.10M: od read, wall from memory", od=12.75, wall=0.375),
    _inches("NPS 24 STD", "ASME B36.10M: od read, wall from memory", od=24.0, wall=0.375),
)
"""A short list for convenience and tests; the user's own list comes first."""


@dataclass(frozen=True)
class _Shape:
    """A kind: its formula, the dimensions it needs, those it may have, and other names for both."""

    formula: Callable[..., CutLine]
    needed: tuple[str, ...]
    optional: tuple[str, ...] = ()
    names: tuple[str, ...] = ()
    aliases: Mapping[str, str] = field(default_factory=dict)


_WALL = ("sheets", "tip")
_FOLDED_NAMES = {"n": "sheets", "width": "w", "b": "w", "d": "h", "depth": "h", "angle": "slope", "coat": "coating"}
_H_NAMES = {"h": "d", "depth": "d", "bf": "b", "width": "b", "web": "tw", "flange": "tf", "root": "r"}
_SHAPES: Mapping[str, _Shape] = {
    "plate": _Shape(shapes.plate, ("length", "t"), ("lean",), ("straight",), {"l": "length", "thickness": "t"}),
    "hole": _Shape(shapes.hole, ("dia", "t"), (), ("round hole",), {"d": "dia", "diameter": "dia", "thickness": "t"}),
    "window": _Shape(shapes.window, ("a", "b", "t"), ("r",), (), {"thickness": "t", "radius": "r"}),
    "pipe": _Shape(
        shapes.pipe,
        ("od", "wall"),
        ("inside", "part", "mitre"),
        ("tube", "pipe pile", "ring"),
        {"d": "od", "dia": "od", "t": "wall", "wt": "wall", "thickness": "wall", "miter": "mitre", "arc": "part"},
    ),
    "h section": _Shape(
        shapes.h_section,
        ("d", "b", "tw", "tf"),
        ("r",),
        ("h", "i", "w", "hp", "h pile", "h-pile", "h-section", "i section", "w section", "beam"),
        _H_NAMES,
    ),
    "channel": _Shape(shapes.channel, ("d", "b", "tw", "tf"), (), ("c", "u section"), _H_NAMES),
    "angle": _Shape(
        shapes.angle, ("a", "b", "t"), (), ("l section", "l"), {"thickness": "t", "tw": "t", "d": "a", "h": "a"}
    ),
    "box": _Shape(
        shapes.box,
        ("b", "h", "t"),
        ("r",),
        ("rectangular hollow", "square hollow", "rhs", "shs", "hss"),
        {"width": "b", "d": "h", "depth": "h", "wall": "t", "tw": "t", "thickness": "t"},
    ),
    "flat sheet": _Shape(
        shapes.flat_sheet,
        ("w", "t"),
        _WALL,
        ("straight web sheet", "flat", "straight-web sheet"),
        {"n": "sheets", "width": "w", "b": "w", "tw": "t", "web": "t", "thickness": "t"},
    ),
    "z sheet": _Shape(
        shapes.z_sheet, ("w", "tf", "tw"), ("h", "slope", "coating", *_WALL), ("z", "z-sheet"), _FOLDED_NAMES
    ),
    "u sheet": _Shape(
        shapes.u_sheet, ("w", "tf", "tw"), ("h", "slope", "coating", *_WALL), ("u", "u-sheet"), _FOLDED_NAMES
    ),
}
DIMENSIONS: Mapping[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    kind: (shape.needed, shape.optional) for kind, shape in _SHAPES.items()
}
"""Kind -> (dimensions it needs, dimensions it may have)."""

_NO_FORMULA = frozenset(("bar", "other"))
_ANGLES = frozenset(("lean", "mitre", "part", "slope"))
_PERIMETER = (
    "a surface perimeter is what is cleaned or touched, not what is burned: for an H-pile it is about twice the cut "
    "line, because a flange is burned through once and has two faces. Give the dimensions, or the cut line itself"
)


def parse_section(
    kind_or_designation: str, dims: str = "", own_list: Sequence[Section] = (), *, unit: str | None = None
) -> CutLine:
    """The cut line of a section as typed.

    Parameters
    ----------
    kind_or_designation : str
        A kind (`h section`, `pipe 24 in`), or a designation in `own_list` or `BUILT_IN`; spaces and case are free.
    dims : str
        Dimensions such as ``d=14.21in b=14.885in tw=.805in tf=.805in``. Behind a designation they add to it
        (``sheets=40``) or replace what the table says.
    own_list : sequence of Section
        Looked through before `BUILT_IN`.
    unit : str, optional
        Unit of bare lengths.

    Returns
    -------
    CutLine

    Raises
    ------
    InputError
        Unknown section, a dimension missing, unknown or impossible (each named), a nominal pipe size that may
        be meant as a diameter, or a perimeter offered as a dimension.

    Examples
    --------
    >>> round(parse_section("HP14x117").cut_line_mm / 304.8, 3)
    3.531
    >>> round(parse_section("pipe", "od=24in wall=.375in").cut_line_mm / 304.8, 3)
    6.283
    """
    text = " ".join(kind_or_designation.replace("\u00d7", "x").split())
    if not text:
        raise InputError("section missing: give a kind with its dimensions, or a designation such as HP14x117")
    if "perimeter" in text.lower():
        raise InputError(_PERIMETER)
    known = _find(text, own_list) or _find(text, BUILT_IN)
    if known is not None:
        sizes = {**known.dims, **_dimensions(known.kind, "", dims, unit)}
        return replace(cut_line(known.kind, sizes), designation=known.designation, source=known.source)
    if text.lower() in _NO_FORMULA:
        raise InputError(f"a {text.lower()} has no formula here: give its length and thickness as plate")
    kind, rest = _kind(text)
    if kind is None:
        raise _unknown(text, own_list)
    return cut_line(kind, _dimensions(kind, rest, dims, unit))


def read_section(
    designation: str, kind: str, dims: Mapping[str, str], source: str, *, unit: str | None = None
) -> Section:
    """One row of the user's own section list, checked by computing with it.

    Raises
    ------
    InputError
        No name, no source, an unknown kind, or dimensions that cannot be.

    Examples
    --------
    >>> read_section("pile A", "pipe", {"od": "610 mm", "wall": "12.5 mm", "d": ""}, "drawing 12").dims["od"]
    610.0
    """
    name = designation.strip()
    if not name:
        raise InputError("designation missing: a section needs a name")
    if not source.strip():
        raise InputError(f"{name}: source missing; a dimension without one becomes a false fact")
    found, rest = _kind(" ".join(kind.split()))
    if found is None or rest:
        raise InputError(f"{name}: '{kind}' is no kind of section; there are {', '.join(_SHAPES)}")
    sizes: dict[str, float] = {}
    for key, text in dims.items():
        if not missing(clean(text)):
            _put(sizes, found, key.strip().lower(), text.strip().lower(), unit)
    try:
        cut_line(found, {"sheets": 1.0, **sizes} if "sheet" in found else sizes)
    except InputError as error:
        raise InputError(f"{name}: {error}") from None
    return Section(name, found, sizes, source.strip())


def cut_line(kind: str, dims: Mapping[str, float]) -> CutLine:
    """The cut line of a kind from its dimensions in mm and degrees.

    Raises
    ------
    InputError
        A dimension is missing, does not belong to the kind, or cannot be.
    """
    shape = _SHAPES.get(kind)
    if shape is None:
        raise InputError(f"'{kind}' is no kind of section; there are {', '.join(_SHAPES)}")
    missing = [name for name in shape.needed if name not in dims]
    if missing:
        raise InputError(
            f"{' and '.join(missing)} missing: {_a(kind)} needs {', '.join(shape.needed)}"
            + (f" and may have {', '.join(shape.optional)}" if shape.optional else "")
        )
    strange = [name for name in dims if name not in shape.needed and name not in shape.optional]
    if strange:
        raise InputError(
            f"{' and '.join(strange)}: not a dimension of {_a(kind)}, which has "
            f"{', '.join((*shape.needed, *shape.optional))}"
        )
    sizes: dict[str, float | bool] = dict(dims)
    if "inside" in sizes:
        sizes["inside"] = bool(sizes["inside"])
    return shape.formula(**sizes)


def _a(kind: str) -> str:
    return f"{'an' if kind[0] in 'aeh' and kind != 'hole' else 'a'} {kind}"


def _spelling(text: str) -> str:
    return re.sub(r"[\s_-]+", "", text.lower())


def _find(text: str, sections: Sequence[Section]) -> Section | None:
    wanted = _spelling(text)
    return next((section for section in sections if _spelling(section.designation) == wanted), None)


def _kind(text: str) -> tuple[str | None, str]:
    """The kind a text begins with, the longest name first, and what stands behind it."""
    low = text.lower()
    spoken = {name: kind for kind, shape in _SHAPES.items() for name in (kind, *shape.names)}
    for name in sorted(spoken, key=len, reverse=True):
        if low == name or (low.startswith(name + " ") and len(name) > 1):
            return spoken[name], text[len(name) :].strip()
    return None, ""


def _unknown(text: str, own_list: Sequence[Section]) -> InputError:
    names = [section.designation for section in (*own_list, *BUILT_IN)] + list(_SHAPES)
    by_spelling = {_spelling(name): name for name in reversed(names)}
    near = difflib.get_close_matches(_spelling(text), by_spelling, n=3, cutoff=0.0)
    return ReadError(
        f"'{text[:40]}' is neither a kind of section nor in the section list; the nearest are "
        f"{', '.join(by_spelling[name] for name in near)}. Give the kind with its dimensions, such as "
        "h section d=14.21in b=14.885in tw=.805in tf=.805in, or import it with its source",
        text=text,
        kind="section",
    )


_KEYS = re.compile(r"(?:(?<=[\s,;])|^)([a-z][a-z_]*)\s*=\s*")


def _dimensions(kind: str, size: str, dims: str, unit: str | None) -> dict[str, float]:
    """Dimensions from `key=value` text; a size without a key in front is a pipe's diameter."""
    text = f"{size} {dims}".strip().lower()
    head, *pairs = _KEYS.split(text)
    head = head.strip(" ,;")
    sizes: dict[str, float] = {}
    if head:
        sizes.update(_bare_size(kind, head, unit))
    for key, value in zip(pairs[::2], pairs[1::2], strict=True):
        _put(sizes, kind, key, value.strip(" ,;"), unit)
    return sizes


def _put(sizes: dict[str, float], kind: str, key: str, text: str, unit: str | None) -> None:
    """Read one dimension into `sizes`; refused where it stands there already."""
    if kind == "pipe" and key in ("nps", "dn"):
        found = {"od": _nominal(key, text)}
    elif kind == "pipe" and key == "from":
        found = {"inside": _side(text)}
    elif kind in _FOLDED and key in ("t", "thickness"):
        found = dict.fromkeys(("tf", "tw"), _size("t", text, unit))
    else:
        name = _dimension_name(kind, key)
        found = {name: _size(name, text, unit)}
    for name in found:
        if name in sizes:
            raise InputError(f"{name} stands twice")
    sizes.update(found)


_FOLDED = frozenset(("z sheet", "u sheet"))


def _dimension_name(kind: str, key: str) -> str:
    """What a kind calls the dimension a key stands for."""
    shape = _SHAPES[kind]
    if "perimeter" in key:
        raise InputError(_PERIMETER)
    return key if key in shape.needed or key in shape.optional else shape.aliases.get(key, key)


def _size(name: str, text: str, unit: str | None) -> float:
    if name in _ANGLES:
        kind, given = "angle", None
    elif name in ("sheets", "inside"):
        kind, given = "whole", None
    else:
        kind, given = "length", unit
    try:
        reading = units.read(text, kind, unit=given)
    except ReadError as error:
        raise ReadError(f"{name}: {error}", text=text, kind=name) from None
    if reading.value is None:
        raise InputError(f"{name} is blank; leave the whole of it out, or give a value")
    return reading.value


def _side(text: str) -> float:
    if text in ("inside", "in"):
        return 1.0
    if text in ("outside", "out"):
        return 0.0
    raise InputError(f"from = '{text}': a pipe is cut from inside or from outside")


_NPS_OD_IN: Mapping[str, float] = {
    "1/2": 0.840,
    "3/4": 1.050,
    "1": 1.315,
    "1-1/4": 1.660,
    "1-1/2": 1.900,
    "2": 2.375,
    "2-1/2": 2.875,
    "3": 3.5,
    "3-1/2": 4.0,
    "4": 4.5,
    "5": 5.563,
    "6": 6.625,
    "8": 8.625,
    "10": 10.75,
    "12": 12.75,
}
"""Outer diameter [in] of pipe below NPS 14. NPS 12 was read, the others are from memory (`asme-b36-10m`)."""
_FIRST_TRUE_NPS = 14
_LAST_NPS = 80
_DN_NPS: Mapping[int, str] = {
    15: "1/2", 20: "3/4", 25: "1", 32: "1-1/4", 40: "1-1/2", 50: "2", 65: "2-1/2", 80: "3", 90: "3-1/2",
    100: "4", 125: "5", 150: "6", 200: "8", 250: "10", 300: "12", 350: "14", 400: "16", 450: "18", 500: "20",
    550: "22", 600: "24", 650: "26", 700: "28", 750: "30", 800: "32", 850: "34", 900: "36",
}  # fmt: skip
"""Nominal size in mm -> nominal size in inches (from memory)."""


_WHOLE = re.compile(r"[0-9]{1,4}")


def _nominal(key: str, text: str) -> float:
    """Outer diameter [mm] of a nominal size."""
    written = text.removesuffix("in").strip() if key == "nps" else text.removesuffix("mm").strip()
    if key == "dn":
        nps = _DN_NPS.get(int(written)) if _WHOLE.fullmatch(written) else None
        if nps is None:
            raise InputError(f"dn = {text}: no such nominal size is known here; give od")
        written = nps
    od = _NPS_OD_IN.get(written.replace(" ", "-"))
    if od is None and _WHOLE.fullmatch(written) and _FIRST_TRUE_NPS <= int(written) <= _LAST_NPS:
        od = float(written)
    if od is None:
        raise InputError(f"nps = {text}: no such nominal size is known here; give od")
    return od * MM_PER_IN


_BY_WALL = re.compile(r"(.+?)\s+x\s+(.+)|([0-9./-]+)x([0-9.].*)")


def _bare_size(kind: str, text: str, unit: str | None) -> dict[str, float]:
    """A size without a name: the diameter of a pipe, perhaps `x` its wall, if it can only be that."""
    if kind != "pipe":
        raise InputError(
            f"'{text}' has no name: write dimensions as {_SHAPES[kind].needed[0]}=..., separated by spaces"
        )
    match = _BY_WALL.fullmatch(text)
    size, wall = (match[1] or match[3], match[2] or match[4]) if match else (text, None)
    shared = unit
    if wall is not None and shared is None:
        shared = _unit_of(wall)
    out = {"od": _size("od", size, shared)}
    if wall is not None:
        out["wall"] = _size("wall", wall, shared)
    _ask_nominal(out["od"], size)
    return out


_TRAILING_UNIT = re.compile(r".*?[0-9.]\s*([a-z]+|\"|')$")


def _unit_of(text: str) -> str | None:
    """The unit at the end of `12.5 mm`; inches for a bare fraction."""
    match = _TRAILING_UNIT.fullmatch(text)
    if match:
        return match[1]
    return "in" if "/" in text else None


def _ask_nominal(od_mm: float, typed: str) -> None:
    """Refuse a diameter that is also the nominal size of another one."""
    inches = od_mm / MM_PER_IN
    for nps, true_od in _NPS_OD_IN.items():
        if abs(inches - float(units.read(f"{nps} in", "length").value or 0) / MM_PER_IN) < 1e-9:
            raise InputError(
                f"pipe {typed}: {units.show(true_od * MM_PER_IN, 'diameter', 'us')} OD (nominal {nps}) or "
                f"{inches:.2f} in OD? Write nps={nps} or od={typed}"
            )
    nearest = round(od_mm)
    nominal = _DN_NPS.get(nearest)
    if nominal is not None and abs(od_mm - nearest) < 1e-9:
        raise InputError(
            f"pipe {typed}: {_nominal('nps', nominal):.1f} mm OD (nominal DN {nearest}) or {nearest} mm OD? "
            f"Write dn={nearest} or od={nearest}mm"
        )
