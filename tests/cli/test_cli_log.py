"""The log's commands, run as a person runs them: exit codes, one message, nothing half written."""

from __future__ import annotations

import json
import os
import re
import sqlite3
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pexpect
import pytest

Runner = Callable[..., subprocess.CompletedProcess[str]]

HEADER = (
    "job,dive,dive_date,diver,setting,record_class,water,"
    "line,thickness,planned_length,rod_type,rods,new_length,outcome"
)


def _sheet(path: Path, *rows: str, header: str = HEADER) -> Path:
    path.write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    return path


def _row(dive: int, line: str, rods: str, *, thickness: str = "1/2 in", length: str = "2 ft") -> str:
    head = f"PIER7,{dive},2026-05-{10 + dive:02d},D3,open water,production,salt"
    return f"{head},{line},{thickness},{length},EX38,{rods},{length},through"


@pytest.fixture
def log(burnlog: Runner, tmp_path: Path) -> Path:
    """A log with two cuts of one job."""
    assert burnlog("init").returncode == 0
    sheet = _sheet(tmp_path / "first.csv", _row(1, "L1", "3"), _row(2, "L2", "4"))
    assert burnlog("import", str(sheet)).returncode == 0
    return tmp_path / "log.db"


def test_R06_two_bad_cells_are_both_named_and_nothing_is_written(burnlog: Runner, tmp_path: Path) -> None:
    """A sheet with two bad cells ends with exit 2, both cells named, and no row in the log."""
    burnlog("init")
    rows = [_row(n, f"L{n}", "3") for n in range(1, 11)]
    rows += [_row(11, "L11", "3", thickness="12"), _row(12, "L12", "3-4")]
    done = burnlog("import", str(_sheet(tmp_path / "bad.csv", *rows)))
    assert done.returncode == 2
    assert "row 12, column thickness" in done.stderr
    assert "'12'" in done.stderr
    assert "row 13, column rods" in done.stderr
    assert json.loads(burnlog("list", "cuts", "--json").stdout)["cuts"] == []


def test_the_row_that_check_would_mend_is_one_that_fix_takes(burnlog: Runner, tmp_path: Path) -> None:
    """For a cut that was typed from no sheet the command names the dive and the row, and it runs."""
    burnlog("init")
    short = _row(1, "L1", "3").replace(",EX38,3,2 ft,", ",EX38,3,4 in,")
    assert burnlog("import", str(_sheet(tmp_path / "short.csv", short))).returncode == 0
    said = burnlog("check").stdout
    assert "to mend a row: burnlog --by NAME fix cut 'PIER7 1.1'" in said
    assert burnlog("--by", "JM", "fix", "cut", "PIER7 1.1", "new_length=2 ft", "--why", "read again").returncode == 0
    assert "called through" in said
    assert "called through" not in burnlog("check").stdout


def test_an_import_counts_rows_in_the_words_of_the_deck(burnlog: Runner, tmp_path: Path) -> None:
    """One dive is one dive and two cuts are two cuts; the names of tables and of rows that only link stay out."""
    burnlog("init")
    sheet = _sheet(tmp_path / "night.csv", _row(1, "L1", "3"), _row(1, "L2", "4"))
    (said,) = burnlog("import", str(sheet)).stdout.splitlines()
    assert said.startswith(
        "night.csv: cut sheet, 2 rows; added 1 job, 1 person, 1 rod type, 2 lines, 1 dive, 2 cuts, "
    )
    assert said.endswith("2 rod counts")


def test_a_fix_names_people_and_things_by_their_codes(burnlog: Runner, log: Path) -> None:
    """Another diver is told as D4, not as a permanent id, and one cut is not `1 cuts`."""
    assert burnlog("add", "person", "person=D4").returncode == 0
    done = burnlog("--by", "JM", "fix", "dive", "PIER7 1", "diver=D4", "--why", "read the sheet again")
    assert done.stdout.splitlines() == ["dive PIER7 1, by JM: read the sheet again", "  diver: D3 -> D4"]
    assert burnlog("list", "cuts", "--dive", "1").stdout.splitlines()[-1] == "1 cut"


