"""Log: make a log, put rows in, mend them with a reason, look at them."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from burnlog.cli.context import Context, closing, now, say, say_json, tell
from burnlog.cli.echo import echo_cut
from burnlog.cli.options import AsJson, Progress
from burnlog.cli.progress import bar
from burnlog.errors import InputError
from burnlog.reports.cautions import MADE_UP
from burnlog.store.listing import LISTS

if TYPE_CHECKING:
    from burnlog.store.log import Log

__all__ = ["register"]

Why = Annotated[str | None, typer.Option(help="The reason, in words.")]


def register(app: typer.Typer) -> None:
    """Put the commands of this group on the application."""
    app.command(rich_help_panel="Log")(init)
    group = typer.Typer(
        help="Add one row: a cut, or a job, dive, line, tally, person, rod type, rig or bank.",
        rich_markup_mode=None,
        no_args_is_help=True,
    )
    group.command("cut")(add_cut)
    for table in ("job", "person", "rod-type", "rig", "bank", "line", "dive", "tally"):
        group.command(table)(_adder(table))
    app.add_typer(group, name="add", rich_help_panel="Log")
    app.command("import", rich_help_panel="Log")(import_)
    for command in (fix, void, trail):
        app.command(rich_help_panel="Log")(command)
    app.command("list", rich_help_panel="Log")(list_)
    app.command(rich_help_panel="Log")(show)


def init(
    ctx: typer.Context,
    made_up: Annotated[bool, typer.Option("--made-up", help="For a class: everything in it is invented.")] = False,
) -> None:
    """Make an empty log file.

    Example: burnlog --db season.db init
    """
    from burnlog.store.log import Log

    context = Context.of(ctx)
    with Log.create(context.db, by=context.hand, now=now, made_up=made_up) as log:
        say(f"{context.db}: an empty log, id {log.db_id}.")
        if made_up:
            say(MADE_UP)


def import_(
    ctx: typer.Context,
    files: Annotated[list[Path], typer.Argument(help="CSV or XLSX files: cut sheets, readings, master files.")],
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Read and check everything, write nothing.")] = False,
    keep_good: Annotated[
        Path | None, typer.Option(help="Take the good rows, write the others with the reason to this new CSV.")
    ] = None,
    progress: Progress = True,
    as_json: AsJson = False,
) -> None:
    """Take files in, each all or nothing; the same file again adds nothing.

    Example: burnlog import cuts_2025.csv readings.csv
    """
    from burnlog.physics.oxygen import contents_kg
    from burnlog.physics.sections import read_section
    from burnlog.store.exchange import import_file

    context = Context.of(ctx)
    if keep_good is not None and len(files) > 1:
        raise InputError("--keep-good goes with one file at a time.")
    out = []
    with context.open(write=True) as log:
        for file in files:
            with bar(file.name, wanted=progress) as tick:
                report = import_file(
                    log,
                    file,
                    dry_run=dry_run,
                    keep_good=keep_good,
                    check_section=read_section,
                    weigh=contents_kg,
                    progress=tick,
                )
            added = sum(report.added.values())
            out.append(
                {
                    "file": report.file,
                    "kind": report.kind,
                    "rows": report.rows,
                    "added": dict(report.added),
                    "skipped": report.skipped,
                    "filled": report.filled,
                    "held": report.held,
                    "rest": str(report.rest) if report.rest else None,
                    "masters": {name: list(codes) for name, codes in report.masters.items()},
                    "notes": list(report.notes),
                    "dry_run": report.dry_run,
                }
            )
            if as_json:
                continue
            listed = ", ".join(f"{count} {name}" for name, count in report.added.items()) or "nothing new"
            head = "would add" if dry_run else "added"
            say(f"{report.file}: {report.kind}, {report.rows} rows; {head} {listed}" + ("" if added else " (0 rows)"))
            if report.skipped:
                say(f"  {report.skipped} rows stand in the log already")
            if report.filled:
                say(f"  {report.filled} blanks of the log filled from this file; the trail names each")
            if report.held:
                say(f"  {report.held} rows held back, with the reason, in {report.rest}")
            for note in report.notes:
                say(f"  {note}")
    if as_json:
        say_json({"files": out})


def add_cut(
    ctx: typer.Context,
    line: Annotated[str, typer.Argument(help="Line code, L14.")],
    dive: Annotated[str, typer.Option(help="Dive: job and number, 'PIER7 14'; the number alone where it is unique.")],
    row: Annotated[str | None, typer.Option(help="Row on the sheet (default: the next).")] = None,
    pass_: Annotated[str, typer.Option("--pass", help="first, re-burn, hanger, pierce or trial.")] = "first",
    new: Annotated[str | None, typer.Option(help="New length: 2 ft 6 in, 762 mm, all, half.")] = None,
    start: Annotated[str | None, typer.Option(help="Clock, 0942.")] = None,
    stop: Annotated[str | None, typer.Option(help="Clock, 1003.")] = None,
    elapsed: Annotated[str | None, typer.Option(help="21min, where there are no clock times.")] = None,
    burn_time: Annotated[str | None, typer.Option(help="A rod burning, 0:45 is 45 seconds.")] = None,
    rods: Annotated[str | None, typer.Option(help="7, 7 + 6in, ~7, 7+.")] = None,
    rod_type: Annotated[str | None, typer.Option(help="Rod type code.")] = None,
    thickness: Annotated[str | None, typer.Option(help="5/8 in, 16 mm.")] = None,
    position: Annotated[str | None, typer.Option(help="How the cut runs.")] = None,
    hangers: Annotated[str | None, typer.Option(help="Bits left.")] = None,
    hangers_at: Annotated[str | None, typer.Option(help="Where they were left.")] = None,
    restarts: Annotated[str | None, typer.Option(help="Restarts without a rod change.")] = None,
    outcome: Annotated[str | None, typer.Option(help="through, part way, not through ...")] = None,
    edge: Annotated[str | None, typer.Option(help="clean, rough, ragged, not seen.")] = None,
    static: Annotated[str | None, typer.Option(help="Regulator, no gas flowing.")] = None,
    flowing: Annotated[str | None, typer.Option(help="Regulator while gas flows.")] = None,
    remark: Annotated[str | None, typer.Option(help="As written.")] = None,
    really: Annotated[
        str | None, typer.Option(help="Why this is a true second cut with line, start and stop of another.")
    ] = None,
) -> None:
    """Add one forgotten cut.

    Example: burnlog add cut L14 --dive 'PIER7 14' --start 0942 --stop 1003 --new all --rods "7 + 6in"
    """
    from burnlog.store.typedrows import import_rows

    context = Context.of(ctx)
    with context.open(write=True) as log:
        there = log.find("dive", dive)
        job = log.one("job", id=there["job_id"]) or {}
        diver = log.one("person", id=there["diver_id"]) or {}
        log.find("line", line, job=str(job["code"]))  # a slip of the pen must not make a new line
        number = row or str(_next_row(log, str(there["id"])))
        cells = {
            "job": job["code"],
            "dive": there["dive_no"],
            "row": number,
            "dive_date": there["dive_date"],
            "diver": diver["code"],
            "line": line,
            "pass": pass_,
            "new_length": new,
            "start": start,
            "stop": stop,
            "elapsed": elapsed,
            "burn_time": burn_time,
            "rods": rods,
            "rod_type": rod_type or _usual_rod(log, str(there["id"])),
            "thickness": thickness,
            "position": position,
            "hangers": hangers,
            "hangers_at": hangers_at,
            "restarts": restarts,
            "outcome": outcome,
            "edge": edge,
            "regulator_static": static,
            "regulator_flowing": flowing,
            "remark": remark,
        }
        typed = {name: str(value) for name, value in cells.items() if value is not None}
        import_rows(log, [typed], twice_why=really)
        ref = f"{job['code']} {there['dive_no']}.{number}"
        say(echo_cut(log, ref, context.units or str(job["units_profile"] or "metric")))


def _next_row(log: Log, dive_id: str) -> int:
    return int(log.rows("SELECT coalesce(max(row), 0) + 1 AS row FROM cut WHERE dive_id = ?", (dive_id,))[0]["row"])


def _usual_rod(log: Log, dive_id: str) -> str | None:
    """The rod type of the dive's last cut: nobody changes rods in the middle without saying so."""
    found = log.rows(
        "SELECT t.code FROM cut c JOIN rod_type t ON t.id = c.rod_type_id WHERE c.dive_id = ? "
        "AND c.voided_at IS NULL ORDER BY c.row DESC LIMIT 1",
        (dive_id,),
    )
    return str(found[0]["code"]) if found else None


