"""Learn: rates, odd burns, oxygen sag, crews, practice, events."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from burnlog.cli.context import Context, closing, invented, say, say_json, tell
from burnlog.cli.options import AsJson, Counted, Floor, Period, Rated, Work, bundled, jobs_in
from burnlog.errors import FileError, InputError

if TYPE_CHECKING:
    from burnlog.analyses.events import EventReview

__all__ = ["register"]

SEED = 1


def register(app: typer.Typer) -> None:
    """Put the commands of this group on the application."""
    app.command(rich_help_panel="Learn")(bundled(rates))
    group = typer.Typer(
        help="List odd burns, or record a decision about one.",
        rich_markup_mode=None,
        no_args_is_help=True,
    )
    group.command("list")(bundled(flags_list))
    group.command("decide")(bundled(flags_decide))
    app.add_typer(group, name="flags", rich_help_panel="Learn")
    for command in (sag, crews, practice, events):
        app.command(rich_help_panel="Learn")(bundled(command))


def rates(
    ctx: typer.Context,
    only: Rated,
    by: Annotated[
        list[str] | None, typer.Option(help="Also side by side: crew, diver, family, visibility, thickness, ...")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Rods and time over length: the ratio always, the model where the history holds one.

    Example: burnlog rates --by crew --by thickness
    """
    from burnlog.analyses.rates import rates as learned
    from burnlog.reports.text_rates import rates_text

    context = Context.of(ctx)
    frames = context.frames()
    scope = only.scope(frames)
    found = learned(frames, scope, by=tuple(by or ()))
    if as_json:
        say_json(found.as_json(), kind="review")
    else:
        profile = context.profile_over(frames, jobs_in(frames, scope))
        say(closing(rates_text(found, profile=profile), "review"))


def flags_list(
    ctx: typer.Context,
    only: Counted,
    as_json: AsJson = False,
) -> None:
    """List odd burns, the oddest first, with what was expected and what else stood on the sheet.

    A flag is a question. Nothing is deleted, and it stays in every figure until somebody decides.

    Example: burnlog flags list
    """
    from burnlog.analyses.flags import flags
    from burnlog.reports.text_review import flags_text

    context = Context.of(ctx)
    frames = context.frames()
    scope = only.scope(frames)
    profile = context.profile_over(frames, jobs_in(frames, scope, any_class=True))
    review = flags(frames, scope, profile=profile)
    if as_json:
        say_json(review.as_json(), kind="flags")
    else:
        say(closing(flags_text(review, profile=profile), "flags", made_up=invented(frames)))


def flags_decide(
    ctx: typer.Context,
    only: Work,
    rule: Annotated[str, typer.Argument(help="The rule, as the list names it.")],
    target: Annotated[str, typer.Argument(help="What it is about, as the list names it.")],
    decision: Annotated[str, typer.Argument(help="keep, data-error or leave-out.")],
    why: Annotated[str, typer.Option(help="The reason, in words.")],
) -> None:
    """Record what was decided about a flag; the burn stays in the log whatever was decided.

    Example: burnlog --by JM flags decide "rods out of line" "tally 395" keep --why "thick weld at the splice"
    """
    from burnlog import vocabulary

    context = Context.of(ctx)
    by = context.signed("a decision")
    word = vocabulary.match(decision, "decision")
    if word is None:
        raise InputError("the decision is blank; it is keep, data-error or leave-out.")
    if len(why.strip()) < 3:
        raise InputError("a decision needs a reason in words (--why).")
    from burnlog.analyses.flags import flags

    frames = context.frames()
    standing = flags(frames, only.scope(frames)).flags
    about = [flag for flag in standing if flag.rule == rule and target in (flag.target, flag.target.split(" (")[0])]
    if len(about) != 1:
        named = [f"'{flag.rule}' '{flag.target}'" for flag in standing if flag.target == target or flag.rule == rule]
        near = f"near it: {'; '.join(named[:3])}" if named else "copy both from `burnlog flags list`"
        raise InputError(f"no flag '{rule}' about '{target}' stands in the record; {near}. Nothing was recorded.")
    target = about[0].target
    with context.open(write=True) as log, log.transaction(why=why, by=by):
        log.insert("flag_decision", {"rule": rule, "target": target, "decision": word, "why": why.strip()})
    say(f"{target}, {rule}: {word}, by {by}: {why.strip()}")
    if word == "data-error":
        say("A data error stays in the figures until the row is mended: `burnlog fix` or `burnlog void`.")


