"""Hindsight: how far the ranges held, on past jobs, on invented records like this one, and on closed bids."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from burnlog.cli.context import Context, closing, say, say_json, tell
from burnlog.cli.options import AsJson, Family, Seed, Work, bundled, whole
from burnlog.cli.pages import Png, Svg, head_of, in_words, write_charts, write_page
from burnlog.cli.progress import bar
from burnlog.errors import InputError

if TYPE_CHECKING:
    from burnlog.analyses.frozen import Score

__all__ = ["last_bids", "register", "rods_per_metre"]


@dataclass(frozen=True)
class Tried(Work):
    """Which counts of the jobs that are tried."""

    family: Family = None


def register(app: typer.Typer) -> None:
    """Put the commands of this group on the application."""
    app.command(rich_help_panel="Plan")(bundled(backtest))
    app.command(rich_help_panel="Plan")(score)


def backtest(
    ctx: typer.Context,
    only: Tried,
    forward: Annotated[bool, typer.Option("--forward", help="From earlier jobs only, in order of time.")] = False,
    rule: Annotated[
        str | None, typer.Option(help="Your rule of thumb beside: 1.33 rods/ft, 4.4 rods/m, 9 in/rod.")
    ] = None,
    simulate: Annotated[
        bool, typer.Option("--simulate", help="On invented records shaped like yours instead.")
    ] = False,
    histories: Annotated[str | None, typer.Option(help="Invented records, 20 or more (200).")] = None,
    seed: Seed = "1",
    page: Annotated[Path | None, typer.Option(help="Also write it as a page here, with its charts.")] = None,
    svg: Svg = None,
    png: Png = None,
    as_json: AsJson = False,
) -> None:
    """Forecast every past job as if it were the next, and say how often the ranges held.

    With --simulate: how far ranges can be trusted that rest on a record of this size.

    Example: burnlog backtest --forward
    """
    context = Context.of(ctx)
    start = whole(seed, "--seed")
    if simulate:
        if forward or rule or page or svg or png:
            raise InputError(
                "--simulate tries invented records: --forward, --rule and pages speak of the jobs of yours."
            )
        from burnlog.analyses.rehearsal import HISTORIES, rehearse
        from burnlog.reports.text_backtest import rehearsal_text

        count = HISTORIES if histories is None else whole(histories, "--histories")
        frames = context.frames()
        with bar("invented records") as progress:
            rehearsed = rehearse(frames, only.scope(frames), count=count, seed=start, progress=progress)
        if as_json:
            say_json(rehearsed.as_json(), kind="review")
        else:
            say(closing(rehearsal_text(rehearsed), "review"))
        return
    if histories is not None:
        raise InputError("--histories belongs to --simulate.")
    from burnlog.analyses.backtest import backtest as tried
    from burnlog.reports.text_backtest import backtest_text

    per_m = rods_per_metre(rule) if rule else None
    frames = context.frames()
    scope = only.scope(frames)
    with bar("jobs") as progress:
        found = tried(frames, scope, forward=forward, rule_per_m=per_m, seed=start, progress=progress)
    if page is not None:
        from burnlog.reports.backtest_page import backtest_page

        with context.open() as log:
            head = head_of(frames, log.db_id, in_words(scope), by=context.hand)
        write_page(page, backtest_page(found, head).html)
        tell(f"{page}: written.")
    if svg is not None or png is not None:
        from burnlog.charts.backtest import backtest_charts

        write_charts(backtest_charts(found), svg=svg, png=png, note=tell)
    if as_json:
        say_json(found.as_json(), kind="review")
    else:
        say(closing(backtest_text(found), "review"))


def rods_per_metre(text: str) -> float:
    """A rule of thumb as people say it: rods over a length, or a length per rod."""
    from burnlog import units

    amount, _, per = text.replace(" per ", "/").rpartition("/")
    amount, per = amount.strip().removesuffix("rods").removesuffix("rod").strip(), per.strip()
    kind, size = {"rod": ("length", 0.0), "m": ("number", 1.0), "ft": ("number", 0.3048)}.get(per, ("", 0.0))
    if not amount or not kind:
        raise InputError(f"--rule '{text}': of what length? Write 1.33 rods/ft, 4.4 rods/m or 9 in/rod.")
    value = units.read(amount, kind).value
    if value is None or not value > 0:
        raise InputError(f"--rule '{text}': a rule is above 0.")
    return 1000.0 / value if kind == "length" else value / size


def _scored(context: Context) -> Score:
    from burnlog.analyses.frozen import Closed
    from burnlog.analyses.frozen import score as scored
    from burnlog.store.kept import list_estimates

    with context.open() as log:
        rows = list_estimates(log)
    closed, waiting = [], []
    for row in rows:
        if row.actual is None:
            waiting.append(row.code)
            continue
        said, actual = json.loads(row.payload)["result"]["rods"], json.loads(row.actual)
        closed.append(
            Closed(row.code, said["p10"], said["p50"], said["p90"], actual["rods"], actual["scope_changed"])
        )
    return scored(closed, waiting)


def last_bids(context: Context) -> str:
    """How good the last bids were, in a sentence."""
    return _scored(context).sentence


def score(ctx: typer.Context, as_json: AsJson = False) -> None:
    """Say how often the actual rods of closed estimates lay inside the 80 % range.

    Example: burnlog score
    """
    from burnlog.reports.text_plan import score_text

    context = Context.of(ctx)
    found = _scored(context)
    if as_json:
        say_json(found.as_json())
        return
    with context.open() as log:
        made_up = log.made_up
    say(closing(score_text(found), made_up=made_up))
