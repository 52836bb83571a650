"""The whole main job on the invented contractor's files: log, learn, flag, plan."""

from __future__ import annotations

import csv
import datetime as dt
import json
import os
import re
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from burnlog import vocabulary
from burnlog.analyses.basis import basis_of
from burnlog.analyses.estimate import Plan, draft, spread_of
from burnlog.errors import FileError

Runner = Callable[..., subprocess.CompletedProcess[str]]
SEED = Path(__file__).parents[2] / "seed_data"
ORDER = (
    *("jobs", "rod_types", "persons", "rigs", "banks", "cuts_2023", "cuts_2024", "cuts_2025", "cuts_2026"),
    *("lines", "class", "practice", "readings", "rules", "prices"),
)
SPREAD = {"mean", "p2_5", "p10", "p25", "p50", "p75", "p80", "p90", "p97_5"}


def _run(db: Path, *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "burnlog", "--db", str(db), *words],
        capture_output=True,
        text=True,
        env={**os.environ, "COLUMNS": "80"},
        check=False,
        timeout=300,
    )


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A log made up from the seed files."""
    db = tmp_path_factory.mktemp("season") / "season.db"
    assert _run(db, "init", "--made-up").returncode == 0
    done = _run(db, "import", *(str(SEED / f"{name}.csv") for name in ORDER))
    assert done.returncode == 0, done.stderr
    return db


@pytest.fixture
def own(season: Path, tmp_path: Path) -> Path:
    """A copy of that log, to be changed."""
    return Path(shutil.copy(season, tmp_path / "own.db"))


def test_R06_seed_files_again_add_nothing(own: Path) -> None:
    """Importing every seed file a second time adds no row."""
    done = _run(own, "import", *(str(SEED / f"{name}.csv") for name in ORDER), "--json")
    assert done.returncode == 0, done.stderr
    assert all(sum(file["added"].values()) == 0 for file in json.loads(done.stdout)["files"])


def test_the_demo_runs_to_the_end_and_says_made_up(tmp_path: Path) -> None:
    """One command goes from files to a page; a second time into the same folder is refused."""
    done = _run(tmp_path / "x.db", "demo", str(tmp_path / "demo"))
    assert done.returncode == 0, done.stderr
    for words in ("MADE UP", "Rods per ft", "Odd burns", "Oxygen", "Crews", "ESTIMATE", "P80", "permit"):
        assert words in done.stdout
    assert done.stdout.isascii()
    assert max(len(line) for line in done.stdout.splitlines() if "/" not in line) <= 80
    page = (tmp_path / "demo" / "estimate.html").read_text(encoding="utf-8")
    assert "MADE UP" in page
    assert _run(tmp_path / "x.db", "demo", str(tmp_path / "demo")).returncode == 5


def test_estimate_prints_the_documented_keys_and_the_same_bytes(season: Path) -> None:
    """A drafted bid as JSON has every documented key and repeats to the byte."""
    words = (
        "estimate",
        "draft",
        str(SEED / "takeoff.csv"),
        "--bottom-time",
        "40min",
        "--start-up",
        "15min",
        "--json",
    )
    one, two = _run(season, *words), _run(season, *words)
    assert one.returncode == 0, one.stderr
    assert one.stdout == two.stdout
    found = json.loads(one.stdout)
    keys = {
        *("made_up", "db_id", "seed", "draws", "length_m", "rods", "rods_unit", "cut_time_s", "dives", "oxygen_kg"),
        *("packs", "items", "basis", "drivers", "fit", "warnings", "in", "not_in", "cautions", "cost", "order"),
        *("adjustments", "outside_history", "bottom_time_s", "start_up_s", "cutting_share"),
    }
    assert keys <= set(found)
    for name in ("rods", "cut_time_s", "dives", "oxygen_kg", "packs"):
        assert set(found[name]) == SPREAD
        levels = [found[name][key] for key in ("p2_5", "p10", "p25", "p50", "p75", "p80", "p90", "p97_5")]
        assert levels == sorted(levels)
    assert {"tallies", "cuts", "lines", "jobs", "crews", "divers", "from", "to", "left_out"} <= set(found["basis"])
    assert {"item", "quantity", "length_m", "thickness_mm", "rods", "cut_time_s", "support", "warnings"} <= set(
        found["items"][0]
    )
    assert set(found["drivers"]) == {"job", "diver", "burn", "parameters"}
    assert {"thickness_exponent", "start_m", "group_sd", "sigma", "khat"} <= set(found["fit"])
    assert found["made_up"] is True
    assert any("permit" in text for text in found["cautions"])


def test_R61_an_issued_estimate_repeats_after_more_tallies(own: Path, tmp_path: Path) -> None:
    """Fifty more tallies in the log leave an issued bid as it was, to the byte; it cannot be issued twice."""
    takeoff = str(SEED / "takeoff.csv")
    done = _run(own, "estimate", "issue", "E7", takeoff, "--bottom-time", "40min", "--start-up", "15min")
    assert done.returncode == 0, done.stderr
    before = _run(own, "estimate", "rerun", "E7", "--json").stdout
    rows = ["job,dive,dive_date,diver,setting,record_class,water,line,thickness,rod_type,rods,new_length,made_up"]
    rows += [
        f"LATER1,{n},2026-06-{n % 28 + 1:02d},D1,open water,production,salt,L{n},1/2 in,EX38,9,2 ft,yes"
        for n in range(1, 51)
    ]
    sheet = tmp_path / "later.csv"
    sheet.write_text("\n".join(rows) + "\n", encoding="utf-8")
    done = _run(own, "import", str(sheet))
    assert done.returncode == 0, done.stderr
    assert _run(own, "estimate", "rerun", "E7", "--json").stdout == before
    assert "identical bytes" in _run(own, "estimate", "rerun", "E7").stdout
    assert _run(own, "estimate", "issue", "E7", takeoff).returncode == 4


BID = ("estimate", "draft", str(SEED / "takeoff.csv"), "--bottom-time", "40min", "--start-up", "15min", "--json")


def _fits(db: Path) -> list[str]:
    """Digests of the fits kept in a log, oldest first."""
    with closing(sqlite3.connect(db)) as log:
        return [str(row[0]) for row in log.execute("SELECT data_hash FROM fit_run ORDER BY no")]


@pytest.fixture
def unfitted(own: Path) -> Path:
    """That copy without the fits that other bids have kept in it."""
    with closing(sqlite3.connect(own, isolation_level=None)) as log:
        log.executescript("DROP TRIGGER fit_run_kept; DELETE FROM fit_run;")
    return own


def test_a_fit_is_kept_once_and_read_back(unfitted: Path) -> None:
    """A second bid on the same record keeps no second fit, and prints the same bytes as the first."""
    before = len(_fits(unfitted))
    first = _run(unfitted, *BID)
    assert first.returncode == 0, first.stderr
    kept = _fits(unfitted)
    assert len(kept) == before + 1
    assert _run(unfitted, *BID).stdout == first.stdout
    assert _fits(unfitted) == kept


def test_an_amended_record_is_fitted_anew(own: Path) -> None:
    """One count mended makes another fit and another bid; the old fit stays as it was."""
    first = _run(own, *BID)
    kept = _fits(own)
    rows = json.loads(_run(own, "list", "tallies", "--job", "PIER12", "--json").stdout)["tallies"]
    number = next(str(row["tally"]) for row in rows if row["scope"] == "cut" and row["rods"])
    assert _run(own, "--by", "JM", "fix", "tally", number, "rods=31", "--why", "recount").returncode == 0
    assert _run(own, *BID).stdout != first.stdout
    assert len(_fits(own)) == len(kept) + 1
    assert _fits(own)[: len(kept)] == kept


def test_a_log_in_other_hands_gives_the_same_bid(own: Path) -> None:
    """While somebody else writes to the log no fit is kept: the bid is the same and says nothing of it."""
    wanted = _run(own, *BID).stdout
    with closing(sqlite3.connect(own, isolation_level=None)) as holder:
        holder.executescript("DROP TRIGGER fit_run_kept; DELETE FROM fit_run; BEGIN IMMEDIATE;")
        done = _run(own, *BID)
        holder.execute("ROLLBACK")
    assert done.returncode == 0, done.stderr
    assert done.stdout == wanted
    assert not done.stderr
    assert _fits(own) == []


def test_a_read_only_log_gives_the_same_bid(unfitted: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A log that opens for reading alone is fitted anew each time, and nothing is raised or written."""
    from burnlog import estimate, open_log
    from burnlog.library import fits
    from burnlog.store.log import Log

    opened = Log.open

    def reading(path: Path, **options: Any) -> Log:
        if options.get("write", True):
            raise FileError(f"{path} cannot be opened for this (attempt to write a readonly database).")
        return opened(path, **options)

    monkeypatch.setattr(Log, "open", reading)
    then = dt.datetime(2026, 5, 1, tzinfo=dt.UTC)
    with open_log(unfitted) as record:
        basis = basis_of(record.frames())
        wanted = estimate(record, SEED / "takeoff.csv")
    fit_by = fits.kept_fits(unfitted, by="JM", now=lambda: then)
    made = draft(basis, wanted.takeoff, Plan(), fit_by=fit_by)
    assert spread_of(made.rods) == spread_of(wanted.rods)
    assert _fits(unfitted) == []