def sag(
    ctx: typer.Context,
    only: Counted,
    floor: Floor,
    as_json: AsJson = False,
) -> None:
    """Look for dives on which the oxygen pressure fell while gas flowed, against each rig's own readings.

    Example: burnlog sag --since 2025-01-01
    """
    from burnlog.analyses.sag import sag as looked
    from burnlog.reports.text_review import sag_text

    context = Context.of(ctx)
    frames = context.frames()
    scope = only.scope(frames)
    review = looked(frames, scope, needed_kpa=floor.needed_kpa, margin_kpa=floor.margin_kpa)
    if as_json:
        say_json(review.as_json(), kind="sag")
    else:
        profile = context.profile_over(frames, jobs_in(frames, scope, any_class=True))
        say(closing(sag_text(review, profile=profile), "sag", made_up=invented(frames)))


def crews(
    ctx: typer.Context,
    only: Counted,
    by: Annotated[str, typer.Option(help="crew, diver, rod type or rig.")] = "crew",
    as_json: AsJson = False,
) -> None:
    """Rods used against rods expected for the same steel, with how far luck alone reaches. In order of code.

    Example: burnlog crews
    """
    import numpy as np

    from burnlog.analyses.crews import crews as compared
    from burnlog.reports.text_people import crews_text

    context = Context.of(ctx)
    frames = context.frames()
    scope = only.scope(frames)
    review = compared(frames, scope, by=by, rng=np.random.default_rng(SEED))
    if as_json:
        say_json(review.as_json(), kind="review")
    else:
        profile = context.profile_over(frames, jobs_in(frames, scope))
        say(closing(crews_text(review, profile=profile), "review"))


def practice(
    ctx: typer.Context,
    only: Period,
    as_json: AsJson = False,
) -> None:
    """Show a class its own spread: calls and faults first, dry, tank and open water apart.

    Example: burnlog practice --job CLASS26
    """
    import numpy as np

    from burnlog.analyses.practice import practice as shown
    from burnlog.reports.text_people import practice_text

    context = Context.of(ctx)
    frames = context.frames()
    scope = only.scope(frames, record_class="training")
    review = shown(frames, scope, rng=np.random.default_rng(SEED))
    if as_json:
        say_json(review.as_json(), kind="variation")
    else:
        profile = context.profile_over(frames, jobs_in(frames, scope))
        say(closing(practice_text(review, profile=profile), "variation"))


def events(
    ctx: typer.Context,
    only: Period,
    with_names: Annotated[bool, typer.Option("--with-names", help="Do not mask known names in the text.")] = False,
    as_csv: Annotated[Path | None, typer.Option("--csv", help="Also write the list of events to this file.")] = None,
    as_json: AsJson = False,
) -> None:
    """Count hangers, restarts and events per exposure, with exact intervals, and list the events.

    Example: burnlog events --since 2025-01-01
    """
    from burnlog.analyses.events import events as counted
    from burnlog.reports.text_review import events_text
    from burnlog.store.frames import load_frames

    context = Context.of(ctx)
    with context.open() as log:
        frames = load_frames(log)
        names = [
            str(row["display_name"]) for row in log.rows("SELECT display_name FROM person") if row["display_name"]
        ]
    review = counted(frames, only.scope(frames), names=names, with_names=with_names)
    if as_csv is not None:
        _write_events(as_csv, review)
    if as_json:
        say_json(review.as_json(), kind="review")
    else:
        say(closing(events_text(review), "review", made_up=invented(frames)))


def _write_events(path: Path, review: EventReview) -> None:
    """The list of events as a table for a spreadsheet, its free text made harmless there."""
    import csv
    from dataclasses import asdict, fields

    from burnlog.analyses.events import EventRow
    from burnlog.store.tablefile import harmless

    try:
        with path.open("x", encoding="utf-8", newline="") as file:
            writer = csv.writer(file)
            writer.writerow([field.name for field in fields(EventRow)])
            for row in review.rows:
                writer.writerow(["" if cell is None else harmless(str(cell)) for cell in asdict(row).values()])
    except FileExistsError:
        raise FileError(f"{path} exists already; name another file.") from None
    except OSError as error:
        raise FileError(f"{path} cannot be written ({error.strerror}).") from error
    tell(f"{path}: {len(review.rows)} events.")
