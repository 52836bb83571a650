"""The README's commands run as written, in order; what it shows is what they print; no command is missing.

`python tests/test_readme.py` lists the shown lines whose figures have moved since they were copied.
"""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
import tempfile
from dataclasses import dataclass, field
from pathlib import Path

import pytest

README = Path(__file__).parent.parent / "README.md"
BLOCK = re.compile(r"(?:<!-- (?P<mark>[^\n]*) -->\n)?```(?P<language>\w*)\n(?P<body>.*?)```", re.DOTALL)


@dataclass
class Tour:
    """What was run: (words, exit code told, exit code, stderr); and (lines shown, text printed) of each command."""

    commands: list[tuple[list[str], int, int, str]] = field(default_factory=list)
    shown: list[tuple[list[str], str]] = field(default_factory=list)


def _run(words: list[str], folder: Path) -> subprocess.CompletedProcess[str]:
    assert words[0] == "burnlog", words
    return subprocess.run(
        [sys.executable, "-m", *words],
        capture_output=True,
        text=True,
        cwd=folder,
        env={**os.environ, "BURNLOG_DB": "demo/demo.db", "COLUMNS": "80"},
        check=False,
        timeout=300,
    )


def walk(folder: Path) -> Tour:
    """Run the blocks that are not marked in `folder`, after the demo; a block without a language is output."""
    assert _run(["burnlog", "demo", "demo"], folder).returncode == 0
    tour = Tour()
    printed: dict[str, str] = {}
    for block in BLOCK.finditer(README.read_text(encoding="utf-8")):
        mark = block["mark"] or ""
        if mark.startswith("not run in the tests"):
            continue
        if mark.startswith("file: "):
            (folder / mark.removeprefix("file: ")).write_text(block["body"], encoding="utf-8")
        elif block["language"] == "bash":
            printed.clear()
            for line in block["body"].splitlines():
                command, told, code = line.partition("  # exit ")
                words = shlex.split(command)
                done = _run(words, folder)
                tour.commands.append((words, int(code) if told else 0, done.returncode, done.stderr))
                printed[command] = printed.get(command, "") + done.stderr + done.stdout
        elif not block["language"]:
            before, *parts = re.split(r"^\$ ", block["body"], flags=re.MULTILINE)
            assert not before, f"no command stands before {before!r}"
            for command, *lines in map(str.splitlines, parts):
                tour.shown.append(([line for line in lines if line != "..."], printed[command]))
    return tour


@pytest.fixture(scope="module")
def tour(tmp_path_factory: pytest.TempPathFactory) -> Tour:
    """The tour, walked once."""
    return walk(tmp_path_factory.mktemp("tour"))


def _wording(line: str) -> str:
    """A line without its figures: a model that learns better moves them, and is no fault of the README."""
    return " ".join(re.sub(r"\d[\d.,]*", "#", line).split())


def test_every_command_of_the_tour_ends_as_the_readme_says(tour: Tour) -> None:
    """Each command ends with the code it is said to end with, without a traceback."""
    assert len(tour.commands) >= 30
    for words, told, code, stderr in tour.commands:
        assert code == told, (words, stderr)
        assert "Traceback" not in stderr


def test_what_the_readme_shows_is_what_is_printed(tour: Tour) -> None:
    """Each line of output in the README was printed by the command shown above it, figures aside."""
    assert len(tour.shown) >= 18
    for lines, printed in tour.shown:
        there = {_wording(line) for line in printed.splitlines()}
        assert [line for line in lines if _wording(line) not in there] == []


def test_every_command_is_in_the_readme() -> None:
    """Each command of `burnlog --help` is named in the README."""
    shown = subprocess.run(
        [sys.executable, "-m", "burnlog", "--help"], capture_output=True, text=True, check=True
    ).stdout
    names = re.findall(r"^  ([a-z]+) {2,}", shown.split("\nLog:")[1], re.MULTILINE)
    text = README.read_text(encoding="utf-8")
    assert len(names) >= 25
    assert [name for name in names if not re.search(rf"burnlog(?:\n| )(?:--\S+ \S+ )*{name}\b", text)] == []


def test_every_column_of_the_cut_sheet_is_in_the_readme() -> None:
    """The README's table names each column that a cut sheet may have, and no other."""
    from burnlog.store.cutsheet import COLUMNS

    table = README.read_text(encoding="utf-8").split("| columns |")[1].split("\n\n")[0]
    named = [name.strip() for row in table.splitlines()[2:] for name in row.split("|")[1].split(",")]
    assert sorted(named) == sorted(column.name for column in COLUMNS if column.name != "why")


def test_ci_runs_the_readme_s_test_command() -> None:
    """What the README calls command two is what CI runs."""
    command = re.search(r"\.venv/bin/(python -m pytest[^\n]*)", README.read_text(encoding="utf-8"))
    assert command is not None
    assert command[1] in (README.parent / ".ci" / "run").read_text(encoding="utf-8").splitlines()


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as temporary:
        for lines, printed in walk(Path(temporary)).shown:
            moved = [line for line in lines if line not in printed.splitlines()]
            print("\n".join(moved) or "as printed")
