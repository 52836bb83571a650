"""`fit_mixed` beside other implementations: statsmodels, R's lme4, and exact rational arithmetic."""

from __future__ import annotations

import math
import shutil
import subprocess
from decimal import Decimal, localcontext
from fractions import Fraction
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from statsmodels.regression.mixed_linear_model import MixedLM, MixedLMParams, VCSpec

from burnlog.stats.mixed import criterion_at, fit_at, fit_mixed
from burnlog.stats.suffstats import tabulate

REFERENCE = Path(__file__).parents[1] / "reference"


def read(name: str) -> pd.DataFrame:
    return pd.read_csv(REFERENCE / f"{name}.csv", comment="#")


def indicators(labels: pd.Series | np.ndarray) -> np.ndarray:
    codes = pd.factorize(np.asarray(labels), sort=True)[0]
    return (codes[:, None] == np.arange(codes.max() + 1)).astype(float)


Case = tuple[np.ndarray, np.ndarray, dict[str, np.ndarray]]


def published(name: str) -> Case:
    data = read(name)
    one = np.ones((len(data), 1))
    match name:
        case "dyestuff" | "dyestuff2":
            return data.yield_g.to_numpy(float), one, {"batch": data.batch.to_numpy()}
        case "nist_sirstv":
            return data.resistance.to_numpy(), one, {"instrument": data.instrument.to_numpy()}
        case "penicillin":
            groups = {"plate": data.plate.to_numpy(), "sample": data["sample"].to_numpy()}
            return data.diameter_mm.to_numpy(float), one, groups
        case "pastes":
            groups = {"batch": data.batch.to_numpy(), "cask": (data.batch + data.cask).to_numpy()}
            return data.strength.to_numpy(), one, groups
        case _:
            X = np.column_stack([np.ones(len(data)), data.days])
            return data.reaction_ms.to_numpy(), X, {"subject": data.subject.to_numpy()}


PUBLISHED = ["dyestuff", "dyestuff2", "nist_sirstv", "penicillin", "pastes", "sleepstudy"]


def statsmodels_criterion(case: Case, ratios: dict[str, float], method: str) -> float:
    """-2 log L of statsmodels at given variance ratios: all rows one group, groupings as variance components."""
    y, X, groups = case
    parts = [indicators(labels) for labels in groups.values()]
    names = [[[f"{k}{j}" for j in range(Z.shape[1])]] for k, Z in zip(groups, parts, strict=True)]
    model = MixedLM(y, X, np.zeros(len(y)), exog_vc=VCSpec(list(groups), names, [[Z] for Z in parts]))
    model.reml, model.cov_pen, model.fe_pen = method == "REML", None, None  # as its fit() sets them
    params = MixedLMParams.from_components(
        fe_params=np.zeros(X.shape[1]), cov_re=np.zeros((0, 0)), vcomp=np.array([ratios[k] for k in groups])
    )
    return -2.0 * float(model.loglike(params, profile_fe=True))


@pytest.mark.parametrize("name", PUBLISHED)
@pytest.mark.parametrize("method", ["REML", "ML"])
def test_fixed_ratios_agree_with_statsmodels(name: str, method: str) -> None:
    """At variance ratios from a hundredth to ten, the criterion is that of statsmodels to 1e-10 relative."""
    case = published(name)
    for base in (0.01, 0.3, 1.0, 10.0):
        ratios = {group: base * (1 + k) for k, group in enumerate(case[2])}
        ours = criterion_at(*case, ratios, method=method)
        assert ours == pytest.approx(statsmodels_criterion(case, ratios, method), rel=1e-10)