def test_R64_closing_needs_a_name_and_scores(own: Path) -> None:
    """An issued estimate is closed by somebody, once, and then counts in the score."""
    takeoff = str(SEED / "takeoff.csv")
    assert _run(own, "estimate", "issue", "E1", takeoff).returncode == 0
    assert _run(own, "estimate", "close", "E1", "--rods", "500").returncode == 2
    assert _run(own, "--by", "JM", "estimate", "close", "E1", "--rods", "500").returncode == 0
    assert _run(own, "--by", "JM", "estimate", "close", "E1", "--rods", "500").returncode == 2
    found = json.loads(_run(own, "score", "--json").stdout)
    assert found["scored"] == 1


def test_R48_outside_the_history_ends_with_three(season: Path, tmp_path: Path) -> None:
    """Steel beyond what was logged is refused, and marked where a reason is given."""
    thick = tmp_path / "thick.csv"
    thick.write_text("item,section,thickness,length_each,rod_type\ndeep,plate,3 in,4 ft,EX38\n", encoding="utf-8")
    assert _run(season, "estimate", "draft", str(thick)).returncode == 3
    done = _run(season, "estimate", "draft", str(thick), "--allow-outside", "client insists")
    assert done.returncode == 0
    assert "OUTSIDE LOGGED RANGE" in done.stdout


