"""A log whose every free field tries to be something else: on pages, in files and on the terminal it stays text."""

from __future__ import annotations

import csv
import re
import sqlite3
from pathlib import Path

import pytest
from browser import Browser

NAMES = ("estimate", "rates", "crews", "sag", "flags", "day", "practice")
DAY = "2024-03-08"
SCRIPT = "<script>window.hostile='ran'</script>"
TEXT = f"=1+2\"'>{SCRIPT}</script><img src=x onerror=\"window.hostile='ran'\">{{{{7*7}}}}\u202edetrever\x1b[2J"
LONG = 10_000

pytestmark = pytest.mark.browser


def free_fields() -> list[tuple[str, str, int]]:
    """Table, column and length of every field that takes any text, from the tables' own declarations."""
    from burnlog.store.tables import TABLES

    return [
        (table.name, field.name, field.longest)
        for table in TABLES
        if table.name not in ("estimate", "fit_run")  # written after the rest, by commands of this test
        for field in table.fields
        if field.kind == "TEXT"
        and not (field.parent or field.words or field.among or field.shape)
        and not field.name.endswith("_hash")
        and (table.name, field.name) not in {("happening", "word"), ("flag_decision", "target")}
    ]


def burnlog(*words: str, expect: int = 0) -> str:
    """Run a command as people do."""
    from typer.testing import CliRunner

    from burnlog.cli.app import app

    done = CliRunner().invoke(app, list(words))
    code = getattr(done.exception, "exit_code", done.exit_code)
    assert code == expect, f"{done.output[-3000:]} {done.exception!r}"
    return done.output


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demonstration's log with hostile text in every free field of every row, and every page written from it."""
    from burnlog.cli.context import now
    from burnlog.demo import IMPORT_ORDER, write_scenario
    from burnlog.physics.oxygen import contents_kg
    from burnlog.physics.sections import read_section
    from burnlog.store.exchange import import_file
    from burnlog.store.log import Log

    place = tmp_path_factory.mktemp("hostile")
    path = place / "log.db"
    files = {file.name: file for file in write_scenario(place)}
    with Log.create(path, by="demo", now=now, made_up=True) as log:
        for name in IMPORT_ORDER:
            import_file(log, files[name], check_section=read_section, weigh=contents_kg)
    db = str(path)
    burnlog("--db", db, "--by", "T", "flags", "decide", "oxygen falling", "LOCK6 6", "keep", "--why", "seen")
    with sqlite3.connect(path) as base:
        base.create_function("burnlog_who", 0, lambda: "T")
        for table, column, longest in free_fields():
            room = longest or LONG
            ending = "'<b>' || no" if column == "code" else "''"
            base.execute(
                f"UPDATE {table} SET {column} = substr(?, 1, {room} - length({ending})) || {ending} "
                f"WHERE voided_at IS NULL",
                (TEXT * (1 + min(room, LONG) // len(TEXT)) if room > len(TEXT) else TEXT,),
            )
    base.close()
    takeoff = place / "hostile.csv"
    rows = list(csv.DictReader(files["takeoff.csv"].read_text(encoding="utf-8").splitlines()))
    for row in rows:
        row.update(rod_type="", note=TEXT, item=f"{row['item']} {TEXT}")
    with takeoff.open("w", encoding="utf-8", newline="") as out:
        writer = csv.DictWriter(out, rows[0])
        writer.writeheader()
        writer.writerows(rows)
    hand = TEXT * (LONG // len(TEXT))
    start = ("--db", db, "--by", hand, "--units", "us")
    burnlog(
        *(
            "--db",
            db,
            "--by",
            TEXT[:120],
            "--units",
            "us",
            "estimate",
            "issue",
            "E7",
            str(takeoff),
            "--title",
            TEXT[:120],
            "--bottom-time",
            "40min",
        ),
        *("--start-up", "15min", "--allow-outside", TEXT, "--adjust", "rods=+15%", "--why", TEXT),
    )
    remark = f"TR01={TEXT}"
    more = {"estimate": ("E7",), "rates": ("--by", "crew"), "day": (DAY,), "practice": ("--remark", remark)}
    for name in NAMES:
        charts = ("--svg", str(place / "svg" / name), "--png", str(place / "png" / name))
        burnlog(*start, "report", name, *more.get(name, ()), "--out", str(place / f"{name}.html"), *charts)
    return place


def test_every_free_field_is_filled(folder: Path) -> None:
    """The record behind these tests holds the text in every field that takes any, wherever there are rows."""
    with sqlite3.connect(folder / "log.db") as base:
        for table, column, _ in free_fields():
            rows = base.execute(f"SELECT {column} FROM {table} WHERE voided_at IS NULL").fetchall()
            assert all(str(value).startswith("=1+2") for (value,) in rows), f"{table}.{column}"
    base.close()
    assert len(free_fields()) > 30


@pytest.mark.parametrize("name", NAMES)
def test_hostile_text_stays_text_on_every_page(folder: Path, browser: Browser, name: str) -> None:
    """Text that tries to be script, markup, template or order of letters is read as text, and nothing of it runs."""
    tab = browser.open(folder / f"{name}.html")
    for _ in range(2):  # as opened, and again after the pointer has rested on a mark of every chart
        assert tab.run("window.hostile === undefined")
        assert tab.run("document.querySelectorAll('main img, main b, footer img, footer b').length") == 0
        assert tab.run("document.scripts.length") == 3
        for x, y in tab.run(
            "[...document.querySelectorAll('.chart')].map((box) => box.querySelector("
            "\"[role='graphics-symbol']\")).filter(Boolean).map((mark) => {mark.scrollIntoView({block: 'center'});"
            "const at = mark.getBoundingClientRect(); return [at.x + at.width / 2, at.y + at.height / 2]})"
        ):
            tab.ask("Input.dispatchMouseEvent", type="mouseMoved", x=x, y=y)
    words = tab.run("document.body.innerText")
    assert SCRIPT in words
    assert "{{7*7}}" in words
    assert "49" not in words.split("{{7*7}}")[0][-5:]
    assert not re.search(
        "[\u202a-\u202e\u2066-\u2069]", tab.run("document.documentElement.outerHTML.split('<script')[0]")
    )
    assert "\x1b" not in words
    assert tab.asked == []
    assert tab.said == []
    tab.wide(360)
    assert tab.run("document.documentElement.scrollWidth") <= 360
    tab.close()


@pytest.mark.parametrize("name", NAMES)
def test_every_chart_also_comes_as_svg_and_png(folder: Path, name: str) -> None:
    """Every chart of a page is written under its own name, as SVG without script and as PNG."""
    html = (folder / f"{name}.html").read_text(encoding="utf-8")
    wanted = set(re.findall(r'<div class="chart" id="([^"]+)">', html))
    assert wanted
    for ending in ("svg", "png"):
        files = list((folder / ending / name).iterdir())
        assert {file.stem for file in files} == wanted
        for file in files:
            data = file.read_bytes()
            if ending == "png":
                assert data.startswith(b"\x89PNG\r\n\x1a\n")
            else:
                assert data.startswith(b"<svg")
                assert b"<script" not in data
                assert b"<img" not in data


def test_exported_cells_are_no_formulas(folder: Path, tmp_path: Path) -> None:
    """No cell of an export begins as a formula does, and what was exported still holds the text."""
    burnlog("--db", str(folder / "log.db"), "--by", "T", "export", str(tmp_path / "out"))
    cells = 0
    for file in (tmp_path / "out").glob("*.csv"):
        with file.open(encoding="utf-8-sig", newline="") as lines:
            for row in csv.reader(lines):
                for cell in row:
                    harmless = re.fullmatch(r"-?[\d.]+( .*)?|-", cell)
                    assert not cell.startswith(("=", "+", "-", "@", "\t", "\r")) or harmless, (file.name, cell[:60])
                    cells += "window.hostile" in cell
    assert cells > 100


def test_the_terminal_shows_text_and_obeys_none(folder: Path) -> None:
    """Commands print plain ASCII: no control character of the record reaches the terminal."""
    db = ("--db", str(folder / "log.db"), "--by", "T")
    for words in (
        ("list", "jobs"),
        ("list", "cuts"),
        ("rates", "--by", "crew"),
        ("flags", "list"),
        ("sag",),
        ("crews",),
        ("practice",),
        ("events",),
        ("day", DAY),
        ("check",),
    ):
        expect = 4 if words == ("check",) else 0
        said = burnlog(*db, *words, expect=expect)
        assert said.isascii(), words
        assert not re.search(r"[\x00-\x08\x0b-\x1f\x7f]", said), words


def test_too_long_is_refused_not_cut(folder: Path) -> None:
    """Ten thousand characters where three hundred fit are refused with the number that fits."""
    db = str(folder / "log.db")
    said = burnlog("--db", db, "--by", "T", "report", "crews", "--remark", f"X={'y' * LONG}", expect=2)
    assert said == "" or "1,000" in said or "1000" in said
