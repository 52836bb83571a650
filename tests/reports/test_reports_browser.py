"""Every page of the demonstration as eyes, keyboards, printers and screen readers meet it, with the network off."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from browser import PAPERS, Browser, Tab, printed_text

HERE = Path(__file__).parent
AXE = HERE / "axe" / "node_modules" / "axe-core" / "axe.min.js"
NAMES = ("index", "estimate", "rates", "crews", "sag", "flags", "day", "practice")
WIDTHS = (360, 800, 1400)
PAPER_MARGIN_MM = 12.0

pytestmark = pytest.mark.browser


@pytest.fixture
def tab(request: pytest.FixtureRequest, demo_pages: Path, browser: Browser, tabs: dict[Path, Tab]) -> Tab:
    """The page named by the test, drawn."""
    path = demo_pages / f"{request.getfixturevalue('name')}.html"
    if path not in tabs:
        tabs[path] = browser.open(path)
    return tabs[path]


def look(tab: Tab) -> dict[str, Any]:
    """What can be seen at the present width."""
    found: dict[str, Any] = tab.run((HERE / "look.js").read_text(encoding="utf-8"))
    return found


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("width", WIDTHS)
def test_R75_nothing_is_cut_off_at_any_width(tab: Tab, name: str, width: int) -> None:
    """Nothing leaves the window but what can be scrolled to by keyboard; chart words are whole, apart and 10 pt."""
    tab.wide(width)
    seen = look(tab)
    assert seen["wide"] == width
    assert seen["page"] <= width
    for fault in ("outside", "closed", "cut", "over", "small", "coloured"):
        assert seen[fault] == [], fault


@pytest.mark.parametrize("name", NAMES)
def test_R75_a_page_asks_for_nothing_and_its_console_says_nothing(tab: Tab, name: str) -> None:
    """Every chart holds marks, nothing is asked of any host, no script complains, the file is under 3 MB."""
    charts = look(tab)["charts"]
    assert bool(charts) == (name != "index")
    assert all(charts.values()), charts
    assert tab.asked == []
    assert tab.said == []
    assert tab.page.stat().st_size < 3_000_000


@pytest.mark.parametrize("name", NAMES)
def test_the_keyboard_reaches_everything_in_reading_order(tab: Tab, name: str) -> None:
    """Tab goes once through everything that can be reached, from top to bottom, and shows where it is."""
    tab.wide(360)
    tab.run("document.activeElement.blur(), scrollTo(0, 0)")
    script = (HERE / "tabs.js").read_text(encoding="utf-8")
    tab.run("getSelection().setBaseAndExtent(document.body, 0, document.body, 0)")
    stops: list[dict[str, Any]] = []
    for _ in range(tab.run(script)["of"]):
        tab.press("Tab")
        stops.append(tab.run(script))
    assert [stop["place"] for stop in stops] == list(range(len(stops)))
    for stop in stops:
        assert stop["seen"], stop
        assert stop["named"], stop
        assert stop["positive"] == 0
    tops = [stop["top"] for stop in stops[1:]]  # the first is the link that skips to the figures
    assert tops == sorted(tops)


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("width", [360, 1400])
def test_axe_finds_no_serious_violation(tab: Tab, name: str, width: int) -> None:
    """The accessibility rules of axe-core find nothing critical, serious or moderate."""
    assert AXE.exists(), f"axe-core is needed: npm ci --ignore-scripts --prefix {AXE.parents[2]}"
    tab.wide(width)
    if not tab.run("typeof window.axe === 'object'"):
        tab.run(AXE.read_text(encoding="utf-8") + "; true")
    found = tab.run("axe.run(document).then((r) => ({broken: r.violations, looked: r.passes.length}))")
    assert found["looked"] > 10
    grave = [
        f"{each['id']}: {node['html'][:150]}"
        for each in found["broken"]
        if each["impact"] in ("moderate", "serious", "critical")
        for node in each["nodes"]
    ]
    assert grave == []


def pages_of(pdf: Path) -> list[np.ndarray[Any, Any]]:
    """The pages as grey pictures, dark where there is ink."""
    tool = shutil.which("pdftoppm")
    assert tool, "pdftoppm is needed to look at what is printed: apt-get install poppler-utils"
    subprocess.run([tool, "-r", "50", "-gray", str(pdf), str(pdf.with_suffix(""))], check=True)
    found = []
    for file in sorted(pdf.parent.glob(f"{pdf.stem}-*.pgm")):
        head, size, _, data = file.read_bytes().split(b"\n", 3)
        assert head == b"P5"
        width, height = (int(number) for number in size.split())
        found.append(np.frombuffer(data, np.uint8).reshape(height, width))
    return found


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("paper", PAPERS)
def test_a_page_prints_whole_on_both_papers(tab: Tab, name: str, paper: str, tmp_path: Path) -> None:
    """Nothing is cut off or shrunk, ink keeps the margins, and no page but the last is half blank."""
    width_mm, _ = PAPERS[paper]
    printed = int((width_mm - 2 * PAPER_MARGIN_MM) / 25.4 * 96)
    tab.wide(printed, media="print")
    seen = look(tab)
    tab.wide(1400)
    assert seen["page"] <= printed
    for fault in ("outside", "closed", "cut", "over", "small"):
        assert seen[fault] == [], fault
    pdf = tmp_path / f"{name}.pdf"
    tab.pdf(pdf, paper)
    pages = pages_of(pdf)
    assert pages
    for number, page in enumerate(pages, start=1):
        foot = page.shape[0] - int(PAPER_MARGIN_MM / 25.4 * 50)  # below it stands the number of the page
        assert (page[foot:] < 200).any()
        ink = np.argwhere(page[:foot] < 200)
        assert ink.size, f"page {number} is blank"
        (top, left), (bottom, right) = ink.min(axis=0), ink.max(axis=0)
        margin = int((PAPER_MARGIN_MM - 1.5) / 25.4 * 50)
        assert top >= margin
        assert left >= margin
        assert right <= page.shape[1] - margin
        if number < len(pages):
            assert bottom > 0.55 * page.shape[0], f"page {number} of {len(pages)} is half blank"


@pytest.mark.parametrize("name", NAMES)
def test_a_printed_page_may_lie_alone(tab: Tab, name: str, tmp_path: Path) -> None:
    """Each page of paper bears its number, how many there are, a caution, and the mark no figure is read without."""
    pdf = tmp_path / f"{name}.pdf"
    tab.pdf(pdf, "a4")
    pages = printed_text(pdf)
    caution = "Planning and learning record only. No figure here means a cut may start."
    for number, words in enumerate(pages, start=1):
        foot = f"MADE UP {caution} Page {number} of {len(pages)}"
        assert words.endswith(foot)
        assert words.endswith(f"TRAINING {foot}") == (name == "practice")


def test_the_first_page_leads_to_every_other_by_its_question(demo_pages: Path) -> None:
    """The index links each page beside it by a question, with a relative address that holds."""
    text = (demo_pages / "index.html").read_text(encoding="utf-8")
    links = re.findall(r'<li><a href="([^"]+)">([^<]+)</a>', text)
    assert [file for file, _ in links] == [
        f"{name}.html" for name in (NAMES[1], "rates", "flags", "sag", "crews", "day", "practice")
    ]
    for file, question in links:
        assert (demo_pages / file).is_file()
        assert "?" in question
    assert "MADE UP" in text
