"""Options that several commands share: one by one, in bundles, and how a bundle becomes a filter of the record."""

from __future__ import annotations

import datetime as dt
import inspect
from collections.abc import Callable
from dataclasses import dataclass, fields, is_dataclass
from functools import wraps
from typing import TYPE_CHECKING, Annotated, Any, get_type_hints

import typer

from burnlog import units, vocabulary
from burnlog.errors import InputError

if TYPE_CHECKING:
    from burnlog.analyses.scope import Scope
    from burnlog.columns import Frames

__all__ = [
    "AsJson",
    "Counted",
    "Crew",
    "Family",
    "Floor",
    "Period",
    "Progress",
    "Rated",
    "Seed",
    "Water",
    "Work",
    "bundled",
    "day",
    "jobs_in",
    "named_values",
    "pressure",
    "whole",
]

Crew = Annotated[list[str] | None, typer.Option(help="Only this crew.")]
Family = Annotated[str | None, typer.Option(help="Only exothermic or tubular rods.")]
AsJson = Annotated[bool, typer.Option("--json", help="Print the result as JSON.")]
Progress = Annotated[
    bool, typer.Option("--progress/--no-progress", help="A bar on the terminal once the work takes two seconds.")
]
Seed = Annotated[str, typer.Option(help="Whole number; the same seed gives the same digits.")]
Water = Annotated[str | None, typer.Option(help="salt or fresh: turns feet of depth into pressure.")]


def bundled(command: Callable[..., None]) -> Callable[..., None]:
    """A command whose parameters may be bundles: each field of a bundle is an option of its own on the terminal.

    Parameters
    ----------
    command : Callable
        Parameters annotated with a dataclass get an instance of it; its fields are `Annotated` as options are.
    """
    hints = get_type_hints(command, include_extras=True)
    bundles = {name: hint for name, hint in hints.items() if isinstance(hint, type) and is_dataclass(hint)}
    parameters = []
    for name, parameter in inspect.signature(command).parameters.items():
        if name in bundles:
            its = get_type_hints(bundles[name], include_extras=True)
            parameters += [
                parameter.replace(name=field.name, default=field.default, annotation=its[field.name])
                for field in fields(bundles[name])
            ]
        else:
            parameters.append(parameter.replace(annotation=hints[name]))

    @wraps(command)
    def run(**typed: Any) -> None:
        for name, bundle in bundles.items():
            typed[name] = bundle(**{field.name: typed.pop(field.name) for field in fields(bundle)})
        command(**typed)

    shown: Any = run
    shown.__signature__ = inspect.Signature([p.replace(kind=p.KEYWORD_ONLY) for p in parameters])
    shown.__annotations__ = {p.name: p.annotation for p in parameters}
    return run


class _Filter:
    """A bundle of which each field bounds the record."""

    def scope(self, frames: Frames, **more: str) -> Scope:
        """The filter that the options describe, its codes as the record has them; `more` as if typed beside them.

        Raises
        ------
        InputError
            A word, a day or a code that is none: a slip of the pen must not read as an empty record.
        """
        from burnlog.analyses.scope import Scope

        typed = {name: value for name, value in {**vars(self), **more}.items() if value is not None}
        chosen: dict[str, Any] = {}
        for name in ("setting", "record_class", "family"):
            if name in typed:
                chosen[name] = _word(typed[name], name)
        if "material" in typed:
            chosen["materials"] = tuple(_word(text, "material") for text in typed["material"])
        for name, several in (("job", "jobs"), ("crew", "crews"), ("diver", "divers")):
            if name in typed:
                chosen[several] = tuple(_code(frames, name, text) for text in typed[name])
        for name in ("since", "until"):
            if name in typed:
                chosen[name] = day(typed[name], f"--{name}")
        return Scope(**chosen)


@dataclass(frozen=True)
class Work(_Filter):
    """What sort of work: never pooled with another."""

    setting: Annotated[str, typer.Option(help="open water, test tank or dry practice.")] = "open water"
    record_class: Annotated[str, typer.Option("--class", help="production, training or trial.")] = "production"