def _adder(table: str) -> Any:
    """The command that adds a row of one table, its fields given as name=value."""
    name = table.replace("-", "_")

    def command(
        ctx: typer.Context,
        fields: Annotated[list[str], typer.Argument(help="name=value; `burnlog add THING help` lists the names.")],
    ) -> None:
        from burnlog.store.fields import FIELDS

        if fields == ["help"]:
            say(f"{table}: " + ", ".join(FIELDS[name]))
            return
        context = Context.of(ctx)
        typed = {}
        for field in fields:
            key, equals, value = field.partition("=")
            if not equals:
                raise InputError(f"'{field}': write name=value, as in code=PIER7.")
            typed[key.strip()] = value
        from burnlog.store.entry import add_row

        with context.open(write=True) as log:
            say(add_row(log, name, typed))

    command.__doc__ = f"Add a {table.replace('-', ' ')}.\n\nExample: burnlog add {table} {_EXAMPLES[table]}"
    return command


_EXAMPLES = {
    "job": "job=PIER7 water=salt units_profile=us record_class=production",
    "person": "person=D3 roles=diver",
    "rod-type": "rod_type=EX50 family=exothermic length='18 in' planned_stub='3 in' stub_source='house rule'",
    "rig": "rig=RIG9 hose_length='300 ft' source='measured on deck'",
    "bank": "bank=B9 cylinders=12 label_pressure='2200 psi'",
    "line": "job=PIER7 line=L14 thickness='5/8 in' planned_length='3 ft 6 in'",
    "dive": "job=PIER7 dive=14 dive_date=2026-05-12 diver=D3 setting='open water'",
    "tally": "dive='PIER7 14' rod_type=EX38 rods=29 issued=40 returned=6 rods_lost=2",
}


