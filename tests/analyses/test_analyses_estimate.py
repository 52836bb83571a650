"""The bid: lengths, support, the total by simulation, dives, order, what repeats."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from burnlog.analyses import order as orders
from burnlog.analyses.basis import Basis, JobRatio, basis_of
from burnlog.analyses.estimate import Adjustment, Estimate, Plan, draft, spread_of
from burnlog.analyses.frozen import Closed, differences, freeze, score, thaw
from burnlog.analyses.rate_fit import Settings
from burnlog.analyses.scope import Scope
from burnlog.analyses.takeoff import TakeOff, read_takeoff
from burnlog.analyses.whatif import vary
from burnlog.columns import Frames
from burnlog.errors import InputError, RefusedError, RowErrors
from burnlog.physics.sections import read_section

Record = Callable[..., Frames]
FT = 0.3048


def take_off(*rows: dict[str, str]) -> TakeOff:
    """A take-off as if it stood in a file, blank cells included."""
    names = {name for row in rows for name in row} | {"item"}
    cells = [{name: row.get(name, "") for name in names} for row in rows]
    return read_takeoff(enumerate(cells, 2), source="t.csv")


def plates(count: int = 10, **more: str) -> TakeOff:
    """Equal plates of half an inch, one metre of cut line each."""
    row = {"item": "plates", "quantity": str(count), "section": "plate", "thickness": "1/2 in", "length_each": "1 m"}
    return take_off({**row, **more})


def history(record: Record, *, jobs: int = 8, per_job: int = 12, seed: int = 3, sd: float = 0.3) -> Basis:
    """Cuts of one metre with a job effect of 0.2 and their own luck."""
    rng = np.random.default_rng(seed)
    cuts = []
    for job in range(jobs):
        effect = 0.2 * rng.standard_normal()
        for number in range(per_job):
            cuts.append(
                {
                    "job": f"J{job}",
                    "dive_no": number + 1,
                    "line": f"L{job}-{number}",
                    "new_length_m": 1.0,
                    "planned_length_m": 1.0,
                    "diver": f"D{number % 3}",
                    "visibility": ("by feel", "1-3 ft")[number % 2],
                    "position": "flat",
                    "rods": math.exp(1.2 + effect + sd * rng.standard_normal()),
                    "elapsed_s": 600.0 * math.exp(0.2 * rng.standard_normal()),
                    "dive_date": f"202{job % 5}-03-0{1 + number % 9}",
                }
            )
    return basis_of(record(cuts))


@pytest.fixture
def basis(record: Record) -> Basis:
    return history(record)


@pytest.fixture
def made(basis: Basis) -> Estimate:
    return draft(basis, plates(), Plan(bottom_time_s=2400.0, start_up_s=900.0, cutting_share=0.65, draws=4000))


def test_R56_three_items_give_their_lengths() -> None:
    """24 HP14x117, 6 pipes of 24 in and 40 Z sheets of 700 mm: 84.7, 37.7 and 122.6 ft, 39 interlocks."""
    found = take_off(
        {"item": "piles", "quantity": "24", "section": "HP14x117"},
        {"item": "pipes", "quantity": "6", "section": "pipe", "dims": "od=24in wall=.375in"},
        {
            "item": "wall",
            "quantity": "40",
            "section": "z sheet",
            "dims": "w=700mm h=460mm tf=12.2mm tw=12.2mm slope=55.2deg",
        },
    )
    assert [round(item.total_m / FT, 1) for item in found.items] == [84.7, 37.7, 122.6]
    assert found.items[2].interlocks == 39


def test_R56_every_bad_cell_is_reported_at_once() -> None:
    """A take-off with three bad cells names all three with their rows, and nothing is estimated."""
    with pytest.raises(RowErrors) as caught:
        take_off(
            {"item": "a", "section": "plate", "thickness": "12", "length_each": "1 m"},
            {"item": "b", "section": "plate", "thickness": "12 mm", "length_each": "1 m", "visibility": "murky"},
            {"item": "c", "quantity": "0", "section": "plate", "thickness": "12 mm", "length_each": "1 m"},
        )
    assert [(p.row, p.column) for p in caught.value.problems] == [
        (2, "thickness"),
        (3, "visibility"),
        (4, "quantity"),
    ]


def test_R23_a_perimeter_is_refused_with_the_explanation() -> None:
    """A column called perimeter is no length of a cut line."""
    with pytest.raises(RowErrors, match="cleaned"):
        take_off({"item": "a", "perimeter": "86.35 in"})


def test_R57_the_total_is_not_a_sum_of_eighties(record: Record) -> None:
    """Ten equal lines, log sd 0.4, no job effect: P80 12.0 and mean 10.83, not 14.0 and 10.0.

    Closed form: each line is exp(0.4 z) with mean exp(0.08) = 1.0833 (ten: 10.83); P80 of one line is 1.40 (ten:
    14.0). P80 of the sum from 400,000 draws made here.
    """
    rng = np.random.default_rng(1)
    cuts = [
        {
            "job": f"J{n % 40}",
            "line": f"L{n}",
            "dive_no": 1 + n // 40,
            "new_length_m": 1.0,
            "planned_length_m": 1.0,
            "rods": math.exp(0.4 * z),
        }
        for n, z in enumerate(rng.standard_normal(4000))
    ]
    near_zero = (1e-4, 1e-3, 2)
    settings = Settings(start_m=(0.0,), psi_m=(0.0,), job_grid=near_zero, diver_grid=near_zero)
    found = spread_of(draft(basis_of(record(cuts)), plates(), Plan(draws=40_000), settings=settings).equivalents)
    brute = np.exp(0.4 * rng.standard_normal((400_000, 10))).sum(axis=1)
    assert np.quantile(brute, 0.8) == pytest.approx(12.0, abs=0.03)
    assert found["p80"] == pytest.approx(12.0, abs=0.15)
    assert found["mean"] == pytest.approx(10.83, abs=0.1)


def test_R57_quantiles_agree_with_a_simulation_written_here(basis: Basis) -> None:
    """P10, P50 and P90 of the total agree with draws made from the posterior by the test's own few lines."""
    found = draft(basis, plates(), Plan(draws=40_000))
    fit, rng = found.fit, np.random.default_rng(99)
    posterior = fit.rods.posterior
    drawn = posterior.draws(40_000, rng)
    totals = np.zeros(40_000)
    job = drawn.sd["job"] * rng.standard_normal(40_000)
    people = drawn.sd["diver"][:, None] * rng.standard_normal((40_000, fit.divers_per_job))
    cases = fit.rods.design.cases
    start = np.array([case.tag["start_m"] for case in cases])[drawn.case]
    psi = np.array([case.tag["psi_m"] for case in cases])[drawn.case]
    mix = {c.name: c for c in fit.rods.design.conditions}
    columns = drawn.coef[:, -sum(len(c.terms) for c in mix.values()) :]
    seen, place = np.zeros(40_000), 0
    for condition in mix.values():
        if condition.name == "position" or not condition.terms:
            place += len(condition.terms)
            continue
        level = rng.choice(len(condition.levels), size=40_000, p=condition.mix)
        effects = np.column_stack([np.zeros(40_000), columns[:, place : place + len(condition.terms)]])
        seen += effects[np.arange(40_000), level]
        place += len(condition.terms)
    for line in range(10):
        luck = drawn.sigma * np.sqrt((1 + psi / (1 + start)) / (1 + psi / 1.0)) * rng.standard_normal(40_000)
        eta = drawn.coef[:, 0] + seen + job + people[:, line % fit.divers_per_job] + luck
        totals += fit.rods.scale[drawn.case] * (1 + start) * np.exp(eta)
    mine, theirs = spread_of(totals), spread_of(found.equivalents)
    for key in ("p10", "p50", "p90"):
        assert theirs[key] == pytest.approx(mine[key], rel=0.0125 if key == "p50" else 0.0175)  # four standard errors


