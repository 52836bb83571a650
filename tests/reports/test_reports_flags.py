"""Pages and text of the flags and of sag, as written: both figures, the reader's units, evidence beside the strip."""

from __future__ import annotations

import re
import sys
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from burnlog.analyses.day import day_of
from burnlog.analyses.events import events
from burnlog.analyses.flags import FlagReview, flags
from burnlog.analyses.invented import WORLDS, history
from burnlog.analyses.sag import SagReview, sag
from burnlog.charts.sag import with_strips
from burnlog.columns import Frames, shaped
from burnlog.reports.day_page import day_page
from burnlog.reports.flags_page import flags_page
from burnlog.reports.page import Head, Page
from burnlog.reports.sag_page import sag_page
from burnlog.reports.text_review import flags_text

sys.path.insert(0, str(Path(__file__).parents[1] / "analyses"))
from review_record import record

HEAD = Head(db_id="L1", made_on="2026-11-25", by="JM", asked="everything", version="0", made_up="MADE UP")


def words(page: Page) -> str:
    """What a reader reads, without markup and scripts."""
    body = re.sub(r"<(script|style)\b.*?</\1>", " ", page.html, flags=re.S)
    return " ".join(re.sub(r"<[^>]+>", " ", body).replace("&#39;", "'").split())


@pytest.fixture(scope="module")
def season() -> Frames:
    """Four invented jobs with typing errors, hangers and sag read rod by rod."""
    # rods counted by cut and never blank, so that readings find their cuts
    counted = {"dive_counts": (0.0, 0.0), "blanks": {**WORLDS["base"].blanks, "rods": 0.0}, "hanger": 0.3}
    world = replace(WORLDS["base"], sag=0.1, typing_errors=0.03, series=1.0, dive_minutes=(35.0, 60.0), **counted)
    return history(world, jobs=4, rng=np.random.default_rng(17)).frames


@pytest.fixture(scope="module")
def review(season: Frames) -> FlagReview:
    return flags(season)


@pytest.fixture(scope="module")
def oxygen(season: Frames) -> SagReview:
    return sag(season)


def left_out(frames: Frames, review: FlagReview) -> Frames:
    """The record with the first flag on rods decided as leave-out."""
    odd = next(flag for flag in review.flags if flag.kind == "rods")
    row = {"rule": odd.rule, "target": odd.target, "decision": "leave-out", "why": "ten-fold", "decided_by": "JM"}
    rows = pd.DataFrame([row | {"decided_at": "2026-05-02"}])
    return replace(frames, decisions=shaped(rows, "decisions"))


def test_R55_the_list_and_its_page_show_both_rates_after_leave_out(season: Frames, review: FlagReview) -> None:
    """Rods per length without and with what a decision left out stand side by side; before, nothing is said."""
    assert review.left_out is None
    assert "left out by decision" not in flags_text(review)
    after = flags(left_out(season, review))
    both = after.left_out
    assert both is not None
    assert both.tallies == 1
    assert both.rods_per_m_without < both.rods_per_m_with
    said = f"{both.rods_per_m_without:.3g} rods per m without, {both.rods_per_m_with:.3g} with"
    assert said in " ".join(flags_text(after).split())
    assert said in words(flags_page(after, HEAD))
    assert after.as_json()["left_out"]["tallies"] == 1


def test_the_words_of_a_question_are_in_the_readers_units(season: Frames, review: FlagReview) -> None:
    """A reader of feet and inches meets no metre, millimetre or bar; the numbers of a flag stay SI."""
    us = flags(season, profile="us")
    text = words(flags_page(us, HEAD, profile="us"))
    asked = text[text.index("A flag is a question") : text.index("What was judged")]
    # names of sections are the record's own words and hold millimetres here
    asked = re.sub(r"J\d\d plate [\d.]+ mm", "", asked)
    assert not re.search(r"\d (mm|m|bar|kPa)\b", asked)
    assert re.search(r"\d in\b", asked)
    assert [flag.seen for flag in us.flags] == [flag.seen for flag in review.flags]


