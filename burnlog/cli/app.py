"""The application: options that stand before the command, help in groups, and errors as exit codes.

Commands live in one file per group. Nothing here or there imports pandas, scipy, statsmodels or altair before a
command that needs it runs: a supervisor who adds one row waits for none of them.
"""

from __future__ import annotations

import sys
import tempfile
import traceback
from pathlib import Path
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from burnlog.cli import enter, keep, learn, log, plan, rows, sheet, show, tonight
from burnlog.cli.context import Context, now, tell
from burnlog.errors import BurnlogError, InputError

__all__ = ["app", "main"]

INTERRUPTED = 130
"""Exit code after Ctrl-C: 128 and the number of the signal, as shells have it."""
GROUPS = ("Log", "Tonight", "Learn", "Plan", "Keep", "Show")


class _Grouped(TyperGroup):
    """Help that lists the commands by what people come for, in ASCII."""

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        for group in GROUPS:
            rows = [
                (name, (command.help or "").split("\n\n")[0].replace("\n", " "))
                for name, command in self.commands.items()
                if getattr(command, "rich_help_panel", None) == group and not command.hidden
            ]
            with formatter.section(group):
                formatter.write_dl(rows)

    def invoke(self, ctx: Any) -> Any:
        """Run the command; an interrupt is answered here, for typer would end without a word."""
        try:
            return super().invoke(ctx)
        except KeyboardInterrupt:
            below = "\n" if sys.stderr is not None and sys.stderr.isatty() else ""  # beneath the terminal's own ^C
            tell(f"{below}burnlog: stopped; what was acknowledged is saved.")
            sys.exit(INTERRUPTED)


app = typer.Typer(
    name="burnlog",
    cls=_Grouped,
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80},
)


@app.callback()
def options(
    ctx: typer.Context,
    db: Annotated[Path, typer.Option(envvar="BURNLOG_DB", help="The log file.")] = Path("burnlog.db"),
    by: Annotated[str | None, typer.Option(envvar="BURNLOG_BY", help="Who is typing; changes demand it.")] = None,
    units: Annotated[
        str | None, typer.Option(help="Show numbers as us or metric (default: the job's own, else metric).")
    ] = None,
) -> None:
    """A log of underwater cutting that turns its own history into ranges for the next job.

    Planning and learning record only: not a procedure, not a permit, not the legal dive record.

    Exit codes: 0 done, 1 internal error, 2 cannot read what was typed, 3 the history does not support the answer,
    4 the record check found problems or a conflict, 5 file locked, damaged or not writable.
    """
    if units not in (None, "us", "metric"):
        raise InputError(f"--units {units}: expected us or metric.")
    ctx.obj = Context(db=db, by=by, units=units)


for module in (log, rows, enter, sheet, tonight, learn, plan, keep, show):
    module.register(app)


def main() -> None:
    """Run the command line; every error burnlog raises on purpose ends in its own exit code."""
    try:
        app()
    except BurnlogError as error:
        tell(f"burnlog: {error}")
        sys.exit(error.exit_code)
    except Exception as error:
        path = _write_trace()
        tell(f"burnlog: internal error ({type(error).__name__}); the log file is untouched. Details: {path}")
        sys.exit(1)


def _write_trace() -> Path:
    """Put the traceback where a person can send it from; the terminal gets one line."""
    stamp = now().strftime("%Y%m%d-%H%M%S")
    with tempfile.NamedTemporaryFile(
        "w", encoding="utf-8", prefix=f"burnlog-error-{stamp}-", suffix=".txt", delete=False
    ) as file:
        traceback.print_exc(file=file)
    return Path(file.name)
