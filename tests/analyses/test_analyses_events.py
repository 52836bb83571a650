"""Defects and events over their exposure: exact intervals, names masked, nothing shortened to nothing."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from review_record import record
from scipy import stats

from burnlog.analyses.events import events, mask_names
from burnlog.analyses.exposure import per_exposure, share_of
from burnlog.analyses.invented import WORLDS, history
from burnlog.analyses.scope import Scope
from burnlog.reports.text_review import events_text


def rows(n: int = 10, **more: Any) -> list[dict[str, Any]]:
    """Cuts on lines of their own, 12 rods each."""
    return [{"dive_no": k, "rods": 12, "hangers": 0.0, "restarts": 0.0, **more} for k in range(1, n + 1)]


def test_R68_none_in_ten_lines_leaves_up_to_thirty_per_cent() -> None:
    """No hanger in 10 lines is printed as what cannot be ruled out, by Clopper and Pearson."""
    review = events(record(rows()))
    share = next(figure for figure in review.hangers if figure.per == 0)
    # Clopper-Pearson 0/10 at 95 %: upper .308497, computed; closed form 1 - .025 ** (1/10)
    assert share.high == pytest.approx(0.308497, abs=1e-6)
    assert share.high == pytest.approx(1 - 0.025**0.1)
    assert share.sentence() == "lines with a hanger: none recorded in 10 lines; up to 30.8 % cannot be ruled out"


def test_R68_none_in_120_rods_leaves_up_to_three_a_hundred() -> None:
    """No event in 120 rods: up to 3.1 per 100 rods, by Garwood."""
    review = events(record(rows()))
    whole = review.by_event[0]
    # Garwood upper for 0: chi2(.975, 2)/2 = 3.688879
    assert whole.exposure == 120
    assert whole.high == pytest.approx(100 * 3.688879 / 120, rel=1e-6)
    assert whole.sentence() == "any event: none recorded in 120 rods; up to 3.1 per 100 rods cannot be ruled out"
    assert "none recorded" in events_text(review)


def test_R68_without_exposure_there_is_a_count_and_no_rate() -> None:
    """Events on dives whose rods nobody counted are listed and counted, and no rate is made of them."""
    frames = record(
        [{"dive_no": 1}],
        happenings=[{"kind": "event", "word": "pop or bang", "job": "J1", "dive_ref": "J1 1", "count": 2}],
    )
    review = events(frames)
    assert review.by_event[0].rate is None
    assert "no rate" in review.by_event[0].sentence()
    assert review.rows[0].count == 2
    assert any("without a rod count" in note for note in review.notes)


def test_hangers_per_rod_change_use_only_counts_whose_every_cut_was_looked_at() -> None:
    """Rod changes are rods less cuts of the counts with hangers written on every cut."""
    cuts = [
        {"dive_no": 1, "hangers": 1.0, "line": "A"},
        {"dive_no": 1, "hangers": 2.0, "line": "B"},
        {"dive_no": 2, "hangers": 4.0, "line": "C"},
        {"dive_no": 2, "line": "D"},
    ]
    tallies = [
        {"tally_id": f"t{d}", "tally_no": d, "job": "J1", "scope": "dive", "dive_ref": f"J1 {d}", "rods": 12}
        for d in (1, 2)
    ]
    links = [("t1", "c1"), ("t1", "c2"), ("t2", "c3"), ("t2", "c4")]
    review = events(record(cuts, tallies=tallies, tally_cuts=links))
    by_unit = {figure.unit: figure for figure in review.hangers if figure.per}
    assert (by_unit["rod changes"].count, by_unit["rod changes"].exposure) == (3, 10)
    assert (by_unit["lines"].count, by_unit["lines"].exposure, by_unit["lines"].blank) == (7, 3, 1)
    # Garwood for 3: .618672 and 8.767273, computed
    assert by_unit["rod changes"].low == pytest.approx(0.0618672, rel=1e-5)
    assert by_unit["rod changes"].high == pytest.approx(0.8767273, rel=1e-5)


def test_where_hangers_were_left_stands_beside_common_practice() -> None:
    """The share at a rod change has its exact interval, with the unsourced statement beside it."""
    cuts = rows(8)
    for row, place in zip(cuts, ["at a rod change"] * 5 + ["mid-line"] + ["not known"] * 2, strict=True):
        row.update(hangers=1.0, hangers_at=place)
    review = events(record(cuts))
    at_change = review.hangers_at[0]
    assert (at_change.count, at_change.exposure, at_change.blank) == (5, 6, 2)
    exact = stats.binomtest(5, 6).proportion_ci(0.95, method="exact")
    assert (at_change.low, at_change.high) == pytest.approx((exact.low, exact.high), rel=1e-9)
    assert "common practice, no source" in " ".join(events_text(review).split())


def test_edges_are_shares_of_what_somebody_looked_at() -> None:
    """Not seen and blank edges are no clean edges."""
    cuts = rows(6)
    for row, edge in zip(cuts, ["clean", "clean", "ragged", "rough", "not seen", None], strict=True):
        row["edge"] = edge
    by_grade = {figure.what: figure for figure in events(record(cuts)).edges}
    assert [(f.count, f.exposure, f.blank) for f in by_grade.values()] == [(2, 4, 2), (1, 4, 2), (1, 4, 2)]


def test_R81_the_list_masks_known_names_unless_asked() -> None:
    """A known person's name in free text is masked, whole or in part; --with-names leaves it."""
    happened = [
        {
            "kind": "event",
            "word": "blow-back",
            "job": "J1",
            "dive_ref": "J1 1",
            "cut_id": "c1",
            "rig": "R1",
            "outcome": "near miss",
            "text": "Ola Nordmann let go; NORDMANN came up. Rig of Ola's.",
            "happened_on": "2026-05-01",
        }
    ]
    frames = record(rows(2), happenings=happened)
    row = events(frames, names=["Ola Nordmann"]).rows[0]
    assert row.text == "[name] let go; [name] came up. Rig of [name]'s."
    assert (row.event, row.outcome, row.rig, row.piece_kind, row.setting) == (
        *("blow-back", "near miss", "R1", "plate", "open water"),
    )
    assert events(frames, names=["Ola Nordmann"], with_names=True).rows[0].text == happened[0]["text"]
    assert mask_names("Bo Li is at the rig", ["Bo Li"]) == "[name] is at the rig"
    assert mask_names("Anders", ["And Ersson"]) == "Anders"


