"""A length as text for the terminal. It stands apart so that `length` waits for no library of statistics."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from burnlog.physics.shapes import CutLine

__all__ = ["length_text"]

WIDTH = 79


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent="  ", subsequent_indent="    ")


def length_text(found: CutLine) -> str:
    """Three lengths by name; only the first is burned."""

    def both(mm: float) -> str:
        return f"{mm:.1f} mm ({mm / 25.4:.3f} in, {mm / 304.8:.3f} ft)"

    lines = [f"{found.designation or found.kind}", f"  cut line           {both(found.cut_line_mm)}"]
    lines += [f"    segment          {both(length)} x {thick:.2f} mm" for length, thick in found.segments]
    if found.perimeter_mm is not None:
        inches = found.perimeter_mm / 25.4
        lines.append(f"  surface perimeter {inches:.2f} in (not burned), {found.perimeter_mm:.1f} mm")
    if found.box_mm is not None:
        lines.append(f"  box                {both(found.box_mm)}")
    if found.interlocks:
        lines.append(f"  interlocks         {found.interlocks}")
    if found.roots:
        lines.append(f"  roots              {found.roots} (locally thicker; the length is not stretched)")
    lines += _wrapped(f"formula: {found.formula}")
    lines += _wrapped(f"dimensions: {found.source}")
    for note in found.notes:
        lines += _wrapped(f"note: {note}")
    return "\n".join(lines)
