"""The estimate page as a browser shows it, with the network off."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

BROWSER_WORDS = (
    *("--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync"),
    *("--disable-background-networking", "--disable-component-update", "--virtual-time-budget=15000"),
    *("--host-resolver-rules=MAP * ~NOTFOUND", "--enable-logging=stderr", "--v=0"),
)


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The page that the demonstration writes."""
    folder = tmp_path_factory.mktemp("page") / "demo"
    done = subprocess.run(
        [sys.executable, "-m", "burnlog", "demo", str(folder)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    return folder / "estimate.html"


@pytest.fixture(scope="module")
def opened(page: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[str, str]:
    """What stands in the page after its scripts ran, and what the browser logged."""
    browser = shutil.which("chromium") or shutil.which("chromium-browser")
    assert browser, "Chromium is needed to look at the pages: apt-get install chromium"
    profile = tmp_path_factory.mktemp("profile")
    done = subprocess.run(
        [browser, *BROWSER_WORDS, f"--user-data-dir={profile}", "--dump-dom", page.as_uri()],
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
        env={**os.environ, "HOME": str(profile)},
    )
    assert done.returncode == 0, done.stderr[-2000:]
    return done.stdout, done.stderr


@pytest.mark.browser
def test_R75_the_page_draws_offline_with_an_empty_console(page: Path, opened: tuple[str, str]) -> None:
    """With every host unreachable all charts are drawn, the console says nothing and nothing was asked for."""
    dom, log = opened
    assert 'data-drawn="yes"' in dom
    assert "CONSOLE" not in log
    text = page.read_text(encoding="utf-8")
    assert not re.search(r"""(?:src|href)\s*=\s*["']https?:""", text)
    assert page.stat().st_size < 3_000_000


@pytest.mark.browser
def test_charts_hold_their_marks(opened: tuple[str, str]) -> None:
    """The total has its hundred dots, the drivers four bars, the history one mark a tally."""
    dom, _ = opened
    charts = {name: dom.split(f'id="{name}"')[1].split("</figure>")[0] for name in ("total", "drivers", "history")}
    assert len(re.findall(r'aria-roledescription="point"', charts["total"])) == 100
    assert len(re.findall(r'aria-roledescription="bar"', charts["drivers"])) == 4
    shown = re.search(r"Half of (\d+) tallies", charts["history"])
    assert shown is not None
    assert len(re.findall(r'aria-roledescription="point"', charts["history"])) == int(shown[1])


def test_R77_cautions_and_the_mark_stand_on_the_page(page: Path) -> None:
    """The page carries every caution of an estimate, MADE UP, and none of the words it must not say."""
    from burnlog.reports.cautions import EVERY_PAGE, TRAPPED_GAS

    text = " ".join(page.read_text(encoding="utf-8").replace("&#39;", "'").split())
    assert EVERY_PAGE in text
    assert TRAPPED_GAS in text
    assert "Fewer rods and less time are not a safety measure. Figures come from" in text
    assert "MADE UP" in text
    body = text.split("<script")[0].lower()
    for banned in ("safe to", "approved", "compliant", "recommended setting", "you should set"):
        assert banned not in body


def test_R60_both_boxes_stand_before_the_second_page(page: Path) -> None:
    """In and Not in come before the page break."""
    text = page.read_text(encoding="utf-8").split("<main", 1)[1]
    assert text.index("<h2>In</h2>") < text.index("<h2>Not in</h2>") < text.index("<h2>Order at P80</h2>")


def test_hostile_text_is_text() -> None:
    """A title that tries to be a script stands on the page as text, and data cannot end its script element."""
    from burnlog.reports.page import inline, page

    html = page(
        "estimate.html",
        charts={},
        head={"code": "<script>alert(1)</script>", "state": "DRAFT", "title": '"><img src=x onerror=alert(1)>',
              "hash": "0" * 64, "by": "JM", "made_on": "2026-01-01"},
        made_up=None, outside=False, answer="", rows=[], items=[], order=[], dives=[], history_finding="",
        history_rows=[], rate_name="rods per m", total_finding="", drivers=[], inside=(), not_inside=(), warnings=(),
        adjustments=[], rules=[], last=None, basis={"tallies": 0, "left_out": {}},
        fit={"thickness_exponent": 1.0, "start_m": 0.0, "group_sd": {"job": 0.0, "diver": 0.0}, "sigma": 0.0},
        seed=1, draws=1, db_id="x", cautions=(),
    )  # fmt: skip
    assert "<script>alert" not in html
    assert "<img src=x" not in html
    assert "</script" not in inline({"a": "</script><b>"})