def fix(
    ctx: typer.Context,
    table: Annotated[str, typer.Argument(help="What: cut, dive, line, tally, job, rod-type ...")],
    ref: Annotated[str, typer.Argument(help="Which: 118, 'PIER7 14.3', a code.")],
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
    typed = {}
    for change in changes:
        key, equals, value = change.partition("=")
        if not equals:
            raise InputError(f"'{change}': write field=value, as in rods=7.")
        typed[key.strip()] = value
    with context.open(write=True) as log:
        done = mend(log, table.replace("-", "_"), ref, typed, why=why, by=by)
    say(f"{done.table} {done.ref}, by {by}: {why}")
    for revision in done.changes:
        old, new = _told(revision.old, revision.old_typed), _told(revision.new, revision.new_typed)
        say(f"  {revision.field}: {old} -> {new}")


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
    if as_json:
        say_json({"changes": [asdict(row) for row in rows]})
        return
    if not rows:
        say(f"{table} {ref}: never changed.")
    for row in rows:
        old, new = (_told(value, typed) for value, typed in ((row.old, row.old_typed), (row.new, row.new_typed)))
        say(f"{row.at[:19]}  {row.table} {row.field}: {old} -> {new}")
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
        rows = log.rows(LISTS[what], {"job": job, "dive": dive})
        invented = log.made_up
    if as_json:
        say_json({what: rows})
        return
    if invented:
        tell(MADE_UP)
    for line in _table(rows):
        say(line)
    say(f"{len(rows)} {what}")


def _table(rows: list[dict[str, Any]]) -> list[str]:
    """Rows in columns, no wider than the terminal."""
    if not rows:
        return []
    names = list(rows[0])
    texts = [
        ["-" if row[n] is None else f"{row[n]:.6g}" if isinstance(row[n], float) else str(row[n]) for n in names]
        for row in rows
    ]
    widths = [min(24, max(len(name), *(len(text[k]) for text in texts))) for k, name in enumerate(names)]
    lines = ["  ".join(name[:width].ljust(width) for name, width in zip(names, widths, strict=True))]
    lines += ["  ".join(t[:width].ljust(width) for t, width in zip(text, widths, strict=True)) for text in texts]
    return [line.rstrip()[:79] for line in lines]


def _told(value: object, typed: str) -> str:
    shown = "not recorded" if value is None else f"{value:g}" if isinstance(value, float) else str(value)
    return f"{shown} (typed {typed})" if typed and typed != shown else shown


def show(
    ctx: typer.Context,
    table: Annotated[str, typer.Argument(help="What: cut, dive, line, tally, job ...")],
    ref: Annotated[str, typer.Argument(help="Which: 118, 'PIER7 14.3', a code.")],
    as_json: AsJson = False,
) -> None:
    """Show one row whole, each value with the text as it was typed.

    Example: burnlog show cut 'PIER12 3.1'
    """
    import json

    context = Context.of(ctx)
    with context.open() as log:
        row = log.find(table.replace("-", "_"), ref)
        invented = log.made_up
    if as_json:
        say_json(row)
        return
    typed = json.loads(row.pop("as_typed"))
    lines = [f"{table} {row.pop('no')}" + ("  (VOID)" if row["voided_at"] else "")]
    if invented:
        lines.append(MADE_UP)
    for name, value in row.items():
        if name == "id" or name.endswith("_id") or value is None:
            continue
        spoken = typed.get(name)
        beside = f"   typed: {spoken[0]} ({spoken[1]})" if spoken else ""
        lines.append(
            f"  {name:<18} {value:g}{beside}" if isinstance(value, float) else f"  {name:<18} {value}{beside}"
        )
    blank = sorted(name for name, value in row.items() if value is None and name != "voided_at")
    if blank:
        lines.append("  not recorded: " + ", ".join(blank))
    say(closing("\n".join(lines)))