def test_a_rod_type_can_be_put_right_on_the_cut_and_on_its_count(burnlog: Runner, log: Path) -> None:
    """The count of one cut goes with its cut, and a count can be mended by itself; its dive stays."""
    assert burnlog("add", "rod-type", "rod_type=TB", "family=tubular").returncode == 0
    why = ("--why", "read the box again")
    assert burnlog("--by", "JM", "fix", "cut", "1", "rod_type=TB", *why).returncode == 0
    done = burnlog("--by", "JM", "fix", "tally", "2", "rod_type=TB", *why)
    assert "  rod_type: EX38 -> TB" in done.stdout.splitlines()
    tallies = json.loads(burnlog("list", "tallies", "--json").stdout)["tallies"]
    assert [tally["rod_type"] for tally in tallies] == ["TB", "TB"]
    assert "tally rod_type: EX38 -> TB" in burnlog("trail", "cut", "1").stdout
    assert burnlog("--by", "JM", "fix", "tally", "2", "dive=PIER7 2", *why).returncode == 2


def test_a_cut_after_midnight_follows_the_one_before_it(burnlog: Runner, log: Path) -> None:
    """Rows typed one by one: 2350 to 0012, then 0015, is the day after; a day can be typed to put a time right."""
    assert burnlog("add", "cut", "L1", "--dive", "PIER7 1", "--start", "2350", "--stop", "0012").returncode == 0
    assert burnlog("add", "cut", "L1", "--dive", "PIER7 1", "--start", "0015", "--stop", "0030").returncode == 0
    cut = json.loads(burnlog("show", "cut", "PIER7 1.3", "--json").stdout)
    assert (cut["start_at"], cut["stop_at"]) == ("2026-05-12T00:15:00", "2026-05-12T00:30:00")
    fix = ("--by", "JM", "fix", "cut", "PIER7 1.3")
    assert burnlog(*fix, "start=2026-05-12 00:16", "--why", "smudged").returncode == 0
    assert "of that day or the next" in burnlog(*fix, "start=2026-05-14 00:16", "--why", "smudged").stderr


def test_R45_a_small_record_counts_in_words_that_fit(burnlog: Runner, log: Path) -> None:
    """Two counts of one job stand beside the ratio as that, and not as `1 jobs, 1 divers`."""
    assert "  2 tallies, 2 lines, 1 job, 1 diver" in burnlog("rates").stdout.splitlines()


def test_long_lines_are_folded_for_a_terminal_and_not_for_a_pipe(burnlog: Runner, log: Path, tmp_path: Path) -> None:
    """At 60 columns a message keeps its words whole within the screen; through a pipe it is one line to search in."""
    bad = _sheet(tmp_path / "bad.csv", _row(3, "L3", "3", thickness="12"))
    piped = burnlog("import", str(bad)).stderr.splitlines()
    terminal = pexpect.spawn(
        sys.executable,
        ["-m", "burnlog", "--db", str(log), "import", str(bad)],
        dimensions=(24, 60),
        env={**os.environ, "COLUMNS": "60"},
        timeout=60,
        encoding="utf-8",
    )
    shown = terminal.read().splitlines()
    terminal.close()
    assert max(map(len, piped)) > 60
    assert max(map(len, shown)) < 60
    assert " ".join(" ".join(shown).split()) == " ".join(" ".join(piped).split())


def test_R06_the_same_file_again_adds_nothing(burnlog: Runner, log: Path, tmp_path: Path) -> None:
    """A second import of one file says so and adds no row."""
    done = burnlog("import", str(tmp_path / "first.csv"))
    assert done.returncode == 0
    assert "0 rows" in done.stdout
    assert len(json.loads(burnlog("list", "cuts", "--json").stdout)["cuts"]) == 2


def test_R08_a_fix_keeps_both_values_and_deleting_fails(burnlog: Runner, log: Path) -> None:
    """After a fix the trail shows the old and the new count with who and why; SQL cannot delete the cut."""
    done = burnlog("--by", "JM", "fix", "cut", "1", "rods=7", "--why", "box counted twice")
    assert done.returncode == 0, done.stderr
    trail = burnlog("trail", "cut", "1").stdout
    assert "3" in trail
    assert "7" in trail
    assert "JM" in trail
    assert "box counted twice" in trail
    with sqlite3.connect(log) as connection, pytest.raises(sqlite3.IntegrityError, match="void"):
        connection.execute("DELETE FROM cut")
    connection.close()


