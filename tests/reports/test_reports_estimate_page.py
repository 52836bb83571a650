"""The estimate page as a browser shows it, with the network off."""

from __future__ import annotations

import csv
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from browser import PAPERS, Browser, printed_text

from burnlog import estimate, open_log, plan
from burnlog.reports.html import estimate_page

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


@pytest.mark.browser
def test_each_job_is_a_letter_that_stands_on_no_other(page: Path, browser: Browser) -> None:
    """Every job named under the history is drawn once, as its letter at its ratio, and no letter hides another."""
    tab = browser.open(page)
    drawn = tab.run(
        "[...document.querySelectorAll('#history svg text')].filter((e) => /^[A-Z]$/.test(e.textContent))"
        ".map((e) => [e.textContent, e.getBoundingClientRect().toJSON()])"
    )
    tab.close()
    finding = page.read_text(encoding="utf-8").split("by letter: ")[1].split(".</figcaption>")[0].split(".\n")[0]
    named = re.findall(r"([A-Z]) (\S+) (\d+\.\d\d)", finding)
    assert len(named) == 14
    assert sorted(letter for letter, _ in drawn) == [letter for letter, _, _ in named]
    rate = {letter: float(ratio) for letter, _, ratio in named}
    boxes = sorted(drawn, key=lambda each: rate[each[0]])
    heights = [box["y"] for _, box in boxes]
    assert heights == sorted(heights, reverse=True)
    for place, (_, box) in enumerate(boxes):
        for _, other in boxes[:place]:
            apart = (
                abs(box["x"] - other["x"]) >= box["width"] * 0.7 or abs(box["y"] - other["y"]) >= box["height"] * 0.7
            )
            assert apart


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


def test_R60_both_boxes_stand_before_the_items(page: Path) -> None:
    """In and Not in come before the items, which may run on to further pages."""
    text = page.read_text(encoding="utf-8").split("<main", 1)[1]
    assert text.index("<h2>In</h2>") < text.index("<h2>Not in</h2>") < text.index("<h2>Items</h2>")


def _bid_page(demo: Path, takeoff: Path, out: Path, *, profile: str = "us") -> Path:
    """The page of a bid on the demonstration's log."""
    with open_log(demo / "demo.db") as record:
        made = estimate(record, takeoff, plan(bottom_time="40 min", start_up="15 min", dives_per_day=3))
    head = {"code": "E7", "state": "ISSUED", "title": "t", "hash": "0" * 64, "by": "JM", "made_on": "2026-01-01"}
    out.write_text(estimate_page(made, head, profile=profile, last="6 of 9 inside the 80 % range"), encoding="utf-8")
    return out


def _takeoff(demo: Path, items: int, out: Path) -> Path:
    """The demonstration's take-off repeated, each item under a name of its own."""
    with (demo / "takeoff.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    with out.open("w", encoding="utf-8", newline="") as file:
        sheet = csv.DictWriter(file, rows[0])
        sheet.writeheader()
        for number in range(items):
            row = rows[number % len(rows)]
            sheet.writerow({**row, "item": f"{row['item']} {number + 1}", "quantity": "2"})
    return out


def _printed(browser: Browser, page: Path, paper: str, folder: Path) -> list[str]:
    """The text of each printed page."""
    tab, pdf = browser.open(page), folder / f"{paper}.pdf"
    tab.pdf(pdf, paper)
    tab.close()
    return printed_text(pdf)


PRINTED_ONCE = (
    *("Totals", "Order at P80", "Dives rest on", "Not in", "Items", "Where the range comes from", "Cautions"),
    *(
        "on the steel each had",
        "PIER12 ",
        "What drives the range",
        "Against the rule of thumb",
        "Last bids",
        "The history by thickness",
        "Log ",
        "fit ",
    ),
    *("seed 1", "hash", "prepared by", "do not add up", "share then spent cutting", "spares"),
)


@pytest.mark.browser
@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize(("items", "profile"), [(4, "us"), (12, "us"), (12, "metric")])
def test_a_bid_prints_on_two_pages(
    page: Path, browser: Browser, paper: str, items: int, profile: str, tmp_path: Path
) -> None:
    """Up to twelve items make two pages on either paper: the figures first, then the charts and the cautions."""
    takeoff = _takeoff(page.parent, items, tmp_path / "t.csv")
    made = _bid_page(page.parent, takeoff, tmp_path / "bid.html", profile=profile)
    printed = _printed(browser, made, paper, tmp_path)
    assert len(printed) == 2
    for text in PRINTED_ONCE:
        assert sum(text in each for each in printed) == 1, text
    assert "Items" in printed[0]
    assert "Where the range comes from" in printed[1]
    assert printed[0].count("horizontal;") == items // 2


@pytest.mark.browser
@pytest.mark.parametrize("paper", PAPERS)
def test_fifty_items_run_on_with_their_heads(page: Path, browser: Browser, paper: str, tmp_path: Path) -> None:
    """Items that do not fit go on under the same heads, none is lost, and both boxes stay on page 1."""
    takeoff = _takeoff(page.parent, 50, tmp_path / "t.csv")
    printed = _printed(browser, _bid_page(page.parent, takeoff, tmp_path / "bid.html"), paper, tmp_path)
    assert len(printed) == 3
    assert all("like it" in each for each in printed[:2])
    assert "Not in" in printed[0]
    names = [f" {number} " for number in range(1, 51)]
    assert all(any(name in each for each in printed[:2]) for name in names)
    assert "Cautions" in printed[2]


@pytest.mark.browser
def test_print_stays_readable(page: Path, browser: Browser) -> None:
    """No text of the printed page is smaller than 8 points."""
    tab = browser.open(page)
    tab.wide(700, media="print")
    smallest = tab.run(
        "Math.min(...[...document.body.querySelectorAll('*')].filter((e) => !e.closest('script, style, svg') && "
        "e.textContent.trim() && e.getClientRects().length).map((e) => parseFloat(getComputedStyle(e).fontSize)))"
    )
    tab.close()
    assert smallest * 72 / 96 >= 8 - 1e-6


def test_hostile_text_is_text() -> None:
    """A title that tries to be a script stands on the page as text, and data cannot end its script element."""
    from burnlog.reports.page import inline, page

    html = page(
        "estimate.html",
        charts={},
        head={"code": "<script>alert(1)</script>", "state": "DRAFT", "title": '"><img src=x onerror=alert(1)>',
              "hash": "0" * 64, "by": "JM", "made_on": "2026-01-01"},
        made_up=None, outside=False, answer="", rows=[], items=[], order=[], dives=[], history_finding="",
        history_rows=[], rate_name="rods per m", total_finding="", jobs_finding="",
        drivers=[], inside=(), not_inside=(), warnings=(),
        adjustments=[], rules=[], last=None, basis={"tallies": 0, "left_out": {}},
        fit={"thickness_exponent": 1.0, "group_sd": {"job": 0.0, "diver": 0.0}, "sigma": 0.0}, start="0 m",
        seed=1, draws=1, db_id="x", fit_no="0", cautions=(),
    )  # fmt: skip
    assert "<script>alert" not in html
    assert "<img src=x" not in html
    assert "</script" not in inline({"a": "</script><b>"})
