"""Rows and simulation of the rates fit: exposure, conditions, scale, blanks, divers, start cost, exponent."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plain_record import frames_of

from burnlog.analyses.backtest import backtest
from burnlog.analyses.invented import WORLDS, History, histories, history
from burnlog.analyses.rate_design import Design, Settings, design, time_design
from burnlog.analyses.rate_fit import RateFit, fit_rates
from burnlog.analyses.rates import rates
from burnlog.analyses.spreads import spreads
from burnlog.analyses.tallies import Scope, gather
from burnlog.columns import Frames
from burnlog.errors import FitError, InputError, RefusedError
from burnlog.reports.text_rates import rates_text
from burnlog.stats.mixed import fit_mixed

Record = Callable[..., Frames]


@pytest.fixture(scope="module")
def made() -> History:
    return history(WORLDS["base"], jobs=8, rng=np.random.default_rng(21))


@pytest.fixture(scope="module")
def fit(made: History) -> RateFit:
    return fit_rates(gather(made.frames))


def test_exposure_gives_each_line_one_start(record: Record) -> None:
    """A line split over two counts pays one start, shared by length; three cuts in one count weigh by exposure."""
    cuts = [
        {"line": "A", "new_length_m": 1.5, "planned_length_m": 2.0, "rods": 9, "thickness_mm": 25.4},
        {"line": "A", "new_length_m": 0.5, "planned_length_m": 2.0, "rods": 4, "thickness_mm": 25.4, "dive_no": 2},
        {"line": "B", "new_length_m": 1.0, "planned_length_m": 1.0, "tally": "d", "thickness_mm": 12.7},
        {"line": "C", "new_length_m": 0.5, "planned_length_m": 0.5, "tally": "d", "thickness_mm": 6.35},
    ]
    rows = design(gather(record(cuts, tallies={"d": {"rods": 8, "scope": "dive"}})))
    exposure = dict(zip(rows.tallies.index, rows.exposure(0.2), strict=True))
    assert exposure == pytest.approx({"t1": 1.65, "t2": 0.55, "d": 1.9})
    assert exposure["t1"] + exposure["t2"] == pytest.approx(2.0 + 0.2)
    case = rows.case(0.2, 0.3)
    log_t = dict(zip(rows.tallies.index, case.X[:, 1], strict=True))
    assert log_t == pytest.approx({"t1": math.log(2), "t2": math.log(2), "d": (1.2 * 0.0 + 0.7 * -math.log(2)) / 1.9})
    assert case.y[0] == pytest.approx(math.log(9) - math.log(1.65) - math.log(2))
    assert case.m == pytest.approx((1 + 0.3 / rows.exposure(0.2)) / (1 + 0.3 / 1.5))
    # the normal table: P(|z| < 0.80) = 0.5763, P(|z| < 1.375) = 0.8309
    assert math.exp(case.log_prior) == pytest.approx(0.8309 - 0.5763, abs=1e-4)


def test_blank_and_rare_conditions_are_the_historys_mix(record: Record) -> None:
    """A blank stands for the length-weighted mix; a level in fewer than three counts has no term and counts so."""
    seen = ["by feel"] * 5 + ["1-3 ft"] * 3 + ["over 10 ft"] + [None]
    cuts = [{"new_length_m": 2.0 if n == 0 else 1.0, "rods": 5, "visibility": s} for n, s in enumerate(seen)]
    rows = design(gather(record(cuts)))
    assert rows.names == ("intercept", "thickness", "visibility: 1-3 ft")
    assert rows.case(0.0, 0.0).X[:, 2].tolist() == pytest.approx([0.0] * 5 + [1.0] * 3 + [3 / 9, 3 / 9])
    assert rows.notes == {"visibility not recorded, or too rare for a term": 2}
    condition = next(c for c in rows.conditions if c.name == "visibility")
    assert condition.unsupported == ("over 10 ft",)


@pytest.mark.parametrize("names", [("a", "z"), ("z", "a")])
def test_levels_renamed_give_the_same_rates(record: Record, names: tuple[str, str]) -> None:
    """Which level is the baseline does not hang on what it is called, even where two were cut equally often."""

    def cuts(low: str, high: str) -> list[dict[str, Any]]:
        rng = np.random.default_rng(1)
        return [
            {
                "job": f"J{n % 5}",
                "dive_no": n + 1,
                "new_length_m": 1.0,
                "visibility": (low, high)[n % 2],
                "rods": float(rng.integers(4, 9)),
                "diver": f"D{n % 4}",
            }
            for n in range(40)
        ]

    plain = rates(record(cuts("by feel", "1-3 ft")))
    renamed = rates(record(cuts(*names)))
    for one, two in zip(plain.rod_terms, renamed.rod_terms, strict=True):
        assert (two.factor, two.low, two.high) == pytest.approx((one.factor, one.low, one.high), rel=1e-9)
    assert len(plain.rod_terms) == 1


def test_a_family_in_two_diameters_has_a_level_for_each(record: Record) -> None:
    """Diameters part a family; a count without one takes that family's own mix."""
    kinds = [("exothermic", 9.5)] * 6 + [("exothermic", 12.7)] * 3 + [("tubular", 8.0)] * 4 + [("exothermic", None)]
    cuts = [{"new_length_m": 1.0, "rods": 5, "family": f, "diameter_mm": d, "rod_type": f"{f}{d}"} for f, d in kinds]
    rows = design(gather(record(cuts)))
    assert set(rows.names[2:]) == {"family: tubular", "family: exothermic 12.7 mm"}
    last = dict(zip(rows.names, rows.case(0.0, 0.0).X[-1], strict=True))
    assert last["family: tubular"] == 0.0
    assert last["family: exothermic 12.7 mm"] == pytest.approx(3 / 9)