@pytest.mark.parametrize("words", [("fix", "cut", "1", "rods=7", "--why", "x"), ("fix", "cut", "1", "rods=7")])
def test_R08_a_fix_without_name_or_reason_is_refused(burnlog: Runner, log: Path, words: tuple[str, ...]) -> None:
    """No --by or no --why ends with exit 2 and changes nothing."""
    by = ("--by", "JM") if "--why" not in words else ()
    done = burnlog(*by, *words)
    assert done.returncode == 2
    assert "never changed" in burnlog("trail", "cut", "1").stdout


def test_R08_an_update_by_another_program_is_in_the_trail(burnlog: Runner, log: Path) -> None:
    """What raw SQL changes is shown as changed outside burnlog, by unknown."""
    with sqlite3.connect(log) as connection:
        connection.execute("UPDATE cut SET outcome = 'part way' WHERE no = 1")
    connection.close()
    trail = burnlog("trail", "cut", "1").stdout
    assert "through -> part way" in trail
    assert "unknown" in trail


def test_R05_one_line_entry_echoes_what_was_understood(burnlog: Runner, log: Path) -> None:
    """The echo of a single cut names its minutes, its rods and its length in the job's units."""
    burnlog(
        "add", "rod-type", "rod_type=EX18", "family=exothermic", "length=18 in", "planned_stub=3 in", "stub_source=x1"
    )
    made = burnlog("add", "line", "job=PIER7", "line=L14", "thickness=5/8 in", "planned_length=42.37 in")
    assert made.returncode == 0, made.stderr
    done = burnlog(
        *("--units", "us", "add", "cut", "L14", "--dive", "PIER7 2", "--start", "0942", "--stop", "1003"),
        *("--new", "all", "--rods", "7 + 6in", "--rod-type", "EX18", "--hangers", "1"),
    )
    assert done.returncode == 0, done.stderr
    for words in ("21 min", "7 full + 1 stub of 6 in", "3.53 ft", "1 hanger"):
        assert words in done.stdout


def test_R05_an_unknown_line_names_the_nearest(burnlog: Runner, log: Path) -> None:
    """A line that is not there ends with exit 2, names like it, and nothing written."""
    done = burnlog("add", "cut", "L3", "--dive", "PIER7 1", "--rods", "3")
    assert done.returncode == 2
    assert "L1" in done.stderr
    assert len(json.loads(burnlog("list", "cuts", "--json").stdout)["cuts"]) == 2


def test_R05_a_dive_and_its_tally_are_added_by_hand(burnlog: Runner, log: Path) -> None:
    """Masters, a dive and a box count go in by name=value, and the balance sees them."""
    dive = ("job=PIER7", "dive=3", "dive_date=2026-05-14", "diver=D3", "setting=open water", "visibility=by feel")
    assert burnlog("add", "dive", *dive).returncode == 0
    tally = ("dive=PIER7 3", "rod_type=EX38", "rods=29", "issued=40", "returned=6", "rods_lost=2")
    done = burnlog("add", "tally", *tally)
    assert done.returncode == 0, done.stderr
    assert "3 rods unaccounted" in burnlog("check").stdout


def test_R19_the_typed_text_comes_back(burnlog: Runner, log: Path) -> None:
    """A thickness typed as a fraction is shown as that fraction beside its value, in the units asked for."""
    shown = burnlog("--units", "metric", "show", "cut", "PIER7 1.1").stdout
    assert re.search(r"^  thickness +12\.7 mm   typed: 1/2 in \(measured\)$", shown, re.MULTILINE)
    assert re.search(r"^  dive +PIER7 1$", shown, re.MULTILINE)
    assert max(map(len, shown.splitlines())) <= 80


def test_list_and_show_speak_as_the_sheet_does(burnlog: Runner, log: Path) -> None:
    """Columns have the names that `fix` takes, values the units of their job, and the trail shows both alike."""
    why = ("--why", "read the tape again")
    assert burnlog("--by", "JM", "fix", "job", "PIER7", "units_profile=us", *why).returncode == 0
    head, first = burnlog("list", "cuts", "--job", "PIER7").stdout.splitlines()[:2]
    assert {"place", "line", "pass", "new_length", "thickness", "outcome"} <= set(head.split())
    assert "1/2 in" in first
    done = burnlog("--by", "JM", "fix", "cut", "PIER7 1.1", "thickness=12 mm", *why)
    assert "  thickness: 1/2 in -> 0.4724 in (typed 12 mm)" in done.stdout.splitlines()
    assert "cut thickness: 1/2 in -> 0.4724 in (typed 12 mm)" in burnlog("trail", "cut", "PIER7 1.1").stdout


