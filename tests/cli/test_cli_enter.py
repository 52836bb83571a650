"""The prompt: a sheet typed in its own order, saved row by row, as a person types it."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pexpect
import pytest

from burnlog.store.entry import add_row
from burnlog.store.entrysheet import FIRST, HEAD, MORE, ROW, STANDING
from burnlog.store.log import Log

Runner = Callable[..., subprocess.CompletedProcess[str]]
SEED = Path(__file__).parent.parent.parent / "seed_data"
MASTERS = ("jobs", "persons", "rigs", "banks", "rod_types")

SAID = {
    "dive_date": "2026-05-14",
    "diver": "D3",
    "record_class": "production",
    "setting": "open water",
    "water": "salt",
    "rod_type": "EX38",
}


def _head(**typed: str) -> list[str]:
    """What is typed for the head of a new dive, its rod type being known to the log."""
    said = {**SAID, **typed}
    names = [name for name in HEAD if name not in ("family", "rod_length")]
    return [said.get(name, "") for name in names]


def _row(more: dict[str, str] | None = None, *, counted: bool = True, **typed: str) -> list[str]:
    """What is typed for one row."""
    texts = [typed.get(name.replace("pass", "pass_"), "") for name in ROW if counted or name != "rods"]
    return [*texts, *(f"{name}={text}" for name, text in (more or {}).items()), ""]


def _lines(*parts: list[str]) -> str:
    return "\n".join(text for part in parts for text in part) + "\n"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A log with a job, a line with its plan, a rod type."""
    path = tmp_path_factory.mktemp("made") / "log.db"
    with Log.create(path, by="T", now=lambda: dt.datetime(2026, 5, 20, tzinfo=dt.UTC)) as log:
        add_row(log, "job", {"job": "PIER7", "water": "salt", "units_profile": "us", "record_class": "production"})
        rod = {"rod_type": "EX38", "family": "exothermic", "length": "18 in", "planned_stub": "3 in"}
        add_row(log, "rod_type", {**rod, "stub_source": "made up for this test"})
        add_row(log, "line", {"job": "PIER7", "line": "L14", "thickness": "5/8 in", "planned_length": "42.37 in"})
    return path


@pytest.fixture
def log(made: Path, tmp_path: Path) -> Path:
    """A copy of that log, where the command looks for it."""
    return Path(shutil.copy(made, tmp_path / "log.db"))


def _cuts(burnlog: Runner) -> list[dict[str, object]]:
    found: list[dict[str, object]] = json.loads(burnlog("list", "cuts", "--json").stdout)["cuts"]
    return found


