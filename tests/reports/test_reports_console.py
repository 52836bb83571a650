"""What the commands print: plain ASCII with its cautions, and no word that turns a figure into an instruction."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import typer
from typer.testing import CliRunner

from burnlog.cli.app import app
from burnlog.reports.cautions import EVERY_PAGE, FIGURES, TAPPING

BANNED = re.compile(
    r"\b(safe to|approved|compliant|recommended setting|you should set|best|worst|rank(s|ed|ing)?|league|performer)\b"
)
REPORTS = {
    "rates --by crew": FIGURES,
    "flags list": TAPPING,
    "sag": TAPPING,
    "crews --by crew": FIGURES,
    "practice": FIGURES,
    "events": "",
    "day 2024-03-08": "",
    "stock --job DOLPH5 --rods-in-box 60": "",
    "left --job DOLPH5": "",
    "check": "",
    "estimate draft {demo}/takeoff.csv --bottom-time 40min --start-up 15min --draws 2000": FIGURES,
    "backtest": "",
    "score": "",
}
"""Commands that print a report, with the sentence their kind adds to the caution of every report."""
OTHERS = (
    *("list jobs", "list cuts --job PIER12", "list dives", "list tallies", "show job PIER12", "trail job PIER12"),
    *("units 35fsw --as depth", "length plate length=2ft thickness=1/2in", "person extract D01", "verify"),
)
WRITING = (
    *("init", "import", "fix", "void", "enter", "sheet", "export", "merge", "backup", "audit", "demo"),
    *("flags decide", "estimate issue", "estimate rerun", "estimate close", "person forget"),
)
"""Commands that write; what they print is tested where they are."""


def commands(found: Any, before: tuple[str, ...] = ()) -> Iterator[str]:
    """Every command of the application by its words."""
    for name, each in found.commands.items():
        if hasattr(each, "commands"):
            yield from commands(each, (*before, name))
        else:
            yield " ".join((*before, name))


def printed(demo_pages: Path, line: str) -> str:
    """What a command prints on a console of code page 437; a letter it lacks would raise."""
    words = line.format(demo=demo_pages).split()
    done = CliRunner(charset="cp437").invoke(app, ["--db", str(demo_pages / "demo.db"), "--by", "T", *words])
    code = getattr(done.exception, "exit_code", done.exit_code)
    assert code in (0, 4), f"{line}: {done.output} {done.exception!r}"
    return done.output


def test_every_command_is_looked_at_here_or_writes() -> None:
    """A new command must be put on one of the lists above."""
    known = {*REPORTS, *OTHERS, *WRITING}
    for command in commands(typer.main.get_command(app)):
        if command.split()[0] not in ("add", "report"):
            assert any(line == command or line.startswith(f"{command} ") for line in known), command


@pytest.mark.parametrize("line", REPORTS)
def test_R77_R78_R79_a_report_is_ascii_ends_with_its_cautions_and_advises_nothing(
    demo_pages: Path, line: str
) -> None:
    """Under code page 437 a report prints whole, says it is made up, ends with its cautions, says no banned word."""
    said = printed(demo_pages, line)
    assert said.isascii()
    assert "MADE UP" in said.upper()
    flat = " ".join(said.replace("!", " ").split())
    assert EVERY_PAGE in flat
    assert REPORTS[line].split("Figures come from")[0].strip() in flat
    assert not BANNED.search(said.lower()), BANNED.search(said.lower())


@pytest.mark.parametrize("line", OTHERS)
def test_R78_other_commands_are_ascii_too(demo_pages: Path, line: str) -> None:
    """Lists, units and lengths print ASCII under code page 437 and say no banned word."""
    said = printed(demo_pages, line)
    assert said.strip()
    assert said.isascii()
    assert not BANNED.search(said.lower())


def test_R67_R79_help_offers_no_order_by_result_and_no_settings() -> None:
    """No help page holds a banned word, and none has an option that sorts people."""
    for command in commands(typer.main.get_command(app)):
        said = CliRunner().invoke(app, [*command.split(), "--help"]).output
        assert "Usage" in said
        assert "--sort" not in said
        assert not BANNED.search(said.lower()), command
