"""Log: mend a row with a reason, take it out, see what was changed, look at rows; all by the names a sheet uses."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Annotated, Any

import typer

from burnlog.cli.context import Context, closing, say, say_json, tell
from burnlog.cli.options import AsJson, named_values
from burnlog.errors import InputError
from burnlog.reports.cautions import MADE_UP
from burnlog.store.listing import LISTS
from burnlog.wording import number_of

if TYPE_CHECKING:
    from burnlog.store.log import Log

__all__ = ["register"]

Which = Annotated[str, typer.Argument(help="Which: 118, 'PIER7 14.3', a code.")]
Why = Annotated[str | None, typer.Option(help="The reason, in words.")]
WIDEST = 24


def register(app: typer.Typer) -> None:
    """Put the commands of this group on the application."""
    for command in (fix, void, trail):
        app.command(rich_help_panel="Log")(command)
    app.command("list", rich_help_panel="Log")(list_)
    app.command(rich_help_panel="Log")(show)


def fix(
    ctx: typer.Context,
    table: Annotated[str, typer.Argument(help="What: cut, dive, line, tally, job, rod-type ...")],
    ref: Which,
    changes: Annotated[list[str], typer.Argument(help="field=value, as it would be typed on the sheet.")],
    why: Why = None,
) -> None:
    """Mend a row: the old value, the new one, who and why stay in the trail.

    Example: burnlog --by JM fix cut 118 outcome=through --why "looked again"
    """
    from burnlog.store.trail import fix as mend

    context = Context.of(ctx)
    by = context.signed("a fix")
    if not why:
        raise InputError('a fix needs its reason: --why "box counted twice".')
    typed = named_values(changes, "field=value, as in rods=7")
    with context.open(write=True) as log:
        done = mend(log, table.replace("-", "_"), ref, typed, why=why, by=by)
        profile = _profile(context, log, done.table, log.find(done.table, done.ref))
    say(f"{done.table} {done.ref}, by {by}: {why}")
    for row in done.changes:
        old = _told(done.table, row.field, row.old, row.old_typed, profile)
        new = _told(done.table, row.field, row.new, row.new_typed, profile)
        say(f"  {_named(done.table, row.field)}: {old} -> {new}")


def void(
    ctx: typer.Context,
    table: Annotated[str, typer.Argument(help="What: cut, dive, tally ...")],
    ref: Annotated[str, typer.Argument(help="Which.")],
    why: Why = None,
) -> None:
    """Take a row out of every figure, with a reason; it stays in the file.

    Example: burnlog --by JM void cut 118 --why "typed on the wrong sheet"
    """
    from burnlog.store.trail import void as strike

    context = Context.of(ctx)
    by = context.signed("voiding a row")
    if not why:
        raise InputError('voiding needs its reason: --why "typed on the wrong sheet".')
    with context.open(write=True) as log:
        strike(log, table.replace("-", "_"), ref, why=why, by=by)
    say(f"{table} {ref} is void: {why}")


def trail(
    ctx: typer.Context,
    table: Annotated[str, typer.Argument(help="What: cut, dive, tally ...")],
    ref: Annotated[str, typer.Argument(help="Which.")],
    as_json: AsJson = False,
) -> None:
    """Show every change of a row: old, new, why, who, when.

    Example: burnlog trail cut 118
    """
    from burnlog.store.trail import trail as changes

    context = Context.of(ctx)
    with context.open() as log:
        rows = changes(log, table.replace("-", "_"), ref)
        profile = _profile(context, log, table.replace("-", "_"), log.find(table.replace("-", "_"), ref))
    if as_json:
        say_json({"changes": [asdict(row) for row in rows]})
        return
    if not rows:
        say(f"{table} {ref}: never changed.")
    for row in rows:
        old = _told(row.table, row.field, row.old, row.old_typed, profile)
        new = _told(row.table, row.field, row.new, row.new_typed, profile)
        say(f"{row.at[:19]}  {row.table} {_named(row.table, row.field)}: {old} -> {new}")
        say(f"    {row.kind} by {row.by}: {row.why}")


def list_(
    ctx: typer.Context,
    what: Annotated[str, typer.Argument(help=", ".join(LISTS))],
    job: Annotated[str | None, typer.Option(help="Only this job.")] = None,
    dive: Annotated[int | None, typer.Option(help="Only this dive number.")] = None,
    as_json: AsJson = False,
) -> None:
    """List what the log holds.

    Example: burnlog list cuts --job PIER12 --dive 3
    """
    if what not in LISTS:
        raise InputError(f"'{what}' is no list; the lists are {', '.join(LISTS)}.")
    context = Context.of(ctx)
    with context.open() as log:
        listed = LISTS[what]
        rows = log.rows(listed.query, {"job": job, "dive": dive})
        profile = _profile(context, log, "job", log.find("job", job) if job else {})
        invented = log.made_up
    if as_json:
        say_json({what: rows})
        return
    if invented:
        tell(MADE_UP)
    for line in _columns(listed.table, rows, profile):
        say(line)
    say(number_of(len(rows), listed.table.replace("_", " "), what))


def show(
    ctx: typer.Context,
    table: Annotated[str, typer.Argument(help="What: cut, dive, line, tally, job ...")],
    ref: Which,
    as_json: AsJson = False,
) -> None:
    """Show one row whole, each value with the text as it was typed.

    Example: burnlog show cut 'PIER12 3.1'
    """
    import json
    import textwrap

    from burnlog.store.lookup import spoken

    context = Context.of(ctx)
    name = table.replace("-", "_")
    with context.open() as log:
        row = log.find(name, ref)
        invented = log.made_up
        profile = _profile(context, log, name, row)
        said = {column: spoken(log, name, column, value) for column, value in row.items()}
    if as_json:
        say_json(row)
        return
    typed = json.loads(said.pop("as_typed"))
    lines = [f"{table} {said.pop('no')}" + ("  (VOID)" if row["voided_at"] else "")]
    if invented:
        lines.append(MADE_UP)
    del said["id"]
    for column, value in said.items():
        if value is not None:
            beside = "   typed: {} ({})".format(*typed[column]) if column in typed else ""
            lines.append(f"  {_named(name, column):<18} {_spoken(name, column, value, profile)}{beside}")
    blank = sorted(_named(name, column) for column, value in said.items() if value is None and column != "voided_at")
    if blank:
        listed = f"not recorded: {', '.join(blank)}"
        lines.append(textwrap.fill(listed, 79, initial_indent="  ", subsequent_indent="    ", break_on_hyphens=False))
    say(closing("\n".join(lines)))


def _profile(context: Context, log: Log, table: str, row: dict[str, Any]) -> str:
    """How the numbers of a row are shown: as its job has it; what belongs to no job, as the jobs of the log do."""
    if row.get("dive_id"):
        row = log.one("dive", id=row["dive_id"]) or {}
    own = row.get("id" if table == "job" else "job_id")
    jobs = log.rows(
        "SELECT units_profile FROM job WHERE id = :own OR (:own IS NULL AND voided_at IS NULL)", {"own": own}
    )
    return context.profile(job["units_profile"] for job in jobs)


def _named(table: str, column: str) -> str:
    """The name under which a column is typed, where it has one."""
    from burnlog.store.fields import FIELDS

    names = (name for name, rule in FIELDS.get(table, {}).items() if rule.column == column)
    return next(names, column.removesuffix("_id"))


def _spoken(table: str, column: str, value: Any, profile: str) -> str:
    """A stored value as people write it."""
    from burnlog import units
    from burnlog.store.cells import shown
    from burnlog.store.fields import FIELDS

    if not isinstance(value, float):
        return str(value)
    rule = next((rule for rule in FIELDS.get(table, {}).values() if rule.column == column), None)
    if rule is None or rule.kind not in units.KINDS or rule.kind in ("rods", "count", "whole", "number"):
        return f"{value:g}"
    return shown(value, rule, profile, digits=4)


def _told(table: str, column: str, value: Any, typed: str, profile: str) -> str:
    said = "not recorded" if value is None else _spoken(table, column, value, profile)
    return f"{said} (typed {typed})" if typed and typed != said else said


def _columns(table: str, rows: list[dict[str, Any]], profile: str) -> list[str]:
    """Rows in columns, no wider than the terminal."""
    if not rows:
        return []
    names = list(rows[0])
    texts = [["-" if row[n] is None else _spoken(table, n, row[n], profile) for n in names] for row in rows]
    heads = [_named(table, name) for name in names]
    widths = [min(WIDEST, max(len(head), *(len(text[k]) for text in texts))) for k, head in enumerate(heads)]
    lines = ["  ".join(cell[:width].ljust(width) for cell, width in zip(line, widths, strict=True)) for line in texts]
    return [line.rstrip()[:79] for line in ["  ".join(map(str.ljust, heads, widths)), *lines]]
