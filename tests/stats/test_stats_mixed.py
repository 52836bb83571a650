"""`fit_mixed` on published data: criterion, coefficients, variances, modes, and the boundary."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from burnlog.stats.mixed import MixedFit, criterion_at, fit_mixed

REFERENCE = Path(__file__).parents[1] / "reference"


def read(name: str) -> pd.DataFrame:
    return pd.read_csv(REFERENCE / f"{name}.csv", comment="#")


def one(n: int) -> np.ndarray:
    return np.ones((n, 1))


def fit_published(name: str, method: str) -> MixedFit:
    data = read(name)
    n = len(data)
    match name:
        case "dyestuff" | "dyestuff2":
            return fit_mixed(data.yield_g, one(n), {"batch": data.batch}, method=method)
        case "nist_sirstv":
            return fit_mixed(data.resistance, one(n), {"instrument": data.instrument}, method=method)
        case "penicillin":
            groups = {"plate": data["plate"], "sample": data["sample"]}
            return fit_mixed(data.diameter_mm, one(n), groups, method=method)
        case "pastes":
            groups = {"batch": data.batch, "cask": data.batch + data.cask}
            return fit_mixed(data.strength, one(n), groups, method=method)
        case "sleepstudy":
            X = pd.DataFrame({"intercept": 1.0, "days": data.days})
            return fit_mixed(data.reaction_ms, X, {"subject": data.subject}, method=method)
    raise AssertionError(name)


# -2 log L. Read in JuliaStats/MixedModels.jl test/pls.jl (commit 0222b4c): dyestuff both, dyestuff2 both, penicillin
# ML, pastes ML. Read in lme4's printed output: penicillin REML 330.9, pastes REML logLik -123.4954. Further digits,
# SiRstv and sleepstudy (Belenky et al. 2003, intercept only): recomputed with statsmodels MixedLM.
CRITERIA = [
    ("dyestuff", "REML", 319.654276842),
    ("dyestuff", "ML", 327.327059881),
    ("dyestuff2", "REML", 161.828277812),
    ("dyestuff2", "ML", 162.873036653826),
    ("nist_sirstv", "REML", -36.614844367),
    ("nist_sirstv", "ML", -42.464443815),
    ("penicillin", "REML", 330.860588991),
    ("penicillin", "ML", 332.188348673),
    ("pastes", "REML", 246.990745853),
    ("pastes", "ML", 247.994465863),
    ("sleepstudy", "REML", 1786.465085395),
    ("sleepstudy", "ML", 1794.078643005),
]


@pytest.mark.parametrize(("name", "method", "criterion"), CRITERIA)
def test_criterion_of_published_data(name: str, method: str, criterion: float) -> None:
    """The criterion agrees with the published one to 1e-8 relative, restricted and full likelihood."""
    assert fit_published(name, method).criterion == pytest.approx(criterion, rel=1e-8)


def mean_squares(y: np.ndarray, groups: np.ndarray) -> tuple[float, float, int, int]:
    """Mean squares between and within, number of groups and their common size."""
    frame = pd.DataFrame({"y": y, "g": groups})
    sizes = frame.groupby("g").y.size()
    a, n = len(sizes), int(sizes.iloc[0])
    assert (sizes == n).all()
    means = frame.groupby("g").y.transform("mean")
    between = float(((means - y.mean()) ** 2).sum()) / (a - 1)
    within = float(((y - means) ** 2).sum()) / (a * (n - 1))
    return between, within, a, n


ONE_WAY = [("dyestuff", "yield_g", "batch"), ("nist_sirstv", "resistance", "instrument")]


@pytest.mark.parametrize(("name", "response", "group"), ONE_WAY)
def test_one_way_restricted_closed_form(name: str, response: str, group: str) -> None:
    """Balanced one-way REML is (MSB - MSW) / n, MSW and sqrt(MSB / an), to 1e-7 relative."""
    data = read(name)
    between, within, a, n = mean_squares(data[response].to_numpy(), data[group].to_numpy())
    fit = fit_published(name, "REML")
    assert fit.group_sd[group] ** 2 == pytest.approx((between - within) / n, rel=1e-7)
    assert fit.sigma**2 == pytest.approx(within, rel=1e-7)
    assert fit.coef_se.iloc[0] == pytest.approx(np.sqrt(between / (a * n)), rel=1e-7)
    assert fit.coef.iloc[0] == pytest.approx(data[response].mean(), rel=1e-14)
    assert fit.boundary == ()


def test_one_way_full_likelihood_closed_form() -> None:
    """Balanced one-way ML is ((1 - 1/a) MSB - MSW) / n and MSW, to 1e-5 relative."""
    data = read("dyestuff")
    between, within, a, n = mean_squares(data.yield_g.to_numpy(), data.batch.to_numpy())
    fit = fit_published("dyestuff", "ML")
    assert fit.group_sd["batch"] ** 2 == pytest.approx(((1 - 1 / a) * between - within) / n, rel=1e-5)
    assert fit.sigma**2 == pytest.approx(within, rel=1e-5)
    # standard errors 19.38341215 (REML) and 17.69455346 (ML): MixedModels.jl test/pls.jl, read
    assert fit.coef_se.iloc[0] == pytest.approx(17.69455346, rel=1e-6)


@pytest.mark.parametrize(("name", "method"), [("dyestuff2", "REML"), ("dyestuff2", "ML"), ("nist_sirstv", "ML")])
def test_boundary_is_exactly_zero(name: str, method: str) -> None:
    """On the boundary the spread is exactly 0.0, named, and the residual variance is SST over its degrees."""
    fit = fit_published(name, method)
    (group,) = fit.group_sd
    y = read(name).iloc[:, 1].to_numpy()
    total = float(((y - y.mean()) ** 2).sum())
    assert fit.group_sd[group] == 0.0
    assert fit.boundary == (group,)
    assert (fit.effects[group] == 0.0).all()
    assert any(group in note for note in fit.notes)
    assert fit.sigma**2 == pytest.approx(total / (len(y) - (method == "REML")), rel=1e-13)


def test_restricted_inside_full_on_the_boundary() -> None:
    """NIST SiRstv lies inside for REML, variance 3.909474800e-4 (recomputed), and on the boundary for ML."""
    inside, outside = fit_published("nist_sirstv", "REML"), fit_published("nist_sirstv", "ML")
    assert inside.group_sd["instrument"] ** 2 == pytest.approx(3.909474800e-4, rel=1e-8)
    # NIST StRD, certified residual standard deviation
    assert inside.sigma == pytest.approx(0.104076068334656, rel=1e-9)
    assert outside.group_sd["instrument"] == 0.0


def test_modes_are_the_shrunken_means() -> None:
    """Modes of Dyestuff are the batch means shrunken by n g / (1 + n g), level by level."""
    data, fit = read("dyestuff"), fit_published("dyestuff", "REML")
    ratio = fit.group_sd["batch"] ** 2 / fit.sigma**2
    deviations = data.groupby("batch").yield_g.mean() - data.yield_g.mean()
    shrunken = deviations * 5 * ratio / (1 + 5 * ratio)
    np.testing.assert_allclose(fit.effects["batch"].reindex(shrunken.index), shrunken, rtol=1e-10)
    # recomputed from the closed form with shrinkage 0.78252673
    printed = [-17.60685, 0.39126, 28.56223, -23.08454, 56.73319, -44.99529]
    np.testing.assert_allclose(fit.effects["batch"], printed, atol=6e-6)


def test_crossed_closed_form() -> None:
    """Penicillin, balanced and crossed: both REML variances are differences of mean squares."""
    data, fit = read("penicillin"), fit_published("penicillin", "REML")
    y = data.diameter_mm.to_numpy()
    plate = data.groupby("plate").diameter_mm.transform("mean").to_numpy()
    sample = data.groupby("sample").diameter_mm.transform("mean").to_numpy()
    ms_plate = float(((plate - y.mean()) ** 2).sum()) / 23
    ms_sample = float(((sample - y.mean()) ** 2).sum()) / 5
    ms_error = float(((y - plate - sample + y.mean()) ** 2).sum()) / 115
    assert fit.group_sd["plate"] ** 2 == pytest.approx((ms_plate - ms_error) / 6, rel=1e-7)
    assert fit.group_sd["sample"] ** 2 == pytest.approx((ms_sample - ms_error) / 24, rel=1e-7)
    assert fit.sigma**2 == pytest.approx(ms_error, rel=1e-7)
    assert fit.coef_se.iloc[0] == pytest.approx(np.sqrt((ms_plate + ms_sample - ms_error) / 144), rel=1e-7)


def test_nested_closed_form() -> None:
    """Pastes, balanced and nested: both REML variances are differences of mean squares."""
    data, fit = read("pastes"), fit_published("pastes", "REML")
    y = data.strength.to_numpy()
    batch = data.groupby("batch").strength.transform("mean").to_numpy()
    cask = data.groupby(["batch", "cask"]).strength.transform("mean").to_numpy()
    ms_batch = float(((batch - y.mean()) ** 2).sum()) / 9
    ms_cask = float(((cask - batch) ** 2).sum()) / 20
    ms_error = float(((y - cask) ** 2).sum()) / 30
    assert fit.group_sd["batch"] ** 2 == pytest.approx((ms_batch - ms_cask) / 6, rel=1e-7)
    assert fit.group_sd["cask"] ** 2 == pytest.approx((ms_cask - ms_error) / 2, rel=1e-7)
    assert fit.sigma**2 == pytest.approx(ms_error, rel=1e-7)
    assert fit.coef_se.iloc[0] == pytest.approx(np.sqrt(ms_batch / 60), rel=1e-7)


# Full likelihood: standard deviations and standard errors, MixedModels.jl test/pls.jl (commit 0222b4c), read
FULL = [
    ("penicillin", {"plate": 0.845565, "sample": 1.770648}, 0.744596),
    ("pastes", {"cask": 2.904069, "batch": 1.095070}, 0.642136),
]


@pytest.mark.parametrize(("name", "spreads", "error"), FULL)
def test_full_likelihood_spreads(name: str, spreads: dict[str, float], error: float) -> None:
    """Full-likelihood spreads agree with another package to its optimiser's digits."""
    fit = fit_published(name, "ML")
    for group, spread in spreads.items():
        assert fit.group_sd[group] == pytest.approx(spread, rel=2e-5)
    assert fit.coef_se.iloc[0] == pytest.approx(error, rel=2e-5)


