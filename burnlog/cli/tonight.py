"""Tonight: does the record add up, what still hangs, the day in ten lines, enough rods for tomorrow."""

from __future__ import annotations

from typing import Annotated

import typer

from burnlog.cli.context import Context, closing, invented, now, say, say_json
from burnlog.cli.options import AsJson, Period, day, jobs_in, pressure
from burnlog.errors import InputError, RecordError

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Put the commands of this group on the application."""
    for command in (check, left, day_, stock):
        app.command(command.__name__.rstrip("_"), rich_help_panel="Tonight")(command)


def check(
    ctx: typer.Context,
    since: Annotated[str | None, typer.Option(help="Only dives on or after this day.")] = None,
    blanks: Annotated[bool, typer.Option("--blanks", help="Also how much of the sheet was filled in.")] = False,
    as_json: AsJson = False,
) -> None:
    """Find what does not add up, while the diver is still on deck.

    Exit code 4 where something was found. It never changes anything.

    Example: burnlog check --since 2026-01-01
    """
    from burnlog.analyses.completeness import completeness
    from burnlog.analyses.quality import check as checked
    from burnlog.reports.text_record import check_text, completeness_text

    context = Context.of(ctx)
    frames = context.frames()
    scope = Period(since=since).scope(frames)
    profile = context.profile_over(frames, jobs_in(frames, scope, any_class=True))
    report = checked(frames, since=scope.since, profile=profile)
    found = completeness(frames) if blanks else None
    if as_json:
        say_json({**report.as_json(), **({"completeness": found.as_json()} if found else {})})
    else:
        text = check_text(report)
        say(closing(text + ("\n\n" + completeness_text(found) if found else ""), made_up=invented(frames)))
    if not report.clean:
        number = len(report.problems)
        raise RecordError(f"{number} thing{'s' if number != 1 else ''} to look at; nothing was changed.")


def left(
    ctx: typer.Context,
    job: Annotated[str, typer.Option(help="Job code.")],
    as_json: AsJson = False,
) -> None:
    """List what is still attached: planned, part cut, hanging, through but not looked at.

    Example: burnlog left --job PIER12
    """
    from burnlog.analyses.attached import left_on
    from burnlog.reports.text_record import left_text

    context = Context.of(ctx)
    frames = context.frames()
    found = left_on(frames, job)
    if as_json:
        say_json(found.as_json(), kind="day")
    else:
        say(closing(left_text(found, context.profile_over(frames, [found.job])), "day", made_up=invented(frames)))


def day_(
    ctx: typer.Context,
    date: Annotated[str, typer.Argument(help="The day, 2026-05-12.")],
    job: Annotated[str | None, typer.Option(help="Only this job.")] = None,
    needed: Annotated[str | None, typer.Option(help="Asks when each bank may reach this pressure.")] = None,
    as_json: AsJson = False,
) -> None:
    """Print a day in at most twelve short lines, for a bad telephone line.

    Example: burnlog day 2026-02-11
    """
    from burnlog.analyses.day import day_of
    from burnlog.reports.text_record import day_text

    context = Context.of(ctx)
    frames = context.frames()
    found = day_of(frames, day(date), today=now().date(), job=job, needed_kpa=pressure(needed))
    if as_json:
        say_json(found.as_json(), kind="day")
    else:
        say(closing(day_text(found, context.profile_over(frames, found.jobs)), "day"))


def stock(
    ctx: typer.Context,
    job: Annotated[str, typer.Option(help="Job code.")],
    rods_in_box: Annotated[str, typer.Option(help="Rods counted in the box tonight.")],
    bank: Annotated[str | None, typer.Option(help="Oxygen bank asked about; else the job's last.")] = None,
    bank_pressure: Annotated[str | None, typer.Option(help="Bank gauge tonight, 1400 psi.")] = None,
    needed: Annotated[
        str | None, typer.Option(help="Pressure the bank must still hold: asks when it may reach it.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Say how far the rods in the box may reach, at this job's own rate, as a range.

    Example: burnlog stock --job PIER12 --rods-in-box 60
    """
    from burnlog import units
    from burnlog.analyses.stock import stock_for
    from burnlog.analyses.supply import banks_ahead, last_bank
    from burnlog.reports.text_record import stock_text
    from burnlog.reports.text_review import supply_text

    context = Context.of(ctx)
    rods = units.read(rods_in_box, "whole").value
    if rods is None:
        raise InputError("--rods-in-box is blank; count the box, or leave the question for tomorrow.")
    frames = context.frames()
    found = stock_for(frames, job, rods_in_box=rods)
    if bank is not None and needed is None:
        raise InputError("--bank asks when the bank may reach a pressure: type it with --needed.")
    ahead = None
    if needed is not None:
        bank = bank or last_bank(frames, found.job)
        if bank is None:
            raise InputError(f"no dive of {found.job} names its bank; name it with --bank.")
        level, floor = pressure(bank_pressure), pressure(needed)
        if floor is None:
            raise InputError("--needed is blank; type the pressure the bank must still hold, or leave it out.")
        to_burn = found.rods_per_m * found.left_m if found.lines_left else None
        (ahead,) = banks_ahead(frames, {bank: level}, floor, rods_to_burn=to_burn)
    if as_json:
        say_json({**found.as_json(), "supply": ahead.as_json() if ahead else None}, kind="day")
    else:
        profile = context.profile_over(frames, [found.job])
        text = stock_text(found, profile) + ("\n" + supply_text(ahead, profile=profile) if ahead else "")
        say(closing(text, "day", made_up=invented(frames)))
