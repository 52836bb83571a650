"""Show: pages that print, and the demonstration that runs the whole road."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from burnlog.cli import pages
from burnlog.cli.context import Context, now, say, tell
from burnlog.cli.pages import Png, Svg, write_charts, write_page
from burnlog.errors import FileError
from burnlog.reports.cautions import MADE_UP, caution_block

if TYPE_CHECKING:
    from burnlog.analyses.estimate import Estimate

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
    from burnlog.cli.bid import kept, last_bids
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
    write_page(out, estimate_page(made, head, profile=context.profile, last=last_bids(context)))
    say(f"{out}: written.")
    if svg is not None or png is not None:
        write_charts(bid_charts(made, profile=context.profile), svg=svg, png=png)


def demo(
    ctx: typer.Context,
    folder: Annotated[Path, typer.Argument(help="Where the files, the log and the page go.")],
) -> None:
    """Run the whole road on an invented contractor: files, log, rates, flags, crews, a bid, a page.

    Example: burnlog demo demo
    """
    import numpy as np

    from burnlog.analyses.basis import basis_of
    from burnlog.analyses.crews import crews
    from burnlog.analyses.estimate import Plan, draft
    from burnlog.analyses.flags import flags
    from burnlog.analyses.frozen import content_hash, freeze
    from burnlog.analyses.rates import rates
    from burnlog.analyses.sag import sag
    from burnlog.cli.bid import read_takeoff_file
    from burnlog.demo import IMPORT_ORDER, write_scenario
    from burnlog.physics.oxygen import contents_kg
    from burnlog.physics.sections import read_section
    from burnlog.reports.html import estimate_page
    from burnlog.reports.text_plan import estimate_text
    from burnlog.reports.text_rates import rates_text
    from burnlog.reports.text_review import crews_text, flags_text, sag_text
    from burnlog.store.exchange import import_file
    from burnlog.store.frames import load_frames
    from burnlog.store.log import Log

    context = Context.of(ctx)
    profile = context.units or "us"
    path = folder / "demo.db"
    if path.exists():
        raise FileError(f"{path} exists already; name another folder, or remove it.")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        files = {file.name: file for file in write_scenario(folder)}
    except OSError as error:
        raise FileError(f"{folder} cannot be written ({error.strerror}); name another folder.") from error
    say(MADE_UP)
    say(f"\n1. The record: {len(IMPORT_ORDER)} files into {path}")
    with Log.create(path, by="demo", now=now, made_up=True) as log:
        for name in IMPORT_ORDER:
            report = import_file(log, files[name], check_section=read_section, weigh=contents_kg)
            say(f"   {name:<16} {report.kind:<14} {report.rows:>4} rows")
        frames = load_frames(log)
        db_id = log.db_id
    tell("Learning from it ...")
    say("\n2. What it says: rates\n")
    say(rates_text(rates(frames, by=("crew",)), profile=profile))
    say("\n3. Odd burns\n")
    say(flags_text(flags(frames), profile=profile, most=6))
    say("\n4. Oxygen\n")
    say(sag_text(sag(frames), profile=profile))
    say("\n5. Crews\n")
    say(crews_text(crews(frames, rng=np.random.default_rng(1)), profile=profile))
    say("\n6. A bid\n")
    basis = basis_of(frames, db_id=db_id)
    families = {code: row.get("family") for code, row in basis.rod_types.items()}
    takeoff = read_takeoff_file(files["takeoff.csv"], (), families)
    made = draft(basis, takeoff, Plan(bottom_time_s=2400.0, start_up_s=900.0, dives_per_day=3.0))
    say(estimate_text(made, profile=profile))
    page = folder / "estimate.html"
    head = {
        "code": "DEMO",
        "state": "DRAFT",
        "title": "made-up pier removal",
        "hash": content_hash(freeze(made)),
        "by": "demo",
        "made_on": now().date().isoformat(),
    }
    write_page(page, estimate_page(made, head, profile=profile))
    say(f"\nThe page: {page}")
    say(f"Go on with: burnlog --db {path} rates --by diver\n")
    say(_block(made))


def _block(made: Estimate) -> str:
    return caution_block(
        "estimate", closed_space=made.basis.closed_space, tallies=made.ratio.tallies, jobs=made.ratio.jobs
    )
