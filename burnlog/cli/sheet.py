"""Sheet: the blank paper sheet as a page that prints, and the same columns as a workbook."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from burnlog.cli.context import Context, closing, say, tell
from burnlog.cli.pages import write_page
from burnlog.errors import InputError
from burnlog.reports.cautions import MADE_UP

__all__ = ["register"]

_MOST = 50
_UNITS = {
    "us": {
        "thickness": "in", "planned_length": "ft", "new_length": "ft", "depth": "fsw", "regulator_static": "psi",
        "regulator_flowing": "psi", "bank_start": "psi", "bank_end": "psi", "water_temp": "F", "rod_length": "in",
        "set_amps": "A", "delivered_amps": "A",
    },
    "metric": {
        "thickness": "mm", "planned_length": "mm", "new_length": "mm", "depth": "msw", "regulator_static": "bar",
        "regulator_flowing": "bar", "bank_start": "bar", "bank_end": "bar", "water_temp": "C", "rod_length": "mm",
        "set_amps": "A", "delivered_amps": "A",
    },
}  # fmt: skip


def register(app: typer.Typer) -> None:
    """Put the command on the application."""
    app.command(rich_help_panel="Log")(sheet)


def sheet(
    ctx: typer.Context,
    job: Annotated[str, typer.Option(help="Job code; sheet numbers begin with it.")],
    n: Annotated[int, typer.Option("-n", help="How many sheets, 1 to 50.")] = 1,
    paper: Annotated[str, typer.Option(help="a4 or letter.")] = "a4",
    units: Annotated[str | None, typer.Option(help="us or metric (default: the job's own, else metric).")] = None,
    out: Annotated[Path | None, typer.Option(help="The page, FILE.html; print it from a browser.")] = None,
    xlsx: Annotated[Path | None, typer.Option(help="The same columns as a workbook, FILE.xlsx.")] = None,
    first: Annotated[
        int | None, typer.Option(help="First sheet number, where no log is at hand; nothing is kept of it.")
    ] = None,
) -> None:
    """Make blank sheets: a page for pencil, a workbook for the office.

    Sheet numbers go on from the log, and the log remembers what was printed.

    Example: burnlog sheet --job PIER7 -n 5 --paper a4 --out sheets.html
    """
    from burnlog.store.sheetnumbers import sheet_numbers

    context = Context.of(ctx)
    if not 1 <= n <= _MOST:
        raise InputError(f"-n {n}: 1 to {_MOST} sheets are made at a time.")
    if paper not in ("a4", "letter"):
        raise InputError(f"--paper {paper}: expected a4 or letter.")
    if units not in (None, "us", "metric"):
        raise InputError(f"--units {units}: expected us or metric.")
    if out is None and xlsx is None:
        raise InputError("nothing to make: give --out FILE.html, --xlsx FILE.xlsx, or both.")
    _check_code(job)
    title, profile, made_up = job, context.profile([]), False
    if first is None:
        numbers, title, profile, made_up = _from_log(context, job, n if out is not None else 0)
    else:
        numbers = sheet_numbers(job, first, n)
    if made_up:
        say(MADE_UP)
    chosen = units or profile
    if out is not None:
        from burnlog.reports.sheet import sheet_page

        write_page(out, sheet_page(numbers, paper=paper, units=chosen, job=title, made_up=made_up))
        span = numbers[0] if n == 1 else f"{numbers[0]} to {numbers[-1]}"
        tell(f"{out}: {n} page{'' if n == 1 else 's'}, sheet {span}; print at 100 %, no margins added.")
    if xlsx is not None:
        from burnlog.store.blanksheet import sheet_workbook

        sheet_workbook(xlsx, rows=12 * n, job=job, made_up=made_up, headers=_UNITS[chosen])
        tell(f"{xlsx}: {12 * n} rows; fill it in and take it back with: burnlog import {xlsx}")
    say(closing("Blank = not recorded. 0 = somebody looked and it was nought.", "sheet"))


def _check_code(job: str) -> None:
    from burnlog.store.cutsheet import cell_reader

    found = cell_reader("job").read(job)
    if isinstance(found, str):
        raise InputError(f"--job: {found}")
    if found.value is None:
        raise InputError("--job needs the job's code, PIER7.")


def _from_log(context: Context, job: str, count: int) -> tuple[tuple[str, ...], str, str, bool]:
    """Sheet numbers taken from the log; the job's code with its title; its units; whether all is invented."""
    from burnlog.store.sheetnumbers import take_sheet_numbers

    with context.open(write=True) as log:
        row = log.one("job", code=job) or {}
        title = f"{job} {row['title']}" if row.get("title") else job
        numbers = take_sheet_numbers(log, job, count) if count else ()
        return numbers, title, context.profile([row.get("units_profile")]), log.made_up
