"""Every command's help carries an example, and the examples run as printed on the demonstration's log."""

from __future__ import annotations

import io
import shlex
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from typer.main import get_command

import burnlog
from burnlog.cli.app import app, main

MARK = "Example: burnlog "
TYPED = {"enter": "q\n"}
"""What is typed at the prompt of the command that asks."""
FINDS = {"check": 4}
"""A record check that finds something says so by its exit code; every other example ends with 0."""
# the examples lean on one another: over two cores `--dist loadfile` keeps a file's tests in one process, in order
LATER = ("add cut", "enter", "audit", "flags decide")
"""Commands whose examples use what another example adds, issues or lists."""
ELSEWHERE = ("demo",)
"""The README's own test runs this example."""
STICK = "/media/stick"
"""A place of the reader's own, which the test stands a folder for."""


def _commands(command: Any, path: tuple[str, ...] = ()) -> Iterator[tuple[str, str]]:
    """Path and help of every command that does something, in the order of the help."""
    inside = getattr(command, "commands", None)
    if inside is None:
        yield " ".join(path), command.help or ""
        return
    for name, one in inside.items():
        yield from _commands(one, (*path, name))


COMMANDS = dict(_commands(get_command(app)))


def _turn(name: str) -> tuple[bool, int]:
    """The order of the help, but what leans on another example after the others."""
    return name in LATER, list(COMMANDS).index(name)


def _example(text: str) -> str:
    """The one line after the mark; a line that goes on is joined."""
    return " ".join(text.partition(MARK)[2].partition("\n\n")[0].split())


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demonstration's files and log, its log under the name that a command takes when none is given."""
    place = tmp_path_factory.mktemp("help")
    burnlog.make_demo(place).close()
    (place / "demo.db").rename(place / "burnlog.db")
    return place


def test_every_help_has_an_example() -> None:
    """Each command shows one line that calls it."""
    assert len(COMMANDS) >= 50
    assert [name for name, text in COMMANDS.items() if name not in _example(text)] == []


@pytest.mark.parametrize("name", sorted(COMMANDS.keys() - set(ELSEWHERE), key=_turn))
def test_the_example_runs(
    name: str, folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The examples, one after the other in the folder of the demonstration, end as they should."""
    monkeypatch.chdir(folder)
    words = [str(folder) if word == STICK else word for word in shlex.split(_example(COMMANDS[name]))]
    monkeypatch.setattr(sys, "argv", ["burnlog", *words])
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(TYPED.get(name, "").encode())))
    with pytest.raises(SystemExit) as ended:
        main()
    said = capsys.readouterr()
    assert (ended.value.code or 0) == FINDS.get(name, 0), said.err
    assert said.out.strip() or said.err.strip()