def test_the_fit_reproduces_the_recorded_totals(fit: RateFit) -> None:
    """Bid cut by cut, each line with its own luck, the record's work comes to its recorded rods and seconds."""
    assert fit.time is not None
    pieces = fit.tallyset.pieces[fit.tallyset.pieces["new_length_m"] > 0]
    for model in (fit.rods, fit.time):
        rows, timed = model.design, model is fit.time
        own = pieces[pieces["tally_id"].isin(rows.tallies.index)]
        of = rows.tallies.index.get_indexer(own["tally_id"])
        length, planned = own["new_length_m"].to_numpy(), own["planned_m"].to_numpy()
        log_t = np.log(own["thickness_mm"].to_numpy() / 12.7)
        for case, found, scale in zip(rows.cases, model.posterior.per_case(), model.scale, strict=True):
            start, psi = (0.0 if timed else case.tag["start_m"]), case.tag["psi_m"]
            usual = np.median(np.bincount(of, length))
            luck = 0.5 * found.variance * (1 + psi / (planned + start)) / (1 + psi / usual)
            people = sum(e.loadings @ found.effects[e.name] for e in rows.effects)[of]
            if timed:
                share = length / np.bincount(of, length)[of]
                tally = rows.recorded_rods * 60 * np.exp(case.X @ found.coef)
                bid = share * tally[of] * np.exp(luck + people)
            else:
                conditions = np.column_stack([c.shares(_asked(c.name, own, rows, of)) for c in rows.conditions])
                b = found.coef[0] + (1 + found.coef[1]) * log_t + conditions @ found.coef[2:]
                bid = length * (1 + start / planned) * np.exp(b + luck + people)
            assert scale * bid.sum() == pytest.approx(rows.recorded.sum(), rel=1e-9)


def _asked(name: str, pieces: pd.DataFrame, rows: Design, of: Any) -> list[object]:
    """A condition cut by cut; rods by the count they were counted in."""
    return (rows.tallies["family"].to_numpy()[of] if name == "family" else pieces[name]).tolist()