def test_sleepstudy_with_an_intercept_for_each_subject() -> None:
    """sleepstudy, REML: coefficients, errors and spreads as lme4 gives them (from memory, recomputed)."""
    fit = fit_published("sleepstudy", "REML")
    np.testing.assert_allclose(fit.coef, [251.40510485, 10.46728596], rtol=1e-9)
    np.testing.assert_allclose(fit.coef_se, [9.74672, 0.80422], rtol=5e-6)
    assert fit.group_sd["subject"] == pytest.approx(37.12383, rel=5e-7)
    assert fit.sigma == pytest.approx(30.99123, rel=5e-7)
    assert list(fit.coef.index) == ["intercept", "days"]
    assert list(fit.coef_cov.columns) == ["intercept", "days"]


LONGLEY = {  # NIST StRD Longley, certified
    "coef": [
        -3482258.63459582,
        15.0618722713733,
        -0.0358191792925910,
        -2.02022980381683,
        -1.03322686717359,
        -0.0511041056535807,
        1829.15146461355,
    ],
    "se": [
        890420.383607373,
        84.9149257747669,
        0.0334910077722432,
        0.488399681651699,
        0.214274163161675,
        0.226073200069370,
        455.478499142212,
    ],
}


def test_longley_without_groups() -> None:
    """Least squares on NIST Longley agrees with the certified values to 1e-9 relative."""
    data = read("nist_longley")
    X = data.drop(columns="y").assign(intercept=1.0)[["intercept", "x1", "x2", "x3", "x4", "x5", "x6"]]
    fit = fit_mixed(data.y, X, {})
    np.testing.assert_allclose(fit.coef, LONGLEY["coef"], rtol=1e-9)
    np.testing.assert_allclose(fit.coef_se, LONGLEY["se"], rtol=1e-9)
    assert fit.sigma == pytest.approx(304.854073561965, rel=1e-9)
    assert fit.sigma**2 * fit.df_resid == pytest.approx(836424.055505915, rel=1e-9)
    assert (fit.n, fit.df_resid, fit.group_sd, fit.boundary) == (16, 9, {}, ())


