"""Every page as a browser shows it, every host unreachable; each page is opened once."""

from __future__ import annotations

import io
import os
import re
import shutil
import subprocess
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest

BROWSER_WORDS = (
    *("--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync"),
    *("--disable-background-networking", "--disable-component-update", "--virtual-time-budget=10000"),
    *("--host-resolver-rules=MAP * ~NOTFOUND", "--enable-logging=stderr", "--v=0"),
)
HOSTILE = '<script>alert(1)</script> "><img src=x onerror=alert(2)> \u202edetrever'
DAY = "2024-03-08"
KINDS = {
    "rates": "review",
    "crews": "review",
    "sag": "sag",
    "flags": "flags",
    "day": "day",
    "practice": "variation",
    "estimate": "estimate",
}
BANNED = (
    *("safe to", "approved", "compliant", "recommended setting", "you should set"),
    *("best", "worst", "rank", "ranks", "ranking", "ranked", "league", "performer"),
)


@dataclass(frozen=True)
class Opened:
    """A page before and after its scripts ran, and what the browser logged."""

    text: str
    dom: str
    log: str
    size: int

    @property
    def charts(self) -> dict[str, str]:
        """The drawn part of each chart by its element id."""
        pieces = re.split(r'<div class="chart[^"]*" id="([^"]+)"', self.dom)
        named = zip(pieces[1::2], pieces[2::2], strict=True)
        return {name: piece.split("</svg>")[0] for name, piece in named}

    @property
    def words(self) -> str:
        """What a reader reads, without markup and scripts."""
        body = re.sub(r"<(script|style)\b.*?</\1>", " ", self.text, flags=re.S)
        return " ".join(re.sub(r"<[^>]+>", " ", body).replace("&#39;", "'").split())


def marks(chart: str, role: str = "point|bar|square") -> int:
    """Marks of a drawn chart that stand for data."""
    return len(re.findall(rf'aria-roledescription="(?:{role}|line mark|rule mark|rect mark)"', chart))


def burnlog(*words: str, expect: int = 0) -> str:
    """Run a command as people do."""
    from typer.testing import CliRunner

    from burnlog.cli.app import app

    done = CliRunner().invoke(app, list(words))
    code = getattr(done.exception, "exit_code", done.exit_code)
    assert code == expect, f"{done.output} {done.exception!r}"
    return f"{done.output} {done.exception or ''}"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demonstration's log with hostile text in free fields, and every page written from it."""
    place = tmp_path_factory.mktemp("pages")
    burnlog("demo", str(place / "demo"))
    db = str(place / "demo" / "demo.db")
    shutil.copy(place / "demo" / "estimate.html", place / "estimate.html")
    burnlog(
        *("--db", db, "--by", HOSTILE, "flags", "decide", "oxygen falling", "LOCK6 6", "leave-out"),
        *("--why", HOSTILE),
    )
    written = {
        "rates": ("rates", "--by", "crew"),
        "crews": ("crews", "--remark", f"RED={HOSTILE}"),
        "sag": ("sag",),
        "flags": ("flags",),
        "day": ("day", DAY),
        "practice": ("practice", "--remark", f"TR03={HOSTILE}"),
    }
    for name, words in written.items():
        out = ("--out", str(place / f"{name}.html"))
        files = ("--svg", str(place / "svg" / name)) if name == "sag" else ()
        if name == "day":
            files = ("--svg", str(place / "svg" / name), "--png", str(place / "png" / name))
        burnlog("--db", db, "--by", HOSTILE, "--units", "us", "report", *words, *out, *files)
    return place


@pytest.fixture(scope="module")
def opened(folder: Path, tmp_path_factory: pytest.TempPathFactory):
    """Open a page by its name, once."""
    browser = shutil.which("chromium") or shutil.which("chromium-browser")
    assert browser, "Chromium is needed to look at the pages: apt-get install chromium"

    @cache
    def open_(name: str) -> Opened:
        page = folder / f"{name}.html"
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
        return Opened(page.read_text(encoding="utf-8"), done.stdout, done.stderr, page.stat().st_size)

    return open_


@pytest.mark.browser
@pytest.mark.parametrize("name", KINDS)
def test_R75_a_page_draws_offline_with_an_empty_console(opened, name: str) -> None:
    """Every chart is drawn and holds marks, the console says nothing, and nothing is asked of the network."""
    page = opened(name)
    assert '<html lang="en" data-drawn="yes"' in page.dom
    assert "CONSOLE" not in page.log
    assert not re.search(r"""(?:src|href)\s*=\s*["']\s*(?:https?:)?//""", page.text)
    assert page.size < 3_000_000
    assert page.charts
    for chart, drawn in page.charts.items():
        assert "<svg" in drawn, chart
        assert marks(drawn) > 0, chart