@pytest.mark.parametrize(("minutes", "dives"), [(60, 21), (45, 31), (40, 37), (30, 62), (25, 93), (20, 185)])
def test_R58_dives_follow_the_typed_bottom_time(minutes: float, dives: int) -> None:
    """600 cut minutes, 15 min start-up, share 0.65: halving the bottom time trebles the dives (recomputed)."""
    found = orders.dives(np.array([36_000.0]), np.array([0.65]), 60.0 * minutes, 900.0)
    assert found is not None
    assert found[0] == dives == math.ceil(600 / ((minutes - 15) * 0.65))


def test_R58_start_up_as_long_as_the_dive_is_refused() -> None:
    """Nothing is left of the bottom time."""
    with pytest.raises(InputError, match="leaves nothing"):
        Plan(bottom_time_s=900.0, start_up_s=900.0).checked()


def test_R59_packs_are_rounded_up_once_on_the_total(made: Estimate) -> None:
    """Three items of 10.4 rods of one type in packs of 25 are 2 packs, not 3."""
    rods = {"X18": np.full(2000, 31.2)}
    with_size = Basis(**{**made.basis.__dict__, "rod_types": {"X18": {"pack_count": 25}}})
    found = orders.order(rods, None, with_size, None, None, None)
    assert found.packs == {"X18": 2}


def test_R59_no_pack_size_no_oxygen_history_no_guess(made: Estimate) -> None:
    """What the history and the log do not hold is said, not guessed."""
    assert made.order.packs_drawn is None
    assert made.oxygen_kg is None
    text = " ".join(made.warnings)
    assert "no pack size" in text
    assert "oxygen not estimated" in text