def test_R62_what_if_shows_no_history(season: Path) -> None:
    """A visibility never logged prints `no history`, the others a figure."""
    words = ("estimate", "draft", str(SEED / "takeoff.csv"), "--vary", "visibility=by feel,1-3 ft,over 10 ft")
    done = _run(season, *words)
    assert done.returncode == 0, done.stderr
    table = done.stdout[done.stdout.index("What if") :]
    assert table.count("no history") == 1
    timed = _run(
        season, *words[:3], "--bottom-time", "40min", "--start-up", "15min", "--vary", "bottom-time=30min,1h"
    )
    table = timed.stdout[timed.stdout.index("What if: bottom time") :]
    assert "  30 min " in table
    assert "  60 min " in table


@pytest.mark.parametrize(
    "words",
    [
        ("rates", "--by", "crew", "--by", "diver", "--by", "family", "--by", "visibility", "--by", "thickness"),
        ("flags", "list"),
        ("sag",),
        ("crews",),
        ("crews", "--by", "diver"),
        ("events",),
        ("practice",),
        ("left", "--job", "DOLPH5"),
        ("day", "2026-02-11", "--needed", "150 psi"),
        ("stock", "--job", "PIER12", "--rods-in-box", "60", "--needed", "150 psi"),
    ],
)
def test_every_question_has_an_answer_in_text_and_json(season: Path, words: tuple[str, ...]) -> None:
    """Each command ends with 0, in ASCII no wider than 80, with the cautions, and as JSON that holds no NaN."""
    done = _run(season, *words)
    assert done.returncode == 0, done.stderr
    assert done.stdout.isascii()
    assert max(map(len, done.stdout.splitlines())) <= 80
    assert "Not a cutting procedure" in done.stdout
    for banned in ("safe to", "approved", "compliant", "recommended setting", "you should set"):
        assert banned not in done.stdout.lower()
    json.loads(_run(season, *words, "--json").stdout, parse_constant=lambda text: pytest.fail(f"{text} in JSON"))


def test_R67_no_ranking_words_about_crews(season: Path) -> None:
    """What is said of crews and divers holds no word of a ranking, and there is no sorting by result."""
    for by in ("crew", "diver"):
        text = _run(season, "crews", "--by", by).stdout.lower()
        for banned in ("best", "worst", "rank", "league", "performer"):
            assert banned not in text.split()
    assert _run(season, "crews", "--sort", "result").returncode == 2


