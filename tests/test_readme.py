"""The README's commands run as written, in order, and every command of the program is in it."""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

README = Path(__file__).parent.parent / "README.md"
NOT_RUN = "<!-- not run in the tests"


def _commands() -> list[tuple[list[str], int]]:
    """Commands of the bash blocks that are not marked, each with the exit code it must end with."""
    found = []
    text = README.read_text(encoding="utf-8")
    for block in re.finditer(r"(?P<mark><!--[^\n]*-->\n)?```bash\n(?P<body>.*?)```", text, re.DOTALL):
        if (block["mark"] or "").startswith(NOT_RUN):
            continue
        for line in block["body"].splitlines():
            code = re.search(r"# exit (\d)$", line)
            found.append((shlex.split(line, comments=True), int(code[1]) if code else 0))
    return found


def test_every_command_of_the_tour_runs_as_written(tmp_path: Path) -> None:
    """After the demo, each command ends with the code the README says, without a traceback."""

    def run(words: list[str]) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-m", *words],
            capture_output=True,
            text=True,
            cwd=tmp_path,
            env={**os.environ, "BURNLOG_DB": "demo/demo.db", "COLUMNS": "80"},
            check=False,
            timeout=300,
        )

    assert run(["burnlog", "demo", "demo"]).returncode == 0
    commands = _commands()
    assert len(commands) >= 25
    for words, code in commands:
        done = run(words)
        assert done.returncode == code, (words, done.stderr)
        assert "Traceback" not in done.stderr


def test_every_command_is_in_the_readme() -> None:
    """Each command of `burnlog --help` is named in the README."""
    shown = subprocess.run(
        [sys.executable, "-m", "burnlog", "--help"], capture_output=True, text=True, check=True
    ).stdout
    names = re.findall(r"^  ([a-z]+) {2,}", shown.split("\nLog:")[1], re.MULTILINE)
    text = README.read_text(encoding="utf-8")
    assert len(names) >= 25
    assert [name for name in names if not re.search(rf"burnlog(?:\n| )(?:--\S+ \S+ )*{name}\b", text)] == []


def test_ci_runs_the_readme_s_test_command() -> None:
    """What the README calls command two is what CI runs."""
    command = re.search(r"\.venv/bin/(python -m pytest[^\n]*)", README.read_text(encoding="utf-8"))
    assert command is not None
    assert command[1] in (README.parent / ".ci" / "run").read_text(encoding="utf-8")