@dataclass(frozen=True)
class Period(_Filter):
    """Which jobs and which days."""

    job: Annotated[list[str] | None, typer.Option(help="Only this job; may be given several times.")] = None
    since: Annotated[str | None, typer.Option(help="First day, 2026-05-12.")] = None
    until: Annotated[str | None, typer.Option(help="Last day.")] = None


@dataclass(frozen=True)
class Counted(Period, Work):
    """Which counts of rods, in one sort of work."""


@dataclass(frozen=True)
class Rated(Counted):
    """Which counts make a rate."""

    family: Family = None
    material: Annotated[
        list[str] | None, typer.Option(help="Only this material (default: carbon and high-strength).")
    ] = None
    crew: Crew = None
    diver: Annotated[list[str] | None, typer.Option(help="Only this diver code.")] = None


@dataclass(frozen=True)
class Floor:
    """What a bank must still hold: the line that pressures are held against."""

    needed: Annotated[str | None, typer.Option(help="Pressure the bank must still hold, as you plan it.")] = None
    margin: Annotated[str | None, typer.Option(help="Margin above it.")] = None

    @property
    def needed_kpa(self) -> float | None:
        """What it must hold [kPa]."""
        return pressure(self.needed)

    @property
    def margin_kpa(self) -> float | None:
        """What is kept above that [kPa]."""
        return pressure(self.margin)


def pressure(text: str | None) -> float | None:
    """A pressure typed as an option [kPa]."""
    return units.read(text, "pressure").value if text else None


def named_values(words: list[str], wanted: str) -> dict[str, str]:
    """Words typed as name=value, by name; `wanted` is what a message asks for.

    Raises
    ------
    InputError
        One of them has no `=`, or no name before it, or a name stands twice.
    """
    out: dict[str, str] = {}
    for word in words:
        name, equals, value = word.partition("=")
        name = name.strip()
        if not equals or not name:
            raise InputError(f"'{word}': write {wanted}.")
        if name in out:
            raise InputError(f"{name} stands twice, as '{out[name]}' and as '{value}'; keep one.")
        out[name] = value
    return out


def whole(text: str, name: str) -> int:
    """A whole number typed as an option; a blank is none."""
    value = units.read(text, "whole").value
    if value is None:
        raise InputError(f"{name} is blank; expected a whole number such as 1.")
    return int(value)


def day(text: str, name: str = "the day") -> dt.date:
    """A date as typed; `name` is what the message calls it."""
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        raise InputError(f"{name} {text}: expected a date such as 2026-05-12.") from None


def _word(text: str, words: str) -> str:
    found = vocabulary.match(text, words)
    if found is None:
        raise InputError(f"{words.replace('_', ' ')} is blank; the words are {', '.join(vocabulary.words(words))}.")
    return found


def _code(frames: Frames, name: str, text: str) -> str:
    """A code as the record has it, whatever the case typed."""
    from burnlog.store.lookup import nearest

    column = frames.jobs["job"] if name == "job" else frames.dives[name]
    known = {str(code).lower(): str(code) for code in sorted(column.dropna().unique())}
    found = known.get(text.strip().lower())
    if found is None:
        raise InputError(f"--{name} {text}: the record has no such {name}; {nearest(text, list(known.values()))}.")
    return found


def jobs_in(frames: Frames, scope: Scope, *, any_class: bool = False) -> list[str]:
    """Codes of the jobs that have a dive in a scope; `any_class` where the record class does not bound it."""
    dives = frames.dives
    keep = dives["job"].notna()
    for column, wanted in (("job", scope.jobs), ("crew", scope.crews), ("diver", scope.divers)):
        if wanted is not None:
            keep &= dives[column].isin(wanted)
    if not any_class:
        keep &= dives["record_class"].eq(scope.record_class)
    if scope.since is not None:
        keep &= dives["dive_date"].ge(str(scope.since))
    if scope.until is not None:
        keep &= dives["dive_date"].lt(str(scope.until + dt.timedelta(days=1)))
    return list(dives["job"][keep].unique())