@pytest.mark.parametrize(
    ("make", "code", "words"),
    [
        (None, 5, "no log at"),
        (b"not a database at all, just text", 5, "not a burnlog file"),
        (b"SQLite format 3\x00" + b"\xff" * 4000, 5, ""),
    ],
)
def test_a_file_that_is_no_log_ends_with_five(
    burnlog: Runner, tmp_path: Path, make: bytes | None, code: int, words: str
) -> None:
    """A missing, foreign or damaged file is named in one line and left as it is."""
    path = tmp_path / "log.db"
    if make is not None:
        path.write_bytes(make)
    done = burnlog("list", "cuts")
    assert done.returncode == code
    assert words in done.stderr
    assert "Traceback" not in done.stderr
    assert make is None or path.read_bytes() == make


def test_a_newer_log_is_left_alone(burnlog: Runner, log: Path) -> None:
    """A file of a newer program is refused with a sentence."""
    with sqlite3.connect(log) as connection:
        connection.execute("PRAGMA user_version = 99")
    connection.close()
    done = burnlog("list", "cuts")
    assert done.returncode == 5
    assert "newer" in done.stderr


def test_an_existing_file_is_never_overwritten(burnlog: Runner, log: Path) -> None:
    """A second init of one file ends with exit 5 and keeps its rows."""
    assert burnlog("init").returncode == 5
    assert len(json.loads(burnlog("list", "cuts", "--json").stdout)["cuts"]) == 2


def test_R09_a_second_pass_with_new_length_is_refused(burnlog: Runner, log: Path, tmp_path: Path) -> None:
    """A re-burn that claims new length ends with exit 2 and says why."""
    row = _row(3, "L1", "4").replace(",through", ",through,re-burn")
    done = burnlog("import", str(_sheet(tmp_path / "again.csv", row, header=HEADER + ",pass")))
    assert done.returncode == 2
    assert "row 2" in done.stderr


def test_R38_an_unknown_word_names_the_nearest(burnlog: Runner, log: Path, tmp_path: Path) -> None:
    """A word outside the list ends with exit 2 and three that are in it."""
    done = burnlog("import", str(_sheet(tmp_path / "w.csv", _row(3, "L3", "4").replace("through", "thru"))))
    assert done.returncode == 2
    assert "through" in done.stderr


def test_an_unknown_column_is_an_error(burnlog: Runner, log: Path, tmp_path: Path) -> None:
    """A column nobody knows is never ignored."""
    done = burnlog("import", str(_sheet(tmp_path / "c.csv", _row(3, "L3", "4") + ",9", header=HEADER + ",colour")))
    assert done.returncode == 2
    assert "colour" in done.stderr


def test_a_missing_file_is_named(burnlog: Runner, log: Path) -> None:
    """A file that is not there ends with exit 5 and its name."""
    done = burnlog("import", "nowhere.csv")
    assert done.returncode in (2, 5)
    assert "nowhere.csv" in done.stderr


def test_R16_help_loads_no_heavy_library(burnlog: Runner, tmp_path: Path) -> None:
    """`--help` and `units` start without pandas, scipy, statsmodels or altair."""
    import os
    import sys

    for words in (["--help"], ["units", "5/8", "--as", "thickness"], ["length", "HP14x117"]):
        done = subprocess.run(
            [sys.executable, "-X", "importtime", "-m", "burnlog", *words],
            capture_output=True,
            text=True,
            check=True,
            cwd=tmp_path,
            env={**os.environ, "BURNLOG_DB": str(tmp_path / "none.db")},
        )
        loaded = {line.rsplit("|", 1)[-1].strip().split(".")[0] for line in done.stderr.splitlines() if "|" in line}
        assert not loaded & {"pandas", "scipy", "statsmodels", "altair", "sqlite_utils", "numpy"}


def test_R21_a_gauge_reading_over_the_bottom(burnlog: Runner) -> None:
    """116.7 psi at 60 fsw leaves 90.0 psi over bottom, hose loss not included."""
    done = burnlog("units", "116.7 psi", "--as", "pressure", "--at-depth", "60 fsw")
    assert "90.0 psi over bottom (hose loss not included)" in done.stdout