def test_R35_check_ends_with_four_where_something_does_not_add_up(season: Path) -> None:
    """The invented season holds slips; check lists them and changes nothing."""
    before = season.read_bytes()
    done = _run(season, "check")
    assert done.returncode == 4
    assert "unaccounted" in done.stdout
    assert season.read_bytes() == before


def test_R55_a_decision_moves_the_figures_only_when_it_leaves_out(own: Path) -> None:
    """Without a decision the headline stays; leave-out by somebody with a reason takes the burn out of it."""
    found = json.loads(_run(own, "flags", "list", "--json").stdout)
    flags = found["flags"] if isinstance(found, dict) else found
    odd = next(flag for flag in flags if flag["kind"] == "rods")
    headline = json.loads(_run(own, "rates", "--json").stdout)["rods"]["rods"]
    words = ("flags", "decide", odd["rule"], odd["target"])
    assert _run(own, *words, "leave-out", "--why", "typed ten-fold").returncode == 2
    stray = _run(own, "--by", "JM", "flags", "decide", odd["rule"], "tally 999999", "keep", "--why", "thick weld")
    assert stray.returncode == 2
    assert odd["target"] in stray.stderr
    short = odd["target"].split(" (")[0]
    assert (
        _run(own, "--by", "JM", "flags", "decide", odd["rule"], short, "keep", "--why", "thick weld").returncode == 0
    )
    assert json.loads(_run(own, "rates", "--json").stdout)["rods"]["rods"] == headline
    assert _run(own, "--by", "JM", *words, "leave-out", "--why", "typed ten-fold").returncode == 0
    assert json.loads(_run(own, "rates", "--json").stdout)["rods"]["rods"] < headline


def test_R55_after_leave_out_a_bid_shows_both_figures(own: Path, tmp_path: Path) -> None:
    """With a burn left out by decision the bid prints rods without and with it, and so does its page."""
    takeoff = str(SEED / "takeoff.csv")
    before = json.loads(_run(own, "estimate", "draft", takeoff, "--json").stdout)
    assert before["with_decided"] is None
    found = json.loads(_run(own, "flags", "list", "--json").stdout)["flags"]
    odd = next(flag for flag in found if flag["kind"] == "rods")
    words = ("flags", "decide", odd["rule"], odd["target"], "leave-out", "--why", "typed ten-fold")
    assert _run(own, "--by", "JM", *words).returncode == 0
    after = json.loads(_run(own, "estimate", "draft", takeoff, "--json").stdout)
    assert after["with_decided"]["tallies"] == 1
    # the same seed on the same tallies: with it in, the bid is the one before the decision
    assert after["with_decided"]["rods"] == before["rods"]
    assert after["rods"]["p50"] != before["rods"]["p50"]
    both = (f"P50 {after['rods']['p50']:.0f}", f"P50 {before['rods']['p50']:.0f}")
    text = " ".join(_run(own, "estimate", "draft", takeoff).stdout.split())
    assert "left out by decision" in text
    assert all(figure in text for figure in both)
    assert _run(own, "estimate", "issue", "B1", takeoff).returncode == 0
    assert _run(own, "estimate", "rerun", "B1").returncode == 0
    page = tmp_path / "b1.html"
    assert _run(own, "report", "estimate", "B1", "--out", str(page)).returncode == 0
    assert all(figure in page.read_text(encoding="utf-8") for figure in both)


def test_R81_events_are_written_as_csv(season: Path, tmp_path: Path) -> None:
    """The list of events goes to a file with its columns, as many rows as are listed, and never over another file."""
    path = tmp_path / "events.csv"
    listed = json.loads(_run(season, "events", "--csv", str(path), "--json").stdout)["events"]
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == len(listed) > 0
    wanted = {"event", "outcome", "rig", "piece_kind", "setting", "text"}
    assert wanted <= set(rows[0])
    assert [row["event"] for row in rows] == [row["event"] for row in listed]
    assert any(row["piece_kind"] for row in rows)
    assert _run(season, "events", "--csv", str(path)).returncode == 5