@pytest.mark.parametrize("name", KINDS)
def test_R77_R79_a_page_ends_with_its_cautions_and_says_no_banned_word(folder: Path, name: str) -> None:
    """The cautions of its kind, the mark MADE UP and the line of data stand on the page; no banned word does."""
    from burnlog.reports.cautions import MADE_UP, TRAPPED_GAS, cautions

    text = (folder / f"{name}.html").read_text(encoding="utf-8")
    words = Opened(text, "", "", 0).words
    for sentence in (*cautions(KINDS[name]), MADE_UP, TRAPPED_GAS):
        assert sentence.split("Figures come from")[0].strip() in words
    assert "Figures come from" in words or KINDS[name] in ("sag", "flags", "day")
    assert re.search(r"Log [0-9a-f-]{8,}", words)
    for banned in BANNED:
        assert not re.search(rf"\b{banned}\b", words.lower()), banned


@pytest.mark.browser
@pytest.mark.parametrize("name", ["crews", "practice", "rates"])
def test_hostile_text_is_shown_and_runs_nowhere(opened, name: str) -> None:
    """Text that tries to be a script stands on the page whole, as text, and makes no element of its own."""
    page = opened(name)
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in page.text
    assert "<script>alert" not in page.dom
    assert "<img" not in re.sub(r"<script\b.*?</script>", "", page.dom, flags=re.S)


@pytest.mark.browser
def test_R66_R67_crews_stand_in_code_order_with_the_band_and_the_fixed_sentence(opened) -> None:
    """Rows stand in code order beside the luck band, the sentence bears computed figures, no sort is offered."""
    page = opened("crews")
    drawn = page.charts["standing"]
    labels = re.findall(r">([A-Z]+) \(n = \d+ on \d+ jobs?\)<", drawn)
    assert labels == sorted(labels) == ["BLUE", "GREY", "RED"]
    assert marks(drawn, "bar") >= 3
    assert len(re.findall(r'aria-roledescription="point"', drawn)) == 6
    said = re.search(r"Differences this size appear among 3 identical crews with \d+ tallies each: highest over "
                     r"lowest (\d\.\d\d) to (\d\.\d\d)", page.words)  # fmt: skip
    assert said is not None
    assert 1.0 < float(said[1]) < float(said[2])
    assert "No such option" in burnlog("report", "crews", "--sort", "result", expect=2)


def test_R67_no_ground_no_figure(folder: Path, tmp_path: Path) -> None:
    """On one job nobody stands against the others: the page says why and gives no ratio."""
    db = str(folder / "demo" / "demo.db")
    out = tmp_path / "one.html"
    burnlog("--db", db, "report", "crews", "--job", "MOOR1", "--out", str(out))
    words = Opened(out.read_text(encoding="utf-8"), "", "", 0).words
    assert "cannot be told apart from the job" in words
    assert "No luck band" in words


def test_R69_a_remark_is_printed_whole_or_refused(folder: Path, tmp_path: Path) -> None:
    """A thousand characters stand on the page uncut; one more is refused and no page is written."""
    db = str(folder / "demo" / "demo.db")
    whole = "the hose was changed at noon. " * 33 + "0123456789"
    assert len(whole) == 1000
    out = tmp_path / "remark.html"
    burnlog("--db", db, "report", "practice", "--remark", f"TR01={whole}", "--out", str(out))
    assert whole in out.read_text(encoding="utf-8")
    again = tmp_path / "again.html"
    said = burnlog("--db", db, "report", "practice", "--remark", f"TR01={whole}x", "--out", str(again), expect=2)
    assert "1001 characters" in said
    assert not again.exists()


@pytest.mark.browser
def test_R70_R71_R73_practice_keeps_settings_apart_in_code_order(opened) -> None:
    """Twelve codes in code order, each setting with charts of its own, calls before rods."""
    page = opened("practice")
    tank = page.charts["attempts_test_tank"]
    labels = re.findall(r">(TR\d\d) \(n = \d\)<", tank)
    assert labels == [f"TR{place:02d}" for place in range(1, 13)]
    shown = re.search(r"(\d+) of 48 attempts have rods per ft", page.words)
    assert shown is not None
    assert len(re.findall(r'aria-roledescription="point"', tank)) == int(shown[1])
    assert {name.split("_", 1)[1] for name in page.charts} == {"dry_practice", "test_tank"}
    first, second = page.words.index("Dry practice 14 people"), page.words.index("Test tank 12 people")
    for start, end in ((first, second), (second, len(page.words))):
        part = page.words[start:end]
        assert part.index("1 Calls and safety faults") < part.index("3 Rods and time")
    assert "TRAINING" in page.words
    assert "too few attempts for a trend" in page.words


