"""Options that several commands share, and how their texts become filters."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Annotated

import typer

from burnlog import vocabulary
from burnlog.errors import InputError

if TYPE_CHECKING:
    from burnlog.analyses.scope import Scope

__all__ = [
    "AsJson",
    "Class",
    "Crew",
    "Diver",
    "Family",
    "Job",
    "Material",
    "Progress",
    "Setting",
    "Since",
    "Until",
    "day",
    "scope_of",
]

Progress = Annotated[
    bool, typer.Option("--progress/--no-progress", help="A bar on the terminal once the work takes two seconds.")
]
AsJson = Annotated[bool, typer.Option("--json", help="Print the result as JSON.")]
Job = Annotated[list[str] | None, typer.Option(help="Only this job; may be given several times.")]
Crew = Annotated[list[str] | None, typer.Option(help="Only this crew.")]
Diver = Annotated[list[str] | None, typer.Option(help="Only this diver code.")]
Family = Annotated[str | None, typer.Option(help="Only exothermic or tubular rods.")]
Setting = Annotated[str, typer.Option(help="open water, test tank or dry practice.")]
Class = Annotated[str, typer.Option("--class", help="production, training or trial.")]
Material = Annotated[list[str] | None, typer.Option(help="Only this material (default: carbon and high-strength).")]
Since = Annotated[str | None, typer.Option(help="First day, 2026-05-12.")]
Until = Annotated[str | None, typer.Option(help="Last day.")]
Water = Annotated[str | None, typer.Option(help="salt or fresh: turns feet of depth into pressure.")]


def day(text: str | None, name: str) -> dt.date | None:
    """A date typed as an option."""
    if text is None:
        return None
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        raise InputError(f"--{name} {text}: expected a date such as 2026-05-12.") from None


def _word(text: str, words: str) -> str:
    found = vocabulary.match(text, words)
    if found is None:
        raise InputError(f"{words.replace('_', ' ')} is blank; the words are {', '.join(vocabulary.words(words))}.")
    return found


def scope_of(
    *,
    setting: str = "open water",
    record_class: str = "production",
    family: str | None = None,
    material: list[str] | None = None,
    job: list[str] | None = None,
    crew: list[str] | None = None,
    diver: list[str] | None = None,
    since: str | None = None,
    until: str | None = None,
) -> Scope:
    """The filter that a command's options describe."""
    from burnlog.analyses.scope import Scope

    chosen = {"materials": tuple(_word(text, "material") for text in material)} if material else {}
    return Scope(
        setting=_word(setting, "setting"),
        record_class=_word(record_class, "record_class"),
        family=_word(family, "family") if family else None,
        jobs=tuple(job) if job else None,
        crews=tuple(crew) if crew else None,
        divers=tuple(diver) if diver else None,
        since=day(since, "since"),
        until=day(until, "until"),
        **chosen,
    )