def test_R14_backup_and_verify(own: Path, tmp_path: Path) -> None:
    """A backup is opened and checked; flipped bytes in a copy end with 5."""
    folder = tmp_path / "copies"
    folder.mkdir()
    assert _run(own, "backup", str(folder)).returncode == 0
    copy = next(folder.iterdir())
    assert _run(copy, "verify").returncode == 0
    raw = bytearray(copy.read_bytes())
    raw[20_000:60_000] = bytes(40_000)
    copy.write_bytes(bytes(raw))
    assert _run(copy, "verify").returncode == 5


def test_R56_a_blank_take_off_names_its_columns(season: Path, tmp_path: Path) -> None:
    """`--blank` writes a file with the columns and explains them; an existing file is left alone."""
    path = tmp_path / "blank.csv"
    done = _run(season, "estimate", "draft", "--blank", str(path))
    assert done.returncode == 0
    assert path.read_text(encoding="utf-8").startswith("item,quantity,section")
    assert _run(season, "estimate", "draft", "--blank", str(path)).returncode == 5


def test_R56_a_blank_workbook_has_lists_and_reads_back(season: Path, tmp_path: Path) -> None:
    """Words and rod types of the log drop down; filled in, the three items give 84.7, 37.7 and 122.6 ft."""
    openpyxl = pytest.importorskip("openpyxl")
    path = tmp_path / "blank.xlsx"
    done = _run(season, "estimate", "draft", "--blank", str(path))
    assert done.returncode == 0, done.stderr
    assert max(map(len, done.stdout.splitlines()[1:])) <= 80
    book = openpyxl.load_workbook(path)
    sheet = book["take-off"]
    heads = {cell.value: cell.column for cell in sheet[1]}
    listed = {}
    for check in sheet.data_validations.dataValidation:
        column = openpyxl.utils.range_boundaries(str(check.sqref))[0]
        cells = book["words"][check.formula1.replace("$", "").partition("!")[2]]
        listed[next(name for name, at in heads.items() if at == column)] = [row[0].value for row in cells]
    assert listed["visibility"] == list(vocabulary.words("visibility"))
    assert listed["rod_type"] == ["EX14", "EX38", "TB516"]
    assert set(listed) == {
        *("section", "position", "visibility", "current", "fouling", "backing", "family", "setting", "rod_type")
    }
    items = (
        {"item": "piles", "quantity": 24, "section": "HP14x117"},
        {"item": "pipes", "quantity": "6", "section": "pipe", "dims": "od=24in wall=.375in"},
        {"item": "wall", "quantity": "40", "section": "z sheet",
         "dims": "w=700mm h=460mm tf=12.2mm tw=12.2mm slope=55.2deg"},
    )  # fmt: skip
    for number, row in enumerate(items, start=2):
        for name, text in {**row, "rod_type": "EX38"}.items():
            sheet.cell(number, heads[name], text)
    book.save(tmp_path / "full.xlsx")
    found = json.loads(_run(season, "estimate", "draft", str(tmp_path / "full.xlsx"), "--json").stdout)
    assert [round(item["length_m"] / 0.3048, 1) for item in found["items"]] == [84.7, 37.7, 122.6]
    assert found["items"][2]["interlocks"] == 39


def test_R56_every_bad_cell_of_a_workbook_is_named_by_its_address(season: Path, tmp_path: Path) -> None:
    """Three bad cells of a workbook are named with their addresses in one message, and nothing is estimated."""
    openpyxl = pytest.importorskip("openpyxl")
    book = openpyxl.Workbook()
    for row in (
        ("item", "quantity", "section", "thickness", "length_each", "visibility", "rod_type"),
        ("a", 2.5, "plate", "12 mm", "2 ft", "", "EX38"),
        ("b", 1, "plate", 12.7, "2 ft", "murky", "EX38"),
        ("c", 1, "plate", "1/2 in", "2 ft", "", "EX38"),
    ):
        book.active.append(row)
    book.save(tmp_path / "bad.xlsx")
    done = _run(season, "estimate", "draft", str(tmp_path / "bad.xlsx"))
    assert done.returncode == 2
    assert not done.stdout
    for cell in ("B2", "D3", "F3"):
        assert f"(cell {cell})" in done.stderr


