"""The examples in docstrings, run as written."""

from __future__ import annotations

import doctest
import importlib
import pkgutil
import shutil
from pathlib import Path

import pytest

import burnlog

MODULES = sorted(
    module.name
    for module in pkgutil.walk_packages(burnlog.__path__, "burnlog.")
    if not module.name.endswith("__main__")
)
ON_THE_DEMO = {name for name in MODULES if name.startswith("burnlog.library.")} - {"burnlog.library.fits"}
"""Modules whose examples open the log that `burnlog demo demo` leaves in the working folder; `fits` has no reader."""


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The files and the log of the demonstration."""
    folder = tmp_path_factory.mktemp("doctests") / "demo"
    burnlog.make_demo(folder).close()
    return folder


@pytest.mark.parametrize("name", MODULES)
def test_examples_run_as_written(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, request: pytest.FixtureRequest
) -> None:
    """Every example in a docstring of the package gives what it says."""
    monkeypatch.chdir(tmp_path)
    if name in ON_THE_DEMO:
        shutil.copytree(request.getfixturevalue("demo"), tmp_path / "demo")
    result = doctest.testmod(importlib.import_module(name), optionflags=doctest.NORMALIZE_WHITESPACE)
    assert result.failed == 0
    assert result.attempted or name not in ON_THE_DEMO
