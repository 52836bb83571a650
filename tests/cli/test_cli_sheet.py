"""The blank sheet: one landscape page with unique numbers, and a workbook that import takes back."""

from __future__ import annotations

import datetime as dt
import json
import re
import shutil
import subprocess
from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path

import openpyxl
import pytest

from burnlog.reports.cautions import EVERY_PAGE, SWITCH
from burnlog.reports.sheet import RULE
from burnlog.store.bundle import export_bundle, load_bundle
from burnlog.store.cutsheet import COLUMNS
from burnlog.store.entry import add_row
from burnlog.store.log import Log
from burnlog.store.merge import merge
from burnlog.store.sheetnumbers import log_mark, take_sheet_numbers

Runner = Callable[..., subprocess.CompletedProcess[str]]

# width and height of the paper lying on its side [mm]: ISO 216 A4; ANSI/ASME Y14.1 size A, 11 x 8.5 in of 25.4 mm
PAPERS = {"a4": (297.0, 210.0), "letter": (11 * 25.4, 8.5 * 25.4)}
LONG_TITLE = "Removal of the fender piles, walings and bracing of the old north quay, second stage, bays 14 to 31"


class Boxes(HTMLParser):
    """The boxes of each sheet of a page as (left, top, width, height) [mm], and the texts of the page."""

    def __init__(self) -> None:
        super().__init__()
        self.sheets: list[list[tuple[float, float, float, float]]] = []
        self.kinds: list[str] = []
        self.texts: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        said = dict(attrs)
        kinds = (said.get("class") or "").split()
        if kinds[:1] == ["sheet"]:
            self.sheets.append([])
        elif kinds[:1] == ["box"]:
            found = dict(re.findall(r"(left|top|width|height):([\d.]+)mm", said["style"] or ""))
            assert len(found) == 4
            left, top, width, height = (float(found[name]) for name in ("left", "top", "width", "height"))
            self.sheets[-1].append((left, top, width, height))
            self.kinds.append(kinds[1])

    def handle_data(self, data: str) -> None:
        self.texts.append(data.strip())