def test_R63_a_rule_of_thumb_stands_beside_the_own_rate(own: Path, tmp_path: Path) -> None:
    """8-10 in per rod on 1/2 in reads 1.20-1.50 rods/ft beside own rate, range and n; other steel is not compared."""
    rules = tmp_path / "rules.csv"
    rules.write_text(
        "rule,value,per,thickness_from,thickness_to,family,source\n"
        "yard rule,8-10 in,rod,0.45 in,0.55 in,exothermic,the yard foreman\n"
        "thick rule,2 in,rod,2 in,3 in,exothermic,the yard foreman\n",
        encoding="utf-8",
    )
    assert _run(own, "import", str(rules)).returncode == 0
    words = ("--units", "us", "estimate", "draft", str(SEED / "takeoff.csv"))
    said = " ".join(_run(own, *words).stdout.split())
    assert "Rule of thumb, yard rule: 1.20-1.50 rods/ft (the yard foreman). Own: " in said
    assert "Rule of thumb, thick rule: 6.00 rods/ft (the yard foreman). Own: not compared: this bid asks" in said
    found = {rule["name"]: rule for rule in json.loads(_run(own, *words, "--json").stdout)["rules"]}
    yard = found["yard rule"]
    assert [round(yard[key] * 0.3048, 9) for key in ("low_per_m", "high_per_m")] == [1.2, 1.5]
    rates = json.loads(_run(own, "rates", "--family", "exothermic", "--by", "thickness", "--json").stdout)
    assert yard["tallies"] > 0
    assert yard["own_low"] < yard["own_per_m"] < yard["own_high"]
    assert yard["times"] == pytest.approx(yard["own_per_m"] / (1.35 / 0.3048))
    assert yard["own_per_m"] < 2 * rates["rods"]["ratio_per_m"]
    assert found["thick rule"]["own_per_m"] is None


def test_R23_the_perimeter_stands_beside_the_cut_line_as_not_burned(season: Path, tmp_path: Path) -> None:
    """One HP14x117 gives 3.531 ft to burn, and its surface perimeter by name as what is not."""
    one = tmp_path / "one.csv"
    one.write_text("item,section,rod_type\npile,HP14x117,EX38\n", encoding="utf-8")
    done = _run(season, "--units", "us", "estimate", "draft", str(one))
    assert done.returncode == 0, done.stderr
    assert "each 3.531 ft; surface perimeter 86.35 in (not burned)" in done.stdout


def test_R65_an_adjustment_without_a_reason_is_refused(season: Path) -> None:
    """`--adjust` alone ends with 2; with a reason it has its line and the base figures stay."""
    words = ("estimate", "draft", str(SEED / "takeoff.csv"))
    assert _run(season, *words, "--adjust", "rods=+15%").returncode == 2
    plain = json.loads(_run(season, *words, "--json").stdout)
    judged = json.loads(_run(season, *words, "--adjust", "rods=+15%", "--why", "kelp", "--json").stdout)
    assert judged["rods"] == plain["rods"]
    assert judged["adjustments"][0]["why"] == "kelp"
    assert _run(season, *words, "--seed", "1.5").returncode == 2
    assert _run(season, *words, "--draws", "100").returncode == 2


def test_what_can_be_drafted_can_be_issued(season: Path) -> None:
    """Every option that shapes a draft stands at `issue` too; what-if and the blank file are of the draft alone."""
    options = [
        set(re.findall(r"--[a-z-]+", _run(season, "estimate", name, "--help").stdout)) for name in ("draft", "issue")
    ]
    assert options[0] - options[1] == {"--vary", "--blank", "--json"}


def test_report_estimate_writes_one_page(own: Path, tmp_path: Path) -> None:
    """The page of an issued estimate holds its number, its boxes and no address of the network."""
    assert _run(own, "estimate", "issue", "E9", str(SEED / "takeoff.csv")).returncode == 0
    page = tmp_path / "e9.html"
    done = _run(own, "report", "estimate", "E9", "--out", str(page))
    assert done.returncode == 0, done.stderr
    text = page.read_text(encoding="utf-8")
    assert "Estimate E9, ISSUED" in text
    assert 'src="http' not in text
    assert 'href="http' not in text
    assert page.stat().st_size < 3_000_000


