"""The glossary, and frames held against it."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pandas as pd
import pytest

from burnlog.columns import GLOSSARY, Frames, check, empty, shaped
from burnlog.errors import FrameError

KINDS = {"text", "number", "whole", "flag", "time"}


def test_frames_and_glossary_name_the_same_things() -> None:
    """Every frame has an entry, and every entry a frame."""
    assert {field.name for field in fields(Frames)} == set(GLOSSARY)


@pytest.mark.parametrize("name", GLOSSARY)
def test_every_column_has_a_kind_a_meaning_and_its_unit_in_the_name(name: str) -> None:
    """Names are unique, numbers with a unit carry it in the name, and each column says what it means."""
    columns = GLOSSARY[name]
    assert len({column.name for column in columns}) == len(columns)
    endings = {"mm": "_mm", "m": "_m", "s": "_s", "msw": "_msw", "kPa gauge": "_kpa", "C": "_c", "A": "_a"}
    for column in columns:
        assert column.kind in KINDS
        assert column.meaning
        if column.unit in endings:
            assert column.name.endswith((endings[column.unit], "seconds"))


@pytest.mark.parametrize("name", GLOSSARY)
def test_an_empty_frame_fits_its_entry(name: str) -> None:
    """A frame of no rows passes the check, and casting it changes nothing."""
    frame = check(empty(name), name)
    assert list(frame.columns) == [column.name for column in GLOSSARY[name]]
    pd.testing.assert_frame_equal(shaped(frame, name), frame)


def test_a_whole_record_of_nothing_is_checked() -> None:
    """All frames together are held against the glossary at once."""
    frames = Frames(**{name: empty(name) for name in GLOSSARY})
    assert frames.checked() is frames


def test_casting_fills_what_is_absent_with_missing() -> None:
    """Absent columns come out missing, flags False, and the order is the glossary's."""
    rows = pd.DataFrame({"bank": ["B1", None], "cylinders": ["12", None], "extra": [1, 2]}, index=[7, 9])
    out = shaped(rows, "banks")
    assert list(out.columns) == [column.name for column in GLOSSARY["banks"]]
    assert list(out.index) == [7, 9]
    assert out["cylinders"].iloc[0] == 12.0
    assert np.isnan(out["cylinders"].iloc[1])
    assert out["bank"].isna().tolist() == [False, True]
    assert out["label_kpa"].isna().all()
    check(out, "banks")


def test_casting_times_flags_and_whole_numbers() -> None:
    """Times are parsed, a missing flag is False, and a missing whole number is refused by name."""
    rows = empty("dives").reindex(range(2))
    rows = rows.assign(dive_no=[1, 2], dive_date=["2026-05-12", None], made_up=[1, np.nan])
    out = shaped(rows, "dives")
    assert out["dive_date"].iloc[0] == pd.Timestamp("2026-05-12")
    assert out["made_up"].tolist() == [True, False]
    with pytest.raises(FrameError, match=r"'dive_no'.*missing"):
        shaped(rows.assign(dive_no=[1, np.nan]), "dives")


def test_a_frame_that_does_not_fit_is_refused() -> None:
    """A missing column, or one of another kind, is named with the frame."""
    with pytest.raises(FrameError, match="'banks' has no column 'cylinders'"):
        check(empty("banks").drop(columns="cylinders"), "banks")
    with pytest.raises(FrameError, match=r"'banks', column 'cylinders': holds .*expected number"):
        check(empty("banks").astype({"cylinders": "str"}), "banks")
