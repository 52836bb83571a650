"""What stands on every page of the demonstration, as a browser draws it; the browser opens each page once."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest
from browser import Browser, Tab

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
    """A page before and after its scripts ran."""

    text: str
    dom: str

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


Opener = Callable[[str], Opened]


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
def opened(demo_pages: Path, browser: Browser, tabs: dict[Path, Tab]) -> Opener:
    """Open a page of the demonstration by its name."""

    def open_(name: str) -> Opened:
        path = demo_pages / f"{name}.html"
        if path not in tabs:
            tabs[path] = browser.open(path)
        return Opened(path.read_text(encoding="utf-8"), tabs[path].run("document.documentElement.outerHTML"))

    return open_


@pytest.mark.parametrize("name", KINDS)
def test_R77_R79_a_page_ends_with_its_cautions_and_says_no_banned_word(demo_pages: Path, name: str) -> None:
    """The cautions of its kind, the mark MADE UP and the line of data stand on the page; no banned word does."""
    from burnlog.reports.cautions import MADE_UP, TRAPPED_GAS, cautions

    text = (demo_pages / f"{name}.html").read_text(encoding="utf-8")
    words = Opened(text, "").words
    for sentence in (*cautions(KINDS[name]), MADE_UP, TRAPPED_GAS):
        assert sentence.split("Figures come from")[0].strip() in words
    assert "Figures come from" in words or KINDS[name] in ("sag", "flags", "day")
    assert re.search(r"Log [0-9a-f-]{8,}", words)
    for banned in BANNED:
        assert not re.search(rf"\b{banned}\b", words.lower()), banned


@pytest.mark.browser
def test_R66_R67_crews_stand_in_code_order_with_the_band_and_the_fixed_sentence(opened: Opener) -> None:
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


def test_R67_no_ground_no_figure(demo_pages: Path, tmp_path: Path) -> None:
    """On one job nobody stands against the others: the page says why and gives no ratio."""
    db = str(demo_pages / "demo.db")
    out = tmp_path / "one.html"
    burnlog("--db", db, "report", "crews", "--job", "MOOR1", "--out", str(out))
    words = Opened(out.read_text(encoding="utf-8"), "").words
    assert "cannot be told apart from the job" in words
    assert "No luck band" in words


def test_R69_a_remark_is_printed_whole_or_refused(demo_pages: Path, tmp_path: Path) -> None:
    """A thousand characters stand on the page uncut; one more is refused and no page is written."""
    db = str(demo_pages / "demo.db")
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
def test_R70_R71_R73_practice_keeps_settings_apart_in_code_order(opened: Opener) -> None:
    """Twelve codes in code order, each setting with charts of its own, calls before rods."""
    page = opened("practice")
    tank = page.charts["attempts_test_tank"]
    labels = re.findall(r">(TR\d\d) \(n = \d\)<", tank)
    assert labels == [f"TR{place:02d}" for place in range(1, 13)]
    shown = re.search(r"(\d+) of 48 attempts have rods per ft", page.words)
    assert shown is not None
    assert len(re.findall(r'aria-roledescription="point"', tank)) == int(shown[1])
    settings = {name.split("_", 1)[1] for name in page.charts if name != "two_plates"}
    assert settings == {"dry_practice", "test_tank"}
    first, second = page.words.index("Dry practice 14 people"), page.words.index("Test tank 12 people")
    for start, end in ((first, second), (second, len(page.words))):
        part = page.words[start:end]
        assert part.index("1 Calls and safety faults") < part.index("3 Rods and time")
    assert "TRAINING" in page.words
    assert "too few attempts for a trend" in page.words


@pytest.mark.browser
def test_sag_strips_show_each_reading_the_limits_and_the_cuts(opened: Opener) -> None:
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
def test_flags_show_written_expected_sheet_decision_and_what_is_not_seen(
    demo_pages: Path, browser: Browser, tmp_path: Path
) -> None:
    """The table bears all four columns, a decision shows, and what no rule sees is listed."""
    db, out = tmp_path / "log.db", tmp_path / "flags.html"
    shutil.copy(demo_pages / "demo.db", db)
    start = ("--db", str(db), "--by", "S01")
    burnlog(*start, "flags", "decide", "oxygen falling", "LOCK6 6", "leave-out", "--why", "hose kinked")
    burnlog(*start, "report", "flags", "--out", str(out))
    tab = browser.open(out)
    page = Opened(out.read_text(encoding="utf-8"), tab.run("document.documentElement.outerHTML"))
    tab.close()
    for column in ("found", "expected", "also on the sheet", "decision"):
        assert f">{column}</th>" in page.text
    assert "leave-out" in page.words or "leave out" in page.words
    assert "What these rules cannot see" in page.words
    n = re.search(r"(\d+) of \d+ questions have an expected range", page.words)
    assert n is not None
    assert len(re.findall(r'aria-roledescription="point"', page.charts["outside"])) == int(n[1])


@pytest.mark.browser
def test_R50_rates_show_a_panel_for_each_rod_and_a_dot_for_each_condition(opened: Opener) -> None:
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


def test_R50_no_rate_is_printed_where_no_tally_is_near(demo_pages: Path) -> None:
    """Between two plates the curve goes on, but the table has no row on nought tallies."""
    text = (demo_pages / "rates.html").read_text(encoding="utf-8")
    table = text.split("One usual line in a new job")[2].split("</table>")[0]
    rows = [re.findall(r"<t[hd][^>]*>([^<]*)</t[hd]>", row) for row in table.split("<tr>")[2:]]
    assert len(rows) > 10
    assert [row for row in rows if int(row[-2]) == 0] == []


@pytest.mark.parametrize("name", KINDS)
def test_a_page_in_feet_and_inches_holds_no_metre(demo_pages: Path, name: str) -> None:
    """Whoever reads feet, inches and psi finds no metre, millimetre or bar, but a bid's length said both ways."""
    words = Opened((demo_pages / f"{name}.html").read_text(encoding="utf-8"), "").words
    words, both = re.subn(r" \(\d+\.\d\d m\) of cut line", "", words)
    assert both == (name == "estimate")
    assert re.findall(r".{30}(?:\d ?(?:mm|m|bar|kPa|msw)|per (?:m|metre))\b", words) == []


