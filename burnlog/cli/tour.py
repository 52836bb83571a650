"""The demonstration: the whole road on an invented contractor, from sheets to a folder of pages."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from burnlog.cli.context import Context, now, say, tell
from burnlog.cli.pages import SEED, head_of, write_page
from burnlog.errors import FileError
from burnlog.reports.cautions import MADE_UP, caution_block

if TYPE_CHECKING:
    from burnlog.analyses.crews import CrewReview
    from burnlog.analyses.estimate import Estimate
    from burnlog.analyses.flags import FlagReview
    from burnlog.analyses.rates import Rates
    from burnlog.analyses.sag import SagReview
    from burnlog.columns import Frames
    from burnlog.reports.page import Head, Page

__all__ = ["demo"]

QUESTIONS = {
    "estimate": "What will the next job take?",
    "rates": "What does the record say of rods and time?",
    "flags": "Which rows deserve a question?",
    "sag": "Did the oxygen fall while it was burning?",
    "crews": "How do the crews stand on equal steel?",
    "day": "What was done on one day, and what still hangs?",
    "practice": "What does real spread look like? (the class)",
}
"""The pages in the order people come to ask for them."""
WORKING_DAY = 3
"""Dives of a day worth a page; the very last day was a short one."""


def demo(
    ctx: typer.Context,
    folder: Annotated[Path, typer.Argument(help="Where the files, the log and the pages go.")],
) -> None:
    """Run the whole road on an invented contractor: files, log, rates, flags, crews, a bid, every page.

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
    from burnlog.demo import IMPORT_ORDER, write_scenario
    from burnlog.library.bids import read_takeoff_file
    from burnlog.physics.oxygen import contents_kg
    from burnlog.physics.sections import read_section
    from burnlog.reports.html import estimate_page
    from burnlog.reports.text_people import crews_text
    from burnlog.reports.text_plan import estimate_text
    from burnlog.reports.text_rates import rates_text
    from burnlog.reports.text_review import flags_text, sag_text
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
    said = rates(frames, by=("crew",))
    say("\n2. What it says: rates\n")
    say(rates_text(said, profile=profile))
    asked = flags(frames, profile=profile)
    say("\n3. Odd burns\n")
    say(flags_text(asked, profile=profile, most=6))
    oxygen = sag(frames)
    say("\n4. Oxygen\n")
    say(sag_text(oxygen, profile=profile))
    stand = crews(frames, rng=np.random.default_rng(SEED))
    say("\n5. Crews\n")
    say(crews_text(stand, profile=profile))
    say("\n6. A bid\n")
    basis = basis_of(frames, db_id=db_id)
    families = {code: row.get("family") for code, row in basis.rod_types.items()}
    takeoff = read_takeoff_file(files["takeoff.csv"], (), families)
    made = draft(basis, takeoff, Plan(bottom_time_s=2400.0, start_up_s=900.0, dives_per_day=3.0))
    say(estimate_text(made, profile=profile))
    bid = {
        "code": "DEMO",
        "state": "DRAFT",
        "title": "made-up pier removal",
        "hash": content_hash(freeze(made)),
        "by": "demo",
        "made_on": now().date().isoformat(),
    }
    tell("Writing the pages ...")
    write_page(folder / "estimate.html", estimate_page(made, bid, profile=profile))
    pages = _pages(frames, db_id, said, asked, oxygen, stand, profile)
    for name, page in pages.items():
        write_page(folder / f"{name}.html", page.html)
    index = folder / "index.html"
    write_page(index, _index(frames, db_id, made, pages, profile))
    say(f"\nThe pages: {index} links all {len(QUESTIONS)}; they open without a network.")
    say(f"Go on with: burnlog --db {path} rates --by diver\n")
    say(
        caution_block(
            "estimate", closed_space=made.basis.closed_space, tallies=made.ratio.tallies, jobs=made.ratio.jobs
        )
    )


def _pages(
    frames: Frames,
    db_id: str,
    said: Rates,
    asked: FlagReview,
    oxygen: SagReview,
    stand: CrewReview,
    profile: str,
) -> dict[str, Page]:
    """Every page about the record, from what was found already where it was."""
    import numpy as np

    from burnlog.analyses.attached import left_on
    from burnlog.analyses.crew_context import crew_context
    from burnlog.analyses.crew_oxygen import crew_oxygen
    from burnlog.analyses.day import day_of
    from burnlog.analyses.events import events
    from burnlog.analyses.fit_check import fit_check
    from burnlog.analyses.practice import practice
    from burnlog.analyses.practice_pressure import practice_pressure
    from burnlog.analyses.rate_curve import rate_curve
    from burnlog.analyses.scope import Scope
    from burnlog.reports.crews_page import crews_page
    from burnlog.reports.day_page import day_page
    from burnlog.reports.flags_page import flags_page
    from burnlog.reports.practice_page import practice_page
    from burnlog.reports.rates_page import rates_page
    from burnlog.reports.sag_page import sag_page

    def head(asked_for: str) -> Head:
        return head_of(frames, db_id, asked_for, by="demo")

    paid = "production, open water, every job"
    rows = frames.dives[frames.dives["record_class"].eq("production") & frames.dives["dive_date"].notna()]
    dives = rows["dive_date"].value_counts()
    last = dives[dives.ge(WORKING_DAY)].index.max().date()
    day = day_of(frames, last, today=now().date())
    left = [left_on(frames, code) for code in day.jobs]
    taught = practice(frames, Scope(record_class="training"), rng=np.random.default_rng(SEED))
    strips = practice_pressure(frames, Scope(record_class="training"))
    curve = rate_curve(said.fit) if said.fit is not None else ()
    questions = [flag for flag in asked.flags if flag.kind in ("rods", "sag")]
    context = crew_context(frames, Scope(), stand.by)
    beside = crew_oxygen(frames, oxygen, Scope(), stand.by)
    return {
        "rates": rates_page(said, curve, fit_check(frames, said), head(paid), profile=profile),
        "crews": crews_page(stand, context, beside, questions, head(paid), profile=profile),
        "sag": sag_page(oxygen, frames, head("every class and setting, every job"), profile=profile),
        "flags": flags_page(asked, head(paid), events=events(frames), profile=profile),
        "day": day_page(day, frames, left, head(f"{last.isoformat()}, every job"), profile=profile),
        "practice": practice_page(
            taught, strips, head("training, each setting by itself, every job"), profile=profile
        ),
    }


def _index(frames: Frames, db_id: str, made: Estimate, pages: dict[str, Page], profile: str) -> str:
    from burnlog.analyses.estimate import spread_of
    from burnlog.reports.index_page import index_page
    from burnlog.units import show

    rods = spread_of(made.rods)
    answers = {name: page.answer for name, page in pages.items()}
    length = show(1000 * made.takeoff.length_m, "length", profile, digits=3)
    answers["estimate"] = (
        f"{length} of cut line: rods P50 {rods['p50']:.0f}, P80 {rods['p80']:.0f}, P90 {rods['p90']:.0f}."
    )
    return index_page(
        "An invented contractor's record",
        "Three years of made-up sheets, and what burnlog reads from them. Each page stands alone: it opens without "
        "a network and prints in black and white.",
        [(f"{name}.html", question, answers[name]) for name, question in QUESTIONS.items()],
        head_of(frames, db_id, "the whole record", by="demo"),
        used=f"{len(frames.cuts)} cuts on {len(frames.dives)} dives",
    ).html