def test_counting_by_the_dive_asks_no_more_rods_than_by_the_cut(record: Record) -> None:
    """The same burns on mixed plate, counted by the cut or by the dive, give the same bid within 5 %."""
    rng, bids = np.random.default_rng(12), []
    cuts = [
        {
            "job": f"J{n % 6}",
            "diver": f"D{n % 4}",
            "dive_no": n // 24 + 1,
            "line": f"L{n}",
            "new_length_m": float(length),
            "planned_length_m": float(length),
            "thickness_mm": float(thick),
            "rods": float(5.0 * (length + 0.1) * thick / 12.7 * np.exp(0.4 * luck)),
        }
        for n, (length, thick, luck) in enumerate(
            zip(
                rng.uniform(0.3, 2.5, 360),
                rng.choice([8.0, 12.7, 25.4], 360),
                rng.standard_normal(360),
                strict=True,
            )
        )
    ]
    dives = {}
    for cut in cuts:
        dives[f"{cut['job']}/{cut['dive_no']}"] = dives.get(f"{cut['job']}/{cut['dive_no']}", 0.0) + cut["rods"]
    by_dive = [{**cut, "rods": None, "tally": f"{cut['job']}/{cut['dive_no']}"} for cut in cuts]
    tallies = {name: {"scope": "dive", "rods": rods} for name, rods in dives.items()}
    lines = pd.DataFrame(
        {"length_m": [c["new_length_m"] for c in cuts], "thickness_mm": [c["thickness_mm"] for c in cuts]}
    )
    for frames in (record(cuts), record(by_dive, tallies=tallies)):
        drawn = fit_rates(gather(frames)).simulate(lines, rng=np.random.default_rng(1), draws=2000)
        bids.append(float(np.median(drawn.rods.sum(axis=1))))
    assert bids[1] == pytest.approx(bids[0], rel=0.05)
    assert bids[0] == pytest.approx(sum(dives.values()), rel=0.05)


def test_flat_priors_and_one_ratio_are_the_mixed_model(made: History) -> None:
    """With one grid point and nearly flat priors the coefficients are those of the mixed model at that ratio."""
    loose = Settings(
        start_m=(0.1,),
        psi_m=(0.3,),
        exponent_scale=1e5,
        contrast_scale=1e5,
        job_grid=(0.7, 0.7, 1),
        diver_grid=(0.0, 0.0, 1),
    )
    rows = design(gather(made.frames), loose)
    case = rows.case(0.1, 0.3)
    found = fit_rates(gather(made.frames), settings=loose).rods.posterior
    label = rows.tallies["job"].to_numpy()
    V = np.diag(case.m) + 0.49 * (label[:, None] == label[None, :])
    W = np.linalg.inv(V)
    expected = np.linalg.solve(case.X.T @ W @ case.X, case.X.T @ W @ case.y)
    np.testing.assert_allclose(found.coef, expected, atol=1e-6)


def test_parts_add_up_to_the_total(fit: RateFit) -> None:
    """Job, diver, burn and parameters sum to the log of total rods, and their shares of the variance to one."""
    lines = pd.DataFrame({"length_m": [1.0, 2.0, 0.5], "thickness_mm": [12.7, 19.0, 9.5]})
    simulation = fit.simulate(lines, rng=np.random.default_rng(1), draws=1000)
    total = np.log(simulation.rods.sum(axis=1))
    np.testing.assert_allclose(sum(simulation.parts.values()), total, atol=1e-12)
    assert sum(simulation.drivers.values()) == pytest.approx(1.0)
    assert simulation.seconds is not None
    assert simulation.seconds.shape == simulation.rods.shape == (1000, 3)


def test_same_generator_same_bytes(fit: RateFit) -> None:
    """A simulation repeats to the byte from the same seed."""
    lines = pd.DataFrame({"length_m": [1.0, 2.0], "thickness_mm": [12.7, 19.0]})
    one, two = (fit.simulate(lines, rng=np.random.default_rng(9), draws=500).rods.tobytes() for _ in range(2))
    assert one == two


def test_blank_conditions_widen_a_bid_and_unseen_ones_are_named(fit: RateFit) -> None:
    """A blank is drawn from the mix, so the range grows; a level without history is named and drawn likewise."""
    n = 12
    known = pd.DataFrame({"length_m": np.ones(n), "thickness_mm": np.full(n, 12.7)})
    for condition in fit.rods.design.conditions:
        known[condition.name] = condition.levels[0]
    blank = known.drop(columns=["position", "family"])
    odd = known.assign(position="upside down")
    reach = []
    for lines in (known, blank, odd):
        simulation = fit.simulate(lines, rng=np.random.default_rng(2), draws=8000)
        reach.append(float(np.log(simulation.rods.sum(axis=1)).std()))
    assert reach[1] > reach[0]
    assert reach[2] > reach[0]
    assert simulation.unseen == {"position": ("upside down",)}
    assert simulation.blanks == {"position": n}


