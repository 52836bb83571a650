"""Pages about the record: rates, crews, sag, flags, a day, practice; and their charts as files."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from burnlog.cli.context import Context, now, say
from burnlog.cli.options import Counted, Floor, Period, Rated, bundled, day, jobs_in, pressure
from burnlog.errors import FileError, InputError

if TYPE_CHECKING:
    from burnlog.analyses.crews import Remark
    from burnlog.analyses.scope import Scope
    from burnlog.columns import Frames
    from burnlog.reports.page import Head, Page

__all__ = ["head_of", "in_words", "register", "write_charts", "write_page"]

SEED = 1

Png = Annotated[Path | None, typer.Option(help="Also write every chart as PNG into this folder.")]
Svg = Annotated[Path | None, typer.Option(help="Also write every chart as SVG into this folder.")]

Remarks = Annotated[
    list[str] | None,
    typer.Option("--remark", help="Answer of somebody reviewed, CODE=text; printed whole, dated today."),
]


def register(group: typer.Typer) -> None:
    """Put the pages on the group `report`."""
    group.command("rates")(bundled(report_rates))
    group.command("crews")(bundled(report_crews))
    group.command("sag")(bundled(report_sag))
    group.command("flags")(bundled(report_flags))
    group.command("day")(bundled(report_day))
    group.command("practice")(bundled(report_practice))


def write_page(path: Path, html: str) -> None:
    """Write a page whole, or not at all."""
    draft = path.with_name(path.name + ".part")
    try:
        draft.write_text(html, encoding="utf-8")
        draft.replace(path)
    except OSError as error:
        draft.unlink(missing_ok=True)
        raise FileError(f"{path} cannot be written ({error.strerror}). Name another file with --out.") from error


def write_charts(
    charts: Mapping[str, Any], *, svg: Path | None, png: Path | None, note: Callable[[str], None] = say
) -> None:
    """Write charts as files named after their place on the page, where folders were named; `note` says so."""
    from burnlog.charts import theme

    for folder, ending in ((svg, "svg"), (png, "png")):
        if folder is None:
            continue
        try:
            folder.mkdir(parents=True, exist_ok=True)
            for name, chart in charts.items():
                drawn = theme.png(chart) if ending == "png" else theme.svg(chart).encode()
                (folder / f"{name}.{ending}").write_bytes(drawn)
        except OSError as error:
            raise FileError(f"{folder} cannot be written ({error.strerror}). Name another folder.") from error
        note(f"{folder}: {len(charts)} charts written as {ending.upper()}.")


def _finish(made: Page, out: Path, svg: Path | None, png: Path | None) -> None:
    write_page(out, made.html)
    say(f"{out}: written.")
    write_charts(made.charts, svg=svg, png=png)


def _record(context: Context) -> tuple[Frames, str]:
    """The record and the id of its log, read at one moment."""
    from burnlog.store.frames import load_frames

    with context.open() as log:
        return load_frames(log), log.db_id


def head_of(frames: Frames, db_id: str, asked: str, *, by: str) -> Head:
    """Where a page about this record comes from."""
    from importlib.metadata import version

    from burnlog.reports.cautions import MADE_UP
    from burnlog.reports.page import Head

    closed = frames.cuts["closed_space"].fillna("unknown").ne("open").any()
    return Head(
        db_id=db_id,
        made_on=now().date().isoformat(),
        by=by,
        asked=asked,
        version=version("burnlog"),
        made_up=MADE_UP if frames.jobs["made_up"].any() else None,
        closed_space=bool(closed),
    )


def in_words(scope: Scope, *, everything: bool = False) -> str:
    """The filter in words, for the head of a page; `everything` where class and setting do not bound it."""
    said = ["every class and setting"] if everything else [scope.record_class, scope.setting]
    said += [scope.family] if scope.family else []
    for name, codes in (("job", scope.jobs), ("crew", scope.crews), ("diver", scope.divers)):
        if codes:
            said.append(f"{name}{'s' if len(codes) > 1 else ''} {', '.join(codes)}")
    if not scope.jobs:
        said.append("every job")
    first, last = scope.since, scope.until
    if first or last:
        said.append(f"{first or 'the first day'} to {last or 'the last day'}")
    return ", ".join(said)


def _remarks(texts: list[str] | None) -> tuple[Remark, ...]:
    """Answers typed as CODE=text."""
    from burnlog.analyses.crews import Remark

    out = []
    for text in texts or ():
        code, equals, said = text.partition("=")
        if not equals or not code.strip() or not said.strip():
            raise InputError(f"--remark {text}: expected CODE=text, such as JM='the hose was changed at noon'.")
        out.append(Remark(code.strip(), now().date().isoformat(), said.strip()))
    return tuple(out)


def report_rates(
    ctx: typer.Context,
    only: Rated,
    by: Annotated[
        list[str] | None, typer.Option(help="Also side by side: crew, diver, family, visibility, thickness, ...")
    ] = None,
    out: Annotated[Path, typer.Option(help="The page.")] = Path("rates.html"),
    svg: Svg = None,
    png: Png = None,
) -> None:
    """Write the page of the rates: curve over thickness, conditions, start cost, what was left out.

    Example: burnlog report rates --out rates.html --svg charts
    """
    from burnlog.analyses.fit_check import fit_check
    from burnlog.analyses.rate_curve import rate_curve
    from burnlog.analyses.rates import rates
    from burnlog.reports.rates_page import rates_page

    context = Context.of(ctx)
    frames, db_id = _record(context)
    scope = only.scope(frames)
    found = rates(frames, scope, by=tuple(by or ()))
    curve = rate_curve(found.fit) if found.fit is not None else ()
    head = head_of(frames, db_id, in_words(scope), by=context.hand)
    profile = context.profile_over(frames, jobs_in(frames, scope))
    _finish(rates_page(found, curve, fit_check(frames, found), head, profile=profile), out, svg, png)


def report_crews(
    ctx: typer.Context,
    only: Counted,
    by: Annotated[str, typer.Option(help="crew, diver, rod type or rig.")] = "crew",
    remark: Remarks = None,
    out: Annotated[Path, typer.Option(help="The page.")] = Path("crews.html"),
    svg: Svg = None,
    png: Png = None,
) -> None:
    """Write the page of a crew review: in code order, with the work given and the luck band beside each figure.

    Example: burnlog report crews --out crews.html
    """
    import numpy as np

    from burnlog.analyses.crew_context import crew_context
    from burnlog.analyses.crew_oxygen import crew_oxygen
    from burnlog.analyses.crews import crews
    from burnlog.analyses.flags import flags
    from burnlog.analyses.sag import sag
    from burnlog.reports.crews_page import crews_page

    context = Context.of(ctx)
    frames, db_id = _record(context)
    scope = only.scope(frames)
    review = crews(frames, scope, by=by, rng=np.random.default_rng(SEED), remarks=_remarks(remark))
    asked = [flag for flag in flags(frames, scope).flags if flag.kind in ("rods", "sag")]
    made = crews_page(
        review,
        crew_context(frames, scope, review.by),
        crew_oxygen(frames, sag(frames, scope), scope, review.by),
        asked,
        head_of(frames, db_id, in_words(scope), by=context.hand),
        profile=context.profile_over(frames, jobs_in(frames, scope)),
    )
    _finish(made, out, svg, png)


def report_sag(
    ctx: typer.Context,
    only: Period,
    floor: Floor,
    out: Annotated[Path, typer.Option(help="The page.")] = Path("sag.html"),
    svg: Svg = None,
    png: Png = None,
) -> None:
    """Write the page of oxygen sag: a pressure strip for each dive that raises a question, its cuts beneath.

    Example: burnlog report sag --since 2025-01-01 --out sag.html
    """
    from burnlog.analyses.sag import sag
    from burnlog.reports.sag_page import sag_page

    context = Context.of(ctx)
    frames, db_id = _record(context)
    scope = only.scope(frames)
    review = sag(frames, scope, needed_kpa=floor.needed_kpa, margin_kpa=floor.margin_kpa)
    head = head_of(frames, db_id, in_words(scope, everything=True), by=context.hand)
    profile = context.profile_over(frames, jobs_in(frames, scope, any_class=True))
    _finish(sag_page(review, frames, head, profile=profile), out, svg, png)


def report_flags(
    ctx: typer.Context,
    only: Counted,
    out: Annotated[Path, typer.Option(help="The page.")] = Path("flags.html"),
    svg: Svg = None,
    png: Png = None,
) -> None:
    """Write the page of questions about the record: written, expected, what else stood there, what was decided.

    Example: burnlog report flags --job PIER12 --out flags.html
    """
    from burnlog.analyses.events import events
    from burnlog.analyses.flags import flags
    from burnlog.reports.flags_page import flags_page

    context = Context.of(ctx)
    frames, db_id = _record(context)
    scope = only.scope(frames)
    profile = context.profile_over(frames, jobs_in(frames, scope, any_class=True))
    review = flags(frames, scope, profile=profile)
    head = head_of(frames, db_id, in_words(scope), by=context.hand)
    made = flags_page(review, head, events=events(frames, scope), profile=profile)
    _finish(made, out, svg, png)


def report_day(
    ctx: typer.Context,
    date: Annotated[str, typer.Argument(help="The day, 2026-05-12.")],
    job: Annotated[str | None, typer.Option(help="Only this job.")] = None,
    needed: Annotated[str | None, typer.Option(help="Asks when each bank may reach this pressure.")] = None,
    out: Annotated[Path, typer.Option(help="The page.")] = Path("day.html"),
    svg: Svg = None,
    png: Png = None,
) -> None:
    """Write the page of a day: sums, lines, waits, the dives with their place in the legal log, what still hangs.

    Example: burnlog report day 2026-02-11 --out day.html
    """
    from burnlog.analyses.attached import left_on
    from burnlog.analyses.day import day_of
    from burnlog.reports.day_page import day_page

    context = Context.of(ctx)
    wanted = day(date)
    frames, db_id = _record(context)
    found = day_of(frames, wanted, today=now().date(), job=job, needed_kpa=pressure(needed))
    left = [left_on(frames, code) for code in found.jobs]
    head = head_of(frames, db_id, f"{date}, {f'job {job}' if job else 'every job'}", by=context.hand)
    profile = context.profile_over(frames, found.jobs)
    _finish(day_page(found, frames, left, head, profile=profile), out, svg, png)


def report_practice(
    ctx: typer.Context,
    only: Period,
    remark: Remarks = None,
    out: Annotated[Path, typer.Option(help="The page.")] = Path("practice.html"),
    svg: Svg = None,
    png: Png = None,
) -> None:
    """Write the page of practice: calls and faults first, every attempt as a dot, settings never joined.

    Example: burnlog report practice --job CLASS26 --out practice.html
    """
    import numpy as np

    from burnlog.analyses.practice import practice
    from burnlog.analyses.practice_pressure import practice_pressure
    from burnlog.reports.practice_page import practice_page

    context = Context.of(ctx)
    frames, db_id = _record(context)
    scope = only.scope(frames, record_class="training")
    review = practice(frames, scope, rng=np.random.default_rng(SEED), remarks=_remarks(remark))
    strips = practice_pressure(frames, scope)
    asked = in_words(scope).replace(scope.setting, "each setting by itself")
    head = head_of(frames, db_id, asked, by=context.hand)
    profile = context.profile_over(frames, jobs_in(frames, scope))
    _finish(practice_page(review, strips, head, profile=profile), out, svg, png)
