"""What history a bid stands on and says it stands on: its n, its refusals, its warnings, its two boxes."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from bid_record import history, plates

from burnlog.analyses.basis import Basis, basis_of
from burnlog.analyses.estimate import Adjustment, Estimate, Plan, draft, spread_of
from burnlog.analyses.scope import Scope
from burnlog.columns import Frames
from burnlog.errors import InputError, RefusedError

Record = Callable[..., Frames]
FT = 0.3048


def test_R43_few_jobs_are_said() -> None:
    """Under six jobs the page says that the range leans on the assumed spread between jobs."""
    found = draft(history(jobs=4), plates(), Plan(draws=2000))
    assert any("leans on the spread assumed between jobs" in text for text in found.warnings)


def test_R43_one_job_gives_no_range() -> None:
    """A history of one job refuses a bid for another."""
    with pytest.raises(RefusedError, match="job"):
        draft(history(jobs=1, per_job=40), plates(), Plan(draws=2000))


def test_R44_practice_changes_no_byte(record: Record) -> None:
    """Fifty dry practice counts in the log leave the estimate as it was."""
    rng = np.random.default_rng(3)
    cuts: list[dict[str, Any]] = []
    for job in range(8):
        effect = 0.2 * rng.standard_normal()
        for n in range(12):
            cuts.append(
                {
                    "job": f"J{job}",
                    "dive_no": n + 1,
                    "line": f"L{job}-{n}",
                    "new_length_m": 1.0,
                    "planned_length_m": 1.0,
                    "diver": f"D{n % 3}",
                    "rods": math.exp(1.2 + effect + 0.3 * rng.standard_normal()),
                }
            )
    dry = [
        {
            **cut,
            "job": "DRY",
            "dive_no": n + 1,
            "line": f"P{n}",
            "setting": "dry practice",
            "record_class": "training",
            "rods": 9.0,
        }
        for n, cut in enumerate(cuts[:50])
    ]
    plain = draft(basis_of(record(cuts)), plates(), Plan(draws=2000)).as_json()
    mixed = draft(basis_of(record([*cuts, *dry])), plates(), Plan(draws=2000)).as_json()
    assert json.dumps(plain["rods"]) == json.dumps(mixed["rods"])
    assert json.dumps(plain["items"]) == json.dumps(mixed["items"])


def test_R48_outside_the_history_needs_a_reason(basis: Basis) -> None:
    """Two-inch plate on a half-inch history is refused, and marked where a reason is given."""
    thick = plates(thickness="2 in")
    with pytest.raises(RefusedError, match=r"outside 12\.7 to 12\.7 mm"):
        draft(basis, thick, Plan(draws=2000))
    found = draft(basis, thick, Plan(draws=2000, allow_outside="client insists"))
    assert found.outside_history
    assert found.warnings[0].startswith("OUTSIDE LOGGED RANGE")


def test_R48_a_blank_position_is_matched_by_any(basis: Basis) -> None:
    """Support counts tallies of the position class; a blank item takes all of them."""
    flat, blank = (draft(basis, plates(position=p), Plan(draws=2000)).supports[0].alike for p in ("flat", ""))
    assert flat == blank == 96
    with pytest.raises(RefusedError, match="0 tallies like it"):
        draft(basis, plates(position="overhead"), Plan(draws=2000))


def test_R48_blank_conditions_widen_the_range_and_say_so(basis: Basis) -> None:
    """A blank visibility is drawn from the history's mix and named among the warnings."""
    found = draft(basis, plates(), Plan(draws=2000))
    assert any("visibility (10 of 10 pieces)" in text for text in found.warnings)


def test_R60_both_boxes_are_there(made: Estimate) -> None:
    """What is in and what is not stand in every estimate."""
    result = made.as_json()
    assert any("re-burns" in text for text in result["in"])
    assert any("decompression" in text for text in result["not_in"])


def test_R60_a_reburn_allowance_is_warned_about(basis: Basis) -> None:
    """Contingency for re-burns on a history that holds them is named as such."""
    plan = Plan(draws=2000, adjustments=(Adjustment("rods", 0.1, "re-burn allowance"),))
    assert any("already holds its re-burns" in text for text in draft(basis, plates(), plan).warnings)


def test_R65_judgement_never_blends_in(basis: Basis) -> None:
    """An adjustment has its own line; the base figures keep every digit."""
    plain = draft(basis, plates(), Plan(draws=2000)).as_json()
    judged = draft(basis, plates(), Plan(draws=2000, adjustments=(Adjustment("rods", 0.15, "kelp"),))).as_json()
    assert plain["rods"] == judged["rods"]
    line = judged["adjustments"][0]
    assert line["adds"] == pytest.approx(0.15 * plain["rods"]["p80"])
    with pytest.raises(InputError, match="reason"):
        draft(basis, plates(), Plan(draws=2000, adjustments=(Adjustment("rods", 0.15, " "),)))