def exact_longley(ratio: Fraction, group: list[int]) -> tuple[list[float], dict[str, float]]:
    """Coefficients and criteria of Longley with a grouping, in rational arithmetic.

    V = I + g ZZ' is eliminated together with its borders X and y: the pivots give log|V|, log|X'V^-1X| and the
    residual sum of squares with no rounding; only the logarithms are rounded, to 40 digits.
    """
    data = read("nist_longley")
    n, columns = len(data), [[1.0] * len(data), *(data[f"x{j}"] for j in range(1, 7))]
    X = [[Fraction(float(column[i])) for column in columns] for i in range(n)]
    y = [Fraction(float(v)) for v in data.y]
    p = len(columns)
    size = n + p + 1
    M = [[Fraction(0)] * size for _ in range(size)]
    for i in range(n):
        for j in range(n):
            M[i][j] = Fraction(int(i == j)) + ratio * int(group[i] == group[j])
        for j in range(p):
            M[i][n + j] = M[n + j][i] = X[i][j]
        M[i][n + p] = M[n + p][i] = y[i]
    pivots = []
    for k in range(n + p):
        pivots.append(M[k][k])
        for i in range(k + 1, size):
            if M[i][k]:
                share = M[i][k] / M[k][k]
                M[i] = [a - share * b if j >= k else a for j, (a, b) in enumerate(zip(M[i], M[k], strict=True))]
    coef = [Fraction(0)] * p
    for k in range(p - 1, -1, -1):
        row = M[n + k]
        known = sum((row[n + j] * coef[j] for j in range(k + 1, p)), Fraction(0))
        coef[k] = (row[n + p] - known) / row[n + k]
    with localcontext() as context:
        context.prec = 40

        def decimal(value: Fraction) -> Decimal:
            return Decimal(value.numerator) / Decimal(value.denominator)

        pi = Decimal("3.14159265358979323846264338327950288419716939937510")
        log_v = sum((decimal(v).ln() for v in pivots[:n]), Decimal(0))
        log_x = sum((decimal(-v).ln() for v in pivots[n:]), Decimal(0))
        rss = decimal(-M[n + p][n + p])
        full = log_v + n * (1 + (2 * pi * rss / n).ln())
        restricted = log_v + log_x + (n - p) * (1 + (2 * pi * rss / (n - p)).ln())
    return [float(b) for b in coef], {"ML": float(full), "REML": float(restricted)}