def _read(path: Path) -> Boxes:
    found = Boxes()
    found.feed(path.read_text(encoding="utf-8"))
    return found


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A log with a job of a very long title whose dive 1 bears sheet 6."""
    path = tmp_path_factory.mktemp("made") / "log.db"
    with Log.create(path, by="T", now=lambda: dt.datetime(2026, 5, 20, tzinfo=dt.UTC)) as log:
        add_row(log, "job", {"job": "PIER7", "water": "salt", "units_profile": "us", "title": LONG_TITLE})
        add_row(log, "person", {"person": "D3"})
        dive = {"job": "PIER7", "dive": "1", "dive_date": "2026-05-12", "diver": "D3", "sheet": "PIER7-0006"}
        add_row(log, "dive", dive)
    return path


@pytest.fixture
def log(made: Path, tmp_path: Path) -> Path:
    """A copy of that log, where the command looks for it."""
    return Path(shutil.copy(made, tmp_path / "log.db"))


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("units", ["us", "metric"])
def test_R74_every_box_is_inside_the_margin(
    burnlog: Runner, log: Path, tmp_path: Path, paper: str, units: str
) -> None:
    """On both papers every box lies inside 10 mm margins, and a sheet has 12 rows of 16 boxes 8 mm high."""
    out = tmp_path / "sheets.html"
    done = burnlog("sheet", "--job", "PIER7", "-n", "3", "--paper", paper, "--units", units, "--out", str(out))
    assert done.returncode == 0, done.stderr
    page = _read(out)
    wide, high = PAPERS[paper]
    assert len(page.sheets) == 3
    for boxes in page.sheets:
        for left, top, width, height in boxes:
            assert left >= 10.0
            assert top >= 10.0
            assert left + width <= wide - 10.0 + 1e-6
            assert top + height <= high - 10.0 + 1e-6
    first = len(page.sheets[0])
    rows = [box for box, kind in zip(page.sheets[0], page.kinds[:first], strict=True) if kind == "row"]
    assert len(rows) == 12 * 16
    assert {round(height) for *_, height in rows} == {8}
    assert min(width for _, _, width, _ in rows) >= 11.0


def test_R74_no_box_lies_on_another(burnlog: Runner, log: Path, tmp_path: Path) -> None:
    """Boxes share their lines and nothing more."""
    out = tmp_path / "s.html"
    burnlog("sheet", "--job", "PIER7", "--out", str(out))
    (boxes,) = _read(out).sheets
    for place, (left, top, width, height) in enumerate(boxes):
        for x, y, w, h in boxes[place + 1 :]:
            beside = min(left + width, x + w) - max(left, x)
            below = min(top + height, y + h) - max(top, y)
            assert beside <= 0.21 or below <= 0.21


def test_R74_numbers_go_on_from_the_log_and_are_unique(burnlog: Runner, log: Path, tmp_path: Path) -> None:
    """Sheets go on after the number a dive bears, and a second printing goes on after the first."""
    numbers: list[str] = []
    for name, count in (("one.html", 5), ("two.html", 50)):
        done = burnlog("sheet", "--job", "PIER7", "-n", str(count), "--out", str(tmp_path / name))
        assert done.returncode == 0, done.stderr
        numbers += [text for text in _read(tmp_path / name).texts if re.fullmatch(r"PIER7-\w{3}-\d{4}", text)]
    mark = numbers[0][6:9]
    assert numbers == [f"PIER7-{mark}-{number:04d}" for number in range(7, 62)]
    assert burnlog("verify").returncode == 0


def test_R74_two_laptops_print_no_number_twice(tmp_path: Path) -> None:
    """Logs that never met print at the same time: no number is on two papers, and after a merge numbers go on."""
    logs = []
    for name in ("day", "night"):
        path = tmp_path / f"{name}.db"
        log = Log.create(path, by=name, now=lambda: dt.datetime(2026, 5, 20, tzinfo=dt.UTC))
        add_row(log, "job", {"job": "PIER7", "water": "salt"})
        logs.append(log)
    printed = [number for log in logs for number in take_sheet_numbers(log, "PIER7", 20)]
    assert len(set(printed)) == 40
    night = logs[1]
    add_row(night, "person", {"person": "D3"})
    dive = {"job": "PIER7", "dive": "1", "dive_date": "2026-05-12", "diver": "D3", "sheet": printed[25]}
    add_row(night, "dive", dive)
    export_bundle(night, tmp_path / "night.json")
    report = merge(logs[0], load_bundle(tmp_path / "night.json"))
    assert report.added["dive"] == 1
    before = logs[0].rows("SELECT key, value FROM meta")
    merge(logs[0], load_bundle(tmp_path / "night.json"))
    assert logs[0].rows("SELECT key, value FROM meta") == before  # what another log printed is its own affair
    assert take_sheet_numbers(logs[0], "PIER7", 1) == (f"PIER7-{log_mark(logs[0].db_id)}-0021",)
    for log in logs:
        log.close()


@pytest.mark.parametrize("count", ["0", "51", "-1"])
def test_R74_other_than_one_to_fifty_ends_with_two(burnlog: Runner, log: Path, tmp_path: Path, count: str) -> None:
    """A count outside 1 to 50 ends with exit 2, no file, and no number used up."""
    done = burnlog("sheet", "--job", "PIER7", "-n", count, "--out", str(tmp_path / "no.html"))
    assert done.returncode == 2
    assert "1 to 50" in done.stderr
    assert not (tmp_path / "no.html").exists()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--paper", "a3", "--out", "s.html"), "a4 or letter"),
        (("--units", "imperial", "--out", "s.html"), "us or metric"),
        ((), "--out"),
        (("--first", "9999", "-n", "2", "--out", "s.html"), "9999"),
    ],
)
def test_R74_what_cannot_be_made_ends_with_two(
    burnlog: Runner, log: Path, tmp_path: Path, words: tuple[str, ...], said: str
) -> None:
    """An unknown paper or unit, no file to write, or numbers that run out end with exit 2 and the way out."""
    done = burnlog("sheet", "--job", "PIER7", *words)
    assert done.returncode == 2
    assert said in done.stderr
    assert not (tmp_path / "s.html").exists()


def test_R74_a_long_title_is_shortened_on_paper_only(burnlog: Runner, log: Path, tmp_path: Path) -> None:
    """The title is cut with a mark on the page and stands whole in the log."""
    out = tmp_path / "s.html"
    burnlog("sheet", "--job", "PIER7", "--out", str(out))
    assert LONG_TITLE not in out.read_text(encoding="utf-8")
    assert any(text.startswith("PIER7 Removal") and text.endswith("...") for text in _read(out).texts)
    assert json.loads(burnlog("show", "job", "PIER7", "--json").stdout)["title"] == LONG_TITLE


def test_R74_the_printed_rule_and_the_safety_lines_stand_on_the_page(
    burnlog: Runner, log: Path, tmp_path: Path
) -> None:
    """The rule about blanks, the switch line and the sentence of every page are printed on every sheet."""
    out = tmp_path / "s.html"
    burnlog("sheet", "--job", "PIER7", "-n", "2", "--out", str(out))
    texts = _read(out).texts
    for line in (RULE, SWITCH, EVERY_PAGE):
        assert texts.count(line) == 2


def test_R75_the_page_fetches_nothing(burnlog: Runner, log: Path, tmp_path: Path) -> None:
    """No address of the web and no script stands in the page."""
    out = tmp_path / "s.html"
    burnlog("sheet", "--job", "PIER7", "--out", str(out))
    html = out.read_text(encoding="utf-8")
    assert "http" not in html
    assert "<script" not in html


def test_a_job_title_cannot_write_the_page(burnlog: Runner, log: Path, tmp_path: Path) -> None:
    """Marks of HTML in a title come out as text."""
    assert burnlog("add", "job", "job=J2", "title=<b>x</b>&").returncode == 0
    burnlog("sheet", "--job", "J2", "--out", str(tmp_path / "s.html"))
    assert "<b>" not in (tmp_path / "s.html").read_text(encoding="utf-8")
    assert "J2 <b>x</b>&" in " ".join(_read(tmp_path / "s.html").texts)


def test_R74_without_a_log_the_first_number_is_given(burnlog: Runner, tmp_path: Path) -> None:
    """--first makes sheets where no log is; without either the missing log is named."""
    done = burnlog("sheet", "--job", "P9", "--first", "41", "-n", "2", "--out", str(tmp_path / "s.html"))
    assert done.returncode == 0, done.stderr
    assert "P9-0041" in _read(tmp_path / "s.html").texts
    assert not (tmp_path / "log.db").exists()
    assert burnlog("sheet", "--job", "P9", "--out", str(tmp_path / "t.html")).returncode == 5


def test_R78_the_sheet_command_is_ascii_on_an_old_console(burnlog: Runner, log: Path, tmp_path: Path) -> None:
    """Under code page 437 the command runs without a traceback."""
    out = str(tmp_path / "s.html")
    done = burnlog("sheet", "--job", "PIER7", "--out", out, env={"PYTHONIOENCODING": "cp437"})
    assert done.returncode == 0, done.stderr
    assert (done.stdout + done.stderr).isascii()


# the workbook


def _workbook(burnlog: Runner, path: Path, units: str = "us") -> openpyxl.Workbook:
    done = burnlog("sheet", "--job", "PIER7", "-n", "2", "--units", units, "--xlsx", str(path))
    assert done.returncode == 0, done.stderr
    return openpyxl.load_workbook(path)


def test_R74_the_workbook_has_the_columns_lists_and_notes(burnlog: Runner, log: Path, tmp_path: Path) -> None:
    """Every column of the sheet stands in a frozen header with its note; words come from drop-down lists."""
    book = _workbook(burnlog, tmp_path / "b.xlsx")
    sheet = book.worksheets[0]
    names = [str(cell.value).split(" [")[0] for cell in sheet[1]]
    assert names == [column.name for column in COLUMNS if column.name != "why"]
    assert all(cell.comment is not None for cell in sheet[1])
    assert sheet.freeze_panes == "D2"
    assert "thickness [in]" in [cell.value for cell in sheet[1]]
    listed = {str(check.sqref).split(":")[0].rstrip("0123456789") for check in sheet.data_validations.dataValidation}
    for name in ("position", "visibility", "outcome", "pass"):
        assert sheet.cell(1, names.index(name) + 1).column_letter in listed
    book.close()


@pytest.mark.parametrize(("units", "typed"), [("us", "0.625"), ("metric", "15.875")])
def test_R74_import_takes_the_filled_workbook_back(
    burnlog: Runner, log: Path, tmp_path: Path, units: str, typed: str
) -> None:
    """A filled workbook goes in: bare numbers by the unit of the header, typed units and words by themselves."""
    path = tmp_path / "b.xlsx"
    book = _workbook(burnlog, path, units)
    sheet = book.worksheets[0]
    places = {str(cell.value).split(" [")[0]: cell.column for cell in sheet[1]}
    rows = [
        {"job": "PIER7", "dive": 2, "dive_date": "2026-05-13", "diver": "D3", "setting": "open water"},
        {"job": "PIER7", "dive": 2},
    ]
    for number, row in enumerate(rows, start=2):
        cells = {**row, "line": f"L{number}", "thickness": typed, "new_length": "2 ft 6 in", "outcome": "through"}
        for name, value in cells.items():
            sheet.cell(number, places[name], value)
    book.save(path)
    book.close()
    done = burnlog("import", str(path))
    assert done.returncode == 0, done.stderr
    cuts = json.loads(burnlog("list", "cuts", "--json").stdout)["cuts"]
    assert [cut["thickness_mm"] for cut in cuts] == [pytest.approx(15.875)] * 2
    assert [cut["new_length_mm"] for cut in cuts] == [pytest.approx(762.0)] * 2


def test_R74_a_bad_cell_of_the_workbook_is_named_by_its_address(burnlog: Runner, log: Path, tmp_path: Path) -> None:
    """A word that is in no list ends with exit 2 and the cell as the spreadsheet calls it."""
    path = tmp_path / "b.xlsx"
    book = _workbook(burnlog, path)
    sheet = book.worksheets[0]
    places = {str(cell.value).split(" [")[0]: cell for cell in sheet[1]}
    bad = f"{places['position'].column_letter}2"
    for name, value in {"job": "PIER7", "dive": 2, "dive_date": "2026-05-13", "diver": "D3"}.items():
        sheet.cell(2, places[name].column, value)
    sheet[bad] = "sideways"
    book.save(path)
    book.close()
    done = burnlog("import", str(path))
    assert done.returncode == 2
    assert f"cell {bad}" in done.stderr
    assert json.loads(burnlog("list", "cuts", "--json").stdout)["cuts"] == []


# in a browser

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--no-first-run",
    "--disable-sync", "--disable-component-update", "--no-pdf-header-footer",
)  # fmt: skip


def _browse(tmp_path: Path, page: Path, *flags: str) -> str:
    assert CHROMIUM is not None, "Chromium is needed to print the sheet: apt-get install chromium"
    done = subprocess.run(
        [CHROMIUM, *FLAGS, f"--user-data-dir={tmp_path / 'profile'}", *flags, page.as_uri()],
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )
    return done.stdout


@pytest.mark.browser
@pytest.mark.parametrize("paper", PAPERS)
def test_R74_a_sheet_prints_on_exactly_one_page(burnlog: Runner, log: Path, tmp_path: Path, paper: str) -> None:
    """Printed by a browser, one sheet is one page and three are three, of the paper's size to 1 mm."""
    for count in (1, 3):
        out, pdf = tmp_path / f"{count}.html", tmp_path / f"{count}.pdf"
        burnlog("sheet", "--job", "PIER7", "-n", str(count), "--paper", paper, "--out", str(out))
        _browse(tmp_path, out, f"--print-to-pdf={pdf}")
        data = pdf.read_bytes()
        assert len(re.findall(rb"/Type\s*/Page\b(?!s)", data)) == count
        for box in re.findall(rb"/MediaBox\s*\[([^\]]*)\]", data):
            _, _, wide, high = (float(text) * 25.4 / 72 for text in box.split())
            assert (wide, high) == pytest.approx(PAPERS[paper], abs=1.0)


