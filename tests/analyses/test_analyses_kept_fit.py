"""A fit put away with the record it was made from."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from burnlog.analyses import kept_fit
from burnlog.analyses.basis import basis_of
from burnlog.analyses.estimate import Plan, draft
from burnlog.analyses.invented import WORLDS, history
from burnlog.analyses.kept_fit import fit_key, fitted, fitted_as_text, read_back
from burnlog.analyses.rate_fit import RateFit, Settings, fit_rates
from burnlog.analyses.takeoff import TakeOff, read_takeoff
from burnlog.analyses.tallies import TallySet, gather
from burnlog.columns import Frames


@pytest.fixture(scope="module")
def frames() -> Frames:
    """An invented record of eight jobs."""
    return history(WORLDS["base"], jobs=8, rng=np.random.default_rng(11)).frames


@pytest.fixture(scope="module")
def tallyset(frames: Frames) -> TallySet:
    """Its production counts."""
    return gather(frames)


@pytest.fixture(scope="module")
def takeoff() -> TakeOff:
    """Twelve plates in two items, one with its visibility left blank."""
    rows = [
        {"item": "a", "quantity": "8", "section": "plate", "thickness": "1/2 in", "length_each": "1.2 m"},
        {"item": "b", "quantity": "4", "section": "plate", "thickness": "16 mm", "length_each": "0.7 m"},
    ]
    return read_takeoff(enumerate(rows, 2), source="t.csv")


def test_a_bid_on_a_fit_read_back_has_the_same_bytes(frames: Frames, takeoff: TakeOff) -> None:
    """Fitted now or read back from text, the estimate is the same JSON to the byte, and nothing was fitted anew."""
    basis, plan = basis_of(frames), Plan(draws=2000, bottom_time_s=2400.0, start_up_s=900.0)
    made = draft(basis, takeoff, plan)
    text = fitted_as_text(basis.tallyset, Settings())

    def kept(tallyset: TallySet, settings: Settings) -> RateFit:
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(kept_fit, "fit_rates", lambda *_, **__: pytest.fail("fitted anew"))
            return read_back(text, tallyset, settings)

    again = draft(basis, takeoff, plan, fit_by=kept)
    assert json.dumps(again.as_json()) == json.dumps(made.as_json())


def test_what_is_kept_is_the_fit(tallyset: TallySet) -> None:
    """Exponent, spreads, scale and draws of a fit read back agree with `fit_rates` to a part in 10^7."""
    whole, kept = fit_rates(tallyset), fitted(tallyset, Settings())
    assert kept.time is not None
    assert whole.time is not None
    for one, two in ((whole.rods, kept.rods), (whole.time, kept.time)):
        np.testing.assert_allclose(two.posterior.coef, one.posterior.coef, rtol=1e-7)
        assert two.posterior.group_sd == pytest.approx(one.posterior.group_sd, rel=1e-7)
        assert set(two.scale.tolist()) <= set(one.scale.tolist())
    lines = pd.DataFrame({"length_m": [1.0] * 6, "thickness_mm": [12.7] * 6})
    first, second = (
        np.sort(fit.simulate(lines, rng=np.random.default_rng(1), draws=4000).rods.sum(axis=1))
        for fit in (whole, kept)
    )
    assert second[3199] == pytest.approx(first[3199], rel=1e-3)


def _changed(tallyset: TallySet, frame: str, column: str, value: str | float | None) -> TallySet:
    """The tallies with one cell changed."""
    copy: pd.DataFrame = getattr(tallyset, frame).copy()
    copy.loc[copy.index[3], column] = value
    return replace(tallyset, tallies=copy) if frame == "tallies" else replace(tallyset, pieces=copy)


@pytest.mark.parametrize(
    ("frame", "column", "value"),
    [
        ("tallies", "rods", 9.25),
        ("tallies", "elapsed_s", 111.0),
        ("tallies", "family", "tubular"),
        ("pieces", "thickness_mm", 15.0),
        ("pieces", "visibility", "over 10 ft"),
        ("pieces", "diver", "D99"),
        ("pieces", "position", None),
    ],
)
def test_an_amended_cell_has_another_key(
    tallyset: TallySet, frame: str, column: str, value: str | float | None
) -> None:
    """One cell changed anywhere in the rows of the model makes another key."""
    assert fit_key(_changed(tallyset, frame, column, value), Settings()) != fit_key(tallyset, Settings())


def test_the_key_is_of_the_content_and_the_settings(frames: Frames, tallyset: TallySet) -> None:
    """The record gathered again has the same key; other settings or other program text have another."""
    key = fit_key(tallyset, Settings())
    assert len(key) == 64
    assert fit_key(gather(frames), Settings()) == key
    assert fit_key(tallyset, Settings(support=4)) != key
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(kept_fit, "_made_by", lambda: ("burnlog 0.0.0",))
        assert fit_key(tallyset, Settings()) != key