@pytest.mark.parametrize("ratio", [Fraction(0), Fraction(3, 4), Fraction(20)])
def test_longley_with_a_grouping_keeps_twelve_digits(ratio: Fraction) -> None:
    """On Longley with four groups of years, criterion and coefficients keep 12 digits against rational arithmetic."""
    data = read("nist_longley")
    group = [i // 4 for i in range(16)]
    coef, criteria = exact_longley(ratio, group)
    X = np.column_stack([np.ones(16), data.filter(like="x")])
    tables = tabulate(data.y, X, {"block": group})
    for method in ("REML", "ML"):
        fit = fit_at(tables, {"block": float(ratio)}, method=method)
        assert fit.criterion == pytest.approx(criteria[method], rel=1e-12)
        # 1e-12 of the coefficient or of its standard error, whichever is larger: one is a twentieth of its error
        assert (np.abs(fit.coef - coef) <= 1e-12 * np.maximum(np.abs(coef), fit.coef_se)).all()


def test_rational_arithmetic_reproduces_the_certified_values() -> None:
    """Without a grouping the rational reference itself gives NIST's certified Longley coefficients and residual."""
    coef, criteria = exact_longley(Fraction(0), list(range(16)))
    certified = [
        -3482258.63459582,
        15.0618722713733,
        -0.0358191792925910,
        -2.02022980381683,
        -1.03322686717359,
        -0.0511041056535807,
        1829.15146461355,
    ]  # NIST StRD
    np.testing.assert_allclose(coef, certified, rtol=1e-13)
    full = 16 * (1 + math.log(2 * math.pi * 836424.055505915 / 16))  # NIST StRD, residual sum of squares
    assert criteria["ML"] == pytest.approx(full, rel=1e-13)


LME4 = """
suppressMessages(library(lme4))
suppressMessages(library(stats))
folder <- commandArgs(TRUE)[1]
answers <- list()
for (path in Sys.glob(file.path(folder, "*.csv"))) {
  d <- read.csv(path, colClasses = "numeric")
  fixed <- grep("^x", names(d), value = TRUE)
  grouping <- grep("^g", names(d), value = TRUE)
  for (g in grouping) d[[g]] <- factor(d[[g]])
  form <- as.formula(paste("y ~ 0 +", paste(fixed, collapse = " + "), "+",
                           paste0("(1 | ", grouping, ")", collapse = " + ")))
  for (method in c("REML", "ML")) {
    restricted <- method == "REML"
    fit <- suppressMessages(suppressWarnings(
      lmer(form, d, weights = w, REML = restricted, control = lmerControl(
        optimizer = "bobyqa", optCtrl = list(rhoend = 1e-9)))))
    held <- suppressMessages(suppressWarnings(
      lmer(form, d, weights = w, REML = restricted, devFunOnly = TRUE)))
    order <- names(getME(fit, "flist"))  # theta stands in this order
    theta <- c(0.7, 1.3, 0.4)[seq_along(order)]
    cat(basename(path), method, sprintf("%.17g", c(
      if (restricted) lme4::REMLcrit(fit) else -2 * as.numeric(logLik(fit)), held(theta), sigma(fit), fixef(fit))),
      order, "\\n")
  }
}
"""


def has_lme4() -> bool:
    """Whether this machine has R with lme4."""
    if shutil.which("Rscript") is None:
        return False
    asked = ["Rscript", "-e", "quit(status = !requireNamespace('lme4', quietly = TRUE))"]
    return subprocess.run(asked, capture_output=True, check=False).returncode == 0


if has_lme4():  # without R there is nothing to compare with, and the test does not exist

    def test_lme4_in_the_same_run(tmp_path: Path) -> None:
        """R's lme4 has the same criterion at given ratios to 1e-10, and never a lower optimum."""
        rng = np.random.default_rng(61)
        cases: dict[str, Case] = {name: published(name) for name in PUBLISHED}
        for number in range(12):
            n = int(rng.integers(40, 120))
            a, b = rng.integers(0, 8, n), rng.integers(0, 5, n)
            X = np.column_stack([np.ones(n), rng.normal(size=n), rng.random(n) < 0.4])
            spread = rng.choice([0.0, 0.5, 1.5], 2)
            y = X @ [1.0, 0.5, -0.5] + rng.normal(size=n)
            y += spread[0] * rng.normal(size=8)[a] + spread[1] * rng.normal(size=5)[b]
            cases[f"random{number}"] = (y, X, {"a": a, "b": b})
        weights: dict[str, np.ndarray] = {}
        names: dict[str, list[str]] = {}
        for name, (y, X, groups) in cases.items():
            weights[name] = rng.gamma(4, 0.25, len(y)) + 0.1 if name.endswith(("1", "2", "5")) else np.ones(len(y))
            frame = pd.DataFrame({"y": y, "w": weights[name]})
            for j in range(X.shape[1]):
                frame[f"x{j}"] = X[:, j]
            for k, labels in enumerate(groups.values()):
                frame[f"g{k}"] = pd.factorize(labels, sort=True)[0]
            names[name] = list(groups)
            frame.to_csv(tmp_path / f"{name}.csv", index=False, float_format="%.17g")
        script = tmp_path / "peer.R"
        script.write_text(LME4, encoding="utf-8")
        done = subprocess.run(["Rscript", str(script), str(tmp_path)], capture_output=True, text=True, check=True)
        lines = [line.split() for line in done.stdout.splitlines()]
        assert len(lines) == 2 * len(cases), done.stderr
        for path, method, *numbers in lines:
            name = path.removesuffix(".csv")
            y, X, groups = cases[name]
            K, p = len(groups), X.shape[1]
            found, held, sigma = (float(v) for v in numbers[:3])
            coef = [float(v) for v in numbers[3 : 3 + p]]
            order = [names[name][int(word[1:])] for word in numbers[3 + p :]]
            assert sorted(order) == sorted(groups)
            ratios = dict(zip(order, np.array([0.7, 1.3, 0.4])[:K] ** 2, strict=True))
            ours = criterion_at(y, X, groups, ratios, weights=weights[name], method=method)
            assert ours == pytest.approx(held, rel=1e-10), (name, method)
            fit = fit_mixed(y, X, groups, weights=weights[name], method=method)
            assert fit.criterion <= found + 1e-8 * abs(found), (name, method)
            assert fit.criterion == pytest.approx(found, rel=1e-6), (name, method)
            assert fit.sigma == pytest.approx(sigma, rel=1e-3), (name, method)
            np.testing.assert_allclose(fit.coef, coef, rtol=1e-3, atol=1e-3 * fit.sigma)