def test_R43_the_range_is_wider_than_burn_to_burn_luck(made: Estimate) -> None:
    """The job's own draw drives the range of a total: more than all burns together."""
    assert made.drivers["job"] > 3 * made.drivers["burn"]
    assert sum(made.drivers.values()) == pytest.approx(1.0, rel=1e-12)


def test_R43_few_jobs_are_said(record: Record) -> None:
    """Under six jobs the page says that the range leans on the assumed spread between jobs."""
    found = draft(history(record, jobs=4), plates(), Plan(draws=2000))
    assert any("leans on the spread assumed between jobs" in text for text in found.warnings)


def test_R43_one_job_gives_no_range(record: Record) -> None:
    """A history of one job refuses a bid for another."""
    with pytest.raises(RefusedError, match="job"):
        draft(history(record, jobs=1, per_job=40), plates(), Plan(draws=2000))


def test_R44_practice_changes_no_byte(record: Record, basis: Basis) -> None:
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


def test_R61_a_frozen_estimate_repeats_to_the_byte(made: Estimate) -> None:
    """What is kept of an estimate, through JSON and back, makes the same bytes again."""
    kept = json.loads(json.dumps(freeze(made), allow_nan=False))
    again = thaw(kept)
    assert json.dumps(again.as_json(), sort_keys=True) == json.dumps(made.as_json(), sort_keys=True)
    assert differences(kept["result"], json.loads(json.dumps(again.as_json()))) == []


def test_R61_a_frozen_take_off_is_read_as_it_was_read_then(basis: Basis) -> None:
    """Header units, the water that turned feet into pressure and the user's own sections are frozen with the bid."""
    own = [read_section("mine", "pipe", {"od": "20 in", "wall": "0.5 in"}, "drawing 4")]
    row = {"item": "a", "section": "mine", "thickness [mm]": "", "depth": "35 ft"}
    bare = {"item": "b", "section": "plate", "thickness [mm]": "12.7", "depth": "35 ft", "length_each": "1 m"}
    names = dict.fromkeys((*row, *bare), "")
    takeoff = read_takeoff(
        enumerate([{**names, **row}, {**names, **bare}], 2), source="t.csv", own_sections=own, water="salt"
    )
    made = draft(basis, takeoff, Plan(draws=2000))
    again = thaw(json.loads(json.dumps(freeze(made), allow_nan=False)))
    assert again.takeoff.items == made.takeoff.items
    assert json.dumps(again.as_json()) == json.dumps(made.as_json())


def test_R61_differences_name_the_key() -> None:
    """Two results that differ beyond six digits are told apart by key; within six digits they agree."""
    assert differences({"a": {"b": 1.0}}, {"a": {"b": 1.0000001}}) == []
    assert differences({"a": {"b": 1.0}}, {"a": {"b": 1.01}}) == ["a.b"]


def test_R62_a_level_without_history_has_no_number(made: Estimate) -> None:
    """Of three visibilities one was never logged: two figures and one None."""
    found = vary(made, "visibility", ["by feel", "1-3 ft", "over 10 ft"])
    assert [level for level, one in found if one is None] == ["over 10 ft"]
    assert sum(one is not None for _, one in found) == 2


def test_R62_less_bottom_time_more_dives(made: Estimate) -> None:
    """Dives rise as the bottom time falls; rods stay to the digit."""
    long, short = (one for _, one in vary(made, "bottom_time_s", [3600.0, 1800.0]))
    assert long is not None
    assert short is not None
    assert long.dives is not None
    assert short.dives is not None
    assert short.dives.mean() > 2 * long.dives.mean()
    assert np.array_equal(long.rods, short.rods)


def test_R64_six_of_nine_inside() -> None:
    """Six of nine actuals inside reads 67 %, could be 30 to 93 % (Clopper and Pearson, recomputed by scipy)."""
    rows = [Closed(f"E{n}", 10.0, 20.0, 30.0, 20.0 if n < 6 else 40.0, None) for n in range(9)]
    found = score([*rows, Closed("E9", 10, 20, 30, None, None), Closed("E10", 10, 20, 30, 20, "two piles more")])
    assert found.sentence.startswith("6 of 9 (67 %, could be 30-93 %)")
    assert found.not_closed == ("E9",)
    assert (found.changed, found.changed_inside) == (1, 1)


def test_same_seed_same_bytes_other_seed_other_bytes(basis: Basis) -> None:
    """An estimate repeats to the byte by its seed, and only by its seed."""
    one, two, other = (json.dumps(draft(basis, plates(), Plan(draws=2000, seed=s)).as_json()) for s in (1, 1, 2))
    assert one == two != other


def test_too_few_draws_are_refused() -> None:
    """Fewer than 2,000 draws give no P90."""
    with pytest.raises(InputError, match="too few"):
        Plan(draws=1999).checked()


