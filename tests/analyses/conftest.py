"""Fixtures of the analyses' tests."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from plain_record import frames_of

from burnlog.columns import Frames


@pytest.fixture
def record() -> Callable[..., Frames]:
    """`record(cuts, tallies=..., stubs=...)` makes frames; see `frames_of`."""
    return frames_of
