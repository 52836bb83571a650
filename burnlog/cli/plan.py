"""Plan: how a typed value is read, and what a section is to burn. Estimates stand in `bid`."""

from __future__ import annotations

from typing import Annotated

import typer

from burnlog.cli import bid, hindsight
from burnlog.cli.context import Context, closing, say, say_json
from burnlog.cli.options import AsJson, Water
from burnlog.cli.sections import sections_at_hand
from burnlog.errors import InputError

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Put the commands of this group on the application."""
    app.command("units", rich_help_panel="Plan")(units_)
    app.command(rich_help_panel="Plan", context_settings={"allow_extra_args": True, "ignore_unknown_options": True})(
        length
    )
    bid.register(app)
    hindsight.register(app)


def units_(
    text: Annotated[str, typer.Argument(help="A value as people write it: 5/8, 1ft6, 7+, 0942.")],
    as_: Annotated[str, typer.Option("--as", help="Kind of field: thickness, length, depth, pressure, rods ...")],
    water: Water = None,
    at_depth: Annotated[str | None, typer.Option(help="With a gauge pressure: what is left over the bottom.")] = None,
    as_json: AsJson = False,
) -> None:
    """Show how a typed value is read, or why it is refused.

    Example: burnlog units "1-1/4 in" --as thickness
    """
    from burnlog import units

    if as_ == "bank":
        found = units.read_bank(text)
        say(f"{found.cylinders} cylinders, {found.each:g} each, {found.route}")
        return
    reading = units.read(text, as_, water=water)
    over = None
    if at_depth is not None:
        from burnlog.physics.water import over_bottom_kpa

        depth = units.read(at_depth, "depth", water=water).value
        if as_ != "pressure" or reading.value is None or depth is None:
            raise InputError("--at-depth goes with a gauge pressure: --as pressure --at-depth '60 fsw'.")
        over = over_bottom_kpa(reading.value, depth)
    if as_json:
        say_json(
            {
                "kind": as_,
                "typed": text,
                "value": reading.value,
                "unit": units.KINDS[as_].unit,
                "basis": reading.basis,
            }
        )
        return
    if reading.value is None:
        say(f"{text.strip() or '(blank)'}: {reading.basis}")
        return
    metric, us = (units.show(reading.value, as_, profile) for profile in ("metric", "us"))
    stubs = ", ".join(f"{stub / 25.4:g} in" for stub in reading.stubs_mm)
    also = f" ({us})" if us != metric else ""
    mark = f", {reading.basis}" if reading.basis != "measured" else ""
    say(f"{metric}{also}{mark}" + (f" burned full, and stubs of {stubs}" if stubs else ""))
    if over is not None:
        say(f"{over / units.KPA_PER_PSI:.1f} psi over bottom (hose loss not included)")


def length(
    ctx: typer.Context,
    section: Annotated[str, typer.Argument(help="plate, pipe, h section ..., or HP14x117.")],
    as_json: AsJson = False,
) -> None:
    """Compute the cut line of a section: what is burned, beside what is only cleaned.

    Dimensions follow as options or as name=value.

    Example: burnlog length h --d 14.21in --b 14.885in --tw .805in --tf .805in
    """
    from burnlog.physics.sections import parse_section
    from burnlog.reports.text_length import length_text

    dims = _dims(ctx.args)
    found = parse_section(section, dims, sections_at_hand(Context.of(ctx)))
    if as_json:
        say_json(
            {
                "kind": found.kind,
                "designation": found.designation,
                "cut_line_mm": found.cut_line_mm,
                "segments": [{"length_mm": a, "thickness_mm": b} for a, b in found.segments],
                "perimeter_mm": found.perimeter_mm,
                "box_mm": found.box_mm,
                "interlocks": found.interlocks,
                "roots": found.roots,
                "formula": found.formula,
                "source": found.source,
                "notes": list(found.notes),
            }
        )
    else:
        say(closing(length_text(found)))


def _dims(words: list[str]) -> str:
    """`--d 14in --b 12in` and `d=14in b=12in` as one text of dimensions."""
    out, rest = [], list(words)
    while rest:
        word = rest.pop(0)
        if word.startswith("--") and "=" not in word:
            if not rest:
                raise InputError(f"{word} has no value behind it.")
            out.append(f"{word[2:]}={rest.pop(0)}")
        else:
            out.append(word.removeprefix("--"))
    return " ".join(out)