def test_R17_units_prints_millimetres(burnlog: Runner) -> None:
    """An inch fraction comes back as 31.75 mm."""
    assert "31.75 mm" in burnlog("units", "1-1/4 in", "--as", "thickness").stdout


def test_R78_everything_is_ascii_on_an_old_console(burnlog: Runner, log: Path) -> None:
    """Under code page 437 the commands run without a traceback and print ASCII only."""
    for words in (["--help"], ["list", "cuts"], ["show", "cut", "1"], ["check"], ["trail", "cut", "1"]):
        done = burnlog(*words, env={"PYTHONIOENCODING": "cp437"})
        assert "Traceback" not in done.stderr
        assert (done.stdout + done.stderr).isascii()


def test_R79_there_is_no_command_that_advises_settings(burnlog: Runner) -> None:
    """Asking for settings is no command of this program."""
    assert burnlog("settings").returncode == 2


def test_a_count_added_by_hand_is_the_count_of_the_sheet(burnlog: Runner, log: Path, tmp_path: Path) -> None:
    """A dive's count typed by `add` and the same count on a sheet are one tally, never two over the same cuts."""
    head = f"{HEADER},rods_scope"
    row = _row(4, "L9", "9") + ",dive"
    assert burnlog("import", str(_sheet(tmp_path / "dive.csv", row, header=head))).returncode == 0
    before = json.loads(burnlog("list", "tallies", "--json").stdout)["tallies"]
    done = burnlog("add", "tally", "dive=PIER7 4", "rod_type=EX38", "rods=9")
    assert done.returncode == 2, done.stdout
    assert json.loads(burnlog("list", "tallies", "--json").stdout)["tallies"] == before


def test_R82_a_name_is_extracted_and_forgotten(burnlog: Runner, log: Path) -> None:
    """What is held is printed; after `forget` by somebody the name's bytes are nowhere in the file."""
    assert burnlog("add", "person", "person=D77", "name=Quillfeather", "roles=diver").returncode == 0
    assert "Quillfeather" in burnlog("person", "extract", "D77").stdout
    assert burnlog("person", "forget", "D77").returncode == 2
    assert burnlog("--by", "QA", "person", "forget", "D77").returncode == 0
    for path in log.parent.glob("log.db*"):
        assert b"Quillfeather" not in path.read_bytes()
    assert "D77" in burnlog("list", "people").stdout


def test_import_and_merge_tell_their_bar(log: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Both count their rows for the bar of the terminal, and --no-progress reaches it."""
    from benchmarks.mangled import command
    from burnlog.cli import keep
    from burnlog.cli import log as log_commands

    told: list[tuple[int, int | None]] = []
    wishes: list[bool] = []

    @contextmanager
    def counted(what: str, *, wanted: bool = True) -> Iterator[Callable[[int, int | None], None]]:
        wishes.append(wanted)
        yield lambda done, to_do: told.append((done, to_do))

    for module in (keep, log_commands):
        monkeypatch.setattr(module, "bar", counted)
    rows = [f"PIER9,{1 + n // 9},2026-05-12,D3" for n in range(1100)]
    sheet = _sheet(tmp_path / "long.csv", *rows, header="job,dive,dive_date,diver")
    other = tmp_path / "other.db"
    for words in (["init"], ["import", str(sheet)]):
        assert command(["burnlog", "--db", str(other), *words])[0] == 0
    assert told == [(1000, 1100)]
    told.clear()
    assert command(["burnlog", "--db", str(log), "merge", str(other), "--no-progress"])[0] == 0
    assert [done for done, _ in told] == sorted(done for done, _ in told)
    assert told[-1][0] == told[-1][1]
    assert wishes == [True, False]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("dive_date",), "'dive_date': write field=value"),
        (("=7",), "'=7': write field=value"),
        (("restarts=1", "restarts=2"), "restarts stands twice, as '1' and as '2'; keep one"),
    ],
)
def test_what_is_typed_as_field_and_value_is_both_and_once(
    burnlog: Runner, log: Path, words: tuple[str, ...], told: str
) -> None:
    """A field without a value, a value without a field, or one field twice is refused before anything is changed."""
    done = burnlog("--by", "JM", "fix", "cut", "1", *words, "--why", "read again")
    assert (done.returncode, done.stdout) == (2, "")
    assert told in done.stderr
    assert burnlog("trail", "cut", "1").stdout == "cut 1: never changed.\n"
