"""Keep: copies that were opened and checked, two laptops made one, what is held about a person."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from burnlog.cli.context import Context, now, say, say_json, tell
from burnlog.cli.options import AsJson
from burnlog.errors import FileError

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Put the commands of this group on the application."""
    for command in (backup, verify):
        app.command(rich_help_panel="Keep")(command)


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
        say("rows             " + ", ".join(f"{count} {name}" for name, count in found.rows.items() if count))
        for warning in found.warnings:
            tell(f"Note: {warning}")
    if not found.whole:
        raise FileError(f"{found.path} is damaged: " + "; ".join(found.problems[:5]) + ". Restore the last backup.")
    if not as_json:
        say("The file is whole.")