def test_job_ratio_draws_centre_on_the_pooled_ratio() -> None:
    """The next job's ratio is drawn about sum over sum, t on jobs - 1 on the log scale."""
    found = JobRatio((10.0, 22.0, 27.0), (10.0, 20.0, 30.0), ("a", "b", "c"), 9)
    draws = found.draw(200_000, np.random.default_rng(5))
    assert np.median(draws) == pytest.approx(59 / 60, rel=0.005)
    logs = np.log([1.0, 1.1, 0.9])
    from scipy.stats import t

    width = t.ppf(0.9, 2) * logs.std(ddof=1) * math.sqrt(4 / 3)
    assert np.quantile(draws, 0.9) == pytest.approx(59 / 60 * math.exp(width), rel=0.02)


def test_a_large_take_off_is_drawn_in_parts_that_fit(basis: Basis, monkeypatch: pytest.MonkeyPatch) -> None:
    """Drawing in parts changes no more than chance does."""
    whole = spread_of(draft(basis, plates(), Plan(draws=8000)).rods)
    monkeypatch.setattr("burnlog.analyses.estimate.CELLS", 20_000)
    parts = spread_of(draft(basis, plates(), Plan(draws=8000)).rods)
    assert parts["p50"] == pytest.approx(whole["p50"], rel=0.03)
    assert parts["p90"] == pytest.approx(whole["p90"], rel=0.05)


def test_cost_is_a_range_with_a_line_in_and_a_line_out(basis: Basis) -> None:
    """Typed prices make a range; standby counts only the days typed, and what is not priced has its line out."""
    listed = (
        {"name": "rods", "value": 8.0, "unit": "USD/rod"},
        {"name": "standby", "value": 5000.0, "unit": "USD/day"},
    )
    priced = Basis(**{**basis.__dict__, "prices": listed})
    plain = draft(priced, plates(), Plan(draws=2000)).as_json()
    assert plain["cost"]["p10"] < plain["cost"]["p90"]
    assert plain["cost"]["p80"] == pytest.approx(8.0 * plain["rods"]["p80"])
    assert any(text.startswith("cost of rods at") for text in plain["in"])
    assert any("standby (not estimated)" in text for text in plain["not_in"])
    waiting = draft(priced, plates(), Plan(draws=2000, standby_days=2.0)).as_json()
    assert waiting["cost"]["p50"] == pytest.approx(plain["cost"]["p50"] + 10_000.0)
    assert any(text.startswith("cost of rods, standby at") for text in waiting["in"])
    assert "standby beyond the days typed" in " ".join(waiting["not_in"])
    unpriced = Basis(**{**basis.__dict__, "prices": listed[:1]})
    silent = draft(unpriced, plates(), Plan(draws=2000, standby_days=2.0)).as_json()
    assert silent["cost"]["p50"] == plain["cost"]["p50"]
    assert "decompression and standby" in silent["not_in"]
    assert any("no standby: they are not in the cost" in text for text in silent["warnings"])
    with pytest.raises(InputError, match="below 0"):
        Plan(standby_days=-1.0).checked()


def test_R58_dives_and_days_are_whole_and_counted_inside_the_simulation(made: Estimate) -> None:
    """Each draw's dives are its own cut time packed into dives, rounded up; days are dives over those typed a day."""
    assert made.cut_time_s is not None
    assert made.dives is not None
    expected = np.ceil(made.cut_time_s / ((2400.0 - 900.0) * 0.65) - 1e-9)
    assert np.array_equal(made.dives, expected)
    with_days = draft(
        made.basis,
        plates(),
        Plan(bottom_time_s=2400.0, start_up_s=900.0, cutting_share=0.65, dives_per_day=3.0, draws=4000),
    )
    assert with_days.days is not None
    assert np.array_equal(with_days.days, np.ceil(made.dives / 3.0))


def test_R58_without_a_share_it_must_be_typed_and_is_marked(basis: Basis) -> None:
    """A history without shares of cutting time gives no dives until one is typed; then it says typed."""
    plan = Plan(bottom_time_s=2400.0, start_up_s=900.0, draws=2000)
    silent = draft(basis, plates(), plan)
    assert silent.dives is None
    assert any("--cutting-share" in text for text in silent.warnings)
    typed = draft(basis, plates(), Plan(bottom_time_s=2400.0, start_up_s=900.0, cutting_share=0.6, draws=2000))
    assert typed.as_json()["cutting_share_from"] == "typed"


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


def test_R64_few_closed_bids_have_no_percentage() -> None:
    """Two closed bids are counted, and not made into a percentage."""
    rows = [Closed(f"E{n}", 10.0, 20.0, 30.0, 20.0, None) for n in range(2)]
    assert score(rows).sentence == "2 of 2 actuals inside the 80 % range (fewer than 5, so no percentage)"


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
