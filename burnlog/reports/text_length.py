"""A length as text for the terminal. It stands apart so that `length` waits for no library of statistics."""

from __future__ import annotations

from typing import TYPE_CHECKING

from burnlog.measures import MM_PER_IN
from burnlog.reports.lines import ascii_text, wrapped

if TYPE_CHECKING:
    from burnlog.physics.shapes import CutLine

__all__ = ["length_text"]


def length_text(found: CutLine) -> str:
    """Three lengths by name; only the first is burned."""

    def both(mm: float) -> str:
        return f"{mm:.1f} mm ({mm / MM_PER_IN:.3f} in, {mm / MM_PER_IN / 12:.3f} ft)"

    lines = [f"{found.designation or found.kind}", f"  cut line           {both(found.cut_line_mm)}"]
    lines += [f"    segment          {both(length)} x {thick:.2f} mm" for length, thick in found.segments]
    if found.perimeter_mm is not None:
        inches = found.perimeter_mm / MM_PER_IN
        lines.append(f"  surface perimeter {inches:.2f} in (not burned), {found.perimeter_mm:.1f} mm")
    if found.box_mm is not None:
        lines.append(f"  box                {both(found.box_mm)}")
    if found.interlocks:
        lines.append(f"  interlocks         {found.interlocks}")
    if found.roots:
        lines.append(f"  roots              {found.roots} (locally thicker; the length is not stretched)")
    lines += wrapped(f"formula: {found.formula}", "  ")
    lines += wrapped(f"dimensions: {found.source}", "  ")
    for note in found.notes:
        lines += wrapped(f"note: {note}", "  ")
    return ascii_text(lines)
