"""Show: pages that print."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from burnlog.cli import pages
from burnlog.cli.context import Context, say
from burnlog.cli.pages import Png, Svg, write_charts, write_page
from burnlog.cli.tour import demo

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Put the commands of this group on the application."""
    group = typer.Typer(
        help="Write one self-contained page: opens offline, prints on A4 and Letter.",
        rich_markup_mode=None,
        no_args_is_help=True,
    )
    group.command("estimate")(report_estimate)
    pages.register(group)
    app.add_typer(group, name="report", rich_help_panel="Show")
    app.command(rich_help_panel="Show")(demo)


def report_estimate(
    ctx: typer.Context,
    code: Annotated[str, typer.Argument(help="Number of an issued estimate.")],
    out: Annotated[Path, typer.Option(help="The page.")] = Path("estimate.html"),
    svg: Svg = None,
    png: Png = None,
) -> None:
    """Write the two pages of an issued estimate.

    Example: burnlog report estimate E7 --out E7.html
    """
    from burnlog.analyses.frozen import thaw
    from burnlog.charts.bid import bid_charts
    from burnlog.cli.bid import kept, profile_of
    from burnlog.cli.hindsight import last_bids
    from burnlog.reports.html import estimate_page

    context = Context.of(ctx)
    row = kept(context, code)
    made = thaw(row["payload"])
    head = {
        "code": code,
        "state": str(row["state"]).upper(),
        "title": row["title"],
        "hash": row["content_hash"],
        "by": row["created_by"],
        "made_on": str(row["created_at"])[:10],
    }
    profile = profile_of(context, made)
    write_page(out, estimate_page(made, head, profile=profile, last=last_bids(context)))
    say(f"{out}: written.")
    if svg is not None or png is not None:
        write_charts(bid_charts(made, profile=profile), svg=svg, png=png)
