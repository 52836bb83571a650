"""The demonstration's pages, written once, and the browser that looks at them."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from browser import Browser, Tab
from typer.testing import CliRunner


@pytest.fixture(scope="session")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    """One Chromium for every page of this process."""
    with Browser(tmp_path_factory.mktemp("profile")) as running:
        yield running


@pytest.fixture(scope="session")
def demo_pages(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder that `burnlog demo` fills: log, pages, and the page that leads to them."""
    from burnlog.cli.app import app

    place = tmp_path_factory.mktemp("demo") / "demo"
    done = CliRunner().invoke(app, ["demo", str(place)])
    assert done.exit_code == 0, f"{done.output} {done.exception!r}"
    return place


@pytest.fixture(scope="session")
def tabs(browser: Browser) -> Iterator[dict[Path, Tab]]:
    """The tabs opened so far, by file: a page is loaded once."""
    found: dict[Path, Tab] = {}
    yield found
    for tab in found.values():
        tab.close()