def test_norris_without_groups() -> None:
    """Least squares on NIST Norris agrees with the certified values to 1e-9 relative."""
    data = read("nist_norris")
    fit = fit_mixed(data.y, np.column_stack([np.ones(36), data.x]), {})
    np.testing.assert_allclose(fit.coef, [-0.262323073774029, 1.00211681802045], rtol=1e-9)
    np.testing.assert_allclose(fit.coef_se, [0.232818234301152, 0.429796848199937e-3], rtol=1e-9)
    assert fit.sigma**2 == pytest.approx(0.782864662630069, rel=1e-9)
    # covariance of the two coefficients: read in another package's test suite, computed there
    assert fit.coef_cov.iloc[0, 1] == pytest.approx(-7.74327536339570e-05, rel=1e-9)


@pytest.mark.parametrize("method", ["REML", "ML"])
def test_offsets_cost_no_digits(method: str) -> None:
    """Adding 1e8 to the response and to a column changes only the intercept, and the criterion in no digit shown."""
    rng = np.random.default_rng(8)
    x, group = rng.normal(size=80), rng.integers(0, 7, 80)
    # rounded to 2^-20 so that the offset itself is exact
    x, y = (np.round(v * 2**20) / 2**20 for v in (x, 2 * x + rng.normal(size=7)[group] + rng.normal(size=80)))
    near = fit_mixed(y, np.column_stack([np.ones(80), x]), {"g": group}, method=method)
    far = fit_mixed(y + 1e8, np.column_stack([np.ones(80), x + 1e8]), {"g": group}, method=method)
    assert far.criterion == pytest.approx(near.criterion, rel=1e-12)
    assert far.coef.iloc[1] == pytest.approx(near.coef.iloc[1], rel=1e-11)
    assert far.coef_se.iloc[1] == pytest.approx(near.coef_se.iloc[1], rel=1e-6)


