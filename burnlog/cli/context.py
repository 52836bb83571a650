"""What every command knows: which file, whose hand, which units, and how to say a result.

The clock is read here and nowhere below; so is the environment.
"""

from __future__ import annotations

import json
import os
import shutil
import sys
import textwrap
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO

import typer

from burnlog.errors import FileError, InputError
from burnlog.reports.cautions import MADE_UP, caution_block, cautions

if TYPE_CHECKING:
    from burnlog.analyses.rate_fit import RateFit, Settings
    from burnlog.analyses.tallies import TallySet
    from burnlog.columns import Frames
    from burnlog.store.log import Log

__all__ = ["Context", "closing", "invented", "now", "put", "say", "say_json", "tell"]

NARROWEST = 40
"""Columns of the narrowest terminal that lines are folded for."""


def now() -> datetime:
    """The time, with its offset from UTC."""
    return datetime.now(UTC).astimezone()


def _ascii(text: str) -> str:
    """Old consoles choke on primes and accents: what is not ASCII is shown as `?` and stays whole in the file.

    So is a control character, which a terminal would obey.
    """
    plain = text.encode("ascii", "replace").decode("ascii")
    return "".join(letter if letter.isprintable() or letter in "\n\t" else "?" for letter in plain)


def _folded(text: str, stream: TextIO | None) -> str:
    """No line wider than the terminal, none broken in a word; a pipe or a file gets every line whole."""
    if stream is None or not stream.isatty():
        return text
    width = max(NARROWEST, shutil.get_terminal_size().columns)
    out: list[str] = []
    for line in text.split("\n"):
        under = " " * (len(line) - len(line.lstrip()) + 2)
        wide = len(line) > width
        out.extend(textwrap.wrap(line, width, subsequent_indent=under, break_on_hyphens=False) if wide else [line])
    return "\n".join(out)


def put(text: str) -> None:
    """Write to stdout at once, ASCII only; a command whose reader has gone away ends its work unheard.

    Raises
    ------
    FileError
        There is no stdout, or no room where it goes.
    """
    if sys.stdout is None:
        raise FileError("the output is closed; leave it open, or send it to a file with > FILE.")
    try:
        sys.stdout.write(_ascii(text))
        sys.stdout.flush()
    except OSError as error:
        nowhere = os.open(os.devnull, os.O_WRONLY)  # what is still buffered is not tried again at the end
        os.dup2(nowhere, sys.stdout.fileno())
        os.close(nowhere)
        if not isinstance(error, BrokenPipeError):
            raise FileError(f"the output cannot be written ({error.strerror}); send it elsewhere.") from error


def say(text: str) -> None:
    """Print a result to stdout, ASCII only."""
    put(_folded(_ascii(text).rstrip("\n"), sys.stdout) + "\n")


def tell(text: str) -> None:
    """Print a message to stderr, ASCII only; nothing where there is no stderr, for it answers no question."""
    if sys.stderr is not None:
        sys.stderr.write(_folded(_ascii(text).rstrip("\n"), sys.stderr) + "\n")


def say_json(value: Mapping[str, Any] | list[Any], *, kind: str = "report") -> None:
    """Print a result as JSON: keys as documented, NaN refused, the cautions under a key of a mapping."""
    if isinstance(value, Mapping) and "cautions" not in value:
        value = {**value, "cautions": list(cautions(kind))}
    put(json.dumps(value, allow_nan=False, indent=1) + "\n")


@dataclass(frozen=True)
class Context:
    """The options that stand before the command."""

    db: Path
    by: str | None
    units: str | None

    @classmethod
    def of(cls, ctx: typer.Context) -> Context:
        """The context that the application callback made."""
        found = ctx.find_object(cls)
        if found is None:
            raise RuntimeError("a command ran without the application's options")
        return found

    @property
    def hand(self) -> str:
        """Who is at the keyboard: `--by`, BURNLOG_BY or the system user."""
        return self.by or os.environ.get("USER") or os.environ.get("USERNAME") or "unknown"

    def signed(self, what: str) -> str:
        """Who answers for a change; a change of the record demands a name typed on purpose."""
        if not self.by:
            raise InputError(f"{what} needs a name: put --by NAME before the command, or set BURNLOG_BY.")
        return self.by

    def profile(self, jobs: Iterable[object]) -> str:
        """How measured values are shown: as asked with `--units`, else as the jobs shown have it, else metric.

        Parameters
        ----------
        jobs : iterable
            The units profile of each job that is shown; a job that names none has no say. Where two differ nobody
            can read both, and metric is what remains.
        """
        named = {str(word) for word in jobs if word}
        return self.units or (named.pop() if len(named) == 1 else "metric")

    def profile_over(self, frames: Frames, codes: Iterable[str]) -> str:
        """The same for a report over the jobs of these codes."""
        jobs = frames.jobs[frames.jobs["job"].isin(list(codes))]
        return self.profile(jobs["units_profile"].dropna())

    def open(self, *, write: bool = False) -> Log:
        """Open the log file; the caller closes it (`with`)."""
        from burnlog.store.log import Log

        return Log.open(self.db, by=self.hand, now=now, write=write)

    def frames(self) -> Frames:
        """The whole record as frames."""
        from burnlog.store.frames import load_frames

        with self.open() as log:
            return load_frames(log)

    def fits(self) -> Callable[[TallySet, Settings], RateFit]:
        """What fits the tallies of the log, with the fits that are kept in it."""
        from burnlog.library.fits import kept_fits

        return kept_fits(self.db, by=self.hand, now=now)


def invented(frames: Frames) -> bool:
    """Whether any job of the record is made up."""
    return bool(frames.jobs["made_up"].any())


def closing(text: str, kind: str = "report", *, made_up: bool = False) -> str:
    """A report for the terminal with its caution block beneath; above it, where the record is invented, just that."""
    above = f"{MADE_UP}\n" if made_up else ""
    return above + text.rstrip("\n") + "\n\n" + caution_block(kind)