def test_R81_since_bounds_the_list_and_rates_keep_to_their_setting() -> None:
    """Events of every setting are listed from the day asked for; rates hold open water alone."""
    happened = [
        {"kind": "event", "word": "hose leak", "job": "J1", "dive_ref": f"J1 {d}", "happened_on": f"2026-05-0{d}"}
        for d in (1, 2, 3)
    ]
    cuts = [{"dive_no": d, "rods": 10, "dive_date": f"2026-05-0{d}"} for d in (1, 2, 3)]
    cuts[2] |= {"setting": "test tank"}
    review = events(record(cuts, happenings=happened), Scope(since=date(2026, 5, 2)))
    assert [(row.dive, row.setting) for row in review.rows] == [("J1 2", "open water"), ("J1 3", "test tank")]
    assert (review.by_event[0].count, review.by_event[0].exposure) == (1, 10)


def test_the_hanger_fit_is_statsmodels_own_clustered_by_job() -> None:
    """The ratios are those of a clustered statsmodels fit on the same rows, and few events are refused."""
    frames = history(replace(WORLDS["base"], hanger=0.5), jobs=20, rng=np.random.default_rng(8)).frames
    model = events(frames).model
    assert model.terms
    assert any("association, not proof" in part for part in [model.sentence()])
    found = {(term.fit, term.name): term for term in model.terms}
    single = frames.tallies[frames.tallies["scope"].eq("cut")].merge(frames.tally_cuts, on="tally_id")
    rods = single.set_index("cut_id")["rods"]
    cuts = frames.cuts[frames.cuts["pass_kind"].eq("first")].copy()
    cuts["rods"] = cuts["cut_id"].map(rods)
    upright = {
        "horizontal": "upright or level",
        "vertical down": "upright or level",
        "vertical up": "upright or level",
    }
    cuts["position"] = cuts["position"].replace(upright)
    needed = ["hangers", "thickness_mm", "position", "family", "rods", "new_length_m"]
    cuts = cuts[cuts[needed].notna().all(axis=1) & cuts["new_length_m"].gt(0)]
    assert model.cuts == len(cuts)
    X = pd.DataFrame(
        {"one": 1.0, "t": np.log2(cuts["thickness_mm"] / 12.7), "c": np.log2(cuts["rods"].clip(lower=1.0))}
    )
    levels = [name.split(" against ")[0] for fit, name in found if fit == "any hanger" and " against " in name]
    for level in levels:
        X[level] = (cuts["position"].eq(level) | cuts["family"].eq(level)).astype(float)
    groups = pd.factorize(cuts["job"])[0]
    peer = sm.GLM(cuts["hangers"].gt(0).astype(float), X, family=sm.families.Binomial()).fit(
        cov_type="cluster", cov_kwds={"groups": groups}
    )
    assert found["any hanger", "twice the thickness"].ratio == pytest.approx(np.exp(peer.params["t"]), rel=1e-6)
    assert found["any hanger", "rod changes + 1, doubled"].ratio == pytest.approx(np.exp(peer.params["c"]), rel=1e-6)
    few = events(record(rows())).model
    assert few.terms == ()
    assert "too few" in few.sentence()


def test_the_text_is_plain_and_the_json_stable() -> None:
    """ASCII, 80 columns, no banned word; every figure carries its n in the JSON."""
    review = events(history(WORLDS["base"], jobs=5, rng=np.random.default_rng(2)).frames)
    text = events_text(review)
    assert text.isascii()
    assert max(len(line) for line in text.splitlines()) <= 80
    assert "caused" not in text
    out = review.as_json()
    for name in ("by_event", "hangers", "restarts", "edges", "hangers_at"):
        assert all(
            {"what", "count", "exposure", "unit", "low", "high", "blank"} <= set(figure) for figure in out[name]
        )


def test_figures_of_nothing_and_of_all_have_their_sentences() -> None:
    """A share of nothing gives no figure; a count in one exposure unit is spoken in the singular."""
    assert share_of("x", 0, 0, "lines").rate is None
    assert (
        per_exposure("restarts", 3, 4, "lines").sentence()
        == "restarts: 3 in 4 lines, 0.75 per line (could be 0.15-2.2)"
    )
    assert share_of("x", 3, 3, "cuts").high == pytest.approx(1.0)
