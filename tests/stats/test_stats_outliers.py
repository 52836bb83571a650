"""Outlier tests against the NIST handbook's worked examples."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from burnlog.errors import FitError
from burnlog.stats.outliers import generalised_esd, grubbs, grubbs_critical, modified_z

REFERENCE = Path(__file__).parent.parent / "reference"


def read(name: str) -> np.ndarray:
    return pd.read_csv(REFERENCE / f"{name}.csv", comment="#")["value"].to_numpy(float)


def test_R53_grubbs_finds_the_handbooks_outlier() -> None:
    """NIST 1.3.5.17.1: G 2.468764611 against 2.0316520 one-sided and 2.1266451 two-sided; the last value."""
    values = read("nist_grubbs")
    two, one = grubbs(values), grubbs(values, two_sided=False)
    assert two.statistic == pytest.approx(2.468764611, abs=1e-8)  # read, and recomputed
    assert one.critical == pytest.approx(2.0316520, abs=1e-6)
    assert two.critical == pytest.approx(2.1266451, abs=1e-6)
    assert two.outlier
    assert values[two.place] == 245.57
    assert (values.mean(), values.std(ddof=1)) == (pytest.approx(206.43375), pytest.approx(15.8525644, abs=1e-6))


@pytest.mark.parametrize(
    ("n", "critical"),
    [  # two-sided 5 %; up to 10 read to three places, recomputed
        (3, 1.1543),
        (4, 1.4812),
        (5, 1.7150),
        (6, 1.8871),
        (7, 2.0200),
        (8, 2.1266),
        (9, 2.2150),
        (10, 2.2900),
        (20, 2.7082),
        (30, 2.9085),
    ],
)
def test_grubbs_critical_values_are_the_tabled_ones(n: int, critical: float) -> None:
    """Two-sided 5 % points to four places."""
    assert grubbs_critical(n) == pytest.approx(critical, abs=5.1e-5)


# Rosner 1983 as printed in NIST 1.3.5.17.3, recomputed to five places; the handbook truncates to three.
ROSNER = [
    (3.11891, 3.15879),
    (2.94297, 3.15143),
    (3.17942, 3.14389),
    (2.81018, 3.13616),
    (2.81558, 3.12825),
    (2.84817, 3.12013),
    (2.27933, 3.11180),
    (2.31037, 3.10324),
    (2.10158, 3.09446),
    (2.06718, 3.08542),
]


def test_R53_generalised_esd_finds_rosners_three() -> None:
    """6.01, 5.42 and 5.34 are found, though the first two steps do not pass; every R and lambda agrees."""
    values = read("nist_rosner")
    found = generalised_esd(values, most=10)
    np.testing.assert_allclose(np.column_stack([found.statistics, found.critical]), ROSNER, atol=5.1e-6)
    assert values[list(found.places)].tolist() == [6.01, 5.42, 5.34]
    assert found.statistics[0] < found.critical[0]
    assert found.statistics[1] < found.critical[1]
    assert not found.approximate


def test_esd_holds_its_error_rate_on_clean_values() -> None:
    """Of 600 clean sets of 25, about one in twenty shows an outlier."""
    rng = np.random.default_rng(1)
    share = np.mean([bool(generalised_esd(rng.normal(size=25), most=5).places) for _ in range(600)])
    assert 0.025 < share < 0.08


def test_esd_finds_a_pair_that_masks_itself() -> None:
    """Two equal far values hide each other from a single test, and are found together."""
    values = np.concatenate([np.random.default_rng(2).normal(size=18), [7.0, 7.2]])
    assert not grubbs(np.concatenate([values[:8], [7.0, 7.2]])).outlier
    assert set(generalised_esd(values, most=4).places) == {18, 19}


def test_R53_a_plain_z_cannot_pass_three_in_ten_values_but_esd_can() -> None:
    """Nine equal-ish values and one of a thousand: z stays under 9/sqrt(10), generalised ESD names it."""
    values = np.array([1.0, 1.1, 0.9, 1.05, 0.95, 1.02, 0.98, 1.0, 1.03, 1000.0])
    assert ((values - values.mean()) / values.std(ddof=1)).max() <= 9 / np.sqrt(10)
    assert generalised_esd(values, most=2).places == (9,)


def test_modified_z_has_its_recomputed_values() -> None:
    """Grubbs data: median 201.37, MAD 0.995, largest 29.9627; Rosner data 2.095, 0.545, 4.8453 (recomputed)."""
    assert np.abs(modified_z(read("nist_grubbs"))).max() == pytest.approx(29.9627, abs=5e-5)
    assert np.abs(modified_z(read("nist_rosner"))).max() == pytest.approx(4.8453, abs=5e-5)
    for name, median, mad in (("nist_grubbs", 201.37, 0.995), ("nist_rosner", 2.095, 0.545)):
        values = read(name)
        assert np.median(values) == pytest.approx(median)
        assert np.median(np.abs(values - np.median(values))) == pytest.approx(mad)


def test_esd_copes_when_the_rest_are_equal() -> None:
    """One far value among equal ones is found, and the steps after it claim nothing."""
    values = np.array([2.0] * 9 + [8.0])
    assert generalised_esd(values, most=3).places == (9,)
    with pytest.raises(FitError, match="More than half"):
        modified_z(values)


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ([1.0, 2.0, 3.0, 4.0, 5.0, 6.0], "7 are needed"),
        ([1.0] * 8, "equal"),
        ([1.0, np.nan] * 5, "5 of 10 values are missing"),
    ],
)
def test_R53_sets_that_cannot_be_judged_are_refused(values: list[float], words: str) -> None:
    """Fewer than seven values, no spread, or gaps: a sentence instead of a verdict."""
    with pytest.raises(FitError, match=words):
        generalised_esd(values)