@pytest.mark.browser
@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("units", ["us", "metric"])
def test_R74_no_printed_word_is_cut_off(burnlog: Runner, log: Path, tmp_path: Path, paper: str, units: str) -> None:
    """In a browser no box holds more than it shows, so every head and every tick word can be read."""
    out = tmp_path / "s.html"
    burnlog("sheet", "--job", "PIER7", "--paper", paper, "--units", units, "--out", str(out))
    look = (
        "<script>const cut=[...document.querySelectorAll('.box')].filter(b=>[...b.querySelectorAll('span,p')]."
        "some(s=>{const r=document.createRange();r.selectNodeContents(s);const i=r.getBoundingClientRect(),"
        "o=b.getBoundingClientRect();return i.right>o.right||i.bottom>o.bottom}));"
        "document.title=document.querySelectorAll('.box').length+' boxes, cut off: '"
        "+cut.map(b=>b.textContent).join(' / ')+'.'</script>"
    )
    looked = tmp_path / "looked.html"
    looked.write_text(out.read_text(encoding="utf-8").replace("</body>", look + "</body>"), encoding="utf-8")
    title = re.search(r"<title>(.*?)</title>", _browse(tmp_path, looked, "--dump-dom"), re.DOTALL)
    assert title is not None
    assert re.fullmatch(r"2\d\d boxes, cut off: \.", title[1]), title[1]