def test_named_divers_bring_their_own_effect(fit: RateFit) -> None:
    """Rods under a diver of the record follow that diver's effect; a name nobody knows is drawn as new and named."""
    lines = pd.DataFrame({"length_m": np.ones(8), "thickness_mm": np.full(8, 12.7)})
    effect = fit.rods.posterior.effects["diver"]
    order = np.argsort(effect.mean)
    low, high = effect.levels[order[0]], effect.levels[order[-1]]
    medians = []
    for name in (low, high):
        drawn = fit.simulate(lines, rng=np.random.default_rng(3), draws=8000, divers=[name])
        medians.append(float(np.median(np.log(drawn.rods.sum(axis=1)))))
        assert drawn.unknown_divers == ()
    wanted = float(effect.mean[order[-1]] - effect.mean[order[0]])
    assert medians[1] - medians[0] == pytest.approx(wanted, abs=0.03)
    assert fit.simulate(lines, rng=np.random.default_rng(3), draws=100, divers=["NEW"]).unknown_divers == ("NEW",)
    by_line = fit.simulate(lines.assign(diver=[low] * 8), rng=np.random.default_rng(3), draws=8000)
    assert float(np.median(np.log(by_line.rods.sum(axis=1)))) == pytest.approx(medians[0], abs=0.03)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"length_m": [1.0, 0.0]}, "length_m is missing or not above 0 in line 2"),
        ({"thickness_mm": [None, 12.7]}, "thickness_mm is missing or not above 0 in line 1"),
    ],
)
def test_lines_that_cannot_be_are_refused(fit: RateFit, change: dict[str, Any], message: str) -> None:
    """A length or thickness that is missing or nought is an input error that names the line."""
    lines = pd.DataFrame({"length_m": [1.0, 1.0], "thickness_mm": [12.7, 12.7]}).assign(**change)
    with pytest.raises(InputError, match=message):
        fit.simulate(lines, rng=np.random.default_rng(1), draws=10)


def test_one_job_has_no_range_for_a_new_one(made: History) -> None:
    """A fit allowed on one job simulates the rest of that job, and refuses a new one."""
    one = gather(made.frames, Scope(jobs=("J01",)))
    with pytest.raises(FitError, match="from 1 job: too few for a model"):
        fit_rates(one)
    small = fit_rates(one, settings=Settings(min_jobs=1))
    lines = pd.DataFrame({"length_m": [1.0], "thickness_mm": [12.7]})
    drawn = small.simulate(lines, rng=np.random.default_rng(1), draws=100, job="J01")
    assert np.isfinite(drawn.rods).all()
    with pytest.raises(FitError, match=r"1 job in the history: no range for a new job. It needs 3"):
        replace(small, settings=Settings()).simulate(lines, rng=np.random.default_rng(1))


def test_without_named_divers_the_fit_is_by_job(made: History) -> None:
    """A record that names no diver is fitted by job alone, says so, and still simulates."""
    frames = made.frames
    bare = replace(frames, cuts=frames.cuts.assign(diver=pd.Series([None] * len(frames.cuts), dtype="str")))
    found = rates(bare)
    assert found.rung.startswith("job effect, integrated: fewer than two divers")
    assert found.fit is not None
    assert set(found.fit.rods.posterior.group_sd) == {"job"}
    lines = pd.DataFrame({"length_m": [1.0, 2.0], "thickness_mm": [12.7, 19.0]})
    drawn = found.fit.simulate(lines, rng=np.random.default_rng(1), draws=200)
    assert drawn.drivers["diver"] == 0.0


def test_R45_small_records_give_the_list(record: Record) -> None:
    """Below ten tallies there is no model: the tallies themselves stand in the answer, with the job ratios' rung."""
    cuts = [{"job": f"J{n % 3}", "dive_no": n, "new_length_m": 1.0 + n / 9, "rods": 5 + n} for n in range(9)]
    found = rates(record(cuts))
    assert found.fit is None
    assert found.rung.startswith("job ratios with t: 9 tallies")
    assert [each.rods for each in found.listed] == [5 + n for n in (0, 3, 6, 1, 4, 7, 2, 5, 8)]
    assert found.job_ratios is not None
    assert found.spreads == ()