def test_scaling_a_column_scales_its_coefficient() -> None:
    """A column in other units gives the coefficient in those units; full likelihood does not notice."""
    rng = np.random.default_rng(3)
    x, group = rng.normal(size=60), rng.integers(0, 5, 60)
    y = x + rng.normal(size=5)[group] + rng.normal(size=60)
    metre = fit_mixed(y, np.column_stack([np.ones(60), x]), {"g": group}, method="ML")
    foot = fit_mixed(y, np.column_stack([np.ones(60), x / 0.3048]), {"g": group}, method="ML")
    assert foot.coef.iloc[1] == pytest.approx(metre.coef.iloc[1] * 0.3048, rel=1e-12)
    assert foot.criterion == pytest.approx(metre.criterion, rel=1e-13)
    assert foot.group_sd["g"] == pytest.approx(metre.group_sd["g"], rel=1e-9)


def test_dependent_columns_are_dropped_and_named() -> None:
    """A column inside the span of earlier ones is dropped, as lm() does, and the fit is that without it."""
    rng = np.random.default_rng(5)
    frame = pd.DataFrame({"one": 1.0, "a": rng.normal(size=50), "b": rng.normal(size=50)})
    frame["both"] = frame.a + 2 * frame.b - 3
    frame["flat"] = 0.1
    frame["c"] = rng.normal(size=50)
    group = rng.integers(0, 5, 50)
    y = rng.normal(size=50) + rng.normal(size=5)[group]
    full = fit_mixed(y, frame, {"g": group})
    bare = fit_mixed(y, frame[["one", "a", "b", "c"]], {"g": group})
    assert full.dropped == ("both", "flat")
    assert len([note for note in full.notes if "dropped" in note]) == 2
    assert full.criterion == pytest.approx(bare.criterion, rel=1e-12)
    np.testing.assert_allclose(full.coef, bare.coef, rtol=1e-10)
    assert full.df_resid == 46


