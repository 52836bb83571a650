"""Where output goes: a reader who leaves, an output that is closed or full, an interrupt from the keyboard."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from terminal import run

COMMAND = (sys.executable, "-m", "burnlog", "--db")


def _shell(line: str, db: Path) -> subprocess.CompletedProcess[str]:
    """What a shell makes of a line in which BURNLOG stands for the command on a log."""
    script = line.replace("BURNLOG", '"$0" -m burnlog --db "$1"')
    words = ["sh", "-c", script, sys.executable, str(db)]
    return subprocess.run(words, capture_output=True, text=True, check=False, timeout=300)


@pytest.mark.skipif(os.name != "posix", reason="pipes of a shell")
@pytest.mark.parametrize("words", ["list cuts", "list cuts --json"])
def test_a_reader_who_leaves_is_no_error(season: Path, tmp_path: Path, words: str) -> None:
    """`burnlog list cuts | head -1` ends with 0 and without a word about a pipe."""
    code = tmp_path / "code"
    done = _shell(f"{{ BURNLOG {words}; echo $? >'{code}'; }} | head -1", season)
    assert len(done.stdout.splitlines()) == 1
    assert code.read_text(encoding="utf-8") == "0\n"
    assert "ipe" not in done.stderr


def test_an_import_goes_on_when_nobody_reads_its_output(own: Path, tmp_path: Path) -> None:
    """Two files are taken in though the reader of the output has left before the first."""
    files = []
    for name in ("D81", "D82"):
        files.append(tmp_path / f"{name}.csv")
        files[-1].write_text(f"person\n{name}\n", encoding="utf-8")
    reader, writer = os.pipe()
    os.close(reader)
    done = subprocess.run([*COMMAND, own, "import", *files], stdout=writer, stderr=subprocess.PIPE, check=False)
    os.close(writer)
    assert (done.returncode, done.stderr) == (0, b"")
    listed = run(own, "list", "people").stdout
    assert "D81" in listed
    assert "D82" in listed


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="a device that is always full")
@pytest.mark.parametrize("words", ["check", "list cuts --json"])
@pytest.mark.parametrize(("where", "why"), [(">&-", "closed"), (">/dev/full", "No space left on device")])
def test_output_that_cannot_be_written_ends_with_five(season: Path, words: str, where: str, why: str) -> None:
    """A closed or full output is told in one sentence."""
    done = _shell(f"BURNLOG {words} {where}", season)
    assert done.returncode == 5
    told = done.stderr.splitlines()
    assert told[-1].startswith("burnlog: the output ")
    assert why in told[-1]
    assert not done.stdout


@pytest.mark.skipif(os.name != "posix", reason="descriptors of a shell")
def test_a_closed_stderr_takes_nothing_from_the_answer(season: Path) -> None:
    """`burnlog check 2>&-` prints what it prints otherwise, and ends with the same code."""
    done = _shell("BURNLOG check 2>&-", season)
    assert (done.returncode, done.stdout) == (4, run(season, "check").stdout)


@pytest.mark.skipif(os.name != "posix", reason="signals")
def test_an_interrupted_import_says_so_and_takes_nothing_in(own: Path, tmp_path: Path) -> None:
    """Ctrl-C in the middle of a file ends with 130 and a sentence; the log is whole and holds no row of the file."""
    rows = ["job,dive,row,dive_date,diver,setting,record_class,water,line,thickness,rod_type,rods,new_length,made_up"]
    rows += [
        f"BIG1,{n},1,2025-06-{n % 28 + 1:02d},D1,open water,production,salt,L{n},1/2 in,EX38,9,2 ft,yes"
        for n in range(1, 8001)
    ]
    sheet = tmp_path / "big.csv"
    sheet.write_text("\n".join(rows) + "\n", encoding="utf-8")
    process = subprocess.Popen([*COMMAND, own, "import", sheet], stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    while not own.with_name(own.name + "-wal").exists():  # the log is open for writing
        assert process.poll() is None
        time.sleep(0.01)
    time.sleep(0.2)
    process.send_signal(signal.SIGINT)
    out, told = process.communicate(timeout=60)
    assert (process.returncode, out) == (130, b"")
    assert told == b"burnlog: stopped; what was acknowledged is saved.\n"
    assert run(own, "verify").returncode == 0
    assert run(own, "list", "cuts", "--job", "BIG1").returncode == 2