def test_the_flags_page_puts_defects_over_what_there_was(season: Frames, review: FlagReview) -> None:
    """Hangers, restarts, edges and events have their exposure and interval; common practice says it has no source."""
    counted = events(season)
    text = words(flags_page(review, HEAD, events=counted))
    assert "common practice, no source" in text
    for figure in (*counted.hangers, *counted.restarts, *counted.edges):
        assert f"{figure.what} {figure.count} {figure.exposure:g} {figure.unit}" in text
    assert "caused" not in text


def test_the_flags_page_says_by_how_much_odd_burns_move_a_bid(review: FlagReview) -> None:
    """The burns flagged on rods stay in, and the page says what they do to rods per length and a bid."""
    assert review.moved_percent is not None
    said = f"move rods over length, and a bid with it, by {review.moved_percent:+.1f} %; they stay in unless left out"
    assert said in words(flags_page(review, HEAD))


def test_a_strip_has_its_evidence_beside_it(season: Frames, oxygen: SagReview) -> None:
    """Alarm, cuts, drop, edges, rods, bank and log stand under each strip, and rigs sum up what was judged."""
    page = sag_page(oxygen, season, HEAD, profile="us")
    text = words(page)
    drawn = with_strips(oxygen)
    assert [dive.evidence for dive in drawn] == sorted((dive.evidence for dive in drawn), key="likely possible".index)
    highest = [float(dive.pressure.z.max()) for dive in drawn if dive.evidence == "likely"]
    assert highest == sorted(highest, reverse=True)
    first = next(dive for dive in drawn if dive.first_cut)
    assert f"{first.dive}: what stands beside the readings" in text
    assert f"after {first.alarm_at:g} rods, in {first.first_cut}" in text
    assert f"ragged on {first.ragged} of {first.edges_seen} seen; hangers {first.hangers}" in text
    rows: dict[str, list[int]] = {}
    for rig in sorted({dive.rig for dive in oxygen.dives}):
        mine = [dive for dive in oxygen.dives if dive.rig == rig]
        rows[rig] = [sum(dive.evidence == word for dive in mine) for word in ("likely", "possible")]
        assert re.search(rf"{rig} [\d.]+ psi [\d.]+ psi \d+ {rows[rig][0]} {rows[rig][1]} ", text)
    # quiet dives are counted by rig, not listed one by one
    quiet = next(dive for dive in oxygen.dives if dive.evidence == "no evidence")
    assert f"{quiet.dive} no evidence" not in text
    assert "caused" not in text


def test_the_strips_sum_shows_its_limit_however_far_the_sum_runs(season: Frames, oxygen: SagReview) -> None:
    """The panel of the summed rise ends at four limits, so that the limit itself can be seen."""
    page = sag_page(oxygen, season, HEAD)
    chart: Any = page.charts["strip1"].to_dict()
    panel = chart["vconcat"][1]["layer"][0]["encoding"]["y"]["scale"]
    assert panel == {"domain": [0, 16.0], "clamp": True}


def test_the_page_of_a_day_asks_when_a_bank_may_reach_the_typed_pressure() -> None:
    """With a pressure typed each bank's row carries the range as a question, or why there is none."""
    rows = [
        {
            "bank": "B1",
            "dive_no": n,
            "rods": 10,
            "bank_start_kpa": 15500.0 - 500 * n,
            "bank_end_kpa": 15000.0 - 500 * n,
        }
        for n in (1, 2, 3)
    ]
    frames = record(rows)
    day = day_of(frames, date(2026, 5, 1), today=date(2026, 5, 2), needed_kpa=3500.0)
    text = words(day_page(day, frames, [], HEAD))
    # by hand: 50 kPa a rod from 13,500 down to 3,500
    assert (
        "may reach the typed pressure after 200 to 200 more rods (3 stretches, 30 rods): change over before?" in text
    )