@pytest.mark.browser
def test_sag_strips_show_each_reading_the_limits_and_the_cuts(opened) -> None:
    """A strip has a mark for every reading, its limits, and a bar for every cut that is known."""
    page = opened("sag")
    strip = page.charts["strip1"]
    n = re.search(r"\(n = (\d+) readings\)", strip)
    assert n is not None
    assert len(re.findall(r'aria-roledescription="point"', strip)) == int(n[1])
    for word in ("usual", "5 spreads", "limit passed", "cut 3"):
        assert word in strip
    assert "sag likely" in page.words


@pytest.mark.browser
def test_flags_show_written_expected_sheet_decision_and_what_is_not_seen(opened) -> None:
    """The table bears all four columns, a decision shows, and what no rule sees is listed."""
    page = opened("flags")
    for column in ("found", "expected", "what else stood on the sheet", "decision"):
        assert f">{column}</th>" in page.text
    assert "leave-out" in page.words or "leave out" in page.words
    assert "What these rules cannot see" in page.words
    n = re.search(r"(\d+) of \d+ questions have an expected range", page.words)
    assert n is not None
    assert len(re.findall(r'aria-roledescription="point"', page.charts["outside"])) == int(n[1])


@pytest.mark.browser
def test_R50_rates_show_a_panel_for_each_rod_and_a_dot_for_each_condition(opened) -> None:
    """The curve has its tallies and three lines a panel; the conditions one dot a row of the table."""
    page = opened("rates")
    n = [int(found) for found in re.findall(r">thickness, in \(n = (\d+)\)<", page.charts["curve"])]
    assert len(n) == 3
    assert len(re.findall(r'aria-roledescription="point"', page.charts["curve"])) == sum(n)
    assert len(re.findall(r'aria-roledescription="line mark"', page.charts["curve"])) == 9
    rows = page.text.split("Factors on rods;")[2].split("</table>")[0].count("<tr>") - 1
    assert len(re.findall(r'aria-roledescription="point"', page.charts["rod_terms"])) == rows
    assert "cost of a start" in page.words
    assert "thickness exponent" in page.words


def test_R80_a_day_names_the_legal_log_of_each_dive(folder: Path) -> None:
    """The dive table of a day gives where the legal log holds each dive."""
    words = Opened((folder / "day.html").read_text(encoding="utf-8"), "", "", 0).words
    assert words.count("log 24 p.") == 3
    assert "confirm by diver before any lift" in words


def test_charts_also_come_as_svg_and_png(folder: Path) -> None:
    """Every chart of a page is written under its own name, and a PNG is a PNG."""
    text = {name: (folder / f"{name}.html").read_text(encoding="utf-8") for name in ("sag", "day")}
    for name, html in text.items():
        wanted = set(re.findall(r'<div class="chart" id="([^"]+)">', html))
        assert {file.stem for file in (folder / "svg" / name).iterdir()} == wanted
        for file in (folder / "svg" / name).iterdir():
            assert file.read_text(encoding="utf-8").startswith("<svg")
    for file in (folder / "png" / "day").iterdir():
        assert io.BytesIO(file.read_bytes()).read(8) == b"\x89PNG\r\n\x1a\n"


def _parts(spec: object, where: str = "") -> list[tuple[str, dict[str, object]]]:
    """Every encoding of a chart spec with its mark's dash and shape in reach."""
    found: list[tuple[str, dict[str, object]]] = []
    if isinstance(spec, dict):
        if isinstance(spec.get("encoding"), dict):
            found.append((where, spec["encoding"]))
        for key, value in spec.items():
            found += _parts(value, f"{where}/{key}")
    elif isinstance(spec, list):
        for place, value in enumerate(spec):
            found += _parts(value, f"{where}/{place}")
    return found


@pytest.mark.parametrize("name", KINDS)
def test_R76_what_colour_carries_shape_or_dash_carries_too(folder: Path, name: str) -> None:
    """Wherever a chart encodes colour, its shape or dash is encoded as well."""
    import json

    html = (folder / f"{name}.html").read_text(encoding="utf-8")
    specs = json.loads(html.split('id="specs">')[1].split("</script>")[0])
    looked = [(chart, place, keys) for chart, spec in specs.items() for place, keys in _parts(spec)]
    assert looked
    for chart, place, keys in looked:
        if {"color", "fill", "stroke"} & set(keys):
            assert {"shape", "strokeDash"} & set(keys), f"{chart}{place}"