def test_R46_unfinished_lines_stand_in_the_rate(record: Record) -> None:
    """Eight lines of 4 ft and 6 rods, two abandoned at 1 ft and 8 rods: 64/34 = 1.88 rods/ft, finished only 1.50."""
    through = [{"line": f"L{n}", "new_length_m": 4 * FT, "planned_length_m": 4 * FT, "rods": 6.0} for n in range(8)]
    left = [
        {"line": f"A{n}", "new_length_m": FT, "planned_length_m": 4 * FT, "rods": 8.0, "outcome": "abandoned"}
        for n in range(2)
    ]
    rows = [{**cut, "job": f"J{n % 4}", "dive_no": 1 + n} for n, cut in enumerate([*through, *left])]
    found = draft(basis_of(record(rows)), plates(thickness="1/2 in"), Plan(draws=2000))
    assert found.ratio.rods_per_m * FT == pytest.approx(64 / 34, rel=1e-12)
    assert found.ratio.finished_per_m is not None
    assert found.ratio.finished_per_m * FT == pytest.approx(1.5, rel=1e-12)
    assert any("20 % of the tallies hold an unfinished line" in text for text in found.warnings)


def test_R45_a_count_the_bid_leans_on_is_named(record: Record, made: Estimate) -> None:
    """Of 36 cuts of 5 rods and one of 500, that one holds 500/680 = 74 % of the rods; in even work none is named."""
    cuts = [
        {"job": f"J{n % 6}", "dive_no": 1 + n, "line": f"L{n}", "new_length_m": 1.0, "rods": 5.0} for n in range(36)
    ]
    cuts.append({"job": "J0", "dive_no": 99, "line": "L99", "new_length_m": 1.0, "rods": 500.0})
    found = draft(basis_of(record(cuts)), plates(), Plan(draws=2000))
    (said,) = [text for text in found.warnings if "leans on it" in text]
    assert said.startswith("tally 37 (J0 99.37) alone holds 74 % of the history's rods")
    assert not any("leans on it" in text for text in made.warnings)


def test_R45_every_item_has_its_n_and_the_basis_has_them_all(made: Estimate) -> None:
    """Tallies, cuts, lines, jobs and divers stand with the result, and tallies and jobs with each item."""
    result = made.as_json()
    assert {name: result["basis"][name] for name in ("tallies", "cuts", "lines", "jobs", "divers")} == {
        "tallies": 96,
        "cuts": 96,
        "lines": 96,
        "jobs": 8,
        "divers": 3,
    }
    assert (result["items"][0]["support"], result["items"][0]["support_jobs"]) == (96, 8)


def test_R48_fewer_than_five_alike_is_refused_inside_the_range(record: Record) -> None:
    """Steel between two logged thicknesses, but burned fewer than five times, is refused like steel beyond them."""
    rng = np.random.default_rng(4)
    cuts = [
        {
            "job": f"J{n % 6}", "dive_no": 1 + n, "line": f"L{n}", "new_length_m": 1.0, "planned_length_m": 1.0,
            "thickness_mm": (9.5, 38.0)[n % 2] if n > 2 else 19.0,
            "rods": math.exp(1.5 + 0.2 * rng.standard_normal()),
        }
        for n in range(60)
    ]  # fmt: skip
    basis = basis_of(record(cuts))
    with pytest.raises(RefusedError, match="3 tallies like it"):
        draft(basis, plates(thickness="19 mm"), Plan(draws=2000))
    assert not draft(basis, plates(thickness="9.5 mm"), Plan(draws=2000)).outside_history


def test_R44_a_setting_is_never_pooled_with_another(basis: Basis) -> None:
    """An item for the test tank is refused on open-water history, and the other way round, naming the blank."""
    with pytest.raises(RefusedError, match=r"for test tank, the history in use is open water"):
        draft(basis, plates(setting="test tank"), Plan(draws=2000))
    tank = Basis(**{**basis.__dict__, "tallyset": replace(basis.tallyset, scope=Scope(setting="test tank"))})
    with pytest.raises(
        RefusedError, match=r"open water \(as a blank setting means\), the history in use is test tank"
    ):
        draft(tank, plates(), Plan(draws=2000))


def test_the_rest_of_a_job_says_so(basis: Basis) -> None:
    """A bid for the rest of a job names it first, and its range is narrower than that of a new job."""
    rest, new = (draft(basis, plates(), Plan(draws=4000, job=job)) for job in ("J3", None))
    assert rest.warnings[0].startswith("for the rest of job J3")
    wide, narrow = (math.log(spread_of(one.rods)["p90"] / spread_of(one.rods)["p10"]) for one in (new, rest))
    assert narrow < wide