def test_a_bid_orders_oxygen_in_the_readers_unit_first() -> None:
    """Cubic feet lead for a reader of feet, kilograms for any other, and the other unit stands beside."""
    from burnlog.reports.text_plan import oxygen_says

    us, metric = oxygen_says(375.5, "us"), oxygen_says(375.5, "metric")
    said = re.fullmatch(r"([\d,]+) scf at 70 F, 1 atm \(376 kg\)", us)
    assert said is not None
    # 1 scf of oxygen at 70 F and 1 atm is 0.03755 kg: held in tests/physics/test_physics_oxygen.py
    assert int(said[1].replace(",", "")) == pytest.approx(375.5 / 0.03755, rel=1e-3)
    assert metric == f"376 kg ({said[1]} scf at 70 F, 1 atm)"


def test_rods_bear_their_diameter_in_the_readers_unit(demo_pages: Path, tmp_path: Path) -> None:
    """Page, charts and terminal say 1/4 in or 6.35 mm as the reader counts; JSON is SI whoever asks."""
    db = str(demo_pages / "demo.db")
    metric = tmp_path / "rates.html"
    burnlog("--db", db, "--units", "metric", "report", "rates", "--out", str(metric))
    texts = {
        "us": [
            (demo_pages / "rates.html").read_text(encoding="utf-8"),
            burnlog("--db", db, "--units", "us", "rates"),
        ],
        "metric": [metric.read_text(encoding="utf-8"), burnlog("--db", db, "--units", "metric", "rates")],
    }
    names = {
        "us": ("exothermic 1/4 in", "exothermic 3/8 in"),
        "metric": ("exothermic 6.35 mm", "exothermic 9.525 mm"),
    }
    for profile, other in (("us", "metric"), ("metric", "us")):
        for text in texts[profile]:
            assert all(name in text for name in names[profile])
            assert not any(name in text for name in names[other])
    model = json.loads(burnlog("--db", db, "--units", "us", "rates", "--json"))["rods"]["model"]
    assert {"exothermic 6.35 mm"} <= {term["level"] for term in model["terms"]}


def test_R80_a_day_names_the_legal_log_of_each_dive(demo_pages: Path) -> None:
    """The dive table of a day gives where the legal log holds each dive."""
    words = Opened((demo_pages / "day.html").read_text(encoding="utf-8"), "").words
    dives = re.search(r"(\d+) dives by \d+ divers", words)
    assert dives is not None
    assert int(dives[1]) >= 3
    assert len(re.findall(r"log \d\d p\.\d+", words.split("legal log ref")[1].split("Still to be")[0])) == int(
        dives[1]
    )
    assert "confirm by diver before any lift" in words


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
def test_R76_what_colour_carries_shape_or_dash_carries_too(demo_pages: Path, name: str) -> None:
    """Wherever a chart encodes colour, its shape or dash is encoded as well."""
    html = (demo_pages / f"{name}.html").read_text(encoding="utf-8")
    specs = json.loads(html.split('id="specs">')[1].split("</script>")[0])
    looked = [(chart, place, keys) for chart, spec in specs.items() for place, keys in _parts(spec)]
    assert looked
    for chart, place, keys in looked:
        if {"color", "fill", "stroke"} & set(keys):
            assert {"shape", "strokeDash"} & set(keys), f"{chart}{place}"
