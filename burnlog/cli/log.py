"""Log: make a log and put rows in."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from burnlog.cli.context import Context, now, say, say_json
from burnlog.cli.echo import echo_cut, rows_in_words
from burnlog.cli.options import AsJson, Progress, named_values
from burnlog.cli.progress import bar
from burnlog.errors import InputError
from burnlog.reports.cautions import MADE_UP
from burnlog.wording import number_of

if TYPE_CHECKING:
    from burnlog.store.exchange import ImportReport
    from burnlog.store.log import Log

__all__ = ["register"]


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
            out.append(report.as_json())
            if not as_json:
                _say_taken(report)
    if as_json:
        say_json({"files": out})


def _say_taken(report: ImportReport) -> None:
    """What became of one file."""
    head = "would add" if report.dry_run else "added"
    listed = rows_in_words(report.added) or "nothing new (0 rows)"
    say(f"{report.file}: {report.kind}, {number_of(report.rows, 'row')}; {head} {listed}")
    if report.skipped:
        say(f"  in the log already: {number_of(report.skipped, 'row')}")
    if report.filled:
        say(f"  filled from this file: {number_of(report.filled, 'blank')} of the log; the trail names each")
    if report.held:
        say(f"  held back, with the reason, in {report.rest}: {number_of(report.held, 'row')}")
    for note in report.notes:
        say(f"  {note}")


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
        say(echo_cut(log, ref, context.profile([job["units_profile"]])))


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
        typed = named_values(fields, "name=value, as in job=PIER7")
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