def test_R83_a_short_script_recomputes_the_headline_from_the_pack(own: Path, tmp_path: Path) -> None:
    """From the CSV files of the audit pack alone: P80 of the rods, the history's ratio, and a sheet for every cut."""
    assert _run(own, "estimate", "issue", "E7", str(SEED / "takeoff.csv")).returncode == 0
    folder = tmp_path / "pack"
    done = _run(own, "audit", "E7", str(folder))
    assert done.returncode == 0, done.stderr

    import csv
    import math

    def read(name: str) -> list[dict[str, str]]:
        with (folder / name).open(encoding="utf-8", newline="") as file:
            return list(csv.DictReader(file))

    rods = sorted(float(row["rods"]) for row in read("draws.csv"))
    result = json.loads((folder / "estimate.json").read_text(encoding="utf-8"))["result"]
    assert rods[math.ceil(0.8 * len(rods)) - 1] == result["rods"]["p80"]
    tallies = read("tallies.csv")
    total = math.fsum(float(t["rods"]) for t in tallies) / math.fsum(float(t["new_length_m"]) for t in tallies)
    assert total == pytest.approx(result["basis"]["rods_per_m"], rel=1e-12)
    assert len(read("sheets.csv")) == len(read("pieces.csv")) == result["basis"]["cuts"]
    assert _run(own, "audit", "E7", str(folder)).returncode == 2


def test_R13_two_laptops_become_one(own: Path, tmp_path: Path) -> None:
    """A bundle merged into an empty log brings everything, a second time nothing; a real log refuses made-up rows."""
    bundle = tmp_path / "night.json"
    assert _run(own, "export", str(bundle)).returncode == 0
    other = tmp_path / "other.db"
    assert _run(other, "init", "--made-up").returncode == 0
    assert _run(other, "merge", str(bundle)).returncode == 0
    again = _run(other, "merge", str(bundle), "--json")
    assert sum(json.loads(again.stdout)["added"].values()) == 0
    one, two = (json.loads(_run(db, "rates", "--json").stdout)["rods"] for db in (own, other))
    assert one == two
    real = tmp_path / "real.db"
    assert _run(real, "init").returncode == 0
    assert _run(real, "merge", str(bundle)).returncode == 2


def test_R13_a_conflicting_edit_is_shown_and_nothing_written(own: Path, tmp_path: Path) -> None:
    """One row changed on both laptops ends with 4, and the log is as it was."""
    other = Path(shutil.copy(own, tmp_path / "other.db"))
    for db, rods in ((own, "8"), (other, "9")):
        found = json.loads(_run(db, "list", "tallies", "--job", "PIER12", "--json").stdout)["tallies"]
        number = next(str(row["tally"]) for row in found if row["scope"] == "cut" and row["rods"])
        assert _run(db, "--by", "JM", "fix", "tally", number, f"rods={rods}", "--why", "recount").returncode == 0
    bundle = tmp_path / "b.json"
    assert _run(other, "export", str(bundle)).returncode == 0
    before = _run(own, "rates", "--json").stdout
    assert _run(own, "merge", str(bundle)).returncode == 4
    assert _run(own, "rates", "--json").stdout == before


def test_the_backtest_of_the_season_stands_beside_its_rivals(season: Path, tmp_path: Path) -> None:
    """80 % coverage lies in its exact band, scores stand beside those of rivals, and page and JSON agree."""
    page = tmp_path / "backtest.html"
    done = _run(season, "backtest", "--rule", "4.4", "--page", str(page), "--svg", str(tmp_path), "--json")
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    scores = found["methods"]
    assert set(scores) == {"integrated", "plug_in", "pooled", "rule", "job_t"}
    mine = scores["integrated"]
    assert mine["c80_low"] <= 0.8 <= mine["c80_high"]
    for rival in ("rule", "pooled"):
        assert mine["crps"] < scores[rival]["crps"]
        assert mine["pinball80"] < scores[rival]["pinball80"]
    inside = sum(row["p10"] <= row["actual_rods"] <= row["p90"] for row in found["rows"])
    assert mine["c80"] == pytest.approx(inside / found["jobs"])
    text = page.read_text(encoding="utf-8").split("<script")[0]
    assert f"{inside} of {found['jobs']} past jobs" in text
    for row in found["rows"]:
        assert f'<td class="n">{row["p10"]:.0f}</td>' in text.split(f'<th scope="row">{row["job"]}</th>')[1][:60]
    for score in scores.values():
        assert f"{score['crps']:.3f}" in text
        assert f"{score['pinball80']:.3f}" in text
    assert "permit" in text
    assert {"jobs.svg", "held.svg"} <= {file.name for file in tmp_path.iterdir()}
    said = _run(season, "backtest", "--rule", "4.4").stdout
    assert max(map(len, said.splitlines())) <= 80
    assert f"{mine['pinball80']:.3f}" in said
