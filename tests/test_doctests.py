"""The examples in docstrings, run as written."""

from __future__ import annotations

import doctest
import importlib
import pkgutil

import pytest

import burnlog

MODULES = sorted(
    module.name
    for module in pkgutil.walk_packages(burnlog.__path__, "burnlog.")
    if not module.name.endswith("__main__")
)


@pytest.mark.parametrize("name", MODULES)
def test_examples_run_as_written(name: str) -> None:
    """Every example in a docstring of the package gives what it says."""
    result = doctest.testmod(importlib.import_module(name), optionflags=doctest.NORMALIZE_WHITESPACE)
    assert result.failed == 0