def test_unit_weights_change_nothing_and_two_for_twice() -> None:
    """Weight 1 everywhere is no weight; a weight of k is the mean of k equal rows."""
    rng = np.random.default_rng(4)
    group, x = rng.integers(0, 6, 40), rng.normal(size=40)
    y, X = x + rng.normal(size=6)[group] + rng.normal(size=40), np.column_stack([np.ones(40), x])
    plain = fit_mixed(y, X, {"g": group})
    ones = fit_mixed(y, X, {"g": group}, weights=np.ones(40))
    assert ones.criterion == pytest.approx(plain.criterion, rel=1e-13)
    twice = rng.integers(1, 4, 40)
    weighted = fit_mixed(y, X, {}, weights=twice)
    repeated = fit_mixed(np.repeat(y, twice), np.repeat(X, twice, axis=0), {})
    np.testing.assert_allclose(weighted.coef, repeated.coef, rtol=1e-12)
    np.testing.assert_allclose(
        weighted.coef_cov / weighted.sigma**2, repeated.coef_cov / repeated.sigma**2, rtol=1e-10
    )


def test_labels_keep_their_dtype() -> None:
    """Whole numbers, words, dates, categories and mixed objects all serve, and come back as they were."""
    rng = np.random.default_rng(6)
    codes = rng.integers(0, 4, 60)
    y = rng.normal(size=4)[codes] + rng.normal(size=60)
    kinds: dict[str, object] = {
        "whole": np.array([10, 20, 30, 40])[codes],
        "words": pd.Series(list("dabc")).iloc[codes],
        "dates": pd.Series(pd.date_range("2024-01-01", periods=4)).iloc[codes],
        "category": pd.Categorical.from_codes(codes, list("wxyz")),
        "flag": codes > 1,
        "mixed": np.array(["a", 1, 2.5, None.__class__], dtype=object)[codes],
        "list": [f"g{c}" for c in codes],
    }
    first = fit_mixed(y, np.ones((60, 1)), {"g": codes})
    for name, labels in kinds.items():
        fit = fit_mixed(y, np.ones((60, 1)), {"g": labels})
        assert set(fit.effects["g"].index) == set(labels), name
        if name != "flag":
            assert fit.criterion == pytest.approx(first.criterion, rel=1e-12), name
    assert fit_mixed(y, np.ones((60, 1)), {"g": kinds["whole"]}).effects["g"].index.dtype == np.int64
    assert fit_mixed(y, np.ones((60, 1)), {"g": kinds["dates"]}).effects["g"].index.dtype.kind == "M"


def test_row_order_and_names_of_levels_do_not_matter() -> None:
    """Shuffled rows, renamed levels and another order of the groupings give the same fit."""
    data = read("penicillin").sample(frac=1.0, random_state=1)
    groups = {"sample": data["sample"].map(lambda s: f"z{ord('Z') - ord(s)}"), "plate": data["plate"]}
    shuffled = fit_mixed(data.diameter_mm, one(len(data)), groups)
    straight = fit_published("penicillin", "REML")
    assert shuffled.criterion == pytest.approx(straight.criterion, rel=1e-13)
    for name in ("plate", "sample"):
        assert shuffled.group_sd[name] == pytest.approx(straight.group_sd[name], rel=1e-7)


def test_criterion_at_the_optimum_is_the_criterion() -> None:
    """The criterion at the fitted ratios is the fit's, and is larger to either side."""
    data, fit = read("dyestuff"), fit_published("dyestuff", "REML")
    ratio = fit.group_sd["batch"] ** 2 / fit.sigma**2
    at = [
        criterion_at(data.yield_g, one(30), {"batch": data.batch}, {"batch": r})
        for r in (0.8 * ratio, ratio, 1.25 * ratio)
    ]
    assert at[1] == pytest.approx(fit.criterion, rel=1e-14)
    assert at[0] > at[1] < at[2]


def test_no_columns_at_all() -> None:
    """A model without fixed part is fitted: the mean is taken as zero."""
    rng = np.random.default_rng(2)
    group = np.repeat(np.arange(5), 6)
    y = rng.normal(size=5)[group] + rng.normal(size=30)
    fit = fit_mixed(y, np.zeros((30, 0)), {"g": group})
    sums = np.bincount(group, y)
    ratio = fit.group_sd["g"] ** 2 / fit.sigma**2
    rss = float(y @ y - (ratio / (1 + 6 * ratio) * sums**2).sum())
    value = 5 * np.log(1 + 6 * ratio) + 30 * (1 + np.log(2 * np.pi * rss / 30))
    assert fit.criterion == pytest.approx(value, rel=1e-13)
    assert len(fit.coef) == 0