def _started(log: Path) -> subprocess.Popen[str]:
    """The prompt on dive 14, waiting for what is typed."""
    return subprocess.Popen(
        [sys.executable, "-m", "burnlog", "enter", "--dive", "14"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        env={**os.environ, "BURNLOG_DB": str(log), "COLUMNS": "80"},
        text=True,
    )


def test_R02_rows_survive_a_kill_and_the_dive_goes_on(burnlog: Runner, log: Path) -> None:
    """Three rows are fed and the process killed: three rows are there, the file is whole, row 4 comes next."""
    process = _started(log)
    assert process.stdin is not None
    assert process.stdout is not None
    rows = [_row(line=f"M{n}", thickness="1/2", new_length="2 ft", rods="3") for n in (1, 2, 3)]
    process.stdin.write(_lines(_head(), *rows, ["M4", "plate"]))  # the fourth row is half typed
    process.stdin.flush()
    seen = ""
    while seen.count("saved: cut ") < 3:
        seen += process.stdout.readline()
    process.send_signal(signal.SIGKILL)
    process.wait(timeout=30)
    process.stdin.close()
    process.stdout.close()
    assert len(json.loads(burnlog("list", "cuts", "--dive", "14", "--json").stdout)["cuts"]) == 3
    assert burnlog("verify").returncode == 0
    again = burnlog("enter", "--dive", "PIER7 14", stdin=_lines([""] * (len(STANDING) - 2), _row(line="M4"), ["q"]))
    assert again.returncode == 0, again.stderr
    assert "going on at row 4" in again.stdout
    assert [cut["place"] for cut in _cuts(burnlog)][-1] == "PIER7 14.4"


def test_R02_a_finished_head_survives_a_kill(burnlog: Runner, log: Path) -> None:
    """Once the head is said to be saved, a kill before the first row leaves it, and only its rows are asked then."""
    process = _started(log)
    assert process.stdin is not None
    assert process.stdout is not None
    process.stdin.write(_lines(_head(issued="40", returned="6", rig="RIG9", bank_start="2200 psi"), ["M1", "plate"]))
    process.stdin.flush()
    while "the head of dive PIER7 14 is saved, with its count of rods" not in process.stdout.readline():
        assert process.poll() is None
    process.send_signal(signal.SIGKILL)
    process.wait(timeout=30)
    process.stdin.close()
    process.stdout.close()
    dive = json.loads(burnlog("show", "dive", "PIER7 14", "--json").stdout)
    assert (dive["dive_date"], dive["setting"]) == (SAID["dive_date"], SAID["setting"])
    assert burnlog("verify").returncode == 0
    standing = [""] * (len(STANDING) - 2)
    typed = _lines([*standing, "2200 psi", "100 psi"], _row(line="M1", rods="7"), ["q"])
    again = burnlog("enter", "--dive", "PIER7 14", stdin=typed)
    assert again.returncode == 0, again.stderr
    assert "going on at row 1" in again.stdout
    assert "rods issued" not in again.stdout
    assert "rod type [EX38]" in again.stdout  # that of the count
    cut = json.loads(burnlog("show", "cut", "PIER7 14.1", "--json").stdout)
    assert cut["bank_start_kpa"] == pytest.approx(2200 * 6.894757, rel=1e-6)
    box = json.loads(burnlog("list", "tallies", "--json").stdout)["tallies"]
    assert len([row for row in box if row["scope"] == "box"]) == 1


def test_R02_only_the_bad_field_is_asked_again(burnlog: Runner, log: Path) -> None:
    """A thickness without a unit is asked again with the reason; the rest of the row is kept."""
    typed = _row(line="M1", thickness="12", new_length="2 ft", rods="3")
    typed.insert(3, "12 mm")
    done = burnlog("enter", "--dive", "PIER7 2", stdin=_lines(_head(), typed, ["q"]))
    assert done.returncode == 0, done.stderr
    assert done.stdout.count("thickness:") == 2
    assert "'12'" in done.stdout
    (cut,) = _cuts(burnlog)
    assert (cut["line"], cut["thickness_mm"], cut["new_length_mm"]) == ("M1", 12.0, pytest.approx(609.6))


def test_R02_a_prompt_names_its_words_where_they_are_few(burnlog: Runner, log: Path) -> None:
    """The three record classes stand in the prompt; the many words for fouling would not leave room to answer."""
    done = burnlog("enter", "--dive", "PIER7 2", stdin=_lines(_head(), ["q"]))
    assert "record class (production, training, trial): " in done.stdout
    assert "fouling: " in done.stdout


def test_R02_a_field_the_row_refuses_is_asked_again(burnlog: Runner, log: Path) -> None:
    """What only the whole row can tell, a stop long before the start, asks the stop again and nothing else."""
    typed = [*_row(line="M1", start="1003", stop="0942"), "1010"]
    done = burnlog("enter", "--dive", "PIER7 2", stdin=_lines(_head(), typed, ["q"]))
    assert done.returncode == 0, done.stderr
    assert "stop [0942]:" in done.stdout
    assert "7 min" in done.stdout
    assert len(_cuts(burnlog)) == 1


def test_R02_dot_repeats_and_less_than_goes_back(burnlog: Runner, log: Path) -> None:
    """`.` takes the field of the row above, `<` goes back one field, brackets show what stands there."""
    first = _row({"set_amps": "180 A"}, line="M1", section="plate", thickness="5/8", rods="2")
    second = ["M2", "pipe", "<", ".", ".", *[""] * (len(ROW) - 3), ".", ""]
    done = burnlog("enter", "--dive", "PIER7 2", stdin=_lines(_head(), first, second, ["q"]))
    assert done.returncode == 0, done.stderr
    assert "section [pipe]:" in done.stdout
    shown = json.loads(burnlog("show", "cut", "PIER7 2.2", "--json").stdout)
    assert shown["thickness_mm"] == pytest.approx(15.875)
    assert shown["set_a"] == 180.0
    assert json.loads(burnlog("show", "line", "M2", "--json").stdout)["section"] == "plate"


def test_R02_dot_after_a_restart_repeats_the_row_in_the_log(burnlog: Runner, log: Path) -> None:
    """In a new session `.` in the first row repeats the last row of the log."""
    burnlog("enter", "--dive", "PIER7 2", stdin=_lines(_head(), _row(line="M1", thickness="5/8"), ["q"]))
    typed = ["M2", "", ".", *[""] * (len(ROW) - 3), ""]
    burnlog("enter", "--dive", "PIER7 2", stdin=_lines([""] * (len(STANDING) - 2), typed, ["q"]))
    shown = json.loads(burnlog("show", "cut", "PIER7 2.2", "--json").stdout)
    assert shown["thickness_mm"] == pytest.approx(15.875)
    assert json.loads(shown["as_typed"])["thickness_mm"][0] == "5/8"


def test_R02_the_echo_says_what_was_understood(burnlog: Runner, log: Path) -> None:
    """After a row its minutes, rods with stubs, and length are said back in the job's units."""
    row = _row(line="L14", new_length="all", start="0942", stop="1003", rods="7 + 6in", hangers="1")
    done = burnlog("enter", "--dive", "PIER7 2", stdin=_lines(_head(), row, ["q"]))
    said = " ".join(done.stdout.split())
    for words in ("21 min", "7 full + 1 stub of 6 in", "3.53 ft", "1 hanger"):
        assert words in said, done.stdout


def test_R02_a_count_over_the_dive_is_typed_once(burnlog: Runner, log: Path) -> None:
    """With a count over the dive the rows ask for no rods, and the log holds one count of scope dive."""
    rows = [_row(line=f"M{n}", new_length="2 ft", counted=False) for n in (1, 2)]
    done = burnlog("enter", "--dive", "PIER7 2", stdin=_lines(_head(rods="9", issued="20"), *rows, ["q"]))
    assert done.returncode == 0, done.stderr
    with sqlite3.connect(log) as connection:
        found = connection.execute("SELECT scope, rods, issued FROM tally").fetchall()
    connection.close()
    assert found == [("dive", 9.0, 20)]


def test_R03_enter_alone_is_not_recorded(burnlog: Runner, log: Path) -> None:
    """A row with a line and nothing else has NULL, never zero, for what was passed by."""
    burnlog("enter", "--dive", "PIER7 2", stdin=_lines(_head(), _row(line="M1"), ["q"]))
    shown = json.loads(burnlog("show", "cut", "PIER7 2.1", "--json").stdout)
    assert {shown[name] for name in ("hangers", "restarts", "new_length_mm", "thickness_mm", "burn_s")} == {None}


def test_a_new_code_and_a_missing_setting_are_told_at_once(burnlog: Runner, log: Path) -> None:
    """A typing slip does not become a new person unseen, and a dive that no rate will take is not a surprise."""
    typed = _lines(_head(tender="D33", setting=""), _row(line="M1"), ["q"])
    done = burnlog("enter", "--dive", "PIER7 2", stdin=typed)
    assert "  = D33 is new; " in done.stdout
    assert "no setting is recorded: these cuts stay out of every rate" in " ".join(done.stdout.split())


def test_two_stoppages_stand_side_by_side(burnlog: Runner, log: Path) -> None:
    """A second stoppage named on a row is kept beside the first."""
    row = [*_row(line="M1", start="0942", stop="1003")[:-1], "stoppages=voice 3min", "stoppages=diver rest 5min", ""]
    assert burnlog("enter", "--dive", "PIER7 2", stdin=_lines(_head(), row, ["q"])).returncode == 0
    with sqlite3.connect(log) as connection:
        (count,) = connection.execute("SELECT count(*) FROM happening WHERE kind = 'stoppage'").fetchone()
    connection.close()
    assert count == 2


def test_stopping_ahead_of_the_rows_says_what_is_in_the_log(burnlog: Runner, log: Path) -> None:
    """A new dive's head is lost with the sheet, and said so; a dive that is there keeps what it has."""
    assert (
        "in the head of the sheet; nothing of it is in the log" in burnlog("enter", "--dive", "3", stdin="q\n").stdout
    )
    assert burnlog("enter", "--dive", "PIER7 3", stdin=_lines(_head(), _row(line="M1"), ["q"])).returncode == 0
    assert "stopped before row 2; nothing new is in the log" in burnlog("enter", "--dive", "3", stdin="q\n").stdout


def test_an_unfinished_row_is_named_and_not_saved(burnlog: Runner, log: Path) -> None:
    """The end of the input within a row saves nothing of it and says so."""
    done = burnlog("enter", "--dive", "PIER7 2", stdin=_lines(_head(), ["M1", "plate"]))
    assert done.returncode == 0
    assert "row 1 was not finished" in done.stdout
    assert _cuts(burnlog) == []


@pytest.mark.parametrize(("dive", "words"), [("PIER7", "is not a dive"), ("PIER7 x", "is not a dive")])
def test_what_is_no_dive_ends_with_two(burnlog: Runner, log: Path, dive: str, words: str) -> None:
    """A dive that cannot be read ends with exit 2 and an example."""
    done = burnlog("enter", "--dive", dive, stdin="")
    assert done.returncode == 2
    assert words in done.stderr


def test_R78_the_prompt_is_ascii_on_an_old_console(burnlog: Runner, log: Path) -> None:
    """Under code page 437 a sheet goes in without a traceback, in ASCII only."""
    row = _row(line="M1", thickness="12", new_length="2 ft")
    row.insert(3, "1/2")
    done = burnlog("enter", "--dive", "PIER7 2", stdin=_lines(_head(), row, ["q"]), env={"PYTHONIOENCODING": "cp437"})
    assert done.returncode == 0, done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout.isascii()


def test_R02_every_line_fits_eighty_columns(log: Path) -> None:
    """At a terminal of 80 columns that echoes what is typed, no line runs over, that of a wrong word neither."""
    row = _row({"set_amps": "180 A"}, line="M1", section="plate", thickness="1/2", start="0942", stop="1003")
    terminal = pexpect.spawn(
        sys.executable,
        ["-m", "burnlog", "--db", str(log), "enter", "--dive", "PIER7 2"],
        dimensions=(24, 80),
        timeout=60,
        encoding="utf-8",
        echo=True,
    )
    terminal.delaybeforesend = None
    seen = io.StringIO()
    terminal.logfile_read = seen
    terminal.expect("its rows")
    head = _head(visibility="by")
    head.insert(HEAD.index("record_class"), "14 May, the day before")
    for text in [*head, *row]:
        terminal.expect(": ")
        terminal.sendline(text)
    terminal.expect("saved: ")
    terminal.expect("line or piece: ")
    terminal.sendline("q")
    terminal.expect(pexpect.EOF)
    terminal.close()
    lines = seen.getvalue().splitlines()
    assert len(lines) > len(_head()) + len(row)
    assert max(len(line) for line in lines) <= 80


@pytest.mark.parametrize(
    "words",
    [
        ("add", "cut", "L14", "--dive", "PIER7 2", "--rods", "3", "--new", "1 ft"),
        ("enter", "--dive", "PIER7 2"),
        ("units", "5/8", "--as", "thickness"),
        ("length", "HP14x117"),
    ],
)
def test_R16_adding_a_row_loads_no_heavy_library(burnlog: Runner, log: Path, words: tuple[str, ...]) -> None:
    """One more row costs no wait for pandas, scipy, statsmodels, altair, sqlite_utils or numpy."""
    burnlog("enter", "--dive", "PIER7 2", stdin=_lines(_head(), _row(line="M1"), ["q"]))
    done = subprocess.run(
        [sys.executable, "-X", "importtime", "-m", "burnlog", *words],
        capture_output=True,
        text=True,
        check=True,
        input=_lines([""] * (len(STANDING) - 2), _row(line="M2"), ["q"]),
        env={**os.environ, "BURNLOG_DB": str(log)},
    )
    loaded = {line.rsplit("|", 1)[-1].strip().split(".")[0] for line in done.stderr.splitlines() if "|" in line}
    heavy = {"pandas", "scipy", "statsmodels", "altair", "sqlite_utils", "numpy", "openpyxl", "jinja2"}
    assert not loaded & heavy


def test_R05_a_second_cut_at_the_same_time_needs_its_reason(burnlog: Runner, log: Path) -> None:
    """The same line, start and stop are refused, and taken with --really and its reason."""
    burnlog("enter", "--dive", "PIER7 2", stdin=_lines(_head(), _row(line="M1", start="0942", stop="1003"), ["q"]))
    words = ("add", "cut", "M1", "--dive", "PIER7 2", "--start", "0942", "--stop", "1003", "--pass", "re-burn")
    done = burnlog(*words)
    assert done.returncode == 2
    assert "--really" in done.stderr
    assert len(_cuts(burnlog)) == 1
    done = burnlog(*words, "--really", "two torches on one line")
    assert done.returncode == 0, done.stderr
    assert len(_cuts(burnlog)) == 2


# the eight sample sheets


def _invented(burnlog: Runner, path: Path) -> None:
    assert burnlog("init", "--made-up", db=path).returncode == 0
    done = burnlog("import", *(str(SEED / f"{name}.csv") for name in MASTERS), db=path)
    assert done.returncode == 0, done.stderr


def _typist(rows: list[dict[str, str]]) -> Iterator[tuple[str, str]]:
    """What a person reads at the prompt and types, for one sheet of the samples."""
    first = rows[0]
    whole = first["rods_scope"] == "dive"
    lots = dict.fromkeys(row["lot"] for row in rows if row["lot"])
    passed_by = {"family", "rod_length", "material", "fouling", "backing", "power", "set_amps"}
    for name in HEAD:
        if name in ("family", "rod_length"):
            continue  # the log knows this rod type
        if name in passed_by or (name in ("rods", "lot") and not whole):
            yield name, ""  # it stands on the rows
        else:
            yield name, "; ".join(lots) if name == "lot" else first[name]
    for row in rows:
        for name in ROW:
            if name != "rods" or not whole:
                yield name, row[name]
        own = set(MORE) - set(FIRST) - {"rod_type", "family"} - ({"lot"} if whole else set())
        for name in MORE:
            if (name in own or (name in FIRST and row is not first)) and row[name]:
                yield "more", f"{name}={row[name]}"
        yield "more", ""


_CONTENT = {
    "job": "SELECT code, record_class, water, made_up FROM job ORDER BY code",
    "person": "SELECT code FROM person ORDER BY code",
    "line": "SELECT code, section, material, thickness_mm, thickness_basis, planned_length_mm, length_basis, "
    "closed_space, as_typed FROM line ORDER BY code",
    "dive": "SELECT * FROM dive ORDER BY dive_no",
    "cut": "SELECT * FROM cut ORDER BY id",
    "tally": "SELECT * FROM tally ORDER BY id",
    "rod_part": "SELECT tally_id, seq, stub_mm FROM rod_part ORDER BY tally_id, seq",
    "tally_cut": "SELECT tally_id, cut_id FROM tally_cut ORDER BY tally_id, cut_id",
    "happening": "SELECT * FROM happening ORDER BY id",
    "reading": "SELECT * FROM reading ORDER BY id",
    "amendment": "SELECT count(*) AS changes FROM amendment",
}
_OF_THE_FILE = frozenset(("no", "created_at", "created_by"))


def _content(path: Path) -> dict[str, list[dict[str, object]]]:
    connection = sqlite3.connect(path)
    connection.row_factory = sqlite3.Row
    try:
        return {
            table: [
                {
                    name: json.loads(row[name]) if name == "as_typed" else row[name]
                    for name in row.keys()  # noqa: SIM118 - a sqlite3.Row iterates over its values
                    if name not in _OF_THE_FILE
                }
                for row in connection.execute(sql)
            ]
            for table, sql in _CONTENT.items()
        }
    finally:
        connection.close()


def test_R02_typing_the_sample_sheets_is_importing_them(burnlog: Runner, tmp_path: Path) -> None:
    """The eight sheets typed at a terminal leave the same content as the same eight files imported."""
    imported, typed = tmp_path / "imported.db", tmp_path / "typed.db"
    for path in (imported, typed):
        _invented(burnlog, path)
    sheets = sorted((SEED / "sheets").glob("sheet_*.csv"))
    assert len(sheets) == 8
    done = burnlog("import", *(str(path) for path in sheets), db=imported)
    assert done.returncode == 0, done.stderr
    total = 0
    for sheet in sheets:
        with sheet.open(encoding="utf-8", newline="") as file:
            rows = list(csv.DictReader(file))
        total += len(rows)
        terminal = pexpect.spawn(
            sys.executable,
            ["-m", "burnlog", "--db", str(typed), "enter", "--dive", f"{rows[0]['job']} {rows[0]['dive']}"],
            dimensions=(24, 80),
            timeout=60,
            encoding="utf-8",
            echo=False,
        )
        terminal.delaybeforesend = None
        for _, text in _typist(rows):
            terminal.expect(": ")
            terminal.sendline(text)
        terminal.expect("line or piece: ")
        terminal.sendline("q")
        terminal.expect(pexpect.EOF)
        terminal.close()
        assert terminal.exitstatus == 0
        assert f"last row {len(rows)}" in terminal.before
    one, other = _content(imported), _content(typed)
    assert len(one["cut"]) == total
    for table in _CONTENT:
        assert other[table] == one[table], table