def test_R41_spread_by_job_crew_diver_and_dive(fit: RateFit) -> None:
    """The spreads are those of the restricted likelihood fit of what is left after steel and conditions."""
    found, notes = spreads(fit.rods)
    names = [each.between for each in found]
    assert names[-1] == "burn"
    assert set(names) <= {"job", "crew", "diver", "dive", "burn"}
    assert {"job", "diver"} <= set(names)
    rows, tags = fit.rods.design, fit.rods.posterior.tag_means
    case = rows.case(tags["start_m"], tags["psi_m"])
    y = case.y - case.X[:, 2:] @ fit.rods.posterior.coef[2:]
    labels = {
        "job": rows.tallies["job"].to_list(),
        "crew": rows.tallies["crew"].to_list(),
        "diver": [rows.effects[1].levels[k] for k in rows.effects[1].loadings.argmax(axis=1)],
        "dive": rows.tallies["dive_ref"].to_list(),
    }
    again = fit_mixed(y, case.X[:, :2], {k: labels[k] for k in names[:-1]}, weights=1 / case.m)
    for each in found[:-1]:
        assert each.sd == pytest.approx(again.group_sd[each.between], abs=1e-6)
        assert each.levels == len(set(labels[each.between]))
    zero = [each.between for each in found if each.sd == 0.0]
    assert len([note for note in notes if "could be seen" in note]) == len(zero)


def test_spread_that_cannot_be_told_apart_is_not_judged(record: Record) -> None:
    """One crew a job, one count a dive: those spreads get a sentence and no number."""
    rng = np.random.default_rng(3)
    cuts = [
        {
            "job": f"J{n % 4}",
            "crew": f"C{n % 4}",
            "diver": f"D{n % 7}",
            "dive_no": n,
            "new_length_m": 1.0,
            "rods": float(np.exp(1.5 + 0.2 * rng.standard_normal())),
        }
        for n in range(40)
    ]
    found, notes = spreads(fit_rates(gather(record(cuts))).rods)
    assert [each.between for each in found] == ["job", "diver", "burn"]
    assert any("crews not judged: they part the tallies as jobs" in note for note in notes)
    assert any("dives not judged: each has one tally" in note for note in notes)


def test_time_rows_take_the_levels_of_the_rods_rows(made: History) -> None:
    """The two parts speak of the same levels, and minutes per rod stand on the tallies with times only."""
    tallyset = gather(made.frames)
    rows = design(tallyset)
    timed = time_design(tallyset, rows)
    assert timed.n == int(tallyset.tallies["elapsed_s"].notna().sum()) < rows.n
    for condition in timed.conditions:
        assert condition in rows.conditions
    case = timed.case(0.0, 0.0)
    first = timed.tallies.iloc[0]
    assert case.y[0] == pytest.approx(math.log(first["elapsed_s"] / 60 / first["rods"]))
    assert timed.names[2] == "rods per cut"


def _odd_record(seed: int) -> Frames:
    """A small record with everything that sheets leave out or get wrong."""
    rng = np.random.default_rng(seed)

    def one(options: list[Any], blank: float = 0.2) -> Any:
        return None if rng.random() < blank else options[int(rng.integers(len(options)))]

    jobs, kind = int(rng.integers(1, 7)), int(rng.integers(4))
    cuts = []
    for n in range(int(rng.integers(1, 45))):
        length = 1.0 if kind == 1 else float(rng.uniform(0.02, 3.0))
        rods = 5.0 * length if kind < 2 else float(np.round(5 * length * np.exp(0.3 * rng.standard_normal())))
        cuts.append(
            {
                "job": f"J{n % jobs}",
                "dive_no": int(rng.integers(1, 9)),
                "line": f"L{int(rng.integers(1, 30))}",
                "new_length_m": one([length], 0.05),
                "planned_length_m": one([length, 2.0, 0.5]),
                "thickness_mm": 12.7 if kind == 2 else one([12.7, 25.4, 6.0], 0.1),
                "rods": one([rods], 0.1),
                "rods_basis": one(["measured", "estimated", "at least"], 0.3),
                "diver": None if kind == 3 else one(["A", "B"], 0.3),
                "crew": one(["X", "Y"]),
                "visibility": one(["by feel", "1-3 ft"]),
                "elapsed_s": one([60.0 * max(rods, 1.0), 600.0, 0.0]),
                "stoppage_s": one([0.0, 120.0]),
                "pass_kind": one(["first"] * 8 + ["re-burn", "hanger", "trial"], 0.05),
                "outcome": one(["through", "part way", "abandoned"]),
                "family": one(["exothermic", "tubular"], 0.1),
                "diameter_mm": one([9.5, 8.0]),
                "rod_type": None,
                "rig": one(["R"]),
                "dive_date": one(["2026-01-01", "2026-03-01"], 0.1),
            }
        )
    return frames_of(cuts)


