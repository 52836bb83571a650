"""Fixtures of the analyses' tests."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from bid_record import history, plates
from plain_record import frames_of

from burnlog.analyses.basis import Basis
from burnlog.analyses.estimate import Estimate, Plan, draft
from burnlog.columns import Frames


@pytest.fixture
def record() -> Callable[..., Frames]:
    """`record(cuts, tallies=..., stubs=...)` makes frames; see `frames_of`."""
    return frames_of


@pytest.fixture
def basis() -> Basis:
    """Eight jobs of twelve half-inch cuts; see `history`."""
    return history()


@pytest.fixture
def made(basis: Basis) -> Estimate:
    """A bid for ten plates on that history, with its dives."""
    return draft(basis, plates(), Plan(bottom_time_s=2400.0, start_up_s=900.0, cutting_share=0.65, draws=4000))
