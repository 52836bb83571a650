"""Keep: copies that were opened and checked, two laptops made one, what is held about a person."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

from burnlog.cli.context import Context, now, say, say_json, tell
from burnlog.cli.echo import rows_in_words
from burnlog.cli.options import AsJson, Progress
from burnlog.cli.progress import bar
from burnlog.errors import FileError, InputError
from burnlog.wording import number_of

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Put the commands of this group on the application."""
    for command in (export, merge, backup, verify, audit):
        app.command(rich_help_panel="Keep")(command)
    group = typer.Typer(
        help="Show what is held about a person, or forget a name.", rich_markup_mode=None, no_args_is_help=True
    )
    group.command("extract")(person_extract)
    group.command("forget")(person_forget)
    app.add_typer(group, name="person", rich_help_panel="Keep")


def backup(
    ctx: typer.Context,
    folder: Annotated[Path, typer.Argument(help="Where the dated copy goes.")],
) -> None:
    """Make a dated copy of the log, open it and check it. Nothing is overwritten.

    Example: burnlog backup /media/stick
    """
    from burnlog.store.backup import back_up

    with Context.of(ctx).open() as log:
        say(f"{back_up(log, folder)}: copied, opened and checked.")


def verify(ctx: typer.Context, as_json: AsJson = False) -> None:
    """Check that the file is whole: pages, rows, parents, schema. Exit code 5 where it is damaged.

    Example: burnlog verify
    """
    from burnlog.store.backup import verify as checked

    found = checked(Context.of(ctx).db, now=now)
    if as_json:
        say_json(found.as_json())
    else:
        for name, value in found.facts.items():
            say(f"{name:<16} {value}")
        say(f"rows             {rows_in_words(found.rows)}")
        for warning in found.warnings:
            tell(f"Note: {warning}")
    if not found.whole:
        raise FileError(f"{found.path} is damaged: " + "; ".join(found.problems[:5]) + ". Restore the last backup.")
    if not as_json:
        say("The file is whole.")


def export(
    ctx: typer.Context,
    target: Annotated[Path, typer.Argument(help="A bundle (NAME.json), or a folder for CSV files.")],
    names: Annotated[bool, typer.Option("--names", help="With the names of persons, not their codes alone.")] = False,
) -> None:
    """Take the record out: a JSON bundle for another laptop, or CSV files that import again.

    Example: burnlog export night.json
    """
    from burnlog.store.bundle import export_bundle
    from burnlog.store.csvexport import export_csv

    with Context.of(ctx).open() as log:
        made = (export_bundle if target.suffix.lower() == ".json" else export_csv)(log, target, names=names)
    for path, rows in made.files.items():
        say(f"{path}: {number_of(rows, 'row')}")
    for what, count in made.left_out.items():
        say(f"  not in these files: {what} ({count}); the JSON bundle holds it all")


def merge(
    ctx: typer.Context,
    source: Annotated[Path, typer.Argument(help="A bundle, or another log file.")],
    progress: Progress = True,
    as_json: AsJson = False,
) -> None:
    """Add what another laptop's log holds; a conflict is shown and nothing is written.

    Example: burnlog merge night.json
    """
    from burnlog.store.merge import merge as merged
    from burnlog.store.merge import read_source

    with Context.of(ctx).open(write=True) as log, bar("rows", wanted=progress) as tick:
        report = merged(log, read_source(source), progress=tick)
    if as_json:
        say_json(report.as_json())
        return
    say(f"{source}: added {rows_in_words(report.added) or '0 rows'}; here already: {number_of(report.same, 'row')}.")
    if report.filled or report.amendments:
        entries = number_of(report.amendments, "entry", "entries")
        say(f"  {number_of(report.filled, 'blank')} filled, {entries} of the other trail taken over")
    for line in report.renamed:
        say(f"  {line}")


def audit(
    ctx: typer.Context,
    code: Annotated[str, typer.Argument(help="Number of an estimate.")],
    folder: Annotated[Path, typer.Argument(help="An empty or new folder.")],
) -> None:
    """Write one estimate back to the paper: counts, cuts, sheets, changes, draws, versions.

    Example: burnlog audit E7 e7-audit
    """
    from burnlog.analyses.frozen import thaw
    from burnlog.cli.bid import kept
    from burnlog.reports.audit import audit_pack
    from burnlog.store.sources import amendments_of, sheets_of

    context = Context.of(ctx)
    if folder.exists() and any(folder.iterdir()):
        raise InputError(f"{folder} is not empty; name another folder.")
    row = kept(context, code)
    made = thaw(row["payload"])
    with context.open() as log:
        cuts = [str(name) for name in made.basis.tallyset.pieces["cut_id"]]
        tallies = [str(name) for name in made.basis.tallyset.tallies.index]
        sheets, amendments = sheets_of(log, cuts), amendments_of(log, [*cuts, *tallies])
    head = {
        "code": code,
        "state": str(row["state"]).upper(),
        "hash": row["content_hash"],
        "by": row["created_by"],
        "made_on": row["created_at"],
    }
    files = audit_pack(made, row["payload"], head=head, sheets=sheets, amendments=amendments)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, text in files.items():
            (folder / name).write_text(text, encoding="utf-8")
    except OSError as error:
        raise FileError(f"{folder} cannot be written ({error.strerror}).") from error
    say(f"{folder}: {len(files)} files; README.txt says what each holds.")


def person_extract(ctx: typer.Context, code: Annotated[str, typer.Argument(help="Code of the person.")]) -> None:
    """Print every row about a person, as JSON: the answer to somebody who asks what is held.

    Example: burnlog person extract D3
    """
    from burnlog.store.person import extract

    with Context.of(ctx).open() as log:
        found = extract(log, code)
    say_json(asdict(found))


def person_forget(ctx: typer.Context, code: Annotated[str, typer.Argument(help="Code of the person.")]) -> None:
    """Blank a person's name and compact the file; the code and every figure stay.

    Example: burnlog --by QA person forget D3
    """
    from burnlog.store.person import forget

    context = Context.of(ctx)
    by = context.signed("forgetting a name")
    with context.open(write=True) as log:
        done = forget(log, code, by=by)
    say(f"{code}: " + ("the name is gone from this file." if done.had_name else "no name was held."))
    say("Backups and bundles made before still hold what they held.")
    for mention in done.mentions:
        say(
            f"  still in free text, for you to decide: {mention.table} {mention.ref}, {mention.field}: {mention.text}"
        )