@settings(derandomize=True, max_examples=15, deadline=None)
@given(st.integers(min_value=0, max_value=2**31))
def test_R49_odd_records_end_in_an_answer_or_a_sentence(seed: int) -> None:
    """Whatever was left blank, `rates` and the backtest answer or refuse in words, and warn of nothing."""
    frames = _odd_record(seed)
    for ask in (
        lambda: rates_text(rates(frames, by=("crew", "diver", "visibility", "thickness"))),
        lambda: json.dumps(rates(frames).as_json(), allow_nan=False),
        lambda: json.dumps(backtest(frames, draws=200).as_json(), allow_nan=False),
    ):
        try:
            said = ask()
        except RefusedError as refusal:
            said = str(refusal)
        assert len(said) > 20
        assert said.isascii()


@pytest.mark.slow
def test_start_cost_is_recovered_from_a_thousand_tallies() -> None:
    """From eight records of about 1,000 tallies drawn with 0.10 m, lines split over dives included, the fitted start
    is within 0.03 m on average, and its own 95 % range covers the truth in all but two at most.
    """
    found, covered = [], 0
    for made in histories(WORLDS["base"], jobs=46, count=8, rng=np.random.default_rng(77)):
        tallyset = gather(made.frames)
        assert len(tallyset.tallies) > 850
        assert tallyset.pieces.groupby("line_ref")["tally_id"].nunique().gt(1).sum() > 100, "lines split over dives"
        posterior = fit_rates(tallyset).rods.posterior
        found.append(posterior.tag_means["start_m"])
        starts = np.array([tag["start_m"] for tag in posterior.tags])
        spread = math.sqrt(posterior.weights @ (starts - found[-1]) ** 2)
        covered += abs(found[-1] - 0.10) < 2.0 * max(spread, 0.02)
    assert abs(float(np.mean(found)) - 0.10) < 0.03
    assert covered >= 6


@pytest.mark.slow
def test_g5_exponent_of_dive_counts_and_of_shared_out_rods() -> None:
    """25 dives of 3 to 5 cuts: dive counts give the true exponent 1 within 0.2; shared out by length they do not.

    Averaged over 12 seeded sets, each also within its own 95 % range of 1 in all but two at most.
    """
    whole, shared, held = [], [], 0
    for seed in range(12):
        rng = np.random.default_rng(seed)
        dive = np.repeat(np.arange(25), rng.integers(3, 6, size=25))
        thick = rng.choice([9.525, 12.7, 19.05, 25.4], size=len(dive))
        length = rng.uniform(0.3, 1.5, size=len(dive))
        luck = np.exp(0.15 * rng.standard_normal(25))
        rods = np.round(np.bincount(dive, 4.0 * length * thick / 12.7) * luck)
        x = np.log(thick / 12.7)
        own = rods[dive] * length / np.bincount(dive, length)[dive]
        shared.append(np.polyfit(x, np.log(own / length), 1)[0])
        frames = _dive_counts(dive, thick, length, rods)
        posterior = fit_rates(gather(frames)).rods.posterior
        whole.append(1 + posterior.coef[1])
        held += abs(posterior.coef[1]) < 2.2 * posterior.coef_sd[1]
    assert 0.9 < float(np.mean(whole)) < 1.1
    assert sum(0.8 <= value <= 1.2 for value in whole) >= 7
    assert held >= 10
    assert float(np.mean(shared)) < 0.5


def _dive_counts(
    dive: np.ndarray[Any, Any], thick: np.ndarray[Any, Any], length: np.ndarray[Any, Any], rods: np.ndarray[Any, Any]
) -> Frames:
    """A record of dive counts over five jobs and four divers."""
    cuts = [
        {
            "job": f"J{d % 5}",
            "diver": f"D{d % 4}",
            "dive_no": int(d) + 1,
            "line": f"L{n}",
            "thickness_mm": float(thick[n]),
            "new_length_m": float(length[n]),
            "planned_length_m": float(length[n]),
            "tally": f"t{d}",
        }
        for n, d in enumerate(dive)
    ]
    return frames_of(cuts, tallies={f"t{d}": {"scope": "dive", "rods": float(r)} for d, r in enumerate(rods)})
